# SPDX-License-Identifier: GPL-3.0-or-later
"""The carry plan of a piece: where hands go, what each person bears, and turning the piece over."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray
from .rectangle import convex_hull

ELBOW_ROOM: Final = 0.6
"""Metres between two people's hand places, at least; common practice, no source."""

_TURNS: Final = 72
"""Starting turns that are tried: 5 degrees apart over a whole turn, shared among the people."""

_STEPS: Final = tuple(np.deg2rad((8.0, 3.0, 1.0)).tolist())
"""Steps by which single places are then moved to and fro, radians."""


@dataclass(frozen=True, eq=False)
class CarryPlan:
    """Hand places of a team.

    Attributes
    ----------
    people : how many; 0 where none were asked for.
    places : (people, 2) on the outline seen from above, job coordinates, metres.
    shares : (people,) kg that each bears.
    apart : least distance between two places, metres; infinite for one person.
    """

    people: int
    places: FloatArray
    shares: FloatArray
    apart: float

    @property
    def worst(self) -> float:
        """Largest share, kg; 0 for nobody."""
        return float(self.shares.max(initial=0.0))


def plan_carry(points: FloatArray, centre: tuple[float, float, float], mass: float, people: int) -> CarryPlan:
    """Places for a team round a piece whose up is kept up.

    Parameters
    ----------
    points : (n, 2) the piece seen from above, metres. centre : its centre of mass. mass : kg. people : 0 or more.

    Returns
    -------
    CarryPlan
        Of the places tried, those with the least largest share among plans that leave `ELBOW_ROOM`; if none does, the
        one whose people stand furthest apart (`apart` tells).

    Notes
    -----
    Two bear by the lever, placed on a line through the centre; three as the balance of forces has it; four and more as
    on springs that are all alike, which is a guess about how evenly people lift.
    """
    if people <= 0:
        return CarryPlan(0, np.zeros((0, 2)), np.zeros(0), math.inf)
    hull = convex_hull(points)
    at = np.array(centre[:2])
    if people == 1 or len(hull) < 3:
        return CarryPlan(
            people, np.tile(at, (people, 1)), np.full(people, mass / people), math.inf if people == 1 else 0.0
        )
    middle = hull.mean(axis=0) if not _inside(hull, at) else at
    best: tuple[tuple[float, float], FloatArray] | None = None
    for start in np.arange(_TURNS) * (2.0 * math.pi / _TURNS / people):
        turns = start + np.arange(people) * (2.0 * math.pi / people)
        if best is None or _rank(hull, middle, at, turns) < best[0]:
            best = _rank(hull, middle, at, turns), turns
    if people > 2 and best is not None:
        best = _moved(hull, middle, at, best)
    places = _on_outline(hull, middle, best[1] if best is not None else np.zeros(people))
    return CarryPlan(people, places, mass * _shares(places, at), _apart(places))


def _moved(
    hull: FloatArray, middle: FloatArray, at: FloatArray, best: tuple[tuple[float, float], FloatArray]
) -> tuple[tuple[float, float], FloatArray]:
    """Move one place at a time while that makes the plan better."""
    for step in _STEPS:
        for _ in range(12):
            trials = []
            for k in range(len(best[1])):
                for way in (-step, step):
                    turns = best[1].copy()
                    turns[k] += way
                    trials.append((_rank(hull, middle, at, turns), turns))
            least = min(trials, key=lambda trial: trial[0])
            if least[0] >= best[0]:
                break
            best = least
    return best


def _rank(hull: FloatArray, middle: FloatArray, at: FloatArray, turns: FloatArray) -> tuple[float, float]:
    """How bad a plan is: elbow room that is missing, then the largest share, a little less the wider people stand."""
    places = _on_outline(hull, middle, turns)
    apart = _apart(places)
    shares = _shares(places, at)
    span = float(np.ptp(hull, axis=0).max())
    return round(max(0.0, ELBOW_ROOM - apart), 9), float(np.abs(shares).max()) - 1e-3 * min(apart / span, 1.0)


def _inside(hull: FloatArray, at: FloatArray) -> bool:
    along = np.roll(hull, -1, axis=0) - hull
    return bool((along[:, 0] * (at[1] - hull[:, 1]) - along[:, 1] * (at[0] - hull[:, 0]) > 0.0).all())


def _on_outline(hull: FloatArray, middle: FloatArray, turns: FloatArray) -> FloatArray:
    """Where rays from the middle leave a convex outline, (k, 2)."""
    start, along = hull - middle, np.roll(hull, -1, axis=0) - hull
    rays = np.stack((np.cos(turns), np.sin(turns)), axis=1)
    turned = rays[:, :1] * along[:, 1] - rays[:, 1:] * along[:, 0]
    reach = start[:, 0] * along[:, 1] - start[:, 1] * along[:, 0]
    far = np.where(turned > 1e-12, reach / np.where(turned > 1e-12, turned, 1.0), np.inf).min(axis=1)
    places: FloatArray = middle + far[:, None] * rays
    return places


def _shares(places: FloatArray, at: FloatArray) -> FloatArray:
    """Share of the load at each place: forces and moments balance, with the least sum of squares."""
    count = len(places)
    size = float(np.abs(places - at).max()) or 1.0
    balance = np.vstack((np.ones(count), ((places - at) / size).T))
    shares: FloatArray = np.linalg.lstsq(balance, np.array([1.0, 0.0, 0.0]), rcond=1e-9)[0]
    return shares


def _apart(places: FloatArray) -> float:
    away = np.linalg.norm(places[:, None] - places[None], axis=2)
    return float(away[np.triu_indices(len(places), 1)].min(initial=math.inf))


@dataclass(frozen=True)
class Turning:
    """Turning a piece over about the longer lower side of its upright box, so that its underside can be worked on.

    Attributes
    ----------
    headroom : metres that it needs in height as it goes over: the diagonal of its section.
    lift : kg that the hands at the far side bear as it leaves the floor.
    """

    headroom: float
    lift: float


def turn_over(points: FloatArray, centre: tuple[float, float, float], mass: float, box: FloatArray) -> Turning:
    """Reckon the turning over.

    Parameters
    ----------
    points : (n, 2) the piece seen from above. centre : its centre of mass. mass : kg.
    box : (3,) width across the turning side, height, and turn of the longer side from x in radians.
    """
    width, height, turn = (float(value) for value in box)
    across = np.array([-math.sin(turn), math.cos(turn)])
    reach = points @ across
    from_low = float(np.array(centre[:2]) @ across) - float(reach.min())
    span = float(np.ptp(reach)) or 1.0
    # Whichever side it goes over, the better one is chosen: the hands are on the side away from the centre of mass.
    arm = min(from_low, span - from_low) / span
    return Turning(math.hypot(width, height), mass * max(0.0, arm))
