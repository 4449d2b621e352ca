# SPDX-License-Identifier: GPL-3.0-or-later
"""Glue lines as geometry: the rectangles where two billets of a block-up meet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

BED: Final = 0
"""A glue line between two courses: flat."""
BUTT: Final = 1
"""A glue line between two billets of one course: upright."""


@dataclass(frozen=True, eq=False)
class GlueRectangles:
    """Glue lines as plain rectangles, each with two square sides.

    Attributes
    ----------
    corner : (k, 3) metres, job coordinates: one corner of each.
    along, across : (k, 3) metres: its two sides from that corner, square to each other.
    """

    corner: FloatArray
    along: FloatArray
    across: FloatArray

    @classmethod
    def none(cls) -> GlueRectangles:
        """No glue line: a carving out of one block, or of which nothing is known."""
        empty = np.zeros((0, 3))
        return GlueRectangles(empty, empty, empty)

    def __len__(self) -> int:
        """How many there are."""
        return len(self.corner)

    @property
    def normal(self) -> FloatArray:
        """Unit normal of each, (k, 3)."""
        cross = np.cross(self.along, self.across)
        unit: FloatArray = cross / np.linalg.norm(cross, axis=1)[:, None]
        return unit

    def planes(self) -> tuple[FloatArray, FloatArray, IntArray]:
        """The planes that the rectangles lie in, each once.

        Returns
        -------
        (p, 3), (p,), (k,)
            Unit normals, distances along them from the job's origin (metres), and which plane each rectangle lies in.
            Planes nearer than a micrometre are one.
        """
        if len(self) == 0:
            return np.zeros((0, 3)), np.zeros(0), np.zeros(0, dtype=np.int64)
        normal = self.normal
        distance = (normal * self.corner).sum(axis=1)
        key = np.round(np.column_stack([normal * 1e6, distance * 1e6])).astype(np.int64)
        _, first, which = np.unique(key, axis=0, return_index=True, return_inverse=True)
        return normal[first], distance[first], which.reshape(-1).astype(np.int64)


@dataclass(frozen=True, eq=False)
class GlueLines(GlueRectangles):
    """All places where the billets of a block-up meet.

    Attributes
    ----------
    kind : (k,) `BED`, whose normal is up, or `BUTT`, whose normal is level.
    """

    kind: IntArray

    @property
    def area(self) -> FloatArray:
        """Area of each, (k,) square metres: the sides are square to each other."""
        size: FloatArray = np.linalg.norm(self.along, axis=1) * np.linalg.norm(self.across, axis=1)
        return size

    def distance(self, points: ArrayLike) -> tuple[FloatArray, IntArray]:
        """Distance of points to the nearest rectangle, and which that is.

        Parameters
        ----------
        points : (n, 3) metres, job coordinates.

        Returns
        -------
        (n,), (n,)
            Metres, and its number; infinity and -1 where there is no glue line at all.
        """
        p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        best, which = np.full(len(p), np.inf), np.full(len(p), -1, dtype=np.int64)
        normal = self.normal if len(self) else np.zeros((0, 3))
        for k in range(len(self)):
            away = p - self.corner[k]
            square = (away @ normal[k]) ** 2
            for side in (self.along[k], self.across[k]):
                long = float(np.linalg.norm(side))
                at = away @ (side / long)
                square += (at - np.clip(at, 0.0, long)) ** 2
            near = square < best
            best[near], which[near] = square[near], k
        return np.sqrt(best), which

    @classmethod
    def none(cls) -> GlueLines:
        """No glue line: a carving out of one block."""
        empty = np.zeros((0, 3))
        return cls(empty, empty, empty, np.zeros(0, dtype=np.int64))
