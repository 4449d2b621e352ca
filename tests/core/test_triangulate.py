# SPDX-License-Identifier: GPL-3.0-or-later
"""Triangles of flat regions: their border is the outline, none is turned over, no vertex is made or left out."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from seamwright.core.errors import MeshError
from seamwright.core.mesh.earclip import clip_loops
from seamwright.core.mesh.foldback import clip_folds
from seamwright.core.mesh.triangulate import triangulate_layers, triangulate_loops

Region = tuple[np.ndarray, np.ndarray]


def ring(points: list[tuple[float, float]] | np.ndarray, start: int = 0) -> Region:
    """Points with the edges of a closed loop through them."""
    i = np.arange(len(points))
    return np.asarray(points, dtype=float), np.stack([i, np.roll(i, -1)], axis=1) + start


def together(*loops: list[tuple[float, float]] | np.ndarray) -> Region:
    points, edges, start = [], [], 0
    for loop in loops:
        p, e = ring(loop, start)
        points.append(p)
        edges.append(e)
        start += len(p)
    return np.concatenate(points), np.concatenate(edges)


def outline_area(points: np.ndarray, edges: np.ndarray) -> float:
    a, b = points[edges[:, 0]] - points.mean(axis=0), points[edges[:, 1]] - points.mean(axis=0)
    return 0.5 * float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum())


def twice_areas(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])


def border(triangles: np.ndarray) -> list[tuple[int, int]]:
    """Directed edges of triangles that no other triangle runs back, sorted."""
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]).tolist()
    left: dict[tuple[int, int], int] = {}
    for a, b in edges:
        if left.get((b, a), 0):
            left[b, a] -= 1
        else:
            left[a, b] = left.get((a, b), 0) + 1
    return sorted(e for e, n in left.items() for _ in range(n))


def assert_fills(region: Region, triangles: np.ndarray, rounding: float = 0.0) -> None:
    """Exactly the region: with the right border, and nothing turned over, nothing can overlap or be left out."""
    points, edges = region
    assert triangles.dtype == np.int64
    assert triangles.shape[1:] == (3,)
    assert (np.diff(np.sort(triangles, axis=1), axis=1) > 0).all(), "a triangle names a point twice"
    assert border(triangles) == sorted(map(tuple, edges.tolist()))
    size = float(np.ptp(points, axis=0).max())
    assert (twice_areas(points, triangles) >= -(1e-13 + rounding) * size**2).all(), "a triangle is turned over"
    total = outline_area(points, edges)
    assert 0.5 * twice_areas(points, triangles).sum() == pytest.approx(total, rel=1e-12, abs=1e-13 * size**2)


SQUARE = [(0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (0.0, 4.0)]


def square(low: tuple[float, float], side: float, hole: bool = False) -> np.ndarray:
    out = np.array(SQUARE) * side / 4.0 + np.array(low)
    return out[::-1] if hole else out


SHAPES: dict[str, Region] = {
    "triangle": ring([(0, 0), (1, 0), (0, 1)]),
    "square": ring(SQUARE),
    "points on straight sides": ring([(0, 0), (1, 0), (2, 0), (4, 0), (4, 2), (4, 4), (2, 4), (0, 4), (0, 3), (0, 1)]),
    "comb": ring([(0, 0), (9, 0), *((x, (4, 1)[x // 1 % 2]) for x in range(9, 0, -1)), (0, 4)]),
    "steps": ring([(0, 0), (5, 0), *((x - d, 5 - x + 1) for x in range(5, 0, -1) for d in (0, 1))]),
    "hole": together(SQUARE, square((1, 1), 2, hole=True)),
    "hole that touches a side in a point": together(SQUARE, [(0, 2), (1, 3), (2, 2), (1, 1)]),
    "island in a hole in a plate": together(SQUARE, square((0.5, 0.5), 3, hole=True), square((1, 1), 2)),
    "nested five deep": together(
        *(square((k / 2, k / 2), 4 - k, hole=k % 2 == 1) for k in range(4)), square((1.9, 1.9), 0.2)
    ),
    "many holes on one level": together(
        SQUARE, *(square((x, 1.5), 0.5, hole=True) for x in (0.25, 1.0, 1.75, 2.5, 3.25))
    ),
    "holes at the same heights": together(
        SQUARE, *(square((x, y), 0.5, hole=True) for x in (0.5, 1.5, 2.5) for y in (0.5, 1.5, 2.5))
    ),
    "two plates apart": together(square((0, 0), 1), square((2, 0), 1)),
    "two plates, one over the other": together(square((0, 0), 1), square((0, 2), 1)),
    "needle": ring([(0, 0), (1e6, 1e-3), (2e6, 0), (1e6, 2e-3)]),
    "spiral": ring(
        np.concatenate(
            [
                [
                    (r * np.cos(a), r * np.sin(a))
                    for a, r in zip(np.linspace(0, 12, 60), np.linspace(1, 4, 60), strict=True)
                ],
                [
                    (r * np.cos(a), r * np.sin(a))
                    for a, r in zip(np.linspace(12, 0, 60), np.linspace(3.8, 0.8, 60), strict=True)
                ],
            ]
        )
    ),
}

# Loops that share a vertex: pinched from inside, touching from outside, a hole tied to the outline, a bow of two.
TOUCHING: dict[str, Region] = {
    "two squares at a corner": (
        np.array([(0, 0), (1, 0), (1, 1), (0, 1), (2, 1), (2, 2), (1, 2)], dtype=float),
        np.array([(0, 1), (1, 2), (2, 3), (3, 0), (2, 4), (4, 5), (5, 6), (6, 2)]),
    ),
    "hole at a corner of the outline": (
        np.array([*SQUARE, (3, 1), (2, 2), (1, 3)], dtype=float)[[0, 1, 2, 3, 4, 6]],
        np.array([(0, 1), (1, 2), (2, 3), (3, 0), (0, 5), (5, 4), (4, 0)]),
    ),
    "two holes at one point": (
        np.array([*SQUARE, (2, 2), (1, 2.5), (1, 1.5), (3, 1.5), (3, 2.5)], dtype=float),
        np.array([(0, 1), (1, 2), (2, 3), (3, 0), (4, 6), (6, 5), (5, 4), (4, 8), (8, 7), (7, 4)]),
    ),
    "a chain of holes from side to side": (
        np.array([(0, 0), (4, 0), (4, 2), (4, 4), (0, 4), (0, 2), (1, 3), (2, 2), (1, 1), (3, 3), (3, 1)], dtype=float),
        np.array(
            [
                (0, 1),
                (1, 2),
                (2, 3),
                (3, 4),
                (4, 5),
                (5, 0),
                (5, 6),
                (6, 7),
                (7, 8),
                (8, 5),
                (7, 9),
                (9, 2),
                (2, 10),
                (10, 7),
            ]
        ),
    ),
}


@pytest.mark.parametrize("angle", [0.0, 0.3, np.pi / 2, 2.0, np.pi])
@pytest.mark.parametrize("name", [*SHAPES, *TOUCHING])
def test_shapes(name: str, angle: float) -> None:
    points, edges = {**SHAPES, **TOUCHING}[name]
    c, s = np.cos(angle), np.sin(angle)
    turned = points @ np.array([[c, s], [-s, c]])
    triangles = triangulate_loops(turned, edges)
    assert_fills((turned, edges), triangles)
    if name in SHAPES:
        # Euler: v vertices, h holes and p plates make v + 2 h - 2 p triangles.
        loops = np.split(np.arange(len(edges)), np.flatnonzero(edges[:-1, 1] < edges[:-1, 0]) + 1)
        signs = [outline_area(points, edges[rows]) > 0.0 for rows in loops]
        assert len(triangles) == len(points) + 2 * signs.count(False) - 2 * signs.count(True)


@pytest.mark.parametrize("shift", [(0.0, 0.0), (1e4, -3e4), (1e7, 1e7)])
@pytest.mark.parametrize("scale", [1e-6, 1.0, 1e5])
def test_places_and_sizes(shift: tuple[float, float], scale: float) -> None:
    for name in ("nested five deep", "spiral", "comb"):
        points, edges = SHAPES[name]
        if np.hypot(*shift) * 1e-13 > 1e-3 * scale:
            continue
        moved = points * scale + np.array(shift)
        assert_fills((moved, edges), triangulate_loops(moved, edges), rounding=4e-16 * np.hypot(*shift) / scale)


def test_order_and_numbers_do_not_matter() -> None:
    rng = np.random.default_rng(0)
    points, edges = SHAPES["nested five deep"]
    names = rng.permutation(2 * len(points))[: len(points)]
    spread = np.full((2 * len(points), 2), 7.0)
    spread[names] = points
    mixed = names[edges][rng.permutation(len(edges))]
    triangles = triangulate_loops(spread, mixed)
    assert set(np.unique(triangles)) == set(names.tolist())
    assert_fills((spread, mixed), triangles)
    assert triangulate_loops(spread, mixed).tobytes() == triangles.tobytes()


def test_layers_do_not_see_each_other() -> None:
    # The same place, and edges that cross, in layers with numbers of any size; a layer may run a shared edge its way.
    points, edges = together(SQUARE, square((1, 1), 2), square((2, 2), 3), square((0, 0), 4, hole=True))
    layer = np.repeat([10**12, 5, -3, 7], 4)
    edges[12:] = edges[:4, ::-1]
    points[8:12, 0] += 0.25
    with_hole = np.concatenate([edges, edges[4:8, ::-1]])
    layer = np.concatenate([layer, np.full(4, 10**12)])
    # Layer 7 is an outline that runs the wrong way round: its triangles cover it once, looking down.
    use = layer != 7
    triangles, owner = triangulate_layers(points, with_hole[use], layer[use])
    assert (np.diff(owner) >= 0).all()
    for name in (-3, 5, 10**12):
        mine = with_hole[layer == name]
        assert_fills((points, mine), triangles[owner == name])


def test_an_open_outline_is_refused() -> None:
    points, edges = SHAPES["square"]
    for gone in range(4):
        with pytest.raises(MeshError, match="not closed at point"):
            triangulate_loops(points, np.delete(edges, gone, axis=0))
    with pytest.raises(MeshError, match="not closed"):
        triangulate_loops(points, np.concatenate([edges[:3], edges[3:, ::-1]]))
    # Closed as a whole, not in each layer.
    with pytest.raises(MeshError, match="not closed"):
        triangulate_loops(points, edges, np.array([0, 0, 1, 1]))
    assert triangulate_loops(points, np.zeros((0, 2), dtype=np.int64)).shape == (0, 3)


@st.composite
def star_plates(draw: st.DrawFn) -> Region:
    """Plates with holes and islands, each loop a star about a cell of a grid, so that none meets another."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    grid = draw(st.booleans())
    loops = []
    for x in range(draw(st.integers(1, 3))):
        for y in range(draw(st.integers(1, 3))):
            radius = 1.0
            for depth in range(draw(st.integers(1, 4))):
                count = int(rng.integers(3, 30))
                angle = np.sort(rng.choice(720, count, replace=False)) * np.pi / 360.0
                if np.diff(angle, append=angle[0] + 2 * np.pi).max() > 2.5:
                    break
                r = radius * rng.uniform(0.8, 1.0, count)
                # Chords of a star dip inwards: what comes next lies well within.
                radius *= 0.2
                loop = np.stack([x * 2.5 + r * np.cos(angle), y * 2.5 + r * np.sin(angle)], axis=1)
                loop = np.round(loop * 512) / 512 if grid and depth == 0 else loop
                loops.append(loop if depth % 2 == 0 else loop[::-1])
    return together(*(loops or [np.array(SQUARE)]))


@given(star_plates())
def test_random_plates(region: Region) -> None:
    assert_fills(region, triangulate_loops(*region))


@given(st.integers(0, 2**32 - 1), st.integers(3, 60), st.sampled_from([1.0, 1e-3, 1e-7, 1e-11]))
def test_random_chains_flattened(seed: int, count: int, squash: float) -> None:
    # Two chains over the same ground, pressed nearly into a line: slopes of any size, points nearly on lines.
    rng = np.random.default_rng(seed)
    x = np.sort(rng.random(count))
    up, down = rng.random(count) + 0.01, -rng.random(count) - 0.01
    points = np.concatenate([np.stack([x, down], axis=1), np.stack([x, up], axis=1)[::-1]]) * (1.0, squash)
    region = ring(points)
    assert_fills(region, triangulate_loops(*region))


@given(st.integers(0, 2**32 - 1), st.integers(2, 9))
def test_random_cells(seed: int, count: int) -> None:
    # Regions of a grid's cells: straight runs of points, points at the same heights, loops that touch in points.
    rng = np.random.default_rng(seed)
    filled = rng.random((count, count)) < 0.6
    filled[0, 0] = True
    grid = np.pad(filled, 1).astype(int)
    corner = np.arange((count + 1) ** 2).reshape(count + 1, count + 1)
    edges = []
    # An edge along x at row j runs to the right where the cell over it is filled and the one under it is not.
    for i, j in np.argwhere(np.diff(grid[1:-1], axis=1) != 0):
        ends = corner[i, j], corner[i + 1, j]
        edges.append(ends if grid[i + 1, j + 1] else ends[::-1])
    for i, j in np.argwhere(np.diff(grid[:, 1:-1], axis=0) != 0):
        ends = corner[i, j], corner[i, j + 1]
        edges.append(ends[::-1] if grid[i + 1, j + 1] else ends)
    points = np.stack(np.meshgrid(np.arange(count + 1.0), np.arange(count + 1.0), indexing="ij"), axis=2).reshape(-1, 2)
    region = points, np.array(edges)
    assert outline_area(*region) == pytest.approx(filled.sum())
    assert_fills(region, triangulate_loops(*region))


@pytest.mark.parametrize("shift", [0.0, 10.0])
@given(st.integers(0, 2**32 - 1))
def test_a_loop_that_is_a_line_is_closed_by_its_own_points(shift: float, seed: int) -> None:
    """A loop folded flat on the line of a plate's straight side, within the side or beyond it, turned any way.

    Needles from it to the plate would reach for places that have nothing to do with it.
    """
    rng = np.random.default_rng(seed)
    count, side, folded = rng.integers((3, 2, 3), (20, 8, 9))
    roof = np.stack([np.sort(rng.random(count)), rng.uniform(0.1, 1.0, count)], axis=1)[::-1]
    floor = np.stack([np.concatenate([[0.0], np.sort(rng.random(side)), [1.0]]), np.zeros(side + 2)], axis=1)
    along = rng.uniform(-0.5, 1.5) + rng.random(folded) * 10.0 ** rng.uniform(-4.0, 0.0)
    points, edges = together(np.concatenate([floor, roof]), np.stack([along, np.zeros(folded)], axis=1))
    angle = rng.choice([0.0, rng.uniform(0.0, 6.0)])
    c, s = np.cos(angle), np.sin(angle)
    points = points @ np.array([[c, s], [-s, c]]) + shift * rng.normal(size=2)
    triangles = triangulate_loops(points, edges)
    assert_fills((points, edges), triangles, rounding=1e-14 * shift)
    own = (triangles >= len(floor) + len(roof)).sum(axis=1)
    assert ((own == 0) | (own == 3)).all()
    assert (own == 3).sum() == folded - 2


def test_corners_that_fold_back_are_cut_off_the_shortest_first() -> None:
    # Along x: 0 to 9, back to 8.5, on to 8.75, and so to the plate's corner at 10; no needle is longer than 1.25.
    points, edges = ring([(0, 0), (9, 0), (8.5, 0), (8.75, 0), (10, 0), (10, 3), (0, 3)])
    triangles, left, keep = clip_folds(points, edges, 1e-14)
    assert triangles.tolist() == [[1, 2, 3], [1, 3, 4]]
    assert keep.sum() == 5
    assert border(np.concatenate([triangles, clip_loops(points, left[keep])])) == sorted(map(tuple, edges.tolist()))
    assert_fills((points, edges), triangulate_loops(points, edges))
    # Nothing folded: nothing done. A slit's end is no fold.
    for name in ("square", "comb", "needle"):
        assert len(clip_folds(*SHAPES[name], 1e-14)[0]) == 0
    slit = np.array([*SQUARE, (1, 1), (3, 1)]), np.array([(0, 1), (1, 2), (2, 3), (3, 0), (4, 5), (5, 4)])
    assert len(clip_folds(*slit, 1e-14)[0]) == 0


# The slow way --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [*SHAPES, *TOUCHING])
def test_ear_by_ear_the_same_regions(name: str) -> None:
    points, edges = {**SHAPES, **TOUCHING}[name]
    assert_fills((points, edges), clip_loops(points, edges))


@given(st.integers(0, 2**32 - 1), st.integers(3, 24))
def test_ear_by_ear_the_border_is_right_whatever_crosses(seed: int, count: int) -> None:
    points, edges = ring(np.random.default_rng(seed).random((count, 2)))
    for triangles in (clip_loops(points, edges), triangulate_loops(points, edges)):
        assert border(triangles) == sorted(map(tuple, edges.tolist()))
        assert 0.5 * twice_areas(points, triangles).sum() == pytest.approx(outline_area(points, edges), abs=1e-12)


@pytest.mark.parametrize("count", [1500, 4000])
def test_a_long_outline_that_crosses_itself_is_turned_over_only_there(count: int) -> None:
    """A wavy ring with a loop in its line: no triangulation has that border and nothing turned over."""
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    points = ((1.0 + 0.1 * np.sin(17.0 * angle)) * np.array([np.cos(angle), np.sin(angle)])).T
    step = float(np.linalg.norm(points[400] - points[401]))
    points[400:403] = points[[402, 402, 400]] * (1.0 + 0.3 * step * np.array([[-1.0], [1.0], [1.0]]))
    points, edges = ring(points)
    triangles = triangulate_loops(points, edges)
    assert border(triangles) == sorted(map(tuple, edges.tolist()))
    twice = twice_areas(points, triangles)
    assert 0.5 * twice.sum() == pytest.approx(outline_area(points, edges), rel=1e-12)
    assert 0.0 > twice[twice < 0.0].sum() > -10.0 * step * step


@pytest.mark.parametrize("seed", [0, 5, 11, 13])
def test_places_where_a_long_outline_crosses_itself_are_patched_each_for_itself(seed: int) -> None:
    """Several crossings far apart; patched all at once, up to a hundred thousand times as much is turned over."""
    rng = np.random.default_rng(seed)
    count, crossings = int(rng.integers(1300, 3000)), int(rng.integers(2, 7))
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    wave = 1.0 + 0.1 * np.sin(17.0 * angle) + 0.15 * np.sin(3.0 * angle)
    points = (wave * np.array([np.cos(angle), np.sin(angle)])).T
    step = float(np.linalg.norm(points[1] - points[0]))
    for at in rng.choice(np.arange(10, count - 10, 10), crossings, replace=False).tolist():
        if seed % 2:
            points[at : at + 3] = points[[at + 2, at + 2, at]] * (1.0 + 0.3 * step * np.array([[-1.0], [1.0], [1.0]]))
        else:
            points[[at, at + 1]] = points[[at + 1, at]]
    points, edges = ring(points)
    triangles = triangulate_loops(points, edges)
    assert border(triangles) == sorted(map(tuple, edges.tolist()))
    twice = twice_areas(points, triangles)
    assert 0.5 * twice.sum() == pytest.approx(outline_area(points, edges), rel=1e-12)
    assert 0.0 > twice[twice < 0.0].sum() > -200.0 * step * step


def test_a_short_outline_that_crosses_itself_is_turned_over_no_further_than_it_must() -> None:
    """Two or three corners of a rugged outline in the wrong order, in one to four places.

    Closed ear by ear as a whole it is turned over in slivers from side to side: 18 times as much in the middle.
    """
    more = []
    for seed in range(16):
        rng = np.random.default_rng(seed)
        count, crossings = int(rng.integers(30, 400)), int(rng.integers(1, 5))
        angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
        wave = 1.0 + 0.15 * np.sin(3.0 * angle) + 0.02 * rng.normal(size=count)
        points = (wave * np.array([1.6 * np.cos(angle), np.sin(angle)])).T
        for at in rng.choice(np.arange(4, count - 6, 5), crossings, replace=False).tolist():
            points[at : at + 3] = points[[at + 2, at, at + 1] if rng.random() < 0.5 else [at + 1, at, at + 2]]
        points, edges = ring(points)
        by_ears, found = (
            -np.minimum(twice_areas(points, way(points, edges)), 0.0).sum() for way in (clip_loops, triangulate_loops)
        )
        assert found <= by_ears + 1e-12
        if found > 1e-12:
            more.append(by_ears / found)
    assert len(more) > 5
    assert np.median(more) > 5.0
