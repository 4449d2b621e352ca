# SPDX-License-Identifier: GPL-3.0-or-later
"""Convex hull of points in a plane, and the smallest rectangle round it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_SIEVES: Final = (8, 24, 96, 384)
"""Directions of the successive sieves that throw inner points away before the exact hull."""

_FEW_PER_DIRECTION: Final = 6
"""With fewer points than this for each direction of a sieve the exact hull is as quick without it."""

_LEAST_GAIN: Final = 0.9
"""Where a sieve leaves more than this share (points round a cylinder), finer ones would not pay either."""

_ROUNDING: Final = 1e-15
"""Share of the largest coordinate by which a point must be outside the polygon of a sieve: the many points of a flat
face that is seen edge on lie on its side but for rounding."""


def convex_hull(points: FloatArray) -> FloatArray:
    """Corners of the convex hull, (h, 2) counter-clockwise, straight corners left out; starts at the least x, then y.

    Parameters
    ----------
    points : (n, 2), any order, repeats allowed. With all points on one line the two ends come back, with all in one
        place that place.

    Notes
    -----
    Points strictly inside the polygon of extreme points in some directions cannot be corners (Akl and Toussaint 1978);
    what is left goes through the monotone chain (Andrew 1979).
    """
    for count in _SIEVES:
        if len(points) < _FEW_PER_DIRECTION * count:
            break
        before = len(points)
        points = _sieve(points, count)
        if len(points) > _LEAST_GAIN * before:
            break
    return _chain(points)


def _sieve(points: FloatArray, count: int) -> FloatArray:
    """Points that are outside the polygon of the extremes in `count` even directions, and its corners."""
    x, y = np.ascontiguousarray(points.T)
    angles = np.arange(count // 2) * (2.0 * np.pi / count)
    along = np.outer(np.cos(angles), x) + np.outer(np.sin(angles), y)
    ends = np.concatenate((along.argmax(axis=1), along.argmin(axis=1)))
    polygon = _chain(points[ends])
    if len(polygon) < 3:
        return points
    outside = np.zeros(len(points), dtype=bool)
    outside[ends] = True
    slack = _ROUNDING * float(np.abs(points).max())
    for (ax, ay), (bx, by) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        outside |= (bx - ax) * (y - ay) - (by - ay) * (x - ax) < -slack * np.hypot(bx - ax, by - ay)
    kept: FloatArray = points[outside]
    return kept


def _chain(points: FloatArray) -> FloatArray:
    """Exact hull by the monotone chain."""
    rows = sorted(set(zip(*points.T.tolist(), strict=True)))
    if len(rows) < 3:
        return np.array(rows, dtype=np.float64).reshape(-1, 2)
    hull: list[tuple[float, float]] = []
    for turn in (rows, rows[::-1]):
        side: list[tuple[float, float]] = []
        for x, y in turn:
            while len(side) > 1:
                (ax, ay), (bx, by) = side[-2], side[-1]
                if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0.0:
                    break
                side.pop()
            side.append((x, y))
        hull += side[:-1]
    return np.array(hull, dtype=np.float64)


def least_rectangle(points: FloatArray, grow: float = 0.0) -> tuple[float, float, float]:
    """Smallest rectangle round points in a plane.

    Parameters
    ----------
    points : (n, 2), at least one.
    grow : added to both sides of the rectangle before areas are compared (the skin), same unit.

    Returns
    -------
    length, width, angle : sides with `grow` added, length at least width; radians from x to the length.

    Notes
    -----
    One side of the smallest rectangle lies along an edge of the convex hull (Freeman and Shapira 1975), so each edge is
    tried; the four touching corners are found by where a direction falls among the edge directions.
    """
    hull = convex_hull(points)
    angle = _best_edge(hull, grow)
    along, across = (np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)]))
    length, width = (float(np.ptp(hull @ axis)) + grow for axis in (along, across))
    if length < width:
        length, width, angle = width, length, angle + np.pi / 2.0
    return length, width, float(angle)


def _best_edge(hull: FloatArray, grow: float) -> float:
    """Direction, radians, of the hull edge whose rectangle is smallest."""
    edges = np.roll(hull, -1, axis=0) - hull
    angles = np.arctan2(edges[:, 1], edges[:, 0])
    if len(hull) < 3:
        return float(angles[0])
    # Counter-clockwise from the least x the directions rise from -90 degrees; arctan2 gives those past 180 as negative.
    angles = np.where(angles < angles[0], angles + 2.0 * np.pi, angles)
    axis = edges / np.linalg.norm(edges, axis=1)[:, None]
    square = np.stack((-axis[:, 1], axis[:, 0]), axis=1)

    def touching(turn: float) -> FloatArray:
        wanted = angles + turn + np.pi / 2.0
        wanted = np.where(wanted >= angles[0] + 2.0 * np.pi, wanted - 2.0 * np.pi, wanted)
        corners: FloatArray = hull[np.searchsorted(angles, wanted) % len(hull)]
        return corners

    length = ((touching(0.0) - touching(np.pi)) * axis).sum(axis=1)
    width = ((touching(np.pi / 2.0) - hull) * square).sum(axis=1)
    return float(angles[np.argmin((length + grow) * (width + grow))])
