# SPDX-License-Identifier: GPL-3.0-or-later
"""Foam in cells: how much of each cell of an even grid a closed mesh fills, by upright rods."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh, bounds
from ..mesh.runs import runs

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_RODS: Final = 2
"""Rods through a cell along each level side: four of them tell the share of a cell on a slope to some hundredths."""

_AIR: Final = 0.02
"""Share of a cell under which it counts as air; what is left out is spread over the others."""

_ASIDE: Final = 0.31830988
"""Share of a rod's spacing by which rods stand aside of the grid lines: a number without a pattern, so that they miss
vertices and edges of regular shapes."""

_NEAR: Final = 1e-6
"""Spacings of rods within which one counts as met until it is looked at closely: far more than rounding."""

_CHUNK: Final = 1 << 19
"""Triangles looked at together: some tens of megabytes."""


@dataclass(frozen=True, eq=False)
class Cells:
    """Cells of a grid that hold foam.

    Attributes
    ----------
    middles : (n, 3) metres.
    foam : (n,) cubic metres in each.
    step : side of a cell, metres.
    pairs : (p, 2) cells that share a face.
    origin, shape : of the grid.
    number : (shape) index of the cell at each place of the grid, -1 in air.
    """

    middles: FloatArray
    foam: FloatArray
    step: float
    pairs: IntArray
    origin: FloatArray
    shape: tuple[int, int, int]
    number: IntArray

    def at(self, points: FloatArray) -> IntArray:
        """Index of the cell at or next to each point, (k,); -1 where none of the 27 round it holds foam."""
        place = np.floor((points - self.origin) / self.step).astype(np.int64)
        top = np.array(self.shape) - 1
        out = np.full(len(points), -1, dtype=np.int64)
        left = np.arange(len(points))
        for x, y, z in _NEAREST:
            near = np.clip(place[left] + (x, y, z), 0, top)
            found = self.number[near[:, 0], near[:, 1], near[:, 2]]
            out[left] = found
            left = left[found < 0]
            if len(left) == 0:
                break
        return out


_NEAREST: Final = sorted(
    ((x, y, z) for x in (0, -1, 1) for y in (0, -1, 1) for z in (0, -1, 1)),
    key=lambda row: (abs(row[0]) + abs(row[1]) + abs(row[2]), row),
)
"""A cell's own place and its 26 neighbours, from near to far."""


def foam_cells(mesh: Mesh, step: float, volume: float) -> Cells:
    """Cells that a closed mesh fills.

    Parameters
    ----------
    mesh : closed, outward, metres, z up.
    step : side of a cell, metres.
    volume : of the mesh, cubic metres; the cells are scaled to hold just that.

    Notes
    -----
    Each rod's crossings with the skin are signed by the way the triangle faces, so overlaps and hollows count as the
    winding number says. A rod whose signs do not cancel has met an edge by rounding; it is left out.
    """
    low, high = bounds(mesh.vertices)
    # Whole millimetres: the same cells for the same carving in single precision.
    origin = np.floor((low - step) * 1000.0) / 1000.0
    shape = np.ceil((high - origin) / step).astype(np.int64) + 1
    nx, ny, nz = (int(n) for n in shape)
    rods = (nx * _RODS, ny * _RODS)
    apart = step / _RODS
    share = np.zeros(rods[0] * rods[1] * (nz + 1))
    for begin in range(0, len(mesh.triangles), _CHUNK):
        rod, height, way = _hits(mesh, slice(begin, begin + _CHUNK), origin, apart, rods)
        level = (height - origin[2]) / step
        k = np.clip(np.floor(level).astype(np.int64), 0, nz - 1)
        part = level - k
        share += np.bincount(rod * (nz + 1) + k, way * (1.0 - part), len(share))
        share += np.bincount(rod * (nz + 1) + k + 1, way * part, len(share))
    stack = np.cumsum(share.reshape(-1, nz + 1), axis=1)
    stack[np.abs(stack[:, -1]) > 1e-6] = 0.0
    full = np.clip(stack[:, :nz], 0.0, None).reshape(nx, _RODS, ny, _RODS, nz).sum(axis=(1, 3)) / _RODS**2
    solid = full > _AIR
    if not solid.any():
        solid = full >= full.max()
    count = int(solid.sum())
    number = np.full(solid.shape, -1, dtype=np.int64)
    number[solid] = np.arange(count)
    place = np.argwhere(solid)
    foam = full[solid]
    foam = foam * (volume / foam.sum()) if foam.sum() > 0.0 else np.full(count, volume / count)
    pairs = []
    for axis in range(3):
        one = np.take(number, np.arange(shape[axis] - 1), axis=axis).ravel()
        two = np.take(number, np.arange(1, shape[axis]), axis=axis).ravel()
        both = (one >= 0) & (two >= 0)
        pairs.append(np.stack([one[both], two[both]], axis=1))
    return Cells(origin + (place + 0.5) * step, foam, step, np.concatenate(pairs), origin, (nx, ny, nz), number)


def _hits(
    mesh: Mesh, rows: slice, origin: FloatArray, apart: float, rods: tuple[int, int]
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Rod, height and way (1 into the foam, -1 out of it, going up) of each crossing of rods with triangles."""
    # Column by column: long rows are quick to go through.
    t = [np.ascontiguousarray(mesh.triangles[rows, k]) for k in range(3)]
    reach = []
    corner = []
    for k in (0, 1):
        level = (mesh.vertices[:, k] - origin[k]) / apart - 0.5 - _ASIDE / 8.0
        a, b, c = (np.take(level, vertex) for vertex in t)
        corner.append((a, b, c))
        reach.append((np.ceil(np.minimum(np.minimum(a, b), c)), np.floor(np.maximum(np.maximum(a, b), c))))
    (first_x, last_x), (first_y, last_y) = reach
    rank, nth = runs(np.maximum(last_x - first_x + 1.0, 0.0).astype(np.int64) * (last_y >= first_y))
    gx = first_x[rank] + nth
    # Long triangles aslant cover few of the rods in their box: between two of their edges at that x.
    low, high = np.full(len(rank), np.inf), np.full(len(rank), -np.inf)
    for k in range(3):
        ax, bx, ay, by = (np.take(level[i], rank) for level in corner for i in (k, k - 1))
        run = bx - ax
        share = np.clip(np.divide(gx - ax, run, out=np.zeros(len(run)), where=run != 0.0), 0.0, 1.0)
        y = ay + share * (by - ay)
        there = (np.minimum(ax, bx) <= gx) & (gx <= np.maximum(ax, bx))
        low, high = np.where(there, np.minimum(low, y), low), np.where(there, np.maximum(high, y), high)
    low = np.maximum(np.ceil(low - _NEAR), first_y[rank])
    high = np.minimum(np.floor(high + _NEAR), last_y[rank])
    at, nth = runs(np.maximum(high - low + 1.0, 0.0).astype(np.int64))
    owner, gx, gy = rank[at], gx[at].astype(np.int64), low[at].astype(np.int64) + nth
    ax, bx, cx = (np.take(x, owner) - gx for x in corner[0])
    ay, by, cy = (np.take(y, owner) - gy for y in corner[1])
    wa, wb, wc = bx * cy - cx * by, cx * ay - ax * cy, ax * by - bx * ay
    hit = ((wa > 0.0) & (wb > 0.0) & (wc > 0.0)) | ((wa < 0.0) & (wb < 0.0) & (wc < 0.0))
    hit &= (gx >= 0) & (gx < rods[0]) & (gy >= 0) & (gy < rods[1])
    some = np.flatnonzero(hit)
    wa, wb, wc, owner = wa[some], wb[some], wc[some], owner[some]
    turn = wa + wb + wc
    z = np.ascontiguousarray(mesh.vertices[:, 2])
    a, b, c = (z[vertex[owner]] for vertex in t)
    return gx[some] * rods[1] + gy[some], (wa * a + wb * b + wc * c) / turn, np.where(turn > 0.0, -1.0, 1.0)
