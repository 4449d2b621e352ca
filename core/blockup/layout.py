# SPDX-License-Identifier: GPL-3.0-or-later
"""Where billets of a block-up lie: courses in z, turned and shifted as a whole, staggered from course to course.

The block frame has its x along the billets' length, its y along their width, its z up, and its origin at a corner of
the first course. Courses and places in them are counted from 0 at the origin, downwards and backwards too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import JobError
from ..job import Job

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

Cell = tuple[int, int, int]
"""Course, place along the length, place along the width."""


@dataclass(frozen=True)
class Layout:
    """Billets of one size without end, in courses.

    Attributes
    ----------
    billet : (length, width, height) metres.
    origin : (x, y, z) metres, job coordinates.
    rotation : about z, radians.
    stagger : share of a length from course to course.
    offsets : (along, across) metres of each course from the first up, over again after the last; none: by stagger.
    heights : metres of each course from the first up, the last for all above it; none: that of the billet.
    """

    billet: tuple[float, float, float]
    origin: tuple[float, float, float] = (0.0, 0.0, 0.0)
    rotation: float = 0.0
    stagger: float = 0.5
    offsets: tuple[tuple[float, float], ...] = ()
    heights: tuple[float, ...] = ()

    @classmethod
    def of_job(cls, job: Job) -> Layout:
        """The block-up that a job's settings describe.

        Raises
        ------
        JobError
            A course higher than a billet.
        """
        up, billet = job.blockup, job.foam.billet
        for k, height in enumerate(up.heights):
            if height > billet[2] * (1.0 + 1e-9):
                key = f"blockup.heights[{k}]"
                raise JobError(
                    f"{key}: a course of {height:g} m is higher than a billet of {billet[2]:g} m (foam.billet); write "
                    "less, or the billet's height",
                    key,
                )
        return cls(billet, up.origin, up.rotation, up.stagger, up.offsets, up.heights)

    def height(self, course: int) -> float:
        """Height of a course, metres."""
        if not self.heights:
            return self.billet[2]
        return self.heights[min(max(course, 0), len(self.heights) - 1)]

    def level(self, course: int) -> float:
        """Where a course begins, metres over the origin."""
        listed = min(max(course, 0), len(self.heights))
        rest = course - listed
        return math.fsum(self.heights[:listed]) + rest * self.height(course - 1 if rest > 0 else course)

    def course_at(self, z: float) -> int:
        """The course that holds a height over the origin; a height exactly between two is in the upper."""
        course = 0
        while course < len(self.heights) and z >= self.level(course + 1):
            course += 1
        if 0 < course < len(self.heights) or (course == 0 and self.heights and z >= 0.0):
            return course
        course += math.floor((z - self.level(course)) / self.height(course))
        # Rounding of the division may miss by one.
        return course + (z >= self.level(course + 1)) - (z < self.level(course))

    def offset(self, course: int) -> tuple[float, float]:
        """How far a course is shifted against the first, (along, across) metres; by stagger under a length."""
        if self.offsets:
            return self.offsets[course % len(self.offsets)]
        share = math.fmod(course * self.stagger, 1.0)
        # A third of a length, three times, is a whole one but for rounding.
        share = 0.0 if abs(share) > 1.0 - 1e-12 else share
        return (share + 1.0 if share < 0.0 else share) * self.billet[0], 0.0

    def to_block(self, points: ArrayLike) -> FloatArray:
        """Job coordinates to the block frame, (n, 3) metres."""
        p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        x, y = p[:, 0] - self.origin[0], p[:, 1] - self.origin[1]
        c, s = math.cos(self.rotation), math.sin(self.rotation)
        return np.stack([c * x + s * y, c * y - s * x, p[:, 2] - self.origin[2]], axis=1)

    def to_job(self, points: ArrayLike) -> FloatArray:
        """Block frame to job coordinates, (n, 3) metres."""
        p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
        moved: FloatArray = self.turn(p) + np.array(self.origin)
        return moved

    def turn(self, directions: ArrayLike) -> FloatArray:
        """Directions of the block frame in job coordinates, (n, 3)."""
        p = np.asarray(directions, dtype=np.float64).reshape(-1, 3)
        c, s = math.cos(self.rotation), math.sin(self.rotation)
        return np.stack([c * p[:, 0] - s * p[:, 1], s * p[:, 0] + c * p[:, 1], p[:, 2]], axis=1)

    def corner(self, cell: Cell) -> FloatArray:
        """Lowest corner of a billet's place, (3,) metres, block frame."""
        course, i, j = cell
        along, across = self.offset(course)
        length, width, _ = self.billet
        return np.array([along + i * length, across + j * width, self.level(course)])

    def size(self, cell: Cell) -> FloatArray:
        """Size of a billet in its place, (3,) metres."""
        return np.array([self.billet[0], self.billet[1], self.height(cell[0])])
