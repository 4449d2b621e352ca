# SPDX-License-Identifier: GPL-3.0-or-later
"""What lies near: pairs of points within a reach, and distances to a set of line segments, by hashing into cells."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.runs import runs

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_FLAGS: Final = 1 << 20
"""Entries of the table that tells most far places at once: a megabyte, which the processor's cache holds."""

_MOST: Final = 1 << 20
"""Queries worked on at a time."""


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
        key = self._key(self.cell(points))
        self.order = np.argsort(key, kind="stable")
        self.keys = key[self.order]

    def cell(self, points: FloatArray) -> IntArray:
        """Cell of each point; places outside the box of all points come to lie on its border of empty cells."""
        cell: IntArray = np.floor((points - self.low) / self.size).astype(np.int64)
        np.clip(cell, 0, self.shape - 1, out=cell)
        return cell

    def _key(self, cell: IntArray) -> IntArray:
        key: IntArray = (cell[:, 0] * self.shape[1] + cell[:, 1]) * self.shape[2] + cell[:, 2]
        return key

    def runs(self, points: FloatArray) -> Iterator[tuple[IntArray, IntArray]]:
        """Pairs (query, point) of all points in the 27 cells round each query; nine times, queries rising."""
        key = self._key(self.cell(points))
        for over in (-1, 0, 1):
            for up in (-1, 0, 1):
                middle = key + (over * self.shape[1] + up) * self.shape[2]
                first = np.searchsorted(self.keys, middle - 1, "left")
                count = np.searchsorted(self.keys, middle + 1, "right") - first
                query, at = runs(count)
                yield query, self.order[first[query] + at]


def pairs_within(points: FloatArray, reach: float) -> tuple[IntArray, IntArray, FloatArray]:
    """All ordered pairs of points no further apart than `reach`, each point with itself too, and their distances."""
    found = []
    for one, two in Cells(points, reach).runs(points):
        apart = np.sqrt(((points[one] - points[two]) ** 2).sum(axis=1))
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
        table = np.zeros(_FLAGS, dtype=bool)
        cell = self.cells.cell(self.start + step / 2.0)
        for move in np.ndindex(3, 3, 3):
            table[_hash(cell + np.array(move) - 1)] = True
        self._near = table

    def nearest(self, points: FloatArray) -> tuple[FloatArray, IntArray]:
        """Distance from each point to the nearest segment, inf where none is within reach, and which one (-1: none).

        The segments are numbered as they were given.
        """
        away = np.full(len(points), np.inf)
        which = np.full(len(points), -1, dtype=np.int64)
        if len(self.start) == 0:
            return away, which
        for begin in range(0, len(points), _MOST):
            chunk = points[begin : begin + _MOST]
            rows = np.flatnonzero(self._near[_hash(self.cells.cell(chunk))])
            self._among(chunk[rows], begin + rows, away, which)
        far = away > self.reach
        away[far], which[far] = np.inf, -1
        return away, which

    def _among(self, points: FloatArray, rows: IntArray, away: FloatArray, which: IntArray) -> None:
        for query, part in self.cells.runs(points):
            if len(query) == 0:
                continue
            to = points[query] - self.start[part]
            along = self.along[part]
            share = np.clip((to * along).sum(axis=1) / self.square[part], 0.0, 1.0)
            apart = np.sqrt(((to - share[:, None] * along) ** 2).sum(axis=1))
            first = np.flatnonzero(np.append(True, query[1:] != query[:-1]))
            least = np.minimum.reduceat(apart, first)
            # The first of a query's parts that has the least distance.
            hit = np.flatnonzero(apart == np.repeat(least, np.diff(np.append(first, len(query)))))
            hit = hit[np.unique(query[hit], return_index=True)[1]]
            row = rows[query[hit]]
            nearer = apart[hit] < away[row]
            away[row[nearer]] = apart[hit][nearer]
            which[row[nearer]] = self.owner[part[hit][nearer]]


def _hash(cell: IntArray) -> IntArray:
    mixed = (cell[:, 0] * 73_856_093) ^ (cell[:, 1] * 19_349_663) ^ (cell[:, 2] * 83_492_791)
    hashed: IntArray = mixed & (_FLAGS - 1)
    return hashed


def segments_of(lines: Sequence[FloatArray]) -> tuple[FloatArray, FloatArray]:
    """Starts and ends of all segments of some polylines, each (k, 3)."""
    if not lines:
        return np.zeros((0, 3)), np.zeros((0, 3))
    return np.concatenate([line[:-1] for line in lines]), np.concatenate([line[1:] for line in lines])
