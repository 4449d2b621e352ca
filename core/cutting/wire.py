# SPDX-License-Identifier: GPL-3.0-or-later
"""How a straight wire lies in a joint: how long a stretch of it is in foam, and whether both its ends come out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from ..mesh.runs import runs
from .joint import Joint, Plane
from .result import FROM_JOINT, Body
from .sheet import PlaneSheet, ProfileSheet

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

ROOM: Final = 0.3
"""Metres of air past the foam that the end of a hot wire wants: its holder, a hand, and some way for both to travel.
Common practice, no source."""

FEW: Final = 0.1
"""Share of a joint's wires that may run into other foam: at its rim they are short, and are cut by hand."""

_TURNS: Final = 24
"""Directions of a wire tried on a flat joint, 7.5 degrees apart."""

_EVEN: Final = 64
"""Places, evenly spread over a joint, where a wire is laid."""

_CORNERS: Final = 256
"""Corners of a joint at which a wire is laid too: the longest stretch of a face ends at a corner of it."""

_ASIDE: Final = 1e-3
"""Metres to one side of a joint where other foam is looked for: on it, it would be cut edge on."""

_HAIR: Final = 1e-9
"""Share of a joint's width by which a wire at a corner is laid beside it, to either side."""


@dataclass(frozen=True)
class Wire:
    """A straight wire on its way through a joint.

    Attributes
    ----------
    stretch : longest stretch of it in foam, metres; of a flat joint in the direction where that is shortest. Air of
        less than `ROOM` between foam and foam counts as foam: no end can be held in it.
    travel : (3,) unit, which way it moves, square to itself.
    bound : share of the joint where it runs into other foam of the body less than `ROOM` past an end.
    clear : least air past an end, metres; infinite where nothing is in the way.
    """

    stretch: float
    travel: FloatArray
    bound: float
    clear: float


def lay_wire(joint: Joint, rim: FloatArray, around: Sequence[Mesh], gap: float, longest: float) -> Wire:
    """Lay the wire in a joint that was cut.

    Parameters
    ----------
    joint : a joint. rim : (k, 2, 3) edges round its faces, metres, of the lower side alone. See `rim_of`. Without any,
        where the gap took all of a face, nothing is in the wire's way.
    around : closed meshes of what hangs together when it is cut, the pieces beside it among them; read where the joint
        goes through one limb only.
    gap : metres between joint faces. longest : the wire's length, metres.
    """
    other = _section(joint, around, gap / 2.0 + _ASIDE) if joint.limb is not None else np.zeros((0, 2, 3))
    best: tuple[tuple[bool, float], Wire] | None = None
    for u, wire in _frames(joint):
        if len(rim) == 0:
            return Wire(0.0, u, 0.0, np.inf)
        flat = np.stack([rim @ u, rim @ wire], axis=2)
        stretch = _longest(flat, _at_corners(flat))
        bound, clear = 0.0, np.inf
        if len(other):
            bound, clear = _bound(flat, np.stack([other @ u, other @ wire], axis=2))
        key = stretch > longest or bound > FEW, stretch
        if best is None or key < (best[0][0], best[0][1] - 1e-9):
            best = key, Wire(stretch, u, bound, clear)
    if best is None:
        raise ValueError("no direction was tried")
    return best[1]


def rim_of(piece: Body, joint: Joint, index: int) -> FloatArray:
    """Edges round the faces that a joint of the cut left on a piece below it, (k, 2, 3) metres."""
    rows = np.flatnonzero((piece.origin == FROM_JOINT) & (piece.source == index))
    t = piece.mesh.triangles[rows]
    a, b, c = (piece.mesh.vertices[t[:, k]] for k in range(3))
    up = joint.normal if isinstance(joint, Plane) else joint.w
    t = t[np.cross(b - a, c - a) @ up > 0.0]
    edges = np.sort(np.stack([t, np.roll(t, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    edges, count = np.unique(edges, axis=0, return_counts=True)
    out: FloatArray = piece.mesh.vertices[edges[count == 1]]
    return out


def air_past(low: FloatArray, high: FloatArray, which: IntArray, begins: FloatArray, ends: FloatArray) -> FloatArray:
    """Air past the ends of rulings, (r,) metres; infinite where no other foam is on one.

    Parameters
    ----------
    low, high : (r,) where the foam of each begins and ends along the wire, metres.
    which : (n,) ruling on which each stretch of foam is, those of the joint itself among them. begins, ends : (n,).
    """
    middle = (begins + ends) / 2.0
    past = np.where(middle > high[which], begins - high[which], np.inf)
    before = np.where(middle < low[which], low[which] - ends, np.inf)
    out = np.full(len(low), np.inf)
    np.minimum.at(out, which, np.maximum(np.minimum(past, before), 0.0))
    return out


def _frames(joint: Joint) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Which way a wire may travel and lie: (3,) unit each."""
    if not isinstance(joint, Plane):
        yield joint.u, joint.wire
        return
    first, second = PlaneSheet(joint, 0.0, 0.0).axes
    for angle in (np.arange(_TURNS) * (np.pi / _TURNS)).tolist():
        wire = np.cos(angle) * first + np.sin(angle) * second
        yield np.cross(joint.normal, wire), wire


def _at_corners(flat: FloatArray) -> FloatArray:
    """Places along u where the longest stretch is looked for, rising."""
    u = np.unique(flat[..., 0])
    wide = float(u[-1] - u[0])
    corners = u[:: 1 + len(u) // _CORNERS]
    even = u[0] + wide * (np.arange(_EVEN) + 0.5) / _EVEN
    out: FloatArray = np.unique(np.concatenate([corners - _HAIR * wide, corners + _HAIR * wide, even]))
    return out


def _foam(flat: FloatArray, at: FloatArray) -> tuple[IntArray, FloatArray, FloatArray]:
    """Where rulings run between edges, (k, 2, 2) of u and v: which ruling, in order, and from where to where on it."""
    u = flat[..., 0]
    first = np.searchsorted(at, u.min(axis=1), side="left")
    count = np.searchsorted(at, u.max(axis=1), side="left") - first
    row, turn = runs(np.maximum(count, 0))
    which = first[row] + turn
    one, two = flat[row, 0], flat[row, 1]
    v = one[:, 1] + (at[which] - one[:, 0]) / (two[:, 0] - one[:, 0]) * (two[:, 1] - one[:, 1])
    order = np.lexsort((v, which))
    which, v = which[order], v[order]
    # A ruling on which foam does not end as often as it begins, by rounding, tells nothing.
    keep = (np.bincount(which, minlength=len(at)) % 2 == 0)[which]
    which, v = which[keep], v[keep]
    return which[::2], v[::2], v[1::2]


def _longest(flat: FloatArray, at: FloatArray) -> float:
    """Longest stretch of a ruling within a rim, air of less than `ROOM` counted."""
    which, low, high = _foam(flat, at)
    if len(which) == 0:
        return 0.0
    # Rulings one behind the other, so far apart that none reaches the next.
    lift = (float(high.max() - low.min()) + 2.0 * ROOM) * which
    low, high = low + lift, np.maximum.accumulate(high + lift)
    starts = np.flatnonzero(np.append(True, low[1:] - high[:-1] >= ROOM))
    return float((high[np.append(starts[1:] - 1, len(high) - 1)] - low[starts]).max())


def _bound(flat: FloatArray, other: FloatArray) -> tuple[float, float]:
    """Share of rulings of a face with other foam near an end, and the least air past an end."""
    u = flat[..., 0]
    at = u.min() + np.ptp(u) * (np.arange(_EVEN) + 0.5) / _EVEN
    which, low, high = _foam(flat, at)
    least, most = np.full(len(at), np.inf), np.full(len(at), -np.inf)
    np.minimum.at(least, which, low)
    np.maximum.at(most, which, high)
    ruling, begins, ends = _foam(other, at)
    own = np.isfinite(least)
    keep = own[ruling]
    air = air_past(least, most, ruling[keep], begins[keep], ends[keep])[own]
    return (float((air < ROOM).mean()), float(air.min())) if len(air) else (0.0, np.inf)


def _section(joint: Joint, meshes: Sequence[Mesh], aside: float) -> FloatArray:
    """Where the surface of meshes meets a joint moved a little to its upper side: segments, (k, 2, 3) metres."""
    out = []
    for mesh in meshes:
        height = _above(joint, mesh.vertices) - aside
        up = height >= 0.0
        corner = up[mesh.triangles]
        number = corner.sum(axis=1)
        rows = np.flatnonzero((number == 1) | (number == 2))
        # The corner that is alone on its side, and its two edges.
        alone = np.argmax(corner[rows] == (number[rows] == 1)[:, None], axis=1)
        t = mesh.triangles[rows]
        a = t[np.arange(len(rows)), alone]
        ends = []
        for k in (1, 2):
            b = t[np.arange(len(rows)), (alone + k) % 3]
            share = height[a] / (height[a] - height[b])
            ends.append(mesh.vertices[a] + share[:, None] * (mesh.vertices[b] - mesh.vertices[a]))
        out.append(np.stack(ends, axis=1))
    return np.concatenate(out) if out else np.zeros((0, 2, 3))


def _above(joint: Joint, points: FloatArray) -> FloatArray:
    """How far points stand above a joint along its normal, or along w, (n,) metres."""
    if isinstance(joint, Plane):
        return PlaneSheet(joint, 0.0, 0.0).distance(*points.T)
    sheet = ProfileSheet(joint, joint.points, 0.0)
    u, w = sheet.uw(*points.T)
    return w - sheet.height(u)
