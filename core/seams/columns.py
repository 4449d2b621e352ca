# SPDX-License-Identifier: GPL-3.0-or-later
"""Where upright lines through the middles of a square grid pass through the surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..mesh.runs import runs

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Crossings:
    """Crossings of upright lines with the surface, in no order.

    Attributes
    ----------
    i, j : (k,) int32, the line's place along x and y, in cells.
    z : (k,) height, in cells.
    way : (k,) 1.0 where an upward walk enters the body, -1.0 where it leaves.
    """

    i: NDArray[np.int32]
    j: NDArray[np.int32]
    z: FloatArray
    way: FloatArray


def crossings(points: FloatArray, triangles: IntArray) -> Crossings:
    """All crossings of the lines x = i, y = j, for whole i and j, with the triangles.

    Parameters
    ----------
    points : (n, 3), in cells: a line runs through every whole x and y.
    triangles : (m, 3).

    Notes
    -----
    An edge crosses the row y = j where exactly one of its ends lies above the row, and the place is worked out from its
    lower to its higher vertex number. So both triangles at an edge find the same place, and the lines of a closed
    surface enter it as often as they leave it.
    """
    x, y, z = (np.ascontiguousarray(column) for column in points.T)
    a, b, c = (np.ascontiguousarray(column) for column in triangles.T)
    over = np.ceil(y).astype(np.int32)  # the first row that does not lie under the vertex
    low = np.minimum(np.minimum(over[a], over[b]), over[c])
    rows = np.maximum(np.maximum(over[a], over[b]), over[c]) - low
    some = np.flatnonzero(rows > 0)
    owner, turn = _spread(rows[some])
    owner = some[owner]
    j = low[owner] + turn
    corner = (a[owner], b[owner], c[owner])
    above = [over[vertex] > j for vertex in corner]
    # Of the three corners one is alone on its side of the row: its two edges cross the row.
    lone = np.where(above[0] == above[1], 2, np.where(above[0] == above[2], 1, 0))
    apex = np.choose(lone, corner)
    one = _at_row(x, y, apex, np.choose(lone, (corner[1], corner[2], corner[0])), j)
    two = _at_row(x, y, apex, np.choose(lone, (corner[2], corner[0], corner[1])), j)
    first = np.ceil(np.minimum(one, two)).astype(np.int32)
    count = np.ceil(np.maximum(one, two)).astype(np.int32) - first
    some = np.flatnonzero(count > 0)
    at, turn = _spread(count[some])
    at = some[at]
    i, j = first[at] + turn, j[at]
    leaves = (one[at] < two[at]) == np.choose(lone[at], [side[at] for side in above])
    rows = owner[at]
    return Crossings(i, j, _heights(x, y, z, (a[rows], b[rows], c[rows]), i, j), np.where(leaves, -1.0, 1.0))


def _spread(count: NDArray[np.int32]) -> tuple[IntArray, NDArray[np.int32]]:
    """Each index as often as `count` says, and which time it is."""
    owner, turn = runs(count)
    return owner, turn.astype(np.int32)


def _at_row(x: FloatArray, y: FloatArray, p: IntArray, q: IntArray, j: NDArray[np.int32]) -> FloatArray:
    """Where the edges p-q cross the rows j."""
    low, high = np.minimum(p, q), np.maximum(p, q)
    place: FloatArray = x[low] + (j - y[low]) / (y[high] - y[low]) * (x[high] - x[low])
    return place


def _heights(
    x: FloatArray,
    y: FloatArray,
    z: FloatArray,
    corner: tuple[IntArray, IntArray, IntArray],
    i: NDArray[np.int32],
    j: NDArray[np.int32],
) -> FloatArray:
    """Height of the triangles' planes over (i, j), kept between their lowest and highest corner."""
    p, q, r = corner
    px, py, pz = x[p], y[p], z[p]
    ux, uy, uz = x[q] - px, y[q] - py, z[q] - pz
    vx, vy, vz = x[r] - px, y[r] - py, z[r] - pz
    flat: FloatArray = ux * vy - uy * vx
    flat[flat == 0.0] = np.inf  # an upright triangle that rounding lets a line pass: its first corner will do
    rise = ((uy * vz - uz * vy) * (i - px) + (uz * vx - ux * vz) * (j - py)) / flat
    low, high = np.minimum(np.minimum(uz, vz), 0.0), np.maximum(np.maximum(uz, vz), 0.0)
    height: FloatArray = pz + np.clip(-rise, low, high)
    return height
