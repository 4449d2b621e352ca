# SPDX-License-Identifier: GPL-3.0-or-later
"""The largest circle that lies free on a face: where a mark has most room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_FIRST: Final = 12
"""Cells of the first look along the longer side."""

_NEAR: Final = 1e-3
"""Share of the longer side by which the circle may be smaller than the largest one."""

_FINE: Final = 1e-5
"""Metres: the last search stops at steps finer than this."""

_LOOK: Final = 1 << 20
"""Distances worked out together."""


@dataclass(frozen=True)
class Circle:
    """Centre and radius in the plane of the face, metres."""

    x: float
    y: float
    radius: float


def rim(triangles: IntArray) -> IntArray:
    """Edges that lie in one triangle only, (k, 2) vertex numbers: the border of a part of a surface."""
    edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    edges, count = np.unique(edges, axis=0, return_counts=True)
    border: IntArray = edges[count == 1]
    return border


def free_circle(faces: Sequence[tuple[FloatArray, IntArray]]) -> Circle | None:
    """The largest circle found that lies in every one of some faces, seen in one plane.

    Parameters
    ----------
    faces : of each its points (n, 2) in metres and its triangles (m, 3); a face must not fold over itself.

    Returns
    -------
    Circle or None
        None where the faces share no place.

    Notes
    -----
    Cells of a grid are thrown away or quartered: a circle round any point of a cell is at most the room at its middle
    plus half its diagonal larger. What is left is within a thousandth of the longer side of the largest; a few steps
    uphill follow.
    """
    points = [p for p, _ in faces]
    low = np.max([p.min(axis=0) for p in points], axis=0)
    high = np.min([p.max(axis=0) for p in points], axis=0)
    if not (high > low).all():
        return None
    borders = [p[rim(t)] for p, t in faces]
    side = float((high - low).max())
    cell = side / _FIRST
    counts = np.ceil((high - low) / cell).astype(np.int64)
    x, y = np.meshgrid(np.arange(counts[0]), np.arange(counts[1]))
    middles = low + (np.stack((x.ravel(), y.ravel()), axis=1) + 0.5) * cell
    best, at = 0.0, None
    while len(middles):
        room = _room(middles, borders)
        k = int(np.argmax(room))
        if room[k] > best:
            best, at = float(room[k]), middles[k]
        middles = middles[room + cell * np.sqrt(0.5) > best + _NEAR * side]
        cell /= 2.0
        middles = (middles[:, None] + np.array([[-1, -1], [-1, 1], [1, -1], [1, 1]]) * (cell / 2.0)).reshape(-1, 2)
    return None if at is None else _grown(at, best, _NEAR * side, np.concatenate(borders))


def _room(points: FloatArray, borders: Sequence[FloatArray]) -> FloatArray:
    """Distance to the nearest border inside all faces, negative outside any, (n,) metres."""
    out = np.full(len(points), np.inf)
    for border in borders:
        away = _distance(points, border)
        out = np.minimum(out, np.where(_inside(points, border), away, -away))
    return out


def _inside(points: FloatArray, segments: FloatArray) -> NDArray[np.bool_]:
    """Whether each point lies inside a border, (n,): a line to the right crosses it an odd number of times."""
    (ax, ay), (bx, by) = segments[:, 0].T, segments[:, 1].T
    rise = np.where(by == ay, 1.0, by - ay)
    out = np.empty(len(points), dtype=bool)
    step = max(1, _LOOK // max(len(segments), 1))
    for k in range(0, len(points), step):
        x, y = points[k : k + step, :1], points[k : k + step, 1:]
        crossed = ((ay > y) != (by > y)) & (ax + (y - ay) / rise * (bx - ax) > x)
        out[k : k + step] = crossed.sum(axis=1) % 2 == 1
    return out


def _distance(points: FloatArray, segments: FloatArray) -> FloatArray:
    """Distance of each point to the nearest of some segments (k, 2, 2), (n,) metres."""
    start, along = segments[:, 0], segments[:, 1] - segments[:, 0]
    square = (along**2).sum(axis=1)
    square[square == 0.0] = 1.0
    out = np.empty(len(points))
    step = max(1, _LOOK // max(len(segments), 1))
    for k in range(0, len(points), step):
        off = points[k : k + step, None] - start
        share = np.clip((off[..., 0] * along[:, 0] + off[..., 1] * along[:, 1]) / square, 0.0, 1.0)
        dx, dy = off[..., 0] - share * along[:, 0], off[..., 1] - share * along[:, 1]
        out[k : k + step] = np.sqrt((dx * dx + dy * dy).min(axis=1))
    return out


_WAYS: Final = tuple((float(np.cos(a)), float(np.sin(a))) for a in np.arange(8) * (np.pi / 4.0))


def _grown(at: FloatArray, room: float, cell: float, borders: FloatArray) -> Circle:
    step = cell
    ways = np.array(_WAYS)
    while step > _FINE:
        # A step shorter than the room cannot leave the face.
        tried = at + ways * min(step, 0.9 * room)
        rooms = _distance(tried, borders)
        k = int(np.argmax(rooms))
        if rooms[k] > room:
            at, room = tried[k], float(rooms[k])
        else:
            step /= 2.0
    return Circle(float(at[0]), float(at[1]), room)
