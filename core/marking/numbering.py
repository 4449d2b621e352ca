# SPDX-License-Identifier: GPL-3.0-or-later
"""Which piece has which number: in an order, with a prefix, and kept while a piece stays mostly the same body."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from ..mesh.raster import flat_corners, fragments

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SAME: Final = 0.5
"""A piece goes on from an old one when it holds more than this share of the old one's body, and the old one more than
this share of its own."""

_RODS: Final = 24
"""Upright lines along the longer plan side of what is compared; together they stand for the bodies."""

STARTS: Final = {"+x": 0.0, "+y": np.pi / 2.0, "-x": np.pi, "-y": -np.pi / 2.0}
"""Where a way round the footprint can begin: angle from +x, radians."""


def round_footprint(centroids: Sequence[Sequence[float]], start: str, clockwise: bool) -> IntArray:
    """Pieces by their way round the middle of the footprint, then from bottom to top.

    Parameters
    ----------
    centroids : (k, 3) metres.
    start : side from which to count: ``+x``, ``+y``, ``-x`` or ``-y``.
    clockwise : seen from above.

    Returns
    -------
    (k,) int64: the pieces in order. Angles are compared to a thousandth of a radian.
    """
    points = np.asarray(centroids, dtype=np.float64).reshape(-1, 3)
    if len(points) == 0:
        return np.zeros(0, dtype=np.int64)
    middle = (points[:, :2].min(axis=0) + points[:, :2].max(axis=0)) / 2.0
    off = points[:, :2] - middle
    angle = (np.arctan2(off[:, 1], off[:, 0]) - STARTS[start]) * (-1.0 if clockwise else 1.0)
    turned = np.round(np.mod(angle + 5e-4, 2.0 * np.pi), 3)
    order: IntArray = np.lexsort((points[:, 2], turned)).astype(np.int64)
    return order


def numbers(order: Sequence[int] | IntArray, prefix: str = "", kept: Sequence[str | None] | None = None) -> list[str]:
    """Number of each piece.

    Parameters
    ----------
    order : the pieces in the order of counting.
    prefix : goes before each number.
    kept : for each piece the number that it keeps, or None; others take the lowest numbers that are free, in order.
    """
    out: list[str] = [""] * len(order)
    taken = {mark for mark in kept or () if mark is not None}
    number = 0
    for piece in [int(k) for k in order]:
        mark = kept[piece] if kept is not None else None
        while mark is None:
            number += 1
            mark = None if f"{prefix}{number}" in taken else f"{prefix}{number}"
        out[piece] = mark
    return out


def kept_numbers(old_marks: Sequence[str], old: Sequence[Mesh], new: Sequence[Mesh]) -> list[str | None]:
    """For each new piece the number of the old one that it goes on from, or None.

    Parameters
    ----------
    old_marks, old : number and closed mesh of each old piece. new : closed meshes, same frame.

    Notes
    -----
    Bodies are compared along upright lines on one grid: the share of an old body in a new one is the length of the
    lines inside both over the length inside the old. More than half both ways can hold for one pair at most.
    """
    if not old or not new:
        return [None] * len(new)
    points = np.concatenate([m.vertices for m in (*old, *new)])
    low, high = points.min(axis=0), points.max(axis=0)
    cell = max(float((high - low)[:2].max()) / (_RODS * np.sqrt(max(len(old), len(new)))), 1e-6)
    # A shift by an odd share of a cell keeps lines off vertices that lie on a grid.
    corner = low[:2] - 0.3819660 * cell
    before = [_spans(m, corner, cell) for m in old]
    after = [_spans(m, corner, cell) for m in new]
    size_before, size_after = [_length(s) for s in before], [_length(s) for s in after]
    out: list[str | None] = [None] * len(new)
    for n, spans in enumerate(after):
        for k, others in enumerate(before):
            shared = _shared(spans, others)
            if shared > SAME * max(size_before[k], size_after[n]):
                out[n] = old_marks[k]
    return out


Spans = dict[int, FloatArray]
"""Cell -> heights at which its line enters and leaves the body, rising."""


def _spans(mesh: Mesh, corner: FloatArray, cell: float) -> Spans:
    flat = (mesh.vertices - np.array([corner[0], corner[1], 0.0])) / np.array([cell, cell, 1.0])
    parts = [(p.row * (1 << 24) + p.column, p.height) for p in fragments(flat_corners(flat, mesh.triangles))]
    if not parts:
        return {}
    key, height = (np.concatenate([p[k] for p in parts]) for k in (0, 1))
    order = np.lexsort((height, key))
    key, height = key[order], height[order]
    starts = np.flatnonzero(np.append(True, key[1:] != key[:-1]))
    # A line through a border counts twice or not at all: an odd one tells, and is left out.
    runs = zip(key[starts].tolist(), np.split(height, starts[1:]), strict=True)
    return {k: run for k, run in runs if len(run) % 2 == 0}


def _length(spans: Spans) -> float:
    return float(sum((run[1::2] - run[::2]).sum() for run in spans.values()))


def _shared(one: Spans, two: Spans) -> float:
    total = 0.0
    for key in one.keys() & two.keys():
        a, b = one[key].reshape(-1, 2), two[key].reshape(-1, 2)
        low, high = np.maximum(a[:, None, 0], b[None, :, 0]), np.minimum(a[:, None, 1], b[None, :, 1])
        total += float(np.maximum(high - low, 0.0).sum())
    return total
