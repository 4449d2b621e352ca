# SPDX-License-Identifier: GPL-3.0-or-later
"""All seams of a job in one place, to be asked how far off the nearest is and of which kind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from .near import Segments
from .sampling import surface_parts

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CREVICE: Final = 0
MARKED: Final = 1
GLUE_LINE: Final = 2
SEAM_NAMES: Final = ("crevice", "marked", "glue line")
"""As `joints.seams` of the job names them."""

_FIRST: Final = 2.0
"""Tolerances: the reach that is tried first for the nearest seam; then it is doubled."""

_TOGETHER: Final = 2048
"""Places that are looked at together where the reach is large and many seams are near each."""


class SeamIndex:
    """Seams of several kinds.

    Parameters
    ----------
    seams : kind of seam to the starts and ends of its segments, (k, 3) metres each.
    tolerance : metres within which a place counts as on a seam.
    """

    def __init__(self, seams: Mapping[int, tuple[FloatArray, FloatArray]], tolerance: float) -> None:
        starts, ends, kinds = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)]
        for kind in sorted(seams):
            start, end = seams[kind]
            starts.append(start)
            ends.append(end)
            kinds.append(np.full(len(start), kind, dtype=np.int64))
        self.tolerance = tolerance
        self.starts, self.ends, self.kinds = np.concatenate(starts), np.concatenate(ends), np.concatenate(kinds)

    def __len__(self) -> int:
        """Number of segments."""
        return len(self.starts)

    def nearest(self, points: FloatArray) -> tuple[FloatArray, IntArray]:
        """Distance to the nearest seam, (n,) metres, and its kind; inf and -1 where there is no seam at all."""
        away = np.full(len(points), np.inf)
        kind = np.full(len(points), -1, dtype=np.int64)
        if len(self) == 0 or len(points) == 0:
            return away, kind
        left = np.arange(len(points))
        reach = _FIRST * self.tolerance
        while len(left):
            near = Segments(self.starts, self.ends, reach)
            step = len(left) if reach <= 4.0 * self.tolerance else _TOGETHER
            for begin in range(0, len(left), step):
                rows = left[begin : begin + step]
                apart, which = near.nearest(points[rows])
                hit = which >= 0
                away[rows[hit]], kind[rows[hit]] = apart[hit], self.kinds[which[hit]]
            left = left[~np.isfinite(away[left])]
            reach *= 2.0
        return away, kind

    def on(self, points: FloatArray) -> NDArray[np.bool_]:
        """Which places lie within the tolerance of a seam."""
        apart, _ = Segments(self.starts, self.ends, self.tolerance).nearest(points)
        result: NDArray[np.bool_] = np.isfinite(apart)
        return result

    def chance(self, mesh: Mesh) -> float:
        """Share of the carved surface within the tolerance of a seam: what a line laid without a look would score."""
        points, areas = surface_parts(mesh, self.tolerance)
        total = float(areas.sum())
        return float(areas[self.on(points)].sum()) / total if total > 0.0 else 0.0
