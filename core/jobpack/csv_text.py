# SPDX-License-Identifier: GPL-3.0-or-later
"""Tables as CSV text: RFC 4180, dot decimals, and text that no spreadsheet runs as a formula."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

Cell = str | int | float | None

DIGITS: Final = 9
"""Significant digits of a number in a table: a tenth of a micrometre on 10 m, far below what anyone measures."""

_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r")
_QUOTED: Final = frozenset(',"\r\n')


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """A table as RFC 4180 text: a header row, CRLF after every row, quotes only where they are needed.

    Parameters
    ----------
    header : column names, units in them.
    rows : cells: text, whole numbers, floats (9 significant digits, dot, no exponent) or None (empty cell).

    Raises
    ------
    ValueError
        A row of another length than the header, or a float that is not a finite number.
    """
    lines = [",".join(_quote(defuse(name)) for name in header)]
    for row in rows:
        if len(row) != len(header):
            raise ValueError(f"a row has {len(row)} cells under {len(header)} columns: {row!r}")
        lines.append(",".join(_cell(cell) for cell in row))
    return "".join(line + "\r\n" for line in lines)


def defuse(text: str) -> str:
    """Text that a spreadsheet shows instead of running: an apostrophe goes before a formula's first character."""
    return "'" + text if text.startswith(_FORMULA_STARTS) else text


def number_text(value: float) -> str:
    """A number with 9 significant digits, dot decimal, no exponent, no trailing zeros; never ``-0``."""
    if not math.isfinite(value):
        raise ValueError(f"{value!r} is not a finite number and cannot stand in a table")
    text = np.format_float_positional(value, precision=DIGITS, unique=False, fractional=False, trim="-")
    return "0" if text == "-0" else text


def _cell(cell: Cell) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        return _quote(defuse(cell))
    return str(cell) if isinstance(cell, int) else number_text(float(cell))


def _quote(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if _QUOTED.intersection(text) else text
