# SPDX-License-Identifier: GPL-3.0-or-later
"""All planes square to one direction through a part, weighed at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .image import ROW, boxed, gathered
from .part import Part

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


_NEAR: Final = 0.24
"""Metres of rows from which a profile takes its seams: most of its band."""


@dataclass(frozen=True, eq=False)
class Sweep:
    """Planes at every row border along w; borders k at (first_row + k) ROW.

    Attributes
    ----------
    w : (3,) direction. frame : (3, 3) two level axes and up; w is one of them.
    cost : (n,) weighted metres of line off seams. total : (n,) metres of visible line.
    spared : (n,) the most of the cost that a profile near each plane may save by the seams that there are.
    area : (n,) square metres.
    volume, mass : (n,) below each plane, without the joint's own skin.
    line : (n, 6) below each plane: what joints across each axis of the frame show, see `Samples.lines`.
    least, most : (n - 1, 3) along the frame, of what lies in each row; inf and -inf where nothing does.
    """

    w: FloatArray
    frame: FloatArray
    first_row: int
    cost: FloatArray
    total: FloatArray
    spared: FloatArray
    area: FloatArray
    volume: FloatArray
    mass: FloatArray
    line: FloatArray
    least: FloatArray
    most: FloatArray
    grow: float

    def at(self, border: int) -> float:
        """Offset along w of a border, metres."""
        return (self.first_row + border) * ROW

    def line_at(self, volume: FloatArray) -> FloatArray:
        """`line` below sheets with so much foam below them, (k, 6): as below planes with as much."""
        return np.stack([np.interp(volume, self.volume, column) for column in self.line.T], axis=1)

    @cached_property
    def low(self) -> FloatArray:
        """Box of what lies below each border, (n, 3) along the frame, metres, skin included."""
        up = np.maximum.accumulate(self.most) - np.minimum.accumulate(self.least)
        out: FloatArray = np.concatenate([np.zeros((1, 3)), np.maximum(up, 0.0)]) + self.grow
        return out

    @cached_property
    def high(self) -> FloatArray:
        """Box of what lies above each border."""
        down = (np.maximum.accumulate(self.most[::-1]) - np.minimum.accumulate(self.least[::-1]))[::-1]
        out: FloatArray = np.concatenate([np.maximum(down, 0.0), np.zeros((1, 3))]) + self.grow
        return out

    def between(self, low: IntArray, high: IntArray) -> FloatArray:
        """Boxes of what lies between borders, (k, 3); `low` before `high`."""
        out = np.empty((len(low), 3))
        for border in np.unique(low).tolist():
            rows = np.flatnonzero(low == border)
            top = int(high[rows].max())
            side = np.maximum.accumulate(self.most[border:top]) - np.minimum.accumulate(self.least[border:top])
            out[rows] = np.maximum(side, 0.0)[high[rows] - border - 1]
        return out + self.grow


def frame_of(part: Part, w: FloatArray) -> FloatArray:
    """Two level axes and up, (3, 3); `w` is one of them, level or upright."""
    one = np.array([np.cos(part.turn), np.sin(part.turn), 0.0]) if abs(w[2]) > 0.5 else w
    return np.stack([one, [-one[1], one[0], 0.0], [0.0, 0.0, 1.0]])


def sweep(part: Part, w: FloatArray) -> Sweep:
    """Weigh all planes square to `w`, which is level or upright."""
    of = part.of
    some, each, cells, each_cell = part.few
    points, normals = of.points[some], of.normals[some]
    frame = frame_of(part, w)
    sw = points @ w
    cw = of.cells.middles[cells] @ w
    fw = part.faces[:, :3] @ w
    every = np.concatenate([sw, cw, fw])
    first = int(np.floor(every.min() / ROW)) - 1
    rows = int(np.ceil(every.max() / ROW)) + 1 - first
    at = np.clip(sw / ROW - first - 0.5, 0.0, rows - 1.001)
    j = np.floor(at).astype(np.int64)
    share = at - j

    def spread(values: FloatArray) -> FloatArray:
        out = np.bincount(j, values * (1.0 - share), rows) + np.bincount(j + 1, values * share, rows)
        return np.asarray(out, dtype=np.float64)

    shown = of.lines(some, frame) * each
    along = int(np.argmax(np.abs(frame @ w)))
    lines = np.stack([spread(column) for column in shown.T], axis=1)
    cost = _even(lines[:, along]) / ROW
    level = np.sqrt(np.maximum(1.0 - (normals @ w) ** 2, 0.0)) * each
    total = _even(spread(level * of.seen[some])) / ROW
    # Metres of seam within a profile's reach of each row.
    follow = spread(level * of.spared[some])
    follow = boxed(follow, 0, _NEAR / ROW) * (_NEAR / ROW) / (2.0 * of.tolerance)
    skin = spread(of.skin[some]) * each
    skin += np.bincount(np.floor(fw / ROW).astype(np.int64) - first, part.faces[:, 3] * of.face_mass, rows)
    held = gathered(np.floor(cw / ROW).astype(np.int64) - first, of.cells.foam[cells] * each_cell, rows)
    held = boxed(held, 0, of.cells.step * float(np.abs(w).sum()) / ROW)
    volume = np.concatenate([[0.0], np.cumsum(held)])
    # Thinned sums are set right by the whole's.
    volume *= part.foam / volume[-1]
    mass = of.density * volume + np.concatenate([[0.0], np.cumsum(skin)]) * (part.laid / max(float(skin.sum()), 1e-12))
    line = np.concatenate([np.zeros((1, 6)), np.cumsum(lines, axis=0)])
    places = np.concatenate([points, part.faces[:, :3]]) @ frame.T
    row = np.clip(np.floor(np.concatenate([sw, fw]) / ROW).astype(np.int64) - first, 0, rows - 1)
    least, most = np.full((rows, 3), np.inf), np.full((rows, 3), -np.inf)
    order = np.argsort(row, kind="stable")
    start = np.flatnonzero(np.append(True, np.diff(row[order]) > 0))
    least[row[order[start]]] = np.minimum.reduceat(places[order], start)
    most[row[order[start]]] = np.maximum.reduceat(places[order], start)
    return Sweep(
        w,
        frame,
        first,
        _between(cost),
        _between(total),
        _between(np.minimum(cost, follow)),
        _between(boxed(held, 0, 3.0)) / ROW,
        volume,
        mass,
        line,
        least,
        most,
        of.grow,
    )


def _even(values: FloatArray) -> FloatArray:
    """Mean of five rows: a thinned part has few samples in one."""
    out: FloatArray = np.convolve(values, np.full(5, 0.2))[2:-2]
    return out


def _between(values: FloatArray) -> FloatArray:
    """Values of rows at their borders."""
    out = np.zeros(len(values) + 1)
    out[1:-1] = (values[1:] + values[:-1]) / 2.0
    return out
