# SPDX-License-Identifier: GPL-3.0-or-later
"""Trails: what a joint may follow, by name, and which places lie on one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..seams.near import Segments, segments_of

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Trail:
    """Something a joint may follow.

    Attributes
    ----------
    name : for people, such as ``crevice 4``.
    starts, ends : (k, 3) metres, its segments.
    """

    name: str
    starts: FloatArray
    ends: FloatArray

    @classmethod
    def along(cls, name: str, line: FloatArray) -> Trail:
        """A trail along a polyline, (k, 3) metres."""
        return cls(name, *segments_of([line]))


def paint(points: FloatArray, trails: Sequence[Trail], tolerance: float) -> tuple[FloatArray, IntArray]:
    """Which points lie on a trail: the first two of `painted`."""
    seam, trail, _ = painted(points, trails, tolerance)
    return seam, trail


def painted(points: FloatArray, trails: Sequence[Trail], tolerance: float) -> tuple[FloatArray, IntArray, FloatArray]:
    """Which points lie on a trail, and which way it runs there.

    Parameters
    ----------
    points : (n, 3) metres. tolerance : metres from a trail that still count as on it.

    Returns
    -------
    seam : (n,) 1 on a trail, 0 off it. trail : (n,) the nearest trail, -1 off them.
    way : (n, 3) unit, which way the trail runs there; 0 off them.
    """
    which = np.full(len(points), -1, dtype=np.int64)
    way = np.zeros((len(points), 3))
    if trails:
        starts, ends = (np.concatenate([getattr(trail, name) for trail in trails]) for name in ("starts", "ends"))
        owner = np.repeat(np.arange(len(trails)), [len(trail.starts) for trail in trails])
        _, near = Segments(starts, ends, tolerance).nearest(points)
        on = np.flatnonzero(near >= 0)
        which[on] = owner[near[on]]
        run = (ends - starts)[near[on]]
        way[on] = run / np.maximum(np.sqrt((run * run).sum(axis=1)), 1e-12)[:, None]
    return (which >= 0).astype(np.float64), which, way
