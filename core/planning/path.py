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
    images = list({id(one.image): one.image for one in bands}.values())
    every = {id(image): _fees(image, band, depth_cost) for image in images}
    # Bands of one image stand side by side: `mine` tells which.
    mine = {id(image): np.array([b for b, one in enumerate(bands) if one.image is image]) for image in images}
    rows = {
        key: np.clip(
            np.array([bands[b].centre for b in mine[key].tolist()])[:, None] + np.arange(wide)[None, :],
            0,
            every[key].shape[1] - 1,
        )
        for key in mine
    }
    stray = ((_STRAY * COLUMN) * (np.arange(-band, band + 1) / band) ** 2)[None, :, None]
    padded = np.full((count, wide + 2 * RISE), np.inf)
    # padded[b, k + n] is what the row from which rise RISES[rises - 1 - n] comes to k has cost so far.
    window = np.lib.stride_tricks.sliding_window_view(padded, rises, axis=1)
    inner = padded[:, RISE : RISE + wide]
    inner[:] = 0.0
    free = np.full(rises, np.inf)
    free[RISE] = 0.0
    fee = np.empty((count, wide, rises))
    flat = fee.reshape(-1)
    place = (np.arange(count * wide) * rises).reshape(count, wide)
    came = np.empty((columns, count, wide), dtype=np.int64)
    for c in range(columns):
        for image in images:
            key = id(image)
            if c < image.depth.shape[0]:
                fee[mine[key]] = every[key][c][rows[key]] + stray
            else:
                fee[mine[key]] = free
        fee += window
        best = came[c]
        fee.argmin(axis=2, out=best)
        inner[:] = flat[place + best]
    end = inner.argmin(axis=1)
    all_bands = np.arange(count)
    cost = inner[all_bands, end]
    path = np.empty((count, columns + 1), dtype=np.int64)
    path[:, columns] = end
    for c in range(columns - 1, -1, -1):
        path[:, c] = path[:, c + 1] - RISE + came[c, all_bands, path[:, c + 1]]
    return [
        (float(cost[b]), path[b, : one.image.depth.shape[0] + 1] + (one.centre - band)) for b, one in enumerate(bands)
    ]


def _fees(image: Image, band: int, depth_cost: float) -> FloatArray:
    """What it costs in each column to come to each row, by each rise from the highest to the lowest.

    (columns, rows + 2 band, rises): row k of the image is at k + band; beyond the image is air.
    """
    columns, height = image.depth.shape
    span = np.arange(-band - RISE, height + band + RISE)
    inside = np.clip(span, 0, height - 1)
    fall, level, rise_ = (image.cost[k][:, inside] for k in range(3))
    depth = (depth_cost * COLUMN) * image.depth[:, inside]
    rows = height + 2 * band
    out = np.empty((columns, rows, len(RISES)))
    for k, rise in enumerate(RISES.tolist()):
        first = RISE - rise + int(rise / 2)
        at = slice(first, first + rows)
        slope = abs(rise) / RISE
        fee = level[:, at] * (1.0 - slope)
        if rise:
            fee += (fall if rise < 0 else rise_)[:, at] * slope
        fee += np.hypot(1.0, slope) * depth[:, at] + _BEND * COLUMN * slope
        out[:, :, len(RISES) - 1 - k] = fee
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
