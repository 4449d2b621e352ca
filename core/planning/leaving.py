# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether the wire of a joint through one limb comes out of the foam at both ends, told on cells of foam."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.wire import FEW, ROOM, air_past
from .blocks import Blocks, Face
from .part import Part, Sheet
from .sheaf import Sheaf

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_WHOLE: Final = 0.25
"""Share of a joint that no wire cuts from which it is sawn as a whole."""

_TURNS: Final = 6
"""Directions of a wire tried on a flat joint, 30 degrees apart: what stands round a limb is as thick as a limb."""


def sawn(share: float | FloatArray) -> float | FloatArray:
    """How much of the cost of sawing a joint takes, by the share of it where the wire cannot leave: soon all of it."""
    return np.minimum(np.asarray(share) / _WHOLE, 1.0)


def bound_share(sheet: Sheet, own: FloatArray, other: FloatArray, step: float) -> float:
    """Share of a face's wires that run into other foam less than `ROOM` past an end.

    Parameters
    ----------
    own, other : (n, 3), (m, 3) middles of cells on the sheet: those of the face, and those of other faces, metres.
    step : side of a cell, metres.

    Returns
    -------
    Of a flat sheet in the best direction; 0 where they are few enough to be cut by hand.
    """
    if len(own) == 0 or len(other) == 0:
        return 0.0
    least, along, across = 1.0, sheet.wire, sheet.u
    for turn in (np.arange(_TURNS if sheet.flat else 1) * (np.pi / _TURNS)).tolist():
        u, wire = np.cos(turn) * across + np.sin(turn) * along, np.cos(turn) * along - np.sin(turn) * across
        share = _bound(own @ u, own @ wire, other @ u, other @ wire, step)
        least = min(least, share)
        if least <= FEW:
            return 0.0
    return least


def bound_shares(part: Part, blocks: Blocks, faces: Sequence[Face], sheaf: Sheaf) -> FloatArray:
    """The same of faces of sheets of a sheaf through a part, (n,)."""
    of = part.of
    middles = of.cells.middles[part.cells]
    local = np.full(len(of.cells.foam), -1, dtype=np.int64)
    local[part.cells] = np.arange(len(part.cells))
    out = np.zeros(len(faces))
    sheet: Sheet | None = None
    rows: IntArray = np.zeros(0, dtype=np.int64)
    for k, face in enumerate(faces):
        # Faces of one sheet follow each other.
        if face.sheet is not sheet:
            sheet, rows = face.sheet, local[sheaf.met(face.name)[0]]
            rows = rows[rows >= 0]
            rows = rows[_on(sheet, middles[rows], of.cells.step)]
        near = face.near[blocks.of[rows]]
        out[k] = bound_share(face.sheet, middles[rows[near]], middles[rows[~near]], of.cells.step)
    return out


def _on(sheet: Sheet, middles: FloatArray, step: float) -> IntArray:
    """Rows of cells within half a cell of a sheet."""
    rise = sheet.slope(middles @ sheet.u)
    out: IntArray = np.flatnonzero(np.abs(sheet.above(middles)) <= 0.5 * step * np.sqrt(1.0 + rise * rise))
    return out


def _bound(own_u: FloatArray, own_v: FloatArray, u: FloatArray, v: FloatArray, step: float) -> float:
    """Share of rulings a cell apart; each cell reaches half a cell either way."""
    half = step / 2.0
    if v.min() - half > own_v.max() + half + ROOM or own_v.min() - half > v.max() + half + ROOM:
        return 0.0
    if u.min() > own_u.max() + step or own_u.min() > u.max() + step:
        return 0.0
    first = float(own_u.min())
    at = np.floor((own_u - first) / step + 0.5).astype(np.int64)
    low, high = np.full(int(at.max()) + 1, np.inf), np.full(int(at.max()) + 1, -np.inf)
    np.minimum.at(low, at, own_v - half)
    np.maximum.at(high, at, own_v + half)
    which = np.floor((u - first) / step + 0.5).astype(np.int64)
    keep = (which >= 0) & (which < len(low))
    keep[keep] = np.isfinite(low[which[keep]])
    air = air_past(low, high, which[keep], v[keep] - half, v[keep] + half)
    return float((air[np.isfinite(low)] < ROOM).mean())
