# SPDX-License-Identifier: GPL-3.0-or-later
"""The seam check of joints where the answer is known beforehand, and lengths of lines against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.intake.base import mark_base
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.seams.crevices import find_crevices
from seamwright.core.seams.glue import GlueRectangles, traces
from seamwright.core.seams.index import CREVICE, GLUE_LINE, MARKED, SeamIndex
from seamwright.core.seams.judge import OFF, JointSeams, Surroundings, judge_joints
from seamwright.core.seams.marks import KEEP_WHOLE, MAY_SHOW, MUST_HIDE, Marks, Viewpoint
from seamwright.core.seams.near import Segments, pairs_within, segments_of
from seamwright.core.seams.sampling import longest_run, surface_parts, visible_parts
from seamwright.core.seams.valleys import line_length
from seamwright.core.seams.view import seen_from
from shapes import box, icosphere, joined

NO_GLUE = GlueRectangles(*np.zeros((3, 0, 3)))


def grooved_block(depth: float = 0.04, half: float = 0.03, step: float = 0.01) -> Mesh:
    """A block 2 x 1 x 1 m on the floor, its middle at x = y = 0, with a V-groove round it where x = 0."""
    n = [round(side / step) for side in (2.0, 1.0, 1.0)]
    i, j, k = np.meshgrid(*(np.arange(size + 1) for size in n), indexing="ij", sparse=False)
    name = -np.ones(i.shape, dtype=np.int64)
    skin = (i == 0) | (i == n[0]) | (j == 0) | (j == n[1]) | (k == 0) | (k == n[2])
    name[skin] = np.arange(skin.sum())
    at = np.stack([i[skin], j[skin], k[skin]], axis=1)
    point = at * step - np.array([1.0, 0.5, 0.0])
    sink = depth * np.clip(1.0 - np.abs(point[:, 0]) / half, 0.0, None)
    point[:, 1] *= 1.0 - sink / 0.5
    point[:, 2] *= 1.0 - sink
    faces = []
    for axis in range(3):
        for end in (0, n[axis]):
            sheet = np.take(name, end, axis=axis)
            a, b, c, d = sheet[:-1, :-1], sheet[1:, :-1], sheet[1:, 1:], sheet[:-1, 1:]
            both = np.concatenate([np.stack([a, b, c], axis=-1), np.stack([a, c, d], axis=-1)]).reshape(-1, 3)
            # On the axes x and z the sheet's own two axes turn so that it faces up; on y down.
            faces.append(both if (end > 0) == (axis != 1) else both[:, ::-1])
    return mark_base(Mesh(point, np.concatenate(faces)))


def judged(
    mesh: Mesh,
    joint: Joint,
    seams: dict[int, list[np.ndarray]] | SeamIndex,
    *,
    gap: float = 0.0,
    glue: GlueRectangles = NO_GLUE,
    zones: np.ndarray | None = None,
    views: tuple[Viewpoint, ...] = (),
) -> JointSeams:
    index = seams if isinstance(seams, SeamIndex) else SeamIndex({k: segments_of(v) for k, v in seams.items()}, 0.025)
    result = cut(mesh, [joint], gap)
    marks = Marks(zones=zones)
    around = Surroundings(mesh, index, glue, marks.zone_of(len(mesh.triangles)), views, max(gap, 0.005), 0.06, gap)
    return judge_joints(around, [joint], result.lines, result.pieces)[0]


BLOCK = grooved_block()
BOTTOM = np.array([[0.0, -0.46, 0.0], [0.0, -0.46, 0.96], [0.0, 0.46, 0.96], [0.0, 0.46, 0.0]])
ROUND = 0.96 + 0.92 + 0.96


@pytest.mark.parametrize("gap", [0.0, 0.013])
@pytest.mark.parametrize("found", [False, True])
def test_exactly_on_a_groove(gap: float, found: bool) -> None:
    lines = list(find_crevices(BLOCK).lines) if found else [BOTTOM]
    got = judged(BLOCK, Plane((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), {CREVICE: lines}, gap=gap)
    assert got.visible == pytest.approx(ROUND, rel=1e-9)
    # A line that was found may stop a little short of the floor.
    assert got.share >= (0.995 if found else 1.0)
    assert got.furthest < (0.04 if found else 1e-9)
    assert got.run < (0.02 if found else 1e-9)
    assert got.by_kind == (pytest.approx(got.on_seam), 0.0, 0.0)
    assert {kind for _, kind in got.stretches} - {OFF} == {CREVICE}
    assert list(got.contacts) == [(0, 1)]


@pytest.mark.parametrize(("off", "share"), [(0.02, 1.0), (0.03, 0.0)])
def test_beside_a_line(off: float, share: float) -> None:
    # A flat block: 20 mm beside its marked line is on it, 30 mm beside is not.
    block = grooved_block(depth=0.0, step=0.05)
    line = np.array([[0.0, -0.5, 0.0], [0.0, -0.5, 1.0], [0.0, 0.5, 1.0], [0.0, 0.5, 0.0]])
    got = judged(block, Plane((off, 0.0, 0.0), (1.0, 0.0, 0.0)), {MARKED: [line]})
    assert got.visible == pytest.approx(3.0)
    assert got.share == share
    assert got.furthest == pytest.approx(off, abs=1e-12)
    assert got.by_kind == (0.0, pytest.approx(3.0 * share), 0.0)
    assert got.run == pytest.approx(3.0 * (1.0 - share))


def test_across_everything() -> None:
    block = grooved_block(depth=0.0, step=0.05)
    line = np.array([[0.0, -0.5, 0.0], [0.0, -0.5, 1.0], [0.0, 0.5, 1.0], [0.0, 0.5, 0.0]])
    got = judged(block, Plane((0.0, 0.01, 0.0), (0.0, 1.0, 0.0)), {MARKED: [line]})
    assert got.visible == pytest.approx(4.0)
    # It crosses the line once, on top: 25 mm to either side, told in parts of 5 mm or less.
    assert got.on_seam == pytest.approx(0.05, abs=0.005)
    # The farthest place lies at the foot of an end.
    assert got.furthest == pytest.approx(np.hypot(1.0, 0.49), abs=0.005)
    assert got.furthest_at == pytest.approx((1.0, 0.01, 0.0), abs=0.005) or got.furthest_at == pytest.approx(
        (-1.0, 0.01, 0.0), abs=0.005
    )
    assert got.run == pytest.approx(1.975, abs=0.005)
    # At random a line lies on the strip of 50 mm round the block's middle: all of its 3 m of 2 x 3 + 2 x 1 m2.
    index = SeamIndex({MARKED: segments_of([line])}, 0.025)
    assert index.chance(block) == pytest.approx(0.05 * 3.0 / 8.0, rel=0.02)


def test_off_the_groove_by_the_found_line() -> None:
    lines = list(find_crevices(BLOCK).lines)
    assert sum(line_length(line) for line in lines) == pytest.approx(ROUND, rel=0.05)
    got = judged(BLOCK, Plane((0.5, 0.0, 0.0), (1.0, 0.0, 0.0)), {CREVICE: lines})
    assert got.share == 0.0
    assert got.furthest == pytest.approx(0.5, abs=0.06)


def test_no_seam_at_all() -> None:
    got = judged(BLOCK, Plane((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), {})
    assert got.share == 0.0
    assert got.furthest == np.inf
    assert got.furthest_at is None
    assert got.run == pytest.approx(ROUND)


LEVEL = GlueRectangles(np.array([[-1.2, -0.7, 0.5]]), np.array([[2.44, 0.0, 0.0]]), np.array([[0.0, 1.22, 0.0]]))


@pytest.mark.parametrize(
    ("height", "share", "slab"),
    [(0.5, 1.0, None), (0.504, 1.0, None), (0.52, 1.0, 0.02), (0.53, 0.0, 0.03), (0.57, 0.0, None)],
)
def test_beside_a_glue_line(height: float, share: float, slab: float | None) -> None:
    block = mark_base(box((2.0, 1.0, 1.0), (-1.0, -0.5, 0.0)))
    index = SeamIndex({GLUE_LINE: traces(LEVEL, block)}, 0.025)
    got = judged(block, Plane((0.0, 0.0, height), (0.0, 0.0, 1.0)), index, glue=LEVEL)
    assert got.visible == pytest.approx(6.0)
    assert got.share == share
    assert got.furthest == pytest.approx(height - 0.5, abs=1e-9)
    assert got.glue_cut == 0.0
    if slab is None:
        assert got.slab is None
    else:
        assert got.slab is not None
        assert got.slab.thickness == pytest.approx(slab, abs=1e-9)
        assert got.slab.area == pytest.approx(2.0, rel=1e-6)


@pytest.mark.parametrize("gap", [0.0, 0.013])
def test_wire_meets_glue(gap: float) -> None:
    block = mark_base(box((2.0, 1.0, 1.0), (-1.0, -0.5, 0.0)))
    index = SeamIndex({GLUE_LINE: traces(LEVEL, block)}, 0.025)
    got = judged(block, Plane((0.2, 0.0, 0.0), (1.0, 0.0, 0.0)), index, glue=LEVEL, gap=gap)
    assert got.glue_cut == pytest.approx(1.0, rel=1e-9)
    assert got.slab is None
    assert got.on_seam == pytest.approx(0.1, abs=1e-9)
    # The rectangle ends at x = 1.24 - 1.2: past it there is no glue.
    short = GlueRectangles(LEVEL.corner, LEVEL.along * 0.5, LEVEL.across)
    assert judged(block, Plane((0.2, 0.0, 0.0), (1.0, 0.0, 0.0)), index, glue=short, gap=gap).glue_cut == 0.0
    assert judged(block, Plane((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), index, glue=short, gap=gap).glue_cut > 0.9


def test_profile_that_leaves_a_glue_line() -> None:
    block = mark_base(box((2.0, 1.0, 1.0), (-1.0, -0.5, 0.0)))
    index = SeamIndex({GLUE_LINE: traces(LEVEL, block)}, 0.025)
    # Along the glue line up to x = 0, then 40 mm over it from x = 0.04 on: 45 degrees between.
    points = [(-1.1, 0.0), (0.0, 0.0), (0.04, 0.04), (1.1, 0.04)]
    joint = Profile((0.0, 0.0, 0.5), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), points)
    got = judged(block, joint, index, glue=LEVEL)
    assert got.slab is not None
    assert got.slab.thickness == pytest.approx(0.04, abs=1e-9)
    assert got.slab.area == pytest.approx(0.96, rel=0.03)
    assert got.slab.where[0] > 0.03


def test_traces_are_the_outline_of_the_section() -> None:
    starts, ends = traces(LEVEL, BLOCK)
    assert np.linalg.norm(ends - starts, axis=1).sum() == pytest.approx(
        2.0 + 2.0 * (1.94 + 2.0 * np.hypot(0.03, 0.04)), rel=1e-9
    )
    assert np.abs(starts[:, 2] - 0.5).max() < 1e-12


def test_lengths_on_solids() -> None:
    ball = icosphere(5)
    line = cut(ball, [Plane((0.0, 0.0, 0.3), (0.3, 0.0, 1.0))]).lines[0]
    offset = 0.3 / np.hypot(0.3, 1.0)
    parts = visible_parts(line)
    assert parts.length.sum() == pytest.approx(2.0 * np.pi * np.sqrt(1.0 - offset**2), rel=2e-3)
    assert parts.length.sum() == pytest.approx(sum(own.lengths.sum() for own in line), rel=1e-12)
    assert parts.length.max() <= 0.005
    block = box((3.0, 2.0, 1.0), (0.0, 0.0, 0.0))
    slant = cut(block, [Plane((1.5, 1.0, 0.5), (1.0, 0.0, 1.0))]).lines[0]
    assert visible_parts(slant).length.sum() == pytest.approx(2.0 * (2.0 + np.sqrt(2.0)), rel=1e-12)


def test_longest_run_goes_round() -> None:
    (line,) = cut(box((1.0, 1.0, 1.0), (0.0, 0.0, 0.0)), [Plane((0.0, 0.0, 0.5), (0.0, 0.0, 1.0))]).lines[0]
    parts = visible_parts([line])
    assert longest_run(parts, np.ones(len(parts.length), dtype=bool))[0] == pytest.approx(4.0)
    assert longest_run(parts, np.zeros(len(parts.length), dtype=bool))[0] == 0.0
    # Bad all round but for the middle of one side: one run of 3.5 m, wherever the line begins.
    good = (np.abs(parts.point[:, 0]) < 1e-9) & (np.abs(parts.point[:, 1] - 0.5) < 0.25)
    length, place = longest_run(parts, ~good)
    assert length == pytest.approx(3.5)
    assert place == pytest.approx((1.0, 0.5, 0.5), abs=0.01)


def test_zones() -> None:
    block = grooved_block(depth=0.0, step=0.05)
    middle = block.vertices[block.triangles].mean(axis=1)
    zones = np.zeros(len(block.triangles), dtype=np.uint8)
    zones[(middle[:, 2] > 0.999) & (middle[:, 1] > 0.25)] = KEEP_WHOLE
    zones[(middle[:, 2] > 0.999) & (middle[:, 1] < -0.25)] = MAY_SHOW
    zones[middle[:, 1] > 0.499] = MUST_HIDE
    for gap in (0.0, 0.013):
        got = judged(block, Plane((0.21, 0.0, 0.0), (1.0, 0.0, 0.0)), {}, zones=zones, gap=gap)
        assert got.zones == pytest.approx((1.0 + 0.5, 0.25, 0.25, 1.0), abs=0.011)
        assert got.judged == pytest.approx(2.75, abs=0.011)
        assert got.hide_off == pytest.approx(1.0, abs=0.011)
        assert got.zone_at[KEEP_WHOLE] is not None
    clear = judged(block, Plane((0.0, 0.0, 0.5), (0.0, 0.0, 1.0)), {}, zones=zones)
    assert clear.zones[KEEP_WHOLE] == 0.0


def test_seen_part_of_a_ball() -> None:
    # From a distance of three radii the eye sees the equator over twice acos(1 / 3) of its round.
    ball = icosphere(6)
    eye, ahead, up = np.array([[3.0, 0.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    view = Viewpoint("front", eye, ahead, up, 0.5, 0.5)
    got = judged(ball, Plane((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), {}, views=(view,))
    assert got.seen is not None
    # Past the horizon the surface drops by the 9 mm that are let pass within three degrees: a share of 0.016.
    assert got.seen / got.visible == pytest.approx(np.arccos(1.0 / 3.0) / np.pi + 0.008, abs=0.01)
    assert got.contacts[(0, 1)].seen == got.seen
    assert got.contacts[(0, 1)].seen_on_seam == 0.0


def test_what_stands_before_it_hides_it() -> None:
    wall = box((0.1, 4.0, 1.0), (0.0, -2.0, 0.0))
    post = box((0.1, 0.4, 1.0), (2.0, -0.2, 0.0))
    both = joined(wall, post)
    view = Viewpoint("v", np.array([4.0, 0.0, 0.5]), np.array([-1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0]), 1.0, 0.5)
    points = np.stack([np.full(401, 0.1), np.linspace(-2.0, 2.0, 401), np.full(401, 0.4)], axis=1)
    seen = seen_from(view, both, points)
    # The post at 1.9 m from the eye covers 0.2 / 1.9 of the distance to either side.
    hidden = np.abs(points[:, 1]) < 0.2 / 1.9 * 3.9
    assert np.abs(seen.astype(int) - (~hidden).astype(int)).sum() <= 6
    # What lies behind the wall, and what is out of the picture, is not seen.
    assert not seen_from(view, both, points - np.array([0.1, 0.0, 0.0])).any()
    aside = Viewpoint("v", np.array([4.0, 0.0, 0.5]), np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0]), 0.2, 0.2)
    assert not seen_from(aside, both, points).any()


def test_nearest_is_what_brute_force_finds() -> None:
    rng = np.random.default_rng(4)
    starts = rng.uniform(-1.0, 1.0, (300, 3))
    ends = starts + rng.normal(scale=0.2, size=(300, 3))
    points = rng.uniform(-1.5, 1.5, (2000, 3))
    along = ends - starts
    share = np.clip(((points[:, None] - starts) * along).sum(axis=2) / (along**2).sum(axis=1), 0.0, 1.0)
    truth = np.linalg.norm(points[:, None] - starts - share[:, :, None] * along, axis=2)
    away, which = Segments(starts, ends, 0.3).nearest(points)
    near = truth.min(axis=1) <= 0.3
    assert (np.isfinite(away) == near).all()
    assert np.allclose(away[near], truth.min(axis=1)[near], atol=1e-12)
    assert (which[near] == truth.argmin(axis=1)[near]).all()
    index = SeamIndex({CREVICE: (starts, ends)}, 0.025)
    assert np.allclose(index.nearest(points)[0], truth.min(axis=1), atol=1e-12)
    one, two, apart = pairs_within(starts, 0.5)
    full = np.linalg.norm(starts[:, None] - starts, axis=2)
    assert len(one) == (full <= 0.5).sum()
    assert np.allclose(apart, full[one, two])


def test_surface_parts_keep_the_area() -> None:
    block = mark_base(box((2.0, 1.0, 1.0), (-1.0, -0.5, 0.0)))
    points, areas = surface_parts(block, 0.03)
    assert areas.sum() == pytest.approx(8.0, rel=1e-12)
    assert np.abs(np.average(points, axis=0, weights=areas) - (0.0, 0.0, (6.0 * 0.5 + 2.0) / 8.0)).max() < 1e-12


def test_stretches_say_what_they_keep_to() -> None:
    block = grooved_block(depth=0.0, step=0.05)
    line = np.array([[0.0, -0.5, 1.0], [0.0, 0.0, 1.0]])
    got = judged(block, Plane((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), {MARKED: [line]})
    states = [kind for _, kind in got.stretches]
    assert sorted(set(states)) == [OFF, MARKED]
    marked = sum(line_length(points) for points, kind in got.stretches if kind == MARKED)
    assert marked == pytest.approx(got.on_seam, abs=0.011)
