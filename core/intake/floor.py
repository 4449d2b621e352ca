# SPDX-License-Identifier: GPL-3.0-or-later
"""The floor that was scanned along: found by a fit that the carving on it cannot pull away, and cut off."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray, IntArray, Mesh
from .draft import MADE, Change, Draft
from .table import EdgeTable
from .words import length

_LOWEST: Final = 0.25
"""Floor is looked for in this lowest part of the height."""
_FACING: Final = math.cos(math.radians(25.0))
"""Triangles of a floor face up within this: single ones of a noisy scan stand steeper than the floor as a whole."""
_TILT: Final = math.radians(15.0)
"""A plane tilted more is no floor but a flank."""
_TRIES: Final = 300
"""Planes tried through three points: with a third of the points on the floor one in 27 is right, so that all fail
together once in 80 thousand times."""
_POINTS: Final = 3000
"""Points that judge each plane."""
_NEAR: Final = 0.004
"""Share of the carving's longest side within which a point lies on a plane that is tried."""
_LEAST_AREA: Final = 0.02
"""Share of the surface that must lie on the floor's plane: a ledge has less."""
_BENEATH: Final = 0.02
"""Share of the surface that may lie under the floor: noise."""
_ROUNDS: Final = 12
"""Rounds of weighing anew; the plane moves by less than rounding after some five."""
_TUKEY: Final = 4.685
"""Tukey's constant: points further than so many standard deviations count nothing (95 % efficiency for normal noise;
P. Huber, Robust Statistics)."""
_LIFT: Final = 3.0
"""The cut lies so many standard deviations of the floor's roughness over it."""
LEAST_LIFT: Final = 2e-3
"""Metres over the floor at least, where carving and floor run into each other."""


@dataclass(frozen=True, eq=False)
class Floor:
    """A floor that was scanned along.

    Attributes
    ----------
    point : (3,) metres, on it. normal : (3,) unit, upwards.
    tilt : radians against level.
    rough : metres, standard deviation of what lies on it.
    area : square metres of the scan that lie on it.
    """

    point: FloatArray
    normal: FloatArray
    tilt: float
    rough: float
    area: float


def find_floor(mesh: Mesh, table: EdgeTable) -> Floor | None:
    """Look for a scrap of floor: a flat part low down that faces up and ends in open edges.

    Parameters
    ----------
    mesh : metres, z up within 15 degrees; any triangles.
    table : its edges.

    Notes
    -----
    Planes through three points drawn by area from low triangles that face up, the one with most of them near it, then
    weighted least squares with Tukey's weights. The draw is seeded: the same mesh gives the same plane.
    """
    rim = table.open()
    if not len(rim):
        return None
    height = float(mesh.size[2])
    low = float(mesh.vertices[:, 2].min())
    z = mesh.vertices[:, 2]
    down = z < low + _LOWEST * height
    a, b, c = (down.take(mesh.triangles[:, k]) for k in range(3))
    under = np.flatnonzero(a & b & c)
    corners = mesh.vertices[mesh.triangles[under]]
    double = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.sqrt((double * double).sum(axis=1))
    up = double[:, 2] > _FACING * size
    points, weight = corners[up].mean(axis=1), 0.5 * size[up]
    total = float(weight.sum())
    everything = _area(mesh)
    if len(points) < 8 or total < _LEAST_AREA * everything:
        return None
    near = _NEAR * float(mesh.size.max())
    plane = _draw(points, weight / total, near)
    if plane is None:
        return None
    point, normal = _settle(points, weight, *plane, near)
    # Roughness by the corners: the middle of a triangle averages three of them.
    away = (mesh.vertices[np.unique(mesh.triangles[under[up]])] - point) @ normal
    rough = _spread(away[np.abs(away) <= near])
    tilt = math.acos(min(1.0, float(normal[2])))
    band = max(_LIFT * rough, LEAST_LIFT)
    area, beneath = _on_and_beneath(mesh, point, normal, band)
    ends = table.ends(rim)
    open_near = (np.abs((mesh.vertices[ends] - point) @ normal) <= 2.0 * band).all(axis=1)
    if tilt > _TILT or area < _LEAST_AREA * everything or beneath > _BENEATH * everything:
        return None
    # Round a scrap of floor the edge of the scan lies on it.
    length_near = float(np.linalg.norm(np.diff(mesh.vertices[ends[open_near]], axis=1)[:, 0], axis=1).sum())
    if length_near < 2.0 * math.sqrt(area):
        return None
    return Floor(point, normal, tilt, rough, area)


def _area(mesh: Mesh) -> float:
    total = 0.0
    for at in range(0, len(mesh.triangles), 1 << 16):
        a, b, c = (mesh.vertices[mesh.triangles[at : at + (1 << 16), k]] for k in range(3))
        double = np.cross(b - a, c - a)
        total += 0.5 * float(np.sqrt((double * double).sum(axis=1)).sum())
    return total


def _on_and_beneath(mesh: Mesh, point: FloatArray, normal: FloatArray, band: float) -> tuple[float, float]:
    """Area that lies on a plane and faces up, and area under it; a floor that is tilted may reach high."""
    on = beneath = 0.0
    for at in range(0, len(mesh.triangles), 1 << 16):
        a, b, c = (mesh.vertices[mesh.triangles[at : at + (1 << 16), k]] for k in range(3))
        double = np.cross(b - a, c - a)
        size = 0.5 * np.sqrt((double * double).sum(axis=1))
        away = ((a + b + c) / 3.0 - point) @ normal
        # However single triangles of a noisy scan stand: within 60 degrees.
        on += float(size[(np.abs(away) <= band) & (double @ normal > size)].sum())
        beneath += float(size[away < -2.0 * band].sum())
    return on, beneath


def _draw(points: FloatArray, chance: FloatArray, near: float) -> tuple[FloatArray, FloatArray] | None:
    """Best of many planes through three points: a point and the upward normal."""
    random = np.random.default_rng(5)
    edges = np.cumsum(chance)
    judges = points[np.minimum(np.searchsorted(edges, random.random(_POINTS)), len(points) - 1)]
    drawn = points[np.minimum(np.searchsorted(edges, random.random((_TRIES, 3))), len(points) - 1)]
    normal = np.cross(drawn[:, 1] - drawn[:, 0], drawn[:, 2] - drawn[:, 0])
    size = np.linalg.norm(normal, axis=1)
    normal *= np.where(normal[:, 2] < 0.0, -1.0, 1.0)[:, None] / np.where(size > 0.0, size, 1.0)[:, None]
    level = (size > 0.0) & (normal[:, 2] > math.cos(_TILT))
    if not level.any():
        return None
    away = np.abs(judges @ normal.T - (drawn[:, 0] * normal).sum(axis=1))
    votes = np.where(level, (away <= near).sum(axis=0), -1)
    best = int(votes.argmax())
    return drawn[best, 0], normal[best]


def _settle(
    points: FloatArray, weight: FloatArray, point: FloatArray, normal: FloatArray, near: float
) -> tuple[FloatArray, FloatArray]:
    """Point and normal after weighing points anew by their distance, some rounds."""
    scale = near / _TUKEY * 2.0
    for _ in range(_ROUNDS):
        away = (points - point) @ normal
        share = np.clip(1.0 - (away / (_TUKEY * scale)) ** 2, 0.0, None) ** 2 * weight
        total = float(share.sum())
        if total == 0.0:
            break
        point = share @ points / total
        spread = (points - point) * np.sqrt(share)[:, None]
        normal = np.linalg.svd(spread.T @ spread)[0][:, 2]
        normal = normal if normal[2] > 0.0 else -normal
        away = np.abs((points - point) @ normal)
        scale = max(_spread(away[away <= _TUKEY * scale]), 0.1 * scale, 1e-12)
    return point, normal


def _spread(away: FloatArray) -> float:
    """Standard deviation of what is normal among some distances, by their median; 0 for none."""
    return 1.4826 * float(np.median(np.abs(away))) if len(away) else 0.0


def cut_floor(draft: Draft, floor: Floor) -> tuple[Draft, tuple[Change, ...]]:
    """Turn the carving so that the floor is level, and cut it off just over the floor.

    The turn is about the floor's point and the shortest one. The cut lies three standard deviations of the floor's
    roughness over it, 2 mm at least; what lies under it falls away, and the carving is left open there.
    """
    mesh = draft.mesh
    vertices = (mesh.vertices - floor.point) @ _level(floor.normal).T + floor.point
    lift = max(_LIFT * floor.rough, LEAST_LIFT)
    level = _clear(vertices[:, 2], float(floor.point[2]) + lift)
    draft = Draft(Mesh(vertices, mesh.triangles, mesh.kind), draft.source, draft.turned)
    result = clip_above(draft, level)
    lost = len(mesh.triangles) - len(np.unique(result.source[result.source >= 0]))
    text = (
        f"{floor.area:.2f} m2 of floor cut off {length(lift)} over it; the floor was tilted by "
        f"{math.degrees(floor.tilt):.2f} degrees, and the carving was turned level"
    )
    return result, (Change("floor", text, lost),)


def _level(normal: FloatArray) -> FloatArray:
    """Rotation (3, 3) that takes a unit normal to z by the shortest turn."""
    x, y, z = normal.tolist()
    share = 1.0 / (1.0 + z)
    return np.array([[1.0 - x * x * share, -x * y * share, -x], [-x * y * share, 1.0 - y * y * share, -y], [x, y, z]])


def _clear(heights: FloatArray, level: float) -> float:
    """A level near the one given that passes through no vertex."""
    step = 1e-9 * max(1.0, float(np.ptp(heights)))
    for _ in range(1000):
        if float(np.abs(heights - level).min()) > 0.25 * step:
            return level
        level += step
    return level


def clip_above(draft: Draft, level: float) -> Draft:
    """What lies over a level that passes through no vertex; cut edges get one vertex each, at the level exactly.

    Triangles that were cut count as made here: their corners are no corners of the scan.
    """
    mesh = draft.mesh
    over = mesh.vertices[:, 2] > level
    number = over[mesh.triangles].sum(axis=1)
    whole = np.flatnonzero(number == 3)
    single, double = np.flatnonzero(number == 1), np.flatnonzero(number == 2)
    # Turn each so that the odd corner out comes first.
    lone = _first(mesh.triangles[single], over[mesh.triangles[single]])
    pair = _first(mesh.triangles[double], ~over[mesh.triangles[double]])
    cut = np.concatenate([lone[:, [0, 1]], lone[:, [0, 2]], pair[:, [0, 1]], pair[:, [0, 2]]])
    if not len(cut):
        return draft.keep(whole)
    edges, at = np.unique(np.sort(cut, axis=1), axis=0, return_inverse=True)
    p, q = mesh.vertices[edges[:, 0]], mesh.vertices[edges[:, 1]]
    share = (level - p[:, 2]) / (q[:, 2] - p[:, 2])
    new = p + share[:, None] * (q - p)
    new[:, 2] = level
    at = at.reshape(-1) + len(mesh.vertices)
    ab, ac, de, df = np.split(at, np.cumsum([len(single), len(single), len(double)]))
    triangles = np.concatenate(
        [
            mesh.triangles[whole],
            np.stack([lone[:, 0], ab, ac], axis=1),
            np.stack([de, pair[:, 1], pair[:, 2]], axis=1),
            np.stack([de, pair[:, 2], df], axis=1),
        ]
    )
    rows = np.concatenate([whole, single, double, double])
    all_of_them = Mesh(np.concatenate([mesh.vertices, new]), triangles, mesh.kind[rows])
    source = np.concatenate([draft.source[whole], np.full(len(rows) - len(whole), MADE, dtype=np.int64)])
    return Draft(all_of_them, source, draft.turned[rows]).keep(np.arange(len(triangles)))


def _first(triangles: IntArray, odd: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> IntArray:
    shift = odd.argmax(axis=1)
    turned: IntArray = triangles[np.arange(len(triangles))[:, None], (shift[:, None] + np.arange(3)) % 3]
    return turned
