# SPDX-License-Identifier: GPL-3.0-or-later
"""Part bodies that only touch along an edge, so that every edge has exactly two triangles by index."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from operator import mul

import numpy as np
from numpy.typing import NDArray

from ..mesh.topology import joined

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def pinched_edges(triangles: IntArray, count: int) -> IntArray:
    """Edges with more than two of the triangles, (k, 2) int64, lowest vertex first; vertices number under `count`."""
    if len(triangles) == 0:
        return np.zeros((0, 2), dtype=np.int64)
    a, b = triangles, np.roll(triangles, -1, axis=1)
    keys = np.sort((np.minimum(a, b) * count + np.maximum(a, b)).reshape(-1))
    many = np.unique(keys[2:][keys[2:] == keys[:-2]])
    return np.stack([many // count, many % count], axis=1)


def part_corners(
    triangles: IntArray, edges: IntArray, points: FloatArray, start: int
) -> tuple[IntArray, IntArray, IntArray]:
    """Give each fan of triangles at a pinched edge vertices of its own.

    Parameters
    ----------
    triangles : (m, 3) all triangles of one region at the vertices of `edges`, outward.
    edges : (k, 2) its `pinched_edges`.
    points : (n, 3) metres, by vertex number.
    start : first number free for new vertices.

    Returns
    -------
    triangles : (m, 3) with new vertices in place of shared ones.
    twins : (j,) the vertex that new vertex ``start + i`` is a copy of.
    stuck : (s, 2) edges whose fans hang together round both ends; a vertex on the edge will free them.
    """
    if len(triangles) == 0 or len(edges) == 0:
        return triangles.copy(), np.zeros(0, dtype=np.int64), np.zeros((0, 2), dtype=np.int64)
    mark = np.zeros(int(max(triangles.max(), edges.max())) + 1, dtype=bool)
    mark[edges] = True
    here = mark[triangles]
    # Corners at those vertices, by place among all; a fan is the corners that lie side by side, and bears its first.
    corner = np.flatnonzero(here)
    number = np.cumsum(here.reshape(-1)) - 1
    one, two, ends = _side_by_side(triangles, here, points)
    pairs = [np.zeros((0, 2), dtype=np.int64)]
    for vertex in ends.T:
        use = np.flatnonzero(mark[vertex])
        at = [3 * row[use] + (triangles[row[use]] == vertex[use, None]).argmax(axis=1) for row in (one, two)]
        pairs.append(number[np.stack(at, axis=1)])
    fan = joined(len(corner), *np.concatenate(pairs).T)
    vertex = np.zeros(int(fan.max()) + 1, dtype=np.int64)
    vertex[fan] = triangles.reshape(-1)[corner]
    order = np.argsort(vertex, kind="stable")
    again = np.append(False, vertex[order][1:] == vertex[order][:-1])
    copies = vertex[order[again]]
    name = vertex.copy()
    name[order[again]] = start + np.arange(len(copies))
    out = triangles.copy()
    out.reshape(-1)[corner] = name[fan]
    left = pinched_edges(out, start + len(copies))
    if len(left):
        copied = left >= start
        left[copied] = copies[left[copied] - start]
        left = np.unique(np.sort(left, axis=1), axis=0)
    return out, copies, left


def _side_by_side(
    triangles: IntArray, here: NDArray[np.bool_], points: FloatArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Pairs of triangles that bound one wedge of foam, at edges with an end that is marked, and those ends, (k, 2).

    here : (m, 3), which corners are marked.
    """
    after = np.roll(triangles, -1, axis=1)
    use = np.flatnonzero(here | np.roll(here, -1, axis=1))
    low, high = np.minimum(triangles, after).reshape(-1)[use], np.maximum(triangles, after).reshape(-1)[use]
    order = np.lexsort((high, low))
    low, high, use = low[order], high[order], use[order]
    start = np.flatnonzero(np.append(True, (low[1:] != low[:-1]) | (high[1:] != high[:-1])))
    count = np.diff(np.append(start, len(use)))
    plain = start[count == 2]
    one, two, ends = use[plain] // 3, use[plain + 1] // 3, np.stack([low[plain], high[plain]], axis=1)
    more: list[tuple[int, int, int, int]] = []
    rows = triangles.tolist()
    for begin, size in zip(start[count > 2].tolist(), count[count > 2].tolist(), strict=True):
        a, b = int(low[begin]), int(high[begin])
        users = [divmod(place, 3) for place in use[begin : begin + size].tolist()]
        more += [(p, q, a, b) for p, q in pairs_at_edge(a, b, users, rows, points.__getitem__)]
    others = np.array(more, dtype=np.int64).reshape(-1, 4)
    return (
        np.concatenate([one, others[:, 0]]),
        np.concatenate([two, others[:, 1]]),
        np.concatenate([ends, others[:, 2:]]),
    )


def pairs_at_edge(
    a: int,
    b: int,
    users: list[tuple[int, int]],
    rows: list[list[int]],
    place: Callable[[int], FloatArray],
    slit: list[int] | None = None,
) -> list[tuple[int, int]]:
    """Pairs of triangles at an edge that bound one wedge of foam.

    Parameters
    ----------
    a, b : ends of the edge. users : row and corner of each triangle at it. rows : corners of all triangles.
    place : coordinates of a vertex, (3,) metres.
    slit : for each row a number that the two sides of one triangle have in common, or -1; foam lies beyond both.
    """
    if len(users) <= 2:
        return [(users[0][0], users[1][0])] if len(users) == 2 else []
    # Plain numbers: at three of them numpy takes longer to begin than to reckon.
    px, py, pz = place(a).tolist()
    axis = (place(b) - place(a)).tolist()
    size = max(math.sqrt(axis[0] * axis[0] + axis[1] * axis[1] + axis[2] * axis[2]), 1e-300)
    axis = [c / size for c in axis]
    # One direction for all edges of a line, so that rounding pairs alike along it.
    flip = max(axis, key=abs) < 0.0
    axis = [-c for c in axis] if flip else axis
    other = [0.0, 0.0, 0.0]
    other[min(range(3), key=lambda k: abs(axis[k]))] = 1.0
    x = _cross(other, axis)
    y = _cross(axis, x)
    around = []
    for row, k in users:
        qx, qy, qz = place(rows[row][(k + 2) % 3]).tolist()
        arm = (qx - px, qy - py, qz - pz)
        angle = math.atan2(sum(map(mul, arm, y)), sum(map(mul, arm, x)))
        around.append((angle, row, (rows[row][k] == a) != flip))
    around.sort()
    if slit is not None:
        # Between the two sides of a slit there is none: the side with foam at lower angles comes first.
        for i in range(len(around) - 1):
            one, two = around[i], around[i + 1]
            if one[0] == two[0] and slit[one[1]] == slit[two[1]] >= 0 and two[2]:
                around[i], around[i + 1] = two, one
    # Foam lies before a triangle that runs from a to b, behind one that runs back, as the angle grows.
    forward = [i for i, item in enumerate(around) if item[2]]
    free = {i for i, item in enumerate(around) if not item[2]}
    out = []
    for i in forward:
        for step in range(1, len(around)):
            j = (i - step) % len(around)
            if j in free:
                free.remove(j)
                out.append((around[i][1], around[j][1]))
                break
    return out


def _cross(a: Sequence[float], b: Sequence[float]) -> tuple[float, float, float]:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def split_apart(triangles: IntArray, edges: IntArray, points: FloatArray) -> tuple[IntArray, FloatArray, IntArray]:
    """The last resort for `stuck` edges: every wedge gets a vertex of its own in the middle of the edge.

    Returns
    -------
    triangles : (p, 3), the given ones first; points : with the new ones; of : (p,) the row that each comes from.
    """
    mark = np.zeros(len(points), dtype=bool)
    mark[edges] = True
    a, b, c = (mark[triangles[:, k]] for k in range(3))
    near = np.flatnonzero((a & b) | (b & c) | (c & a))
    rows = triangles[near].tolist()
    of = near.tolist()
    made: list[FloatArray] = []
    at: dict[tuple[int, int], set[int]] = {}
    for row, t in enumerate(rows):
        for k in range(3):
            at.setdefault((min(t[k], t[k - 1]), max(t[k], t[k - 1])), set()).add(row)

    def place(vertex: int) -> FloatArray:
        return points[vertex] if vertex < len(points) else made[vertex - len(points)]

    for a, b in edges.tolist():
        users = [(r, k) for r in sorted(at[a, b]) for k in range(3) if {rows[r][k], rows[r][(k + 1) % 3]} == {a, b}]
        for pair in pairs_at_edge(a, b, users, rows, place):
            middle = len(points) + len(made)
            made.append((points[a] + points[b]) / 2.0)
            for row in pair:
                t = rows[row]
                k = next(k for k in range(3) if {t[k], t[(k + 1) % 3]} == {a, b})
                p, q, o = t[k], t[(k + 1) % 3], t[(k + 2) % 3]
                rows[row] = [p, middle, o]
                # Edges at a middle are not among those to be parted.
                side = at.get((min(q, o), max(q, o)), set())
                side.discard(row)
                side.add(len(rows))
                rows.append([middle, q, o])
                of.append(of[row])
    out = triangles.copy()
    out[near] = rows[: len(near)]
    more = np.array(rows[len(near) :], dtype=np.int64).reshape(-1, 3)
    source = np.concatenate([np.arange(len(triangles)), of[len(near) :]]).astype(np.int64)
    return np.concatenate([out, more]), np.concatenate([points, np.array(made).reshape(-1, 3)]), source
