# SPDX-License-Identifier: GPL-3.0-or-later
"""A profile moved square to itself by half the gap."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


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
        return moved
    return _upper_envelope(moved)


def _upper_envelope(path: FloatArray) -> FloatArray:
    """Highest line over u of a path that turns back on itself; its ends are the lowest and the highest u."""
    a, b = path[:-1], path[1:]
    flip = a[:, 0] > b[:, 0]
    a, b = np.where(flip[:, None], b, a), np.where(flip[:, None], a, b)
    wide = b[:, 0] > a[:, 0]
    a, b = a[wide], b[wide]
    slope = (b[:, 1] - a[:, 1]) / (b[:, 0] - a[:, 0])
    base = a[:, 1] - slope * a[:, 0]
    # Every place where the highest line can change: ends of lines and crossings of two.
    with np.errstate(divide="ignore", invalid="ignore"):
        cross = (base[None, :] - base[:, None]) / (slope[:, None] - slope[None, :])
        ok = np.isfinite(cross)
        ok &= (cross > np.maximum(a[:, 0][:, None], a[:, 0][None, :])) & (
            cross < np.minimum(b[:, 0][:, None], b[:, 0][None, :])
        )
    stops = np.unique(np.concatenate([a[:, 0], b[:, 0], cross[ok]]))
    middle = (stops[:-1] + stops[1:]) / 2.0
    value = np.where(
        (a[:, 0][None] <= middle[:, None]) & (b[:, 0][None] >= middle[:, None]),
        slope[None] * middle[:, None] + base[None],
        -np.inf,
    )
    line = np.argmax(value, axis=1)
    change = np.flatnonzero(np.append(True, line[1:] != line[:-1]))
    knots = [(float(stops[0]), float(slope[line[0]] * stops[0] + base[line[0]]))]
    tiny = 1e-12 * float(np.ptp(path[:, 0]))
    for i in change[1:].tolist():
        u = float(stops[i])
        before = float(slope[line[i - 1]] * u + base[line[i - 1]])
        after = float(slope[line[i]] * u + base[line[i]])
        # Two lines that do not meet here: a step, drawn as a very steep line on its outer side.
        if abs(after - before) > 1e-9 * (1.0 + abs(after)):
            lead = max(1e-7, 1e3 * tiny)
            pair = [(u - lead, before), (u, after)] if after > before else [(u, before), (u + lead, after)]
            knots += [p for p in pair if p[0] > knots[-1][0] + tiny]
        elif u > knots[-1][0] + tiny:
            knots.append((u, max(before, after)))
    u = float(stops[-1])
    knots.append((u, float(slope[line[-1]] * u + base[line[-1]])))
    return np.array(knots)
