# SPDX-License-Identifier: GPL-3.0-or-later
"""Quantities as people write them ("2440 mm", "0.9 lb/ft3"), and the SI numbers that the core reckons with.

Factors are exact fractions, and a reading is rounded once: "2440 mm" gives the very float 2.44. Yard, foot, inch and
pound are those of the international yard and pound agreement of 1959 (1 yd = 0.9144 m, 1 lb = 0.45359237 kg); the
ounce is the avoirdupois ounce, the tonne is metric.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from decimal import Context, Decimal
from fractions import Fraction
from typing import Final, Literal, get_args

from .errors import JobError

Dimension = Literal["length", "mass", "density", "areal mass", "angle", "volume", "area"]
"""What a quantity measures. SI units: m, kg, kg/m3, kg/m2, rad, m3, m2."""

_INCH: Final = Fraction("0.0254")
_FOOT: Final = 12 * _INCH
_YARD: Final = 3 * _FOOT
_POUND: Final = Fraction("0.45359237")
_OUNCE: Final = _POUND / 16

UNITS: Final[Mapping[Dimension, Mapping[str, Fraction]]] = {
    "length": {
        "m": Fraction(1),
        "mm": Fraction(1, 1000),
        "cm": Fraction(1, 100),
        "km": Fraction(1000),
        "in": _INCH,
        "ft": _FOOT,
        "yd": _YARD,
    },
    "mass": {
        "kg": Fraction(1),
        "g": Fraction(1, 1000),
        "t": Fraction(1000),
        "oz": _OUNCE,
        "lb": _POUND,
    },
    "density": {
        "kg/m3": Fraction(1),
        "g/cm3": Fraction(1000),
        "g/l": Fraction(1),
        "lb/ft3": _POUND / _FOOT**3,
    },
    "areal mass": {
        "kg/m2": Fraction(1),
        "g/m2": Fraction(1, 1000),
        "oz/ft2": _OUNCE / _FOOT**2,
        "oz/yd2": _OUNCE / _YARD**2,
        "lb/ft2": _POUND / _FOOT**2,
    },
    "angle": {"rad": Fraction(1), "deg": Fraction(math.pi) / 180},
    "volume": {
        "m3": Fraction(1),
        "l": Fraction(1, 1000),
        "ml": Fraction(1, 10**6),
        "cm3": Fraction(1, 10**6),
        "ft3": _FOOT**3,
    },
    "area": {"m2": Fraction(1), "cm2": Fraction(1, 10**4), "ft2": _FOOT**2},
}
"""SI value of one unit, by dimension; the first of each is the SI unit itself."""

_SPELLINGS: Final = {
    "'": "ft",
    "\N{PRIME}": "ft",
    '"': "in",
    "\N{DOUBLE PRIME}": "in",
    "\N{DEGREE SIGN}": "deg",
    "L": "l",
}
_NUMBER: Final = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_QUANTITY: Final = re.compile(rf"((?:{_NUMBER})?)\s*(.*)", re.DOTALL)
_FEET_INCHES: Final = re.compile(
    "([+-]?)([0-9]+)\\s*(?:ft|'|\N{PRIME})\\s*([0-9]+(?:\\.[0-9]*)?)\\s*(?:in|\"|\N{DOUBLE PRIME})"
)
_POWER: Final = re.compile(r"[eE]([+-]?[0-9]+)$")
_NOT_FINITE: Final = re.compile(r"[+-]?(?:nan|inf)", re.IGNORECASE)
_LONGEST: Final = 80
"""Characters of a quantity that are looked at; more is no quantity."""
_WIDEST: Final = 500
"""A power of ten beyond this leaves the range of a float, whatever digits stand before it and whatever the unit."""


def with_article(noun: str) -> str:
    """Put the indefinite article before a noun: a mass, an angle."""
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def quoted(text: str) -> str:
    """Text in double quotes for a message, cut short where it is long."""
    return json.dumps(text if len(text) <= _LONGEST else text[: _LONGEST - 3] + "...", ensure_ascii=False)


def unit_factor(unit: str, dimension: Dimension) -> Fraction | None:
    """Return the SI value of one `unit`, or None where `dimension` has no such unit.

    The spellings ``m²``, ``m^2``, ``'``, ``"``, ``°`` and ``L`` are understood; upper and lower case differ.
    """
    plain = _SPELLINGS.get(unit, unit).replace("²", "2").replace("³", "3").replace("^", "")
    return UNITS[dimension].get(plain)


def parse_quantity(text: str, dimension: Dimension) -> float:
    """Read a number with a unit; the SI value is rounded once.

    Parameters
    ----------
    text : such as ``2440 mm``, ``0.9 lb/ft3``, ``8' 6"`` or ``8 ft 6 in`` (whole feet and under 12 inches; a sign
        counts for both). Zero needs no unit.
    dimension : what is needed.

    Returns
    -------
    float
        In m, kg, kg/m3, kg/m2, rad, m3 or m2; finite, of either sign.

    Raises
    ------
    JobError
        No number, no unit, an unknown unit, a unit of another dimension, or a value that is not finite.
    """
    stripped = text.strip()
    needed = f"{with_article(dimension)} is a number and one of {', '.join(UNITS[dimension])}"
    both = _FEET_INCHES.fullmatch(stripped) if dimension == "length" and len(stripped) <= _LONGEST else None
    if both:
        sign, feet, inches = both.groups()
        if Fraction(inches) >= 12:
            raise JobError(f"{quoted(text)} has 12 inches or more beside its feet")
        return _finite((int(feet) * _FOOT + Fraction(inches) * _INCH) * (-1 if sign == "-" else 1), text)
    if _NOT_FINITE.match(stripped):
        raise JobError(f"{quoted(text)} is not a finite number")
    match = _QUANTITY.fullmatch(stripped)
    if match is None or len(stripped) > _LONGEST:
        raise JobError(f"{quoted(text)} is no quantity: {needed}")
    number, unit = match.group(1), match.group(2)
    if not unit:
        if number and float(number) == 0.0:
            return 0.0
        raise JobError(f"{quoted(text)} has no {'unit' if number else 'number'}: {needed}")
    factor = unit_factor(unit, dimension)
    if factor is None:
        raise JobError(f"{quoted(text)} {_unit_problem(unit, dimension)}")
    if not number:
        raise JobError(f"{quoted(text)} has no number: {needed}")
    power = _POWER.search(number)
    if power is not None and abs(int(power.group(1))) > _WIDEST:
        return _finite(float(number), text)  # 0 or infinite in any unit, and no fraction of a size to match
    return _finite(Fraction(number) * factor, text)


def _unit_problem(unit: str, dimension: Dimension) -> str:
    if unit.startswith(","):
        return "has a comma in its number; the decimal sign is a dot"
    for other in get_args(Dimension):
        if unit_factor(unit, other) is not None:
            return f"is {with_article(other)} where {with_article(dimension)} is needed"
    return f"has an unknown unit {quoted(unit)}: {with_article(dimension)} takes one of {', '.join(UNITS[dimension])}"


def _finite(value: Fraction | float, text: str) -> float:
    number = _rounded(value)
    if not math.isfinite(number):
        raise JobError(f"{quoted(text)} is too large for a number")
    return number + 0.0


def _rounded(value: Fraction | float) -> float:
    try:
        return float(value)
    except OverflowError:
        return math.inf if value > 0 else -math.inf


def format_quantity(value: float, dimension: Dimension, unit: str | None = None, digits: int | None = None) -> str:
    """Write an SI value with a unit, such as ``"2440 mm"``.

    Parameters
    ----------
    value : SI value.
    dimension : what it measures.
    unit : one of its units; None: the SI unit.
    digits : significant digits; None: as few as read back (`parse_quantity`) as exactly `value`.

    Raises
    ------
    JobError
        The dimension has no such unit.
    """
    name = next(iter(UNITS[dimension])) if unit is None else unit
    factor = unit_factor(name, dimension)
    if factor is None:
        raise JobError(f"{quoted(name)} is no unit of {dimension}: one of {', '.join(UNITS[dimension])}")
    if not math.isfinite(value):
        return f"{float(value)!r} {name}"
    exact = Fraction(value) / factor
    for count in range(1, 18) if digits is None else (digits,):
        rounded = Context(prec=count).divide(Decimal(exact.numerator), Decimal(exact.denominator))
        if digits is not None or _rounded(Fraction(rounded) * factor) == value:
            break
    return f"{_plain(rounded)} {name}"


def _plain(number: Decimal) -> str:
    """Decimal digits without a power of ten where that stays readable, without trailing zeros after the dot."""
    if number and not -7 < number.adjusted() < 15:
        return f"{number.normalize():e}"
    digits = f"{number:f}"
    return digits.rstrip("0").rstrip(".") if "." in digits else digits
