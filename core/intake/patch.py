# SPDX-License-Identifier: GPL-3.0-or-later
"""Triangles across one hole, between the corners that are there.

The triangulation is the one with the least sum of worst bend and area, found by trying for every stretch of rim the
corner that closes it best (G. Barequet and M. Sharir, Computer Aided Geometric Design 12(2), 1995, p. 207, with the
bend as P. Liepa, Symposium on Geometry Processing 2003, p. 200, weighs it).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from ..errors import MeshError
from ..mesh.mesh import FloatArray, IntArray
from ..mesh.triangulate import triangulate_loops
from .draft import BoolArray

MOST_CORNERS: Final = 400
"""Longest rim for which every stretch is tried: 10 million triangles; a longer one is laid flat."""
_AREA: Final = 2.0
"""What area counts beside the worst bend in radians, as a share of the rim's length squared: a round flat hole has
0.08 of it, so a tenth more area weighs as much as one degree of bend."""
_NEVER: Final = 1e9


def span_hole(points: FloatArray, outside: FloatArray, forbidden: BoolArray) -> IntArray | None:
    """Triangles (k - 2, 3) across one rim; None where there is no way.

    Parameters
    ----------
    points : (k, 3) the rim, in the direction in which the surface's triangles run it.
    outside : (k, 3) unit normal of the surface's triangle at the edge from each corner to the next.
    forbidden : (k, k) bool, pairs of corners that must not be joined, since an edge joins them already.

    Returns
    -------
    Rows of the rim; the triangles run its edges backwards.
    """
    count = len(points)
    if count < 3:
        return None
    if count > MOST_CORNERS:
        return _lay_flat(points, forbidden)
    perimeter = float(np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1).sum())
    if perimeter == 0.0:
        return None
    bend = np.zeros((count, count))
    area = np.zeros((count, count))
    normal = np.zeros((count, count, 3))
    apex = np.zeros((count, count), dtype=np.int64)
    step = np.arange(count - 1)
    normal[step, step + 1] = outside[:-1]
    for gap in range(2, count):
        i = np.arange(count - gap)[:, None]
        j = i + gap
        k = i + np.arange(1, gap)[None, :]
        a, b, c = points[j], points[k], points[i]
        double = np.cross(b - a, c - a)
        size = np.sqrt((double * double).sum(axis=2))
        unit = double / np.where(size > 0.0, size, 1.0)[:, :, None]
        worst = np.maximum(_angle(unit, normal[i, k]), _angle(unit, normal[k, j]))
        worst = np.maximum(worst, np.maximum(bend[i, k], bend[k, j]))
        if gap == count - 1:
            worst = np.maximum(worst, _angle(unit, outside[-1]))
        total = 0.5 * size + area[i, k] + area[k, j]
        cost = worst + _AREA / perimeter**2 * total
        best = cost.argmin(axis=1)
        row = np.arange(count - gap)
        i, j = i[:, 0], j[:, 0]
        bend[i, j], area[i, j] = worst[row, best], total[row, best]
        if gap < count - 1:
            bend[i, j] += np.where(forbidden[i, j], _NEVER, 0.0)
        normal[i, j], apex[i, j] = unit[row, best], best + i + 1
    if bend[0, count - 1] >= _NEVER:
        return None
    out: list[tuple[int, int, int]] = []
    todo = [(0, count - 1)]
    while todo:
        low, high = todo.pop()
        if high - low < 2:
            continue
        middle = int(apex[low, high])
        out.append((high, middle, low))
        todo += [(low, middle), (middle, high)]
    return np.array(out, dtype=np.int64)


def _angle(one: FloatArray, two: FloatArray) -> FloatArray:
    angle: FloatArray = np.arccos(np.clip((one * two).sum(axis=-1), -1.0, 1.0))
    return angle


def _lay_flat(points: FloatArray, forbidden: BoolArray) -> IntArray | None:
    """A long rim, seen along its own normal, triangulated there; None where it crosses itself."""
    count = len(points)
    place = points - points.mean(axis=0)
    after = np.roll(place, -1, axis=0)
    normal = np.cross(place, after).sum(axis=0)
    size = float(np.linalg.norm(normal))
    if size == 0.0:
        return None
    normal = -normal / size
    side = np.eye(3)[int(np.abs(normal).argmin())]
    side = np.cross(normal, side)
    side /= np.linalg.norm(side)
    flat = np.stack([place @ side, place @ np.cross(normal, side)], axis=1)
    rows = np.arange(count)
    try:
        made = triangulate_loops(flat, np.stack([np.roll(rows, -1), rows], axis=1))
    except MeshError:
        return None
    p, q = flat[made[:, 1]] - flat[made[:, 0]], flat[made[:, 2]] - flat[made[:, 0]]
    if len(made) != count - 2 or (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0] < 0.0).any():
        return None
    after_row = np.roll(made, -1, axis=1)
    beside = np.abs(made - after_row) % (count - 1) <= 1
    return None if (forbidden[made, after_row] & ~beside).any() else made
