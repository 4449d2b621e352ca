# SPDX-License-Identifier: GPL-3.0-or-later
"""How a body stands on its supports: pitch, roll and height from the heights of the contact points.

Body axes: x forward, y left, z up, z = 0 in the plane of the contact points. Contact points are given in plan, as
the pads lie on the floor; the plane through them is z = a + b x + c y, pitch = atan b (nose up), roll =
atan(c / sqrt(1 + b^2)) (left side up), turned in the order heading, pitch, roll.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import JobError
from .turning import turn_from_angles

FloatArray = NDArray[np.float64]

THREE, LEVEL, SPRINGS, RIGID = "three points", "pads in one plane", "equal springs", "rigid, on three points"
"""Models by which a pose was found; named in every result."""

_SAME: Final = 1e-9
"""Metres: a pad that the plane misses by less counts as touched."""

_EDGE: Final = 1e-6
"""Share of a support triangle: a centre of gravity nearer to its edge counts as on it. Nobody knows it better."""


@dataclass(frozen=True)
class Pose:
    """One way of standing.

    Attributes
    ----------
    model : by which it was found.
    pitch, roll : radians; nose up, left side up.
    height : metres of the body's origin.
    carrying : the contact points that carry, counted from 0.
    misses : metres for each contact point: plane over pad (above 0: the body hangs over it).
    """

    model: str
    pitch: float
    roll: float
    height: float
    carrying: tuple[int, ...]
    misses: tuple[float, ...]

    def turn(self, heading: float = 0.0) -> FloatArray:
        """Turn (3, 3) from body axes to job axes."""
        return turn_from_angles(self.pitch, self.roll, heading)


@dataclass(frozen=True)
class Stance:
    """Every way in which a body may stand: one, or several where nothing decides between them (`ambiguous`)."""

    poses: tuple[Pose, ...]
    ambiguous: bool
    text: str


def stance(
    contacts: ArrayLike, heights: Sequence[float], model: str = "springs", centre: Sequence[float] | None = None
) -> Stance:
    """Stand a body on pads of the given heights.

    Parameters
    ----------
    contacts : (n, 2) contact points in plan, metres, body axes; three or more, not in one line.
    heights : n heights of the pads over the floor, metres.
    model : for four pads and more, ``springs`` (equal springs, which is the least-squares plane) or ``rigid`` (three
        points carry, chosen by the centre of gravity).
    centre : (x, y, z) centre of gravity in body axes, metres; needed for ``rigid``.

    Returns
    -------
    Stance
        Three pads: the plane through them. More, in one plane: that plane. With ``rigid`` every three-point stance
        that lies under no pad and carries the centre of gravity; where it lies on the edge of two such stances, or
        none or several carry it, the stance is ambiguous and lists them all.

    Raises
    ------
    JobError
        Too few contact points, as many heights needed, all in one line, an unknown model, no centre of gravity.
    """
    points, pads = np.asarray(contacts, dtype=np.float64), np.asarray(heights, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 3:
        raise JobError("a body stands on three contact points or more; give x and y of each")
    if pads.shape != (len(points),):
        raise JobError(f"{len(points)} contact points have {pads.size} heights; give one for each")
    system = np.column_stack([np.ones(len(points)), points])
    if np.linalg.matrix_rank(system, tol=1e-9 * float(np.abs(system).max())) < 3:
        raise JobError("the contact points lie in one line; a body does not stand on them")
    if model not in ("springs", "rigid"):
        raise JobError(f'stance = "{model}" is not known; write "springs" or "rigid"')
    fitted = np.linalg.lstsq(system, pads, rcond=None)[0]
    if len(points) == 3 or np.abs(system @ fitted - pads).max() <= _SAME:
        name = THREE if len(points) == 3 else LEVEL
        return _one(_pose(name, fitted, system, pads, range(len(points))), f"stands on {name}")
    if model == "springs":
        pose = _pose(SPRINGS, fitted, system, pads, range(len(points)))
        off = max(abs(miss) for miss in pose.misses)
        return _one(pose, f"stands on equal springs; the pads are not in one plane, by up to {off * 1000.0:.3g} mm")
    if centre is None:
        raise JobError("a rigid body on four pads stands by its centre of gravity; give it, or take springs")
    return _rigid(system, pads, np.asarray(centre, dtype=np.float64))


def _one(pose: Pose, text: str) -> Stance:
    return Stance((pose,), False, text)


def _pose(model: str, plane: FloatArray, system: FloatArray, pads: FloatArray, carrying: Sequence[int]) -> Pose:
    a, b, c = plane.tolist()
    misses = tuple((system @ plane - pads).tolist())
    roll = math.atan2(c, math.hypot(1.0, b))
    return Pose(model, math.atan(b) + 0.0, roll + 0.0, a, tuple(carrying), misses)


def _rigid(system: FloatArray, pads: FloatArray, centre: FloatArray) -> Stance:
    """Three-point stances with no pad above their plane, sorted by whether they carry the centre of gravity."""
    firm: list[Pose] = []
    edge: list[Pose] = []
    for three in combinations(range(len(pads)), 3):
        rows = list(three)
        if abs(np.linalg.det(system[rows])) < 1e-9:
            continue
        pose = _pose(RIGID, np.linalg.solve(system[rows], pads[rows]), system, pads, three)
        if min(pose.misses) < -_SAME:
            continue
        over = pose.turn() @ centre
        shares = np.linalg.solve(system[rows].T, np.array([1.0, over[0], over[1]]))
        if shares.min() > _EDGE:
            firm.append(pose)
        elif shares.min() > -_EDGE:
            edge.append(pose)
    # The same plane may rest on more than three pads: it is one stance.
    firm, edge = _distinct(firm), _distinct(edge)
    if len(firm) == 1 and not [pose for pose in edge if not _alike(pose, firm[0])]:
        return _one(firm[0], f"stands rigid on pads {_names(firm[0])}")
    poses = _distinct(firm + edge)
    if not poses:
        raise JobError("no three pads carry the centre of gravity: the body tips over; check its centre and its pads")
    ways = " or ".join(f"on pads {_names(pose)}" for pose in poses)
    return Stance(
        tuple(poses), True, f"may stand {ways}: the centre of gravity does not decide it, and all are checked"
    )


def _distinct(poses: list[Pose]) -> list[Pose]:
    out: list[Pose] = []
    for pose in poses:
        if not any(_alike(pose, other) for other in out):
            out.append(pose)
    return out


def _alike(one: Pose, two: Pose) -> bool:
    return max(abs(one.pitch - two.pitch), abs(one.roll - two.roll), abs(one.height - two.height)) <= _SAME


def _names(pose: Pose) -> str:
    numbers = [str(k + 1) for k in pose.carrying]
    return f"{', '.join(numbers[:-1])} and {numbers[-1]}"
