# SPDX-License-Identifier: GPL-3.0-or-later
"""Which of several things hang together by pairs."""

from __future__ import annotations

import numpy as np

from ..mesh.mesh import IntArray


def numbered_parts(count: int, pairs: IntArray) -> IntArray:
    """Number of the connected group of each of `count` things, (count,), groups numbered by their first member."""
    root = list(range(count))

    def top(k: int) -> int:
        while root[k] != k:
            root[k] = root[root[k]]
            k = root[k]
        return k

    for a, b in pairs.tolist():
        low, high = sorted((top(a), top(b)))
        root[high] = low
    groups: IntArray = np.unique([top(k) for k in range(count)], return_inverse=True)[1].astype(np.int64)
    return groups
