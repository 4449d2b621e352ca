# SPDX-License-Identifier: GPL-3.0-or-later
"""The straight moves that are tried for a piece."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LEVEL: Final = 16
"""Level directions, 22.5 degrees apart."""

_RISES: Final = (np.deg2rad(15.0), np.deg2rad(40.0), np.deg2rad(65.0))
"""Inclinations of the sampled moves over the floor; eight directions each."""

_SAME: Final = 1e-9
"""Directions whose sine of the angle between is less are one."""


def move_directions(normals: Iterable[FloatArray], along: Iterable[FloatArray] = ()) -> FloatArray:
    """Directions in which pieces may leave, up first; never below the level.

    Parameters
    ----------
    normals : (3,) unit normals of flat joint faces.
    along : (3,) unit directions that lie in joint faces, such as the wire of a profile.

    Returns
    -------
    (k, 3) unit. Up; level ones every 22.5 degrees; eight each at 15, 40 and 65 degrees; square to the joints both ways,
    along them level and along their steepest line, and where two joints meet, as a piece held by two flat faces can
    leave along their common line only.
    """
    found: list[FloatArray] = [np.array([0.0, 0.0, 1.0])]

    def add(direction: FloatArray) -> None:
        length = float(np.linalg.norm(direction))
        if length <= _SAME:
            return
        unit = direction / length
        for way in (unit, -unit):
            if way[2] < -_SAME:
                continue
            # Hair's breadths below the level would count as into the floor.
            level = np.array([way[0], way[1], 0.0]) if abs(way[2]) <= _SAME else way
            if all(np.linalg.norm(np.cross(level, other)) > _SAME or level @ other < 0.0 for other in found):
                found.append(level)

    up = found[0]
    flat = _distinct([np.asarray(n, dtype=np.float64) for n in normals])
    for normal in flat:
        add(normal)
        level = np.cross(normal, up)
        add(level)
        add(np.cross(level, normal))
    for direction in along:
        add(np.asarray(direction, dtype=np.float64))
    for i, one in enumerate(flat[:_PAIRED]):
        for two in flat[i + 1 : _PAIRED]:
            add(np.cross(one, two))
    turn = np.arange(LEVEL) * (2.0 * np.pi / LEVEL)
    for angle in turn.tolist():
        add(np.array([np.cos(angle), np.sin(angle), 0.0]))
    for rise in _RISES:
        for angle in turn[::2].tolist():
            add(np.array([np.cos(angle) * np.cos(rise), np.sin(angle) * np.cos(rise), np.sin(rise)]))
    return np.stack(found)


_MOST_PLANES: Final = 12
"""Joint faces of different directions that are looked at."""

_PAIRED: Final = 5
"""Of those the first whose common lines are tried: pairs grow with the square, and each way costs a sweep a piece."""


def _distinct(normals: list[FloatArray]) -> list[FloatArray]:
    out: list[FloatArray] = []
    for normal in normals:
        if all(np.linalg.norm(np.cross(normal, other)) > 1e-3 for other in out):
            out.append(normal)
    return out[:_MOST_PLANES]
