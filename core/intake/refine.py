# SPDX-License-Identifier: GPL-3.0-or-later
"""Corners inside patches, as close as round their rims, and then as smooth a surface as the rims allow.

Corners are put in and edges turned after P. Liepa, "Filling holes in meshes", Symposium on Geometry Processing 2003,
p. 200; the surface is the one with the least squared umbrella vector over patch and rim, each neighbour weighted by
one over its distance (M. Desbrun and others, SIGGRAPH 1999, p. 317).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray, IntArray
from .table import EdgeTable

_ROUNDS: Final = 24
"""Rounds of splitting; each makes corners about three times as many."""
_TURNS: Final = 12
"""Rounds of turning edges after each round of splitting."""
_DENSE: Final = 2.0**0.5
"""Liepa's density: larger makes more corners."""
_STEPS: Final = 400
"""Steps of the solver; a patch of a thousand corners needs about a hundred."""
_SETTLED: Final = 1e-8
"""The solver stops when what is left is this share of what was there at first."""


def refine(
    points: FloatArray, patch: IntArray, spacing: FloatArray, blocked: IntArray, base: int
) -> tuple[FloatArray, IntArray]:
    """Put corners into a patch until its triangles are as small as those round it.

    Parameters
    ----------
    points : (n, 3) all vertices, metres.
    patch : (t, 3) triangles of all patches.
    spacing : (n,) metres, length of the edges at each rim vertex; elsewhere unused.
    blocked : sorted keys ``low * base + high`` of edges that must not be made, since they are there already.
    base : larger than any vertex number that will come about.

    Returns
    -------
    New vertices (k, 3), numbered from n on, and the patches' triangles.
    """
    place, size, triangles = points, spacing, patch
    for _ in range(_ROUNDS):
        corner = place[triangles]
        centre = corner.mean(axis=1)
        own = size[triangles].mean(axis=1)
        away = _DENSE * np.linalg.norm(corner - centre[:, None, :], axis=2)
        split = ((away > own[:, None]) & (away > size[triangles])).all(axis=1)
        if not split.any():
            break
        new = len(place) + np.arange(int(split.sum()))
        a, b, c = triangles[split].T
        triangles = np.concatenate(
            [
                triangles[~split],
                np.stack([a, b, new], axis=1),
                np.stack([b, c, new], axis=1),
                np.stack([c, a, new], axis=1),
            ]
        )
        place = np.concatenate([place, centre[split]])
        size = np.concatenate([size, own[split]])
        triangles = turn_edges(place, triangles, blocked, base)
    return place[len(points) :], triangles


def turn_edges(points: FloatArray, triangles: IntArray, blocked: IntArray, base: int) -> IntArray:
    """Turn edges within patches until no corner lies in a neighbour's circle, some rounds at most."""
    for _ in range(_TURNS):
        table = EdgeTable.of(triangles)
        inner = np.flatnonzero(table.count == 2)
        one, two = table.half[table.start[inner]], table.half[table.start[inner] + 1]
        flat = triangles.reshape(-1)
        a, b = flat[one], flat[_after(one)]
        c, d = flat[_after(_after(one))], flat[_after(_after(two))]
        apart = c != d
        wide = _corner(points, c, a, b) + _corner(points, d, a, b) > np.pi + 1e-9
        rows = np.flatnonzero(wide & apart & (a == flat[_after(two)]))
        if not len(rows):
            return triangles
        key = np.minimum(c, d) * base + np.maximum(c, d)
        there = np.sort(np.concatenate([_keys(table.ends(slice(None)), base), blocked]))
        rows = rows[~_among(key[rows], there)]
        # New triangles (c, a, d) and (d, b, c) must face as the old ones did.
        p, q, r, s = points[a[rows]], points[b[rows]], points[c[rows]], points[d[rows]]
        old = np.cross(q - p, r - p) + np.cross(p - q, s - q)
        good = ((np.cross(p - r, s - r) * old).sum(axis=1) > 0.0) & ((np.cross(q - s, r - s) * old).sum(axis=1) > 0.0)
        rows = rows[good]
        _, first = np.unique(key[rows], return_index=True)
        rows = rows[np.sort(first)]
        if not len(rows):
            return triangles
        owner = np.full(len(triangles), len(rows), dtype=np.int64)
        rank = np.arange(len(rows))
        np.minimum.at(owner, one[rows] // 3, rank)
        np.minimum.at(owner, two[rows] // 3, rank)
        chosen = rows[(owner[one[rows] // 3] == rank) & (owner[two[rows] // 3] == rank)]
        triangles = triangles.copy()
        triangles[one[chosen] // 3] = np.stack([c[chosen], a[chosen], d[chosen]], axis=1)
        triangles[two[chosen] // 3] = np.stack([d[chosen], b[chosen], c[chosen]], axis=1)
    return triangles


def smooth(points: FloatArray, triangles: IntArray, free: IntArray, held: IntArray) -> FloatArray:
    """Move the free vertices so that the surface bends as little as its rim lets it.

    Parameters
    ----------
    points : (n, 3) metres. triangles : those at free and held vertices at least.
    free : vertices to move. held : vertices of the rim, whose umbrella counts too.

    Returns
    -------
    (len(free), 3) their new places.
    """
    if not len(free):
        return points[free]
    centre = np.concatenate([free, held])
    row = np.full(len(points), -1, dtype=np.int64)
    row[centre] = np.arange(len(centre))
    unknown = np.full(len(points), -1, dtype=np.int64)
    unknown[free] = np.arange(len(free))
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    edges = np.unique(np.concatenate([edges, edges[:, ::-1]]), axis=0)
    edges = edges[row[edges[:, 0]] >= 0]
    gap = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
    weight = 1.0 / np.maximum(gap, 1e-9 * float(gap.max(initial=1.0)))
    at = row[edges[:, 0]]
    weight /= np.bincount(at, weights=weight, minlength=len(centre))[at]
    # The umbrella as a sparse matrix: minus one at the vertex itself, the weight at each neighbour.
    rows = np.concatenate([np.arange(len(centre)), at])
    columns = np.concatenate([centre, edges[:, 1]])
    values = np.concatenate([-np.ones(len(centre)), weight])
    inner = unknown[columns] >= 0
    r, c, v = rows[inner], unknown[columns[inner]], values[inner]
    fixed = np.zeros((len(centre), 3))
    for axis in range(3):
        known = values[~inner] * points[columns[~inner], axis]
        fixed[:, axis] = np.bincount(rows[~inner], weights=known, minlength=len(centre))
    scale: FloatArray = np.bincount(c, weights=v * v, minlength=len(free)).astype(np.float64)
    result = np.empty((len(free), 3))
    for axis in range(3):
        result[:, axis] = _solve(r, c, v, -fixed[:, axis], points[free, axis], scale)
    return result


def _solve(
    r: IntArray, c: IntArray, v: FloatArray, right: FloatArray, start: FloatArray, scale: FloatArray
) -> FloatArray:
    """Least squares of a sparse matrix by conjugate gradients on its normal equations, scaled by their diagonal."""
    high, wide = len(right), len(start)

    def times(x: FloatArray) -> FloatArray:
        total: FloatArray = np.bincount(r, weights=v * x[c], minlength=high).astype(np.float64)
        return total

    def back(y: FloatArray) -> FloatArray:
        total: FloatArray = np.bincount(c, weights=v * y[r], minlength=wide).astype(np.float64)
        return total

    x = start.copy()
    left = back(right - times(x))
    ahead = left / scale
    way = ahead.copy()
    value = float(left @ ahead)
    stop = _SETTLED**2 * value
    for _ in range(_STEPS):
        if value <= stop or value == 0.0:
            break
        image = back(times(way))
        step = value / float(way @ image)
        x += step * way
        left -= step * image
        ahead = left / scale
        new = float(left @ ahead)
        way = ahead + (new / value) * way
        value = new
    return x


def _after(half: IntArray) -> IntArray:
    following: IntArray = half - half % 3 + (half + 1) % 3
    return following


def _corner(points: FloatArray, at: IntArray, one: IntArray, two: IntArray) -> FloatArray:
    """Angle at a corner between two others, radians."""
    p, q = points[one] - points[at], points[two] - points[at]
    cross = np.cross(p, q)
    angle: FloatArray = np.arctan2(np.sqrt((cross * cross).sum(axis=1)), (p * q).sum(axis=1))
    return angle


def _keys(edges: IntArray, base: int) -> IntArray:
    keys: IntArray = edges.min(axis=1) * base + edges.max(axis=1)
    return keys


def _among(keys: IntArray, ordered: IntArray) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    if not len(ordered):
        return np.zeros(len(keys), dtype=bool)
    at = np.minimum(np.searchsorted(ordered, keys), len(ordered) - 1)
    found: np.ndarray[tuple[int, ...], np.dtype[np.bool_]] = ordered[at] == keys
    return found
