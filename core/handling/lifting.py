# SPDX-License-Identifier: GPL-3.0-or-later
"""Published guides to what one person lifts: the revised NIOSH lifting equation, and a weight filter by zone.

The equation is that of the Applications Manual for the Revised NIOSH Lifting Equation, DHHS (NIOSH) 94-110, read in a
transcription. It holds for one person who lifts with both hands; team carries, unstable loads and walking are outside
it. The filter is the figure of the British guidance INDG143, read in source code that redraws it; its own page says
that its values are not safe limits. Neither says what a person may lift: a competent person does.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class LiftUnits:
    """Constants of the equation in one system of units; the two systems differ by a percent or so.

    Attributes
    ----------
    load : most that is recommended in the best case. near : hands no nearer than this count as here.
    far : hands further out: no load. rest_height : best height of the hands. per_height : loss for each unit from it.
    top : hands higher: no load. travel : constant of the travel factor. short : shorter travel counts as this.
    long : longer travel: no load (from memory, unverified).
    """

    load: float
    near: float
    far: float
    rest_height: float
    per_height: float
    top: float
    travel: float
    short: float
    long: float


METRIC: Final = LiftUnits(23.0, 0.25, 0.63, 0.75, 0.3, 1.75, 0.045, 0.25, 1.75)
"""Kilograms and metres."""

INCH: Final = LiftUnits(51.0, 10.0, 25.0, 30.0, 0.0075, 70.0, 1.8, 10.0, 70.0)
"""Pounds and inches."""

_WIDEST_TWIST: Final = 135.0
"""Degrees of twist beyond which no load is recommended."""

POOR_GRIP: Final = 0.9
"""Coupling factor of a bulky load without handles, which carved foam is."""

_ROUNDING: Final = 1e-9
"""Relative: hands at the limit itself still count as within it."""


def recommended_load(
    out: float,
    height: float,
    travel: float,
    twist: float = 0.0,
    frequency: float = 1.0,
    coupling: float = POOR_GRIP,
    units: LiftUnits = METRIC,
) -> float:
    """Recommended weight limit of the revised NIOSH lifting equation.

    Parameters
    ----------
    out : level distance of the hands from the middle between the ankles.
    height : of the hands above the floor.
    travel : how far up or down the hands go.
    twist : degrees. frequency, coupling : factors out of the manual's tables; 1 for a lift every five minutes or
        rarer within an hour.
    units : `METRIC` (m, kg) or `INCH` (in, lb).

    Returns
    -------
    float
        In the units' own mass; 0 where the equation recommends no load at all.
    """
    beyond = 1.0 + _ROUNDING
    if (
        out > units.far * beyond
        or not 0.0 <= height <= units.top * beyond
        or travel > units.long * beyond
        or twist > _WIDEST_TWIST
    ):
        return 0.0
    reach = units.near / max(out, units.near)
    level = 1.0 - units.per_height * abs(height - units.rest_height)
    distance = 0.82 + units.travel / max(travel, units.short)
    return units.load * reach * level * distance * (1.0 - 0.0032 * twist) * frequency * coupling


def hands_out(depth: float, low: bool = False) -> float:
    """Distance of the hands from the ankles that the manual reckons for a load this deep, metres.

    20 cm and half the depth; 25 cm where it is lifted from below 25 cm (`low`).
    """
    return (0.25 if low else 0.20) + depth / 2.0


def average_frequency(lifts: float, minutes: float, period: float = 15.0) -> float:
    """Lifts a minute where `lifts` a minute are made during `minutes` of each period."""
    return lifts * minutes / period


FILTER: Final = {
    "above shoulder": ((10.0, 5.0), (7.0, 3.0)),
    "elbow to shoulder": ((20.0, 10.0), (13.0, 7.0)),
    "knuckle to elbow": ((25.0, 15.0), (16.0, 10.0)),
    "lower leg to knuckle": ((20.0, 10.0), (13.0, 7.0)),
    "below lower leg": ((10.0, 5.0), (7.0, 3.0)),
}
"""Weight filter, kg: zone -> (men, women), each (hands close to the body, at arm's length)."""

CARRY_ZONE: Final = "knuckle to elbow"
"""Where hands are as a piece is carried level; common practice, no source."""


def filter_load(zone: str, far: bool, women: bool) -> float:
    """The filter's value for one zone, kg: hands at arm's length where `far`."""
    return FILTER[zone][women][far]
