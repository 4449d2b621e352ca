# SPDX-License-Identifier: GPL-3.0-or-later
"""Samples of a part as its limbs are judged by them, and which of them lie beyond faces of sheets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .blocks import Blocks, Face
from .part import Part

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_POINTS: Final = 4_000
"""About as many samples tell what lies between two faces."""


@dataclass(frozen=True, eq=False)
class View:
    """Samples of a part with the block that each belongs to.

    Attributes
    ----------
    points : (n, 3) of skin. block : (n,). skin : (n,) as in `Samples`, each for all it stands for.
    lines : (n, 6) what joints across three axes show, as in `Part.lines`.
    cells : (c, 3) middles of cells. cell_block, foam : (c,).
    """

    part: Part
    points: FloatArray
    block: IntArray
    skin: FloatArray
    lines: FloatArray
    cells: FloatArray
    cell_block: IntArray
    foam: FloatArray

    @classmethod
    def make(cls, part: Part, blocks: Blocks) -> View:
        """Samples of a part in blocks."""
        of = part.of
        local = np.full(len(of.cells.foam) + 1, -1, dtype=np.int64)
        local[part.cells] = blocks.of
        rows = part.skin[:: max(1, len(part.skin) // _POINTS)]
        each = len(part.skin) / max(len(rows), 1)
        block = local[of.home[rows]]
        rows, block = rows[block >= 0], block[block >= 0]
        cells = np.arange(0, len(part.cells), max(1, len(part.cells) // _POINTS))
        foam = of.cells.foam[part.cells[cells]]
        turn = part.turn
        frame = np.array([[np.cos(turn), np.sin(turn), 0.0], [-np.sin(turn), np.cos(turn), 0.0], [0.0, 0.0, 1.0]])
        shown = of.lines(rows, frame) * each
        for k in (0, 3):
            shown[:, k : k + 2] = shown[:, k : k + 2].mean(axis=1, keepdims=True)
        skin = of.skin[rows] * each
        # Joint faces that are there already weigh too; spread over the skin they are near enough.
        skin *= part.laid / max(float(skin.sum()), 1e-12)
        return cls(
            part,
            of.points[rows],
            block,
            skin,
            shown,
            of.cells.middles[part.cells[cells]],
            blocks.of[cells],
            foam * (part.foam / float(foam.sum())),
        )

    def point(self, face: Face) -> FloatArray:
        """A point on a face: of the foam by it the place nearest to its middle."""
        near = self.cells[face.near[self.cell_block]]
        if len(near) == 0:
            near = self.cells
        high = face.sheet.above(near)
        thick = np.flatnonzero(np.abs(high) < 2.0 * self.part.of.cells.step)
        near, high = (near[thick], high[thick]) if len(thick) else (near, high)
        k = int(np.argmin(((near - near.mean(axis=0)) ** 2).sum(axis=1)))
        out: FloatArray = near[k] - high[k] * face.sheet.w
        return out


@dataclass(frozen=True, eq=False)
class Sight:
    """Faces, with what lies above their sheets and what lies by them; (faces, n) of cells and of samples."""

    faces: list[Face]
    cells_up: BoolArray
    cells_near: BoolArray
    skin_up: BoolArray
    skin_near: BoolArray
    area: FloatArray

    @classmethod
    def make(cls, view: View, faces: list[Face], area: FloatArray) -> Sight:
        """Of some faces, `area` (faces,) square metres each."""
        return cls(
            faces,
            np.array([face.sheet.above(view.cells) >= 0.0 for face in faces]),
            np.array([face.near[view.cell_block] for face in faces]),
            np.array([face.sheet.above(view.points) >= 0.0 for face in faces]),
            np.array([face.near[view.block] for face in faces]),
            area,
        )

    def beyond(self, view: View, rows: IntArray, sides: BoolArray, start: int) -> tuple[BoolArray, BoolArray]:
        """For some faces, which cells and which samples lie on the side that `sides`, by blocks, leaves out.

        `start`: the face where a ring is opened, below which it begins and above which it ends; -1: none is.
        """
        up, near = self.cells_up[rows], self.cells_near[rows]
        inside = sides[:, view.cell_block]
        # By a face its own side counts; which that is, most of what is there tells.
        flip = ((up == inside) & near).sum(axis=1) * 2 < near.sum(axis=1)
        cells = np.where(near, up == flip[:, None], ~inside)
        skin = np.where(self.skin_near[rows], self.skin_up[rows] == flip[:, None], ~sides[:, view.block])
        if start >= 0:
            cells = np.where(self.cells_near[start], self.cells_up[start], cells)
            skin = np.where(self.skin_near[start], self.skin_up[start], skin)
        return cells, skin
