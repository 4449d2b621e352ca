# SPDX-License-Identifier: GPL-3.0-or-later
"""Crevices on rocks whose grooves are known, and on a figure scanned twice.

The bars are the issue's: precision and recall .93 on average without noise and with 1 mm, none under .88; with 3 mm
precision .93 and recall .85 on average, none under .80. Recall is counted in two ways: of the area within 25 mm of a
groove the share found (the harder one), and of the grooves' length the share with a found vertex within 25 mm. A wider
sweep is `tests/crevice_report.py`; the seeds here are not those that the constants were chosen on (10 to 67).
"""

from __future__ import annotations

import numpy as np
import pytest
from datasets import WELSH_DRAGON, path_of
from planted_rocks import SHAPES, planted_rock, score, vertex_areas
from scipy.spatial import cKDTree
from seamwright.core import Job, Mesh, find_crevices
from seamwright.core.errors import MeshError
from seamwright.core.intake.mend import Recipe
from seamwright.core.intake.prepare import prepare
from seamwright.core.intake.readers import read_mesh
from seamwright.core.mesh.topology import require_closed
from seamwright.core.seams.valleys import line_length
from shapes import box, icosphere


@pytest.mark.parametrize("shape", SHAPES)
def test_rocks_are_what_they_say(shape: str) -> None:
    rock = planted_rock(shape, 20_000, 5)
    require_closed(rock.mesh)
    assert len(rock.mesh.triangles) == pytest.approx(20_000, rel=0.05)
    # The same courses at any number of triangles and any noise.
    other = planted_rock(shape, 40_000, 5, noise=0.003)
    assert all((a == b).all() for a, b in zip(rock.grooves, other.grooves, strict=True))
    # On a fine mesh vertices come as near to a course as half its spacing, and the valley is as deep there as said.
    fine = planted_rock(shape, 300_000, 5)
    near = cKDTree(fine.mesh.vertices).query(np.concatenate(fine.grooves)[::10])[0]
    assert np.median(near) < 0.012
    assert len(planted_rock(shape, 20_000, 5, spacing=0.5).grooves) == pytest.approx(2 * len(rock.grooves), abs=1)


CASES = [
    ("solid", 200_000, 101, 1.0, 0.0),
    ("ring", 200_000, 102, 1.0, 0.001),
    ("U", 200_000, 103, 0.5, 0.003),
    ("solid", 500_000, 104, 0.5, 0.001),
    ("U", 500_000, 105, 1.0, 0.003),
]


@pytest.fixture(scope="module", params=CASES, ids=lambda case: "-".join(str(part) for part in case))
def case(request: pytest.FixtureRequest):  # type: ignore[no-untyped-def]
    shape, triangles, seed, spacing, noise = request.param
    rock = planted_rock(shape, triangles, seed, spacing, noise, isotropic=seed % 2 == 0)
    return rock, find_crevices(rock.mesh), noise


def test_grooves_are_found(case) -> None:  # type: ignore[no-untyped-def]
    rock, found, noise = case
    got = score(rock, found.is_crevice)
    assert got.precision >= (0.88 if noise < 0.002 else 0.8)
    assert got.recall >= (0.88 if noise < 0.002 else 0.8)
    assert got.line_recall >= (0.93 if noise < 0.002 else 0.85)
    # By the strength alone, without lines: the strongest area as large as the truth lies where the truth is.
    area = vertex_areas(rock.mesh) * rock.counted
    order = np.argsort(-found.strength * rock.counted, kind="stable")
    top = order[: np.searchsorted(np.cumsum(area[order]), 0.5 * area[rock.distance <= 0.025].sum())]
    assert area[top][rock.distance[top] <= 0.025].sum() / area[top].sum() > 0.93


def test_lines_run_where_grooves_run(case) -> None:  # type: ignore[no-untyped-def]
    rock, found, _ = case
    tree = cKDTree(np.concatenate(rock.grooves))
    away = [tree.query(line)[0] for line in found.lines if line[:, 2].mean() > 0.15]
    assert np.median(np.concatenate(away)) < 0.008
    planted = sum(line_length(groove) for groove in rock.grooves)
    assert found.lengths.sum() == pytest.approx(planted, rel=0.08)
    assert np.allclose(found.lengths, [line_length(line) for line in found.lines])
    assert (np.diff(found.lengths) <= 1e-12).all()
    # Depths as planted, 20 to 50 mm, less what the mesh's edges cut off; the swelling adds some at the longest.
    assert 0.015 < np.median(found.depths) < 0.05
    for line in found.lines:
        assert np.linalg.norm(np.diff(line, axis=0), axis=1).max() < 8.0 * found.scale


def test_nothing_on_plain_solids() -> None:
    for mesh in (icosphere(5), box((2.0, 1.0, 1.0))):
        found = find_crevices(mesh)
        assert not found.is_crevice.any()
        assert found.lines == ()
        assert found.strength.max() < 0.05


def test_same_mesh_same_answer_and_any_place() -> None:
    rock = planted_rock("solid", 60_000, 7)
    one, two = find_crevices(rock.mesh), find_crevices(Mesh(rock.mesh.vertices, rock.mesh.triangles))
    assert (one.strength == two.strength).all()
    assert all((a == b).all() for a, b in zip(one.lines, two.lines, strict=True))
    shift = np.array([1000.0, -400.0, 0.0]) * one.scale
    shifted = Mesh(rock.mesh.vertices + shift, rock.mesh.triangles)
    three = find_crevices(shifted)
    assert (three.is_crevice != one.is_crevice).mean() < 0.01


def test_open_scans_do_not_leak() -> None:
    # A hole in the base opens whole columns: they are left out, and the rest is told as before.
    rock = planted_rock("solid", 60_000, 7)
    whole = find_crevices(rock.mesh)
    floor = (rock.mesh.vertices[rock.mesh.triangles][:, :, 2] == 0.0).all(axis=1)
    drop = np.flatnonzero(floor)[len(floor.nonzero()[0]) // 2 :][:4]
    left = Mesh(rock.mesh.vertices, np.delete(rock.mesh.triangles, drop, axis=0))
    found = find_crevices(left, whole.scale)
    assert (found.is_crevice == whole.is_crevice).mean() > 0.99


def test_what_cannot_be_looked_at() -> None:
    with pytest.raises(MeshError, match="no triangles"):
        find_crevices(Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int)))
    for scale in (0.0, -1.0, np.nan):
        with pytest.raises(MeshError, match="positive"):
            find_crevices(box(), scale)
    with pytest.raises(MeshError, match="too fine"):
        find_crevices(box((20.0, 20.0, 20.0)), 0.001)


def test_a_figure_scanned_twice() -> None:
    """The Welsh Dragon at 3 m: the strongest 3 % of its surface are found again under 1 mm noise within 25 mm."""
    scan = read_mesh(path_of(WELSH_DRAGON))
    scan = Mesh(scan.vertices * (3.0 / np.ptp(scan.vertices, axis=0).max()), scan.triangles)
    mesh = prepare(scan, base="as-is", recipe=Recipe.of(Job().carving)).mesh
    corner = mesh.vertices[mesh.triangles]
    area = np.linalg.norm(np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1) / 2.0
    weight = np.bincount(mesh.triangles.reshape(-1), np.repeat(area / 3.0, 3), minlength=len(mesh.vertices))
    noise = np.random.default_rng(11).normal(scale=0.001, size=mesh.vertices.shape)
    tops = []
    for moved in (mesh, Mesh(mesh.vertices + noise, mesh.triangles)):
        order = np.argsort(-find_crevices(moved).strength, kind="stable")
        tops.append(order[: int(np.searchsorted(np.cumsum(weight[order]), 0.03 * weight.sum()))])
    for one, two in (tops, tops[::-1]):
        away = cKDTree(mesh.vertices[two]).query(mesh.vertices[one])[0]
        assert np.average(away <= 0.025, weights=weight[one]) >= 0.97
        # By the very same vertices, without any tolerance.
        assert np.average(np.isin(one, two), weights=weight[one]) >= 0.9
