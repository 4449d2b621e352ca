# SPDX-License-Identifier: GPL-3.0-or-later
"""The block-up that a scan was really built with, from three points picked on a glue line that shows."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import JobError
from .layout import Layout

FloatArray = NDArray[np.float64]

STEEPEST: Final = math.radians(10.0)
"""A line of points that leans more than this against level, and a plane that leans more against upright, is neither."""
_APART: Final = 0.1
"""Metres in plan that points must be apart to tell the direction of an upright glue line."""


@dataclass(frozen=True)
class FittedLayout:
    """A layout moved onto a glue line.

    Attributes
    ----------
    layout : with its origin, and for an upright glue line its rotation, changed.
    line : ``bed`` (between courses), ``end`` (across the billets' length) or ``side`` (along it).
    off : largest distance of the points from the glue plane, metres.
    """

    layout: Layout
    line: str
    off: float


def fit_to_points(layout: Layout, points: ArrayLike) -> FittedLayout:
    """Move a block-up so that one of its glue planes runs through points picked on a glue line.

    Parameters
    ----------
    layout : billets and a first guess of the position; the nearest glue plane of the right kind is moved.
    points : (n, 3) metres, job coordinates, three or more. Points at one height lie between two courses; others lie on
        an upright glue line, whose direction is theirs in plan where they are 100 mm or more apart there, else that
        of the layout. Which of the two directions of billets it is, is the one that turns the layout less.

    Raises
    ------
    JobError
        Fewer than three points, points nearly in one place, or points on no level and no upright plane.
    """
    p = np.asarray(points, dtype=np.float64).reshape(-1, 3)
    if len(p) < 3:
        raise JobError(f"{len(p)} points are too few for a glue line; pick three on one that shows")
    middle = p.mean(axis=0)
    apart = float(np.linalg.norm(p - middle, axis=1).max())
    if apart < 0.5 * _APART:
        raise JobError(
            f"the points lie within {2000.0 * apart:.0f} mm of each other; pick three further apart on one glue line"
        )
    flat = p[:, :2] - middle[:2]
    plan = float(np.linalg.norm(flat[:, None] - flat[None], axis=2).max())
    rise = float(np.ptp(p[:, 2]))
    if rise <= plan * math.tan(STEEPEST):
        return _bed(layout, p)
    _, _, axes = np.linalg.svd(flat)
    direction = axes[0] if plan >= _APART else None
    off_plan = float(np.abs(flat @ axes[1]).max())
    if direction is not None and off_plan > 0.5 * rise * math.tan(STEEPEST) + 0.01:
        raise JobError(
            f"the points lie on no level and no upright plane: they rise {1000.0 * rise:.0f} mm and are up to "
            f"{1000.0 * off_plan:.0f} mm off a straight line in plan; pick three on one glue line"
        )
    return _upright(layout, p, direction)


def _bed(layout: Layout, p: FloatArray) -> FittedLayout:
    """Shift up or down: the nearest course plane comes to the points' mean height."""
    z = float(p[:, 2].mean())
    at = z - layout.origin[2]
    course = layout.course_at(at)
    planes = [layout.level(course), layout.level(course + 1)]
    plane = min(planes, key=lambda level: abs(level - at))
    x, y, low = layout.origin
    return FittedLayout(replace(layout, origin=(x, y, low + at - plane)), "bed", float(np.abs(p[:, 2] - z).max()))


def _upright(layout: Layout, p: FloatArray, direction: FloatArray | None) -> FittedLayout:
    """Turn about the points' middle onto their direction, then shift square to it."""
    middle = p.mean(axis=0)
    along = layout.turn([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])[:, :2]
    if direction is None:
        # Without a direction: the kind of glue line whose nearest plane needs the least shift.
        options = [(abs(_shift(layout, p, axis)), axis) for axis in range(2)]
        axis, turn = min(options)[1], 0.0
    else:
        # An end joint runs across the length, square to axis 0; a side joint along it.
        turns = [(_between(along[1 - axis], direction), axis) for axis in range(2)]
        turn, axis = min(turns, key=lambda row: (abs(row[0]), row[1]))
    c, s = math.cos(turn), math.sin(turn)
    away = np.array(layout.origin[:2]) - middle[:2]
    x, y = middle[0] + c * away[0] - s * away[1], middle[1] + s * away[0] + c * away[1]
    turned = replace(layout, rotation=layout.rotation + turn, origin=(float(x), float(y), layout.origin[2]))
    shift = turned.turn([[_shift(turned, p, axis) if k == axis else 0.0 for k in range(3)]])[0]
    moved = replace(turned, origin=(float(x + shift[0]), float(y + shift[1]), layout.origin[2]))
    off = float(np.abs(moved.to_block(p)[:, axis] - moved.to_block([middle])[0, axis]).max())
    return FittedLayout(moved, ("end", "side")[axis], off)


def _between(a: FloatArray, b: FloatArray) -> float:
    """Signed angle from one line to another, from minus to plus a quarter turn."""
    angle = math.atan2(float(a[0] * b[1] - a[1] * b[0]), float(a @ b))
    return (angle + 0.5 * math.pi) % math.pi - 0.5 * math.pi


def _shift(layout: Layout, p: FloatArray, axis: int) -> float:
    """How far the nearest wall across an axis is from the points' middle, metres along it."""
    x = layout.to_block([p.mean(axis=0)])[0]
    size = layout.billet[axis]
    at = float(x[axis]) - layout.offset(layout.course_at(float(x[2])))[axis]
    return at - round(at / size) * size
