# SPDX-License-Identifier: GPL-3.0-or-later
"""The carving seen from above as a grid of heights: what stands where, and whether a tape runs free."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh, bounds
from ..mesh.raster import flat_corners, front

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_CELL: Final = 0.02
"""Metres: about the thickness of a hand that holds a tape off the foam."""

_MOST: Final = 1500
"""Cells along the longer side at most."""

_NEAR_END: Final = 0.06
"""Metres at either end of a tape where it may run along the foam."""

_GRAZE: Final = 0.01
"""Metres that a tape may press into a crest."""


@dataclass(frozen=True, eq=False)
class Heights:
    """Highest point of a body over each cell.

    Attributes
    ----------
    low, high : (3,) metres, the body's box.
    cell : metres.
    top : (rows, columns) metres, -inf where there is nothing; cell (r, c) begins at low + (c, r) cells.
    """

    low: FloatArray
    high: FloatArray
    cell: float
    top: FloatArray

    @classmethod
    def of(cls, mesh: Mesh) -> Heights:
        """Of a closed mesh, metres, z up."""
        low, high = bounds(mesh.vertices)
        cell = max(_CELL, float((high - low)[:2].max()) / _MOST)
        shape = (int((high[1] - low[1]) / cell) + 1, int((high[0] - low[0]) / cell) + 1)
        flat = (mesh.vertices - np.array([low[0], low[1], 0.0])) / np.array([cell, cell, 1.0])
        return cls(low, high, cell, front(flat_corners(flat, mesh.triangles), shape)[1])

    def middles(self, rows: IntArray, columns: IntArray) -> FloatArray:
        """Middles of cells, (k, 2) metres."""
        middles: FloatArray = self.low[:2] + (np.stack((columns, rows), axis=1) + 0.5) * self.cell
        return middles

    def at(self, points: FloatArray) -> FloatArray:
        """Height over points (..., 2 or 3), -inf beside the body."""
        cells = np.floor((points[..., :2] - self.low[:2]) / self.cell).astype(np.int64)
        column, row = cells[..., 0], cells[..., 1]
        known = (column >= 0) & (column < self.top.shape[1]) & (row >= 0) & (row < self.top.shape[0])
        out = np.full(row.shape, -np.inf)
        out[known] = self.top[row[known], column[known]]
        return out

    def clear(self, ends: FloatArray, others: FloatArray) -> NDArray[np.bool_]:
        """Whether a tape from each of `ends` (n, 3) to the point beside it in `others` (n, 3) runs free of the body.

        Seen from above only: under an overhang nothing counts as free.
        """
        length = np.linalg.norm(others - ends, axis=1)
        count = max(2, int(np.ceil(float(length.max(initial=0.0)) / self.cell)))
        share = (np.arange(count) + 0.5) / count
        out = np.ones(len(ends), dtype=bool)
        for start in range(0, len(ends), 512):
            part = slice(start, start + 512)
            at = ends[part, None] + share[None, :, None] * (others[part] - ends[part])[:, None]
            along = share[None] * length[part, None]
            inner = (along > _NEAR_END) & (along < length[part, None] - _NEAR_END)
            out[part] = ~((at[..., 2] < self.at(at) - _GRAZE) & inner).any(axis=1)
        return out
