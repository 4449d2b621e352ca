# SPDX-License-Identifier: GPL-3.0-or-later
"""Numbers for pieces and letters for joints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LETTERS: Final = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Without I and O, which read as 1 and 0 on foam; common practice, no source."""


def joint_letters(count: int) -> tuple[str, ...]:
    """Marks of joints in their order: A to Z, then AA, AB and so on."""
    out = []
    for number in range(count):
        mark = ""
        rest = number + 1
        while rest:
            rest, digit = divmod(rest - 1, len(LETTERS))
            mark = LETTERS[digit] + mark
        out.append(mark)
    return tuple(out)


def kept_letters(given: Sequence[str]) -> tuple[str, ...]:
    """Marks of joints of which some have theirs already: the others take the first letters that are free, in order.

    Parameters
    ----------
    given : mark of each joint, empty where it has none; no mark twice.
    """
    free = iter(mark for mark in joint_letters(2 * len(given)) if mark not in given)
    return tuple(mark or next(free) for mark in given)


def piece_order(centroids: Sequence[tuple[float, float, float]] | FloatArray, along: FloatArray) -> IntArray:
    """Order in which pieces are numbered: along the carving, then from bottom to top, then across.

    Parameters
    ----------
    centroids : (k, 3) metres. along : (3,) level unit direction.

    Returns
    -------
    (k,) int64: the pieces by their number. Differences under a millimetre do not count as an order.
    """
    points = np.asarray(centroids, dtype=np.float64).reshape(-1, 3)
    across = np.array([-along[1], along[0], 0.0])
    keys = np.round(np.stack([points @ across, points[:, 2], points @ along]), 3)
    order: IntArray = np.lexsort(keys).astype(np.int64)
    return order
