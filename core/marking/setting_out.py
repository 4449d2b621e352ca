# SPDX-License-Identifier: GPL-3.0-or-later
"""How a joint gets onto foam that is not cut yet: points along its line, measured from two datum marks each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise, product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.joint import Joint, Plane
from ..cutting.result import JointLine
from ..mesh.mesh import CARVED
from .datum import DatumMark, Fit
from .heights import Heights

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

TAPE_ERROR: Final = 0.002
"""Metres by which each measure of the setter may be off when `Setting.worst` is worked out."""

FAIR: Final = 0.004
"""Metres that a joint may land wrong by straight tapes; where it may be more, tapes held level are tried."""

NEAR_FLOOR: Final = 0.005
"""Metres over the floor within which the end of a line is where it crosses the floor outline."""

_LEAST_TAPE: Final = 0.15
"""Metres in plan: nearer marks give no direction."""

_OUT: Final = 0.3
"""Metres from the foam to a laser's floor point."""

_TOO_LEVEL: Final = 0.94
"""Cosine of 20 degrees: joints nearer to level have no useful line on the floor."""


@dataclass(frozen=True, eq=False)
class Setting:
    """A point to set out.

    Attributes
    ----------
    joint : index of the joint. run : number of its visible stretch, from 1. number : along the joint, from 1.
    where : ``floor`` (floor outline), ``crest`` (highest of the stretch), ``line``, or ``laser`` (point on the floor).
    point : (3,) metres, job coordinates.
    height : metres over the floor.
    marks : indices of two datum marks.
    distances : metres from them.
    way : ``tape``: straight from mark to point; ``level``: held level over the mark, for what cannot be seen from it.
    worst : metres by which the joint lands wrong at most if each of the three measures is off by `TAPE_ERROR`.
    """

    joint: int
    run: int
    number: int
    where: str
    point: FloatArray
    height: float
    marks: tuple[int, int]
    distances: tuple[float, float]
    way: str
    worst: float


@dataclass(frozen=True, eq=False)
class LaserLine:
    """A laser line for a flat joint.

    Attributes
    ----------
    joint : index of the joint.
    level : whether it is a level line: then `tilt` and points do not apply.
    tilt : radians from plumb, and `towards` (2,) unit the way over the floor to which it leans going up.
    """

    joint: int
    level: bool
    tilt: float
    towards: FloatArray


def visible_runs(lines: Sequence[JointLine]) -> list[FloatArray]:
    """Stretches of a joint's line on the carved surface, each (k, 2 or more points, 3) metres, in order."""
    runs = []
    for line in lines:
        seen = line.kind == CARVED
        if not seen.any():
            continue
        points, edges = line.points, len(seen)
        if seen.all():
            runs.append(points)
            continue
        first = int(np.flatnonzero(seen & ~np.roll(seen, 1))[0]) if line.closed else 0
        order = np.roll(np.arange(edges), -first)
        flags = seen[order]
        change = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
        for a, b in zip(change[::2].tolist(), change[1::2].tolist(), strict=True):
            rows = order[a:b]
            runs.append(np.concatenate([points[rows], points[rows[-1:] + 1]]))
    return [run for run in runs if float(np.linalg.norm(np.diff(run, axis=0), axis=1).sum()) > 1e-6]


def spaced(run: FloatArray, spacing: float) -> tuple[FloatArray, int]:
    """Points along a stretch at most `spacing` apart (along it), its ends and its highest point among them.

    Returns
    -------
    (k, 3) metres, and which of them is the highest.
    """
    steps = np.linalg.norm(np.diff(run, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    crest = int(np.argmax(run[:, 2]))
    stops = sorted({0, crest, len(run) - 1})
    places: list[FloatArray] = [along[:1]]
    for a, b in pairwise(stops):
        count = max(1, int(np.ceil((along[b] - along[a]) / spacing - 1e-9)))
        places.append(along[a] + (along[b] - along[a]) * np.arange(1, count + 1) / count)
    at = np.concatenate(places)
    points = np.stack([np.interp(at, along, run[:, axis]) for axis in range(3)], axis=1)
    return points, int(np.argmin(np.abs(at - along[crest])))


def set_out(
    joints: Sequence[Joint],
    lines: Sequence[Sequence[JointLine]],
    marks: Sequence[DatumMark],
    fit: Fit,
    heights: Heights,
    spacing: float,
) -> tuple[tuple[Setting, ...], tuple[LaserLine, ...]]:
    """Points and laser lines of all joints.

    Parameters
    ----------
    joints, lines : as cut; lines on the joint's own surface before the gap.
    marks : datum marks, three or more.
    fit : from job coordinates to those of the marks on site: distances are as taped there.
    heights : the carving from above.
    spacing : most metres between points along a line.
    """
    places = fit.apply(np.array([m.scan for m in marks]).reshape(-1, 3))
    settings: list[Setting] = []
    lasers: list[LaserLine] = []
    for j, joint in enumerate(joints):
        rows: list[tuple[int, str, FloatArray]] = []
        for run, points in enumerate(visible_runs(lines[j])):
            spread, crest = spaced(points, spacing)
            for k, point in enumerate(spread):
                on_floor = point[2] - heights.low[2] <= NEAR_FLOOR and k in (0, len(spread) - 1)
                rows.append((run + 1, "floor" if on_floor else "crest" if k == crest else "line", point))
        if isinstance(joint, Plane) and rows:
            laser, ends = _laser(j, joint, np.stack([p for _, _, p in rows]), heights)
            lasers.append(laser)
            rows += [(0, "laser", end) for end in ends]
        if rows:
            settings += _measured(j, joint, rows, marks, places, fit, heights)
    return tuple(settings), tuple(lasers)


def _measured(
    j: int,
    joint: Joint,
    rows: Sequence[tuple[int, str, FloatArray]],
    marks: Sequence[DatumMark],
    places: FloatArray,
    fit: Fit,
    heights: Heights,
) -> list[Setting]:
    points = np.stack([p for _, _, p in rows])
    scan = np.array([m.scan for m in marks]).reshape(-1, 3)
    count = len(marks)
    free = heights.clear(np.repeat(points, count, axis=0), np.tile(scan, (len(points), 1))).reshape(-1, count)
    at = fit.apply(points)
    out = []
    for k, (run, where, point) in enumerate(rows):
        normal = fit.rotation @ normal_at(joint, point)
        pick, way = _pair(at[k], places, normal, free[k], "tape"), "tape"
        if pick is None or pick[2] > FAIR:
            level = _pair(at[k], places, normal, np.ones(count, dtype=bool), "level")
            if pick is None or (level is not None and level[2] < pick[2]):
                pick, way = level, "level"
        if pick is None:
            continue
        a, b, worst = pick
        off = places[[a, b]] - at[k]
        if way == "level":
            off = off[:, :2]
        one, two = np.linalg.norm(off, axis=1).tolist()
        height = float(at[k, 2] - fit.apply(np.array([[point[0], point[1], heights.low[2]]]))[0, 2])
        out.append(Setting(j, run, k + 1, where, point, height, (a, b), (one, two), way, worst))
    return out


def normal_at(joint: Joint, point: FloatArray) -> FloatArray:
    """Unit normal of a joint beside a point, (3,)."""
    if isinstance(joint, Plane):
        return joint.normal
    u = float((point - joint.origin) @ joint.u)
    strip = int(np.clip(np.searchsorted(joint.points[:, 0], u, side="right") - 1, 0, len(joint.points) - 2))
    du, dw = joint.points[strip + 1] - joint.points[strip]
    normal: FloatArray = (du * joint.w - dw * joint.u) / float(np.hypot(du, dw))
    return normal


def _pair(
    point: FloatArray, places: FloatArray, normal: FloatArray, free: NDArray[np.bool_], way: str
) -> tuple[int, int, float] | None:
    """The two marks from which the joint lands best at a point, and by how much it may be off; None: no pair serves."""
    use = np.flatnonzero(free & (np.linalg.norm((places - point)[:, :2], axis=1) >= _LEAST_TAPE))
    one, two = np.triu_indices(len(use), 1)
    pairs = np.stack((use[one], use[two]), axis=1)
    errors, sound = landings(point, places[pairs], way)
    if not sound.any():
        return None
    across, total = np.abs(errors @ normal).max(axis=1), np.linalg.norm(errors, axis=2).max(axis=1)
    # Among pairs that serve the joint alike, the one that also holds the place along it.
    cost = np.where(sound, np.round(across + 0.25 * total, 9), np.inf)
    k = int(np.argmin(cost))
    return int(pairs[k, 0]), int(pairs[k, 1]), float(across[k])


_SIGNS: Final = np.array(list(product((-1.0, 1.0), repeat=3)))


def landings(point: FloatArray, two: FloatArray, way: str) -> tuple[FloatArray, NDArray[np.bool_]]:
    """Where a point lands for each of the eight ways in which two distances and the height are off.

    Parameters
    ----------
    point : (3,) metres. two : (k, 2, 3) pairs of marks. way : ``tape`` or ``level``.

    Returns
    -------
    (k, 8, 3) metres from the point, and (k,) which pairs are far enough from one line with it to fix it.

    Notes
    -----
    Linear in the errors: a straight tape d from a mark at plan distance r and rise h fixes the plan distance to
    d / r of its error less h / r of the height's.
    """
    off = point - two
    plan = np.maximum(np.linalg.norm(off[..., :2], axis=2), _LEAST_TAPE)
    toward = off[..., :2] / plan[..., None]
    det = toward[:, 0, 0] * toward[:, 1, 1] - toward[:, 0, 1] * toward[:, 1, 0]
    sound = np.abs(det) >= _LEAST_SINE
    radial = np.repeat((_SIGNS[:, :2] * TAPE_ERROR)[None], len(two), axis=0)
    if way == "tape":
        radial = radial * (np.linalg.norm(off, axis=2) / plan)[:, None]
        radial = radial - (_SIGNS[:, 2:] * TAPE_ERROR) * (off[..., 2] / plan)[:, None]
    det = np.where(sound, det, 1.0)
    x = (radial[..., 0] * toward[:, 1, 1, None] - radial[..., 1] * toward[:, 0, 1, None]) / det[:, None]
    y = (radial[..., 1] * toward[:, 0, 0, None] - radial[..., 0] * toward[:, 1, 0, None]) / det[:, None]
    z = np.repeat((_SIGNS[:, 2] * TAPE_ERROR)[None], len(two), axis=0)
    return np.stack((x, y, z), axis=2), sound


_LEAST_SINE: Final = 0.2
"""Sine of the angle between two tapes, about 12 degrees: flatter arcs do not cross anywhere in particular."""


def _laser(j: int, joint: Plane, points: FloatArray, heights: Heights) -> tuple[LaserLine, list[FloatArray]]:
    """Set-up of a laser line, and its two points on the floor outside the foam; none for a level one."""
    normal = joint.normal
    flat = float(np.hypot(normal[0], normal[1]))
    if abs(float(normal[2])) >= _TOO_LEVEL or flat == 0.0:
        return LaserLine(j, True, np.pi / 2.0, np.zeros(2)), []
    across = normal[:2] / flat
    along = np.array([-across[1], across[0]])
    floor = float(heights.low[2])
    # The plane's line on the floor: points q with (q - point) . across = -(floor - z) n_z / flat.
    shift = -(floor - joint.point[2]) * float(normal[2]) / flat
    start = across * (float(joint.point[:2] @ across) + shift)
    reach = points[:, :2] @ along
    ends = []
    for low, way in ((float(reach.min()), -1.0), (float(reach.max()), 1.0)):
        limit = float(np.linalg.norm(heights.high[:2] - heights.low[:2])) + _OUT
        steps = low + way * np.arange(0.0, limit + _OUT, heights.cell)
        inside = np.isfinite(heights.at(start + steps[:, None] * along))
        # The first place from which nothing stands for the width that a laser needs.
        need = int(np.ceil(_OUT / heights.cell))
        blocked = np.convolve(inside.astype(float), np.ones(need + 1), mode="full")[: len(steps)]
        free = np.flatnonzero(blocked == 0.0)
        free = free[free >= need]
        at = steps[int(free[0])] if len(free) else steps[-1]
        x, y = start + at * along
        ends.append(np.array([x, y, floor]))
    # Going up the plane leans to where its normal points down.
    lean = float(np.arcsin(np.clip(normal[2], -1.0, 1.0)))
    towards = across * (-1.0 if lean > 0.0 else 1.0)
    return LaserLine(j, False, abs(lean), towards), ends
