# SPDX-License-Identifier: GPL-3.0-or-later
"""Images of a part seen along the wire: what a sheet through each place costs, and what lies below it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .part import Part

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

COLUMN: Final = 0.04
"""Width of a column along u, metres: the length of a profile's segments."""

ROW: Final = 0.01
"""Height of a row along w, metres: a fifth of a seam's width."""

RISE: Final = 4
"""Rows that a profile may rise over one column: a slope of 1."""

RISES: Final = np.arange(-RISE, RISE + 1)

_FAR: Final = 16
"""Rows of air above and below the part."""


@dataclass(frozen=True, eq=False)
class Image:
    """A part in (u, w).

    Attributes
    ----------
    first_column, first_row : index of the first column and row: column i runs from i COLUMN to (i + 1) COLUMN.
    cost : (3, columns, rows) weighted metres of line off seams that a sheet makes in a column where it falls with
        slope 1, runs level, rises with slope 1.
    depth : (columns, rows) metres of foam along the wire.
    """

    first_column: int
    first_row: int
    cost: FloatArray
    depth: FloatArray


@dataclass(frozen=True, eq=False)
class Slab:
    """What of a part is looked at.

    Attributes
    ----------
    points, normals, worth : of samples where a joint line costs something; worth in square metres times the weight.
    middles, foam, step : of cells.
    """

    points: FloatArray
    normals: FloatArray
    worth: FloatArray
    middles: FloatArray
    foam: FloatArray
    step: float

    def near(self, middle: FloatArray, w: FloatArray, reach: float) -> Slab:
        """What lies within `reach` metres of the plane through `middle` square to `w`."""
        height = float(middle @ w)
        skin = np.abs(self.points @ w - height) < reach
        cells = np.abs(self.middles @ w - height) < reach
        return Slab(
            self.points[skin], self.normals[skin], self.worth[skin], self.middles[cells], self.foam[cells], self.step
        )


def whole_slab(part: Part) -> Slab:
    """All of a part."""
    of = part.of
    worth = of.worth[part.skin]
    some = part.skin[worth > 0.0]
    cells = of.cells
    return Slab(
        of.points[some], of.normals[some], of.worth[some], cells.middles[part.cells], cells.foam[part.cells], cells.step
    )


def make_image(slab: Slab, u: FloatArray, w: FloatArray) -> Image:
    """Image along u x w.

    Notes
    -----
    A patch of skin of area A and normal n is met by the sheets w = W(u) + t, slope p, over lengths that add up to
    A sqrt(1 + p^2 - (n_w - p n_u)^2) dt (coarea formula). Samples are shared between the two nearest columns and rows,
    so that a sample near a border does not jump.
    """
    axes = np.stack([u, w], axis=1)
    s = slab.points @ axes
    c = slab.middles @ axes
    both = np.concatenate([s, c]) if len(s) else c
    column = int(np.floor(both[:, 0].min() / COLUMN)) - 1
    row = int(np.floor(both[:, 1].min() / ROW)) - _FAR
    columns = int(np.ceil(both[:, 0].max() / COLUMN)) + 1 - column
    rows = int(np.ceil(both[:, 1].max() / ROW)) + _FAR - row
    n = slab.normals @ axes
    nu, nw = n[:, 0], n[:, 1]
    x, y = s[:, 0] / COLUMN - (column + 0.5), s[:, 1] / ROW - (row + 0.5)
    i, j = x.astype(np.int64), y.astype(np.int64)
    x -= i
    y -= j
    base = i * rows + j
    index = np.concatenate([base, base + 1, base + rows, base + rows + 1])
    share = slab.worth * (1.0 / ROW) * np.stack([(1.0 - x) * (1.0 - y), (1.0 - x) * y, x * (1.0 - y), x * y])
    cost = np.empty((3, columns, rows))
    for k, p in enumerate((-1.0, 0.0, 1.0)):
        length = np.sqrt(np.maximum(1.0 + p * p - (nw - p * nu) ** 2, 0.0))
        cost[k] = np.bincount(index, (share * length).ravel(), columns * rows).reshape(columns, rows)
    place = _bin(c[:, 0], COLUMN, column) * rows + _bin(c[:, 1], ROW, row)
    held = gathered(place, slab.foam, columns * rows)
    wide, high = slab.step * np.abs(u).sum() / COLUMN, slab.step * np.abs(w).sum() / ROW
    depth = boxed(boxed(held.reshape(columns, rows), 1, high), 0, wide + 1.0) / (COLUMN * ROW)
    return Image(column, row, _soft(cost), depth)


def _bin(x: FloatArray, step: float, first: int) -> IntArray:
    place: IntArray = np.floor(x / step).astype(np.int64) - first
    return place


def gathered(place: IntArray, values: NDArray[Any], count: int) -> FloatArray:
    """Sum of the values at each of `count` places."""
    total: FloatArray = np.bincount(place, values, count).astype(np.float64, copy=False)
    return total


def _soft(image: FloatArray) -> FloatArray:
    """Smoothed along w over three rows; nothing is lost in the air round the part."""
    out: FloatArray = image * 0.5
    out[..., 1:] += 0.25 * image[..., :-1]
    out[..., :-1] += 0.25 * image[..., 1:]
    return out


def boxed(values: FloatArray, axis: int, width: float) -> FloatArray:
    """Each value spread evenly over `width` places of an axis, one or more, about its own."""
    width = max(width, 1.0)
    reach = int((width - 1.0) / 2.0)
    rim = (width - (2 * reach + 1)) / 2.0
    values = np.moveaxis(values, axis, 0)
    count = len(values)
    # Sums up to each place, with nothing before the first and all after the last.
    total = np.zeros((count + 2 * reach + 3, *values.shape[1:]))
    np.cumsum(values, axis=0, out=total[reach + 2 : reach + 2 + count])
    total[reach + 2 + count :] = total[reach + 1 + count]
    full = total[2 * reach + 2 : 2 * reach + 2 + count] - total[1 : 1 + count]
    wide = total[2 * reach + 3 : 2 * reach + 3 + count] - total[:count]
    out: FloatArray = np.moveaxis(full * (1.0 - rim) + wide * rim, 0, axis) / width
    return out
