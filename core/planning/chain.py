# SPDX-License-Identifier: GPL-3.0-or-later
"""The best series of joints through a part: which of many that may be made, none crossing another."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .need import Need
from .offers import Offers
from .part import Part
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_THIN: Final = 0.3
"""Share of a piece under which what two joints leave between them is not worth one."""

_SHORT: Final = 1e-3
"""Metres that a limit of size counts as at least: by one that nothing keeps it could be nothing."""

_LONG: Final = 3.0
"""Mass limits up to which a stretch between two joints is weighed."""


def least_stretch(part: Part, need: Need) -> float:
    """Kilograms under which what two joints leave between them is not worth a piece.

    Where size binds and not mass, a piece is a share of the part by its longest side.
    """
    sides = sorted(part.box, reverse=True)
    many = max(side / max(most, _SHORT) for side, most in zip(sides, sorted(need.size, reverse=True), strict=True))
    return _THIN * min(need.limit, part.mass / max(math.ceil(many), 1))


def stretches(found: Offers, need: Need, worth: Worth) -> tuple[FloatArray, FloatArray, IntArray]:
    """What lies between joints, and what the joints cost.

    Returns
    -------
    slab : (n + 2, n + 2) cost of what lies between joints i and j, in `order`; first and last stand for the ends of
        the part; inf where joints cross or leave next to nothing.
    fee : (n + 2,) cost of each joint. order : (n,) which of the offers they are.
    """
    of = found.part.of
    order = np.flatnonzero(found.serial)
    n = len(order)
    rows = np.concatenate([[0], order + 1, [len(found) + 1]])
    own = np.zeros(n + 2)
    own[1:-1] = (of.face_mass - of.density * of.gap / 2.0) * found.area[order]
    mass = (of.density * found.below[rows, 0]) + found.below[rows, 1]
    i, j = np.triu_indices(n + 2, 1)
    weighs = mass[j] - mass[i] + own[i] + own[j]
    # Long stretches only from an end: a series goes on from there.
    ends = (i == 0) | (j == n + 1)
    ok = (weighs > least_stretch(found.part, need)) & ((i > 0) | (j < n + 1))
    ok &= ends | (weighs < _LONG * need.limit)
    over = found.over[order].astype(np.float32)
    crossing = (1.0 - over) @ over.T > 0.5
    inner = (i > 0) & (j < n + 1)
    ok[inner] &= ~crossing[i[inner] - 1, j[inner] - 1]
    i, j = i[ok], j[ok]
    slab = np.full((n + 2, n + 2), np.inf)
    if len(i):
        slab[i, j] = found.between(rows[i], rows[j], need, worth)
    fee = np.zeros(n + 2)
    fee[1:-1] = found.fee[order]
    return slab, fee, order


def best_chains(
    slab: FloatArray, fee: FloatArray, order: IntArray, groups: NDArray[np.bool_]
) -> list[tuple[float, list[int]]]:
    """The series of joints with the least cost for each group of joints, (g, n): (cost, joints from low to high).

    A series has one joint at least; where a group has none the cost is infinite.
    """
    count = len(fee)
    best = np.full((len(groups), count), np.inf)
    came = np.full((len(groups), count), -1)
    best[:, 0] = 0.0
    mine = np.concatenate([groups, np.ones((len(groups), 1), dtype=bool)], axis=1)
    every = np.arange(len(groups))
    for j in range(1, count):
        total = best[:, :j] + slab[:j, j]
        k = total.argmin(axis=1)
        came[:, j] = k
        best[:, j] = np.where(mine[:, j - 1], total[every, k] + fee[j], np.inf)
    out: list[tuple[float, list[int]]] = []
    for g in range(len(groups)):
        chain: list[int] = []
        k = int(came[g, -1]) if np.isfinite(best[g, -1]) else 0
        while k > 0:
            chain.append(int(order[k - 1]))
            k = int(came[g, k])
        out.append((float(best[g, -1]), chain[::-1]))
    return out
