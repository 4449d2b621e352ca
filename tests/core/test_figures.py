# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pack_sample import bar
from seamwright.core.errors import JobError, MeshError
from seamwright.core.handling import PieceFigures, crew_for, measure_piece, team_limit
from seamwright.core.handling.checks import within_limits
from seamwright.core.handling.rectangle import convex_hull, least_rectangle
from seamwright.core.job import Job, Layer, Skin
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.skin import skin_depth
from shapes import box, cylinder, moved, rock, turned

BARE = replace(Job(), skin=Skin(layers=()))
LYING = replace(BARE, limits=replace(Job().limits, any_pose=True))


def test_a_bar_measured_by_hand() -> None:
    job = Job()
    figures = measure_piece(bar(2.4, 1.0, (True, True)), job)
    assert figures.volume == pytest.approx(2.4, rel=1e-12)
    assert figures.centroid == pytest.approx((2.2, 0.5, 0.5), rel=1e-12)
    assert figures.areas == pytest.approx((7.2, 2.0, 2.4, 0.0), rel=1e-12)
    assert figures.foam_mass == pytest.approx(36.0, rel=1e-12)
    glass = job.skin.layers[1].glass
    assert glass is not None
    carved = 0.17 + 3.5 * glass + 3.5 + 0.4
    returns = 2.0 * 3.0 * 0.05 + 2.0 * 2.4 * 0.05  # of the laminate, by the length of the rim
    skin = 7.2 * carved + 2.0 * (0.17 + 1.575) + 2.4 * 0.17 + returns * 3.5 * glass
    assert figures.skin_mass == pytest.approx(skin, rel=1e-12)
    assert figures.finished_mass == pytest.approx(figures.foam_mass + figures.skin_mass, rel=1e-12)
    grow = 2.0 * skin_depth(job, "carved")
    assert figures.box == pytest.approx((2.4 + grow, 1.0 + grow, 1.0 + grow), rel=1e-12)
    assert figures.crew == 0


def test_box_takes_the_thickest_skin_that_the_piece_wears() -> None:
    thick = Layer("coat", density=1000.0, thickness=0.02, faces=("joint",))
    job = replace(Job(), skin=Skin(layers=(thick,)))
    assert measure_piece(bar(2.0, 0.0, (False, False)), job).box == pytest.approx((2.0, 1.0, 1.0), rel=1e-12)
    assert measure_piece(bar(2.0, 0.0, (True, False)), job).box == pytest.approx((2.04, 1.04, 1.04), rel=1e-12)


@pytest.mark.parametrize("degrees", [0.0, 17.0, 45.0, 90.0, 133.0, 270.0])
def test_upright_box_does_not_mind_turning_about_z(degrees: float) -> None:
    turned_box = moved(box((1.5, 0.7, 0.9)), turned((0, 0, 1), np.deg2rad(degrees)), (40.0, -7.0, 3.0))
    assert measure_piece(turned_box, BARE).box == pytest.approx((1.5, 0.7, 0.9), rel=1e-9)


def test_upright_box_keeps_up() -> None:
    tipped = moved(box((2.0, 1.0, 0.5)), turned((0, 1, 0), np.pi / 4.0))
    side = (2.0 + 0.5) / np.sqrt(2.0)
    assert measure_piece(tipped, BARE).box == pytest.approx((side, 1.0, side), rel=1e-9)


@pytest.mark.parametrize("size", [(1.0, 1.0, 1.0), (2.0, 1.0, 0.5), (3.0, 1.0, 1.0)])
def test_any_pose_finds_the_box_of_a_tipped_box(size: tuple[float, float, float]) -> None:
    tipped = moved(box(size), turned((0.3, -0.8, 0.4), 1.1), (5.0, 2.0, 1.0))
    assert measure_piece(tipped, LYING).box == pytest.approx(size, rel=1e-9)
    upright = measure_piece(tipped, BARE).box
    assert np.prod(upright) > 1.05 * np.prod(size)


def test_a_pose_that_keeps_the_limits_counts_where_the_smallest_box_does_not() -> None:
    # A board 1.42 x 1.3 m goes through 1.2 x 1.2 m on the skew.
    job = replace(LYING, limits=replace(LYING.limits, piece_size=(2.4, 1.2, 1.2), piece_mass=1000.0))
    board = box((1.42, 0.2, 1.3))
    figures = measure_piece(board, job)
    assert within_limits(figures, job)
    assert figures.box[0] == pytest.approx(1.3, rel=1e-12)
    assert max(figures.box[1:]) <= 1.2
    turn = np.deg2rad(np.arange(90.0))
    known = np.stack([1.42 * np.cos(turn) + 0.2 * np.sin(turn), 1.42 * np.sin(turn) + 0.2 * np.cos(turn)], axis=1)
    assert np.abs(known - figures.box[1:]).max(axis=1).min() < 1e-9
    # Where none does it is the smallest.
    narrow = replace(job, limits=replace(job.limits, piece_size=(2.4, 1.1, 1.1)))
    assert measure_piece(board, narrow).box == pytest.approx((1.42, 1.3, 0.2), rel=1e-6)


def test_any_pose_finds_the_box_of_a_tipped_cylinder() -> None:
    tipped = moved(cylinder(96, 0.5, 2.0), turned((0.5, 0.7, 0.1), 0.9))
    found = measure_piece(tipped, LYING).box
    assert found[0] == pytest.approx(2.0, rel=1e-4)
    assert found[1:] == pytest.approx((1.0, 1.0), rel=2e-3)


def test_a_piece_that_keeps_the_limits_as_it_stands_is_not_given_a_smaller_box_that_does_not() -> None:
    """The smallest box of this tetrahedron is 1.18 m long; it stands in one of 0.91 x 0.82 x 0.61 m."""
    corners = np.random.default_rng(0).uniform(0.0, 1.0, (4, 3))
    if np.linalg.det(corners[1:] - corners[0]) < 0.0:
        corners[[0, 1]] = corners[[1, 0]]
    piece = Mesh(corners, [[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]])
    smallest = measure_piece(piece, LYING).box
    assert smallest[0] > 1.1
    tight = replace(LYING, limits=replace(LYING.limits, piece_size=(0.92, 0.83, 0.62)))
    box = measure_piece(piece, tight).box
    assert box == tuple(sorted(measure_piece(piece, BARE).box, reverse=True))
    assert within_limits(measure_piece(piece, tight), tight)
    hopeless = replace(LYING, limits=replace(LYING.limits, piece_size=(0.92, 0.83, 0.6)))
    assert measure_piece(piece, hopeless).box == smallest


@pytest.mark.parametrize("seed", range(4))
def test_any_pose_is_never_larger_than_upright_and_holds_the_piece(seed: int) -> None:
    piece = moved(rock(2, seed), turned((1.0, seed - 1.5, 0.5), 0.8))
    lying, upright = measure_piece(piece, LYING).box, measure_piece(piece, BARE).box
    assert np.prod(lying) <= np.prod(upright) * (1.0 + 1e-12)
    assert lying[0] >= lying[1] >= lying[2]
    span = np.linalg.norm(piece.vertices[:, None] - piece.vertices[None], axis=2).max()
    assert np.linalg.norm(lying) >= span * (1.0 - 1e-12)
    assert np.prod(lying) > measure_piece(piece, BARE).volume


def test_loose_vertices_do_not_count() -> None:
    piece = box((1.0, 1.0, 1.0))
    loose = Mesh(np.vstack((piece.vertices, [[50.0, 50.0, 50.0]])), piece.triangles)
    assert measure_piece(loose, BARE).box == pytest.approx((1.0, 1.0, 1.0), rel=1e-12)


def test_nothing_cannot_be_measured() -> None:
    with pytest.raises(MeshError, match="without triangles"):
        measure_piece(Mesh([], []), Job())


def test_figures_are_plain_numbers_and_repeatable() -> None:
    first, second = (measure_piece(rock(2), LYING) for _ in range(2))
    assert first == second
    assert isinstance(first, PieceFigures)
    for value in (first.volume, first.finished_mass, *first.centroid, *first.areas, *first.box):
        assert type(value) is float


@pytest.mark.parametrize(
    ("mass", "crew"),
    [(0.0, 1), (25.0, 1), (25.01, 2), (33.33, 2), (33.34, 3), (37.5, 3), (37.51, 4), (50.0, 4), (50.01, 0)],
)
def test_crew_is_the_least_that_the_rule_allows(mass: float, crew: int) -> None:
    assert crew_for(mass, Job()) == crew


def test_crew_stops_at_the_job_and_at_four() -> None:
    few = replace(Job(), limits=replace(Job().limits, crew=2))
    assert crew_for(36.0, few) == 0
    many = replace(Job(), limits=replace(Job().limits, crew=9))
    assert crew_for(60.0, many) == 0
    with pytest.raises(JobError, match="no published limit"):
        team_limit([25.0] * 5)
    with pytest.raises(JobError, match="no published limit"):
        team_limit([])


@given(st.lists(st.tuples(st.integers(-30, 30), st.integers(-30, 30)), min_size=1, max_size=40))
def test_hull_holds_every_point_and_turns_left(rows: list[tuple[int, int]]) -> None:
    points = np.array(rows, dtype=float)
    hull = convex_hull(points)
    assert {tuple(p) for p in hull} <= {tuple(p) for p in points}
    if len(hull) >= 3:
        edges = np.roll(hull, -1, axis=0) - hull
        assert (edges[:, 0] * np.roll(edges, -1, axis=0)[:, 1] > edges[:, 1] * np.roll(edges, -1, axis=0)[:, 0]).all()
        for corner, edge in zip(hull, edges, strict=True):
            away = points - corner
            assert (edge[0] * away[:, 1] - edge[1] * away[:, 0] >= 0.0).all()


@given(
    st.lists(st.tuples(st.integers(-30, 30), st.integers(-30, 30)), min_size=1, max_size=25),
    st.sampled_from([0.0, 0.5, 20.0]),
)
def test_rectangle_is_the_least_of_all_hull_edges(rows: list[tuple[int, int]], grow: float) -> None:
    points = np.array(rows, dtype=float)
    length, width, angle = least_rectangle(points, grow)
    assert length >= width
    sides = [np.ptp(points @ [np.cos(a), np.sin(a)]) + grow for a in (angle, angle + np.pi / 2.0)]
    assert sides == pytest.approx([length, width], abs=1e-9)
    hull = convex_hull(points)
    edges = np.roll(hull, -1, axis=0) - hull
    slow = [
        np.prod([np.ptp(points @ [np.cos(a + t), np.sin(a + t)]) + grow for t in (0.0, np.pi / 2.0)])
        for a in np.arctan2(edges[:, 1], edges[:, 0])
    ]
    assert length * width == pytest.approx(min(slow), rel=1e-9, abs=1e-9)
