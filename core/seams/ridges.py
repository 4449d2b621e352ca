# SPDX-License-Identifier: GPL-3.0-or-later
"""From folds at the vertices to ordered lines along the bottoms of valleys.

Vertices that fold inwards form bands. Each is moved across its band to where the fold is strongest, told from its
neighbours; the moved points are thinned, each is linked to the next before and behind it, and what is linked long
enough is a line.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .near import Cells, pairs_within, squares

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

WEAK: Final = np.radians(12.0)
"""Folds below this say nothing about where a valley's bottom lies."""

_REACH: Final = 2.2
"""Scales: how far round a point its band is looked at; wider than a valley's half, narrower than two beds apart."""

_SHARPNESS: Final = 4
"""Power of the fold by which places are weighed: the bottom counts far more than the walls."""

_START: Final = 0.6
"""Scales between the points that are moved onto the bottom, at least: the strongest of each place will do."""

_SPACING: Final = 0.8
"""Scales between the points of a line, at least."""

_LINK: Final = 3.0
"""Scales: the longest step from one point of a line to the next."""

_ALONG: Final = 0.5
"""Cosine: a step may lie so far off the line's direction."""


@dataclass(frozen=True, eq=False)
class Ridge:
    """Points moved onto the bottoms of valleys.

    Attributes
    ----------
    points : (k, 3) metres. way : (k, 3) unit, along the valley. fold : (k,) radians.
    """

    points: FloatArray
    way: FloatArray
    fold: FloatArray


def ridge(vertices: FloatArray, fold: NDArray[np.float32], scale: float) -> Ridge:
    """Valley bottoms from folds, (n,) radians at vertices (n, 3) metres."""
    start, strength = _gathered(vertices, fold, scale)
    weight = (strength - WEAK) ** _SHARPNESS
    keep = _thinned(start, strength, _START * scale)
    place = start[keep]
    way = np.zeros_like(place)
    for _ in range(2):
        place, way = _across(place, start, weight, _REACH * scale)
    return Ridge(place, way, strength[keep])


def _gathered(vertices: FloatArray, fold: NDArray[np.float32], scale: float) -> tuple[FloatArray, FloatArray]:
    """Mean place and fold of the folded vertices in each cell of half a scale: evens out how dense the mesh is."""
    rows = np.flatnonzero(fold > WEAK)
    points = vertices[rows]
    if len(rows) == 0:
        return np.zeros((0, 3)), np.zeros(0)
    cell = np.floor((points - points.min(axis=0)) / (0.5 * scale)).astype(np.int64)
    shape = cell.max(axis=0) + 1
    key = (cell[:, 0] * shape[1] + cell[:, 1]) * shape[2] + cell[:, 2]
    _, group = np.unique(key, return_inverse=True)
    group = group.reshape(-1)
    weight = fold[rows].astype(np.float64) - WEAK
    total = np.bincount(group, weight)
    place = np.stack([np.bincount(group, weight * column) for column in points.T], axis=1) / total[:, None]
    return place, WEAK + total / np.bincount(group)


def _across(place: FloatArray, fixed: FloatArray, weight: FloatArray, reach: float) -> tuple[FloatArray, FloatArray]:
    """Each place moved, square to the band, to the weighted mean of the fixed points round it; and the band's way."""
    cells = Cells(fixed, reach)
    pairs = [pair for pair in cells.runs(cells.key(place)) if len(pair[0])]
    if not pairs:
        return place, np.zeros_like(place)
    one, two = (np.concatenate(part) for part in zip(*pairs, strict=True))
    count = len(place)
    square = squares(np.take(place, one, axis=0) - np.take(fixed, two, axis=0))
    near = square <= reach**2
    one, two, square = one[near], two[near], square[near]
    near = weight[two] * np.exp(-2.0 * square / reach**2)
    total = np.maximum(np.bincount(one, near, minlength=count), 1e-300)
    sums = [np.bincount(one, near * fixed[two, k], minlength=count) for k in range(3)]
    mean = np.stack(sums, axis=1) / total[:, None]
    off = np.take(fixed, two, axis=0) - np.take(mean, one, axis=0)
    spread = np.empty((count, 3, 3))
    for a in range(3):
        for b in range(a, 3):
            spread[:, a, b] = spread[:, b, a] = np.bincount(one, near * off[:, a] * off[:, b], minlength=count) / total
    way = np.linalg.eigh(spread)[1][:, :, 2]
    move = mean - place
    return place + move - way * (move * way).sum(axis=1)[:, None], way


def link(found: Ridge, scale: float) -> list[IntArray]:
    """Chains of points of the ridge, in order; a closed one repeats its first point."""
    keep = _thinned(found.points, found.fold, _SPACING * scale)
    points, way = found.points[keep], found.way[keep]
    one, two, apart = pairs_within(points, _LINK * scale)
    differ = one != two
    one, two, apart = one[differ], two[differ], apart[differ]
    cosine = ((points[two] - points[one]) * way[one]).sum(axis=1) / np.maximum(apart, 1e-300)
    on = np.full(len(points), -1, dtype=np.int64)
    back = np.full(len(points), -1, dtype=np.int64)
    for ahead, target in ((cosine > _ALONG, on), (cosine < -_ALONG, back)):
        # Straight and near comes first; of equals the lower number.
        rows = np.flatnonzero(ahead)
        cost = apart[rows] * (2.0 - np.abs(cosine[rows]))
        rows = rows[np.lexsort((two[rows], cost, one[rows]))]
        first = np.flatnonzero(np.append(True, one[rows][1:] != one[rows][:-1])) if len(rows) else rows
        target[one[rows[first]]] = two[rows[first]]
    links = [np.where(_answers(on, back, target), target, -1) for target in (on, back)]
    return [keep[chain] for chain in _chains(links[0], links[1])]


def _answers(on: IntArray, back: IntArray, target: IntArray) -> BoolArray:
    """Whether the point that each one links to links back to it."""
    me = np.arange(len(target))
    to = np.maximum(target, 0)
    result: BoolArray = (target >= 0) & ((on[to] == me) | (back[to] == me))
    return result


def _thinned(points: FloatArray, fold: FloatArray, spacing: float) -> IntArray:
    """Points no nearer to each other than `spacing`, the strongest first."""
    count = len(points)
    if count == 0:
        return np.zeros(0, dtype=np.int64)
    rank = np.empty(count, dtype=np.int64)
    rank[np.lexsort((np.arange(count), -fold))] = np.arange(count)
    one, two, _ = pairs_within(points, spacing)
    chosen = np.zeros(count, dtype=bool)
    left = np.ones(count, dtype=bool)
    while left.any():
        use = left[one] & left[two]
        one, two = one[use], two[use]
        best = np.full(count, count, dtype=np.int64)
        np.minimum.at(best, one, rank[two])
        now = left & (best == rank)
        chosen |= now
        left &= ~now
        left[one[now[two]]] = False
    return np.flatnonzero(chosen)


def _chains(on: IntArray, back: IntArray) -> list[IntArray]:
    """Walk links, each point having two at most: first from every loose end, then round what is closed."""
    ways = [[b for b in pair if b >= 0] for pair in zip(on.tolist(), back.tolist(), strict=True)]
    seen = [False] * len(ways)
    chains: list[IntArray] = []
    ends = [i for i, way in enumerate(ways) if len(way) == 1]
    for first in ends + list(range(len(ways))):
        if seen[first] or not ways[first]:
            continue
        chain = [first]
        seen[first] = True
        while True:
            onward = [b for b in ways[chain[-1]] if not seen[b]]
            if not onward:
                break
            chain.append(onward[0])
            seen[onward[0]] = True
        if len(chain) > 2 and chain[0] in ways[chain[-1]]:
            chain.append(chain[0])
        chains.append(np.array(chain, dtype=np.int64))
    return chains
