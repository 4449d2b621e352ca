# SPDX-License-Identifier: GPL-3.0-or-later
"""Sheets that may cut a part, and what lies between any two of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .need import Need
from .part import Part
from .sheaf import TURNS
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_SURE: Final = 0.006
"""Share of the mass limit that is added, as few samples weigh to about so much: a piece just under it may be over."""

_SHY: Final = 0.008
"""Metres by which a box is larger than the middles of what its bricks hold say."""


@dataclass(frozen=True, eq=False)
class Offers:
    """Sheets that may cut a part, n of them, from low to high by the volume below.

    Attributes
    ----------
    sheets : (n,) of the sheaf. serial : (n,) which of them series are made of.
    fee : (n,) cost as a joint, in pieces. area : (n,) square metres.
    below : (n + 2, 20) foam, kilograms of skin and `Samples.lines` for each turn below each; the first is nothing, the
        last all of the part.
    low, high : (n + 2, 7) along the sheaf's axes, of what is below each: least and greatest place. low_above,
        high_above : of what is above each.
    size : (7,) metres of the part along the axes, by all of its samples.
    over : (n, b) which of some bricks lie above each.
    """

    part: Part
    sheets: IntArray
    serial: BoolArray
    fee: FloatArray
    area: FloatArray
    below: FloatArray
    low: FloatArray
    high: FloatArray
    low_above: FloatArray
    high_above: FloatArray
    size: FloatArray
    over: BoolArray

    def __len__(self) -> int:
        return len(self.sheets)

    def between(self, i: IntArray, j: IntArray, need: Need, worth: Worth) -> FloatArray:
        """What the stretches from sheets i to sheets j come to, (k,); 0 and n + 1 stand for the part's ends."""
        of = self.part.of
        own = np.zeros(len(self) + 2)
        own[1:-1] = (of.face_mass - of.density * of.gap / 2.0) * self.area
        side = np.minimum(self.high[j], self.high_above[i]) - np.maximum(self.low[j], self.low_above[i])
        side = np.minimum(np.maximum(side, 0.0) + _SHY, self.size) + of.grow
        half = len(TURNS)
        turn = np.argmin(side[:, :half] * side[:, half : 2 * half], axis=1)
        k = np.arange(len(i))
        box = np.stack([side[k, turn], side[k, half + turn], side[:, -1]], axis=1)
        held = np.maximum(self.below[j] - self.below[i], 0.0)
        line = held[:, 2:].reshape(len(i), half, 6)[k, turn]
        mass = of.density * held[:, 0] + held[:, 1] + own[i] + own[j] + _SURE * need.limit
        return need.cost(box, np.maximum(held[:, 0], 1e-9), mass, line, worth)
