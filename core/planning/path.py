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

BAND: Final = 15
"""Rows to either side of its middle that a profile may stray."""

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
    laid = [_fees(image, band, depth_cost) for image in images]
    # All fees in one row by rises; at each one's end what a band reads that has no column any more: level and free.
    air = np.full((rises, wide + 2 * RISE), np.inf)
    air[RISE] = 0.0
    fees = np.concatenate([*(part.reshape(rises, -1) for part in laid), air], axis=1)
    which = {id(image): k for k, image in enumerate(images)}
    mine = np.array([which[id(one.image)] for one in bands])
    start = np.cumsum([0, *(part[0].size for part in laid)])
    high = np.array([part.shape[2] for part in laid])[mine]
    last = np.array([len(image.depth) for image in images])[mine]
    centre = np.clip([one.centre for one in bands], 0, high - 1 - 2 * (band + RISE))
    # Where a step of each rise is read that comes to the lowest row of each band in the first column: (rises, bands).
    skew = RISE - RISES + np.trunc(RISES / 2.0).astype(np.int64) + np.arange(rises) * fees.shape[1]
    first = skew[:, None] + start[mine] + centre
    ended = np.broadcast_to((skew + start[-1])[:, None], first.shape)
    fees = fees.ravel()
    over = sorted(set(last.tolist()))
    stray = np.broadcast_to((_STRAY * COLUMN) * (np.arange(-band, band + 1) / band) ** 2, (count, wide)).copy()
    # What it costs to come to each row at the border before each column; no step begins outside the band.
    total = np.full((columns + 1, count, wide + 2 * RISE), np.inf)
    # before[c, n, b, k]: the row from which a step of rise RISES[n] comes to row k.
    before = np.moveaxis(np.lib.stride_tricks.sliding_window_view(total, rises, axis=2), 3, 1)[:, ::-1]
    inner = total[:, :, RISE : RISE + wide]
    inner[0] = 0.0
    place = first[:, :, None] + np.arange(wide)
    step = np.broadcast_to(high[None, :, None], place.shape).copy()
    fee = np.empty((rises, count, wide))
    for c in range(columns):
        if c in over:
            gone = last == c
            place[:, gone] = ended[:, gone, None] + np.arange(wide)
            step[:, gone] = 0
            stray[gone] = 0.0
        # Places are in range by how they are made; "clip" only spares the check.
        fees.take(place, out=fee, mode="clip")
        np.add(fee, before[c], out=fee)
        np.minimum.reduce(fee, axis=0, out=inner[c + 1])
        inner[c + 1] += stray
        place += step
    every = np.arange(count)
    path = np.empty((count, columns + 1), dtype=np.int64)
    path[:, columns] = inner[columns].argmin(axis=1)
    cost = inner[columns, every, path[:, columns]]
    # The way back: by which rise each step came is found again along the one path of each band.
    for c in range(columns - 1, -1, -1):
        here = path[:, c + 1]
        tried = fees.take(np.where(c < last, first + c * high, ended) + here) + before[c][:, every, here]
        path[:, c] = here - RISES[tried.argmin(axis=0)]
    return [
        (float(cost[b]), path[b, : one.image.depth.shape[0] + 1] + (one.centre - band)) for b, one in enumerate(bands)
    ]


def _fees(image: Image, band: int, depth_cost: float) -> FloatArray:
    """What a step of each rise costs in each column that is half way up in each row, (rises, columns, rows).

    Row k of the image is at k + band + RISE; beyond the image is air.
    """
    columns, height = image.depth.shape
    shares = np.abs(RISES) / RISE
    parts = np.zeros((len(RISES), 4))
    parts[:, 0] = np.where(RISES < 0, shares, 0.0)
    parts[:, 1] = 1.0 - shares
    parts[:, 2] = np.where(RISES > 0, shares, 0.0)
    parts[:, 3] = depth_cost * COLUMN * np.hypot(1.0, shares)
    every = np.concatenate([image.cost.reshape(3, -1), image.depth.reshape(1, -1)])
    inside = np.clip(np.arange(-band - RISE, height + band + RISE), 0, height - 1)
    out: FloatArray = (parts @ every).reshape(len(RISES), columns, height)[:, :, inside]
    out += (_BEND * COLUMN * shares)[:, None, None]
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
