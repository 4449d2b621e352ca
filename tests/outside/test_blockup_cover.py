# SPDX-License-Identifier: GPL-3.0-or-later
"""Block-ups against manifold3d and shapely: no carving outside, no idle billet, all glue there, outlines as grown."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from seamwright.core.blockup.billets import glue_lines, make_billets
from seamwright.core.blockup.glue_lines import BED
from seamwright.core.blockup.grow import filled, grown, signed_distance
from seamwright.core.blockup.held import held_billets
from seamwright.core.blockup.layout import Layout
from seamwright.core.blockup.outlines import course_outlines
from seamwright.core.blockup.search import search_position
from seamwright.core.mesh.mass import volume
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.section import cross_sections
from shapes import box, comb, cylinder, hollow_box, moved, pocketed_box, rock, torus, turned

manifold3d = pytest.importorskip("manifold3d")
shapely = pytest.importorskip("shapely")

BILLET = (2.44, 1.22, 0.61)


def solid(mesh: Mesh):
    made = manifold3d.Manifold(
        manifold3d.Mesh64(vert_properties=mesh.vertices.copy(), tri_verts=mesh.triangles.astype(np.uint64))
    )
    assert made.status() == manifold3d.Error.NoError
    return made


def boxes(low: np.ndarray, high: np.ndarray) -> list:
    return [manifold3d.Manifold.cube((b - a).tolist()).translate(a.tolist()) for a, b in zip(low, high, strict=True)]


def carving(seed: int) -> Mesh:
    """A random body in a random place: boulders, rings, combs, hollow and pocketed boxes."""
    rng = np.random.default_rng(seed)
    kinds = (
        lambda: rock(3, seed, size=tuple(rng.uniform([2.0, 1.0, 0.5], [7.0, 4.0, 2.5]).tolist())),
        lambda: torus(40, 20, float(rng.uniform(1.0, 2.5)), float(rng.uniform(0.2, 0.6)), 0.05),
        lambda: comb(4, tuple(rng.uniform(1.0, 5.0, 3).tolist())),
        lambda: hollow_box((4.0, 3.0, 2.0)),
        lambda: pocketed_box((3.0, 2.0, 1.5)),
    )
    body = kinds[seed % len(kinds)]()
    return moved(body, turned((0, 0, 1), float(rng.uniform(0.0, 3.0))), tuple(rng.normal(size=3).tolist()))


def layout_of(seed: int) -> Layout:
    rng = np.random.default_rng(1000 + seed)
    billet = BILLET if seed % 3 else tuple(rng.uniform(0.3, 1.2, 3).tolist())
    heights = () if seed % 4 else tuple(rng.uniform(0.15, 0.3, 2).tolist())
    offsets = () if seed % 5 else tuple(map(tuple, rng.uniform(0.0, 0.6, (2, 2)).tolist()))
    return Layout(billet, tuple(rng.normal(size=3).tolist()), float(rng.uniform(-3, 3)), 0.5, offsets, heights)


@pytest.mark.parametrize("seed", range(25))
def test_billets_cover_the_carving_and_none_is_idle(seed):
    body, layout = carving(seed), layout_of(seed)
    held = held_billets(body, layout)
    whole = solid(Mesh(layout.to_block(body.vertices), body.triangles))
    total = whole.volume()
    places = np.array([layout.corner(cell) for cell in held.cells])
    inside = [whole ^ one for one in boxes(places, places + [layout.size(cell) for cell in held.cells])]
    assert all(part.volume() > 0.0 for part in inside)
    assert sum(part.volume() for part in inside) == pytest.approx(total, rel=1e-9)
    # The box in each billet is the smallest: manifold3d's own intersection has it.
    for row, part in enumerate(inside):
        low, high = np.split(np.array(part.bounding_box()), 2)
        assert held.low[row] == pytest.approx(low, abs=1e-7)
        assert held.high[row] == pytest.approx(high, abs=1e-7)
    left = whole - manifold3d.Manifold.batch_boolean(boxes(held.low, held.high), manifold3d.OpType.Add)
    assert left.volume() <= 1e-9 * total


@pytest.mark.parametrize("seed", range(0, 25, 4))
def test_every_bit_of_carving_on_a_wall_is_on_a_glue_line(seed):
    """On each plane between two courses the carving's section lies within the beds' rectangles, by shapely."""
    body, layout = carving(seed), layout_of(seed)
    billets = make_billets(held_billets(body, layout), layout, 0.02, 0.003)
    glue = glue_lines(billets, layout)
    block = Mesh(layout.to_block(body.vertices), body.triangles)
    for course in sorted({b.cell[0] for b in billets})[1:]:
        level = layout.level(course)
        (section,) = cross_sections(block, [level])
        shape = shapely.Polygon()
        for loop in section.loops:
            shape = shape.symmetric_difference(shapely.Polygon(loop[:, :2]).buffer(0))
        beds = []
        for corner, along, across, kind in zip(glue.corner, glue.along, glue.across, glue.kind, strict=True):
            rows = layout.to_block([corner, corner + along + across])
            if kind == BED and abs(rows[0, 2] - level) < 1e-9:
                beds.append(shapely.box(*rows[:, :2].min(axis=0), *rows[:, :2].max(axis=0)))
        assert shape.difference(shapely.union_all(beds).buffer(1e-9)).area <= 1e-7 * max(shape.area, 1e-9)
        assert sum(bed.area for bed in beds) == pytest.approx(shapely.union_all(beds).area, rel=1e-9), "none twice"


@pytest.mark.parametrize("seed", range(20))
def test_positions_found_cover_and_keep_to_their_bounds(seed):
    body = carving(seed)
    found = search_position(body, Layout(BILLET), 0.02, 0.003, budget=60)
    held = held_billets(body, found.layout)
    whole = solid(Mesh(found.layout.to_block(body.vertices), body.triangles))
    covered = manifold3d.Manifold.batch_boolean(boxes(held.low, held.high), manifold3d.OpType.Add)
    assert (whole - covered).volume() <= 1e-9 * whole.volume()
    assert found.billets >= found.fewest_here >= found.fewest
    assert found.fewest == math.ceil(volume(body) / math.prod(BILLET) * (1.0 - 1e-12))
    assert float(found.layout.origin[2]) == float(body.vertices[:, 2].min())


# Outlines.


def polygon(loops):
    shape = shapely.Polygon()
    for loop in loops:
        shape = shape.symmetric_difference(shapely.Polygon(loop).buffer(0))
    return shape


def wavy(seed: int, reach: float = 0.6) -> np.ndarray:
    rng = np.random.default_rng(seed)
    t = np.linspace(0.0, 2.0 * np.pi, 700, endpoint=False)
    r = reach * (1.0 + sum(rng.uniform(0.0, 0.12) * np.sin(k * t + rng.uniform(0, 6)) for k in (2, 3, 5, 9)))
    return np.stack([r * np.cos(t), r * np.sin(t)], axis=1)


@pytest.mark.parametrize("margin", [0.004, 0.02, 0.05])
@pytest.mark.parametrize("seed", range(3))
def test_grown_outline_is_that_of_shapely(margin, seed):
    hole = wavy(seed + 10, 0.25)[::-1]
    loops = (wavy(seed), hole)
    ours = polygon(grown([loops], margin))
    theirs = polygon(loops).buffer(margin, quad_segs=64)
    assert ours.symmetric_difference(theirs).area < 2e-4 * theirs.length
    # Points of ours lie at the margin from the outline, within the grid's square over eight margins and a hair; in a
    # nook, where two sides of it are as near, up to half a step further out, never further in.
    step = min(margin / 4.0, 0.01)
    points = shapely.points(np.concatenate(grown([loops], margin)))
    away = shapely.distance(polygon(loops), points)
    fine = step**2 / (8.0 * margin) + 0.05 * step
    assert margin - away.min() < fine
    assert away.max() - margin < 0.5 * step
    assert (np.abs(away - margin) < fine).mean() > 0.98


def test_grown_outline_of_a_square_is_exact_along_its_sides():
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 0.7], [0.0, 0.7]])
    (loop,) = grown([(square,)], 0.02)
    assert (loop.min(axis=0), loop.max(axis=0)) == (pytest.approx([-0.02, -0.02]), pytest.approx([1.02, 0.72]))
    assert polygon([loop]).area == pytest.approx(0.7 + 2 * 0.02 * 1.7 + math.pi * 0.02**2, rel=1e-4)


def test_union_of_sections_is_grown_as_one():
    parts = [(wavy(1),), (wavy(2) + np.array([0.5, 0.1]),), (wavy(3, 0.2) - np.array([0.1, 0.0]),)]
    ours = polygon(grown(parts, 0.03))
    theirs = shapely.union_all([polygon(loops) for loops in parts]).buffer(0.03, quad_segs=64)
    assert ours.symmetric_difference(theirs).area < 2e-4 * theirs.length


def test_distances_and_filling_agree_with_shapely():
    loops = (wavy(4), wavy(5, 0.2)[::-1])
    shape = polygon(loops)
    points = np.random.default_rng(0).uniform(-1.0, 1.0, (500, 2))
    inside = shapely.contains_xy(shape, points[:, 0], points[:, 1])
    expected = np.where(inside, -1.0, 1.0) * shapely.distance(shape.boundary, shapely.points(points))
    assert signed_distance(loops, points) == pytest.approx(expected, abs=1e-12)
    nodes = filled(loops, np.array([-1.0, -1.0]), 0.01, np.array([201, 201]))
    grid = np.stack(np.meshgrid(np.arange(201), np.arange(201), indexing="ij"), axis=-1) * 0.01 - 1.0
    assert (nodes == shapely.contains_xy(shape, grid[..., 0], grid[..., 1])).mean() == 1.0


def test_outlines_of_a_cylinder_and_of_a_cone_follow_the_formula():
    layout = Layout((3.0, 3.0, 0.5), (-1.5, -1.5, 0.0))
    body = cylinder(720, 1.0, 1.0, 2)
    for one in course_outlines(body, layout, (0, 1), 0.02):
        for loops, radius in ((one.lower, 1.0), (one.upper_grown, 1.02), (one.shadow_grown, 1.02)):
            (loop,) = loops
            assert np.hypot(*(layout.to_job(np.column_stack([loop, loop[:, 0] * 0]))[:, :2].T)) == pytest.approx(
                radius, abs=3e-4
            )
        assert one.bulge < 1e-3  # outlines are thinned to points 25 mm apart


def test_what_stands_out_between_the_faces_is_measured():
    # A barrel: 0.8 m at both ends, 1.0 m half way up; a straight wire would cut 0.2 m into it there.
    t = 2.0 * np.pi * np.arange(360) / 360
    circle = np.stack([np.cos(t), np.sin(t)], axis=1)
    rings = [np.column_stack([circle * r, np.full(360, z)]) for r, z in ((0.8, 0.0), (1.0, 0.25), (0.8, 0.5))]
    side, follow = np.arange(360), (np.arange(360) + 1) % 360
    triangles = [np.stack([side + k, follow + k, follow + k + 360], axis=1) for k in (0, 360)]
    triangles += [np.stack([side + k, follow + k + 360, side + k + 360], axis=1) for k in (0, 360)]
    fan = np.arange(1, 359)
    triangles += [np.stack([fan * 0, fan + 1, fan], axis=1), np.stack([fan * 0, fan, fan + 1], axis=1) + 720]
    barrel = Mesh(np.concatenate(rings), np.concatenate(triangles))
    (one,) = course_outlines(barrel, Layout((3.0, 3.0, 0.5), (-1.5, -1.5, 0.0)), (0,), 0.02)
    # Judged at heights 80 mm apart or closer: the nearest to the middle is at most 36 mm off it, 0.8 mm of radius a mm.
    assert 0.17 < one.bulge < 0.201
    x, y, z = one.bulge_at
    assert math.hypot(x, y) == pytest.approx(0.8 + one.bulge, abs=2e-3)
    assert abs(z - 0.25) < 0.04


def test_courses_that_are_not_reached_have_no_upper_outline():
    layout = dataclasses.replace(Layout((3.0, 3.0, 0.61)), origin=(-0.5, -0.5, 0.0))
    low, top = course_outlines(box((1.0, 1.0, 0.9)), layout, (0, 1), 0.02)
    assert low.upper
    assert top.lower
    assert top.upper == top.upper_grown == ()
    assert top.shadow_grown
    assert top.bulge_at is None
