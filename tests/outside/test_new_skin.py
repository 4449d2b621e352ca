# SPDX-License-Identifier: GPL-3.0-or-later
"""The new skin that Blender makes, and its deviation held against Blender's own nearest-point search.

The points are drawn by trimesh, evenly by area; distances are looked up in mathutils' BVH tree. Neither knows of the
core's samples or its grid.
"""

from __future__ import annotations

import bpy  # noqa: F401  before mathutils, which it brings
import numpy as np
import pytest
import trimesh
from mathutils.bvhtree import BVHTree
from planted import near
from seamwright.core.intake.mend import Recipe
from seamwright.core.intake.nearest import distances
from seamwright.core.intake.prepare import prepare
from seamwright.core.intake.remesh import deviation, remesh, samples
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import edge_report
from seamwright.voxel_skin import voxel_skin
from shapes import icosphere, joined, moved, rock, without

POINTS = 120_000
FURTHEST = 200


def measured(one: Mesh, two: Mesh) -> tuple[float, float]:
    """Largest and root mean square distance from one surface to the other, by the two other libraries."""
    body = trimesh.Trimesh(one.vertices, one.triangles, process=False)
    points, _ = trimesh.sample.sample_surface(body, POINTS, seed=1)
    ends = np.concatenate([one.vertices, body.triangles_center])
    tree = BVHTree.FromPolygons(two.vertices.tolist(), two.triangles.tolist(), all_triangles=True)
    even = np.array([tree.find_nearest(p)[3] for p in points.tolist()])
    corners = np.array([tree.find_nearest(p)[3] for p in ends.tolist()])
    # The largest need not lie at any of these: the triangles with the furthest are looked at closely.
    far = np.argsort(corners[len(one.vertices) :])[-FURTHEST:]
    close, _ = trimesh.sample.sample_surface(body.submesh([far], append=True), POINTS // 4, seed=2)
    there = np.array([tree.find_nearest(p)[3] for p in close.tolist()])
    return float(max(even.max(), corners.max(), there.max())), float(np.sqrt((even**2).mean()))


@pytest.mark.parametrize(("name", "voxel"), [("rock", 0.04), ("ball", 0.1)])
def test_deviation_agrees_with_other_libraries(name: str, voxel: float) -> None:
    shape = {
        "rock": rock(4, rough=0.3),
        "ball": icosphere(3),
    }[name]
    made = voxel_skin(shape, voxel)
    assert edge_report(made.triangles).closed
    found = deviation(shape, made)
    there, back = measured(shape, made), measured(made, shape)
    assert (found.largest_to, found.rms_to) == pytest.approx(there, rel=0.05)
    assert (found.largest_back, found.rms_back) == pytest.approx(back, rel=0.05)


def test_each_distance_is_the_one_to_the_nearest_triangle() -> None:
    shape, made = rock(4, rough=0.3), voxel_skin(rock(4, rough=0.3), 0.06)
    points, _ = samples(made, 2e-4)
    points = points[:: max(1, len(points) // 20_000)]
    tree = BVHTree.FromPolygons(shape.vertices.tolist(), shape.triangles.tolist(), all_triangles=True)
    other = np.array([tree.find_nearest(p)[3] for p in points.tolist()])
    assert distances(points, shape) == pytest.approx(other, abs=2e-6)


def test_a_scan_that_cannot_be_mended_gets_a_new_skin() -> None:
    """Two overlapping open balls with a hole each: mending leaves them overlapping, the skin goes round both."""
    ball = icosphere(3)
    gap = without(ball, near(ball, np.array([0.0, 0.0, 1.0]), 0.15))
    both = joined(gap, moved(gap, shift=(1.0, 0.0, 0.0)))
    recipe = Recipe(("weld", "orient", "fill", "remesh"), fill=0.5, deviation=0.03)
    intake = prepare(both, recipe=recipe, remesher=voxel_skin)
    # Two unit balls whose middles are 1 apart: 2 * 4/3 pi less a lens of 5/12 pi.
    assert intake.volume == pytest.approx((8.0 / 3.0 - 5.0 / 12.0) * np.pi, rel=0.02)
    assert "a new skin was laid over it" in intake.notes[-1]


def test_the_same_skin_again() -> None:
    one, two = (remesh(rock(3), 0.1, voxel_skin).mesh for _ in range(2))
    assert one.vertices.tobytes() == two.vertices.tobytes()
    assert one.triangles.tobytes() == two.triangles.tobytes()
