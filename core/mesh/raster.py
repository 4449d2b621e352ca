# SPDX-License-Identifier: GPL-3.0-or-later
"""Triangles on a grid: which cells each one covers or touches, seen straight down."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .runs import runs_in_parts

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_CHUNK: Final = 1 << 19
"""Cells looked at together: some tens of megabytes of scratch."""

NOTHING: Final = -1
"""What a cell of `front` holds where no triangle is seen."""


@dataclass(frozen=True, eq=False)
class Fragments:
    """Pairs of a triangle and a cell, one row each.

    Attributes
    ----------
    triangle, column, row : (k,) int64, the triangle and its cell; cell (c, r) spans c to c + 1 and r to r + 1.
    height : (k,) the third coordinate of the triangle's plane over the middle of the cell.
    low, high : (k,) bounds of the third coordinate of the part of the triangle over the cell.
    middle : (k,) whether the middle of the cell lies in the triangle, borders included.
    """

    triangle: IntArray
    column: IntArray
    row: IntArray
    height: FloatArray
    low: FloatArray
    high: FloatArray
    middle: NDArray[np.bool_]


def flat_corners(vertices: FloatArray, triangles: IntArray) -> FloatArray:
    """Corners by axis, corner and triangle, (3, 3, m): the layout in which long rows are quick to go through."""
    rows = np.ascontiguousarray(triangles.T)
    return np.stack([np.ascontiguousarray(vertices[:, axis])[rows] for axis in range(3)])


def fragments(corners: FloatArray, touched: bool = False) -> Iterator[Fragments]:
    """Go through the cells of triangles in chunks.

    Parameters
    ----------
    corners : (3, 3, m) axis (x, y, height), corner, triangle; x and y in cells. Triangles edge-on have no cells.
    touched : every cell that the triangle touches; else only those whose middle it covers.

    Notes
    -----
    A cell is touched when the box test and the three edge tests, each moved out by half a cell, pass; that is exact
    for a triangle and a square. Bounds of the height are the plane's over the cell, held within the triangle's own.
    """
    x, y, z = corners
    area = (x[1] - x[0]) * (y[2] - y[0]) - (x[2] - x[0]) * (y[1] - y[0])
    keep = np.flatnonzero(area != 0.0)
    if len(keep) < len(area):
        x, y, z, area = x[:, keep], y[:, keep], z[:, keep], area[keep]
    shift = 0.0 if touched else 0.5
    first_c, first_r = (np.ceil(least_corner(a) - shift - touched).astype(np.int64) for a in (x, y))
    last_c, last_r = (np.floor(most_corner(a) - shift).astype(np.int64) for a in (x, y))
    wide, tall = np.maximum(last_c - first_c + 1, 0), np.maximum(last_r - first_r + 1, 0)
    count = wide * tall
    # Edge k runs from corner k to the next, its value positive inside; turned where the triangle is seen from below.
    turn = np.sign(area)
    ex = [(x[(k + 1) % 3] - x[k]) * turn for k in range(3)]
    ey = [(y[(k + 1) % 3] - y[k]) * turn for k in range(3)]
    dz1, dz2 = z[1] - z[0], z[2] - z[0]
    slope_x = (dz1 * (y[2] - y[0]) - dz2 * (y[1] - y[0])) / area
    slope_y = (dz2 * (x[1] - x[0]) - dz1 * (x[2] - x[0])) / area
    least, most = least_corner(z), most_corner(z)
    for rows, at in runs_in_parts(count, _CHUNK):
        column, row = first_c[rows] + at % wide[rows], first_r[rows] + at // wide[rows]
        inside = np.ones(len(rows), dtype=bool)
        middle = np.ones(len(rows), dtype=bool)
        for k in range(3):
            edge_x, edge_y = ex[k][rows], ey[k][rows]
            value = edge_x * (row + 0.5 - y[k][rows]) - edge_y * (column + 0.5 - x[k][rows])
            middle &= value >= 0.0
            if touched:
                inside &= value + 0.5 * (np.abs(edge_x) + np.abs(edge_y)) >= 0.0
        if not touched:
            inside = middle
        rows, column, row, middle = rows[inside], column[inside], row[inside], middle[inside]
        along, across = slope_x[rows], slope_y[rows]
        height = z[0][rows] + along * (column + 0.5 - x[0][rows]) + across * (row + 0.5 - y[0][rows])
        half = 0.5 * (np.abs(along) + np.abs(across))
        low, high = least[rows], most[rows]
        yield Fragments(
            keep[rows],
            column,
            row,
            np.clip(height, low, high),
            np.maximum(height - half, low),
            np.minimum(height + half, high),
            middle,
        )


def least_corner(rows: FloatArray) -> FloatArray:
    """Smallest of three corners, (3, m) to (m,)."""
    out: FloatArray = np.minimum(np.minimum(rows[0], rows[1]), rows[2])
    return out


def most_corner(rows: FloatArray) -> FloatArray:
    """Largest of three corners, (3, m) to (m,)."""
    out: FloatArray = np.maximum(np.maximum(rows[0], rows[1]), rows[2])
    return out


def front(corners: FloatArray, shape: tuple[int, int]) -> tuple[IntArray, FloatArray]:
    """Which triangle is seen first from above in each cell, and how high it is there.

    Parameters
    ----------
    corners : (3, 3, m) as for `fragments`; height rises towards the viewer.
    shape : rows and columns of the grid; cells outside it are left out.

    Returns
    -------
    (rows, columns) int64 triangle, `NOTHING` where there is none; (rows, columns) height, -inf there.
    """
    index = np.full(shape[0] * shape[1], NOTHING, dtype=np.int64)
    height = np.full(shape[0] * shape[1], -np.inf)
    for part in fragments(corners):
        use = (part.column >= 0) & (part.column < shape[1]) & (part.row >= 0) & (part.row < shape[0])
        cell, z, triangle = part.row[use] * shape[1] + part.column[use], part.height[use], part.triangle[use]
        order = np.lexsort((-triangle, z, cell))
        cell, z, triangle = cell[order], z[order], triangle[order]
        last = np.flatnonzero(np.append(cell[1:] != cell[:-1], True)) if len(cell) else np.zeros(0, dtype=np.int64)
        cell, z, triangle = cell[last], z[last], triangle[last]
        better = z > height[cell]
        height[cell[better]], index[cell[better]] = z[better], triangle[better]
    return index.reshape(shape), height.reshape(shape)
