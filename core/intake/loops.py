# SPDX-License-Identifier: GPL-3.0-or-later
"""Holes: loops of open edges, how wide each is, and where."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray, IntArray
from ..mesh.topology import joined

_CORNERS: Final = 1500
"""Corners of a rim between which the width is measured; of a longer one every n-th is taken."""


@dataclass(frozen=True, eq=False)
class Hole:
    """One set of open edges that hang together.

    Attributes
    ----------
    edges : (k, 2) int64, as their triangles run them.
    across : metres, the largest distance between two of its corners.
    middle : (3,) metres, middle of its edges, weighted by length.
    low, high : least and greatest height of its corners, metres.
    """

    edges: IntArray
    across: float
    middle: FloatArray
    low: float
    high: float


def find_holes(vertices: FloatArray, edges: IntArray) -> tuple[Hole, ...]:
    """Gather open edges, (k, 2), into holes, widest first; edges that meet in a vertex belong together."""
    if not len(edges):
        return ()
    used, at = np.unique(edges, return_inverse=True)
    at = at.reshape(-1, 2)
    label = joined(len(used), at[:, 0], at[:, 1])[at[:, 0]]
    order = np.argsort(label, kind="stable")
    ends = np.cumsum(np.bincount(label))[:-1]
    holes = [_measure(vertices, part) for part in np.split(edges[order], ends)]
    return tuple(sorted(holes, key=lambda hole: -hole.across))


def _measure(vertices: FloatArray, edges: IntArray) -> Hole:
    a, b = vertices[edges[:, 0]], vertices[edges[:, 1]]
    weight = np.linalg.norm(b - a, axis=1)
    total = float(weight.sum())
    middle = (weight @ (a + b)) / (2.0 * total) if total > 0.0 else a[0].copy()
    points = vertices[np.unique(edges)]
    return Hole(edges, width(points), middle, float(points[:, 2].min()), float(points[:, 2].max()))


def width(points: FloatArray) -> float:
    """Largest distance between two of some points, (k, 3); of very many a part is looked at."""
    points = points[:: max(1, len(points) // _CORNERS)]
    gap = points[:, None, :] - points[None, :, :]
    return float(np.sqrt((gap * gap).sum(axis=2).max()))
