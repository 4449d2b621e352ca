# SPDX-License-Identifier: GPL-3.0-or-later
"""All planes square to one direction through a part, weighed at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .image import ROW, boxed, gathered
from .part import Part

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Sweep:
    """Planes at every row border along w; borders k at (first_row + k) ROW.

    Attributes
    ----------
    w : (3,) direction.
    cost : (n,) weighted metres of line off seams. area : (n,) square metres.
    volume, mass : (n,) below each plane, without the joint's own skin.
    low, high : (n, 3) box of what lies below and above: length, width, height, metres, skin included.
    """

    w: FloatArray
    first_row: int
    cost: FloatArray
    area: FloatArray
    volume: FloatArray
    mass: FloatArray
    low: FloatArray
    high: FloatArray

    def at(self, border: int) -> float:
        """Offset along w of a border, metres."""
        return (self.first_row + border) * ROW


def sweep(part: Part, w: FloatArray) -> Sweep:
    """Weigh all planes square to `w`, which is level or upright."""
    of = part.of
    some, each, cells, each_cell = part.few
    points, normals = of.points[some], of.normals[some]
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

    nw = normals @ w
    level = np.sqrt(np.maximum(1.0 - nw * nw, 0.0))
    cost = _even(spread(level * of.worth[some])) * (each / ROW)
    skin = spread(of.skin[some]) * each
    skin += np.bincount(np.floor(fw / ROW).astype(np.int64) - first, part.faces[:, 3] * of.face_mass, rows)
    held = gathered(np.floor(cw / ROW).astype(np.int64) - first, of.cells.foam[cells] * each_cell, rows)
    held = boxed(held, 0, of.cells.step * float(np.abs(w).sum()) / ROW)
    volume = np.concatenate([[0.0], np.cumsum(held)])
    # Thinned sums are set right by the whole's.
    volume *= part.foam / volume[-1]
    mass = of.density * volume + np.concatenate([[0.0], np.cumsum(skin)]) * (part.laid / max(float(skin.sum()), 1e-12))
    low, high = _boxes(part, w, np.concatenate([points, part.faces[:, :3]]), np.concatenate([sw, fw]), first, rows)
    return Sweep(w, first, _between(cost), _between(boxed(held, 0, 3.0)) / ROW, volume, mass, low, high)


def _even(values: FloatArray) -> FloatArray:
    """Mean of five rows: a thinned part has few samples in one."""
    out: FloatArray = np.convolve(values, np.full(5, 0.2))[2:-2]
    return out


def _between(values: FloatArray) -> FloatArray:
    """Values of rows at their borders."""
    out = np.zeros(len(values) + 1)
    out[1:-1] = (values[1:] + values[:-1]) / 2.0
    return out


def _boxes(
    part: Part, w: FloatArray, places: FloatArray, along: FloatArray, first: int, rows: int
) -> tuple[FloatArray, FloatArray]:
    """Boxes of what lies below and above each border, in the frame of the direction."""
    grow = part.of.grow
    upright = abs(w[2]) > 0.5
    turn = part.turn
    one = np.array([np.cos(turn), np.sin(turn), 0.0]) if upright else w
    two = np.array([-one[1], one[0], 0.0])
    row = np.clip(np.floor(along / ROW).astype(np.int64) - first, 0, rows - 1)
    sides_low, sides_high = [], []
    for axis in (one, two, np.array([0.0, 0.0, 1.0])):
        x = places @ axis
        least, most = np.full(rows, np.inf), np.full(rows, -np.inf)
        np.minimum.at(least, row, x)
        np.maximum.at(most, row, x)
        up = np.maximum.accumulate(most) - np.minimum.accumulate(least)
        down = (np.maximum.accumulate(most[::-1]) - np.minimum.accumulate(least[::-1]))[::-1]
        sides_low.append(np.concatenate([[0.0], np.maximum(up, 0.0)]) + grow)
        sides_high.append(np.concatenate([np.maximum(down, 0.0), [0.0]]) + grow)
    out = []
    for a, b, c in (sides_low, sides_high):
        out.append(np.stack([np.maximum(a, b), np.minimum(a, b), c], axis=1))
    return out[0], out[1]
