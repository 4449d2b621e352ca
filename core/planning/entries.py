# SPDX-License-Identifier: GPL-3.0-or-later
"""What lies by the profiles of a fan: samples of skin with the line that they add, cells with the area."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.runs import runs
from .fans import Fan
from .image import COLUMN, RISE, RISES, ROW
from .part import LINE, line_density
from .samples import Samples

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STRETCH: Final = 0.16
"""Metres of u over which the foam along a wire is measured: some cells."""


@dataclass(frozen=True, eq=False)
class _Near:
    """Points by sheets of a fan: which sheet, which point, rise of the sheet there, metres along w over it."""

    sheet: IntArray
    point: IntArray
    rise: FloatArray
    above: FloatArray

    def some(self, keep: NDArray[np.bool_]) -> _Near:
        return _Near(self.sheet[keep], self.point[keep], self.rise[keep], self.above[keep])


def _near(points: FloatArray, fan: Fan, reach: FloatArray) -> _Near:
    """Points within some reach of each profile, metres along w for each rise that it may have."""
    high = points @ fan.w / ROW
    columns = fan.paths.shape[1] - 1
    rises = np.diff(fan.paths, axis=1)
    first = fan.paths[:, :columns] + (fan.first_row + 0.5)
    along = points @ fan.u / COLUMN - fan.first_column
    column = np.clip(along, 0.0, columns - 0.001).astype(np.int64)
    # A row for each column, far apart, with its points by height: what lies between two heights is one run of them.
    span = 4.0 * (float(np.abs(high).max(initial=0.0)) + float(np.abs(first).max()) + 1000.0)
    key = column * span + high
    order = np.argsort(key, kind="stable")
    key = key[order]
    base = np.arange(columns) * span
    far = (reach[rises + RISE] + 1e-6) / ROW
    begin = np.searchsorted(key, base + first + np.minimum(rises, 0) - far).ravel()
    count = np.searchsorted(key, base + first + np.maximum(rises, 0) + far).ravel() - begin
    which, turn = runs(count)
    point = order[begin[which] + turn]
    rise = rises.ravel()[which]
    strip = which % columns
    above = (high[point] - first.ravel()[which] - rise * (along[point] - strip)) * ROW
    found = _Near(which // columns, point, rise * (ROW / COLUMN), above)
    # Half open, and a hair aside, as in `split`: of two layers of cells a plane between them cuts one.
    return found.some((above + 1e-9 >= -reach[rise + RISE]) & (above + 1e-9 < reach[rise + RISE]))


@dataclass(frozen=True, eq=False)
class Entries:
    """How many entries each sheet of a fan has, and of each entry what it is of and two values."""

    count: IntArray
    name: IntArray
    values: tuple[NDArray[np.float32], NDArray[np.float32]]


def lines_by(of: Samples, fan: Fan) -> Entries:
    """Samples by each profile of a fan, and the metres of line that each adds: off seams, weighted, and on seams."""
    use = np.flatnonzero((of.worth > 0.0) | (of.seen > 0.0))
    # A steep sheet is further off along w than square to it.
    found = _near(of.points[use], fan, LINE * np.hypot(1.0, RISES * (ROW / COLUMN)))
    rows, rise = use[found.point], found.rise
    level = line_density(of.normals[rows] @ fan.w - rise * (of.normals[rows] @ fan.u), rise, found.above)
    off, on = of.worth[rows] * level, of.seen[rows] * of.seam[rows] * level
    count = np.bincount(found.sheet, minlength=len(fan.paths))
    return Entries(count, rows, (off.astype(np.float32), on.astype(np.float32)))


def areas_in(of: Samples, fan: Fan) -> Entries:
    """Cells that each profile of a fan cuts, the area that it has in each, as in `split`, and in which stretch of u."""
    cells = of.cells
    rises = RISES * (ROW / COLUMN)
    high = np.abs(fan.w[None, :] - rises[:, None] * fan.u[None, :]).sum(axis=1) * cells.step
    found = _near(cells.middles, fan, high / 2.0)
    column = np.floor(cells.middles @ fan.u / STRETCH).astype(np.int64)
    wide = high[np.rint(found.rise * (COLUMN / ROW)).astype(np.int64) + RISE] / np.hypot(1.0, found.rise)
    area = (cells.foam[found.point] / wide).astype(np.float32)
    stretch = (column - column.min(initial=0))[found.point].astype(np.float32)
    count = np.bincount(found.sheet, minlength=len(fan.paths))
    return Entries(count, found.point, (area, stretch))
