# SPDX-License-Identifier: GPL-3.0-or-later
"""Sections by planes: closed, exact, the right way round, the same as reference libraries find."""

from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.errors import MeshError
from seamwright.core.mesh.mass import volume
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.section import cross_sections, windings
from shapes import box, cylinder, icosphere, joined, moved, torus, turned


def loop_area(loop) -> float:
    """Signed area of a closed flat loop in its first two columns; positive counter-clockwise."""
    x, y = (np.asarray(loop)[:, k] - loop[0][k] for k in range(2))
    return 0.5 * float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


def area(section) -> float:
    return sum(loop_area(loop) for loop in section.loops)


def test_box_shows_its_outline_above_and_beneath_a_flat_face():
    block = box((2.0, 1.0, 0.5))
    inner, top_above, top_under, floor, floor_under = (
        *cross_sections(block, [0.2, 0.5]),
        *cross_sections(block, [0.5], beneath=True),
        *cross_sections(block, [0.0]),
        *cross_sections(block, [0.0], beneath=True),
    )
    for section in (inner, top_under, floor):
        assert len(section.loops) == 1
        assert area(section) == pytest.approx(2.0, rel=1e-15)
    assert top_above.loops == floor_under.loops == ()


def test_levels_come_back_in_the_order_given():
    levels = [0.3, -5.0, 0.1, 0.3]
    sections = cross_sections(box(), levels)
    assert [s.level for s in sections] == levels
    assert [len(s.loops) for s in sections] == [1, 0, 1, 1]


def test_hollow_runs_clockwise():
    hollow = joined(box((2.0, 2.0, 2.0)), flipped(box((1.0, 1.0, 1.0), (0.5, 0.5, 0.5))))
    (section,) = cross_sections(hollow, [1.1])
    assert sorted(loop_area(loop) for loop in section.loops) == pytest.approx([-1.0, 4.0])


def flipped(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices, mesh.triangles[:, ::-1])


def test_areas_of_a_sphere_and_a_ring_follow_the_formula():
    ball = icosphere(5)
    for section in cross_sections(ball, np.linspace(-0.9, 0.9, 13).tolist()):
        assert area(section) == pytest.approx(np.pi * (1.0 - section.level**2), rel=4e-3)
    ring = torus(240, 120)
    (middle,) = cross_sections(ring, [1e-3])
    assert len(middle.loops) == 2
    assert area(middle) == pytest.approx(np.pi * (1.4**2 - 0.6**2), rel=1e-3)


def test_volume_is_the_integral_of_the_areas():
    body = moved(torus(60, 40, rough=0.05), turned((1.0, 0.4, 0.2), 0.7))
    low, high = body.vertices[:, 2].min(), body.vertices[:, 2].max()
    levels = low + (np.arange(400) + 0.5) * (high - low) / 400
    total = sum(area(s) for s in cross_sections(body, levels.tolist())) * (high - low) / 400
    assert total == pytest.approx(volume(body), rel=1e-4)


def test_every_point_lies_on_its_plane_and_on_its_edge():
    body = moved(torus(50, 30, rough=0.05), turned((0.3, 1.0, 0.2), 1.1), (3.0, -2.0, 1.0))
    normal = np.array([0.36, 0.48, 0.8])
    middle = float(body.vertices.mean(axis=0) @ normal)
    for section in cross_sections(body, [middle, middle + 0.11], normal):
        assert section.loops
        for loop in section.loops:
            assert np.abs(loop @ normal - section.level).max() < 1e-14 * 8


def test_plane_through_vertices_gives_closed_loops_too():
    body = cylinder(48, 1.0, 2.0, 4)  # rings of vertices at 0, 0.5, 1, 1.5, 2
    for beneath in (False, True):
        (section,) = cross_sections(body, [1.0], beneath=beneath)
        assert area(section) == pytest.approx(0.5 * 48 * np.sin(2 * np.pi / 48), rel=1e-12)


def test_open_surface_is_refused_where_it_is_crossed():
    block = box()
    with pytest.raises(MeshError, match="not closed"):
        cross_sections(Mesh(block.vertices, block.triangles[:-1]), [0.5])


def test_same_as_the_references():
    trimesh = pytest.importorskip("trimesh")
    manifold3d = pytest.importorskip("manifold3d")
    body = moved(torus(70, 40, rough=0.06), turned((1.0, 0.2, 0.5), 0.4))
    levels = [-0.31, -0.07, 0.123, 0.4]
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(vert_properties=body.vertices.copy(), tri_verts=body.triangles.astype(np.uint64))
    )
    other = trimesh.Trimesh(body.vertices, body.triangles, process=False)
    for section in cross_sections(body, levels):
        assert area(section) == pytest.approx(solid.slice(section.level).area(), rel=1e-9)
        cut = other.section(plane_origin=[0, 0, section.level], plane_normal=[0, 0, 1])
        length = sum(np.linalg.norm(np.diff(loop, axis=0, append=loop[:1]), axis=1).sum() for loop in section.loops)
        assert length == pytest.approx(cut.length, rel=1e-9)


def test_windings_agree_with_shapely():
    shapely = pytest.importorskip("shapely")
    body = moved(torus(50, 30, rough=0.1), turned((1.0, 0.2, 0.5), 0.9))
    (section,) = cross_sections(body, [0.1])
    points = np.random.default_rng(5).uniform(-1.6, 1.6, (400, 2))
    shape = shapely.Polygon()
    for loop in section.loops:
        shape = shape.symmetric_difference(shapely.Polygon(loop[:, :2]))
    inside = shapely.contains_xy(shape, points[:, 0], points[:, 1])
    assert np.array_equal(windings(section.loops, points), inside.astype(int))
