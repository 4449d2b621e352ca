# SPDX-License-Identifier: GPL-3.0-or-later
"""Split triangles along the kinks of a profile, so that each part meets it in one strip or not at all."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from ..mesh.runs import runs
from .sheet import ProfileSheet
from .splitting import edge_keys, points_on_edges, two_marked

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


def split_at_kinks(
    triangles: IntArray, live: BoolArray, points: FloatArray, sheet: ProfileSheet
) -> tuple[IntArray, IntArray, FloatArray, FloatArray, FloatArray, IntArray]:
    """Triangles parted along the kinks where they meet the profile.

    Parameters
    ----------
    triangles : (m, 3) int64, by `points`.
    live : (m,) bool; the others are split only where they share an edge with one that is.
    points : (n, 3) metres.
    sheet : the profile.

    Returns
    -------
    triangles : (p, 3) int64; those that stay whole first, in their order.
    source : (p,) int64, the row that each comes from.
    points : (k, 3) metres, the given ones first.
    u, w : (k,) metres, profile coordinates of the points.
    place : (k,) int64, places of the points along the profile.

    Notes
    -----
    A triangle that spans c kinks is parted at the middle one, and each half again, while the profile may meet it: at
    most 2 c + 1 parts, however the profile runs. A point is made of the edge's own ends, so that it is the same seen
    from both triangles of the edge.
    """
    u, w = sheet.uw(*points.T)
    place = sheet.places(u)
    rows = np.flatnonzero(live)
    spread = place[triangles[rows]]
    rows = rows[_kink(spread.min(axis=1), spread.max(axis=1), 1) >= 0]
    # Corners in order along the profile. A kink passes the edge of the first and the last, and one of the other two.
    corners, _ = _along(triangles[rows], u, w, place, sheet.slack)
    row, kink = _needed(corners, u, w, place, sheet)
    if len(row) == 0:
        return triangles, np.arange(len(triangles), dtype=np.int64), points, u, w, place
    a, b, c = corners[row].T
    at = 2 * kink + 1
    first, second = at < place[b], at > place[b]
    low = np.concatenate([a, a[first], b[second]])
    high = np.concatenate([c, b[first], c[second]])
    key = np.unique(edge_keys(low, high, len(points)) * sheet.kinks + np.concatenate([kink, kink[first], kink[second]]))
    edge, kink = key // sheet.kinks, key % sheet.kinks
    low, high = edge // len(points), edge % len(points)
    at_u = sheet.kink_u[kink]
    share = np.clip((at_u - u[low]) / (u[high] - u[low]), 0.0, 1.0)
    made = points_on_edges(points, low, high, share)
    whole, parts, of = _zip(triangles, edge, 2 * kink + 1, lambda t: _along(t, u, w, place, sheet.slack), place)
    return (
        np.concatenate([triangles[whole], parts]),
        np.concatenate([whole, of]),
        np.concatenate([points, made]),
        np.concatenate([u, at_u]),
        np.concatenate([w, w[low] + share * (w[high] - w[low])]),
        np.concatenate([place, 2 * kink + 1]),
    )


def _along(
    triangles: IntArray, u: FloatArray, w: FloatArray, place: IntArray, slack: float
) -> tuple[IntArray, BoolArray]:
    """Corners in order along the profile, (m, 3), and whether that turns the triangle over.

    Two corners side by side in one place, as along a kink of an earlier sheet, are in order of w: rounding would toss.
    """
    turn = np.argsort(u[triangles], axis=1, kind="stable")
    corners = np.take_along_axis(triangles, turn, axis=1)
    over = np.isin(turn @ np.array([9, 3, 1]), (7, 11, 21))
    for i in (0, 1):
        one, other = corners[:, i], corners[:, i + 1]
        swap = (place[one] == place[other]) & (u[other] - u[one] <= slack) & (w[other] < w[one])
        corners[:, i], corners[:, i + 1] = np.where(swap, other, one), np.where(swap, one, other)
        over ^= swap
    return corners, over


def _kink(low: IntArray, high: IntArray, step: int) -> IntArray:
    """The kink whose number from 1 is a multiple of `step` strictly between two places, the first one, or -1."""
    first = (low + 1) // 2 + 1
    kink = -(-first // step) * step
    return np.where(2 * kink - 1 < high, kink - 1, -1)


def _needed(
    corners: IntArray, u: FloatArray, w: FloatArray, place: IntArray, sheet: ProfileSheet
) -> tuple[IntArray, IntArray]:
    """Rows of `corners`, in order of u, and the kinks that they have to be parted at."""
    row = np.arange(len(corners), dtype=np.int64)
    low, high = place[corners[:, 0]], place[corners[:, 2]]
    rows, kinks = [row[:0]], [row[:0]]
    for level in range(max(sheet.kinks, 1).bit_length() - 1, -1, -1):
        # Between two kinks of one level lies a kink of a higher level, done before: one kink a part is left.
        kink = _kink(low, high, 1 << level)
        may = np.flatnonzero(kink >= 0)
        part = _part_of(corners[row[may]], low[may], high[may], u, w, place, sheet)
        split = may[~sheet.clear(*part)]
        rows.append(row[split])
        kinks.append(kink[split])
        # A part without a kink at this level may have one at a lower; one that the profile misses is done with.
        keep = np.concatenate([np.flatnonzero(kink < 0), split])
        middle = 2 * kink[split] + 1
        row, low, high = (
            np.concatenate([row[keep], row[split]]),
            np.concatenate([low[keep], middle]),
            np.concatenate([high[kink < 0], middle, high[split]]),
        )
    return np.concatenate(rows), np.concatenate(kinks)


def _part_of(
    corners: IntArray, low: IntArray, high: IntArray, u: FloatArray, w: FloatArray, place: IntArray, sheet: ProfileSheet
) -> tuple[FloatArray, FloatArray]:
    """Profile coordinates, (n, 5) each, whose span is that of the triangles between two places."""
    a, b, c = corners.T
    begin = np.where(low > place[a], sheet.kink_u[np.minimum(low // 2, sheet.kinks - 1)], u[a])
    end = np.where(high < place[c], sheet.kink_u[np.minimum(high // 2, sheet.kinks - 1)], u[c])
    middle = np.clip(u[b], begin, end)
    at = np.stack([begin, begin, middle, end, end], axis=1)
    long = [_height(a, c, s, u, w) for s in (begin, end)]
    short = [np.where(s < u[b], _height(a, b, s, u, w), _height(b, c, s, u, w)) for s in (begin, middle, end)]
    return at, np.stack([long[0], short[0], short[1], short[2], long[1]], axis=1)


def _height(a: IntArray, b: IntArray, at: FloatArray, u: FloatArray, w: FloatArray) -> FloatArray:
    """Height at a given u on the edge from a to b; where the edge has no length along u, that of its first end."""
    run = u[b] - u[a]
    share = np.clip(np.divide(at - u[a], run, out=np.zeros(len(run)), where=run > 0.0), 0.0, 1.0)
    out: FloatArray = w[a] + share * (w[b] - w[a])
    return out


def _zip(
    triangles: IntArray,
    edge: IntArray,
    at: IntArray,
    order_of: Callable[[IntArray], tuple[IntArray, BoolArray]],
    place: IntArray,
) -> tuple[IntArray, IntArray, IntArray]:
    """Triangles with points on their edges, in order along the profile, as strips between their two sides.

    Parameters
    ----------
    triangles : (m, 3) int64.
    edge, at : (k,) int64, sorted: key of the edge that each new point lies on, and its place. Their vertices follow on
        the others.
    order_of : `_along`.
    place : (n,) of the vertices.

    Returns
    -------
    whole : rows without points. parts, source : (p, 3) and (p,), the parts of the others and their rows.

    Notes
    -----
    A triangle has a long side from its first to its last corner along the profile, and a short side round the corner
    between. Each of its points but the first makes a triangle with the point before it on its own side and the last
    one on the other side. Where the other side has none yet, all fan out from its first point instead.
    """
    count = len(place)
    mark = np.zeros(count, dtype=bool)
    mark[edge // count] = True
    mark[edge % count] = True
    row = two_marked(mark, triangles)
    corners, over = order_of(triangles[row])
    ends = ((0, 2), (0, 1), (1, 2))
    keys = np.stack([edge_keys(corners[:, i], corners[:, j], count) for i, j in ends], axis=1)
    start = np.searchsorted(edge, keys, side="left")
    number = np.searchsorted(edge, keys, side="right") - start
    hit = number.any(axis=1)
    row, over, corners, start, number = row[hit], over[hit], corners[hit], start[hit], number[hit]

    # Every point after the first corner: row, its side (0 long, 1 short), and its order along the profile.
    side, which = runs(number.reshape(-1))
    point = start.reshape(-1)[side] + which
    rows = np.arange(len(row))
    last = np.full(len(row), int(place.max(initial=0)) + 2)
    of = np.concatenate([side // 3, rows, rows])
    short = np.concatenate([side % 3 > 0, np.ones(2 * len(row), dtype=bool)])
    vertex = np.concatenate([count + point, corners[:, 1], corners[:, 2]])
    where = np.concatenate([at[point], place[corners[:, 1]], last])
    tip = np.concatenate([side % 3 == 1, np.zeros(2 * len(row), dtype=bool)])
    order = np.lexsort([short, where, of])
    of, short, vertex, tip = of[order], short[order], vertex[order], tip[order]

    first = np.searchsorted(of, rows)
    index = np.arange(len(of))
    before = [np.maximum.accumulate(np.where(short == s, index, -1)) for s in (False, True)]
    before = [np.append(-1, b[:-1]) for b in before]
    own, other = np.where(short, before[1], before[0]), np.where(short, before[0], before[1])
    lead = other < first[of]
    apex = corners[of, 0]
    back = np.where(own >= first[of], vertex[own], apex)
    opposite = np.where(lead, apex, vertex[other])

    # The first point of each side; the last corner counts as short, so that a long side may have none.
    begin = np.full((2, len(row)), len(of))
    for s in (False, True):
        use = index[short == s]
        np.minimum.at(begin[int(s)], of[use], use)
    bare = begin[0] == len(of)
    later = np.maximum(begin[0], begin[1]) * ~bare
    opposite = np.where(lead & ~bare[of], vertex[later[of]], opposite)
    drop = (index == later[of]) & ~bare[of]
    # A long side without points: those of the first short edge fan out from the last corner, the rest from the last
    # of them, or from the first corner.
    foot = corners[:, 0].copy()
    tips = index[tip]
    foot[of[tips]] = vertex[tips]
    opposite = np.where(bare[of], np.where(tip, corners[of, 2], foot[of]), opposite)
    drop |= bare[of] & (vertex == corners[of, 1])

    ahead = short != over[of]
    made = np.stack([np.where(ahead, back, vertex), np.where(ahead, vertex, back), opposite], axis=1)[~drop]
    whole = np.ones(len(triangles), dtype=bool)
    whole[row] = False
    return np.flatnonzero(whole), made, row[of[~drop]]
