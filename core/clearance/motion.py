# SPDX-License-Identifier: GPL-3.0-or-later
"""How a body moves: along its way in, and by what it rolls, bounces and strays beside it.

A pose is given by four numbers: the place along the way, the extra roll, the bounce and the sideways error. A *cell*
is a range of each. The search for the least distance halves cells until nothing closer can hide in one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .turning import turn_about, turn_of

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WAY, ROLL, BOUNCE, SIDE = range(4)
"""Columns of a cell's ranges."""

_SIDEWAYS_TURN: Final = 1.5
"""The level heading turns at most this times as fast as a body whose pitch stays under 48 degrees (1 / cos 48)."""

_UP: Final = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class Motion:
    """A way of poses, relative to the body as it stands at rest.

    Attributes
    ----------
    places : (k, 3) where the body's origin lies at each key pose, metres; straight lines between.
    turns : (k, 3, 3) turn from the pose at rest at each key pose; turned evenly between.
    ahead : (3,) the body's long axis at rest, unit.
    roll, bounce, side : how far to either side each may go, radians and metres.

    Notes
    -----
    One key pose is a body that stands still. The last key pose is the one at rest.
    """

    places: FloatArray
    turns: FloatArray
    ahead: FloatArray
    roll: float = 0.0
    bounce: float = 0.0
    side: float = 0.0

    @property
    def length(self) -> float:
        """Metres along the way."""
        return float(np.linalg.norm(np.diff(self.places, axis=0), axis=1).sum())

    def rest(self) -> Motion:
        """The pose at rest alone, without roll, bounce and sideways error."""
        return Motion(self.places[-1:], self.turns[-1:], self.ahead)

    def shifted(self, aside: float) -> Motion:
        """The same way, moved to the left of its level heading by `aside` metres."""
        left = level_left(self.turns @ self.ahead)
        return Motion(self.places + aside * left, self.turns, self.ahead, self.roll, self.bounce, self.side)

    def at(self, numbers: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Turn (n, 3, 3) and place (n, 3) of poses (n, 4): way in key poses from 0, roll, bounce, side."""
        segments = max(len(self.places) - 1, 1)
        segment = np.clip(np.floor(numbers[:, WAY]).astype(np.int64), 0, segments - 1)
        share = numbers[:, WAY] - segment
        if len(self.places) == 1:
            turns, places = np.tile(self.turns[0], (len(numbers), 1, 1)), np.tile(self.places[0], (len(numbers), 1))
        else:
            axes, angles = self._steps()
            turns = turn_about(axes[segment], angles[segment] * share) @ self.turns[segment]
            places = self.places[segment] + share[:, None] * (self.places[segment + 1] - self.places[segment])
        places = places + numbers[:, BOUNCE, None] * _UP
        if self.side > 0.0:
            places = places + numbers[:, SIDE, None] * level_left(turns @ self.ahead)
        if self.roll > 0.0:
            turns = turns @ turn_about(self.ahead, numbers[:, ROLL])
        return np.ascontiguousarray(turns), places

    def _steps(self) -> tuple[FloatArray, FloatArray]:
        """Axis and angle of the turn from each key pose to the next."""
        found = [turn_of(after @ before.T) for before, after in zip(self.turns[:-1], self.turns[1:], strict=True)]
        return np.array([axis for axis, _ in found]).reshape(-1, 3), np.array([angle for _, angle in found])


def level_left(ahead: FloatArray) -> FloatArray:
    """Level unit vectors to the left of directions (..., 3)."""
    left = np.stack([-ahead[..., 1], ahead[..., 0], np.zeros_like(ahead[..., 0])], axis=-1)
    result: FloatArray = left / np.maximum(np.linalg.norm(left, axis=-1, keepdims=True), 1e-12)
    return result


class Cells:
    """All cells made so far, each with the pose in its middle; a cell's halves are made when first asked for.

    Parameters
    ----------
    motion : the way. reach, off_axis : metres from the body's origin and from its long axis to its farthest point.
    """

    low: FloatArray
    high: FloatArray
    """(n, 4) ranges."""
    half: FloatArray
    """(n, 4) half of each range."""
    turn: FloatArray
    place: FloatArray
    """(n, 3, 3) and (n, 3): the pose in the middle."""
    slide: FloatArray
    """(n, 3) metres: half of what the origin goes along its way."""
    left: FloatArray
    """(n, 3) level, square to the heading in the middle."""
    axis: FloatArray
    """(n, 3, 2) axes of the turn along the way and of the roll, in the middle."""
    angle: FloatArray
    """(n, 2) half of either turn, radians."""
    stray: FloatArray
    """(n,) metres by which the sideways error changes because the heading does."""
    travel: FloatArray
    """(n, 3) metres that the origin goes at most to either side of its middle place, along each axis."""
    spin: FloatArray
    """(n,) radians that the body turns at most."""
    motion_of: FloatArray
    """(n,) metres that any point of the body moves at most."""

    def __init__(self, motion: Motion, reach: float, off_axis: float) -> None:
        self.motion, self.reach, self.off_axis = motion, reach, off_axis
        segments = max(len(motion.places) - 1, 1)
        spans = np.array([motion.roll, motion.bounce, motion.side])
        start = np.arange(segments, dtype=np.float64)
        moving = 1.0 if len(motion.places) > 1 else 0.0
        self.low = np.column_stack([start, np.tile(-spans, (segments, 1))])
        self.high = np.column_stack([start + moving, np.tile(spans, (segments, 1))])
        self.roots = np.arange(segments, dtype=np.int64)
        self._axes, self._angles = motion._steps() if moving else (np.zeros((1, 3)), np.zeros(1))
        self._hops = np.diff(motion.places, axis=0) if moving else np.zeros((1, 3))
        self.still = bool((self.low == self.high).all())
        self.children = np.full(segments, -1, dtype=np.int64)
        self._measure(slice(0, segments))

    def _measure(self, rows: slice) -> None:
        low, high = self.low[rows], self.high[rows]
        middle, half = 0.5 * (low + high), 0.5 * (high - low)
        turn, place = self.motion.at(middle)
        segment = np.clip(np.floor(middle[:, WAY]).astype(np.int64), 0, len(self._hops) - 1)
        slide = half[:, WAY, None] * self._hops[segment]
        left = level_left(turn @ self.motion.ahead)
        axis = np.stack([self._axes[segment], turn @ self.motion.ahead], axis=2)
        angle = np.stack([half[:, WAY] * self._angles[segment], half[:, ROLL]], axis=1)
        stray = _SIDEWAYS_TURN * angle[:, 0] * self.motion.side
        travel = np.abs(slide) + np.abs(left) * half[:, SIDE, None]
        travel[:, 2] += half[:, BOUNCE]
        new = {
            "turn": turn, "place": place, "slide": slide, "left": left, "axis": axis, "angle": angle, "half": half,
            "stray": stray, "travel": travel, "spin": angle.sum(axis=1),
            "motion_of": np.linalg.norm(travel, axis=1) + angle @ np.array([self.reach, self.off_axis]) + stray,
        }  # fmt: skip
        for name, value in new.items():
            setattr(self, name, value if rows.start == 0 else np.concatenate([getattr(self, name), value]))

    def halves(self, cells: IntArray) -> IntArray:
        """First of the two halves of each cell; the other has the next number. Cut where the body moves most."""
        fresh = np.unique(cells[self.children[cells] < 0])
        if len(fresh):
            moves = np.stack(
                [
                    np.linalg.norm(self.slide[fresh], axis=1) + self.angle[fresh, 0] * self.reach + self.stray[fresh],
                    self.angle[fresh, 1] * self.off_axis,
                    self.half[fresh, BOUNCE],
                    self.half[fresh, SIDE],
                ],
                axis=1,
            )
            pick = np.argmax(moves, axis=1)
            each = np.arange(len(fresh))
            low, high = np.repeat(self.low[fresh], 2, axis=0), np.repeat(self.high[fresh], 2, axis=0)
            middle = 0.5 * (self.low[fresh, pick] + self.high[fresh, pick])
            high[2 * each, pick] = middle
            low[2 * each + 1, pick] = middle
            start = len(self.low)
            self.low, self.high = np.concatenate([self.low, low]), np.concatenate([self.high, high])
            self.children = np.concatenate([self.children, np.full(len(low), -1, dtype=np.int64)])
            self.children[fresh] = start + 2 * each
            self._measure(slice(start, start + len(low)))
        return self.children[cells]
