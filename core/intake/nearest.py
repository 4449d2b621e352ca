# SPDX-License-Identifier: GPL-3.0-or-later
"""Distance from points to the nearest triangle of a surface."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..errors import Progress
from ..mesh.mesh import FloatArray, IntArray, Mesh
from ..mesh.runs import runs_in_parts

_AT_ONCE: Final = 1 << 20
"""Pairs of point and triangle worked on together."""
_CELL: Final = 2.0
"""Side of the cells in middle triangle sizes."""
_FINEST: Final = 1 << 20


def distances(points: FloatArray, mesh: Mesh, progress: Progress | None = None) -> FloatArray:
    """Distance of each point to the nearest triangle.

    Parameters
    ----------
    points : (n, 3) metres. mesh : with at least one triangle.
    progress : told now and then; may raise `Cancelled`.

    Returns
    -------
    (n,) metres, exact but for rounding.

    Notes
    -----
    Triangles are entered in the cells of a grid that their boxes reach into, those too large for it in a coarser one.
    A triangle nearer than one cell side lies in the cell of the point or one of its 26 neighbours; points without such
    a triangle go on with cells twice as large.
    """
    corners = mesh.vertices[mesh.triangles]
    low, high = corners.min(axis=1), corners.max(axis=1)
    size = (high - low).max(axis=1)
    span = max(float(high.max()), float(points.max())) - min(float(low.min()), float(points.min()))
    side: float = max(_CELL * float(np.median(size)), span / _FINEST, float(np.finfo(float).tiny))
    origin = np.minimum(low.min(axis=0), points.min(axis=0)) - 2.0 * side
    best = np.full(len(points), np.inf)
    left = np.arange(len(points))
    while len(left):
        if progress:
            progress(1.0 - len(left) / len(points), "measuring the distance")
        best[left] = _within(points[left], best[left], corners, low, high, size, origin, side)
        left = left[best[left] > side]
        side *= 2.0
        origin = np.minimum(low.min(axis=0), points.min(axis=0)) - 2.0 * side
    return best


def _within(
    points: FloatArray,
    best: FloatArray,
    corners: FloatArray,
    low: FloatArray,
    high: FloatArray,
    size: FloatArray,
    origin: FloatArray,
    side: float,
) -> FloatArray:
    """Distances that are right where they do not exceed a cell's side."""
    best = best.copy()
    level = np.ceil(np.log2(np.maximum(size / side, 1.0))).astype(np.int64)
    for step in np.unique(level).tolist():
        cell = side * 2.0**step
        rows = np.flatnonzero(level == step)
        keys, owner = _register(low[rows], high[rows], origin, cell)
        order = np.argsort(keys, kind="stable")
        keys, owner = keys[order], rows[owner[order]]
        at = ((points - origin) / cell).astype(np.int64)
        # Squared distance to the cells before, at and behind each point along each axis: a cell's own is their sum.
        inner = points - origin - at * cell
        steps = [(inner[:, axis] ** 2, np.zeros(len(points)), (cell - inner[:, axis]) ** 2) for axis in range(3)]
        # The cell of the point first: it gives a bound that spares most of its neighbours' triangles.
        for x, y, z in sorted(np.ndindex(3, 3, 3), key=lambda shift: sum(s != 1 for s in shift)):
            asks = np.flatnonzero(steps[0][x] + steps[1][y] + steps[2][z] < best * best)
            key = _key(at[asks] + np.array((x - 1, y - 1, z - 1)))
            begin, end = np.searchsorted(keys, key, side="left"), np.searchsorted(keys, key, side="right")
            _improve(points, asks, begin, end, owner, corners, low, high, best)
    return best


def _register(low: FloatArray, high: FloatArray, origin: FloatArray, cell: float) -> tuple[IntArray, IntArray]:
    first, last = ((edge - origin) / cell for edge in (low, high))
    first, last = first.astype(np.int64), last.astype(np.int64)
    keys, rows = [], []
    for x, y, z in np.ndindex(2, 2, 2):
        at = first + np.array((x, y, z))
        inside = np.flatnonzero((at <= last).all(axis=1))
        keys.append(_key(at[inside]))
        rows.append(inside)
    return np.concatenate(keys), np.concatenate(rows)


def _key(at: IntArray) -> IntArray:
    key: IntArray = (at[:, 0] << 42) | (at[:, 1] << 21) | at[:, 2]
    return key


def _improve(
    points: FloatArray,
    asks: IntArray,
    begin: IntArray,
    end: IntArray,
    owner: IntArray,
    corners: FloatArray,
    low: FloatArray,
    high: FloatArray,
    best: FloatArray,
) -> None:
    """Lower the best distances, in place, by triangles owner[begin:end] of each point that asks."""
    for row, place in runs_in_parts(end - begin, _AT_ONCE):
        who, what = asks[row], owner[begin[row] + place]
        place = points[who]
        # A triangle is no further than its corner: a bound that costs little.
        away = place - corners[what, 0]
        np.minimum.at(best, who, np.sqrt((away * away).sum(axis=1)))
        gap = np.maximum(np.maximum(low[what] - place, place - high[what]), 0.0)
        hope = (gap * gap).sum(axis=1) <= best[who] ** 2
        who, what, place = who[hope], what[hope], place[hope]
        np.minimum.at(best, who, _to_triangle(place, corners[what]))


def _to_triangle(point: FloatArray, corner: FloatArray) -> FloatArray:
    """Distance of each point to its triangle: over the inside to the plane, otherwise to the nearest edge."""
    a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
    nearest = np.full(len(point), np.inf)
    for u, v in ((a, b), (b, c), (c, a)):
        along, to = v - u, point - u
        square = (along * along).sum(axis=1)
        share = np.clip((to * along).sum(axis=1) / np.where(square > 0.0, square, 1.0), 0.0, 1.0)
        away = to - share[:, None] * along
        nearest = np.minimum(nearest, (away * away).sum(axis=1))
    normal = np.cross(b - a, c - a)
    square = (normal * normal).sum(axis=1)
    inside = square > 0.0
    for u, v in ((a, b), (b, c), (c, a)):
        inside &= (np.cross(v - u, point - u) * normal).sum(axis=1) >= 0.0
    height = ((point - a) * normal).sum(axis=1)
    over = height * height / np.where(square > 0.0, square, 1.0)
    result: FloatArray = np.sqrt(np.where(inside, np.minimum(over, nearest), nearest))
    return result
