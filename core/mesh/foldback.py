# SPDX-License-Identifier: GPL-3.0-or-later
"""Cut off corners at which an outline runs back on its own line, so that what they take is no longer than they are."""

from __future__ import annotations

import heapq

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def clip_folds(xy: FloatArray, edges: IntArray, slack: float) -> tuple[IntArray, IntArray, BoolArray]:
    """Triangles without height at the corners that fold back, and the outline without those corners.

    A sweep closes such a corner with whatever vertex comes next on the line, which may be metres away: needles between
    places that have nothing to do with each other. Where the two lie in one loop, nothing but the loop's own vertices
    is used here, the shortest corner first.

    Parameters
    ----------
    xy : (n, 2) float64. edges : (k, 2) int64, directed, as many in as out of every vertex.
    slack : how far a corner may lie off its line.

    Returns
    -------
    triangles : (t, 3); their border and what is left of the outline add up to the outline given.
    edges : (k, 2) the outline as given, but where an edge goes past corners cut off it ends behind them.
    keep : (k,) which of these edges are left. A loop that comes to nothing has none.
    """
    degree = np.bincount(edges[:, 0], minlength=len(xy))
    entry, leave = np.full(len(xy), -1, dtype=np.int64), np.full(len(xy), -1, dtype=np.int64)
    entry[edges[:, 1]], leave[edges[:, 0]] = np.arange(len(edges)), np.arange(len(edges))
    entry[degree != 1] = leave[degree != 1] = -1
    keep = np.ones(len(edges), dtype=bool)
    single = np.flatnonzero(degree == 1)
    before, after = edges[entry[single], 0], edges[leave[single], 1]
    size = _fold(xy[before], xy[single], xy[after], slack)
    found = (size > 0.0) & (before != after)
    if not found.any():
        return np.zeros((0, 3), dtype=np.int64), edges, keep
    edges = edges.copy()
    queue = list(zip(size[found].tolist(), single[found].tolist(), strict=True))
    heapq.heapify(queue)
    rows: list[tuple[int, int, int]] = []
    while queue:
        known, b = heapq.heappop(queue)
        first, second = int(entry[b]), int(leave[b])
        if not (keep[first] and keep[second]):
            continue
        a, c = int(edges[first, 0]), int(edges[second, 1])
        if a == c or float(_fold(xy[a], xy[b], xy[c], slack)) != known:
            continue
        rows.append((a, b, c))
        keep[second] = False
        edges[first, 1] = c
        if entry[c] >= 0:
            entry[c] = first
        # There and back: nothing is left of the loop.
        back = int(leave[c]) if leave[c] >= 0 else int(entry[a])
        if back >= 0 and edges[back].tolist() == [c, a]:
            keep[first] = keep[back] = False
            continue
        for vertex in (a, c):
            if entry[vertex] >= 0:
                p, q = xy[edges[entry[vertex], 0]], xy[edges[leave[vertex], 1]]
                again = float(_fold(p, xy[vertex], q, slack))
                if again > 0.0:
                    heapq.heappush(queue, (again, vertex))
    return np.array(rows, dtype=np.int64), edges, keep


def _fold(a: FloatArray, b: FloatArray, c: FloatArray, slack: float) -> FloatArray:
    """Length of the longer side of each corner a-b-c that folds back on its line; 0 where it does not."""
    d, e = b - a, c - b
    one, two = np.hypot(d[..., 0], d[..., 1]), np.hypot(e[..., 0], e[..., 1])
    longer = np.maximum(one, two)
    off = np.abs(d[..., 0] * e[..., 1] - d[..., 1] * e[..., 0])
    back = d[..., 0] * e[..., 0] + d[..., 1] * e[..., 1] < 0.0
    out: FloatArray = np.where(back & (off <= slack * longer), longer, 0.0)
    return out
