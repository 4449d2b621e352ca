# SPDX-License-Identifier: GPL-3.0-or-later
"""Cameras as plain numbers: from where a picture is taken so that everything is in it, and what lands where."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

NEAREST = 1e-3
"""Least depth of what is in a picture, metres."""


@dataclass(frozen=True, eq=False)
class View:
    """A camera.

    Attributes
    ----------
    axes : (3, 3), columns right, up and towards the viewer, unit and square.
    position : (3,) metres.
    half : half the picture's width: at distance 1 in perspective, in metres in a parallel view.
    aspect : height over width.
    parallel : whether the view is parallel.
    """

    axes: FloatArray
    position: FloatArray
    half: float
    aspect: float
    parallel: bool

    def project(self, points: ArrayLike) -> FloatArray:
        """Where points (n, 3) land: (n, 3) with x and y from -1 to 1 inside the picture, and the depth in metres."""
        local = (np.asarray(points, dtype=np.float64) - self.position) @ self.axes
        depth = -local[:, 2]
        width = np.full(len(local), self.half) if self.parallel else self.half * depth
        return np.column_stack([local[:, 0] / width, local[:, 1] / (width * self.aspect), depth])

    def width_at(self, depth: float) -> float:
        """Metres that the picture is wide at this depth."""
        return 2.0 * self.half * (1.0 if self.parallel else depth)

    def point(self, x: float, y: float, depth: float) -> FloatArray:
        """The place in the world, (3,) metres, that lands on x and y at this depth."""
        width = self.width_at(depth) / 2.0
        local = np.array([x * width, y * width * self.aspect, -depth])
        place: FloatArray = self.position + self.axes @ local
        return place


def look(direction: ArrayLike) -> FloatArray:
    """Camera axes (3, 3) for looking along `direction` (3,), upright; straight down: north is up."""
    back = -np.asarray(direction, dtype=np.float64)
    back = back / np.linalg.norm(back)
    up = np.array([0.0, 0.0, 1.0])
    if abs(float(back @ up)) > 0.999:
        up = np.array([0.0, 1.0, 0.0])
    right = np.cross(up, back)
    right /= np.linalg.norm(right)
    return np.column_stack([right, np.cross(back, right), back])


def fit(
    points: ArrayLike,
    direction: ArrayLike,
    aspect: float,
    half: float = 0.36,
    margin: float = 0.06,
    parallel: bool = False,
) -> View:
    """The nearest camera that looks along `direction` and has all points in the picture.

    Parameters
    ----------
    points : (n, 3) metres, at least one.
    direction : (3,) looking direction.
    aspect : height over width of the picture.
    half : half the picture's width at distance 1 (perspective only).
    margin : share of the picture's half width and height kept free on each side.
    parallel : a parallel view.

    Notes
    -----
    In perspective a point stays inside the right edge when x - cx <= t (cz - z) with t the slope of the edge, so the
    tightest pair of opposite edges gives cz and cx in closed form, and likewise for height.
    """
    axes = look(direction)
    local = np.asarray(points, dtype=np.float64) @ axes
    inner = 1.0 - margin
    low, high = local.min(axis=0), local.max(axis=0)
    if parallel:
        size = (high - low)[:2] / inner
        needed = max(float(size[0]), float(size[1]) / aspect, 1e-6) / 2.0
        middle = (low + high) / 2.0
        depth = float(np.linalg.norm(high - low)) + 1.0
        return View(axes, axes @ np.array([middle[0], middle[1], high[2] + depth]), needed, aspect, True)
    centre = np.zeros(3)
    for axis, slope in ((0, half * inner), (1, half * aspect * inner)):
        right = float((local[:, axis] + slope * local[:, 2]).max())
        left = float((-local[:, axis] + slope * local[:, 2]).max())
        centre[axis] = (right - left) / 2.0
        centre[2] = (right + left) / (2.0 * slope) if axis == 0 else max(centre[2], (right + left) / (2.0 * slope))
    # A single point, or a row of them straight ahead, would lie in the lens.
    centre[2] = max(centre[2], float(high[2]) + NEAREST)
    return View(axes, axes @ centre, half, aspect, False)
