# SPDX-License-Identifier: GPL-3.0-or-later
"""A thousand planes on each of six shapes: not one open piece, not one flipped or overlapping cap.

A share of the planes goes through vertices, along edges and in faces, on shapes as built (where rounding is nil) and
turned (where it is not). Each cut is held against half-space volumes, surface and section that are worked out from the
clipped triangles alone; a share of the caps also against overlap by shapely and the bodies by manifold3d.
"""

from __future__ import annotations

import numpy as np
import pytest
from proof import assert_bodies, assert_plane_cut, cap_overlap, joint_rows
from reference import halves
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane
from seamwright.core.mesh.mesh import Mesh
from shapes import comb, cylinder, grid_box, moved, pocketed_box, rock, torus, turned

SHAPES = {
    "rock": rock(3, seed=7),
    "rough ring": torus(24, 14, 1.0, 0.45, rough=0.4),
    "pocketed box": pocketed_box(),
    "comb": comb(),
    "gridded box": grid_box(),
    "cylinder": cylinder(40, 0.8, 2.0),
}
PLANES = 1000
BATCH = 250


def some_plane(mesh: Mesh, rng: np.random.Generator) -> Plane:
    """Draw a plane: half of them anywhere, half of them through or along something."""
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    point, normal = rng.uniform(low, high), rng.normal(size=3)
    corners = mesh.vertices[mesh.triangles[rng.integers(len(mesh.triangles))]]
    way = rng.integers(12)
    if way == 6:  # through a vertex
        point = corners[0]
    elif way == 7:  # along an edge
        point, normal = corners[0], np.cross(corners[1] - corners[0], rng.normal(size=3))
    elif way == 8:  # in a face
        point, normal = corners[0], np.cross(corners[1] - corners[0], corners[2] - corners[0])
    elif way == 9:  # through three vertices
        three = mesh.vertices[rng.choice(len(mesh.vertices), 3, replace=False)]
        point, normal = three[0], np.cross(three[1] - three[0], three[2] - three[0])
        if np.linalg.norm(normal) < 1e-6:
            normal = rng.normal(size=3)
    elif way == 10:  # through a vertex and square to an axis
        point, normal = corners[0], np.eye(3)[rng.integers(3)]
    elif way == 11:  # along an edge and square to a face at it
        face = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        point, normal = corners[0], np.cross(corners[1] - corners[0], face)
    return Plane(point, normal / np.linalg.norm(normal))


@pytest.mark.parametrize("first", range(0, PLANES, BATCH))
@pytest.mark.parametrize("shape", SHAPES)
def test_planes(shape: str, first: int) -> None:
    rng = np.random.default_rng([list(SHAPES).index(shape), first])
    turn = turned(tuple(rng.normal(size=3)), rng.uniform(0.5, 2.5))
    found = 0
    for k in range(first, first + BATCH):
        mesh = SHAPES[shape] if k % 2 == 0 else moved(SHAPES[shape], turn, (0.3, -0.2, 0.1))
        plane = some_plane(mesh, rng)
        where = f"{shape}, plane {k}: {plane.point.tolist()} {plane.normal.tolist()}"
        result = cut(mesh, [plane])
        try:
            assert_plane_cut(mesh, plane, result, sources=k % 5 in (0, 1))
            if k % 10 in (0, 3):
                for piece in result.pieces:
                    rows = joint_rows(piece, 0)
                    assert len(rows) == 0 or cap_overlap(piece.mesh, rows, plane.normal) < 1e-9
            # Where an edge lies in the plane the library links bodies that only touch, or not, by the plane's sense.
            if k % 10 in (1, 6) and not halves(mesh, plane).along:
                assert_bodies(mesh, [plane], result)
        except AssertionError as error:
            raise AssertionError(f"{where}: {error}") from error
        found += len(result.pieces) > 1
    # Most planes do cut something: a test that misses the shape tells nothing.
    assert found > 0.8 * BATCH
