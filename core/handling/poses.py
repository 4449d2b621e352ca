# SPDX-License-Identifier: GPL-3.0-or-later
"""Poses of a small box round points: many frames turned at once, the best kept."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Single = NDArray[np.float32]

_RANKED: Final = np.deg2rad(np.arange(0.0, 90.0, 2.0))
"""Turns about the up direction at which poses are compared before the best are looked at closely."""

_ALL_ROUND: Final = np.deg2rad(np.arange(90.0))
"""Turns about one side of a box that are tried: all there are, a degree apart."""

_NEAR: Final = np.deg2rad(np.arange(-9.0, 10.0))
"""The same of a box that has only been tilted a little."""

_FINER: Final = tuple(np.deg2rad(width * np.arange(-9.0, 10.0)) for width in (0.1, 0.01))
"""Turns about the best of those, finer from step to step, down to a hundredth of a degree: 2e-4 of a side."""

_APART: Final = float(np.cos(np.deg2rad(6.0)))
"""Poses nearer to each other than this (cosine of the angle between their ups) lead to the same box: one is enough."""

_ROUNDS: Final = 18
"""Most turns about the sides, one after the other; few poses need half of them."""

_TILTS: Final = tuple(np.deg2rad((2.0, 0.5, 0.1)).tolist())
"""Steps by which the best boxes are tilted, each turned anew: about one side they may be as small as they get."""

_TRIES: Final = 4
"""Most tilts of one step."""

_GAIN: Final = 1e-6
"""Share by which a box must get smaller for a step to count."""

_AT_ONCE: Final = 1 << 14
"""Products of a point and a direction worked on at a time: 64 kilobytes, which stay in the processor's cache, and too
few for a library of linear algebra to start threads for: they would take longer to wake than to reckon."""


def small_frames(
    points: FloatArray, ups: FloatArray, grow: float, poses: int, kept: int
) -> tuple[FloatArray, FloatArray]:
    """Frames of the smallest boxes found round points.

    Parameters
    ----------
    points : (n, 3) metres.
    ups : (k, 3) unit, directions that are tried as a box's third side.
    grow : metres added to each side.
    poses : of the ups, how many are looked at closely. kept : of those, how many are tilted and handed back.

    Returns
    -------
    volumes : (kept,) or fewer, rising; frames : (kept, 3, 3), right-handed, sides in columns.

    Notes
    -----
    A box is turned about each of its sides in turn, all round, until that makes it no smaller. Any frame makes a box
    that holds the points, so nothing here can come out too small.
    """
    # Single precision tells frames apart to 1e-7 of a side, and is twice as fast; the caller measures the box itself.
    single = (points - points.mean(axis=0)).astype(np.float32)
    volumes, frames = _turn(single, _frames(ups), 2, _RANKED, grow)
    chosen = _apart(ups, np.argsort(volumes, kind="stable"), poses)
    volumes, frames = _descend(single, volumes[chosen], frames[chosen], grow)
    order = np.argsort(volumes, kind="stable")[:kept]
    volumes, frames = _tilted(single, volumes[order], frames[order], grow)
    order = np.argsort(volumes, kind="stable")
    return volumes[order], frames[order]


def _frames(ups: FloatArray) -> FloatArray:
    """Right-handed frames with the ups as third columns, (k, 3, 3)."""
    first = np.cross(np.eye(3)[np.abs(ups).argmin(axis=1)], ups)
    first /= np.linalg.norm(first, axis=1)[:, None]
    return np.stack([first, np.cross(ups, first), ups], axis=2)


def _apart(ups: FloatArray, order: NDArray[np.intp], most: int) -> list[int]:
    """The first few that are not close to one before them, nor to its opposite."""
    chosen: list[int] = []
    for k in order.tolist():
        if not chosen or float(np.abs(ups[chosen] @ ups[k]).max()) < _APART:
            chosen.append(k)
            if len(chosen) == most:
                break
    return chosen


def _widths(points: Single, directions: FloatArray) -> FloatArray:
    """Extent of points, (n, 3), along each direction, (k, 3)."""
    out = np.empty(len(directions))
    step = max(1, _AT_ONCE // len(points))
    # Points from row to row: the largest and the least of many directions are then found side by side.
    single = np.ascontiguousarray(directions.T, dtype=np.float32)
    for begin in range(0, len(directions), step):
        along = points @ single[:, begin : begin + step]
        out[begin : begin + step] = along.max(axis=0) - along.min(axis=0)
    return out


def _turn(
    points: Single, frames: FloatArray, side: int, angles: FloatArray, grow: float
) -> tuple[FloatArray, FloatArray]:
    """The best of some turns about one side: volumes, (k,), and frames."""
    one, other = frames[:, None, :, (side + 1) % 3], frames[:, None, :, (side + 2) % 3]
    cosine, sine = np.cos(angles)[None, :, None], np.sin(angles)[None, :, None]
    first, second = cosine * one + sine * other, cosine * other - sine * one
    count = len(frames) * len(angles)
    along = np.concatenate([first.reshape(-1, 3), second.reshape(-1, 3), frames[:, :, side]])
    width = _widths(points, along) + grow
    volumes = (width[:count] * width[count : 2 * count]).reshape(len(frames), -1) * width[2 * count :, None]
    best, rows = volumes.argmin(axis=1), np.arange(len(frames))
    out = frames.copy()
    out[:, :, (side + 1) % 3], out[:, :, (side + 2) % 3] = first[rows, best], second[rows, best]
    return volumes[rows, best], out


def _better(
    volumes: FloatArray, frames: FloatArray, others: FloatArray, other_frames: FloatArray
) -> tuple[FloatArray, FloatArray]:
    use = others < volumes
    return np.where(use, others, volumes), np.where(use[:, None, None], other_frames, frames)


def _turned(
    points: Single, frames: FloatArray, side: int, angles: FloatArray, grow: float
) -> tuple[FloatArray, FloatArray]:
    """As `_turn`, and finer and finer about the best."""
    volumes, frames = _turn(points, frames, side, angles, grow)
    for finer in _FINER:
        volumes, frames = _better(volumes, frames, *_turn(points, frames, side, finer, grow))
    return volumes, frames


def _descend(points: Single, volumes: FloatArray, frames: FloatArray, grow: float) -> tuple[FloatArray, FloatArray]:
    """Turn boxes about their sides, one after the other, while that makes one smaller."""
    idle = 0
    volumes, frames = volumes.copy(), frames.copy()
    same = np.zeros(len(volumes), dtype=np.int64)
    for k in range(_ROUNDS):
        # A box that stayed as it is about each of its three sides stays so for good.
        rows = np.flatnonzero(same < 3)
        before = volumes[rows]
        found, turned = _turned(points, frames[rows], (k + 2) % 3, _ALL_ROUND, grow)
        better = found < before
        volumes[rows[better]], frames[rows[better]] = found[better], turned[better]
        same[rows] = np.where(better, 0, same[rows] + 1)
        idle = 0 if (found < before * (1.0 - _GAIN)).any() else idle + 1
        if (idle == 2 and k >= 2) or (same >= 3).all():
            break
    return volumes, frames


def _tilted(points: Single, volumes: FloatArray, frames: FloatArray, grow: float) -> tuple[FloatArray, FloatArray]:
    """Tilt each side of boxes towards both others and turn them about it anew, while that makes one smaller."""
    for step in _TILTS:
        for _ in range(_TRIES):
            before, given = volumes, frames
            for side in range(3):
                tilts = []
                for other in ((side + 1) % 3, (side + 2) % 3):
                    for sine in (np.sin(step), -np.sin(step)):
                        tilt = given.copy()
                        tilt[:, :, side] = np.cos(step) * given[:, :, side] + sine * given[:, :, other]
                        tilt[:, :, other] = np.cos(step) * given[:, :, other] - sine * given[:, :, side]
                        tilts.append(tilt)
                found, turned = _turned(points, np.concatenate(tilts), side, _NEAR, grow)
                found, turned = found.reshape(len(tilts), -1), turned.reshape(len(tilts), -1, 3, 3)
                best, rows = found.argmin(axis=0), np.arange(len(given))
                volumes, frames = _better(volumes, frames, found[best, rows], turned[best, rows])
            if not (volumes < before * (1.0 - _GAIN)).any():
                break
    return volumes, frames
