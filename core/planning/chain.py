# SPDX-License-Identifier: GPL-3.0-or-later
"""The best series of joints across one direction: which of many candidates, none crossing another."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .need import Need
from .part import Part
from .pool import Pool
from .sweep import Sweep
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

THIN: Final = 0.3
"""Share of a mass limit under which what two joints leave between them is not worth a piece."""

_LONG: Final = 7.0
"""Mass limits up to which a stretch between two joints is weighed."""


def slabs(part: Part, one: Sweep, pool: Pool, need: Need, worth: Worth) -> tuple[FloatArray, FloatArray, IntArray]:
    """What the slabs between joints come to, and what the joints cost.

    Returns
    -------
    slab : (n + 2, n + 2) cost of what lies between joints i and j, in `order`; first and last stand for the ends of
        the part; inf where joints cross or leave next to nothing.
    fee : (n + 2,) cost of each joint. order : (n,) joints from low to high.
    """
    of = part.of
    order = np.argsort(pool.volume, kind="stable")
    n = len(order)
    own = np.zeros(n + 2)
    own[1:-1] = (of.face_mass - of.density * of.gap / 2.0) * pool.area[order]
    volume = np.concatenate([[0.0], pool.volume[order], [part.foam]])
    mass = np.concatenate([[0.0], pool.mass[order], [float(one.mass[-1])]])
    line = np.concatenate([np.zeros((1, 6)), pool.line[order], one.line[-1:]])
    low = np.concatenate([[0], pool.low[order], [len(one.volume) - 1]])
    high = np.concatenate([[0], pool.high[order], [len(one.volume) - 1]])
    i, j = np.triu_indices(n + 2, 1)
    weighs = mass[j] - mass[i] + own[i] + own[j]
    # Long stretches only from an end: a series goes on from there.
    ends = (i == 0) | (j == n + 1)
    ok = (weighs > THIN * need.limit) & ((i > 0) | (j < n + 1)) & (high[j] > low[i])
    ok &= ends | (weighs < _LONG * need.limit)
    over = pool.over[order].astype(np.float32)
    crossing = (1.0 - over) @ over.T > 0.5
    inner = (i > 0) & (j < n + 1)
    ok[inner] &= ~crossing[i[inner] - 1, j[inner] - 1]
    i, j, weighs = i[ok], j[ok], weighs[ok]
    slab = np.full((n + 2, n + 2), np.inf)
    if len(i):
        box = one.between(low[i], high[j])
        slab[i, j] = need.cost(box, np.maximum(volume[j] - volume[i], 1e-9), weighs, line[j] - line[i], worth)
    fee = np.zeros(n + 2)
    fee[1:-1] = worth.line * pool.off[order] + worth.area * pool.area[order]
    return slab, fee, order


def best_chain(slab: FloatArray, fee: FloatArray, order: IntArray) -> tuple[float, list[int]]:
    """The series of joints with the least cost, (cost, joints from low to high); at least one joint."""
    count = len(fee)
    best = np.full(count, np.inf)
    came = np.full(count, -1)
    best[0] = 0.0
    for j in range(1, count):
        total = best[:j] + slab[:j, j]
        k = int(np.argmin(total))
        best[j], came[j] = total[k] + fee[j], k
    if not np.isfinite(best[-1]):
        return np.inf, []
    out = []
    k = int(came[-1])
    while k > 0:
        out.append(int(order[k - 1]))
        k = int(came[k])
    return float(best[-1]), out[::-1]


def best_single(slab: FloatArray, fee: FloatArray, order: IntArray) -> list[tuple[float, list[int]]]:
    """Single joints, the best first."""
    total = slab[0, 1:-1] + slab[1:-1, -1] + fee[1:-1]
    rank = np.argsort(total, kind="stable")
    return [(float(total[k]), [int(order[k])]) for k in rank.tolist() if np.isfinite(total[k])]
