# SPDX-License-Identifier: GPL-3.0-or-later
"""Block-up: where billets lie, which hold some carving, what they are cut from, glue lines, a real one from points."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from seamwright.core.blockup.billets import least_overlap, make_billets, unsupported
from seamwright.core.blockup.fit_points import fit_to_points
from seamwright.core.blockup.glue_lines import BED, BUTT, GlueLines
from seamwright.core.blockup.held import held_billets
from seamwright.core.blockup.layout import Layout
from seamwright.core.blockup.packing import count_billets, cut_from_billets, fewest_for
from seamwright.core.blockup.plan import plan_blockup
from seamwright.core.blockup.search import search_position
from seamwright.core.errors import Cancelled, JobError, MeshError
from seamwright.core.job import BlockUp, Foam, Job
from seamwright.core.mesh.mesh import Mesh
from shapes import box, cells, icosphere, joined, moved, rock, torus, turned

BILLET = (2.44, 1.22, 0.61)  # 8 x 4 x 2 ft; common practice, no source
PLAIN = Layout(BILLET, stagger=0.0)
BRICK = Layout(BILLET)


# Where billets lie.


def test_offsets_by_stagger_stay_under_a_length():
    third = Layout(BILLET, stagger=1.0 / 3.0)
    assert [round(third.offset(k)[0] / 2.44, 9) for k in range(-2, 5)] == [
        round(v, 9) for v in (1 / 3, 2 / 3, 0.0, 1 / 3, 2 / 3, 0.0, 1 / 3)
    ]
    listed = Layout(BILLET, offsets=((0.0, 0.1), (0.5, 0.2), (0.25, 0.3)))
    assert [listed.offset(k) for k in (0, 1, 2, 3, -1)] == [listed.offsets[k] for k in (0, 1, 2, 0, 2)]


@given(
    st.lists(st.floats(0.05, 0.61), max_size=3).map(tuple),
    st.floats(-8.0, 8.0),
    st.integers(-9, 9),
)
def test_courses_and_levels_agree(heights, z, course):
    layout = Layout(BILLET, heights=heights)
    k = layout.course_at(z)
    assert layout.level(k) <= z < layout.level(k + 1)
    assert layout.course_at(layout.level(course)) == course
    assert layout.level(course + 1) - layout.level(course) == pytest.approx(layout.height(course), abs=1e-12)


def test_frames_go_there_and_back():
    layout = Layout(BILLET, (3.0, -2.0, 0.5), 0.7)
    points = np.random.default_rng(3).normal(size=(20, 3))
    assert np.abs(layout.to_job(layout.to_block(points)) - points).max() < 1e-14
    assert layout.to_job([[1.0, 0.0, 0.0]])[0] == pytest.approx([3.0 + math.cos(0.7), -2.0 + math.sin(0.7), 0.5])


def test_course_higher_than_a_billet_is_refused():
    job = dataclasses.replace(Job(), blockup=BlockUp(built="as-given", heights=(0.3, 0.62)))
    with pytest.raises(JobError, match=r"blockup.heights\[1\].*higher than a billet"):
        Layout.of_job(job)


# Which billets hold some carving.


def test_a_carving_of_exactly_one_billet_takes_one():
    held = held_billets(box(BILLET), PLAIN)
    assert held.cells == ((0, 0, 0),)
    assert held.low.tolist() == [[0.0, 0.0, 0.0]]
    assert held.high.tolist() == [list(BILLET)]


@pytest.mark.parametrize("turn", [0.0, 0.4, math.pi / 2, 2.0])
def test_faces_on_walls_do_not_count_beyond(turn):
    body = moved(box((2.44 * 3, 1.22 * 2, 0.61 * 3)), turned((0, 0, 1), turn), (5.0, -3.0, 0.7))
    layout = dataclasses.replace(PLAIN, origin=(5.0, -3.0, 0.7), rotation=turn)
    assert len(held_billets(body, layout).cells) == 18


def test_a_hair_beyond_counts():
    body = box((2.44 + 1e-6, 1.22, 0.61))
    held = held_billets(body, PLAIN)
    assert held.cells == ((0, 0, 0), (0, 1, 0))
    assert held.high[1, 0] - held.low[1, 0] == pytest.approx(1e-6, rel=1e-6)


def test_billets_wholly_inside_are_found_without_a_surface_in_them():
    body = moved(box((6.0, 6.0, 6.0)), turned((1.0, 0.7, 0.3), 0.5))
    held = held_billets(body, Layout((0.9, 0.7, 0.5)))
    full = [row for row, cell in enumerate(held.cells) if np.allclose(held.high[row] - held.low[row], (0.9, 0.7, 0.5))]
    assert len(full) > 300
    assert len(set(held.cells)) == len(held.cells)


def test_a_hollow_is_not_filled():
    ring = cells(np.array([[[1], [1], [1]], [[1], [0], [1]], [[1], [1], [1]]], dtype=bool), (1.2, 1.2, 0.5))
    held = held_billets(ring, Layout((0.4, 0.4, 0.5)))
    low = ring.vertices.min(axis=0)
    assert len(held.cells) == (8 if np.allclose(low, 0.0) else len(held.cells))
    assert len(held_billets(moved(ring, shift=tuple(-low)), Layout((0.4, 0.4, 0.5), stagger=0.0)).cells) == 8


def test_nothing_and_too_much_are_refused():
    with pytest.raises(MeshError, match="no triangles"):
        held_billets(Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int)), PLAIN)
    with pytest.raises(MeshError, match="over a million billets"):
        held_billets(box((3000.0, 2000.0, 100.0)), PLAIN)


# What they are cut from.


PART = st.tuples(st.floats(0.05, 2.44), st.floats(0.05, 1.22), st.floats(0.05, 0.61))


@settings(max_examples=60, deadline=None)
@given(st.lists(PART, min_size=1, max_size=25), st.sampled_from([0.0, 0.003]))
def test_parts_lie_in_their_billets_clear_of_each_other_by_the_kerf(parts, kerf):
    cuttings = cut_from_billets(parts, BILLET, kerf)
    assert fewest_for(parts, BILLET) <= count_billets(cuttings) <= len(parts)
    assert {c.billet for c in cuttings} == set(range(count_billets(cuttings)))
    assert sum(c.first for c in cuttings) == count_billets(cuttings)
    for part, c in zip(parts, cuttings, strict=True):
        assert sorted(part) == sorted(c.size)
        assert all(-1e-9 <= c.place[k] and c.place[k] + c.size[k] <= BILLET[k] + 1e-8 for k in range(3))
    for a, b in itertools.combinations(cuttings, 2):
        if a.billet == b.billet:
            gaps = [max(a.place[k] - b.place[k] - b.size[k], b.place[k] - a.place[k] - a.size[k]) for k in range(3)]
            assert max(gaps) >= kerf - 1e-8


@pytest.mark.parametrize(
    ("parts", "kerf", "best"),
    [
        ([BILLET] * 3, 0.003, 3),
        ([(1.22, 1.22, 0.61)] * 4, 0.0, 2),
        ([(1.22, 1.22, 0.61)] * 4, 0.003, 4),  # two halves and a kerf are more than a billet
        ([(1.2, 1.22, 0.61)] * 4, 0.003, 2),
        ([(0.61, 0.61, 0.61)] * 8, 0.0, 1),
        ([(2.44, 1.22, 0.3)] * 5, 0.003, 3),
        ([(0.8, 1.22, 0.61), (1.6, 1.22, 0.61)] * 3, 0.003, 3),
        ([(0.61, 1.22, 0.3), (0.3, 1.22, 0.61), (1.22, 0.61, 0.3)], 0.003, 1),  # any way up
    ],
)
def test_known_best_answers_of_cutting(parts, kerf, best):
    assert count_billets(cut_from_billets(parts, BILLET, kerf)) == best


def test_lower_bound_knows_large_parts():
    large = (1.3, 0.7, 0.4)  # more than half of each side, however it lies in a billet
    assert fewest_for([large] * 5, BILLET) == 5
    assert fewest_for([(1.3, 0.7, 0.3)] * 5, BILLET) == 1


# Glue lines.


def plan_of(mesh, **keys):
    job = dataclasses.replace(Job(), blockup=BlockUp(**{"built": "planned", "position": "given", **keys}))
    return plan_blockup(mesh, job)


def test_glue_lines_of_a_plain_stack():
    plan = plan_of(box((4.88, 2.44, 1.22)), stagger=0.0)
    assert len(plan.billets) == 8
    ends, sides, beds = 2 * 2 * 1.22 * 0.61, 2 * 2 * 2.44 * 0.61, 4 * 2.44 * 1.22
    assert plan.glue_area == pytest.approx(ends + sides + beds, rel=1e-12)
    assert np.bincount(plan.glue.kind).tolist() == [4, 8]
    normals, _, which = plan.glue.planes()
    assert len(normals) == 3
    assert sorted(np.bincount(which).tolist()) == [4, 4, 4]
    assert plan.cans(8.0) == math.ceil(plan.glue_area / 8.0)


def test_staggered_beds_meet_in_parts():
    plan = plan_of(box((4.88, 1.22, 1.22)))
    # Two below, half, whole, half above: each of the four overlaps is half a billet long.
    assert [len([b for b in plan.billets if b.cell[0] == k]) for k in (0, 1)] == [2, 3]
    beds = plan.glue.area[plan.glue.kind == BED]
    assert beds == pytest.approx([1.22 * 1.22] * 4)
    assert (plan.glue.kind == BUTT).sum() == 3
    assert plan.overlap == pytest.approx(1.22)


def test_distance_to_glue_lines():
    plan = plan_of(box((4.88, 1.22, 0.61)), stagger=0.0)
    (end,) = plan.glue.corner
    assert end[0] == 2.44
    points = [(2.5, 0.3, 0.2), (2.44, 1.0, 0.6), (2.0, 1.52, 0.61 + 0.4), (2.44, -3.0, 0.1)]
    distance, which = plan.glue.distance(points)
    assert distance == pytest.approx([0.06, 0.0, math.sqrt(0.44**2 + 0.3**2 + 0.4**2), 3.0])
    assert which.tolist() == [0] * 4
    none, nowhere = GlueLines.none().distance(points)
    assert np.isinf(none).all()
    assert (nowhere == -1).all()
    assert GlueLines.none().planes()[0].shape == (0, 3)


def test_unknown_binds_nothing():
    assert plan_blockup(box(), Job()) is None


def test_what_hangs_is_told():
    # A post with an arm far over the floor: the arm's billets lie on no others.
    body = joined(box((0.5, 0.5, 1.8)), box((5.0, 0.4, 0.3), (0.5, 0.0, 1.3)))
    plan = plan_of(body, stagger=0.0)
    assert [b.cell for b in plan.hanging] == [(2, 1, 0), (2, 2, 0)]
    assert unsupported(plan.billets[:1], plan.layout) == ()


def test_bare_ends_are_told_and_gone_with_room():
    tight = plan_of(box((2.44, 1.0, 0.6)), stagger=0.0)
    assert {round(left, 6) for _, left, _ in tight.bare} == {0.0}
    assert len(tight.bare) == 3  # both ends, and the side at y = 0
    roomy = plan_of(box((2.3, 1.0, 0.6)), stagger=0.0, origin=(-0.05, -0.05, 0.0))
    assert roomy.bare == ()


@pytest.mark.parametrize("stagger", [0.25, 1.0 / 3.0, 0.5, 0.7])
def test_stagger_is_kept(stagger):
    body = moved(rock(3, 5, size=(9.0, 4.0, 3.0)), shift=(0.0, 0.0, 1.5))
    plan = plan_of(body, stagger=stagger, origin=(0.2, -0.3, -0.4))
    share = min(stagger % 1.0, 1.0 - stagger % 1.0)
    assert plan.overlap >= share * 2.44 - 1e-9
    assert least_overlap(plan.billets, plan.layout) == plan.overlap
    # No upright glue plane across the length runs on from one course into the next.
    ends = {}
    for corner, along, across, kind in zip(
        plan.glue.corner, plan.glue.along, plan.glue.across, plan.glue.kind, strict=True
    ):
        normal = plan.layout.to_block([corner + np.cross(along, across)])[0] - plan.layout.to_block([corner])[0]
        if kind == BUTT and abs(normal[0]) > abs(normal[1]):
            x, _, z = plan.layout.to_block([corner + 0.5 * (along + across)])[0]
            ends.setdefault(plan.layout.course_at(float(z)), set()).add(round(float(x), 6))
    assert len(ends) > 1
    assert all(not (ends[k] & ends.get(k + 1, set())) for k in ends)


# The position with fewest billets.


@pytest.mark.parametrize(
    ("size", "best"),
    [
        (BILLET, 1),
        ((3.66, 1.22, 0.61), 2),
        ((3.66, 1.22, 1.22), 3),  # a whole and a half below, a half and a whole above
        ((4.88, 2.44, 1.22), 8),
        ((4.88, 1.22, 0.305), 1),  # two halves in height out of one
        ((2.44, 1.83, 1.22), 3),
        ((7.32, 2.44, 1.83), 18),
        ((1.22, 2.44, 0.61), 1),  # turned by a quarter
    ],
)
@pytest.mark.parametrize("turn", [0.0, 0.5])
def test_known_best_counts_of_boxes(size, best, turn):
    body = moved(box(size), turned((0, 0, 1), turn), (3.0, 2.0, 1.0))
    found = search_position(body, BRICK, 0.0, 0.0)
    assert found.billets == best
    assert found.fewest <= found.fewest_here <= best
    assert found.layout.origin[2] == 1.0


def test_search_never_beats_its_bounds_on_random_carvings():
    for seed in range(20):
        rng = np.random.default_rng(seed)
        size = tuple(rng.uniform([2.0, 1.0, 0.5], [7.0, 3.5, 2.0]).tolist())
        body = moved(rock(3, seed, size=size), turned((0, 0, 1), float(rng.uniform(0, 3))), tuple(rng.normal(size=3)))
        found = search_position(body, BRICK, 0.02, 0.003, budget=120)
        assert found.fewest <= found.fewest_here <= found.billets <= found.parts
        given_up = make_billets(held_billets(body, found.layout), found.layout, 0.02, 0.003)
        assert found.billets == count_billets([b.cutting for b in given_up])


def test_search_is_never_worse_than_where_it_began_and_always_the_same():
    body = moved(torus(60, 30, 1.6, 0.5, 0.1), shift=(0.0, 0.0, 0.6))
    start = dataclasses.replace(BRICK, origin=(0.3, 0.4, 0.0), rotation=0.2)
    first = search_position(body, start, 0.02, 0.003, budget=200)
    assert first == search_position(body, start, 0.02, 0.003, budget=200)
    assert first.tried <= 201
    floor = dataclasses.replace(start, origin=(0.3, 0.4, float(body.vertices[:, 2].min())))
    begun = make_billets(held_billets(body, floor), floor, 0.02, 0.003)
    assert first.billets <= count_billets([b.cutting for b in begun])


def test_search_can_be_stopped():
    def stop(share, text):
        raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        search_position(icosphere(3), BRICK, 0.02, 0.003, progress=stop)


# The one that was really built, from points on a glue line.


TRUTH = Layout(BILLET, (0.37, -0.22, 0.05), 0.31)


def on_plane(course: int, axis: int, place: int, spread: list[tuple[float, float]]) -> np.ndarray:
    """Points on a wall of the true block-up: (along the wall, height) each."""
    corner = TRUTH.corner((course, place if axis == 0 else 0, place if axis == 1 else 0))
    rows = [
        [corner[0], corner[1] + a, corner[2] + z] if axis == 0 else [corner[0] + a, corner[1], corner[2] + z]
        for a, z in spread
    ]
    return TRUTH.to_job(rows)


def walls_meet(layout: Layout, points: np.ndarray, axis: int) -> float:
    """Largest distance of points from the nearest wall of the layout across an axis."""
    local = layout.to_block(points)
    offset = layout.offset(layout.course_at(float(local[:, 2].mean())))[axis] if axis < 2 else 0.0
    away = (local[:, axis] - offset) / layout.billet[axis]
    return float(np.abs(away - np.round(away)).max() * layout.billet[axis])


def test_points_at_one_height_set_the_course():
    points = [(0.2, 0.1, 0.661), (1.4, 0.5, 0.659), (0.8, -0.9, 0.66)]
    fitted = fit_to_points(dataclasses.replace(TRUTH, origin=(0.37, -0.22, 0.0)), points)
    assert fitted.line == "bed"
    assert fitted.layout.origin == pytest.approx((0.37, -0.22, 0.05))
    assert fitted.off == pytest.approx(0.001)
    assert fitted.layout.rotation == TRUTH.rotation


@pytest.mark.parametrize(("axis", "line", "course"), [(0, "end", 0), (0, "end", 1), (1, "side", 0), (1, "side", 1)])
def test_points_on_an_upright_line_turn_and_shift(axis, line, course):
    points = on_plane(course, axis, 1, [(0.1, 0.05), (0.9, 0.4), (0.5, 0.55)])
    guess = dataclasses.replace(TRUTH, origin=(0.30, -0.15, 0.05), rotation=0.2)
    fitted = fit_to_points(guess, points)
    assert fitted.line == line
    assert fitted.off < 1e-12
    assert fitted.layout.rotation == pytest.approx(0.31)
    assert walls_meet(fitted.layout, points, axis) < 1e-12
    assert fitted.layout.origin[2] == guess.origin[2]


def test_points_one_over_the_other_shift_and_do_not_turn():
    points = on_plane(0, 0, 1, [(0.4, 0.05), (0.4, 0.3), (0.4, 0.55)])
    guess = dataclasses.replace(TRUTH, origin=(0.33, -0.20, 0.05))
    fitted = fit_to_points(guess, points)
    assert fitted.line in ("end", "side")
    assert fitted.layout.rotation == guess.rotation
    assert walls_meet(fitted.layout, points, 0 if fitted.line == "end" else 1) < 1e-12


def test_a_bed_and_an_end_give_the_whole_position_back():
    guess = dataclasses.replace(TRUTH, origin=(0.30, -0.15, 0.0), rotation=0.25)
    bed = TRUTH.to_job([[0.1, 0.2, 0.61], [1.0, 0.9, 0.61], [2.0, 0.1, 0.61]])
    layout = fit_to_points(guess, bed).layout
    layout = fit_to_points(layout, on_plane(0, 0, 1, [(0.1, 0.05), (0.9, 0.4), (0.5, 0.55)])).layout
    layout = fit_to_points(layout, on_plane(0, 1, 1, [(0.1, 0.05), (0.9, 0.4), (0.5, 0.55)])).layout
    assert layout.rotation == pytest.approx(TRUTH.rotation)
    back = TRUTH.to_block([layout.origin])[0]
    assert np.abs(back - np.round(back / np.array(BILLET)) * np.array(BILLET)).max() < 1e-9


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([(0, 0, 0), (1, 0, 0)], "2 points are too few"),
        ([(0, 0, 0), (0.01, 0, 0), (0, 0.01, 0)], "further apart"),
        ([(0, 0, 0), (1, 0, 0.5), (0.5, 1.0, 1.0)], "no level and no upright plane"),
    ],
)
def test_points_that_make_no_glue_line_are_refused(points, words):
    with pytest.raises(JobError, match=words):
        fit_to_points(BRICK, points)


def test_a_job_with_its_own_billet_and_courses():
    job = dataclasses.replace(
        Job(),
        foam=Foam(billet=(1.0, 0.5, 0.3)),
        blockup=BlockUp(built="as-given", heights=(0.3, 0.2), offsets=((0.0, 0.0), (0.4, 0.25)), margin=0.0),
    )
    plan = plan_blockup(box((2.0, 1.0, 0.7)), job)
    assert plan.courses == (0, 1, 2)
    beds = sorted({round(float(z), 9) for z, k in zip(plan.glue.corner[:, 2], plan.glue.kind, strict=True) if k == BED})
    assert beds == [0.3, 0.5]
    second = [b for b in plan.billets if b.cell[0] == 1]
    assert {(round(b.low[0], 9), round(b.low[1], 9)) for b in second} == {
        (x, y) for x in (0.0, 0.4, 1.4) for y in (0.0, 0.25, 0.75)
    }
