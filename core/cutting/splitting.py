# SPDX-License-Identifier: GPL-3.0-or-later
"""Split triangles at new vertices on their edges."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def edge_keys(a: IntArray, b: IntArray, count: int) -> IntArray:
    """One number for each undirected edge among `count` vertices."""
    keys: IntArray = np.minimum(a, b) * count + np.maximum(a, b)
    return keys


def two_marked(mark: NDArray[np.bool_], triangles: IntArray) -> IntArray:
    """Rows of triangles with two marked vertices or three."""
    a, b, c = (mark[triangles[:, k]] for k in range(3))
    return np.flatnonzero((a & b) | (b & c) | (c & a))


def points_on_edges(points: FloatArray, low: IntArray, high: IntArray, share: FloatArray) -> FloatArray:
    """A point on each edge, (k, 3) metres, at a share of the way from vertex `low` to vertex `high`."""
    p, q = points[low], points[high]
    # From the nearer end, so that the point never leaves the edge's box.
    near = (share <= 0.5)[:, None]
    out: FloatArray = np.where(near, p + share[:, None] * (q - p), q + (1.0 - share)[:, None] * (p - q))
    return out


def split_edges(
    triangles: IntArray, keys: IntArray, made: IntArray, count: int, places: Callable[[IntArray], FloatArray]
) -> tuple[IntArray, IntArray]:
    """Triangles after the given edges have got a vertex each.

    Parameters
    ----------
    triangles : (m, 3) int64.
    keys : (k,) sorted `edge_keys` of the edges, made with `count`.
    made : (k,) vertex on each edge.
    count : number of vertices, new ones included. places : coordinates of vertices by number, (n, 3) metres.

    Returns
    -------
    triangles : (p, 3), untouched ones first in their order; and (p,) the row that each comes from.
    """
    mark = np.zeros(count, dtype=bool)
    mark[keys // count] = True
    mark[keys % count] = True
    candidates = two_marked(mark, triangles)
    corners = triangles[candidates]
    key = edge_keys(corners, np.roll(corners, -1, axis=1), count)
    at = np.minimum(np.searchsorted(keys, key), max(len(keys) - 1, 0))
    on = np.where(keys[at] == key, made[at], -1) if len(keys) else np.full(key.shape, -1)
    number = (on >= 0).sum(axis=1)
    hit = number > 0
    touched = np.zeros(len(triangles), dtype=bool)
    touched[candidates[hit]] = True
    rest = np.flatnonzero(~touched)
    rows, corners, on, number = candidates[hit], corners[hit], on[hit], number[hit]
    out, of = [triangles[rest]], [rest]

    one = np.flatnonzero(number == 1)
    a, b, c, _, p, _ = _turn(corners[one], on[one], (np.argmax(on[one] >= 0, axis=1) + 2) % 3)
    out += [np.stack([a, b, p], axis=1), np.stack([a, p, c], axis=1)]
    of += [rows[one]] * 2

    two = np.flatnonzero(number == 2)
    a, b, c, p, _, q = _turn(corners[two], on[two], (np.argmin(on[two] >= 0, axis=1) + 2) % 3)
    # The shorter diagonal of what is left makes the better triangles.
    p_c, b_q = places(p) - places(c), places(b) - places(q)
    across = (p_c**2).sum(axis=1) <= (b_q**2).sum(axis=1)
    out += [
        np.stack([a, p, q], axis=1),
        np.stack([p, b, np.where(across, c, q)], axis=1),
        np.stack([np.where(across, p, b), c, q], axis=1),
    ]
    of += [rows[two]] * 3

    three = np.flatnonzero(number == 3)
    a, b, c = corners[three].T
    p, q, r = on[three].T
    out += [np.stack(t, axis=1) for t in ((a, p, r), (p, b, q), (r, q, c), (p, q, r))]
    of += [rows[three]] * 4
    return np.concatenate(out), np.concatenate(of)


def _turn(corners: IntArray, on: IntArray, first: IntArray) -> tuple[IntArray, ...]:
    """Corners and edge vertices, turned so that corner `first` comes first."""
    rows = np.arange(len(corners))
    c = [corners[rows, (first + k) % 3] for k in range(3)]
    e = [on[rows, (first + k) % 3] for k in range(3)]
    return (*c, *e)
