# SPDX-License-Identifier: GPL-3.0-or-later
"""Reading and writing of quantities; the factors themselves are checked against published ones elsewhere."""

import math
from fractions import Fraction
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st
from seamwright.core.errors import JobError
from seamwright.core.units import UNITS, Dimension, format_quantity, parse_quantity

PAIRS = [(dimension, unit) for dimension in get_args(Dimension) for unit in UNITS[dimension]]
FINITE = st.floats(allow_nan=False, allow_infinity=False)
ORDINARY = st.floats(min_value=1e-200, max_value=1e200) | st.just(0.0)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("2440 mm", "length", 2.44),
        ("2440mm", "length", 2.44),
        ("  244.0   cm ", "length", 2.44),
        ("0.00244 km", "length", 2.44),
        ("+2.44 m", "length", 2.44),
        (".5 m", "length", 0.5),
        ("5. m", "length", 5.0),
        ("24.4e2 mm", "length", 2.44),
        ("-3 mm", "length", -0.003),
        ("8 ft", "length", 2.4384),
        ("8'", "length", 2.4384),
        ("8′", "length", 2.4384),
        ('96"', "length", 2.4384),
        ("96″", "length", 2.4384),
        ("96 in", "length", 2.4384),
        ("8' 6\"", "length", 2.5908),
        ("8'6\"", "length", 2.5908),
        ("8 ft 6 in", "length", 2.5908),
        ("8ft 6.5in", "length", 2.6035),
        ("-8' 6\"", "length", -2.5908),
        ("0", "length", 0.0),
        ("-0.0", "angle", 0.0),
        ("1e-99999999999999999999999 mm", "length", 0.0),
        ("0.5 t", "mass", 500.0),
        ("250 g", "mass", 0.25),
        ("0.02 g/cm3", "density", 20.0),
        ("0.02 g/cm³", "density", 20.0),
        ("0.02 g/cm^3", "density", 20.0),
        ("15 g/l", "density", 15.0),
        ("450 g/m2", "areal mass", 0.45),
        ("450 g/m²", "areal mass", 0.45),
        ("180 deg", "angle", math.pi),
        ("180°", "angle", math.pi),
        ("2 rad", "angle", 2.0),
        ("1 l", "volume", 0.001),
        ("1 L", "volume", 0.001),
        ("1000 cm3", "volume", 0.001),
    ],
)
def test_reads_to_the_nearest_float(text, dimension, value):
    assert parse_quantity(text, dimension) == value


@pytest.mark.parametrize(
    ("text", "dimension", "says"),
    [
        ("50 mm", "mass", "is a length where a mass is needed"),
        ("50 kg", "length", "is a mass where a length is needed"),
        ("kg", "length", "is a mass where a length is needed"),
        ("4 oz", "areal mass", "is a mass where an areal mass is needed"),
        ("4 oz/ft2", "density", "is an areal mass where a density is needed"),
        ("1 l", "mass", "is a volume where a mass is needed"),
        ("1 rad", "length", "is an angle where a length is needed"),
        ("50", "length", "has no unit"),
        ("mm", "length", "has no number"),
        ("", "length", "has no number"),
        ("3 MM", "length", 'has an unknown unit "MM"'),
        ("3 Mm", "length", 'has an unknown unit "Mm"'),
        ("3 mm m", "length", 'has an unknown unit "mm m"'),
        ("3 4 mm", "length", 'has an unknown unit "4 mm"'),
        ("1/2 in", "length", 'has an unknown unit "/2 in"'),
        ("1_000 mm", "length", "has an unknown unit"),
        ("0x10 mm", "length", "has an unknown unit"),
        ("١ mm", "length", "has an unknown unit"),
        ("- 3 mm", "length", "has an unknown unit"),
        ("3,5 mm", "length", "the decimal sign is a dot"),
        ("8' 6", "length", "has an unknown unit"),
        ("8.5' 6\"", "length", "has an unknown unit"),
        ("8' 12\"", "length", "12 inches or more"),
        ("8' 6\"", "mass", "has an unknown unit"),
        ("nan mm", "length", "not a finite number"),
        ("-inf m", "length", "not a finite number"),
        ("1e999 mm", "length", "too large"),
        ("1e308 km", "length", "too large"),
        ("1e99999999999999999999999 m", "length", "too large"),
        ("1" * 100 + " m", "length", "is no quantity"),
    ],
)
def test_refuses(text, dimension, says):
    with pytest.raises(JobError) as caught:
        parse_quantity(text, dimension)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_every_unit_belongs_to_one_dimension():
    names = [unit for _, unit in PAIRS]
    assert len(names) == len(set(names))
    assert all(next(iter(UNITS[dimension].values())) == 1 for dimension in get_args(Dimension))


@pytest.mark.parametrize(("dimension", "unit"), PAIRS)
def test_every_unit_only_where_it_belongs(dimension, unit):
    assert parse_quantity(f"1 {unit}", dimension) == float(UNITS[dimension][unit])
    for other in get_args(Dimension):
        if other != dimension:
            with pytest.raises(JobError, match=f"where an? {other} is needed"):
                parse_quantity(f"1 {unit}", other)


@given(FINITE, st.sampled_from(get_args(Dimension)))
def test_si_text_gives_the_same_float(value, dimension):
    assert parse_quantity(format_quantity(value, dimension), dimension) == value


@given(ORDINARY, st.sampled_from(PAIRS))
def test_text_in_any_unit_gives_the_same_float(value, pair):
    dimension, unit = pair
    assert parse_quantity(format_quantity(value, dimension, unit), dimension) == value


@given(st.floats(min_value=1e-200, max_value=1e200), st.sampled_from(PAIRS))
def test_text_has_no_digit_to_spare(value, pair):
    """No text with one significant digit fewer reads as the same float."""
    dimension, unit = pair
    number = format_quantity(value, dimension, unit).split(" ")[0]
    digits = len(number.lower().split("e")[0].replace(".", "").strip("0"))
    if digits > 1:
        shorter = format_quantity(value, dimension, unit, digits=digits - 1)
        assert parse_quantity(shorter, dimension) != value


@given(st.decimals(min_value="-1e9", max_value="1e9", places=6), st.sampled_from(PAIRS))
def test_a_reading_is_rounded_once(number, pair):
    dimension, unit = pair
    assert parse_quantity(f"{number:f} {unit}", dimension) == float(Fraction(number) * UNITS[dimension][unit])


@pytest.mark.parametrize(
    ("value", "dimension", "unit", "digits", "text"),
    [
        (2.44, "length", None, None, "2.44 m"),
        (2.44, "length", "mm", None, "2440 mm"),
        (2.4384, "length", "ft", None, "8 ft"),
        (2.4384, "length", "'", None, "8 '"),
        (1 / 3, "length", "in", 4, "13.12 in"),
        (20000.0, "mass", None, None, "20000 kg"),
        (1234.5, "mass", None, 2, "1200 kg"),
        (1e22, "mass", None, None, "1e+22 kg"),
        (1.5e-9, "length", None, None, "1.5e-9 m"),
        (0.0, "angle", "deg", None, "0 deg"),
        (-0.0, "length", None, None, "0 m"),
        (math.inf, "length", None, None, "inf m"),
    ],
)
def test_writes(value, dimension, unit, digits, text):
    assert format_quantity(value, dimension, unit, digits) == text


def test_writing_in_a_unit_of_another_dimension_is_refused():
    with pytest.raises(JobError, match='"kg" is no unit of length'):
        format_quantity(1.0, "length", "kg")
