# SPDX-License-Identifier: GPL-3.0-or-later
"""Sizes and places as a carver says them: 140 mm across, low at the back."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray

_THIRDS: Final = (1.0 / 3.0, 2.0 / 3.0)
"""A place in the lowest, middle or highest third of the box is low, half way up or high; likewise across."""


def length(metres: float) -> str:
    """A length with two or three digits, in the unit that a tape shows."""
    if metres >= 1.0:
        return f"{metres:.2f} m"
    if metres >= 0.01:
        return f"{metres * 1e3:.0f} mm"
    return f"{metres * 1e3:.2g} mm"


def volume(cubic_metres: float) -> str:
    """Litres, or cubic metres from one up."""
    return f"{cubic_metres:.3g} m3" if abs(cubic_metres) >= 1.0 else f"{cubic_metres * 1e3:.3g} l"


def count(number: int, one: str, many: str = "") -> str:
    """Number and noun: 1 hole, 3 holes."""
    return f"{number:,} {one if number == 1 else many or one + 's'}"


def place(point: FloatArray, low: FloatArray, high: FloatArray) -> str:
    """Where a point lies in the box round the carving.

    Parameters
    ----------
    point, low, high : (3,) metres, z up. Front is where y is least, right where x is most, as one stands before it.

    Returns
    -------
    Such as ``low at the back``, ``high at the front left``, ``half way up, inside``.
    """
    span = np.where(high > low, high - low, 1.0)
    x, y, z = ((point - low) / span).tolist()
    height = "low" if z < _THIRDS[0] else "high" if z > _THIRDS[1] else "half way up"
    side = " ".join(
        word
        for word in (
            "front" if y < _THIRDS[0] else "back" if y > _THIRDS[1] else "",
            "left" if x < _THIRDS[0] else "right" if x > _THIRDS[1] else "",
        )
        if word
    )
    return f"{height} at the {side}" if side else f"{height} in the middle"


def side(x: float, y: float) -> str:
    """The side that lies in a level direction, one of eight: ``+x``, ``between +x and +y``."""
    names = ("+x", "between +x and +y", "+y", "between -x and +y", "-x", "between -x and -y", "-y", "between +x and -y")
    return names[int(np.round(np.arctan2(y, x) / (np.pi / 4.0))) % 8]


def coordinates(point: FloatArray) -> str:
    """Coordinates in metres, to a millimetre."""
    return "(" + ", ".join(f"{x + 0.0:.3f}" for x in np.round(point, 3).tolist()) + ") m"
