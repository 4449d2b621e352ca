# SPDX-License-Identifier: GPL-3.0-or-later
"""Part the two sides of a cut that stops in the foam, so that every edge has exactly two triangles by index."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..mesh.topology import joined
from .pinch import pairs_at_edge
from .splitting import edge_keys

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def part_slits(triangles: IntArray, slit: IntArray, points: FloatArray) -> tuple[IntArray, IntArray]:
    """Give the two sides of slits vertices of their own.

    Parameters
    ----------
    triangles : (m, 3) all triangles of one region at the slits, outward, numbered under ``len(points)``.
    slit : (m,) number of the slit's triangle that a row is one side of, each number on two rows that run its corners
        opposite ways; -1 on rows that are in no slit.
    points : (n, 3) metres.

    Returns
    -------
    triangles : (m, 3) with new vertices, from n on, in place of shared ones.
    twins : (j,) the vertex that new vertex ``n + i`` is a copy of. Where both sides hang together round a vertex, as
        at the end of a slit, it stays one.
    """
    count = len(points)
    mark = np.zeros(count, dtype=bool)
    mark[triangles[slit >= 0]] = True
    # Half edges with an end that may be parted.
    row, k = np.nonzero(mark[triangles] | mark[np.roll(triangles, -1, axis=1)])
    start, end = triangles[row, k], triangles[row, (k + 1) % 3]
    forth = start < end
    order = np.lexsort((~forth, edge_keys(start, end, count)))
    keys = edge_keys(start, end, count)[order]
    first = np.flatnonzero(np.append(True, keys[1:] != keys[:-1]))
    number = np.diff(np.append(first, len(keys)))
    one, two = [], []
    pair = first[number == 2]
    one.append(order[pair])
    two.append(order[pair + 1])
    # Two foams meet where one slit meets the skin, or two triangles of slits each other: not the two sides of one row.
    four = first[number == 4]
    a, b, c, d = (order[four + i] for i in range(4))
    name = slit[row]
    plain = forth[a] & forth[b] & ~forth[c] & ~forth[d]
    plain &= (np.minimum(name[a], name[b]) == np.minimum(name[c], name[d])) & (name[a] != name[b])
    plain &= np.maximum(name[a], name[b]) == np.maximum(name[c], name[d])
    turn = name[a] == name[c]
    one += [a[plain], b[plain]]
    two += [np.where(turn, d, c)[plain], np.where(turn, c, d)[plain]]
    rest = np.concatenate([four[~plain], first[(number != 2) & (number != 4)]])
    size = dict(zip(first.tolist(), number.tolist(), strict=True))
    corners, names = triangles.tolist(), slit.tolist()
    at = {(int(row[i]), int(k[i])): i for f in rest.tolist() for i in order[f : f + size[f]].tolist()}
    for f in rest.tolist():
        half = order[f : f + size[f]]
        users = list(zip(row[half].tolist(), k[half].tolist(), strict=True))
        low, high = sorted((int(start[half[0]]), int(end[half[0]])))
        for p, q in pairs_at_edge(low, high, users, corners, points.__getitem__, names):
            one.append(np.array([at[p, _place(corners[p], low, high)]]))
            two.append(np.array([at[q, _place(corners[q], low, high)]]))
    p, q = np.concatenate(one), np.concatenate(two)
    # Corner 3 row + k; the two half edges of a pair run opposite ways.
    corner = 3 * row + k
    after = 3 * row + (k + 1) % 3
    links = []
    for left, right in ((corner[p], after[q]), (after[p], corner[q])):
        use = mark[triangles.reshape(-1)[left]]
        links.append(np.stack([left[use], right[use]]))
    low, high = np.concatenate(links, axis=1)
    own = np.flatnonzero(mark[triangles].reshape(-1))
    place = np.zeros(triangles.size, dtype=np.int64)
    place[own] = np.arange(len(own))
    fan = joined(len(own), place[low], place[high])
    vertex = triangles.reshape(-1)[own]
    # The first fan of a vertex keeps it.
    _, lead = np.unique(fan, return_index=True)
    keeps = np.zeros(len(lead), dtype=bool)
    keeps[np.unique(vertex[lead], return_index=True)[1]] = True
    name_of = np.where(keeps, vertex[lead], count + np.cumsum(~keeps) - 1)
    out = triangles.reshape(-1).copy()
    out[own] = name_of[fan]
    return out.reshape(-1, 3), vertex[lead][~keeps]


def _place(corners: list[int], low: int, high: int) -> int:
    """Which edge of a triangle runs between two of its corners."""
    return next(k for k in range(3) if {corners[k], corners[(k + 1) % 3]} == {low, high})
