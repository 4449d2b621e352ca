# SPDX-License-Identifier: GPL-3.0-or-later
"""Triangles that are there twice, and triangles without area."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..mesh.mesh import IntArray
from .draft import BoolArray, Change, Draft
from .measure import flat_triangles
from .table import EdgeTable
from .words import count

_MIX: Final = (np.uint64(0x9E3779B97F4A7C15), np.uint64(0x243F6A8885A308D3), np.uint64(0x13198A2E03707345))
"""Odd constants of multiplicative mixing; a poor mix costs time, never a wrong answer."""


def double_groups(triangles: IntArray) -> tuple[IntArray, IntArray]:
    """Triangles with the same three corners, whichever way round.

    Returns
    -------
    rows, group : (k,) int64, triangles that are not alone, sorted by group, and the number of their group.
    """
    a, b, c = (np.ascontiguousarray(column) for column in triangles.T)
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    middle = a + b + c - low - high
    mixed = np.zeros(len(triangles), dtype=np.uint64)
    for part, factor in zip((low, middle, high), _MIX, strict=True):
        mixed ^= part.astype(np.uint64)
        mixed *= factor
        mixed ^= mixed >> np.uint64(29)
    ordered = np.sort(mixed)
    again = ordered[1:][ordered[1:] == ordered[:-1]]
    empty = np.zeros(0, dtype=np.int64)
    if not len(again):
        return empty, empty
    at = np.searchsorted(again, mixed)
    rows = np.flatnonzero(again[np.minimum(at, len(again) - 1)] == mixed)
    order = np.lexsort((rows, high[rows], middle[rows], low[rows]))
    rows = rows[order]
    key = np.stack([low[rows], middle[rows], high[rows]], axis=1)
    new = np.ones(len(rows), dtype=bool)
    new[1:] = (key[1:] != key[:-1]).any(axis=1)
    group = np.cumsum(new) - 1
    alone = np.bincount(group)[group] == 1
    rows, group = rows[~alone], group[~alone]
    return rows, np.unique(group, return_inverse=True)[1].astype(np.int64)


def drop_doubles(draft: Draft) -> tuple[Draft, tuple[Change, ...]]:
    """Leave out triangles that are there twice and those without area that keep the surface from closing.

    Of triangles on the same three corners the first stays where the surface round them needs one, and none where it
    closes without. A triangle in a line stays where both neighbours hang on it: it does no harm, and without it there
    would be a crack.
    """
    changes = []
    triangles = draft.mesh.triangles
    table = EdgeTable.of(triangles)
    owner = np.repeat(np.arange(len(table.start)), table.count)
    edge = np.empty(len(owner), dtype=np.int64)
    edge[table.half] = owner
    edge = edge.reshape(-1, 3)
    drop = np.zeros(len(triangles), dtype=bool)
    rows, group = double_groups(triangles)
    if len(rows):
        size = np.bincount(group)
        first = np.searchsorted(group, np.arange(len(size)))
        rest = table.count[edge[rows[first]]] - size[:, None]
        along = _ways(triangles[rows])
        forward = np.bincount(group, weights=along, minlength=len(size))
        lone = (rest == 0).all(axis=1)
        needed = np.where(lone, 2 * forward != size, (rest % 2 == 1).sum(axis=1) >= 2)
        drop[rows] = True
        drop[rows[first[needed]]] = False
        number = int(drop.sum())
        changes.append(Change("doubles", f"{count(number, 'triangle')} that lay on another left out", number))
    flat = flat_triangles(draft.mesh) & ~drop
    flat &= (table.count[edge] != 2).any(axis=1)
    if flat.any():
        number = int(flat.sum())
        changes.append(Change("doubles", f"{count(number, 'triangle')} without area left out", number))
    drop |= flat
    return (draft.keep(~drop) if drop.any() else draft), tuple(changes)


def _ways(triangles: IntArray) -> BoolArray:
    """Whether each triangle runs its corners, from the lowest, to the middle one first."""
    turned = triangles[np.arange(len(triangles))[:, None], (triangles.argmin(axis=1)[:, None] + np.arange(3)) % 3]
    way: BoolArray = turned[:, 1] < turned[:, 2]
    return way
