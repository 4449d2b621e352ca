# SPDX-License-Identifier: GPL-3.0-or-later
"""Find the one body round a point, and make it a region of its own."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import CutError
from ..mesh.mass import volume
from ..mesh.mesh import Mesh
from ..mesh.topology import closed_components
from ..mesh.winding import crossed, crossings, distance_within, levels, straddling
from .bodies import make_bodies
from .cells import Cells, Region
from .pinch import pairs_at_edge, pinched_edges

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_BLOCK: Final = 512
"""Triangles that follow one another in the carving and are looked at or left out together: mostly they lie together."""


@dataclass(frozen=True, eq=False)
class Blocks:
    """Boxes round blocks of a carving's triangles, so that few of them have to be looked at near a point or a ray.

    Attributes
    ----------
    low, high : (k, 3) metres. columns : x, y and z of the carving's vertices, each for itself: quick to go through.
    """

    mesh: Mesh
    columns: tuple[FloatArray, FloatArray, FloatArray]
    low: FloatArray
    high: FloatArray

    @classmethod
    def of(cls, mesh: Mesh) -> Blocks:
        """Boxes of all blocks."""
        start = np.arange(0, len(mesh.triangles), _BLOCK)
        low, high = np.empty((len(start), 3)), np.empty((len(start), 3))
        x, y, z = (np.ascontiguousarray(mesh.vertices[:, axis]) for axis in range(3))
        columns = x, y, z
        corners = [np.ascontiguousarray(mesh.triangles[:, k]) for k in range(3)]
        for axis, column in enumerate(columns):
            least = np.take(column, corners[0])
            most = least.copy()
            for k in (1, 2):
                corner = np.take(column, corners[k])
                np.minimum(least, corner, out=least)
                np.maximum(most, corner, out=most)
            low[:, axis] = np.minimum.reduceat(least, start)
            high[:, axis] = np.maximum.reduceat(most, start)
        return cls(mesh, columns, low, high)

    def rows(self, low: FloatArray, high: FloatArray) -> IntArray:
        """Triangles of all blocks whose boxes meet a box, rising."""
        block = np.flatnonzero(((self.low <= high) & (self.high >= low)).all(axis=1))
        rows: IntArray = (block[:, None] * _BLOCK + np.arange(_BLOCK)).reshape(-1)
        return rows[: np.searchsorted(rows, len(self.mesh.triangles))]


@dataclass(frozen=True, eq=False)
class _Skin:
    """Rows of the cells: of the carving, of the tail read as they stand, of the tail read backwards."""

    base: IntArray
    behind: IntArray
    before: IntArray

    def triangles(self, cells: Cells) -> IntArray:
        t = cells.tail.triangles
        return np.concatenate([cells.mesh.triangles[self.base], t[self.behind], t[self.before][:, ::-1]])

    def take(self, use: BoolArray) -> _Skin:
        one, two = len(self.base), len(self.base) + len(self.behind)
        return _Skin(self.base[use[:one]], self.behind[use[one:two]], self.before[use[two:]])


def isolate(cells: Cells, blocks: Blocks, part: FloatArray, joint: int, slack: float, strict: bool) -> int:
    """The region that is exactly the one body round the point; a region of several bodies is parted first.

    Parameters
    ----------
    cells : changed where the region has to be parted.
    blocks : of the carving. part : (3,) metres. joint : its index, for messages.
    slack : metres within which a point is on the skin.
    strict : a point on the skin of a body is refused; else it counts as in the body that a ray from it tells.

    Raises
    ------
    CutError
        The point lies in no body, in what a gap took, or on the skin.
    """
    here = f"({part[0]:.6g}, {part[1]:.6g}, {part[2]:.6g})"
    base, base_way, tail, tail_way = _hits(cells, blocks, part)
    wind = np.zeros(len(cells.regions) + 2, dtype=np.int64)
    np.add.at(wind, cells.label[base], base_way)
    np.add.at(wind, cells.tail.below[tail], tail_way)
    np.add.at(wind, cells.tail.above[tail], -tail_way)
    inside = np.flatnonzero(wind[:-2] > 0).tolist()
    if not inside:
        raise CutError(f"its part {here} lies in no body; move the point into the foam", joint)
    region = int(inside[0])
    if cells.regions[region].taken:
        raise CutError(f"its part {here} lies in the gap of an earlier joint; move it", joint)
    skin = _Skin(*cells.rows_of(region))
    body = _body_round(cells, region, skin, part, (base, base_way, tail, tail_way))
    if body is None or (strict and _near(cells, blocks, body, part, 2.0 * slack)):
        raise CutError(f"its part {here} lies on the skin of a body; move it inside", joint)
    if body is skin:
        return region
    new = len(cells.regions)
    cells.touching |= _touch(cells, body, skin)
    below, above = cells.tail.below.copy(), cells.tail.above.copy()
    cells.label[body.base] = new
    below[body.behind] = new
    above[body.before] = new
    cells.tail = cells.tail.with_regions(below, above)
    cells.regions = [*cells.regions, Region(cells.regions[region].sides)]
    return new


def _touch(cells: Cells, body: _Skin, skin: _Skin) -> bool:
    """Whether a body shares a vertex of the carving with others of its region."""
    mark = np.zeros(len(cells.mesh.vertices), dtype=bool)
    mark[cells.mesh.triangles[body.base]] = True
    rest = np.setdiff1d(skin.base, body.base, assume_unique=True)
    return bool(mark[cells.mesh.triangles[rest]].any())


def _hits(cells: Cells, blocks: Blocks, part: FloatArray) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """Rows of the carving that a ray from the point crosses, with the way it does, and rows of the tail likewise."""
    mesh, t = cells.mesh, cells.tail.triangles
    _, y, z = blocks.columns
    level = np.concatenate([levels(y, z, part), levels(cells.extra[:, 1], cells.extra[:, 2], part)])
    base = blocks.rows(part, np.array([np.inf, part[1], part[2]]))
    base = base[straddling(level, mesh.triangles[base])]
    rows = np.take(mesh.triangles, base, axis=0)
    hit, way = crossed(np.take(mesh.vertices, rows, axis=0), rows, part)
    tail = straddling(level, t)
    tail_hit, tail_way = crossed(cells.points(t[tail]), t[tail], part)
    return base[hit], way, tail[tail_hit], tail_way


def _body_round(
    cells: Cells, region: int, skin: _Skin, part: FloatArray, hits: tuple[IntArray, IntArray, IntArray, IntArray]
) -> _Skin | None:
    """Rows of the body of a region that goes round the point: `skin` itself where it is the only one."""
    if (cells.tail.above[skin.behind] == region).any():
        return _made(cells, region, skin, part)
    t = cells.tail.triangles
    if cells.is_one(np.concatenate([t[skin.behind], t[skin.before]])):
        return skin
    label = _labels(cells, skin)
    count = int(label.max()) + 1
    if count == 1:
        return skin
    wind = np.zeros(count, dtype=np.int64)
    base, base_way, tail, tail_way = hits
    one, two = len(skin.base), len(skin.base) + len(skin.behind)
    for own, of, rows, way in (
        (skin.base, label[:one], base, base_way),
        (skin.behind, label[one:two], tail, tail_way),
        (skin.before, label[two:], tail, -tail_way),
    ):
        at, use = _places(own, rows)
        np.add.at(wind, of[at[use]], way[use])
    found = np.flatnonzero(wind > 0)
    if len(found) != 1 or (wind < 0).any() or _has_hollow(cells, skin, label, int(found[0])):
        return _made(cells, region, skin, part)
    return skin.take(label == found[0])


def _made(cells: Cells, region: int, skin: _Skin, part: FloatArray) -> _Skin | None:
    """As `_body_round`, by bodies as they come out of a cut: where there are hollows, slits or bodies in bodies."""
    bodies = make_bodies(cells, [region], True, again=True)
    for b in bodies:
        if crossings(b.body.mesh.vertices, b.body.mesh.triangles, part)[1].sum() > 0:
            return skin if len(bodies) == 1 else _Skin(b.base, b.behind, b.before)
    return None


def _labels(cells: Cells, skin: _Skin) -> IntArray:
    """Which body each row belongs to, hollows for themselves; bodies that touch along an edge are apart."""
    triangles = skin.triangles(cells)
    total = len(cells.mesh.vertices) + len(cells.extra)
    pinched = set(map(tuple, pinched_edges(triangles[len(skin.base) :], total).tolist()))

    def fans(a: int, b: int, rows: list[int]) -> list[tuple[int, int]]:
        if (a, b) not in pinched:
            return list(itertools.pairwise(rows))
        some = triangles[rows]
        where = dict(zip(some.reshape(-1).tolist(), cells.points(some).reshape(-1, 3), strict=True))
        corners = some.tolist()
        users = [(i, next(k for k in range(3) if {t[k], t[(k + 1) % 3]} == {a, b})) for i, t in enumerate(corners)]
        pairs = pairs_at_edge(a, b, users, corners, where.__getitem__)
        return [(rows[i], rows[j]) for i, j in pairs]

    return closed_components(triangles, fans)


def _has_hollow(cells: Cells, skin: _Skin, label: IntArray, but: int) -> bool:
    """Whether some body of a region but one is the skin of a hollow."""
    rest = label != but
    own, label = skin.take(rest).triangles(cells), label[rest]
    for k in np.unique(label).tolist():
        used, t = np.unique(own[label == k], return_inverse=True)
        if volume(Mesh(cells.points(used), t.reshape(-1, 3))) < 0.0:
            return True
    return False


def _near(cells: Cells, blocks: Blocks, body: _Skin, part: FloatArray, reach: float) -> bool:
    """Whether the skin of a body comes nearer to the point than that."""
    rows = blocks.rows(part - reach, part + reach)
    base = cells.mesh.triangles[rows[_places(body.base, rows)[1]]]
    tail = cells.tail.triangles[np.concatenate([body.behind, body.before])]
    for axis in range(3):
        level = np.concatenate(
            [
                (x >= part[axis] - reach).view(np.uint8) + 2 * (x <= part[axis] + reach).view(np.uint8)
                for x in (blocks.columns[axis], cells.extra[:, axis])
            ]
        )
        base, tail = (t[(level[t[:, 0]] | level[t[:, 1]] | level[t[:, 2]]) == 3] for t in (base, tail))
    corners = cells.points(np.concatenate([base, tail])).reshape(-1, 3)
    return distance_within(Mesh(corners, np.arange(len(corners)).reshape(-1, 3)), part, reach) < reach


def _places(own: IntArray, rows: IntArray) -> tuple[IntArray, BoolArray]:
    """Where rows stand among others that rise, and which of them do."""
    if len(own) == 0:
        return np.zeros(len(rows), dtype=np.int64), np.zeros(len(rows), dtype=bool)
    at = np.minimum(np.searchsorted(own, rows), len(own) - 1)
    return at, own[at] == rows
