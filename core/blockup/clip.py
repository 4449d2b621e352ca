# SPDX-License-Identifier: GPL-3.0-or-later
"""Many small polygons clipped by upright and level planes at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def box_of(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest coordinates of points, (n, 3), column by column: numpy is slow along a long thin array."""
    low, high = (np.array([pick(points[:, k]) for k in range(3)]) for pick in (np.min, np.max))
    return low, high


@dataclass(frozen=True, eq=False)
class Polygons:
    """Convex polygons of few corners.

    Attributes
    ----------
    corner : (n, m, 3); what lies past a polygon's count repeats its first corner.
    count : (n,) corners of each, 1 or more.
    """

    corner: FloatArray
    count: IntArray

    @classmethod
    def of_triangles(cls, corners: FloatArray) -> Polygons:
        """Triangles, (n, 3, 3)."""
        return cls(corners, np.full(len(corners), 3, dtype=np.int64))

    def take(self, rows: IntArray) -> Polygons:
        """Some of them, in the order given; a polygon may be taken several times."""
        return Polygons(self.corner[rows], self.count[rows])

    def low(self) -> FloatArray:
        """Lowest coordinates of each, (n, 3)."""
        low: FloatArray = self.corner[:, 0].copy()
        for k in range(1, self.corner.shape[1]):
            np.minimum(low, self.corner[:, k], out=low)
        return low

    def high(self) -> FloatArray:
        """Highest coordinates of each, (n, 3)."""
        high: FloatArray = self.corner[:, 0].copy()
        for k in range(1, self.corner.shape[1]):
            np.maximum(high, self.corner[:, k], out=high)
        return high

    def within(self, axis: int, low: FloatArray, high: FloatArray) -> tuple[Polygons, IntArray]:
        """What of each polygon lies between two planes square to an axis, and the rows that something is left of.

        Parameters
        ----------
        axis : 0, 1 or 2.
        low, high : (n,) metres.
        """
        first, rows = self._beyond(axis, low, 1.0)
        second, kept = first._beyond(axis, high[rows], -1.0)
        return second, rows[kept]

    def _beyond(self, axis: int, level: FloatArray, way: float) -> tuple[Polygons, IntArray]:
        m = self.corner.shape[1]
        over = way * (self.corner[:, :, axis] - level[:, None])
        keep = over >= 0.0
        rows = np.flatnonzero(keep.any(axis=1))
        corner, count, over, keep = self.corner[rows], self.count[rows], over[rows], keep[rows]
        place = np.arange(m)
        real = place < count[:, None]
        after = np.where(place + 1 < count[:, None], place + 1, 0)
        each = np.arange(len(rows))[:, None]
        next_over, next_corner = over[each, after], corner[each, after]
        crossing = real & (keep != keep[each, after])
        run = np.where(crossing, over - next_over, 1.0)
        cut = corner + (over / run)[:, :, None] * (next_corner - corner)
        cut[:, :, axis] = level[rows][:, None]
        # Each corner that stays is followed by the place where the edge after it leaves or comes back.
        all_corners = np.stack([corner, cut], axis=2).reshape(len(rows), 2 * m, 3)
        wanted = np.stack([keep & real, crossing], axis=2).reshape(len(rows), 2 * m)
        new_count = wanted.sum(axis=1)
        width = int(new_count.max(initial=1))
        position = np.cumsum(wanted, axis=1) - 1
        first = np.argmax(wanted, axis=1)
        out = np.repeat(all_corners[np.arange(len(rows)), first][:, None, :], width, axis=1)
        at = np.nonzero(wanted)
        out[at[0], position[at]] = all_corners[at]
        return Polygons(out, new_count.astype(np.int64)), rows
