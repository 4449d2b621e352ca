# SPDX-License-Identifier: GPL-3.0-or-later
"""The least distance between a carving and a body that moves: one search for poses, sweeps and points.

Two trees of boxes and the ranges of the pose (`Cells`) are gone down together, many pairs at a time, the nearest
first. A pair of boxes over a range of poses cannot come nearer than the boxes, grown by what the body moves, stand
apart; once that is more than the least distance found so far the pair is dropped. For two triangles the bound
is finer: they are convex, so a move brings them nearer by no more than its share along the line between their
nearest points (conservative advancement: B. Mirtich, Impulse-based dynamic simulation of rigid body systems, 1996,
from memory, unverified).
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .motion import BOUNCE, ROLL, SIDE, WAY, Cells, Motion
from .tree import Forest
from .triangles import point_distance, triangle_distance

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_FIRST, _GROW, _BLOCK = 64, 1.25, 16_384
"""Pairs of boxes taken at a time. First a few, which go straight down to a good first distance; at last so many that
numpy's own cost per call is small, and that still stay in the cache."""

_LEAVES: Final = 2_048
"""Pairs of triangles worked out at a time; between two lots the bound is made use of."""

_ALIKE: Final = 0.6
"""A box is halved when it is at least this share of the larger one: halving both at once saves a round."""


@dataclass(frozen=True, eq=False)
class Nearest:
    """Least distances, group by group.

    Attributes
    ----------
    distance : (g,) metres, `cap` where nothing comes nearer. 0 only where they touch.
    shape : (g,) row of the forest's shapes; -1 where nothing comes nearer than the cap.
    other : (g,) row of the body's shapes.
    here, there : (g, 3) nearest points on the forest and on the body, metres, in the pose.
    pose : (g, 4) the pose, in the numbers of `Motion.at`.
    """

    distance: FloatArray
    shape: IntArray
    other: IntArray
    here: FloatArray
    there: FloatArray
    pose: FloatArray


def least_distance(
    forest: Forest,
    body: Forest,
    motion: Motion,
    cap: float | FloatArray = np.inf,
    tolerance: float = 0.0,
    share: float = 0.0,
    first: bool = False,
    enough: float = -np.inf,
    heed: Callable[[], None] | None = None,
) -> Nearest:
    """Least distance of each group of `forest` from the body over all its poses.

    Parameters
    ----------
    forest : triangles or points, standing still. body : triangles of the body at rest, from its own origin.
    motion : its poses.
    cap : metres, one or one for each group: farther is not looked for.
    tolerance : metres by which the true least distance may be smaller than the one given, for a body that moves;
        0 for one that stands still (then the result is exact).
    share : the same as a share of the distance; the larger of the two counts.
    first : stop a group at anything nearer than its cap, instead of the nearest.
    enough : metres; a group that has come as near stops there, with a distance that may be far too large.
    heed : called between rounds; may raise `Cancelled`.

    Returns
    -------
    Nearest
        The true least distance lies in [distance - max(tolerance, share x distance), distance].
    """
    return _Search(forest, body, motion, cap, tolerance, share, first, enough).run(heed)


class _Search:
    def __init__(
        self,
        forest: Forest,
        body: Forest,
        motion: Motion,
        cap: float | FloatArray,
        tolerance: float,
        share: float,
        first: bool,
        enough: float,
    ) -> None:
        self.a, self.b, self.motion = forest, body, motion
        groups = int(forest.group.max(initial=-1)) + 1
        groups = max(groups, len(forest.roots))
        self.reach = np.linalg.norm(np.abs(body.boxes[:, :3]) + body.boxes[:, 3:], axis=1)
        self.size_a = np.linalg.norm(forest.boxes[:, 3:], axis=1)
        self.size_b = np.linalg.norm(body.boxes[:, 3:], axis=1)
        off_axis = np.linalg.norm(np.cross(body.vertices, motion.ahead), axis=1)
        self.cells = Cells(motion, float(self.reach.max(initial=0.0)), float(off_axis.max(initial=0.0)))
        self.turned = not bool((motion.turns == np.eye(3)).all()) or motion.roll > 0.0
        self.tolerance, self.share, self.first, self.enough = tolerance, share, first, enough
        self.best = np.array(np.broadcast_to(np.asarray(cap, dtype=np.float64), (groups,)))
        self.shape, self.other = np.full(groups, -1, dtype=np.int64), np.full(groups, -1, dtype=np.int64)
        self.here, self.there = np.zeros((groups, 3)), np.zeros((groups, 3))
        self.pose = np.zeros((groups, 4))
        self.heap: list[tuple[float, int, tuple[FloatArray, IntArray, IntArray, IntArray]]] = []
        self.pushed, self.lot = 0, _FIRST

    def run(self, heed: Callable[[], None] | None) -> Nearest:
        roots = self.a.roots[self.a.roots >= 0]
        if len(roots) and len(self.b.boxes):
            a, cell = (grid.ravel() for grid in np.meshgrid(roots, self.cells.roots, indexing="ij"))
            self._push(a, np.zeros(len(a), dtype=np.int64), cell)
        while self.heap:
            if heed is not None:
                heed()
            bound, a, b, cell = self._pop()
            leaf = (self.a.shape[a] >= 0) & (self.b.shape[b] >= 0)
            if leaf.any():
                self._leaves(bound[leaf], a[leaf], b[leaf], cell[leaf])
                rest = ~leaf
                a, b, cell = a[rest], b[rest], cell[rest]
            if len(a):
                self._halve(a, b, cell)
        return Nearest(self.best, self.shape, self.other, self.here, self.there, self.pose)

    def _limit(self, a: IntArray) -> FloatArray:
        """What a pair must stay under to matter, for the group of each node a."""
        best: FloatArray = self.best[self.a.group[a]]
        if self.enough > -np.inf:
            best = np.where(best <= self.enough, -np.inf, best)
        if self.first or self.cells.still:
            return best
        limit: FloatArray = best - self._slack(best)
        return limit

    def _push(self, a: IntArray, b: IntArray, cell: IntArray, bound: FloatArray | None = None) -> None:
        if bound is None:
            bound = self._bound(a, b, cell)
        keep = np.flatnonzero(bound < self._limit(a))
        keep = keep[np.argsort(bound[keep], kind="stable")]
        # Of equal bounds the youngest goes first: where all is 0, that goes straight down to a contact.
        for start in range(0, len(keep), self.lot):
            rows = keep[start : start + self.lot]
            heapq.heappush(
                self.heap, (float(bound[rows[0]]), -self.pushed, (bound[rows], a[rows], b[rows], cell[rows]))
            )
            self.pushed += 1

    def _pop(self) -> tuple[FloatArray, IntArray, IntArray, IntArray]:
        """The nearest pairs that still matter, about a block of them."""
        lots, count = [], 0
        self.lot = min(int(self.lot * _GROW), _BLOCK)
        while self.heap and count < self.lot // 2:
            lot = heapq.heappop(self.heap)[2]
            lots.append(lot)
            count += len(lot[0])
        bound, a, b, cell = (np.concatenate(column) for column in zip(*lots, strict=True)) if len(lots) > 1 else lots[0]
        keep = bound < self._limit(a)
        return bound[keep], a[keep], b[keep], cell[keep]

    def _bound(self, a: IntArray, b: IntArray, cell: IntArray) -> FloatArray:
        """Metres that pairs of boxes stand apart at least, over all poses of their cells; below 0 tells nothing."""
        one, two = self.a.boxes[a].T, self.b.boxes[b].T
        middle, half = two[:3], two[3:]
        if self.turned:
            turn = self.cells.turn[cell]
            middle = np.einsum("nij,jn->in", turn, middle)
            half = np.einsum("nij,jn->in", np.abs(turn), half)
        place = self.cells.place[cell].T
        gap = np.abs(one[:3] - middle - place) - one[3:] - half
        if self.cells.still:
            gap = np.maximum(gap, 0.0)
            still: FloatArray = np.sqrt(gap[0] * gap[0] + gap[1] * gap[1] + gap[2] * gap[2])
            return still
        gap -= self.cells.travel[cell].T
        if self.turned:
            axis, angle = self.cells.axis[cell], self.cells.angle[cell]
            for k in range(2):
                gap -= angle[:, k] * _swing(axis[:, :, k].T, middle, half)
        gap = np.maximum(gap, 0.0)
        apart: FloatArray = np.sqrt(gap[0] * gap[0] + gap[1] * gap[1] + gap[2] * gap[2])
        if self.turned:
            spin = self.cells.spin[cell]
            apart -= 0.5 * spin * spin * self.reach[b] + self.cells.stray[cell]
        return apart

    def _halve(self, a: IntArray, b: IntArray, cell: IntArray) -> None:
        """Take each pair apart: the largest of the two boxes and the move, and what is about as large."""
        size_a, size_b, move = self.size_a[a], self.size_b[b], self.cells.motion_of[cell]
        inner_a, inner_b = self.a.child[a] >= 0, self.b.child[b] >= 0
        largest = np.maximum(np.where(inner_a, size_a, -1.0), np.where(inner_b, size_b, -1.0))
        in_cell = (move > largest) & (move > 0.0)
        in_a = ~in_cell & inner_a & (size_a >= _ALIKE * largest)
        in_b = ~in_cell & inner_b & (size_b >= _ALIKE * largest)
        if in_cell.any():
            rows = np.flatnonzero(in_cell)
            child = self.cells.halves(cell[rows])
            self._push(np.repeat(a[rows], 2), np.repeat(b[rows], 2), (child[:, None] + np.arange(2)).ravel())
        rows = np.flatnonzero(~in_cell)
        a, b, cell, in_a, in_b = a[rows], b[rows], cell[rows], in_a[rows], in_b[rows]
        first_a, first_b = np.where(in_a, self.a.child[a], a), np.where(in_b, self.b.child[b], b)
        pair_a, pair_b = in_a & ~self.a.single[a], in_b & ~self.b.single[b]
        parts = [(first_a, first_b, cell)]
        for more_a, more_b, where in ((1, 0, pair_a), (0, 1, pair_b), (1, 1, pair_a & pair_b)):
            some = np.flatnonzero(where)
            parts.append((first_a[some] + more_a, first_b[some] + more_b, cell[some]))
        self._push(*(np.concatenate(column) for column in zip(*parts, strict=True)))

    def _leaves(self, bound: FloatArray, a: IntArray, b: IntArray, cell: IntArray) -> None:
        """Work out pairs of shapes in the middle of their cells; those that may come nearer go on in halved cells."""
        order = np.argsort(bound, kind="stable")
        again = []
        for start in range(0, len(order), _LEAVES):
            rows = order[start : start + _LEAVES]
            rows = rows[bound[rows] < self._limit(a[rows])]
            if len(rows):
                again.append(self._work_out(a[rows], b[rows], cell[rows]))
        if again and not self.cells.still:
            one, two, three, least = (np.concatenate(column) for column in zip(*again, strict=True))
            if len(one):
                child = self.cells.halves(three)
                child = (child[:, None] + np.arange(2)).ravel()
                one, two = np.repeat(one, 2), np.repeat(two, 2)
                self._push(one, two, child, np.maximum(np.repeat(least, 2), self._bound(one, two, child)))

    def _work_out(self, a: IntArray, b: IntArray, cell: IntArray) -> tuple[IntArray, IntArray, IntArray, FloatArray]:
        numbers = 0.5 * (self.cells.low[cell] + self.cells.high[cell])
        turn, place = self.cells.turn[cell], self.cells.place[cell]
        apart, here, there, corners = self._apart(a, b, turn, place)
        self._note(a, b, apart, here, there, numbers)
        if self.cells.still:
            none = np.zeros(0, dtype=np.int64)
            return none, none, none, np.zeros(0)
        rows = np.flatnonzero((apart > 0.0) & (self.cells.motion_of[cell] > 0.0))
        a, b, cell, numbers = a[rows], b[rows], cell[rows], numbers[rows]
        normal = (there[:, rows] - here[:, rows]) / apart[rows]
        least, numbers = self._nearer(cell, numbers, normal, corners[:, :, rows], self.reach[b])
        least += apart[rows]
        rows = np.flatnonzero(least < self._limit(a))
        a, b, cell, least, numbers = a[rows], b[rows], cell[rows], least[rows], numbers[rows]
        if len(rows):  # the pose of the range that should come nearest
            turn, place = self.motion.at(numbers)
            self._note(a, b, *self._apart(a, b, turn, place)[:3], numbers)
            rows = np.flatnonzero(
                (least < self._limit(a)) & (self.cells.motion_of[cell] > self._slack(self.best[self.a.group[a]]))
            )
        return a[rows], b[rows], cell[rows], least[rows]

    def _slack(self, best: FloatArray) -> FloatArray:
        """Metres by which a least distance may be too large: the tolerance.

        A cell in which the body moves less needs no halving: no pose of it comes nearer than its middle by more.
        """
        slack: FloatArray = np.maximum(self.tolerance, self.share * np.where(np.isfinite(best), best, 0.0))
        return slack

    def _apart(
        self, a: IntArray, b: IntArray, turn: FloatArray, place: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Distance, nearest points and the body's corners from its origin (3, 3, n), turned, for pairs of leaves."""
        corners = self.b.vertices[self.b.shapes[self.b.shape[b]]].transpose(2, 1, 0)
        if self.turned:
            corners = np.einsum("nij,jcn->icn", turn, corners)
        corners = np.ascontiguousarray(corners)
        moved = corners + place.T[:, None]
        shapes = self.a.shapes[self.a.shape[a]]
        standing = np.ascontiguousarray(self.a.vertices[shapes].transpose(2, 1, 0))
        if shapes.shape[1] == 1:
            apart, there = point_distance(standing[:, 0], moved)
            return apart, standing[:, 0], there, corners
        return *triangle_distance(standing, moved), corners

    def _nearer(
        self, cell: IntArray, numbers: FloatArray, normal: FloatArray, corners: FloatArray, reach: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """Bound on how much nearer (0 or below, metres) a pair comes within its cell, and the pose for which it holds.

        First order along the line between the nearest points; what turning adds at second order is taken off whole.
        """
        cells = self.cells
        slide = (normal * cells.slide[cell].T).sum(axis=0)
        left = (normal * cells.left[cell].T).sum(axis=0)
        half = cells.half[cell]
        least = -np.abs(slide) - np.abs(left) * half[:, SIDE] - np.abs(normal[2]) * half[:, BOUNCE]
        ends = np.array(numbers)
        ends[:, WAY] -= np.sign(slide) * half[:, WAY]
        ends[:, SIDE] -= np.sign(left) * half[:, SIDE]
        ends[:, BOUNCE] -= np.sign(normal[2]) * half[:, BOUNCE]
        if self.turned:
            axis, angle, spin = cells.axis[cell], cells.angle[cell], cells.spin[cell]
            worst = np.zeros((3, len(cell)))
            lean = []
            for k in range(2):
                turning = np.stack([_triple(normal, axis[:, :, k].T, corners[:, c]) for c in range(3)])
                worst += np.abs(turning) * angle[:, k]
                lean.append(turning.mean(axis=0))
            least -= worst.max(axis=0) + 0.5 * spin * spin * reach + cells.stray[cell]
            along = slide + lean[0] * angle[:, 0]
            ends[:, WAY] = numbers[:, WAY] - np.sign(along) * half[:, WAY]
            ends[:, ROLL] -= np.sign(lean[1]) * half[:, ROLL]
        return least, ends

    def _note(
        self,
        a: IntArray,
        b: IntArray,
        apart: FloatArray,
        here: FloatArray,
        there: FloatArray,
        numbers: FloatArray,
    ) -> None:
        """Keep what is nearer than the best so far."""
        group = self.a.group[a]
        rows = np.flatnonzero(apart < self.best[group])
        if len(rows) == 0:
            return
        rows = rows[np.argsort(-apart[rows], kind="stable")]  # of several for a group the last, the nearest, stays
        group = group[rows]
        self.best[group] = -1.0 if self.first else apart[rows]
        self.shape[group], self.other[group] = self.a.shape[a[rows]], self.b.shape[b[rows]]
        self.here[group], self.there[group] = here[:, rows].T, there[:, rows].T
        self.pose[group] = numbers[rows]


def _swing(axis: FloatArray, middle: FloatArray, half: FloatArray) -> FloatArray:
    """Most that each component of axis x arm can be for arms in boxes: (3, n) each."""
    size = np.abs(axis)
    rows = []
    for i, j in ((1, 2), (2, 0), (0, 1)):
        rows.append(np.abs(axis[i] * middle[j] - axis[j] * middle[i]) + size[i] * half[j] + size[j] * half[i])
    return np.stack(rows)


def _triple(normal: FloatArray, axis: FloatArray, arm: FloatArray) -> FloatArray:
    """Component along `normal` of the velocity axis x arm."""
    x = axis[1] * arm[2] - axis[2] * arm[1]
    y = axis[2] * arm[0] - axis[0] * arm[2]
    z = axis[0] * arm[1] - axis[1] * arm[0]
    result: FloatArray = normal[0] * x + normal[1] * y + normal[2] * z
    return result
