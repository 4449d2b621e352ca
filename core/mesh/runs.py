# SPDX-License-Identifier: GPL-3.0-or-later
"""Rows that each stand for several: which row, and which of its times, without a loop over rows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
Counts = NDArray[np.signedinteger[Any]]


def runs(count: Counts) -> tuple[IntArray, IntArray]:
    """Each row as often as `count` says, (n,) int: the row, and which of its times it is, from 0; (sum,) int64 each."""
    row = np.repeat(np.arange(len(count)), count)
    first = np.cumsum(count, dtype=np.int64) - count
    return row, np.arange(len(row)) - np.repeat(first, count)


def runs_in_parts(count: Counts, most: int) -> Iterator[tuple[IntArray, IntArray]]:
    """As `runs`, whole rows at a time and about `most` times in a part, so that memory stays small; none empty."""
    done = np.cumsum(count, dtype=np.int64)
    start = 0
    while start < len(count):
        used = int(done[start - 1]) if start else 0
        stop = max(start + 1, int(np.searchsorted(done, used + most, side="right")))
        row, time = runs(count[start:stop])
        if len(row):
            yield row + start, time
        start = stop
