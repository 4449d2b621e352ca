# SPDX-License-Identifier: GPL-3.0-or-later
"""A profile moved square to itself by half the gap."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_STEP: Final = 1e-5
"""Share of its length over which a step in a moved profile is drawn: no wire can follow it closer."""


def offset_knots(points: FloatArray, distance: float) -> FloatArray:
    """Knots of a profile moved by `distance` metres square to itself, upwards where positive.

    Parameters
    ----------
    points : (k, 2) metres, strictly rising in u.

    Returns
    -------
    (j, 2) metres, strictly rising in u. Corners are mitred. Where kinks are tighter than the distance the moved lines
    cross each other, and the outer envelope is taken: the upper one for a move up, the lower one for a move down; so
    no point of it is nearer to the profile than the distance.
    """
    if distance < 0.0:
        mirror = np.array([1.0, -1.0])
        flipped: FloatArray = offset_knots(points * mirror, -distance) * mirror
        return flipped
    step = np.diff(points, axis=0)
    step /= np.hypot(step[:, 0], step[:, 1])[:, None]
    # Straight runs make a mitre of parallel lines: only true kinks have a corner.
    turn = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]
    keep = np.concatenate([[True], np.abs(turn) > 1e-12, [True]])
    points = points[keep]
    step = np.diff(points, axis=0)
    step /= np.hypot(step[:, 0], step[:, 1])[:, None]
    square = np.stack([-step[:, 1], step[:, 0]], axis=1)
    half = square[:-1] + square[1:]
    half /= 1.0 + (square[:-1] * square[1:]).sum(axis=1)[:, None]
    first = points[0] + distance * square[0]
    last = points[-1] + distance * square[-1]
    moved: FloatArray = np.concatenate([first[None], points[1:-1] + distance * half, last[None]])
    if len(moved) > 2:
        # The ends run on straight: only where they stand along their line is free.
        reach = float(np.ptp(moved[1:-1, 0])) + float(np.ptp(points[:, 0])) + 1.0
        if moved[0, 0] >= moved[1:-1, 0].min():
            moved[0] = moved[1] - reach * step[0] / step[0, 0]
        if moved[-1, 0] <= moved[1:-1, 0].max():
            moved[-1] = moved[-2] + reach * step[-1] / step[-1, 0]
    if (np.diff(moved[:, 0]) > 0.0).all():
        # No line has been crossed by its neighbours, then or on the way there: nothing comes nearer than the distance.
        return moved
    return _upper_envelope(*_swept(points, step, square, moved, distance))


def _swept(
    points: FloatArray, step: FloatArray, square: FloatArray, moved: FloatArray, distance: float
) -> tuple[FloatArray, FloatArray]:
    """Upper borders of what each segment sweeps as it is moved: starts and ends of lines, (n, 2) each, rising in u.

    A line runs on to the mitre at a kink that stands up; at one that lies back it ends square to its segment, and that
    end is a border too. The first two lines are those that run on past the ends.
    """
    start, stop = points[:-1] + distance * square, points[1:] + distance * square
    up = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0] < 0.0
    start[1:][up] = moved[1:-1][up]
    stop[:-1][up] = moved[1:-1][up]
    back = points[1:-1][~up]
    ends = np.concatenate([start[1:][~up], stop[:-1][~up]])
    a = np.concatenate([start, np.concatenate([back, back])])
    b = np.concatenate([stop, ends])
    # Far enough that nothing swept stands past the ends.
    both = np.concatenate([a, b])
    far = float(np.ptp(both[:, 0])) + distance
    a[0] = b[0] - (b[0, 0] - both[:, 0].min() + far) * step[0] / step[0, 0]
    last = len(step) - 1
    b[last] = a[last] + (both[:, 0].max() - a[last, 0] + far) * step[-1] / step[-1, 0]
    flip = a[:, 0] > b[:, 0]
    a, b = np.where(flip[:, None], b, a), np.where(flip[:, None], a, b)
    wide = b[:, 0] > a[:, 0]
    return a[wide], b[wide]


def _upper_envelope(a: FloatArray, b: FloatArray) -> FloatArray:
    """Knots of the highest of the lines from `a` to `b` over each u; a step is a steep line on its outer side."""
    slope = (b[:, 1] - a[:, 1]) / (b[:, 0] - a[:, 0])
    low, high = a[:, 0], b[:, 0]
    # Every place where the highest line can change: ends of lines and crossings of two.
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = a[None, :, 1] - a[:, None, 1] + slope[None, :] * (low[:, None] - low[None, :])
        cross = low[:, None] + rise / (slope[:, None] - slope[None, :])
        ok = (cross > np.maximum(low[:, None], low[None, :])) & (cross < np.minimum(high[:, None], high[None, :]))
    stops = np.unique(np.concatenate([low, high, cross[ok]]))
    # Places that only rounding tells apart are one.
    tiny = 1e-13 * float(np.ptp(stops)) + 4.0 * float(np.spacing(np.abs(stops).max()))
    stops = stops[np.append(True, np.diff(stops) > tiny)]
    middle = (stops[:-1] + stops[1:]) / 2.0
    there = (low[None] <= middle[:, None]) & (high[None] >= middle[:, None])
    line = np.argmax(np.where(there, a[None, :, 1] + slope[None] * (middle[:, None] - low[None]), -np.inf), axis=1)

    def at(k: int, u: float) -> tuple[float, float]:
        return u, float(a[k, 1] + slope[k] * (u - low[k]))

    change = np.flatnonzero(line[1:] != line[:-1]) + 1
    ends = stops[change].tolist()
    reach = _STEP * float(np.ptp(stops))
    knots: list[tuple[float, float]] = []
    for i, u in zip(change.tolist(), ends, strict=True):
        before, after = at(line[i - 1], u), at(line[i], u)
        step = after[1] - before[1]
        if abs(step) <= 1e-12 * (1.0 + abs(before[1]) + abs(after[1])):
            knots.append(max(before, after))
        elif step > 0.0:
            knots += [at(line[i - 1], u - min(reach, (u - stops[i - 1]) / 3.0)), after]
        else:
            knots += [before, at(line[i], u + min(reach, (stops[i + 1] - u) / 3.0))]
    # The ends may stand anywhere along their lines: near, so that they keep their digits.
    near = float(stops[-1] - stops[0]) / 10.0
    first, last = (knots[0][0], knots[-1][0]) if knots else (float(stops[0]), float(stops[-1]))
    return np.array([at(line[0], first - near), *knots, at(line[-1], last + near)])
