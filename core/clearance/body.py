# SPDX-License-Identifier: GPL-3.0-or-later
"""A keep-clear body as it stands and moves: its mesh at rest, its pose and its way in."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import JobError
from ..mesh.mesh import Mesh
from ..mesh.topology import edge_report
from .motion import Motion
from .turning import turn_from_angles

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Key:
    """A pose on the way: where the body's origin lies, metres, and how it is turned, radians."""

    place: tuple[float, float, float]
    heading: float = 0.0
    pitch: float = 0.0
    roll: float = 0.0

    def turn(self) -> FloatArray:
        """Turn (3, 3) from body axes to job axes."""
        return turn_from_angles(self.pitch, self.roll, self.heading)


@dataclass(frozen=True, eq=False)
class Body:
    """A thing that the carving must not touch.

    Attributes
    ----------
    name : what it is called.
    mesh : as it stands at rest, metres, job axes, but counted from its origin.
    rest : the pose at rest.
    motion : its way in, the last pose being the one at rest; one pose where it stands still.
    stance : how it stands, in words.
    closed : whether its surface is closed, so that it has an inside.
    """

    name: str
    mesh: Mesh
    rest: Key
    motion: Motion
    stance: str
    closed: bool

    @property
    def moves(self) -> bool:
        """Whether it has more than one pose."""
        motion = self.motion
        return len(motion.places) > 1 or motion.roll > 0.0 or motion.bounce > 0.0 or motion.side > 0.0

    def standing(self) -> Mesh:
        """Mesh in job coordinates, as it stands at rest."""
        return Mesh(self.mesh.vertices + np.array(self.rest.place), self.mesh.triangles)

    def posed(self, numbers: Sequence[float]) -> Mesh:
        """Mesh in job coordinates in the pose of the four `numbers` of `Motion.at`."""
        turn, place = self.motion.at(np.array([numbers], dtype=np.float64))
        return Mesh(self.mesh.vertices @ turn[0].T + place[0], self.mesh.triangles)

    def still_to_go(self, numbers: Sequence[float]) -> float:
        """Metres of the way between a pose and the one at rest."""
        hops = np.linalg.norm(np.diff(self.motion.places, axis=0), axis=1)
        done = np.clip(numbers[0] - np.arange(len(hops)), 0.0, 1.0)
        return float((hops * (1.0 - done)).sum())


def make_body(
    name: str,
    mesh: Mesh,
    rest: Key,
    way: Sequence[Key] = (),
    roll: float = 0.0,
    bounce: float = 0.0,
    side: float = 0.0,
    stance: str = "stands as it was modelled",
) -> Body:
    """Pose a body and give it its way in.

    Parameters
    ----------
    name : what it is called. mesh : metres, body axes. rest : the pose at rest.
    way : poses before it, the outermost first; empty: it stands still.
    roll, bounce, side : extra roll in radians, bounce and sideways error in metres, each to either side.
    stance : how it stands, in words.

    Raises
    ------
    JobError
        A mesh without triangles.
    """
    if len(mesh.triangles) == 0:
        raise JobError(f'the keep-clear body "{name}" has no triangles; give a mesh with a surface')
    turn = rest.turn()
    keys = [*way, rest]
    motion = Motion(
        places=np.array([key.place for key in keys], dtype=np.float64),
        turns=np.array([_from_rest(key, rest) for key in keys]),
        ahead=turn[:, 0],
        roll=roll,
        bounce=bounce,
        side=side,
    )
    standing = Mesh(mesh.vertices @ turn.T, mesh.triangles)
    return Body(name, standing, rest, motion, stance, edge_report(mesh.triangles).closed)


def _from_rest(key: Key, rest: Key) -> FloatArray:
    """Turn from the pose at rest; exactly none where the angles are the same, which makes the search much quicker."""
    if (key.heading, key.pitch, key.roll) == (rest.heading, rest.pitch, rest.roll):
        return np.eye(3)
    result: FloatArray = key.turn() @ rest.turn().T
    return result


def fastened(name: str, mesh: Mesh, rest: Key, leader: Body, stance: str = "stands as it was modelled") -> Body:
    """A body that goes along with another as if fastened to it; parameters as `make_body`.

    Its mesh is counted from the leader's origin, about which both roll.
    """
    alone = make_body(name, mesh, rest, stance=stance)
    offset = np.array(rest.place) - np.array(leader.rest.place)
    from_leader = Mesh(alone.mesh.vertices + offset, mesh.triangles)
    return Body(name, from_leader, leader.rest, leader.motion, stance, alone.closed)


def straight_way(rest: Key, length: float) -> tuple[Key, ...]:
    """One pose `length` metres behind the pose at rest along its level heading, turned as at rest."""
    x, y, z = rest.place
    back = (x - length * math.cos(rest.heading), y - length * math.sin(rest.heading), z)
    return (Key(back, rest.heading, rest.pitch, rest.roll),)


def headings_along(places: FloatArray, last: float) -> FloatArray:
    """Heading (k,) at each of the places (k, 3) on the way: halfway between the stretches before and after.

    `last` is the heading at rest, which the last place takes. Radians, without jumps.
    """
    hops = np.diff(places[:, :2], axis=0)
    angle = np.unwrap(np.arctan2(hops[:, 1], hops[:, 0]))
    inner = np.concatenate([angle[:1], 0.5 * (angle[1:] + angle[:-1]), [last]])
    result: FloatArray = np.unwrap(inner)
    return result
