# SPDX-License-Identifier: GPL-3.0-or-later
"""Planes at the rows of one direction through a part: what lies below each, and its area and line, all at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .image import ROW
from .part import LINE, Part, line_density

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_HAIR: Final = 1e-9
"""Rows, or metres, by which a place counts as further on: of two layers of cells a plane between them cuts one."""

_HALVES: Final = round(2.0 * LINE / ROW)
"""Half rows to either side of a plane whose samples stand for its line."""


@dataclass(frozen=True, eq=False)
class Rows:
    """Planes square to w at whole rows, n of them, on a part.

    Attributes
    ----------
    part : it. w : (3,) unit.
    first : row of the first plane, which lies below all of the part, as the last lies above it.
    foam, laid : (n,) cubic metres and kilograms of skin below each.
    area : (n,) square metres. off, on_seam : (n,) metres of line: off seams, weighted by what it costs, and on seams.
    """

    part: Part
    w: FloatArray
    first: int
    foam: FloatArray
    laid: FloatArray
    area: FloatArray
    off: FloatArray
    on_seam: FloatArray

    @classmethod
    def through(cls, part: Part, ways: FloatArray) -> list[Rows]:
        """All planes of several directions, (k, 3) unit."""
        of = part.of
        held, laid = of.cells.foam[part.cells], of.skin[part.skin]
        covered = part.faces[:, 3] * of.face_mass
        places = (of.cells.middles, part.cells), (of.points, part.skin), (of.normals, part.skin)
        *lies, across = (np.ascontiguousarray(ways @ np.take(x, rows, axis=0).T) for x, rows in places)
        worth, on_seam = of.worth[part.skin], of.seen[part.skin] * of.seam[part.skin]
        out = []
        for w, cells, skin, slant in zip(ways, *lies, across, strict=True):
            faces = part.faces[:, :3] @ w
            ends = [(float(x.min()), float(x.max())) for x in (cells, skin, faces) if len(x)]
            first = int(np.floor((min(low for low, _ in ends) - of.cells.step) / ROW)) - _HALVES
            count = int(np.ceil((max(high for _, high in ends) + of.cells.step) / ROW)) + _HALVES - first + 1
            foam = _below(cells, held, first, count)
            skins = _below(skin, laid, first, count) + _below(faces, covered, first, count)
            area = _areas(cells, held, of.cells.step * float(np.abs(w).sum()), first, count)
            level = np.sqrt(np.maximum(1.0 - slant * slant, 0.0)) * (1.0 / LINE)
            lines = _lines(skin, (worth * level, on_seam * level), first, count)
            out.append(cls(part, w, first, foam, skins, area, *lines))
        return out

    def at(self, rows: IntArray) -> IntArray:
        """Where rows are among these."""
        out: IntArray = np.clip(rows - self.first, 0, len(self.foam) - 1)
        return out

    def near(self, row: int) -> tuple[IntArray, FloatArray, FloatArray]:
        """Samples of the skin by a plane, and the metres of line off and on seams that each adds."""
        of = self.part.of
        along, order = self._skin
        found = order[slice(*np.searchsorted(along, [row * ROW - LINE, row * ROW + LINE]))]
        rows = self.part.skin[found]
        above = of.points[rows] @ self.w - row * ROW
        level = line_density(of.normals[rows] @ self.w, np.zeros(len(rows)), above)
        return rows, of.worth[rows] * level, of.seen[rows] * of.seam[rows] * level

    def met(self, row: int) -> tuple[IntArray, FloatArray]:
        """Cells that a plane cuts, and its area in each."""
        of = self.part.of
        along, order = self._cells
        wide = of.cells.step * float(np.abs(self.w).sum())
        ends = row * ROW - _HAIR + np.array([-wide, wide]) / 2.0
        cells = self.part.cells[order[slice(*np.searchsorted(along, ends))]]
        return cells, of.cells.foam[cells] / wide

    @cached_property
    def _skin(self) -> tuple[FloatArray, IntArray]:
        return _ordered(np.take(self.part.of.points, self.part.skin, axis=0) @ self.w)

    @cached_property
    def _cells(self) -> tuple[FloatArray, IntArray]:
        return _ordered(np.take(self.part.of.cells.middles, self.part.cells, axis=0) @ self.w)


def _ordered(along: FloatArray) -> tuple[FloatArray, IntArray]:
    order = np.argsort(along, kind="stable")
    return along[order], order


def _below(along: FloatArray, value: FloatArray, first: int, count: int) -> FloatArray:
    """Sum of what lies below each plane: planes lie at rows, so that it is told exactly by counting."""
    row = np.floor(along / ROW + _HAIR).astype(np.int64) - first
    out = np.zeros(count)
    np.cumsum(np.bincount(row, value, count)[: count - 1], out=out[1:])
    return out


def _areas(along: FloatArray, foam: FloatArray, wide: float, first: int, count: int) -> FloatArray:
    """Square metres of each plane, as in `split`: a cell, `wide` metres along w, adds to the rows inside it."""
    total = np.zeros(count + 1)
    for half, sign in ((-wide / 2.0, 1.0), (wide / 2.0, -1.0)):
        # The first plane that cuts it, and the first that does so no more.
        row = np.floor((along + (half + _HAIR)) / ROW).astype(np.int64) + (1 - first)
        total += sign * np.bincount(row, foam, count + 1)
    out: FloatArray = np.maximum(np.cumsum(total)[:count], 0.0) / wide
    return out


def _lines(along: FloatArray, values: Sequence[FloatArray], first: int, count: int) -> list[FloatArray]:
    """Metres of line of each plane, of values by samples; as `line_density` has it, here by half rows."""
    place = along * (2.0 / ROW) - 2.0 * first
    half = place.astype(np.int64)
    place -= half
    out = []
    for value in values:
        held = np.bincount(half, value, 2 * count)
        moved = np.bincount(half, value * place, 2 * count)
        line = np.zeros(count)
        # A sample weighs the less the further off it is, in a straight line to nothing `_HALVES` half rows away.
        for k in range(_HALVES):
            far = (1.0 - k / _HALVES) * held[k::2] - moved[k::2] / _HALVES
            line[: len(far)] += far
            late = (k + 2) // 2
            some = slice(2 * late - 1 - k, None, 2)
            far = (1.0 - (k + 1) / _HALVES) * held[some] + moved[some] / _HALVES
            line[late:] += far[: count - late]
        out.append(line)
    return out
