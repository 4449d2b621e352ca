# SPDX-License-Identifier: GPL-3.0-or-later
"""Steps of mending one by one, against closed forms: patches, splitting, cracks, floor, scale, guesses, a new skin."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from planted import near
from seamwright.core import Job
from seamwright.core.errors import JobError, MeshError, NotClosedError
from seamwright.core.intake.cracks import weld_open
from seamwright.core.intake.diagnose import diagnose
from seamwright.core.intake.draft import Draft
from seamwright.core.intake.fill import fill_holes
from seamwright.core.intake.floor import clip_above, find_floor
from seamwright.core.intake.guess import likely_units, likely_up
from seamwright.core.intake.mend import Recipe, mend
from seamwright.core.intake.nearest import distances
from seamwright.core.intake.orient import turn_outwards
from seamwright.core.intake.patch import MOST_CORNERS, span_hole
from seamwright.core.intake.prepare import prepare, set_upright
from seamwright.core.intake.remesh import deviation, remesh
from seamwright.core.intake.split import split_edges
from seamwright.core.intake.table import EdgeTable
from seamwright.core.intake.taped import scale_from_tapes, scale_taped
from seamwright.core.intake.weld import weld
from seamwright.core.intake.words import length, place
from seamwright.core.mesh.mass import areas, volume
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import components, edge_report
from shapes import bottomless, box, cells, cylinder, grid_box, icosphere, joined, moved, rock, turned, without


def closed(mesh: Mesh) -> bool:
    return edge_report(mesh.triangles).closed


# Patches.


@pytest.mark.parametrize("radius", [0.15, 0.3, 0.5])
def test_a_patch_on_a_ball_goes_on_as_a_ball(radius: float) -> None:
    """The part of a unit ball that is missing is known: the patch lies within a part of its height from it."""
    ball = icosphere(5)
    open_ball = without(ball, near(ball, np.array([0.0, 0.0, 1.0]), radius))
    filled, (change,) = fill_holes(Draft.of(open_ball), 1.5)
    assert closed(filled.mesh)
    made = np.unique(filled.mesh.triangles[filled.source < 0])
    off = np.linalg.norm(filled.mesh.vertices[made], axis=1) - 1.0
    wide = 0.5 * diagnose(open_ball).holes[0].across
    height = 1.0 - math.sqrt(1.0 - wide * wide)
    assert np.abs(off).max() < 0.25 * height
    assert "1 hole filled" in change.text
    assert volume(filled.mesh) == pytest.approx(volume(ball), rel=2e-3 * radius)


def test_a_flat_hole_gets_a_flat_patch() -> None:
    slab = grid_box((20, 20, 4), (2.0, 2.0, 0.4))
    gap = near(slab, np.array([1.0, 1.0, 0.4]), 0.4) & (slab.corners()[:, :, 2] == 0.4).all(axis=1)
    filled, _ = fill_holes(Draft.of(without(slab, gap)), 2.0)
    assert volume(filled.mesh) == pytest.approx(volume(slab), rel=1e-12)
    assert areas(filled.mesh).sum() == pytest.approx(areas(slab).sum(), rel=1e-12)


def test_only_holes_up_to_the_width_are_filled() -> None:
    ball = icosphere(4)
    ways = np.eye(3)
    drop = near(ball, ways[0], 0.1) | near(ball, ways[1], 0.3)
    draft, (change,) = fill_holes(Draft.of(without(ball, drop)), 0.4)
    assert change.count == 1
    found = diagnose(draft.mesh)
    assert [fault.kind for fault in found.faults] == ["open"]
    assert found.holes[0].middle[1] > 0.9
    with pytest.raises(NotClosedError, match=r"1 hole .* mm across, .*raise fill|Raise fill from 400 mm to over"):
        prepare(without(ball, drop), recipe=Recipe(fill=0.4))


@given(st.integers(3, 40), st.integers(0, 1000))
def test_any_rim_is_spanned_by_its_corners(count: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    angle = 2.0 * np.pi * np.arange(count) / count
    rim = np.stack([np.cos(angle), np.sin(angle), random.normal(size=count) * 0.3], axis=1)
    made = span_hole(rim, np.tile([0.0, 0.0, 1.0], (count, 1)), np.zeros((count, count), dtype=bool))
    assert made is not None
    assert made.shape == (count - 2, 3)
    edges = {(int(a), int(b)) for t in made for a, b in zip(t, np.roll(t, -1), strict=True)}
    rim_edges = {((k + 1) % count, k) for k in range(count)}
    assert {edge for edge in edges if edge[::-1] not in edges} == rim_edges


def test_a_joined_pair_of_corners_is_not_joined_again() -> None:
    square = np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]])
    up = np.tile([0.0, 0.0, 1.0], (4, 1))
    for a, b in ((0, 2), (1, 3)):
        forbidden = np.zeros((4, 4), dtype=bool)
        forbidden[a, b] = forbidden[b, a] = True
        made = span_hole(square, up, forbidden)
        assert made is not None
        assert not any({a, b} <= set(t) for t in made.tolist())
    forbidden[:] = True
    assert span_hole(square, up, forbidden) is None


def test_a_very_long_rim_is_laid_flat() -> None:
    tube = bottomless(cylinder(2 * MOST_CORNERS, 1.0, 1.0, 1))
    filled, _ = fill_holes(Draft.of(tube), 3.0, base=False)
    assert closed(filled.mesh)
    assert volume(filled.mesh) == pytest.approx(volume(cylinder(2 * MOST_CORNERS, 1.0, 1.0, 1)), rel=1e-9)


def test_the_same_holes_get_the_same_patches() -> None:
    ball = icosphere(4)
    gap = without(ball, near(ball, np.eye(3)[0], 0.4))
    one, two = (fill_holes(Draft.of(gap), 2.0)[0].mesh for _ in range(2))
    assert one.vertices.tobytes() == two.vertices.tobytes()
    assert one.triangles.tobytes() == two.triangles.tobytes()


# Splitting.


def test_bodies_that_touch_along_an_edge_are_parted() -> None:
    both = weld(joined(box(), box(low=(1.0, 1.0, 0.0)))).mesh
    assert len(edge_report(both.triangles).non_manifold) == 1
    draft, (change,) = split_edges(Draft.of(both))
    assert closed(draft.mesh)
    assert volume(draft.mesh) == pytest.approx(2.0)
    assert components(draft.mesh.triangles).max() == 1
    assert "near (1.000, 1.000, 0.500) m" in change.text


def test_checkerboard_of_cells_is_parted_into_solids() -> None:
    """Cells that touch along edges and in corners: many edges with four triangles, several at one vertex."""
    filled = np.indices((3, 3, 3)).sum(axis=0) % 2 == 0
    board = weld(joined(*(moved(box(), shift=tuple(at)) for at in np.argwhere(filled).astype(float)))).mesh
    assert len(edge_report(board.triangles).non_manifold) > 20
    intake = prepare(board, recipe=Recipe())
    assert closed(intake.mesh)
    assert intake.volume == pytest.approx(float(filled.sum()))


# Winding.


def test_a_band_with_half_a_twist_is_refused_by_name() -> None:
    count = 24
    angle = 2.0 * np.pi * np.arange(count) / count
    out = np.stack([np.cos(angle), np.sin(angle), np.zeros(count)], axis=1)
    rise = 0.3 * (np.cos(angle / 2)[:, None] * out + np.sin(angle / 2)[:, None] * [0.0, 0.0, 1.0])
    vertices = np.concatenate([out - rise, out + rise])
    rows = []
    for k in range(count):
        a, b, c, d = k, (k + 1) % count, (k + 1) % count + count, k + count
        if k == count - 1:
            b, c = c, b
        rows += [[a, b, c], [a, c, d]]
    band = Mesh(vertices, rows)
    with pytest.raises(NotClosedError, match="one-sided band"):
        prepare(band, recipe=Recipe(fill=10.0))


@given(st.integers(0, 10_000))
def test_any_shuffle_of_windings_is_undone(seed: int) -> None:
    random = np.random.default_rng(seed)
    body = joined(rock(2), moved(rock(2, seed=5), shift=(4.0, 0.0, 0.0)))
    flip = random.random(len(body.triangles)) < random.random()
    triangles = body.triangles.copy()
    triangles[flip] = triangles[flip, ::-1]
    draft, _ = turn_outwards(Draft.of(Mesh(body.vertices, triangles)))
    assert volume(draft.mesh) == pytest.approx(volume(body), rel=1e-12)
    assert closed(draft.mesh)


# Cracks.


@pytest.mark.parametrize(("off", "heals"), [(0.0, True), (3e-5, True), (3e-3, False)])
def test_cracks_under_a_hair_are_welded(off: float, heals: bool) -> None:
    stone = rock(3)
    random = np.random.default_rng(2)
    soup = stone.corners().reshape(-1, 3) + off * random.uniform(-1.0, 1.0, (3 * len(stone.triangles), 3))
    draft, changes = weld_open(Draft.of(Mesh(soup, np.arange(len(soup)).reshape(-1, 3))))
    assert closed(draft.mesh) == heals
    assert bool(changes) == heals


# Floor.


def on_a_floor(tilt: float, noise: float, seed: int = 3) -> tuple[Mesh, float]:
    """A boulder that stands in a scrap of floor, and the volume over the floor before it is tilted."""
    count = 90
    line = np.linspace(-1.5, 1.5, count + 1)
    x, y = np.meshgrid(line, line)
    random = np.random.default_rng(seed)
    away = np.hypot(x / 0.8, y / 0.6)
    rise = 0.9 * np.sqrt(np.clip(1.0 - away**4, 0.0, None))
    z = rise + noise * random.normal(size=x.shape)
    names = np.arange((count + 1) ** 2).reshape(count + 1, count + 1)
    a, b, c, d = (names[i : i + count, j : j + count].ravel() for i, j in ((0, 0), (0, 1), (1, 1), (1, 0)))
    scan = Mesh(np.stack([x, y, z], axis=-1).reshape(-1, 3), np.concatenate([np.c_[a, b, c], np.c_[a, c, d]]))
    over = np.clip(scan.corners()[:, :, 2].mean(axis=1), 0.0, None).sum() * 0.5 * (3.0 / count) ** 2
    return moved(scan, turned((1.0, 0.5, 0.0), tilt), (0.0, 0.0, 0.4)), float(over)


@pytest.mark.parametrize(("tilt", "noise"), [(0.0, 0.0), (0.02, 0.001), (0.1, 0.002), (-0.15, 0.003)])
def test_the_floor_is_found_whatever_stands_on_it(tilt: float, noise: float) -> None:
    scan, _ = on_a_floor(tilt, noise)
    floor = find_floor(scan, EdgeTable.of(scan.triangles))
    assert floor is not None
    truth = turned((1.0, 0.5, 0.0), tilt) @ [0.0, 0.0, 1.0]
    assert math.acos(min(1.0, float(floor.normal @ truth))) < math.radians(0.05)
    assert abs((floor.point - [0.0, 0.0, 0.4]) @ truth) < 0.0005
    assert floor.tilt == pytest.approx(abs(tilt), abs=math.radians(0.05))
    assert floor.rough == pytest.approx(noise, rel=0.15, abs=1e-6)
    assert floor.area == pytest.approx(9.0 - math.pi * 0.48, rel=0.1)


@pytest.mark.parametrize(("tilt", "noise"), [(0.0, 0.0005), (0.1, 0.001)])
def test_the_floor_is_cut_off_and_the_base_closed_there(tilt: float, noise: float) -> None:
    scan, over = on_a_floor(tilt, noise)
    assert {fault.kind for fault in diagnose(scan).faults} >= {"open", "floor"}
    steps = ("weld", "doubles", "split", "orient", "floor", "crumbs", "fill")
    intake = prepare(scan, recipe=Recipe(steps))
    assert closed(intake.mesh)
    assert any("of floor cut off" in note for note in intake.notes)
    assert any("the open base was closed (1 loop" in note for note in intake.notes)
    assert intake.volume == pytest.approx(over, rel=0.02)
    assert intake.base_area == pytest.approx(math.pi * 0.48, rel=0.1)
    assert np.ptp(intake.mesh.vertices[intake.mesh.triangles[intake.mesh.kind == 2], 2]) == 0.0


def test_no_floor_where_none_was_scanned() -> None:
    for mesh in (bottomless(cylinder()), bottomless(rock(4)), rock(4), bottomless(grid_box())):
        assert find_floor(mesh, EdgeTable.of(mesh.triangles)) is None


@given(st.floats(-0.9, 0.9))
def test_clipping_keeps_what_is_over(level: float) -> None:
    ball = icosphere(3)
    part = clip_above(Draft.of(ball), level + 1e-7)
    assert part.mesh.vertices[:, 2].min() >= level
    capped = prepare(part.mesh)
    whole = math.pi * (1.0 - level) ** 2 * (2.0 + level) / 3.0
    assert capped.volume == pytest.approx(whole, abs=0.02 * volume(ball))
    below = clip_above(Draft.of(moved(ball, np.diag([1.0, -1.0, -1.0]))), -level - 1e-7)
    assert capped.volume + prepare(below.mesh).volume == pytest.approx(volume(ball), rel=1e-9)


# Scale.


def test_scale_from_one_tape_is_exact() -> None:
    scale = scale_from_tapes(np.array([[[0.0, 0, 0], [2.0, 0, 0]]]), np.array([2.5]))
    assert scale.factor == pytest.approx(1.25, rel=1e-15)
    assert scale.residual == pytest.approx([0.0], abs=1e-15)
    (note,) = scale.findings()
    assert note.severity == "note"


@given(st.floats(0.01, 100.0), st.integers(2, 9), st.integers(0, 999))
def test_scale_from_tapes_is_the_least_squares_one(factor: float, count: int, seed: int) -> None:
    """Against numpy's own solver on the same relative residuals."""
    random = np.random.default_rng(seed)
    points = random.normal(size=(count, 2, 3))
    found = np.linalg.norm(points[:, 1] - points[:, 0], axis=1)
    taped = factor * found * (1.0 + 0.003 * random.normal(size=count))
    scale = scale_from_tapes(points, taped)
    expected = np.linalg.lstsq((found / taped)[:, None], np.ones(count), rcond=None)[0][0]
    assert scale.factor == pytest.approx(expected, rel=1e-12)
    assert scale.residual == pytest.approx(scale.factor * found / taped - 1.0, abs=1e-12)
    warned = [f for f in scale.findings(points.mean(axis=1)) if f.severity == "warning"]
    assert len(warned) == int((np.abs(scale.residual) > 0.005).sum())


def test_a_tape_that_misses_is_told() -> None:
    points = np.array([[[0.0, 0, 0], [1.0, 0, 0]], [[0.0, 0, 0], [0.0, 2.0, 0]], [[0.0, 0, 0], [0.0, 0, 1.0]]])
    found = scale_from_tapes(points, np.array([1.0, 2.0, 1.03])).findings()
    assert [f.severity for f in found].count("warning") == 3
    assert "Taped distance 3 of 1.030 m is 20.4 mm too long" in found[-1].message


@pytest.mark.parametrize(
    ("points", "taped"),
    [
        ([], []),
        ([[[0, 0, 0], [0, 0, 0]]], [1.0]),
        ([[[0, 0, 0], [1, 0, 0]]], [0.0]),
        ([[[0, 0, 0], [1, 0, 0]]], [1, 2]),
    ],
)
def test_tapes_that_say_nothing_are_refused(points: list[object], taped: list[float]) -> None:
    with pytest.raises(JobError, match="taped distance"):
        scale_from_tapes(np.array(points, dtype=float).reshape(-1, 2, 3), np.array(taped, dtype=float))


def test_a_job_scales_by_its_tapes() -> None:
    text = '[carving]\ntaped = [{ a = ["0 m", "0 m", "0 m"], b = ["1 m", "0 m", "0 m"], length = "2500 mm" }]'
    scaled, (note,) = scale_taped(box(), Job.from_toml(text).carving.taped)
    assert scaled.size == pytest.approx([2.5, 2.5, 2.5])
    assert note.check == "taped_scale"
    assert scale_taped(box(), ())[1] == ()


# Guesses.


@pytest.mark.parametrize(("longest", "first"), [(2.4, "m"), (2400.0, "mm"), (240.0, "cm"), (40.0, "in"), (1e-6, None)])
def test_units_that_would_be_usual(longest: float, first: str | None) -> None:
    words = [guess.word for guess in likely_units(longest)]
    assert words[:1] == ([first] if first else []) or first in words
    assert all("longest side" in guess.reason for guess in likely_units(longest))


@pytest.mark.parametrize("up", ["z", "-z", "y", "-y", "x", "-x"])
@pytest.mark.parametrize("has_base", [True, False])
def test_up_is_told_by_the_foot(up: str, has_base: bool) -> None:
    """A boulder cut off level, with or without its base, turned so that each axis in its turn points up."""
    stone = prepare(clip_above(Draft.of(rock(4)), -0.2).mesh).mesh
    stone = stone if has_base else bottomless(stone)
    basis = set_upright(Mesh(np.eye(3), [[0, 1, 2]]), up=up).vertices.T
    there = Mesh(stone.vertices @ basis, stone.triangles)
    guess = likely_up(there, EdgeTable.of(there.triangles))
    assert guess is not None
    assert guess.word == up
    assert ("flat surface" if has_base else "an open rim") in guess.reason


def test_up_is_not_guessed_without_a_foot() -> None:
    for mesh in (box(), rock(4), icosphere(3), cylinder(), grid_box()):
        assert likely_up(mesh, EdgeTable.of(mesh.triangles)) is None


# A new skin.


@pytest.fixture
def few_samples(monkeypatch: pytest.MonkeyPatch) -> None:
    """Quicker: how near the samples must lie is for tests/outside/test_new_skin.py."""
    monkeypatch.setattr("seamwright.core.intake.remesh._SAMPLES", 3000)
    monkeypatch.setattr("seamwright.core.intake.remesh._MOST_SAMPLES", 6000)


def blocky(mesh: Mesh, voxel: float) -> Mesh:
    """A stand-in for a remesher: the skin of the cells whose middles lie in a unit ball."""
    cells_along = math.ceil(2.4 / voxel)
    line = (np.arange(cells_along) + 0.5) * voxel - 0.5 * cells_along * voxel
    x, y, z = np.meshgrid(line, line, line, indexing="ij")
    filled = x * x + y * y + z * z < 1.0
    skin = cells(filled, (cells_along * voxel,) * 3)
    return moved(skin, shift=(-0.5 * cells_along * voxel,) * 3)


def test_distance_to_a_ball_is_known() -> None:
    ball = icosphere(4)
    random = np.random.default_rng(1)
    points = random.normal(size=(2000, 3))
    off = np.abs(np.linalg.norm(points, axis=1) - 1.0)
    assert distances(points, ball) == pytest.approx(off, abs=0.002)
    assert distances(ball.vertices, ball).max() < 1e-12
    assert distances(np.array([[50.0, 0.0, 0.0]]), ball) == pytest.approx([49.0], abs=0.002)


def test_deviation_both_ways(few_samples: None) -> None:
    """A plate and the same plate with a far corner pulled out: one way is not the other."""
    plate = grid_box((10, 10, 1), (1.0, 1.0, 0.1))
    both = joined(plate, box((0.1, 0.1, 0.1), (0.0, 0.0, 0.6)))
    there = deviation(plate, both)
    assert (there.largest_to, there.rms_to) == pytest.approx((0.0, 0.0), abs=1e-12)
    assert there.largest_back == pytest.approx(0.6, rel=1e-9)
    assert 0.05 < there.rms_back < 0.2


def test_remesh_goes_finer_until_it_is_near_enough(few_samples: None) -> None:
    ball = icosphere(3)
    made = remesh(ball, 0.06, blocky)
    assert made.near_enough
    assert made.voxel in (pytest.approx(0.12), pytest.approx(0.06))
    assert made.deviation.largest_back <= 0.06
    rough = remesh(ball, 0.002, lambda mesh, voxel: blocky(mesh, 0.2))
    assert not rough.near_enough
    with pytest.raises(MeshError, match="no closed skin"):
        remesh(ball, 0.1, lambda mesh, voxel: bottomless(box()))


def test_remesh_as_a_step_says_its_deviation(few_samples: None) -> None:
    job = Job.from_toml('[carving]\nmend = "steps"\nsteps = ["remesh"]\ndeviation = "60 mm"')
    recipe = Recipe.of(job.carving)
    assert recipe is not None
    ball = icosphere(3)
    intake = prepare(without(ball, near(ball, np.eye(3)[2], 0.2)), recipe=recipe, remesher=blocky)
    assert (intake.source == -1).all()
    assert "a new skin was laid over it with voxels of " in intake.notes[-1]
    with pytest.raises(MeshError, match="needs Blender"):
        prepare(ball, recipe=recipe)


# The recipe.


def test_recipe_of_a_job() -> None:
    assert Recipe.of(Job().carving) == Recipe()
    assert Recipe.of(Job.from_toml('[carving]\nmend = "none"').carving) is None
    text = '[carving]\nmend = "steps"\nsteps = ["fill", "weld"]\nfill = "1 ft"\ncrumb = "2 l"\nbase = "as-is"'
    assert Recipe.of(Job.from_toml(text).carving) == Recipe(("fill", "weld"), 0.002, 0.3048, 0.005, False)
    with pytest.raises(JobError, match="no step of mending"):
        mend(Draft.of(box()), Recipe(("polish",)))


def test_each_step_is_optional() -> None:
    ball = icosphere(3)
    gap = without(ball, near(ball, np.eye(3)[0], 0.0))
    assert prepare(gap, recipe=Recipe(("fill",), fill=0.5)).notes[0].startswith("1 hole filled")
    with pytest.raises(NotClosedError, match='Add "fill" to the steps'):
        prepare(gap, recipe=Recipe(("weld", "orient")))
    with pytest.raises(NotClosedError, match="6 open edges"):
        prepare(gap, recipe=None)


def test_closed_crumbs_that_are_the_carving_stay() -> None:
    """A carving made of many small stones: none may go."""
    stones = joined(*(moved(icosphere(1, 0.04), shift=(0.1 * k, 0.0, 0.0)) for k in range(10)))
    intake = prepare(stones, recipe=Recipe())
    assert intake.volume == pytest.approx(volume(stones))
    assert intake.notes == ()


# Words.


def test_words() -> None:
    assert [length(x) for x in (0.00012, 0.0042, 0.14, 2.345)] == ["0.12 mm", "4.2 mm", "140 mm", "2.35 m"]
    low, high = np.zeros(3), np.ones(3)
    assert place(np.array([0.5, 0.9, 0.1]), low, high) == "low at the back"
    assert place(np.array([0.1, 0.1, 0.9]), low, high) == "high at the front left"
    assert place(np.array([0.5, 0.5, 0.5]), low, high) == "half way up in the middle"
