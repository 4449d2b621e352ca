# SPDX-License-Identifier: GPL-3.0-or-later
"""Numbers out of text, fast, and which of them cannot be used."""

from __future__ import annotations

import re
import warnings
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError

_REAL: Final = re.compile(rb"[+-]?(?:(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?|nan|inf(?:inity)?)", re.IGNORECASE)
_WHOLE: Final = re.compile(rb"[+-]?\d+")
_FAR: Final = 1e12
"""Coordinates beyond this are no lengths in any unit, and their cubes would leave the range of the arithmetic."""


class BadNumber(Exception):
    """A word that is not a number; `line` counts from 0 within the text that was parsed."""

    def __init__(self, word: str, line: int) -> None:
        super().__init__(word)
        self.word = word
        self.line = line


def parse_reals(text: bytes) -> NDArray[np.float64]:
    """All numbers of a text, between white space, (n,) float64; nan and inf are numbers here.

    Raises
    ------
    BadNumber
        The first word that is not a number.
    """
    if not text.strip():
        return np.zeros(0)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return np.fromstring(text, dtype=np.float64, sep=" ")
    except (DeprecationWarning, ValueError):
        raise _first_bad(text, _REAL) from None


def parse_wholes(text: bytes) -> NDArray[np.int64]:
    """All whole numbers of a text, between white space, (n,) int64; raises `BadNumber` as `parse_reals` does."""
    if not text.strip():
        return np.zeros(0, dtype=np.int64)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            return np.fromstring(text, dtype=np.int64, sep=" ")
    except (DeprecationWarning, ValueError):
        raise _first_bad(text, _WHOLE) from None


def unusable(points: NDArray[np.float32] | NDArray[np.float64]) -> tuple[int, str] | None:
    """Find the first point that cannot be used.

    Parameters
    ----------
    points : (n, 3) coordinates.

    Returns
    -------
    Its row and what is wrong with it, or None where all can be used.
    """
    bad = ~(np.abs(points) < _FAR)
    if not bad.any():
        return None
    row = int(np.flatnonzero(bad.any(axis=1))[0])
    value = float(points[row][bad[row]][0])
    return row, "too large for a length" if np.isfinite(value) else f"not a finite number ({value})"


def refuse_unusable(name: str, points: NDArray[np.float32] | NDArray[np.float64], what: str) -> None:
    """Raise InputError where a point cannot be used; rows are called `what`, counted from 0."""
    fault = unusable(points)
    if fault is not None:
        raise InputError(f"{name}: a coordinate of {what} {fault[0]} is {fault[1]}; repair the file or export it again")


def _first_bad(text: bytes, pattern: re.Pattern[bytes]) -> BadNumber:
    for number, line in enumerate(text.split(b"\n")):
        for word in line.split():
            if not pattern.fullmatch(word):
                return BadNumber(shown(word), number)
    return BadNumber("", 0)


def shown(word: bytes) -> str:
    """Text of a word as a message shows it: short and printable."""
    text = word[:40].decode("ascii", errors="replace")
    return "".join(c if c.isprintable() else "?" for c in text)
