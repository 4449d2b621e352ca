# SPDX-License-Identifier: GPL-3.0-or-later
"""Gauge boards: true-size sections of what a body sweeps, grown by what the foam has to keep.

A board is cut along its outline and stood on the floor square to the body's heading; foam that reaches over the
outline has to come off. It stands for the thing itself while that is elsewhere.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from .body import Body
from .check import swept_box
from .contour import inside, off_outline, outer_region, outlines, thinned
from .search import least_distance
from .tree import Forest, mesh_forest, point_forest

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Heed = Callable[[], None]

_COARSE: Final = 16
"""Grid steps of the first, coarse look at a section: it tells what is far from the outline."""

_ROUGH: Final = 0.25
"""Share of a coarse step by which its distances may be off."""

_FINEST, _COARSEST = 0.001, 0.008
"""Metres between the nodes from which an outline is drawn: a sixth of what the foam keeps, within these. Straight
between nodes 8 mm apart an arc of 48 mm radius is off by a sixth of a millimetre."""

_THIN: Final = 0.0001
"""Metres: points of an outline nearer than this to a line between others are left out; finer than any saw."""

_LEG: Final = 0.06
"""Metres: width of the battens on which a board stands; common practice, no source."""

_LAP: Final = 0.15
"""Metres by which a batten laps over the board."""


@dataclass(frozen=True, eq=False)
class GaugeBoard:
    """One board. Its plane: across, metres to the left of the body's heading; up, metres over the floor.

    Attributes
    ----------
    station : metres forward of the body's origin.
    foot : (x, y) on the floor, job coordinates, of across = 0.
    left : (x, y) unit, job coordinates: which way across counts.
    outlines : closed, (k, 2) each, across and up, counter-clockwise.
    foam : (m, 2, 2) section of the carving: segments; none where no carving was given.
    over : metres by which foam reaches over the outline at most; 0 where it does not. over_at : across and up of it.
    legs : (across of the middle, up of the top) of each batten.
    """

    station: float
    foot: tuple[float, float]
    left: tuple[float, float]
    outlines: tuple[FloatArray, ...]
    foam: FloatArray
    over: float
    over_at: tuple[float, float] | None
    legs: tuple[tuple[float, float], ...]


def gauge_board(
    bodies: Sequence[Body],
    station: float,
    keep: float,
    carving: Mesh | None = None,
    tolerance: float = 0.0005,
    heed: Heed | None = None,
) -> GaugeBoard | None:
    """Make the board of one station.

    Parameters
    ----------
    bodies : all keep-clear bodies; the first one's pose at rest says where stations are counted from.
    station : metres forward of its origin along its level heading.
    keep : metres that the foam has to stay away, over 0.
    carving : the foam as it is, closed, metres, job coordinates; or None.
    tolerance : metres by which the outline may be too tight.
    heed : called often; may raise `Cancelled`.

    Returns
    -------
    GaugeBoard or None
        None where nothing is swept at this station.
    """
    rest = bodies[0].rest
    ahead = np.array([math.cos(rest.heading), math.sin(rest.heading)])
    left = np.array([-ahead[1], ahead[0]])
    foot = np.array(rest.place[:2]) + station * ahead
    step = min(max(keep / 6.0, _FINEST), _COARSEST)
    trees = [mesh_forest([body.mesh]) for body in bodies]
    window = _window(bodies, trees, foot, left, keep + 2.0 * step)
    if window is None:
        return None
    across = np.arange(window[0], window[1] + step, step)
    up = np.arange(0.0, max(window[2], step) + step, step)

    def apart(points: FloatArray, cap: float, within: float, enough: float) -> FloatArray:
        places = np.column_stack([foot + points[:, :1] * left, points[:, 1]])
        found = np.full(len(points), cap)
        for body, tree in zip(bodies, trees, strict=True):
            found = least_distance(
                point_forest(places), tree, body.motion, found, within, enough=enough, heed=heed
            ).distance
        return found

    values = _values(apart, across, up, step, keep, tolerance)
    # One more row under the floor, at the floor: the board ends there.
    values = np.pad(values, 1, constant_values=step)
    across = np.concatenate([across[:1] - step, across, across[-1:] + step])
    up = np.concatenate([up[:1], up, up[-1:] + step])
    # Hollows that the outside does not reach are no room for foam: they belong to the board.
    values = np.where(outer_region(values) | (values < 0.0), values, -step)
    loops = tuple(thinned(loop, _THIN) for loop in outlines(values, across, up))
    loops = tuple(loop for loop in loops if len(loop) > 2)
    if not loops:
        return None
    foam = np.zeros((0, 2, 2)) if carving is None else section(carving, foot, ahead, left)
    over, over_at = _over(foam, loops, step)
    return GaugeBoard(
        station=station,
        foot=(float(foot[0]), float(foot[1])),
        left=(float(left[0]), float(left[1])),
        outlines=loops,
        foam=foam,
        over=over,
        over_at=over_at,
        legs=_legs(loops, foam),
    )


def even_stations(bodies: Sequence[Body], spacing: float) -> tuple[float, ...]:
    """Stations `spacing` metres apart, counted from the first body's origin, over its length as it stands."""
    rest = bodies[0].rest
    along = bodies[0].mesh.vertices[:, :2] @ np.array([math.cos(rest.heading), math.sin(rest.heading)])
    first, last = math.ceil(float(along.min()) / spacing), math.floor(float(along.max()) / spacing)
    return tuple(k * spacing for k in range(first, last + 1))


def section(mesh: Mesh, foot: FloatArray, ahead: FloatArray, left: FloatArray) -> FloatArray:
    """Section of a mesh with the upright plane through `foot` square to `ahead`: segments (m, 2, 2), across and up.

    A vertex in the plane counts as just behind it.
    """
    away = mesh.vertices[:, :2] @ ahead - foot @ ahead
    over = away > 0.0
    count = over[mesh.triangles].sum(axis=1)
    t = mesh.triangles[(count == 1) | (count == 2)]
    one, two = t, np.roll(t, -1, axis=1)
    cut = over[one] != over[two]
    # Each edge is worked out from its lower to its higher vertex, so that neighbours meet.
    low, high = np.minimum(one, two), np.maximum(one, two)
    run = np.where(cut, away[low] - away[high], 1.0)
    share = np.where(cut, away[low] / run, 0.0)[..., None]
    place = mesh.vertices[low] + share * (mesh.vertices[high] - mesh.vertices[low])
    flat = np.stack([(place[..., :2] - foot) @ left, place[..., 2]], axis=-1)
    result: FloatArray = flat[cut].reshape(-1, 2, 2)
    return result


def _window(
    bodies: Sequence[Body], trees: Sequence[Forest], foot: FloatArray, left: FloatArray, more: float
) -> tuple[float, float, float] | None:
    """Least and most across, and the height, that anything swept can reach in the plane of a station."""
    ahead = np.array([left[1], -left[0]])
    spans = []
    for body, tree in zip(bodies, trees, strict=True):
        low, high = swept_box(tree, body.motion)
        corners = np.array([[x, y] for x in (low[0] - more, high[0] + more) for y in (low[1] - more, high[1] + more)])
        along, across = (corners - foot) @ ahead, (corners - foot) @ left
        if along.min() <= 0.0 <= along.max():
            spans.append((float(across.min()), float(across.max()), float(high[2] + more)))
    if not spans:
        return None
    return min(s[0] for s in spans), max(s[1] for s in spans), max(s[2] for s in spans)


def _values(
    apart: Callable[[FloatArray, float, float, float], FloatArray],
    across: FloatArray,
    up: FloatArray,
    step: float,
    keep: float,
    tolerance: float,
) -> FloatArray:
    """Distance less what is kept at each node (r, c), right near the outline; elsewhere right in its sign.

    A distance changes by no more than one goes: a coarse node tells the sign of all nodes round it that lie nearer
    than the outline can be.
    """
    values = np.full((len(up), len(across)), np.nan)
    stride = _COARSE
    while stride >= 1:
        i, j = np.meshgrid(np.arange(0, len(up), stride), np.arange(0, len(across), stride), indexing="ij")
        i, j = i.ravel(), j.ravel()
        open_ = np.isnan(values[i, j])
        i, j = i[open_], j[open_]
        if len(i):
            around = (math.sqrt(0.5) * stride + 1.01) * step
            within = tolerance if stride == 1 else max(_ROUGH * around, tolerance)
            band = 1.5 * around + within
            found = apart(np.column_stack([across[j], up[i]]), keep + band, within, keep - band) - keep
            if stride == 1:
                values[i, j] = found
            else:
                sure = np.flatnonzero(np.abs(found) > around + within)
                reach = np.arange(-(stride // 2), stride // 2 + 1)
                rows = np.clip(i[sure, None, None] + reach[None, :, None], 0, len(up) - 1)
                columns = np.clip(j[sure, None, None] + reach[None, None, :], 0, len(across) - 1)
                sign = np.broadcast_to((np.sign(found[sure]) * step)[:, None, None], (len(sure), *(2 * [len(reach)])))
                values[np.broadcast_to(rows, sign.shape), np.broadcast_to(columns, sign.shape)] = sign
        stride //= 2
    return values


def _over(foam: FloatArray, loops: tuple[FloatArray, ...], step: float) -> tuple[float, tuple[float, float] | None]:
    """How far foam reaches over the outlines, and where."""
    if len(foam) == 0:
        return 0.0, None
    low, high = (
        np.min([loop.min(axis=0) for loop in loops], axis=0),
        np.max([loop.max(axis=0) for loop in loops], axis=0),
    )
    near = ((foam.max(axis=1) >= low) & (foam.min(axis=1) <= high)).all(axis=1)
    parts = []
    for one, two in foam[near]:
        count = int(np.linalg.norm(two - one) / step) + 2
        parts.append(one + np.linspace(0.0, 1.0, count)[:, None] * (two - one))
    if not parts:
        return 0.0, None
    points = np.concatenate(parts)
    points = points[inside(points, loops)]
    if len(points) == 0:
        return 0.0, None
    off = off_outline(points, loops)
    worst = int(np.argmax(off))
    return float(off[worst]), (float(points[worst, 0]), float(points[worst, 1]))


def _legs(loops: tuple[FloatArray, ...], foam: FloatArray) -> tuple[tuple[float, float], ...]:
    """Two battens under each outline that does not reach the floor, where no foam is in their way."""
    legs = []
    for loop in loops:
        if loop[:, 1].min() <= 0.0:
            continue
        low, high = float(loop[:, 0].min()) + _LEG, float(loop[:, 0].max()) - _LEG
        free = []
        for across in np.arange(low, high, 0.5 * _LEG).tolist():
            under = _lowest(loop, across)
            stands = foam[
                (foam[:, :, 0].max(axis=1) > across - 0.5 * _LEG) & (foam[:, :, 0].min(axis=1) < across + 0.5 * _LEG)
            ]
            if not (stands[:, :, 1].min(axis=1) < under).any():
                free.append((across, under + _LAP))
        if free:
            legs += [free[0], free[-1]] if free[-1][0] - free[0][0] > 2.0 * _LEG else [free[0]]
    return tuple(legs)


def _lowest(loop: FloatArray, across: float) -> float:
    """Lowest up at which an outline is met at `across`."""
    after = np.roll(loop, -1, axis=0)
    met = (loop[:, 0] > across) != (after[:, 0] > across)
    one, two = loop[met], after[met]
    return float((one[:, 1] + (across - one[:, 0]) / (two[:, 0] - one[:, 0]) * (two[:, 1] - one[:, 1])).min())
