# SPDX-License-Identifier: GPL-3.0-or-later
"""In which order the joints are cut, with what, from where, what to prop, and what each cut sets free."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.joint import Joint
from ..cutting.result import Body, Contact, JointLine
from ..cutting.wire import FEW, ROOM, Wire, lay_wire, rim_of
from ..findings import Finding, Severity
from ..handling.rectangle import convex_hull
from ..mesh.mesh import BASE, Mesh

FloatArray = NDArray[np.float64]

_ROUNDING: Final = 1e-9
"""Share by which a stretch may pass the wire's length before it counts."""

MARGIN: Final = 0.05
"""Metres that a part's centre of mass must lie inside its footing to count as standing; common practice, no source."""


@dataclass(frozen=True)
class Freed:
    """A part that a cut sets apart: its pieces, its bare foam in kg, and why it wants a prop; empty: it stands."""

    pieces: tuple[int, ...]
    mass: float
    prop: str


@dataclass(frozen=True)
class CutStep:
    """One cut.

    Attributes
    ----------
    joint : index of the joint; steps are in the order of cutting.
    tool : ``hot wire`` or ``saw``.
    wire : how a straight wire lies in it.
    entry : from which side the tool comes in.
    parts : what is apart after it, the lightest first; the lightest comes free. One alone is only opened.
    """

    joint: int
    tool: str
    wire: Wire
    entry: str
    parts: tuple[Freed, ...]


def cutting_order(
    joints: Sequence[Joint],
    lines: Sequence[Sequence[JointLine]],
    contacts: Sequence[Contact],
    pieces: Sequence[Body],
    volumes: Sequence[float],
    centroids: Sequence[Sequence[float]],
    density: float,
    gap: float,
    wire_limit: float,
) -> tuple[CutStep, ...]:
    """Steps for all joints that part something.

    Parameters
    ----------
    joints, lines, contacts : as cut; the order of joints is the order of cuts.
    pieces : of the cut. volumes, centroids : of the pieces; cubic metres, metres.
    density : of foam, kg/m3. gap : metres between joint faces.
    wire_limit : longest wire, metres; above it a saw, and where the wire's ends do not come out of the foam.

    Notes
    -----
    Before a cut a part is what still hangs together through this joint and later ones, after it what hangs together
    through later ones alone. Masses leave out what the gap takes.
    """
    meshes = [piece.mesh for piece in pieces]
    middle = np.mean([m.vertices.mean(axis=0) for m in meshes], axis=0) if meshes else np.zeros(3)
    steps = []
    for j, joint in enumerate(joints):
        rows = [c for c in contacts if c.joint == j]
        if not rows:
            continue
        touched = {p for c in rows for p in (c.lower, c.upper)}
        parts = [part for part in _hanging(len(meshes), contacts, j + 1) if touched & set(part)]
        freed = sorted((_freed(part, meshes, volumes, centroids, density) for part in parts), key=lambda f: f.mass)
        points = np.concatenate([line.points for line in lines[j]])
        before = [part for part in _hanging(len(meshes), contacts, j) if touched & set(part)]
        around = [meshes[k] for part in before for k in part]
        rim = np.concatenate([rim_of(pieces[k], joint, j) for k in sorted(touched)])
        wire = lay_wire(joint, rim, around, gap, wire_limit)
        tool = "hot wire" if wire.stretch <= wire_limit * (1.0 + _ROUNDING) and wire.bound <= FEW else "saw"
        steps.append(CutStep(j, tool, wire, _entry(points, wire.travel, middle), tuple(freed)))
    return tuple(steps)


def check_wires(steps: Sequence[CutStep], letters: Sequence[str], wire_limit: float) -> list[Finding]:
    """Joints that no hot wire cuts: the foam is too long for it, or its ends run into other foam.

    Parameters
    ----------
    steps : from `cutting_order`. letters : marks of all joints. wire_limit : longest wire, metres.
    """
    out = []
    for step in steps:
        letter, wire = letters[step.joint], step.wire
        if wire.stretch > wire_limit * (1.0 + _ROUNDING):
            out.append(
                Finding(
                    "wire_length",
                    Severity.WARNING,
                    f"Joint {letter} takes {wire.stretch:.2f} m of wire in foam at once, and the longest is "
                    f"{wire_limit:.2f} m.",
                    "Cut it with a saw, turn its wire, or lay the joint where the rock is thinner.",
                    joint=letter,
                    measured=wire.stretch,
                    limit=wire_limit,
                    unit="m",
                )
            )
        if wire.bound > FEW:
            out.append(
                Finding(
                    "wire_exit",
                    Severity.WARNING,
                    f"The wire of joint {letter} cannot leave the foam: over {wire.bound:.0%} of the joint it runs "
                    f"into other foam, the nearest {wire.clear * 1000.0:.0f} mm past the limb. A hot wire wants "
                    f"{ROOM * 1000.0:.0f} mm of air past either end.",
                    "Cut it with a saw, turn its wire, or cut what is in the way first.",
                    joint=letter,
                    measured=wire.clear,
                    limit=ROOM,
                    unit="m",
                )
            )
    return out


def _hanging(count: int, contacts: Sequence[Contact], since: int) -> list[tuple[int, ...]]:
    """Groups of pieces that hang together through joints from `since` on."""
    root = list(range(count))

    def find(k: int) -> int:
        while root[k] != k:
            root[k] = root[root[k]]
            k = root[k]
        return k

    for c in contacts:
        if c.joint >= since:
            root[find(c.lower)] = find(c.upper)
    groups: dict[int, list[int]] = {}
    for k in range(count):
        groups.setdefault(find(k), []).append(k)
    return [tuple(group) for group in groups.values()]


def _freed(
    part: tuple[int, ...],
    meshes: Sequence[Mesh],
    volumes: Sequence[float],
    centroids: Sequence[Sequence[float]],
    density: float,
) -> Freed:
    size = np.array([volumes[p] for p in part])
    centre = (np.array([centroids[p] for p in part]) * size[:, None]).sum(axis=0) / size.sum()
    feet = [meshes[p].vertices[np.unique(meshes[p].triangles[meshes[p].kind == BASE])][:, :2] for p in part]
    footing = np.concatenate(feet) if feet else np.zeros((0, 2))
    if len(footing) < 3:
        prop = "nothing of it stands on the floor"
    else:
        inside = _depth_inside(centre[:2], convex_hull(footing))
        prop = ""
        if inside < 0.0:
            prop = f"its centre of mass lies {-inside * 1000.0:.0f} mm outside its footing"
        elif inside < MARGIN:
            prop = f"its centre of mass lies only {inside * 1000.0:.0f} mm inside its footing"
    return Freed(part, float(density * size.sum()), prop)


def _depth_inside(point: FloatArray, hull: FloatArray) -> float:
    """Distance to the nearest side of a convex polygon, against the clock; negative outside (to the side's line)."""
    if len(hull) < 3:
        return -float(np.linalg.norm(hull - point, axis=1).min())
    side = np.roll(hull, -1, axis=0) - hull
    inward = np.stack((-side[:, 1], side[:, 0]), axis=1) / np.linalg.norm(side, axis=1)[:, None]
    return float(((point - hull) * inward).sum(axis=1).min())


def _entry(points: FloatArray, travel: FloatArray, middle: FloatArray) -> str:
    """The side of entry: from above where the tool travels down, else from the end further from the middle."""
    if abs(float(travel[2])) > 0.5:
        return "from above"
    along = points @ travel
    ends = points[[int(np.argmin(along)), int(np.argmax(along))]]
    far = int(np.argmax(np.linalg.norm(ends - middle, axis=1)))
    way = travel * (1.0 if far else -1.0)
    axis = int(np.argmax(np.abs(way[:2])))
    return f"from the {'+' if way[axis] > 0.0 else '-'}{'xy'[axis]} side"
