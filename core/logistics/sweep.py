# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether a body that moves straight away, as far as one likes, would pass through another that stays.

Along a line parallel to the move the mover is stopped where some of the other body lies further on. So only the
mover's faces that look back and the other's faces that look ahead count, and of those only where their shadows on a
plane square to the move overlap. That is decided exactly, triangle by triangle, after two sieves on a grid.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from ..mesh.raster import flat_corners, fragments, least_corner, most_corner
from ..mesh.runs import runs_in_parts

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

OVERLAP: Final = 1e-6
"""Metres: shadows that overlap by less, and heights that differ by less, only touch. Six orders above the rounding of
coordinates in metres, and far below what foam notices."""

_CELLS: Final = 48
"""Cells of the grid along the larger side of a usual body: cells hold a handful of triangles each."""

_MOST_CELLS: Final = 600
"""Cells along the largest body."""


@dataclass(frozen=True, eq=False)
class _Envelope:
    """What a body shows along one direction, on the direction's grid; row and column numbers start at `corner`."""

    corner: tuple[int, int]
    low: FloatArray
    """Bound of the lowest of the faces that look back; +inf where there is none."""
    high: FloatArray
    """Bound of the highest of the faces that look ahead; -inf where there is none."""
    middle_low: FloatArray
    middle_high: FloatArray
    """The same over the middle of the cell, exactly."""


class Sweeps:
    """Answers `stops` for a fixed set of bodies and directions; remembers what it worked out.

    Parameters
    ----------
    bodies : closed meshes, metres, any frame, apart from each other (they may touch); an open one with each of its
        triangles both ways round.
    directions : (k, 3) unit.
    """

    def __init__(self, bodies: list[Mesh], directions: FloatArray) -> None:
        self._bodies = bodies
        self._frames = np.stack([_frame(d) for d in directions]) if len(directions) else np.zeros((0, 3, 3))
        sizes = [float(np.linalg.norm(body.size)) for body in bodies]
        # A body far larger than the others, such as a ground, must not fill the memory with cells.
        self._cell = max(float(np.median(sizes)) / (1.7 * _CELLS), max(sizes) / _MOST_CELLS, 1e-6) if sizes else 1.0
        self._spans: dict[tuple[int, int], FloatArray] = {}
        self._envelopes: dict[tuple[int, int], _Envelope] = {}
        self._known: dict[tuple[int, int, int], bool] = {}

    def stops(self, mover: int, other: int, direction: int) -> bool:
        """Whether `mover`, going straight along the direction without end, would pass through `other`."""
        key = (mover, other, direction)
        if key not in self._known:
            self._known[key] = self._stops(mover, other, direction)
        return self._known[key]

    def _stops(self, mover: int, other: int, d: int) -> bool:
        a, b = self._span(mover, d), self._span(other, d)
        if b[4, 1] <= a[4, 0] + OVERLAP:
            return False
        if bool((np.minimum(a[:4, 1], b[:4, 1]) - np.maximum(a[:4, 0], b[:4, 0]) <= OVERLAP).any()):
            return False
        one, two = self._envelope(mover, d), self._envelope(other, d)
        corner, mine, its = _shared(one, two)
        if self._deep(two.middle_high[its] > one.middle_low[mine] + OVERLAP):
            return True
        rows, columns = np.nonzero(two.high[its] > one.low[mine] + OVERLAP)
        if len(rows) == 0:
            return False
        return self._exactly(mover, other, d, rows + corner[0], columns + corner[1])

    @staticmethod
    def _deep(hit: NDArray[np.bool_]) -> bool:
        """Whether middles side by side both ways are stopped: more than a border that the two shadows share."""
        return bool((hit[1:] & hit[:-1]).any() and (hit[:, 1:] & hit[:, :-1]).any())

    def _span(self, body: int, d: int) -> FloatArray:
        """Extents, (5, 2): across along two axes and their diagonals, and along the direction."""
        if (body, d) not in self._spans:
            x, y, z = (self._bodies[body].vertices @ self._frames[d]).T
            self._spans[body, d] = np.array([(row.min(), row.max()) for row in (x, y, x + y, x - y, z)])
        return self._spans[body, d]

    def _envelope(self, body: int, d: int) -> _Envelope:
        if (body, d) in self._envelopes:
            return self._envelopes[body, d]
        # A cell of margin: what lies on the rim may round to the next cell.
        span = self._span(body, d) / self._cell
        left, bottom = int(np.floor(span[0, 0])) - 1, int(np.floor(span[1, 0])) - 1
        shape = (int(np.floor(span[1, 1])) + 2 - bottom, int(np.floor(span[0, 1])) + 2 - left)
        low, middle_low = np.full(shape, np.inf), np.full(shape, np.inf)
        high, middle_high = np.full(shape, -np.inf), np.full(shape, -np.inf)
        for ahead, bound, middle, take in ((False, low, middle_low, np.minimum), (True, high, middle_high, np.maximum)):
            for part in fragments(self._looking(body, d, ahead), touched=True):
                cell = (part.row - bottom, part.column - left)
                take.at(bound, cell, part.high if ahead else part.low)
                m = part.middle
                take.at(middle, (cell[0][m], cell[1][m]), part.height[m])
        self._envelopes[body, d] = _Envelope((bottom, left), low, high, middle_low, middle_high)
        return self._envelopes[body, d]

    def _looking(self, body: int, d: int, ahead: bool) -> FloatArray:
        """Corners of the faces that look ahead (or back), (3, 3, m), across in cells and along in metres."""
        along = self._bodies[body].vertices @ self._frames[d]
        along[:, :2] /= self._cell
        x, y, _ = corners = flat_corners(along, self._bodies[body].triangles)
        facing = (x[1] - x[0]) * (y[2] - y[0]) - (x[2] - x[0]) * (y[1] - y[0])
        return corners[:, :, facing > 0.0 if ahead else facing < 0.0]

    def _near(
        self, body: int, d: int, ahead: bool, rows: IntArray, columns: IntArray
    ) -> tuple[FloatArray, IntArray, IntArray]:
        """Faces that touch the given cells, (3, 3, m) in metres; and the cell of each touch, and its face."""
        corners = self._looking(body, d, ahead)
        use = np.ones(corners.shape[2], dtype=bool)
        for axis, cells in ((0, columns), (1, rows)):
            use &= (most_corner(corners[axis]) >= cells.min()) & (least_corner(corners[axis]) <= cells.max() + 1)
        corners = np.ascontiguousarray(corners[:, :, use])
        parts = [(_cell_key(part.row, part.column), part.triangle) for part in fragments(corners, touched=True)]
        none = np.zeros(0, dtype=np.int64)
        key = np.concatenate([none, *(p[0] for p in parts)])
        face = np.concatenate([none, *(p[1] for p in parts)])
        order = np.argsort(key, kind="stable")
        corners[:2] *= self._cell
        return corners, key[order], face[order]

    def _exactly(self, mover: int, other: int, d: int, rows: IntArray, columns: IntArray) -> bool:
        """The last word, from the triangles in the cells (k,) where it is open."""
        keys = np.sort(_cell_key(rows, columns))
        back, back_key, back_face = self._near(mover, d, False, rows, columns)
        front, front_key, front_face = self._near(other, d, True, rows, columns)
        ends = [[np.searchsorted(key, keys, side=side) for side in ("left", "right")] for key in (back_key, front_key)]
        counts = [end - start for start, end in ends]
        lows, highs = (
            [[bound(part[axis]) for axis in range(3)] for part in (back, front)]
            for bound in (least_corner, most_corner)
        )
        faces = front.shape[2]
        for cell, at in runs_in_parts(counts[0] * counts[1], _PAIRS):
            a = back_face[ends[0][0][cell] + at // counts[1][cell]]
            b = front_face[ends[1][0][cell] + at % counts[1][cell]]
            near = highs[1][2][b] > lows[0][2][a] + OVERLAP
            for axis in (0, 1):
                near &= highs[1][axis][b] > lows[0][axis][a] + OVERLAP
                near &= highs[0][axis][a] > lows[1][axis][b] + OVERLAP
            pair = np.unique(a[near] * faces + b[near])
            if bool(over(back[:, :, pair // faces], front[:, :, pair % faces]).any()):
                return True
        return False


_PAIRS: Final = 1 << 18
"""Pairs of triangles compared together."""

_ROUNDING: Final = 1e-9
"""Metres by which one crossing worked out along either side may differ."""

_REACH: Final = 1 << 24
"""More than the cells to either side of the middle, so that a row and a column share one number."""


def _cell_key(row: IntArray, column: IntArray) -> IntArray:
    return (row + _REACH) * (2 * _REACH) + column + _REACH


def _frame(direction: FloatArray) -> FloatArray:
    """A right-handed frame with the direction as its third column, (3, 3)."""
    first = np.cross(np.eye(3)[int(np.argmin(np.abs(direction)))], direction)
    first /= np.linalg.norm(first)
    return np.stack((first, np.cross(direction, first), direction), axis=1)


def _shared(one: _Envelope, two: _Envelope) -> tuple[tuple[int, int], tuple[slice, slice], tuple[slice, slice]]:
    """The part of the grid that both have: its first row and column, and where it lies in each."""
    start = [max(one.corner[k], two.corner[k]) for k in (0, 1)]
    stop = [max(min(one.corner[k] + one.low.shape[k], two.corner[k] + two.low.shape[k]), start[k]) for k in (0, 1)]
    mine, its = (
        (
            slice(start[0] - side.corner[0], stop[0] - side.corner[0]),
            slice(start[1] - side.corner[1], stop[1] - side.corner[1]),
        )
        for side in (one, two)
    )
    return (start[0], start[1]), mine, its


def over(p: FloatArray, q: FloatArray) -> NDArray[np.bool_]:
    """For pairs of triangles, whether some of the second lies straight over some of the first, touching apart.

    Parameters
    ----------
    p, q : (3, 3, k) axis, corner, pair; the third axis is the height.

    Notes
    -----
    Seen from above the two overlap when no side of either parts them (separating axes). The overlap is a polygon whose
    corners are corners of one in the other and crossings of sides; height over height is linear on it, so its largest
    value is at one of those.
    """
    out = np.zeros(p.shape[2], dtype=bool)
    rows = np.arange(len(out))
    for which in (0, 1):
        for k in range(3):
            t = q if which else p
            across, up = (t[axis, (k + 1) % 3] - t[axis, k] for axis in (0, 1))
            length = np.hypot(across, up)
            length[length == 0.0] = 1.0
            x, y = -up / length, across / length
            a, b = (side[0] * x + side[1] * y for side in (p, q))
            meets = np.minimum(most_corner(a), most_corner(b)) - np.maximum(least_corner(a), least_corner(b)) > OVERLAP
            if not meets.all():
                rows, p, q = rows[meets], p[:, :, meets], q[:, :, meets]
    if len(rows):
        best = np.full(len(rows), -np.inf)
        for k in range(3):
            best = np.maximum(best, _above(p[:, k], q, 1.0))
            best = np.maximum(best, _above(q[:, k], p, -1.0))
            for j in range(3):
                best = np.maximum(best, _crossing(p[:, k], p[:, (k + 1) % 3], q[:, j], q[:, (j + 1) % 3]))
        out[rows] = best > OVERLAP
    return out


def _above(point: FloatArray, triangle: FloatArray, sign: float) -> FloatArray:
    """`sign` times (height of the triangle minus height of the point) where the point lies in it; else -inf.

    point : (3, k). triangle : (3, 3, k) axis, corner.
    """
    a, b, c = triangle[:, 0], triangle[:, 1], triangle[:, 2]
    ab, ac, ap = b - a, c - a, point - a
    det = ab[0] * ac[1] - ab[1] * ac[0]
    det = np.where(det == 0.0, 1.0, det)
    s = (ap[0] * ac[1] - ap[1] * ac[0]) / det
    t = (ab[0] * ap[1] - ab[1] * ap[0]) / det
    inside = (s >= 0.0) & (t >= 0.0) & (s + t <= 1.0)
    height = a[2] + s * ab[2] + t * ac[2]
    return np.where(inside, sign * (height - point[2]), -np.inf)


def _crossing(a: FloatArray, b: FloatArray, c: FloatArray, d: FloatArray) -> FloatArray:
    """Height of side c-d over side a-b where they cross seen from above, ends (3, k); -inf where they do not."""
    ab, cd, ac = b - a, d - c, c - a
    det = ab[0] * cd[1] - ab[1] * cd[0]
    solid = det != 0.0
    det = np.where(solid, det, 1.0)
    s = (ac[0] * cd[1] - ac[1] * cd[0]) / det
    t = (ac[0] * ab[1] - ac[1] * ab[0]) / det
    crosses = solid & (s >= 0.0) & (s <= 1.0) & (t >= 0.0) & (t <= 1.0)
    # Sides along one line give s and t of pure rounding: then the two places differ.
    apart = c + t * cd - a - s * ab
    crosses &= np.hypot(apart[0], apart[1]) <= _ROUNDING
    return np.where(crosses, apart[2], -np.inf)
