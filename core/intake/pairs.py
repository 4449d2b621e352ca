# SPDX-License-Identifier: GPL-3.0-or-later
"""Boxes that overlap, found through grids: one grid for each size of box, so that a few large ones cost little."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray, IntArray

_AT_ONCE: Final = 1 << 21
"""Pairs looked at together: some hundred megabytes of scratch."""
_FINEST: Final = 1 << 20
"""Cells along the longest side at most, so that three cell numbers fit one 63-bit key."""
_CELL: Final = 1.5
"""Side of the finest cells in middle box sizes: larger cells hold more boxes, smaller ones hold each more often."""


def overlapping_boxes(low: FloatArray, high: FloatArray) -> Iterator[tuple[IntArray, IntArray]]:
    """Pairs of boxes that overlap or touch, each pair once, some at a time.

    Parameters
    ----------
    low, high : (n, 3) corners of the boxes.

    Yields
    ------
    one, two : (k,), (k,) int64 rows of boxes.
    """
    if len(low) < 2:
        return
    origin = low.min(axis=0)
    span = float((high.max(axis=0) - origin).max())
    size = (high - low).max(axis=1)
    cell = max(_CELL * float(np.median(size)), span / _FINEST, float(np.finfo(float).tiny))
    level = np.ceil(np.log2(np.maximum(size / cell, 1.0))).astype(np.int64)
    levels = np.unique(level).tolist()
    for coarse in levels:
        side = cell * 2.0**coarse
        members = np.flatnonzero(level == coarse)
        key, row = _register(low, high, members, origin, side)
        order = np.argsort(key, kind="stable")
        key, row = key[order], row[order]
        ends = np.searchsorted(key, key, side="right")
        yield from _matches(row, np.arange(len(row)) + 1, ends, row, key, low, high, origin, side)
        for fine in levels:
            if fine >= coarse or not len(key):
                continue
            other_key, other = _register(low, high, np.flatnonzero(level == fine), origin, side)
            begin = np.searchsorted(key, other_key, side="left")
            end = np.searchsorted(key, other_key, side="right")
            some = end > begin
            yield from _matches(other[some], begin[some], end[some], row, other_key[some], low, high, origin, side)


def _register(
    low: FloatArray, high: FloatArray, members: IntArray, origin: FloatArray, side: float
) -> tuple[IntArray, IntArray]:
    """Keys of all cells that the members' boxes reach into, eight at most each, and the member of each."""
    first = ((low[members] - origin) / side).astype(np.int64)
    last = ((high[members] - origin) / side).astype(np.int64)
    keys, rows = [], []
    for x in (0, 1):
        for y in (0, 1):
            for z in (0, 1):
                at = first + np.array((x, y, z))
                inside = (at <= last).all(axis=1)
                keys.append(_key(at[inside]))
                rows.append(members[inside])
    return np.concatenate(keys), np.concatenate(rows)


def _key(at: IntArray) -> IntArray:
    key: IntArray = (at[:, 0] << 42) | (at[:, 1] << 21) | at[:, 2]
    return key


def _matches(
    one: IntArray,
    begin: IntArray,
    end: IntArray,
    other: IntArray,
    key: IntArray,
    low: FloatArray,
    high: FloatArray,
    origin: FloatArray,
    side: float,
) -> Iterator[tuple[IntArray, IntArray]]:
    """Pairs of `one` with other[begin:end] whose boxes overlap, told in the cell where their overlap begins."""
    number = end - begin
    done = np.cumsum(number)
    start = 0
    while start < len(one):
        used = int(done[start - 1]) if start else 0
        stop = max(start + 1, int(np.searchsorted(done, used + _AT_ONCE, side="right")))
        some = number[start:stop]
        at = np.repeat(np.arange(start, stop), some)
        a = one[at]
        b = other[np.repeat(begin[start:stop] - done[start:stop] + some, some) + used + np.arange(len(at))]
        a_low, b_low = low[a], low[b]
        least = np.maximum(a_low, b_low)
        meet = (least <= np.minimum(high[a], high[b])).all(axis=1)
        a, b, at, least = a[meet], b[meet], at[meet], least[meet]
        here = _key(((least - origin) / side).astype(np.int64)) == key[at]
        if here.any():
            yield a[here], b[here]
        start = stop
