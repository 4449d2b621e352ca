# SPDX-License-Identifier: GPL-3.0-or-later
"""Outlines of a region that is given by numbers at the nodes of a grid."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..mesh.polyline import simplified

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# Sides of a cell: 0 low, 1 right, 2 high, 3 left. Corners as bits: 1 low left, 2 low right, 4 high right, 8 high left.
# From which side to which the outline runs with what is below 0 on its left; two runs where corners across are alike.
_RUNS: dict[int, tuple[tuple[int, int], ...]] = {
    1: ((0, 3),),
    2: ((1, 0),),
    3: ((1, 3),),
    4: ((2, 1),),
    5: ((0, 3), (2, 1)),
    6: ((2, 0),),
    7: ((2, 3),),
    8: ((3, 2),),
    9: ((0, 2),),
    10: ((1, 0), (3, 2)),
    11: ((1, 2),),
    12: ((3, 1),),
    13: ((0, 1),),
    14: ((3, 0),),
}


def outer_region(values: FloatArray) -> BoolArray:
    """Nodes (r, c) that are 0 or above and reached from the grid's edge over such nodes, side by side."""
    free = values >= 0.0
    found = np.zeros_like(free)
    found[[0, -1]], found[:, [0, -1]] = free[[0, -1]], free[:, [0, -1]]
    front = found
    while front.any():
        grown = np.zeros_like(front)
        grown[1:] |= front[:-1]
        grown[:-1] |= front[1:]
        grown[:, 1:] |= front[:, :-1]
        grown[:, :-1] |= front[:, 1:]
        front = grown & free & ~found
        found = found | front
    return found


def outlines(values: FloatArray, across: FloatArray, up: FloatArray) -> tuple[FloatArray, ...]:
    """Closed outlines of where the values are below 0.

    Parameters
    ----------
    values : (r, c), 0 and above along the grid's edge. across : (c,), up : (r,) places of the nodes, rising.

    Returns
    -------
    tuple of (k, 2)
        Counter-clockwise round the region, the first point not repeated; straight between nodes (marching squares;
        of two ways through a cell whose corners across are alike the one that keeps the region apart).
    """
    rows, columns = values.shape
    low = values < 0.0
    case = low[:-1, :-1] + 2 * low[:-1, 1:] + 4 * low[1:, 1:] + 8 * low[1:, :-1]
    # An edge's number: along a row first, then along a column.
    level = np.arange(rows * (columns - 1)).reshape(rows, columns - 1)
    steep = level.size + np.arange((rows - 1) * columns).reshape(rows - 1, columns)
    sides = (level[:-1], steep[:, 1:], level[1:], steep[:, :-1])
    after = np.full(level.size + steep.size, -1, dtype=np.int64)
    for number, runs in _RUNS.items():
        here = case == number
        for start, end in runs:
            after[sides[start][here]] = sides[end][here]
    place = np.zeros((len(after), 2))
    one, two = values[:, :-1], values[:, 1:]
    share = _share(one, two)
    place[: level.size, 0] = (across[:-1] + share * np.diff(across)).ravel()
    place[: level.size, 1] = np.repeat(up, columns - 1)
    share = _share(values[:-1], values[1:])
    place[level.size :, 0] = np.tile(across, rows - 1)
    place[level.size :, 1] = (up[:-1, None] + share * np.diff(up)[:, None]).ravel()
    loops, following = [], after.tolist()
    for start in np.flatnonzero(after >= 0).tolist():
        loop = []
        while following[start] >= 0:
            loop.append(start)
            following[start], start = -1, following[start]
        if loop:
            loops.append(place[loop])
    return tuple(loops)


def _share(one: FloatArray, two: FloatArray) -> FloatArray:
    """Where between two values 0 lies; a half where both have one sign."""
    apart = np.where((one < 0.0) != (two < 0.0), one - two, 1.0)
    result: FloatArray = np.where((one < 0.0) != (two < 0.0), one / apart, 0.5)
    return result


def thinned(loop: FloatArray, within: float) -> FloatArray:
    """Closed outline (k, 2) with the points left out that lie `within` of the line between those kept."""
    if len(loop) < 4:
        return loop
    return simplified(np.concatenate([loop, loop[:1]]), within)[:-1]


def inside(points: FloatArray, loops: tuple[FloatArray, ...]) -> BoolArray:
    """Whether points (n, 2) lie inside an odd number of closed outlines."""
    found = np.zeros(len(points), dtype=bool)
    for loop in loops:
        after = np.roll(loop, -1, axis=0)
        for start in range(0, len(points), 4096):
            p = points[start : start + 4096]
            over = (loop[:, 1] > p[:, 1, None]) != (after[:, 1] > p[:, 1, None])
            run = np.where(after[:, 1] == loop[:, 1], 1.0, after[:, 1] - loop[:, 1])
            x = loop[:, 0] + (p[:, 1, None] - loop[:, 1]) / run * (after[:, 0] - loop[:, 0])
            found[start : start + 4096] ^= ((over & (x > p[:, 0, None])).sum(axis=1) % 2).astype(bool)
    return found


def off_outline(points: FloatArray, loops: tuple[FloatArray, ...]) -> FloatArray:
    """Distance of points (n, 2) from the nearest outline, (n,)."""
    found = np.full(len(points), np.inf)
    for loop in loops:
        edge = np.roll(loop, -1, axis=0) - loop
        length = np.maximum((edge**2).sum(axis=1), 1e-300)
        for start in range(0, len(points), 2048):
            away = points[start : start + 2048, None] - loop
            share = np.clip((away * edge).sum(axis=2) / length, 0.0, 1.0)
            off = np.linalg.norm(away - share[..., None] * edge, axis=2).min(axis=1)
            found[start : start + 2048] = np.minimum(found[start : start + 2048], off)
    return found
