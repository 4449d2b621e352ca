# SPDX-License-Identifier: GPL-3.0-or-later
"""Triangles of flat regions against shapely (GEOS) and mapbox_earcut: the same area, the same place, nothing twice."""

from __future__ import annotations

import mapbox_earcut
import numpy as np
import pytest
import shapely
from reference import section_polygon
from seamwright.core.cutting.joint import Plane
from seamwright.core.mesh.earclip import clip_loops
from seamwright.core.mesh.triangulate import triangulate_layers, triangulate_loops
from shapes import comb, pocketed_box, rock, torus


def loops_of(region: shapely.Geometry) -> tuple[np.ndarray, np.ndarray]:
    """Points and directed edges of a polygon or several, the region on the left."""
    points: list[np.ndarray] = []
    edges: list[np.ndarray] = []
    start = 0
    for part in shapely.get_parts(shapely.normalize(region)):
        part = shapely.geometry.polygon.orient(part)
        for ring in (part.exterior, *part.interiors):
            p = shapely.get_coordinates(ring)[:-1]
            i = np.arange(len(p))
            points.append(p)
            edges.append(np.stack([i, np.roll(i, -1)], axis=1) + start)
            start += len(p)
    return np.concatenate(points), np.concatenate(edges)


def earcut_area(region: shapely.Geometry) -> float:
    total = 0.0
    for part in shapely.get_parts(region):
        rings = [shapely.get_coordinates(r)[:-1] for r in (part.exterior, *part.interiors)]
        points = np.concatenate(rings)
        found = mapbox_earcut.triangulate_float64(points, np.cumsum([len(r) for r in rings]).astype(np.uint32))
        total += float(shapely.area(shapely.polygons(points[found.reshape(-1, 3)])).sum())
    return total


def assert_tiles(region: shapely.Geometry, points: np.ndarray, triangles: np.ndarray) -> None:
    size = float(np.ptp(points, axis=0).max())
    tiles = shapely.polygons(points[triangles])
    assert shapely.area(tiles).sum() == pytest.approx(region.area, rel=1e-11)
    tiles = tiles[shapely.area(tiles) > 1e-14 * size**2]
    # Nothing twice: as much as their union; nothing elsewhere: the union is the region.
    union = shapely.union_all(tiles, grid_size=0.0)
    assert union.area == pytest.approx(region.area, rel=1e-9)
    assert union.symmetric_difference(region).area <= 1e-9 * size**2
    assert set(np.unique(triangles)) == set(range(len(points)))


def random_region(seed: int) -> shapely.Geometry:
    """What is left of a plate after discs and bars are taken out and put in, by shapely."""
    rng = np.random.default_rng([12, seed])
    region = shapely.box(0, 0, 10, 6)
    for k in range(int(rng.integers(4, 16))):
        x, y = rng.uniform(0, 10), rng.uniform(0, 6)
        if rng.random() < 0.5:
            thing = shapely.Point(x, y).buffer(rng.uniform(0.2, 2.0), quad_segs=int(rng.integers(1, 12)))
        else:
            thing = shapely.affinity.rotate(shapely.box(x, y, x + rng.uniform(0.1, 6), y + 0.3), rng.uniform(0, 180))
        region = region - thing if k % 3 else region | thing
    return region


@pytest.mark.parametrize("seed", range(40))
def test_random_regions(seed: int) -> None:
    region = random_region(seed)
    points, edges = loops_of(region)
    triangles = triangulate_loops(points, edges)
    assert_tiles(region, points, triangles)
    mine = float(shapely.area(shapely.polygons(points[triangles])).sum())
    assert mine == pytest.approx(earcut_area(region), rel=1e-9)
    # The slow way, for one outline without holes.
    outer = shapely.Polygon(max(shapely.get_parts(region), key=lambda p: p.area).exterior)
    points, edges = loops_of(outer)
    assert_tiles(outer, points, clip_loops(points, edges))


@pytest.mark.parametrize("name", ["rock", "torus", "comb", "pockets"])
def test_sections_in_layers(name: str) -> None:
    mesh = {"rock": rock(3, 2), "torus": torus(30, 16, rough=0.3), "comb": comb(5), "pockets": pocketed_box()}[name]
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    regions = []
    for share in np.linspace(0.11, 0.87, 9):
        region = section_polygon(mesh, Plane(low + share * (high - low), (0.3, 0.2, 1.0)))
        if not region.is_empty and region.is_valid:
            regions.append(region)
    assert len(regions) >= 6
    points, edges, layer, start = [], [], [], 0
    for k, region in enumerate(regions):
        p, e = loops_of(region)
        points.append(p)
        edges.append(e + start)
        layer.append(np.full(len(e), k))
        start += len(p)
    triangles, owner = triangulate_layers(np.concatenate(points), np.concatenate(edges), np.concatenate(layer))
    first = np.cumsum([0] + [len(p) for p in points])
    for k, region in enumerate(regions):
        assert_tiles(region, points[k], triangles[owner == k] - first[k])


def test_a_coast_of_ten_thousand_points() -> None:
    # A ragged outline about a circle, with a lake in it: as earcut has its area.
    rng = np.random.default_rng(2)
    angle = np.linspace(0.0, 2.0 * np.pi, 10001)[:-1]
    walk = np.cumsum(rng.normal(size=10000))
    walk -= np.linspace(0.0, walk[-1], 10000)
    radius = 3.0 + 0.8 * walk / np.abs(walk).max() + 0.02 * rng.random(10000)
    shore = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    lake = 0.3 * shore[::7]
    region = shapely.Polygon(shore, [lake])
    assert region.is_valid
    points, edges = loops_of(region)
    triangles = triangulate_loops(points, edges)
    assert len(triangles) == len(points)
    areas = shapely.area(shapely.polygons(points[triangles]))
    assert areas.sum() == pytest.approx(region.area, rel=1e-12)
    assert areas.sum() == pytest.approx(earcut_area(region), rel=1e-9)
