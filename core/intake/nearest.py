# SPDX-License-Identifier: GPL-3.0-or-later
"""Distance from points to the nearest triangle of a surface."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..errors import Progress
from ..mesh.mesh import FloatArray, IntArray, Mesh

_FAN: Final = 8
"""Boxes in a box: a set of triangles is halved three times, each time across where it is longest."""
_LEAF: Final = 2
"""Triangles in a smallest box at least, and under eight times as many."""
_TIE: Final = 1e-3
"""Weight of the distance to a box's middle beside that to the box."""
_WAYS: Final = 3
"""Boxes of a level that are gone into for a first bound: boxes of a surface overlap, and one way is often wrong."""
_POINTS: Final = 1 << 15
"""Points that go down the tree together: their scratch stays near the processor."""
_PAIRS: Final = 1 << 17
"""Pairs of point and box that go one level down together."""


def distances(points: FloatArray, mesh: Mesh, progress: Progress | None = None) -> FloatArray:
    """Distance of each point to the nearest triangle.

    Parameters
    ----------
    points : (n, 3) metres. mesh : with at least one triangle.
    progress : told now and then; may raise `Cancelled`.

    Returns
    -------
    (n,) metres, exact but for rounding.

    Notes
    -----
    Down a tree of boxes, eight in each: first by one way, to
    the nearest box each time, for a bound; then by all ways that may hold something nearer.
    """
    tree = _Tree.of(mesh)
    out = np.empty(len(points))
    for start in range(0, len(points), _POINTS):
        if progress:
            progress(start / len(points), "measuring the distance")
        out[start : start + _POINTS] = tree.nearest(points[start : start + _POINTS])
    return out


@dataclass(frozen=True, eq=False)
class _Tree:
    """Boxes of triangles, and boxes of eight of these each, up to one; `levels` from those in that one down.

    A level is its boxes' least and greatest corners, (3, nodes above, boxes in each) each. `corners` are (m, 3, 3), in
    the order of the last level.
    """

    levels: list[tuple[FloatArray, FloatArray]]
    corners: FloatArray

    @classmethod
    def of(cls, mesh: Mesh) -> _Tree:
        corners = mesh.vertices[mesh.triangles]
        deep = 0
        while _LEAF * _FAN ** (deep + 1) <= len(corners):
            deep += 1
        corners = corners[_order(corners.mean(axis=1), deep)]
        low, high = corners.min(axis=1).T, corners.max(axis=1).T
        levels = [(low.reshape(3, _FAN**deep, -1), high.reshape(3, _FAN**deep, -1))]
        for above in range(deep - 1, -1, -1):
            low, high = (
                pick.reshape(3, _FAN**above, _FAN) for pick in (levels[-1][0].min(axis=2), levels[-1][1].max(axis=2))
            )
            levels.append((low, high))
        return cls(levels[::-1], corners)

    def nearest(self, points: FloatArray) -> FloatArray:
        """Distance of each point, (n,)."""
        x = np.ascontiguousarray(points.T)
        everyone = np.arange(len(points))
        best = np.full(len(points), np.inf)
        self._improve(points, *self._likely(x), best)
        parts: list[tuple[int, IntArray, IntArray]] = [(0, everyone, np.zeros(len(points), dtype=np.int64))]
        while parts:
            level, who, node = parts.pop()
            if len(who) > _PAIRS:
                parts += [(level, who[k : k + _PAIRS], node[k : k + _PAIRS]) for k in range(0, len(who), _PAIRS)]
                continue
            low, high = self._boxes(level, node)
            here = x[:, who][:, :, None]
            near = _square(np.maximum(np.maximum(low - here, here - high), 0.0))
            row, child = np.nonzero(near < best[who][:, None])
            who, node = who[row], node[row] * low.shape[2] + child
            if level + 1 < len(self.levels):
                if len(who):
                    parts.append((level + 1, who, node))
            else:
                self._improve(points, who, node, best)
        away: FloatArray = np.sqrt(best)
        return away

    def _likely(self, x: FloatArray) -> tuple[IntArray, IntArray]:
        """Some triangles for each point that are probably near it: the point, and the triangle."""
        count = x.shape[1]
        node = np.zeros((count, 1), dtype=np.int64)
        for level in range(len(self.levels)):
            low, high = self._boxes(level, node.ravel())
            here = np.repeat(x, node.shape[1], axis=1)[:, :, None]
            near = _square(np.maximum(np.maximum(low - here, here - high), 0.0))
            middle = _square(low + high - 2.0 * here)
            # Of boxes as near, such as all that the point lies in, that whose middle is nearest.
            score = (near + _TIE * middle).reshape(count, -1)
            fan = low.shape[2]
            child = (node[:, :, None] * fan + np.arange(fan)).reshape(count, -1)
            ways = min(_WAYS, score.shape[1])
            pick = np.argpartition(score, ways - 1, axis=1)[:, :ways]
            node = np.take_along_axis(child, pick, axis=1)
        return np.repeat(np.arange(count), node.shape[1]), node.ravel()

    def _boxes(self, level: int, node: IntArray) -> tuple[FloatArray, FloatArray]:
        """The boxes in each node, (3, n, k) least and greatest corners."""
        low, high = self.levels[level]
        return low[:, node], high[:, node]

    def _improve(self, points: FloatArray, who: IntArray, what: IntArray, best: FloatArray) -> None:
        """Lower the best squared distances, in place, by a triangle for each point in `who`."""
        if len(who):
            np.minimum.at(best, who, _to_triangle(points[who], self.corners[what]))


def _square(rows: FloatArray) -> FloatArray:
    result: FloatArray = np.einsum("akc,akc->kc", rows, rows)
    return result


def _order(middles: FloatArray, deep: int) -> IntArray:
    """Rows so that each of 8 ** deep equal runs lies together; some stand twice, so that they come out equal."""
    runs_of = _FAN**deep
    count = -(-len(middles) // runs_of) * runs_of
    rows = (np.arange(count) * len(middles) // count)[None, :]
    while len(rows) < runs_of:
        place = middles[rows]
        axis = np.ptp(place, axis=1).argmax(axis=1)
        value = np.take_along_axis(place, axis[:, None, None], axis=2)[:, :, 0]
        half = rows.shape[1] // 2
        rows = np.take_along_axis(rows, np.argpartition(value, half, axis=1), axis=1).reshape(-1, half)
    order: IntArray = rows.ravel()
    return order


def _to_triangle(point: FloatArray, corner: FloatArray) -> FloatArray:
    """Squared distance of each point to its triangle: over the inside to the plane, otherwise to the nearest edge."""
    a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
    nearest = np.full(len(point), np.inf)
    for u, v in ((a, b), (b, c), (c, a)):
        along, to = v - u, point - u
        square = (along * along).sum(axis=1)
        share = np.clip((to * along).sum(axis=1) / np.where(square > 0.0, square, 1.0), 0.0, 1.0)
        away = to - share[:, None] * along
        nearest = np.minimum(nearest, (away * away).sum(axis=1))
    normal = np.cross(b - a, c - a)
    square = (normal * normal).sum(axis=1)
    inside = square > 0.0
    for u, v in ((a, b), (b, c), (c, a)):
        inside &= (np.cross(v - u, point - u) * normal).sum(axis=1) >= 0.0
    height = ((point - a) * normal).sum(axis=1)
    over = height * height / np.where(square > 0.0, square, 1.0)
    result: FloatArray = np.where(inside, np.minimum(over, nearest), nearest)
    return result
