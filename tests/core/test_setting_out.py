# SPDX-License-Identifier: GPL-3.0-or-later
"""Setting-out: a simulated setter who knows the sheet and nothing else."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.demo import demo_carving
from seamwright.core.errors import JobError
from seamwright.core.job import Datum, Job, SettingOut
from seamwright.core.jobpack.page_site import setting_out_section
from seamwright.core.marking.datum import DatumMark, Fit, fit_marks, no_fit, propose_marks, tape_checks
from seamwright.core.marking.heights import Heights
from seamwright.core.marking.setting_out import landings, normal_at, set_out, spaced, visible_runs
from seamwright.core.mesh.mesh import BASE, Mesh
from seamwright.core.pipeline import run_job
from shapes import box


def based_box() -> Mesh:
    bar = box((3.0, 1.0, 1.2))
    kind = np.zeros(12, dtype=np.uint8)
    kind[:2] = BASE
    return Mesh(bar.vertices, bar.triangles, kind)


PLANE = Plane((1.0, 0.0, 0.0), (1.0, 0.0, 0.3))
PROFILE = Profile((2.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [[0.0, 0.0], [0.3, 0.2], [1.0, 0.0]])


@pytest.mark.parametrize("seed", range(5))
def test_fit_against_scipy(seed: int) -> None:
    """Rotation.align_vectors of scipy solves the same problem."""
    rng = np.random.default_rng(seed)
    scan = rng.normal(size=(6, 3)) * 2.0
    turn = Rotation.random(random_state=seed)
    site = turn.apply(scan) + [3.0, -2.0, 0.5] + rng.normal(size=(6, 3)) * 0.003
    fit = fit_marks(scan, site)
    best, rssd = Rotation.align_vectors(site - site.mean(axis=0), scan - scan.mean(axis=0))
    assert np.allclose(fit.rotation, best.as_matrix(), atol=1e-9)
    assert fit.rms == pytest.approx(rssd / np.sqrt(6), rel=1e-9)
    assert np.linalg.det(fit.rotation) == pytest.approx(1.0)
    assert np.allclose(fit.apply(scan) - site, scan @ fit.rotation.T + fit.shift - site)


def test_fit_never_mirrors_and_refuses_too_little() -> None:
    scan = np.array([[0.0, 0.0, 0.0], [2.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    exact = fit_marks(scan, scan[:, [1, 0, 2]] * [1.0, 1.0, -1.0])
    assert exact.rms < 1e-12
    flipped = fit_marks(np.vstack([scan, [0.3, 0.2, 1.0]]), np.vstack([scan, [0.3, 0.2, -1.0]]))
    assert np.linalg.det(flipped.rotation) == pytest.approx(1.0)
    assert flipped.rms > 0.1
    with pytest.raises(JobError, match="three or more"):
        fit_marks(scan[:2], scan[:2])
    with pytest.raises(JobError, match="on one line"):
        fit_marks(np.outer(np.arange(4), [1.0, 2.0, 0.0]), np.outer(np.arange(4), [1.0, 2.0, 0.0]))


def test_points_are_close_enough_and_have_floor_and_crest() -> None:
    result = cut(based_box(), [PLANE, PROFILE], 0.01)
    for j in (0, 1):
        runs = visible_runs(result.lines[j])
        assert len(runs) == 1
        points, crest = spaced(runs[0], 0.25)
        assert np.linalg.norm(np.diff(points, axis=0), axis=1).max() <= 0.25 + 1e-9
        assert points[0][2] == points[-1][2] == 0.0
        assert points[crest][2] == runs[0][:, 2].max() == 1.2


def test_a_laser_stands_outside_and_its_sheet_is_the_plane() -> None:
    carving = based_box()
    result = cut(carving, [PLANE], 0.01)
    heights = Heights.of(carving)
    settings, lasers = set_out([PLANE], result.lines, propose_marks(heights), no_fit(), heights, 0.25)
    ends = [s for s in settings if s.where == "laser"]
    assert len(ends) == 2
    for s in ends:
        assert abs((s.point - PLANE.point) @ PLANE.normal) < 1e-12
        assert s.point[2] == 0.0
        assert s.point[1] < -0.25 or s.point[1] > 1.25
        assert s.worst <= 0.005
    (laser,) = lasers
    assert laser.tilt == pytest.approx(np.arctan(0.3))
    # From plumb over the floor line, leaning by the tilt towards that side, is a direction in the plane.
    up = np.array([*(laser.towards * np.sin(laser.tilt)), np.cos(laser.tilt)])
    assert abs(up @ PLANE.normal) < 1e-12
    level, none = set_out([Plane((0, 0, 0.6), (0, 0, 1))], cut(carving, [Plane((0, 0, 0.6), (0, 0, 1))]).lines,
                          propose_marks(heights), no_fit(), heights, 0.25)  # fmt: skip
    assert none[0].level
    assert all(s.where != "laser" for s in level)


def test_a_tape_does_not_run_through_foam() -> None:
    heights = Heights.of(based_box())
    ends = np.array([[1.5, 0.0, 0.6], [1.5, 1.0, 0.6], [1.5, 0.5, 1.2]])
    floor = np.tile([1.5, -1.0, 0.0], (3, 1))
    assert heights.clear(ends, floor).tolist() == [True, False, False]


class Setter:
    """Knows datum marks on site and the rows of the sheet; each of his measures is off by 2 mm at most."""

    def __init__(self, marks: np.ndarray, seed: int) -> None:
        self.marks = marks
        self.rng = np.random.default_rng(seed)

    def find(self, row, floor: float) -> np.ndarray:
        """Strike two arcs and a height, each off; on the side where the sheet's sketch shows the point."""
        off = self.rng.uniform(-0.002, 0.002, 3)
        a, b = self.marks[list(row.marks)]
        height = floor + row.height + off[2]
        one, two = (d + e for d, e in zip(row.distances, off[:2], strict=True))

        def miss(xy: np.ndarray) -> np.ndarray:
            rise = (height - a[2], height - b[2]) if row.way == "tape" else (0.0, 0.0)
            return np.array(
                [
                    np.sqrt(((xy - m[:2]) ** 2).sum() + h * h) - d
                    for m, h, d in zip((a, b), rise, (one, two), strict=True)
                ]
            )

        xy = least_squares(miss, row.sketch, xtol=1e-14, ftol=1e-14).x
        return np.array([*xy, height])


class Row:
    """What the sheet tells of a point: marks, distances, height; and about where it is."""

    def __init__(self, setting, site: np.ndarray, rng) -> None:
        self.marks, self.distances, self.way = setting.marks, np.round(setting.distances, 3), setting.way
        self.height = round(setting.height, 3)
        self.sketch = site[:2] + rng.normal(size=2) * 0.05


def landed(joints, settings, marks, fit: Fit, heights: Heights, seed: int) -> list[float]:
    """How far from its place the joint is at each point set out, metres, square to the joint."""
    rng = np.random.default_rng(1000 + seed)
    setter = Setter(fit.apply(np.array([m.scan for m in marks])), seed)
    back = fit.rotation.T
    errors = []
    for s in settings:
        site = fit.apply(s.point[None])[0]
        floor = fit.apply(np.array([[s.point[0], s.point[1], heights.low[2]]]))[0, 2]
        found = setter.find(Row(s, site, rng), floor)
        errors.append(abs(float((back @ (found - site)) @ normal_at(joints[s.joint], s.point))))
    return errors


@pytest.mark.parametrize("turned", [False, True])
def test_setter_lands_joints_of_the_demo_within_5_mm(turned: bool) -> None:
    carving = demo_carving(60_000)
    joints = [
        Plane((1.7, 0.0, 0.0), (1.0, 0.05, 0.1)),
        Plane((3.5, 0.0, 0.0), (1.0, 0.0, 0.0)),
        Plane((0.0, 1.7, 0.0), (0.0, 1.0, 0.0), (1.0, 1.0, 0.3)),
        Plane((0.0, 2.6, 0.0), (0.0, 1.0, 0.0), (2.5, 2.9, 0.3)),
        Profile((5.2, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [[0.0, 0.0], [0.7, 0.12], [1.5, -0.1], [3.0, 0.1]]),
    ]
    result = cut(carving, joints, 0.015)
    heights = Heights.of(carving)
    marks = propose_marks(heights)
    fit = no_fit()
    if turned:
        motion = Rotation.from_euler("z", 40, degrees=True)
        fit = fit_marks(
            np.array([m.scan for m in marks]), motion.apply([m.scan for m in marks]) + np.array([10.0, -4.0, 0.2])
        )
    settings, _ = set_out(joints, result.lines, marks, fit, heights, 0.25)
    assert {s.joint for s in settings} == {0, 1, 2, 3, 4}
    assert len(settings) > 60
    for seed in range(3):
        errors = landed(joints, settings, marks, fit, heights, seed)
        assert max(errors) <= 0.005
        assert max(errors) > 0.001  # he did err
        for s, e in zip(settings, errors, strict=True):
            assert e <= 1.03 * s.worst + 0.0009  # rounding of the sheet to the millimetre on three measures
    assert sum(s.way == "tape" for s in settings) > 0.5 * len(settings)
    assert max(s.worst for s in settings) <= 0.005
    for j in range(3):
        on_floor = [s for s in settings if s.joint == j and s.where == "floor"]
        assert len(on_floor) >= 2 or j == 2


def test_landing_is_the_truth_to_first_order() -> None:
    point, two = np.array([1.0, 2.0, 0.7]), np.array([[0.0, 0.0, 0.0], [3.0, 0.5, 0.0]])
    for way in ("tape", "level"):
        (errors,), sound = landings(point, two[None], way)
        assert sound.all()
        rise = 0.7 if way == "tape" else 0.0
        true = np.sqrt(((point - two)[:, :2] ** 2).sum(axis=1) + rise**2)
        for k, signs in enumerate(np.array(np.meshgrid([-1, 1], [-1, 1], [-1, 1], indexing="ij")).reshape(3, -1).T):
            h = rise + 0.002 * signs[2] if way == "tape" else 0.0

            def miss(xy: np.ndarray, h: float = h, signs=signs, true=true) -> np.ndarray:
                return np.sqrt(((xy - two[:, :2]) ** 2).sum(axis=1) + h * h) - true - 0.002 * signs[:2]

            xy = least_squares(miss, point[:2], xtol=1e-14).x
            assert np.allclose(xy - point[:2], errors[k, :2], atol=2e-5)
    assert not landings(point, np.array([[[0.0, 0.0, 0.0], [2.0, 4.0, 0.0]]]), "tape")[1].any()


def test_marks_proposed_stand_round_and_on_the_carving() -> None:
    heights = Heights.of(based_box())
    marks = propose_marks(heights)
    floor = [m for m in marks if m.on_floor]
    assert len(floor) >= 6
    assert all(not np.isfinite(heights.at(np.array([m.scan]))).any() for m in floor)
    assert all(m.scan[2] == pytest.approx(1.2) for m in marks if not m.on_floor)
    checks = tape_checks(marks, no_fit())
    a, b, length = checks[0]
    at = {m.name: np.array(m.scan) for m in marks}
    assert length == pytest.approx(np.linalg.norm(at[a] - at[b]))
    assert isinstance(marks[0], DatumMark)


def printed_rows(page: str) -> list[tuple[str, list[str]]]:
    """Letter of the joint and cells of every row of points on the page: what the setter holds in his hands."""
    out = []
    for letter, body in re.findall(r"<caption>Joint (\w+) \(\w+\)</caption>.*?<tbody>(.*?)</tbody>", page):
        rows = re.findall(r"<tr>(.*?)</tr>", body)
        out += [(letter, [re.sub("<.*?>", "", c) for c in re.findall(r"<td.*?</td>", row)]) for row in rows]
    return out


def test_the_printed_sheet_alone_lands_each_joint_within_5_mm_whichever_way_each_tape_errs() -> None:
    """Marks taped on a site turned 40 degrees; each row is struck eight times, every measure 2 mm too long or short."""
    carving = demo_carving(12_000)
    joints = [
        Plane((1.7, 0.0, 0.0), (1.0, 0.05, 0.1)),
        Plane((0.0, 1.7, 0.0), (0.0, 1.0, 0.0), (2.5, 1.0, 0.3)),
        Profile((5.2, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [[0.0, 0.0], [0.7, 0.12], [1.5, -0.1], [3.0, 0.1]]),
    ]
    turn, shift = Rotation.from_euler("z", 40, degrees=True).as_matrix(), np.array([10.0, -4.0, 0.2])
    proposed = propose_marks(Heights.of(carving))
    given = tuple(Datum(m.name, m.scan, tuple((turn @ m.scan + shift).tolist()), m.on_floor) for m in proposed)
    result = run_job(carving, replace(Job(), setting_out=SettingOut(marks=given)), joints)
    assert result.site is not None
    rows = printed_rows(setting_out_section(result, result.site))
    assert len(rows) == len(result.site.settings) > 50
    assert {letter for letter, _ in rows} == {"A", "B", "C"}
    at = {m.name: np.array(m.site) for m in given}
    order = sorted(result.site.settings, key=lambda s: (s.joint, s.number))
    worst = 0.0
    for (letter, cells), s in zip(rows, order, strict=True):
        number, where, height, one, far_one, two, far_two, way = cells
        assert (letter, number, where) == ("ABC"[s.joint], str(s.number), s.where)
        true = turn @ s.point + shift
        normal = turn @ normal_at(joints[s.joint], s.point)
        for signs in itertools.product((-0.002, 0.002), repeat=3):
            rise = 0.2 + float(height) + signs[2]
            lengths = float(far_one) + signs[0], float(far_two) + signs[1]

            def miss(xy: np.ndarray, rise=rise, lengths=lengths, one=one, two=two, way=way) -> np.ndarray:
                ups = [rise - at[m][2] if way == "tape" else 0.0 for m in (one, two)]
                return np.array(
                    [
                        np.sqrt(((xy - at[m][:2]) ** 2).sum() + up * up) - length
                        for m, up, length in zip((one, two), ups, lengths, strict=True)
                    ]
                )

            # Two arcs cross twice; the sheet's plan shows on which side.
            xy = least_squares(miss, true[:2], xtol=1e-12, ftol=1e-12).x
            worst = max(worst, abs(float((np.array([*xy, rise]) - true) @ normal)))
    assert 0.002 < worst <= 0.005, worst
