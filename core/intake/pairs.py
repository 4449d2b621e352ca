# SPDX-License-Identifier: GPL-3.0-or-later
"""Boxes that overlap, found through grids: one grid for each size of box, so that a few large ones cost little."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray, IntArray
from ..mesh.runs import runs_in_parts

_AT_ONCE: Final = 1 << 18
"""Pairs looked at together: their scratch stays near the processor."""
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
    origin = np.array([column.min() for column in low.T])
    span = float((np.array([column.max() for column in high.T]) - origin).max())
    x, y, z = (high[:, axis] - low[:, axis] for axis in range(3))
    size = np.maximum(np.maximum(x, y), z)
    cell = max(_CELL * float(np.median(size)), span / _FINEST, float(np.finfo(float).tiny))
    level = np.ceil(np.log2(np.maximum(size / cell, 1.0))).astype(np.int64)
    levels = np.unique(level).tolist()
    for coarse in levels:
        side = cell * 2.0**coarse
        entries = _Entries.of(low, high, np.flatnonzero(level == coarse), origin, side)
        ends = np.searchsorted(entries.key, entries.key, side="right")
        yield from _matches(entries, np.arange(len(ends)) + 1, ends, entries, origin, side)
        for fine in levels:
            if fine >= coarse:
                break
            others = _Entries.of(low, high, np.flatnonzero(level == fine), origin, side)
            begin = np.searchsorted(entries.key, others.key, side="left")
            end = np.searchsorted(entries.key, others.key, side="right")
            yield from _matches(others, begin, end, entries, origin, side)


@dataclass(frozen=True, eq=False)
class _Entries:
    """Boxes entered in the cells that they reach into, sorted by cell: those of one cell lie side by side in memory.

    `key` (k,) of the cell, `row` (k,) the box, `low` and `high` three columns each, (k,).
    """

    key: IntArray
    row: IntArray
    low: list[FloatArray]
    high: list[FloatArray]

    @classmethod
    def of(cls, low: FloatArray, high: FloatArray, members: IntArray, origin: FloatArray, side: float) -> _Entries:
        """Enter some boxes, each in eight cells at most."""
        first = [((low[members, axis] - origin[axis]) / side).astype(np.int64) for axis in range(3)]
        last = [((high[members, axis] - origin[axis]) / side).astype(np.int64) for axis in range(3)]
        keys, rows = [], []
        for x, y, z in np.ndindex(2, 2, 2):
            at = [first[axis] + step for axis, step in enumerate((x, y, z))]
            inside = np.flatnonzero((at[0] <= last[0]) & (at[1] <= last[1]) & (at[2] <= last[2]))
            keys.append(_key([column[inside] for column in at]))
            rows.append(members[inside])
        key, row = np.concatenate(keys), np.concatenate(rows)
        order = np.argsort(key, kind="stable")
        row = row[order]
        return cls(key[order], row, *([edge[row, axis] for axis in range(3)] for edge in (low, high)))


def _key(at: list[IntArray]) -> IntArray:
    key: IntArray = (at[0] << 42) | (at[1] << 21) | at[2]
    return key


def _matches(
    one: _Entries, begin: IntArray, end: IntArray, other: _Entries, origin: FloatArray, side: float
) -> Iterator[tuple[IntArray, IntArray]]:
    """Pairs of each entry with entries begin to end of the other whose boxes overlap.

    Two boxes may share several cells; the pair is told in the one where their overlap begins.
    """
    for a, b in runs_in_parts(end - begin, _AT_ONCE):
        b = b + begin[a]
        for axis in range(3):
            meet = one.low[axis][a] <= other.high[axis][b]
            meet &= other.low[axis][b] <= one.high[axis][a]
            a, b = a[meet], b[meet]
        least = [np.maximum(one.low[axis][a], other.low[axis][b]) for axis in range(3)]
        cell = _key([((least[axis] - origin[axis]) / side).astype(np.int64) for axis in range(3)])
        here = cell == one.key[a]
        if here.any():
            yield one.row[a[here]], other.row[b[here]]
