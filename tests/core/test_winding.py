# SPDX-License-Identifier: GPL-3.0-or-later
"""Inside or outside, against solid angles; distance to the skin, against trimesh; points well inside."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from reference import winding
from seamwright.core.errors import MeshError
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.winding import crossings, distance_within, encloses, inner_point
from shapes import box, comb, grid_box, hollow_box, icosphere, joined, moved, pocketed_box, prism, rock, torus, turned

BODIES = {
    "box": box(),
    "grid": grid_box((3, 3, 3), (1.0, 1.0, 1.0)),
    "rock": rock(2, 3),
    "torus": torus(20, 12),
    "comb": comb(4),
    "pockets": pocketed_box(),
    "hollow": hollow_box(),
    "two": joined(icosphere(1), moved(icosphere(1), shift=(1.5, 0.0, 0.0))),  # they overlap
}


@pytest.mark.parametrize("name", BODIES)
def test_crossings_are_the_winding_number(name: str) -> None:
    # Solid angles after van Oosterom and Strackee (reference.winding) give the number of turns.
    mesh = BODIES[name]
    rng = np.random.default_rng(1)
    low, size = mesh.vertices.min(axis=0), mesh.size
    points = list(low - 0.1 * size + 1.2 * size * rng.random((60, 3)))
    # Level with corners, edges and faces of the mesh: rays that run through them and along them.
    corners = mesh.corners()
    for k in rng.integers(len(corners), size=15):
        near = corners[k, 0]
        points += [np.array((x, near[1], near[2])) for x in rng.uniform(low[0] - 0.1, low[0] + size[0], 2)]
        middle = corners[k, :2].mean(axis=0)
        points.append(np.array((low[0] + 0.31 * size[0], middle[1], middle[2])))
    seen = set()
    for point in points:
        turns = winding(mesh, point)
        if abs(turns - round(turns)) > 1e-6 or distance_within(mesh, point, 1e-9) < 1e-9:
            continue
        rows, way = crossings(mesh.vertices, mesh.triangles, point)
        assert way.sum() == round(turns), point
        assert encloses(mesh, point) == (round(turns) > 0)
        assert np.isin(way, (-1, 1)).all()
        assert len(np.unique(rows)) == len(rows)
        seen.add(round(turns))
    assert {0, 1} <= seen


def test_a_body_turned_inside_out_winds_the_other_way() -> None:
    mesh = rock(2, 3)
    inside = Mesh(mesh.vertices, mesh.triangles[:, ::-1])
    assert not encloses(inside, np.array((0.0, 0.01, 0.02)))
    assert crossings(inside.vertices, inside.triangles, np.array((0.0, 0.01, 0.02)))[1].sum() == -1


def distance(mesh: Mesh, point: np.ndarray) -> float:
    """Least distance from a point to any triangle, by trimesh."""
    near = trimesh.triangles.closest_point(mesh.corners(), np.tile(point, (len(mesh.triangles), 1)))
    return float(np.linalg.norm(near - point, axis=1).min())


@pytest.mark.parametrize("name", BODIES)
def test_distance_to_the_skin(name: str) -> None:
    mesh = BODIES[name]
    rng = np.random.default_rng(2)
    low, size = mesh.vertices.min(axis=0), mesh.size
    points = low - 0.2 * size + 1.4 * size * rng.random((40, 3))
    corners = mesh.corners()
    points = np.concatenate([points, corners[::41, 0] + 0.01, corners[::37].mean(axis=1), mesh.vertices[::19]])
    for point in points:
        far = distance(mesh, point)
        for reach in (0.03, 0.5, 10.0):
            assert distance_within(mesh, point, reach) == pytest.approx(min(far, reach), abs=1e-12)


@pytest.mark.parametrize("angle", [0.0, 0.1, 0.9, np.pi / 2])
@pytest.mark.parametrize("name", [*BODIES, "thin"])
def test_inner_points(name: str, angle: float) -> None:
    body = prism(5, 1.0, 1e-3) if name == "thin" else BODIES[name]
    mesh = moved(body, turned((0.2, 1.0, 0.6), angle), (3.0, -2.0, 1.0))
    point = inner_point(mesh)
    assert winding(mesh, point) == pytest.approx(round(winding(mesh, point)), abs=1e-6)
    assert round(winding(mesh, point)) >= 1
    assert inner_point(mesh).tobytes() == point.tobytes()
    # Strictly: with room to spare.
    assert distance(mesh, point) > (1e-4 if name == "thin" else 1e-2 * mesh.size.min())


def test_a_point_in_a_thin_leaning_ring() -> None:
    # Lines along an axis and through the middle miss the foam of a ring 9 mm thick; those under its faces do not.
    ring = moved(torus(48, 4, 1.0, 0.0045), turned((1.0, 0.3, 0.2), 0.7))
    point = inner_point(ring)
    assert round(winding(ring, point)) == 1
    assert distance(ring, point) > 1e-3


def test_no_point_in_nothing() -> None:
    flat = Mesh(np.array([(0, 0, 0), (1, 0, 0), (0, 1, 0.0)]), np.array([(0, 1, 2), (0, 2, 1)]))
    inside_out = Mesh(box().vertices, box().triangles[:, ::-1])
    for mesh in (flat, inside_out):
        with pytest.raises(MeshError, match="no point inside"):
            inner_point(mesh)
