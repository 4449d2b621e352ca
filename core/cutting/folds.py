# SPDX-License-Identifier: GPL-3.0-or-later
"""Take out foam without thickness: two triangles on the same three vertices, back to back round a region."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .cells import OUTSIDE, Tail
from .result import FROM_JOINT

IntArray = NDArray[np.int64]

_MIX: Final = 0x9E3779B97F4A7C1
"""An odd number without a pattern: products with it, which overflow, scatter vertex numbers over 64 bits."""


def close_folds(tail: Tail) -> Tail:
    """The tail with every fold closed: of its two triangles one is left, between the regions on its two far sides.

    Nothing that a region encloses changes. Two carved triangles back to back stay: they are skin that counts. Rows keep
    their places; those not needed any more lie between OUTSIDE and OUTSIDE.
    """
    rows = _same_corners(tail.triangles)
    t = np.sort(tail.triangles[rows], axis=1)
    order = np.lexsort((t[:, 2], t[:, 1], t[:, 0]))
    ordered = t[order]
    order = rows[order]
    same = (ordered[1:] == ordered[:-1]).all(axis=1)
    if not same.any():
        return tail
    below, above = tail.below.copy(), tail.above.copy()
    kind, source, origin = tail.kind.copy(), tail.source.copy(), tail.origin.copy()
    starts = np.flatnonzero(np.append(True, ~same))
    ends = np.append(starts[1:], len(order))
    for start, end in zip(starts[ends - starts > 1].tolist(), ends[ends - starts > 1].tolist(), strict=True):
        rows = order[start:end].tolist()
        for i in rows:
            for j in rows:
                if i == j or below[i] == above[i]:
                    continue
                turned = _turned(tail.triangles[i].tolist(), tail.triangles[j].tolist())
                if below[i] != OUTSIDE and below[i] == (below[j] if turned else above[j]):
                    side, far = below, int(above[j] if turned else below[j])
                    beyond = int(above[i])
                elif turned and above[i] != OUTSIDE and above[i] == above[j]:
                    side, far = above, int(below[j])
                    beyond = int(below[i])
                else:
                    continue
                if far == OUTSIDE == beyond:
                    continue
                side[i] = far
                if origin[i] == FROM_JOINT and origin[j] != FROM_JOINT:
                    kind[i], source[i], origin[i] = kind[j], source[j], origin[j]
                below[j] = above[j] = OUTSIDE
                if below[i] == above[i]:
                    below[i] = above[i] = OUTSIDE
    return Tail(tail.triangles, below, above, kind, source, origin)


def _same_corners(triangles: IntArray) -> IntArray:
    """Rows, rising, that may have all three vertices in common with another: those whose mixed numbers add up alike."""
    mixed = triangles * _MIX
    mixed ^= mixed >> 29
    total = (mixed * _MIX).sum(axis=1)
    ordered = np.sort(total)
    twice = ordered[1:][ordered[1:] == ordered[:-1]]
    if len(twice) == 0:
        return np.zeros(0, dtype=np.int64)
    at = np.minimum(np.searchsorted(twice, total), len(twice) - 1)
    return np.flatnonzero(twice[at] == total)


def _turned(one: list[int], two: list[int]) -> bool:
    """Whether two triangles on the same vertices run them opposite ways."""
    at = two.index(one[0])
    return two[(at + 1) % 3] != one[1]
