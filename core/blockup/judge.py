# SPDX-License-Identifier: GPL-3.0-or-later
"""Counts the billets of many positions by points in and on the carving instead of its triangles."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from .held import Held
from .layout import Layout
from .samples import INNER, inner_points, snug_turn, surface_points

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_TURNS: Final = 12
"""Angles in half a turn: every 15 degrees, besides those that suit the carving's outline."""
_SHIFTS: Final = 4
"""Even shifts along each side, besides those that bring a wall to the carving's ends."""
_SHRINK: Final = 1e-4
"""Share by which points move towards the middle, so that a flat face on a wall lies on its own side of it."""


@dataclass(frozen=True, eq=False)
class Judge:
    """Points of a carving by course; see `Judge.of`."""

    surface: FloatArray
    """(n, 3) metres, job coordinates."""
    points: FloatArray
    """The same, moved a little towards the middle, then those inside."""
    course: IntArray
    """Course of each of `points`, from the lowest."""
    walls: FloatArray
    """Heights of the courses' beds over the layout's origin, metres."""
    offset: FloatArray
    """(courses, 2) shift of each course, metres."""
    first: int
    layout: Layout
    margin: float
    step: float

    @classmethod
    def of(cls, mesh: Mesh, layout: Layout, margin: float, step: float) -> Judge:
        """Thin a carving out to points about `step` metres apart; heights and stagger are those of the layout."""
        low, high = (float(pick(mesh.vertices[:, 2])) - layout.origin[2] for pick in (np.min, np.max))
        first, last = layout.course_at(low + 1e-9), layout.course_at(high - 1e-9)
        walls = [layout.level(k) for k in range(first, last + 2)]
        inside = [z for a, b in itertools.pairwise(walls) for z in _levels(a, min(b, high), step)]
        surface = surface_points(mesh, step)
        points = np.concatenate([surface, inner_points(mesh, [layout.origin[2] + z for z in inside], step)])
        middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
        points = middle + (points - middle) * (1.0 - _SHRINK)
        course = np.searchsorted(walls, points[:, 2] - layout.origin[2], side="right") - 1
        return cls(
            surface,
            points,
            np.clip(course, 0, len(walls) - 2).astype(np.int64),
            np.array(walls),
            np.array([layout.offset(k) for k in range(first, last + 1)]),
            first,
            layout,
            margin,
            step,
        )

    def turns(self, given: float) -> list[float]:
        """Angles to try: the given one, that of the smallest rectangle round the plan and square to it, even ones."""
        snug = snug_turn(self.surface)
        even = [k * math.pi / _TURNS for k in range(_TURNS)]
        wanted = [given, snug, snug + 0.5 * math.pi, *even]
        return [turn for k, turn in enumerate(wanted) if all(abs(turn - other) > 1e-6 for other in wanted[:k])]

    def at(self, turn: float) -> View:
        """The points as a block-up at this angle sees them."""
        c, s = math.cos(turn), math.sin(turn)
        frame = np.array([[c, -s], [s, c]])
        return View(self, turn, self.surface[:, :2] @ frame, self.points[:, :2] @ frame)


def _levels(low: float, high: float, step: float) -> list[float]:
    """Heights at which a course is looked into: near both faces, so that what runs through is seen to, and between."""
    near = min(0.25 * step, 0.25 * (high - low))
    return [low + near, 0.5 * (low + high), high - near]


class View:
    """A block-up at one angle: shifts to try, and what each holds."""

    def __init__(self, judge: Judge, turn: float, surface: FloatArray, points: FloatArray) -> None:
        self.judge, self.turn = judge, turn
        self.surface = surface
        self.columns = [np.ascontiguousarray(points[:, k]) for k in range(2)]
        self.columns.append(judge.points[:, 2] - judge.layout.origin[2])
        self.places: list[dict[float, tuple[IntArray, int]]] = [{}, {}]

    def shifts(self, most: int) -> Iterator[tuple[float, float]]:
        """Shifts along and across, metres, the likeliest first, at most so many."""
        judge = self.judge
        course = judge.course[: len(self.surface)]
        sides: list[list[float]] = []
        for axis in range(2):
            size = judge.layout.billet[axis]
            ends: list[float] = []
            for k in range(len(judge.offset)):
                here = self.surface[course == k, axis]
                if len(here):
                    ends += [float(here.min() - judge.offset[k, axis]), float(here.max() - judge.offset[k, axis])]
            wide = [end + (judge.margin if k % 2 else -judge.margin) for k, end in enumerate(ends)]
            even = [float(self.surface[:, axis].min()) + k * size / _SHIFTS for k in range(_SHIFTS)]
            raw = [math.fmod(value, size) for value in (*ends, *wide, *even)]
            sides.append([v for k, v in enumerate(raw) if all(abs(v - other) > 1e-12 for other in raw[:k])])
        pairs = itertools.product(range(len(sides[0])), range(len(sides[1])))
        for i, j in sorted(pairs, key=lambda p: (max(p), sum(p), p))[:most]:
            yield sides[0][i], sides[1][j]

    def origin(self, shift: tuple[float, float]) -> tuple[float, float]:
        """Origin of the block-up, x and y in job coordinates, for a shift."""
        c, s = math.cos(self.turn), math.sin(self.turn)
        return c * shift[0] - s * shift[1], s * shift[0] + c * shift[1]

    def _place(self, axis: int, shift: float) -> tuple[IntArray, int]:
        """Place of each point along an axis from the first that any has, and the number of that."""
        if shift not in self.places[axis]:
            judge = self.judge
            away = self.columns[axis] - (judge.offset[judge.course, axis] + shift)
            place = np.floor(away / judge.layout.billet[axis]).astype(np.int64)
            begin = int(place.min())
            self.places[axis][shift] = (place - begin, begin)
        return self.places[axis][shift]

    def held(self, shift: tuple[float, float]) -> Held:
        """Billets with points in them, and boxes round these, as `held_billets` would find but for the points' step."""
        judge = self.judge
        (along, i), (across, j) = self._place(0, shift[0]), self._place(1, shift[1])
        shape = (len(judge.offset), int(along.max()) + 1, int(across.max()) + 1)
        key = (judge.course * shape[1] + along) * shape[2] + across
        order = np.argsort(key.astype(np.uint16) if math.prod(shape) < 1 << 16 else key, kind="stable")
        ranked = key[order]
        start = np.flatnonzero(np.append(True, ranked[1:] != ranked[:-1]))
        low, high = np.full((*shape, 3), np.inf), np.full((*shape, 3), -np.inf)
        cells = np.unravel_index(ranked[start], shape)
        for axis in range(3):
            column = self.columns[axis][order]
            low[(*cells, axis)] = np.minimum.reduceat(column, start)
            high[(*cells, axis)] = np.maximum.reduceat(column, start)
        self._reach(low, high, shift, (i, j))
        rows = [tuple(row) for row in (np.stack(cells, axis=1) + np.array([judge.first, i, j])).tolist()]
        # In the block frame shifts are none: the origin lies at the shift.
        moved = np.array([shift[0], shift[1], 0.0])
        return Held(tuple((k, a, b) for k, a, b in rows), low[cells] - moved, high[cells] - moved)

    def _reach(self, low: FloatArray, high: FloatArray, shift: tuple[float, float], begin: tuple[int, int]) -> None:
        """Move box ends that are nearer to a wall than points stand apart onto it, where a billet lies beyond."""
        judge = self.judge
        there = np.isfinite(low[..., 0])
        near = INNER * judge.step
        for axis in range(2):
            size = judge.layout.billet[axis]
            place = np.arange(low.shape[axis + 1]) + begin[axis]
            wall = (judge.offset[:, axis] + shift[axis])[:, None] + place * size
            wall = np.broadcast_to(wall[:, :, None] if axis == 0 else wall[:, None, :], there.shape)
            pair = _beside(there, axis + 1)
            first, second = _pair(axis + 1)
            close = pair & (wall[second] - high[first][..., axis] < near)
            high[first][close, axis] = wall[second][close]
            close = pair & (low[second][..., axis] - wall[second] < near)
            low[second][close, axis] = wall[second][close]
        floor, roof = judge.walls[:-1, None, None], judge.walls[1:, None, None]
        close = there & (low[..., 2] - floor < judge.step)
        low[close, 2] = np.broadcast_to(floor, there.shape)[close]
        close = there & (roof - high[..., 2] < judge.step)
        close[-1] = False
        high[close, 2] = np.broadcast_to(roof, there.shape)[close]


def _pair(axis: int) -> tuple[tuple[slice, ...], tuple[slice, ...]]:
    """Slices of neighbours along an axis of a lattice."""
    first, second = [slice(None)] * 3, [slice(None)] * 3
    first[axis], second[axis] = slice(None, -1), slice(1, None)
    return tuple(first), tuple(second)


def _beside(there: NDArray[np.bool_], axis: int) -> NDArray[np.bool_]:
    """Where both of two neighbours along an axis hold something."""
    first, second = _pair(axis)
    both: NDArray[np.bool_] = there[first] & there[second]
    return both
