# SPDX-License-Identifier: GPL-3.0-or-later
"""Ways out of puzzles whose answer is known (reference/trade-values.md, checks A-T6 to A-T10), and random triangles."""

from __future__ import annotations

import manifold3d
import numpy as np
import pytest
import trimesh
from seamwright.core.logistics.sweep import Sweeps, over
from seamwright.core.mesh.mesh import Mesh
from shapely.geometry import Polygon
from shapes import box, joined, moved, torus, turned


def sphere(count: int) -> np.ndarray:
    """Even directions all round, and the six along the axes."""
    z = 1.0 - (2.0 * np.arange(count) + 1.0) / count
    turn = np.arange(count) * np.pi * (3.0 - np.sqrt(5.0))
    ring = np.sqrt(1.0 - z * z)
    return np.concatenate([np.stack((ring * np.cos(turn), ring * np.sin(turn), z), axis=1), np.eye(3), -np.eye(3)])


def solid(mesh: trimesh.Trimesh) -> Mesh:
    return Mesh(mesh.vertices, mesh.faces)


def shared_volume(one: trimesh.Trimesh, two: trimesh.Trimesh) -> float:
    bodies = [
        manifold3d.Manifold(
            manifold3d.Mesh64(np.asarray(t.vertices, dtype=np.float64), np.asarray(t.faces, dtype=np.uint64))
        )
        for t in (one, two)
    ]
    return float((bodies[0] ^ bodies[1]).volume())


def ways(mover: Mesh, other: Mesh, directions: np.ndarray) -> np.ndarray:
    sweeps = Sweeps([mover, other], directions)
    return np.array([not sweeps.stops(0, 1, k) for k in range(len(directions))])


COUNT = 100
DIRECTIONS = sphere(COUNT)
TURN = turned((0.3, -0.8, 0.5), 1.1)
FRAMES = [np.eye(3), TURN]


@pytest.mark.parametrize("turn", FRAMES)
@pytest.mark.parametrize("gap", [0.0, 0.008])
def test_flat_contact_leaves_half_of_all_directions(turn: np.ndarray, gap: float) -> None:
    # The least steep way down of those tried falls 10 mm a metre; with a gap it must clear the rim by falling less.
    slab = moved(box((7.0, 7.0, 1.0), (-3.0, -3.0, -1.0 - gap)), turn)
    cube = moved(box(), turn)
    free = ways(cube, slab, DIRECTIONS @ turn.T)
    assert (free == (DIRECTIONS[:, 2] >= (0.0 if gap == 0.0 else -1e-6))).all()
    assert abs(free[:COUNT].mean() - 0.5) < 0.02  # A-T6: 2 pi of 4 pi


@pytest.mark.parametrize("turn", FRAMES)
def test_corner_leaves_an_eighth(turn: np.ndarray) -> None:
    walls = joined(
        box((400.0, 400.0, 1.0), (-1.0, -1.0, -1.0)),
        box((1.0, 400.0, 400.0), (-1.0, 0.0, 0.0)),
        box((400.0, 1.0, 400.0), (0.0, -1.0, 0.0)),
    )
    free = ways(moved(box(), turn), moved(walls, turn), DIRECTIONS @ turn.T)
    assert (free == (DIRECTIONS >= 0.0).all(axis=1)).all()
    assert abs(free[:COUNT].mean() - 0.125) < 0.02  # A-T7: pi / 2 of 4 pi


def open_box(lid: bool = False) -> Mesh:
    parts = [
        box((3.0, 3.0, 1.0), (-1.0, -1.0, -1.0)),
        box((1.0, 3.0, 1.0), (-1.0, -1.0, 0.0)),
        box((1.0, 3.0, 1.0), (1.0, -1.0, 0.0)),
        box((1.0, 1.0, 1.0), (0.0, -1.0, 0.0)),
        box((1.0, 1.0, 1.0), (0.0, 1.0, 0.0)),
    ]
    return joined(*parts, *([box((3.0, 3.0, 1.0), (-1.0, -1.0, 1.0))] if lid else []))


@pytest.mark.parametrize("turn", FRAMES)
def test_cube_in_an_open_box_goes_up_only(turn: np.ndarray) -> None:
    free = ways(moved(box(), turn), moved(open_box(), turn), DIRECTIONS @ turn.T)
    assert np.flatnonzero(free).tolist() == [COUNT + 2]  # A-T8
    assert DIRECTIONS[COUNT + 2].tolist() == [0.0, 0.0, 1.0]


def test_cube_in_a_closed_box_has_no_way() -> None:
    assert not ways(box(), open_box(lid=True), DIRECTIONS[::2]).any()  # A-T9
    assert not ways(box((0.4, 0.4, 0.4), (0.3, 0.3, 0.3)), open_box(lid=True), DIRECTIONS[1::4]).any()


def dovetail() -> tuple[Mesh, Mesh]:
    """A tail along y in its socket, prisms of 2 m."""
    tail = np.array([[-0.5, 0.0], [0.5, 0.0], [0.3, 0.6], [-0.3, 0.6]])
    sides = [np.array([[0.5, 0.0], [1.5, 0.0], [1.5, 0.6], [0.3, 0.6]])]
    sides += [sides[0][::-1] * [-1.0, 1.0], np.array([[-1.5, -1.0], [1.5, -1.0], [1.5, 0.0], [-1.5, 0.0]])]

    def prism(outline: np.ndarray) -> Mesh:
        mesh = trimesh.creation.extrude_polygon(Polygon(outline), 2.0)
        v = mesh.vertices
        return Mesh(np.column_stack([v[:, 0], -v[:, 2], v[:, 1]]), mesh.faces)

    return prism(tail), joined(*(prism(s) for s in sides))


def test_dovetail_slides_along_its_axis_only() -> None:
    tail, socket = dovetail()
    free = ways(tail, socket, DIRECTIONS)
    assert np.flatnonzero(free).tolist() == [COUNT + 1, COUNT + 4]  # A-T10
    assert DIRECTIONS[[COUNT + 1, COUNT + 4]].tolist() == [[0.0, 1.0, 0.0], [0.0, -1.0, 0.0]]


def test_rings_through_each_other_have_no_way() -> None:
    ring = torus(40, 16, 1.0, 0.2)
    other = moved(ring, turned((1.0, 0.0, 0.0), np.pi / 2.0), (1.0, 0.0, 0.0))
    assert not ways(ring, other, DIRECTIONS).any()
    beside = moved(ring, turned((1.0, 0.0, 0.0), np.pi / 2.0), (1.0, 3.0, 0.0))
    assert ways(ring, beside, DIRECTIONS).any()


def test_a_thin_rod_in_the_way_is_seen_and_one_beside_is_not() -> None:
    cube, up = box(), np.array([[0.0, 0.0, 1.0]])
    for width in (1e-2, 1e-3, 1e-4):
        rod = box((width, width, 1.0), (0.4141, 0.1732, 3.0))
        assert not ways(cube, rod, up)[0]
        assert ways(cube, moved(rod, shift=(0.5859, 0.0, 0.0)), up)[0]  # its near side in line with the cube's


def test_moving_there_is_moving_back() -> None:
    """A is stopped by B along d exactly when B is stopped by A along -d."""
    rng = np.random.default_rng(4)
    half = sphere(30)[:30]
    for _ in range(6):
        a, b = (
            solid(trimesh.Trimesh(rng.normal(size=(12, 3)) * 0.7).convex_hull),
            solid(trimesh.Trimesh(rng.normal(size=(12, 3)) * 0.7 + [3.0, 0.0, 0.0]).convex_hull),
        )
        there = ways(a, b, half)
        back = ways(b, a, -half)
        assert (there == back).all()


def test_convex_bodies_against_swept_volumes() -> None:
    """The reference sweeps a convex body as the hull of its two ends; boolean of manifold3d."""
    rng = np.random.default_rng(11)
    directions = sphere(16)[:16]
    seen = set()
    for _ in range(8):
        a = trimesh.Trimesh(rng.normal(size=(15, 3)) * 0.5).convex_hull
        b = trimesh.Trimesh(rng.normal(size=(15, 3)) * 0.5 + rng.normal(size=3) * 1.2 + [1.5, 0.0, 0.0]).convex_hull
        if shared_volume(a, b) > 0.0:
            continue
        free = ways(solid(a), solid(b), directions)
        for k, direction in enumerate(directions):
            swept = trimesh.Trimesh(np.concatenate([a.vertices, a.vertices + 20.0 * direction])).convex_hull
            shared = shared_volume(swept, b)
            assert free[k] == (shared < 1e-12), (k, shared)
            seen.add(bool(free[k]))
    assert seen == {True, False}


def test_triangles_over_triangles_against_polygons() -> None:
    """Overlap by shapely's polygon intersection; heights at its corners."""
    rng = np.random.default_rng(3)
    p, q = rng.normal(size=(400, 3, 3)), rng.normal(size=(400, 3, 3))
    q[:, :, 2] += rng.normal(size=400)[:, None]
    found = over(p.transpose(2, 1, 0), q.transpose(2, 1, 0))
    said = 0
    for one, two, got in zip(p, q, found, strict=True):
        shared = Polygon(one[:, :2]).intersection(Polygon(two[:, :2]))
        if shared.area < 1e-6:
            continue
        corners = np.array(shared.exterior.coords)
        heights = []
        for t in (one, two):
            system = np.column_stack([t[:, :2], np.ones(3)])
            heights.append(np.column_stack([corners, np.ones(len(corners))]) @ np.linalg.solve(system, t[:, 2]))
        assert got == ((heights[1] - heights[0]).max() > 1e-6)
        said += 1
    assert said > 80
    assert 0 < found.sum() < 400
