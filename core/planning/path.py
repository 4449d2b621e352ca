# SPDX-License-Identifier: GPL-3.0-or-later
"""The best profile within a band, by dynamic programming over the columns of an image."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .image import COLUMN, RISE, RISES, ROW, Image

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_BEND: Final = 2e-3
"""Cost of a metre of slope 1, in metres of line: in air, where nothing else counts, the profile runs level."""

_STRAY: Final = 4e-3
"""Cost of a metre at the band's edge, in metres of line: of equal ways the one in the middle is taken."""

_PLAIN: Final = 0.004
"""Metres by which a knot may be left out: less than a hot wire's own melt."""


@dataclass(frozen=True, eq=False)
class Band:
    """Where a path is sought: `band` rows to either side of a row of an image."""

    image: Image
    centre: int


def best_paths(bands: Sequence[Band], band: int, depth_cost: float) -> list[tuple[float, IntArray]]:
    """Cheapest sheet in each band.

    Parameters
    ----------
    bands : images and the middle rows of the bands; columns may differ.
    band : rows to either side.
    depth_cost : what a square metre of joint costs, in metres of line.

    Returns
    -------
    For each band its cost in metres of line, and (columns + 1,) height of its path at the borders of columns, as a row
    index of the image; in the band throughout.

    Notes
    -----
    Bellman's recursion over the columns: the state is the row at a column's border, the step a rise of up to `RISE`
    rows. What a step costs in a column is read half way up its rise. Bands are worked on side by side; where an image
    has fewer columns than another, its path runs on level and free.
    """
    columns = max(one.image.depth.shape[0] for one in bands)
    wide, rises, count = 2 * band + 1, len(RISES), len(bands)
    fees = np.full((columns, count, wide, rises), np.inf)
    for b, one in enumerate(bands):
        mine = one.image.depth.shape[0]
        fees[:mine, b] = _fees(one.image, one.centre, band, depth_cost)
        fees[mine:, b, :, RISE] = 0.0
    padded = np.full((count, wide + 2 * RISE), np.inf)
    # padded[b, k + n] is what the row from which rise RISES[rises - 1 - n] comes to k has cost so far.
    window = np.lib.stride_tricks.sliding_window_view(padded, rises, axis=1)
    inner = padded[:, RISE : RISE + wide]
    inner[:] = 0.0
    total = np.empty((count, wide, rises))
    flat = total.reshape(-1)
    place = (np.arange(count * wide) * rises).reshape(count, wide)
    came = np.empty((columns, count, wide), dtype=np.int64)
    for c in range(columns):
        np.add(window, fees[c], out=total)
        best = came[c]
        total.argmin(axis=2, out=best)
        inner[:] = flat[place + best]
    end = inner.argmin(axis=1)
    every = np.arange(count)
    cost = inner[every, end]
    rows = np.empty((count, columns + 1), dtype=np.int64)
    rows[:, columns] = end
    for c in range(columns - 1, -1, -1):
        rows[:, c] = rows[:, c + 1] - RISE + came[c, every, rows[:, c + 1]]
    return [
        (float(cost[b]), rows[b, : one.image.depth.shape[0] + 1] + (one.centre - band)) for b, one in enumerate(bands)
    ]


def _fees(image: Image, centre: int, band: int, depth_cost: float) -> FloatArray:
    """What it costs in each column to come to each row, by each rise from the highest to the lowest."""
    wide = 2 * band + 1
    low = centre - band - RISE
    # All rows that a path may touch, with air where the image ends.
    span = np.arange(low, low + wide + 2 * RISE)
    inside = np.clip(span, 0, image.depth.shape[1] - 1)
    fall, level, rise_ = (image.cost[k][:, inside] for k in range(3))
    depth = image.depth[:, inside]
    out = np.empty((image.depth.shape[0], wide, len(RISES)))
    stray = (_STRAY * COLUMN) * (np.arange(-band, band + 1) / band) ** 2
    for k, rise in enumerate(RISES.tolist()):
        first = RISE - rise + int(rise / 2)
        at = slice(first, first + wide)
        slope = abs(rise) / RISE
        fee = out[:, :, len(RISES) - 1 - k]
        np.multiply(level[:, at], 1.0 - slope, out=fee)
        if rise:
            fee += (fall if rise < 0 else rise_)[:, at] * slope
        fee += (depth_cost * COLUMN * np.hypot(1.0, slope)) * depth[:, at]
        fee += stray + _BEND * COLUMN * slope
    return out


def knots(image: Image, rows: IntArray) -> FloatArray:
    """Profile of a path with a knot at every column, (k, 2) u and w in metres."""
    u = (image.first_column + np.arange(len(rows))) * COLUMN
    w = (image.first_row + rows + 0.5) * ROW
    return np.stack([u, w], axis=1)


def plain(points: FloatArray) -> FloatArray:
    """A polyline without the points that it stays within `_PLAIN` of (Douglas and Peucker 1973)."""
    keep = np.zeros(len(points), dtype=bool)
    keep[[0, -1]] = True
    todo = [(0, len(points) - 1)]
    while todo:
        a, b = todo.pop()
        if b - a < 2:
            continue
        run = points[b] - points[a]
        off = points[a + 1 : b] - points[a]
        away = np.abs(run[0] * off[:, 1] - run[1] * off[:, 0]) / np.hypot(run[0], run[1])
        far = int(np.argmax(away))
        if away[far] > _PLAIN:
            keep[a + 1 + far] = True
            todo += [(a, a + 1 + far), (a + 1 + far, b)]
    kept: FloatArray = points[keep]
    return kept
