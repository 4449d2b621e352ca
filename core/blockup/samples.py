# SPDX-License-Identifier: GPL-3.0-or-later
"""Points on and in a carving, thinned out: enough to judge many positions of a block-up quickly."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from ..mesh.section import cross_sections
from .clip import box_of
from .grow import filled

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

INNER: Final = 1.5
"""Steps between points inside."""
_DIRECTIONS: Final = 720
_MOST: Final = 4_000_000
"""Points made of one carving before thinning; coarser steps are taken over that."""


def surface_points(mesh: Mesh, step: float) -> FloatArray:
    """Points on the surface, none much further than `step` from the next, (n, 3) metres.

    Vertices, and on triangles with a longer side as many more as it takes; in each cube of that size one is kept, and
    besides those that stand out furthest in any of 720 level directions.
    """
    sides = np.zeros(len(mesh.triangles))
    for a, b in ((0, 1), (1, 2), (2, 0)):
        square = np.zeros(len(mesh.triangles))
        for axis in range(3):
            x = np.ascontiguousarray(mesh.vertices[:, axis])
            square += (x[mesh.triangles[:, a]] - x[mesh.triangles[:, b]]) ** 2
        np.maximum(sides, square, out=sides)
    sides = np.sqrt(sides)
    points = [mesh.vertices]
    if sides.max() > step:
        parts = np.ceil(sides / step).astype(np.int64)
        many = np.flatnonzero(parts > 1)
        total = float(((parts[many] + 1.0) * (parts[many] + 2.0) / 2.0).sum())
        if total > _MOST:
            parts = np.maximum(2, (parts * np.sqrt(_MOST / total)).astype(np.int64))
        for n in np.unique(parts[many]).tolist():
            rows = many[parts[many] == n]
            i, j = np.divmod(np.arange((n + 1) * (n + 1)), n + 1)
            use = i + j <= n
            a, b = (i[use] / n)[None, :, None], (j[use] / n)[None, :, None]
            p, q, r = (mesh.vertices[mesh.triangles[rows, k]][:, None, :] for k in range(3))
            points.append((p + a * (q - p) + b * (r - p)).reshape(-1, 3))
    thin = _thinned(np.concatenate(points), step)
    return np.concatenate([thin, _outstanding(mesh.vertices)])


def _thinned(points: FloatArray, step: float) -> FloatArray:
    low, high = box_of(points)
    size = np.floor((high - low) / step).astype(np.int64) + 1
    key = np.zeros(len(points), dtype=np.int64)
    for axis in range(3):
        key = key * size[axis] + ((points[:, axis] - low[axis]) / step).astype(np.int64)
    _, first = np.unique(key, return_index=True)
    kept: FloatArray = points[first]
    return kept


def _outstanding(points: FloatArray) -> FloatArray:
    """Those furthest out in many level directions; of each strip across one direction only the ends can be."""
    angle = np.arange(_DIRECTIONS) * (2.0 * np.pi / _DIRECTIONS)
    ends = _strip_ends(points)
    rows = [int((np.cos(a) * ends[:, 0] + np.sin(a) * ends[:, 1]).argmax()) for a in angle.tolist()]
    kept: FloatArray = ends[np.unique(rows)]
    return kept


def _strip_ends(points: FloatArray) -> FloatArray:
    """Points that may be corners of the convex hull in plan: in strips of x the lowest and highest, and the ends.

    A corner that this misses stands out by no more than a strip's width, a 4096th of the whole.
    """
    strips = 4096
    x, y = points[:, 0], points[:, 1]
    low, high = float(x.min()), float(x.max())
    strip = ((x - low) * ((strips - 1) / max(high - low, 1e-300))).astype(np.int64)
    least, most = np.full(strips, np.inf), np.full(strips, -np.inf)
    np.minimum.at(least, strip, y)
    np.maximum.at(most, strip, y)
    ends = np.flatnonzero((y == least[strip]) | (y == most[strip]) | (x == low) | (x == high))
    kept: FloatArray = points[ends]
    return kept


def snug_turn(points: FloatArray) -> float:
    """Turn of the smallest rectangle round points in plan, radians from 0 to under a quarter turn.

    One side of that rectangle lies along a side of the convex hull (Freeman and Shapira 1975, Communications of the
    ACM 18(7), 409-413).

    points : (n, 2) or more columns, metres.
    """
    hull = _hull(points[:, :2])
    side = np.roll(hull, -1, axis=0) - hull
    turns = np.unique(np.arctan2(side[:, 1], side[:, 0]) % (0.5 * np.pi))
    best, least = 0.0, np.inf
    for turn in turns.tolist():
        c, s = np.cos(turn), np.sin(turn)
        area = float(np.ptp(hull @ [c, s]) * np.ptp(hull @ [-s, c]))
        if area < least * (1.0 - 1e-9):
            best, least = turn, area
    return best


def _hull(points: FloatArray) -> FloatArray:
    """Corners of the convex hull, counter-clockwise (Andrew 1979, Information Processing Letters 9(5), 216-219)."""
    rows = np.unique(points, axis=0).tolist()
    chains = []
    for ordered in (rows, rows[::-1]):
        chain: list[list[float]] = []
        for p in ordered:
            while len(chain) > 1:
                (ax, ay), (bx, by) = chain[-2], chain[-1]
                if (bx - ax) * (p[1] - ay) - (by - ay) * (p[0] - ax) > 0.0:
                    break
                chain.pop()
            chain.append(p)
        chains += chain[:-1]
    return np.array(chains)


def inner_points(mesh: Mesh, levels: list[float], step: float) -> FloatArray:
    """Points inside at some heights, in a square pattern, (n, 3) metres."""
    wide = INNER * step
    low, high = box_of(mesh.vertices)
    corner = low[:2] + 0.5 * wide
    count = np.maximum(1, np.ceil((high[:2] - corner) / wide)).astype(np.int64)
    out = [np.zeros((0, 3))]
    for section in cross_sections(mesh, levels):
        node = np.argwhere(filled([loop[:, :2] for loop in section.loops], corner, wide, count))
        out.append(np.column_stack([corner + node * wide, np.full(len(node), section.level)]))
    return np.concatenate(out)
