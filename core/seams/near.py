# SPDX-License-Identifier: GPL-3.0-or-later
"""What lies near: pairs of points within a reach, and distances to a set of line segments, by hashing into cells."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.runs import Counts, runs

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_FLAGS: Final = 1 << 20
"""Entries of the table that tells most far places at once: a megabyte, which the processor's cache holds."""

_MOST: Final = 1 << 17
"""Queries worked on at a time: some tens of megabytes."""

_CROWDED: Final = 4
"""Cells of the box for each query up to which a list of them all pays; in a larger box they are searched for."""


class Cells:
    """Points sorted by the cell that they lie in, so that those near a place are found in a few runs.

    Parameters
    ----------
    points : (n, 3) metres.
    size : edge of a cell, metres: the largest reach that can be asked for.
    """

    def __init__(self, points: FloatArray, size: float) -> None:
        self.size = size
        self.low = np.array([c.min() for c in points.T]) - 2.0 * size if len(points) else np.zeros(3)
        high = np.array([c.max() for c in points.T]) if len(points) else np.zeros(3)
        self.shape = np.floor((high - self.low) / size).astype(np.int64) + 3
        key = self.key(points)
        self.order = np.argsort(key, kind="stable")
        self.keys = key[self.order]
        self._begin: NDArray[np.int32] | None = None

    def cell(self, points: FloatArray) -> tuple[IntArray, IntArray, IntArray]:
        """Cell of each point, by axis; places outside the box of all points count to its border of empty cells."""
        x, y, z = (
            np.clip(np.floor((points[:, k] - self.low[k]) / self.size).astype(np.int64), 0, self.shape[k] - 1)
            for k in range(3)
        )
        return x, y, z

    def key(self, points: FloatArray) -> IntArray:
        """Number of the cell of each point."""
        x, y, z = self.cell(points)
        key: IntArray = (x * self.shape[1] + y) * self.shape[2] + z
        return key

    def runs(self, key: IntArray) -> Iterator[tuple[IntArray, IntArray]]:
        """Pairs (query, point) of all points in the 27 cells round each query; nine times, queries rising.

        key : (q,) of the queries' cells.
        """
        for first, count in self._spans(key):
            query, at = runs(count)
            at += first[query]
            yield query, self.order[at]

    def _spans(self, key: IntArray) -> Iterator[tuple[Counts, Counts]]:
        """First of the sorted points in each of the nine rows round each query, and how many."""
        listed = self.listed(len(key))
        if listed is not None:
            for middle in self._rows():
                first = listed[key + (self._pad + middle - 1)]
                yield first, listed[key + (self._pad + middle + 2)] - first
            return
        # In rising order each look-up begins where the last one ended.
        order = np.argsort(key)
        rising, last = key[order], np.empty_like(key)
        for middle in self._rows():
            begin = np.empty_like(key)
            begin[order] = np.searchsorted(self.keys, rising + (middle - 1), "left")
            last[order] = np.searchsorted(self.keys, rising + (middle + 1), "right")
            yield begin, last - begin

    def listed(self, queries: int) -> NDArray[np.int32] | None:
        """How many points lie in cells before each, from `_pad` before the first on; None where that does not pay."""
        count = int(np.prod(self.shape))
        if self._begin is None and count <= _CROWDED * queries:
            each = np.bincount(self.keys + (self._pad + 1), minlength=count + 2 * self._pad + 2)
            self._begin = np.cumsum(each, dtype=np.int32)
        return self._begin

    def beside(self, queries: int) -> NDArray[np.bool_] | None:
        """Whether some point lies in the 27 cells round each one; None where `listed` is."""
        listed = self.listed(queries)
        if listed is None:
            return None
        count, pad = int(np.prod(self.shape)), self._pad
        out = np.zeros(count, dtype=bool)
        for middle in self._rows():
            first, last = pad + middle - 1, pad + middle + 2
            out |= listed[first : first + count] != listed[last : last + count]
        return out

    @property
    def _pad(self) -> int:
        """How far before a cell the first round it may be."""
        return int(self.shape[1] * self.shape[2] + self.shape[2]) + 1

    def _rows(self) -> list[int]:
        """Middle cells of the nine rows of three round a cell, counted from it."""
        return [int(over * self.shape[1] + up) * int(self.shape[2]) for over in (-1, 0, 1) for up in (-1, 0, 1)]


def pairs_within(points: FloatArray, reach: float) -> tuple[IntArray, IntArray, FloatArray]:
    """All ordered pairs of points no further apart than `reach`, each point with itself too, and their distances."""
    found = []
    cells = Cells(points, reach)
    for one, two in cells.runs(cells.key(points)):
        apart = np.sqrt(squares(np.take(points, one, axis=0) - np.take(points, two, axis=0)))
        near = apart <= reach
        found.append((one[near], two[near], apart[near]))
    one, two, apart = (np.concatenate(part) for part in zip(*found, strict=True))
    return one, two, apart


class Segments:
    """A set of straight segments, ready to be asked how far off a place is.

    Parameters
    ----------
    starts, ends : (n, 3) metres; long ones are divided.
    reach : metres; further off counts as not near.
    """

    def __init__(self, starts: FloatArray, ends: FloatArray, reach: float) -> None:
        parts = np.maximum(np.ceil(np.linalg.norm(ends - starts, axis=1) / reach), 1.0).astype(np.int64)
        self.owner, turn = runs(parts)
        step = ((ends - starts) / parts[:, None])[self.owner] if len(starts) else np.zeros((0, 3))
        self.start = starts[self.owner] + step * turn[:, None]
        self.along = step
        square = (step**2).sum(axis=1)
        self.square = np.where(square > 0.0, square, 1.0)
        self.reach = reach
        # The middle of a part lies within reach and half its length of any place within reach.
        half = float(np.sqrt(square.max(initial=0.0))) / 2.0
        self.cells = Cells(self.start + step / 2.0, (reach + half) * (1.0 + 1e-9))

    def nearest(self, points: FloatArray) -> tuple[FloatArray, IntArray]:
        """Distance from each point to the nearest segment, inf where none is within reach, and which one (-1: none).

        The segments are numbered as they were given.
        """
        away = np.full(len(points), np.inf)
        which = np.full(len(points), -1, dtype=np.int64)
        if len(self.start) == 0:
            return away, which

        def work(begin: int) -> None:
            part = slice(begin, begin + _MOST)
            self._chunk(points[part], away[part], which[part])

        if len(points) <= _MOST:
            work(0)
        else:
            # Each place is answered for itself: two parts at a time give the same.
            with ThreadPoolExecutor(2) as pool:
                list(pool.map(work, range(0, len(points), _MOST)))
        far = away > self.reach
        away[far], which[far] = np.inf, -1
        return away, which

    def _chunk(self, points: FloatArray, away: FloatArray, which: IntArray) -> None:
        """As `nearest`, into `away` and `which`, for places that are worked on together."""
        key = self.cells.key(points)
        beside = self.cells.beside(len(points))
        if beside is None:
            rows = np.flatnonzero(self._hashed[_hash(*self.cells.cell(points))])
        else:
            rows = np.flatnonzero(beside[key])
        points = np.take(points, rows, axis=0)
        for query, part in self.cells.runs(key[rows]):
            if len(query) == 0:
                continue
            to = np.take(points, query, axis=0)
            to -= np.take(self.start, part, axis=0)
            along = np.take(self.along, part, axis=0)
            share = np.clip(products(to, along) / self.square[part], 0.0, 1.0)
            along *= share[:, None]
            to -= along
            apart = np.sqrt(squares(to))
            first = np.flatnonzero(np.append(True, query[1:] != query[:-1]))
            least = np.minimum.reduceat(apart, first)
            # The first of a query's parts that has the least distance.
            hit = np.flatnonzero(apart == np.repeat(least, np.diff(np.append(first, len(query)))))
            hit = hit[np.append(True, query[hit][1:] != query[hit][:-1])]
            row = rows[query[hit]]
            nearer = apart[hit] < away[row]
            away[row[nearer]] = apart[hit][nearer]
            which[row[nearer]] = self.owner[part[hit][nearer]]

    @cached_property
    def _hashed(self) -> NDArray[np.bool_]:
        """Whether some part may lie in the 27 cells round one, by its `_hash`."""
        table = np.zeros(_FLAGS, dtype=bool)
        x, y, z = self.cells.cell(self.start + self.along / 2.0)
        for over, up, on in np.ndindex(3, 3, 3):
            table[_hash(x + (over - 1), y + (up - 1), z + (on - 1))] = True
        return table


def _hash(x: IntArray, y: IntArray, z: IntArray) -> IntArray:
    hashed: IntArray = ((x * 73_856_093) ^ (y * 19_349_663) ^ (z * 83_492_791)) & (_FLAGS - 1)
    return hashed


def products(one: FloatArray, other: FloatArray) -> FloatArray:
    """Dot product of each row of two arrays (n, 3); numpy's own sums go through each row by itself."""
    out: FloatArray = one[:, 0] * other[:, 0]
    out += one[:, 1] * other[:, 1]
    out += one[:, 2] * other[:, 2]
    return out


def squares(rows: FloatArray) -> FloatArray:
    """Square of the length of each row of (n, 3)."""
    return products(rows, rows)


def segments_of(lines: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Starts and ends of all segments of some polylines, each (k, 3)."""
    if not lines:
        return np.zeros((0, 3)), np.zeros((0, 3))
    return np.concatenate([line[:-1] for line in lines]), np.concatenate([line[1:] for line in lines])
