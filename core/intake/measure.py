# SPDX-License-Identifier: GPL-3.0-or-later
"""Sizes of all triangles and bodies, in one pass over the mesh."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import FloatArray, IntArray, Mesh
from .table import EdgeTable

BoolArray: TypeAlias = NDArray[np.bool_]

_FLAT: Final = 1e-9
"""A triangle whose height is under this share of its longest side has no area: single precision keeps 1e-7 of a
coordinate, so no scanner means it."""
_CHUNK: Final = 1 << 15
"""Triangles worked on at a time: their scratch stays in the processor's cache."""


@dataclass(frozen=True, eq=False)
class Sizes:
    """Of each body: what it holds, and the box round it.

    Attributes
    ----------
    volume : (b,) signed, cubic metres; an open body closed by a cone to the middle of its rim.
    area : (b,) square metres.
    low, high : (b, 3) metres.
    flat : (m,) bool, triangles without area: two corners in one place, or all three in one line.
    """

    volume: FloatArray
    area: FloatArray
    low: FloatArray
    high: FloatArray
    flat: BoolArray


def measure(mesh: Mesh, body: IntArray, bodies: int, table: EdgeTable | None = None) -> Sizes:
    """Measure bodies and find flat triangles.

    Parameters
    ----------
    mesh : metres. body : (m,) int64, body of each triangle. bodies : how many.
    table : edges of the mesh; without it all bodies count as closed.
    """
    columns = [np.ascontiguousarray(mesh.vertices[:, axis]) for axis in range(3)]
    apex = _apex(mesh, body, bodies, table)
    volume, area = np.zeros(bodies), np.zeros(bodies)
    low, high = np.full((bodies, 3), np.inf), np.full((bodies, 3), -np.inf)
    flat = np.empty(len(body), dtype=bool)
    for at in range(0, len(body), _CHUNK):
        rows = np.ascontiguousarray(mesh.triangles[at : at + _CHUNK].T)
        some = body[at : at + _CHUNK] if bodies > 1 else None
        corner = [column.take(rows) for column in columns]
        p, q, r = ([line[b] - line[a] for line in corner] for a, b in ((0, 1), (0, 2), (1, 2)))
        double = [p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]]
        square = double[0] ** 2 + double[1] ** 2 + double[2] ** 2
        longest = np.maximum(
            np.maximum(p[0] ** 2 + p[1] ** 2 + p[2] ** 2, q[0] ** 2 + q[1] ** 2 + q[2] ** 2),
            r[0] ** 2 + r[1] ** 2 + r[2] ** 2,
        )
        flat[at : at + _CHUNK] = square <= (_FLAT * longest) ** 2
        origin = apex[0] if some is None else apex[some].T
        box = sum((corner[axis][0] - origin[axis]) * double[axis] for axis in range(3))
        size = np.sqrt(square)
        if some is None:
            volume[0] += box.sum()
            area[0] += size.sum()
            for axis in range(3):
                low[0, axis] = min(low[0, axis], corner[axis].min())
                high[0, axis] = max(high[0, axis], corner[axis].max())
            continue
        volume += np.bincount(some, weights=box, minlength=bodies)
        area += np.bincount(some, weights=size, minlength=bodies)
        for axis in range(3):
            a, b, c = corner[axis]
            np.minimum.at(low[:, axis], some, np.minimum(np.minimum(a, b), c))
            np.maximum.at(high[:, axis], some, np.maximum(np.maximum(a, b), c))
    return Sizes(volume / 6.0, area / 2.0, low, high, flat)


def flat_triangles(mesh: Mesh) -> BoolArray:
    """Which triangles have no area, (m,): two corners in one place, or all three in one line."""
    return measure(mesh, np.zeros(len(mesh.triangles), dtype=np.int64), 1).flat


def _apex(mesh: Mesh, body: IntArray, bodies: int, table: EdgeTable | None) -> FloatArray:
    """Point of each body from which its volume is taken, (b, 3): the middle of its rim, or near it."""
    middle = np.array([0.5 * (c.min() + c.max()) for c in mesh.vertices.T]) if len(mesh.vertices) else np.zeros(3)
    apex = np.tile(middle, (max(bodies, 1), 1))
    half = np.zeros(0, dtype=np.int64) if table is None else table.half[table.start[table.open()]]
    if len(half):
        rim = body[half // 3]
        point = mesh.vertices[mesh.triangles.reshape(-1)[half]]
        number = np.bincount(rim, minlength=bodies)
        some = number > 0
        for axis in range(3):
            total = np.bincount(rim, weights=point[:, axis], minlength=bodies)
            apex[some, axis] = total[some] / number[some]
    return apex
