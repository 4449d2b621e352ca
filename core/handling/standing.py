# SPDX-License-Identifier: GPL-3.0-or-later
"""How a piece stands: what it rests on, how far it tilts before it falls, and what wind does to it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..mesh.mesh import BASE, FloatArray, Mesh
from ..tolerance import Tolerance
from .box import extreme_points
from .rectangle import convex_hull

GRAVITY: Final = 9.80665
"""m/s2, standard gravity."""

AIR: Final = 1.225
"""kg/m3 of the standard atmosphere at sea level, 15 C."""

DRAG: Final = 1.2
"""Drag coefficient of a flat board square to the wind; an assumption, as rock work has no published one."""

FRICTION: Final = 0.2
"""Of foam or glass fibre on boards or ground: not in the published tables; the lower end of 0.2 to 0.3, from memory,
unverified."""


_OUTLINE_DIRECTIONS: Final = 256
"""Directions whose extreme points stand for the piece where its outline is looked at: a part in a thousand or so."""


@dataclass(frozen=True, eq=False)
class Standing:
    """A piece set down by itself with its up kept up.

    Attributes
    ----------
    on_base : whether it rests on base faces; otherwise on its lowest points.
    footprint : (k, 2) convex hull of what it rests on, counter-clockwise, job coordinates, metres.
    floor : height of that, metres.
    tilt : radians that it can be tilted about its nearest edge before it falls; below 0: it falls by itself.
    edge : (2, 2) that edge; both ends alike where the footprint is a point.
    slides, tips : m/s of the least wind, from any side, at which it slides or tips; infinite where none does.
    """

    on_base: bool
    footprint: FloatArray
    floor: float
    tilt: float
    edge: FloatArray
    slides: float
    tips: float


def wind_force(area: float, speed: float, drag: float = DRAG) -> float:
    """Force of wind, N: half the air's density times drag coefficient, area (m2) and speed (m/s) squared."""
    return 0.5 * AIR * drag * area * speed * speed


def stand(mesh: Mesh, centre: tuple[float, float, float], mass: float) -> Standing:
    """Work out how a piece stands.

    Parameters
    ----------
    mesh : closed piece, metres, z up. centre : its centre of mass, finished. mass : kg, finished.

    Notes
    -----
    Wind: `wind_force` on the outline of the piece as seen from where it blows (its convex hull), at the middle of that
    outline; friction times weight against sliding, weight times distance to the edge against tipping. Gusts, lift,
    shelter and slope are not in it: an indication, no proof.
    """
    base = mesh.triangles[mesh.kind == BASE].ravel()
    used = mesh.vertices[np.unique(mesh.triangles)]
    lowest = float(used[:, 2].min())
    resting = mesh.vertices[np.unique(base)] if len(base) else used[used[:, 2] <= lowest + Tolerance.of(used).floor]
    floor = float(resting[:, 2].min())
    used = extreme_points(used, _OUTLINE_DIRECTIONS)
    footprint = convex_hull(resting[:, :2])
    start, end = footprint, np.roll(footprint, -1, axis=0)
    along = end - start
    length = np.hypot(along[:, 0], along[:, 1])
    at = np.array(centre[:2])
    height = max(centre[2] - floor, 1e-12)
    if len(footprint) < 3:
        # A line or a point: nothing holds it across.
        inward = (
            -float(np.linalg.norm(footprint - at, axis=1).min()) if len(footprint) == 1 else _off_line(footprint, at)
        )
        tilt = math.atan2(min(inward, 0.0), height)
        return Standing(bool(len(base)), footprint, floor, tilt, footprint[[0, -1]], _slide(used, mass), 0.0)
    out = np.stack((along[:, 1], -along[:, 0]), axis=1) / length[:, None]
    inside = -((at - start) * out).sum(axis=1)
    least = int(np.argmin(inside))
    tips = math.inf
    span, high = float(np.linalg.norm(np.ptp(used[:, :2], axis=0))), float(np.ptp(used[:, 2]))
    for k in np.argsort(inside, kind="stable").tolist():
        # No outline is larger than this, nor its middle higher: edges further out cannot tip sooner.
        if inside[k] > 0.0 and mass * GRAVITY * inside[k] >= tips * tips * wind_force(span * high, 1.0) * high:
            break
        tips = min(tips, _tip(used, out[k], floor, mass, float(inside[k])))
    return Standing(
        bool(len(base)),
        footprint,
        floor,
        math.atan2(float(inside[least]), height),
        np.stack((start[least], end[least])),
        _slide(used, mass),
        tips,
    )


def _off_line(ends: FloatArray, at: FloatArray) -> float:
    """Distance from a point to a stretch of line, below 0."""
    along = ends[1] - ends[0]
    share = min(1.0, max(0.0, float((at - ends[0]) @ along) / float(along @ along)))
    return -float(np.linalg.norm(at - ends[0] - share * along))


def _outline(points: FloatArray, direction: FloatArray, floor: float) -> tuple[float, float]:
    """Area of the outline seen along a level direction, and the height of its middle above the floor."""
    hull = convex_hull(
        np.stack((points[:, :2] @ np.array([-direction[1], direction[0]]), points[:, 2] - floor), axis=1)
    )
    if len(hull) < 3:
        return 0.0, 0.0
    x, y = (hull - hull[0]).T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    cross = x * y1 - x1 * y
    area = float(cross.sum()) / 2.0
    return area, float(hull[0, 1] + ((y + y1) * cross).sum() / (6.0 * area))


def _tip(points: FloatArray, direction: FloatArray, floor: float, mass: float, arm: float) -> float:
    """Wind along an outward direction that tips the piece over the edge `arm` metres ahead of its centre, m/s."""
    area, height = _outline(points, direction, floor)
    moment = wind_force(area, 1.0) * max(height, 0.0)
    if arm <= 0.0:
        return 0.0
    return math.sqrt(mass * GRAVITY * arm / moment) if moment > 0.0 else math.inf


_LOOKS: Final = 36
"""Directions over half a turn that the piece is looked at from for sliding: 5 degrees apart."""


def _slide(points: FloatArray, mass: float) -> float:
    turns = np.arange(_LOOKS) * math.pi / _LOOKS
    corners = convex_hull(points[:, :2])
    widest = max(range(_LOOKS), key=lambda k: float(np.ptp(corners @ np.array([np.cos(turns[k]), np.sin(turns[k])]))))
    across = np.array([math.cos(turns[widest]), math.sin(turns[widest])])
    area, _ = _outline(points, np.array([across[1], -across[0]]), float(points[:, 2].min()))
    return math.sqrt(FRICTION * mass * GRAVITY / wind_force(area, 1.0)) if area > 0.0 else math.inf
