# SPDX-License-Identifier: GPL-3.0-or-later
"""Distance of triangles and of points from triangles, with the two nearest points; many pairs at once.

Coordinates stand one component an array, pairs along the last axis: numpy is quickest so, and a few thousand pairs
stay in the processor's cache.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_TINY: Final = 1e-300
"""Stands for zero in a division: an edge without length or a triangle without area."""

_PARALLEL: Final = 1e-14
"""Squared sine under which two edges count as parallel: less cannot be told from rounding."""

_FLAT: Final = 1e-24
"""Share of the fourth power of its longest edge under which the square of a triangle's area says nothing of a plane."""

_NEXT: Final = (1, 2, 0)


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    result: FloatArray = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return result


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.stack([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def triangle_distance(first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Distance of pairs of triangles.

    Parameters
    ----------
    first, second : (3, 3, n): axis, corner, pair; metres.

    Returns
    -------
    (n,), (3, n), (3, n)
        Distance, 0 exactly where they cross or touch as far as numbers can tell, and the nearest point on each.

    Notes
    -----
    Two triangles that do not cross are nearest along two edges or from a corner to a face (as in C. Ericson,
    Real-Time Collision Detection, 5.1): nine edge pairs and six corners are worked out; pairs whose corners
    lie on both sides of each other's planes are looked at for an edge through a face.
    """
    square, one, two = _edges_apart(first, second)
    for a, b, swapped in ((first, second, False), (second, first, True)):
        height, foot, inside, area = _over_face(a, b)
        beside = np.where(inside, height * height / area, np.inf)
        pick = np.argmin(beside, axis=0)
        value = np.take_along_axis(beside, pick[None], axis=0)[0]
        better = np.flatnonzero(value < square)
        if len(better):
            corner = pick[better]
            square[better] = value[better]
            (two if swapped else one)[:, better] = a[:, corner, better]
            (one if swapped else two)[:, better] = foot[:, corner, better]
        _pierce(a, b, height, square, one, two)
    return np.sqrt(square), one, two


def point_distance(points: FloatArray, triangles: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Distance of points (3, n) from triangles (3, 3, n): axis, corner, pair. Returns (n,) and the feet (3, n)."""
    edge = triangles[:, _NEXT] - triangles
    away = points[:, None] - triangles
    share = np.clip(_dot(away, edge) / np.maximum(_dot(edge, edge), _TINY), 0.0, 1.0)
    rest = away - share * edge
    squares = _dot(rest, rest)
    pick = np.argmin(squares, axis=0)
    each = np.arange(points.shape[-1])
    square = squares[pick, each]
    foot = triangles[:, pick, each] + share[pick, each] * edge[:, pick, each]
    height, under, inside, area = _over_face(points[:, None], triangles)
    beside = np.where(inside[0], height[0] * height[0] / area, np.inf)
    better = np.flatnonzero(beside < square)
    square[better] = beside[better]
    foot[:, better] = under[:, 0, better]
    return np.sqrt(square), foot


def _edges_apart(first: FloatArray, second: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Least squared distance among the nine pairs of edges, and its points."""
    count = first.shape[-1]
    d, e = first[:, _NEXT] - first, second[:, _NEXT] - second
    dd, ee = np.maximum(_dot(d, d), _TINY)[:, None], np.maximum(_dot(e, e), _TINY)[None]
    d, e = d[:, :, None], e[:, None]
    r = first[:, :, None] - second[:, None]
    de, dr, er = _dot(d, e), _dot(d, r), _dot(e, r)
    room = dd * ee
    spread = room - de * de
    steep = spread > _PARALLEL * room
    s = np.clip((de * er - dr * ee) / np.where(steep, spread, 1.0), 0.0, 1.0)
    s *= steep
    t = np.clip((de * s + er) / ee, 0.0, 1.0)
    s = np.clip((de * t - dr) / dd, 0.0, 1.0)
    rest = r + s * d - t * e
    squares = _dot(rest, rest).reshape(9, count)
    pick = np.argmin(squares, axis=0)
    each = np.arange(count)
    i, j = np.divmod(pick, 3)
    one = first[:, i, each] + s[i, j, each] * d[:, i, 0, each]
    two = second[:, j, each] + t[i, j, each] * e[:, 0, j, each]
    return squares[pick, each], one, two


def _over_face(
    points: FloatArray, triangles: FloatArray
) -> tuple[FloatArray, FloatArray, NDArray[np.bool_], FloatArray]:
    """Points (3, c, n) over triangles (3, 3, n).

    Returns height times twice the area (c, n), foot of the perpendicular (3, c, n), whether it falls into the
    triangle (c, n), and the square of twice the area (n,).
    """
    edge = triangles[:, _NEXT] - triangles
    normal = _cross(edge[:, 0], edge[:, 1])
    area = np.maximum(_dot(normal, normal), _TINY)
    away = points[:, :, None] - triangles[:, None]
    height = _dot(normal[:, None], away[:, :, 0])
    inside = np.ones(height.shape, dtype=bool)
    for k in range(3):
        square = _cross(normal, edge[:, k])  # points into the triangle
        inside &= _dot(square[:, None], away[:, :, k]) >= 0.0
    longest = _dot(edge, edge).max(axis=0)
    inside &= (area > _TINY) & (area > _FLAT * longest * longest)
    foot = points - normal[:, None] * (height / area)[None]
    return height, foot, inside, area


def _pierce(
    a: FloatArray, b: FloatArray, height: FloatArray, square: FloatArray, one: FloatArray, two: FloatArray
) -> None:
    """Mark pairs in which an edge of a goes through the face of b."""
    low, high = height.min(axis=0), height.max(axis=0)
    rows = np.flatnonzero((low <= 0.0) & (high >= 0.0) & (square > 0.0))
    if len(rows) == 0:
        return
    p, h = a[:, :, rows], height[:, rows]
    q, g = p[:, _NEXT], h[_NEXT, :]
    cut = (h > 0.0) != (g > 0.0)
    share = np.where(cut, h / np.where(cut, h - g, 1.0), 0.0)
    place = p + share * (q - p)
    _, _, inside, _ = _over_face(place, b[:, :, rows])
    hit = inside & cut
    found = np.flatnonzero(hit.any(axis=0))
    if len(found):
        pick = np.argmax(hit[:, found], axis=0)
        square[rows[found]] = 0.0
        one[:, rows[found]] = two[:, rows[found]] = place[:, pick, found]
