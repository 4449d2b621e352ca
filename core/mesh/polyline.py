# SPDX-License-Identifier: GPL-3.0-or-later
"""Polylines with fewer points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def simplified(points: FloatArray, reach: float) -> FloatArray:
    """A polyline with fewer points, none further than `reach` from the one given (Douglas and Peucker 1973)."""
    if len(points) < 3:
        return points
    keep = np.zeros(len(points), dtype=bool)
    keep[[0, -1]] = True
    stack = [(0, len(points) - 1)]
    if (points[0] == points[-1]).all():
        far = int(np.argmax(((points - points[0]) ** 2).sum(axis=1)))
        keep[far] = True
        stack = [(0, far), (far, len(points) - 1)]
    while stack:
        a, b = stack.pop()
        if b - a < 2:
            continue
        along = points[b] - points[a]
        square = float(along @ along)
        off = points[a + 1 : b] - points[a]
        share = np.clip(off @ along / square, 0.0, 1.0) if square > 0.0 else np.zeros(len(off))
        away = np.hypot(*(off - share[:, None] * along).T)
        k = int(np.argmax(away))
        if away[k] > reach:
            keep[a + 1 + k] = True
            stack += [(a, a + 1 + k), (a + 1 + k, b)]
    fewer: FloatArray = points[keep]
    return fewer
