# SPDX-License-Identifier: GPL-3.0-or-later
"""Fans of sheets through a body: planes at even distances, and the best profiles about them, in many directions."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .image import COLUMN, RISE, RISES, ROW, Slab, make_image, whole_slab
from .part import Part, Sheet
from .path import BAND, Band, best_paths
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_WIRES: Final = (30.0, 150.0, 0.0)
"""Degrees from upright (from the first axis for a level joint) at which the wire is tried: a wire that leans meets the
top with some of its lines and one flank with others."""

_STEP: Final = 6
"""Rows from one band's middle to the next: bands overlap, so that no way between two seams is missed."""

_BANDS: Final = 110
"""Most bands in one direction that profiles are sought in."""

_PLANES: Final = 280
"""Most planes of one direction: a row apart, or a few."""

_FULL: Final = 255.0


@dataclass(frozen=True, eq=False)
class Fan:
    """Sheets of one pair of axes: planes at rows, or profiles with a height at each border of columns.

    Attributes
    ----------
    u, w : (3,) unit. first_column, first_row : of `paths`. paths : (n, columns + 1) rows; (n, 1) for planes.
    place : number of the direction of w.
    """

    u: FloatArray
    w: FloatArray
    first_column: int
    first_row: int
    paths: IntArray
    place: int

    @property
    def flat(self) -> bool:
        """Whether they are planes."""
        return self.paths.shape[1] == 1

    def sheet(self, k: int) -> Sheet:
        """One of them."""
        if self.flat:
            return Sheet(self.u, self.w, np.array([[0.0, float(self.first_row + self.paths[k, 0]) * ROW]]), True)
        u = (self.first_column + np.arange(self.paths.shape[1])) * COLUMN
        w = (self.first_row + self.paths[k] + 0.5) * ROW
        return Sheet(self.u, self.w, np.stack([u, w], axis=1), False)

    def strips(self, points: FloatArray) -> tuple[IntArray, FloatArray]:
        """In which strip between two borders each point lies, and how far along in it; past an end in the last."""
        place = np.clip(points @ self.u / COLUMN - self.first_column, 0.0, self.paths.shape[1] - 1.001)
        i = place.astype(np.int64)
        place -= i
        return i, place

    def offsets(self, points: FloatArray, some: IntArray) -> FloatArray:
        """Offset along w of some of the sheets at the u of points, (sheets, points) metres."""
        paths = self.paths[some]
        if self.flat:
            out: FloatArray = np.broadcast_to((self.first_row + paths) * ROW, (len(paths), len(points))).astype(float)
            return out
        i, place = self.strips(points)
        height: FloatArray = paths[:, i] * (1.0 - place) + paths[:, i + 1] * place
        height += self.first_row + 0.5
        height *= ROW
        return height


def across(w: FloatArray, degrees: float) -> FloatArray:
    """U for a wire square to w, so many degrees from upright (from +x where w is upright)."""
    up = np.array([0.0, 0.0, 1.0]) if abs(w[2]) < 0.5 else np.array([1.0, 0.0, 0.0])
    side = np.cross(up, w)
    turn = np.radians(degrees)
    wire = np.cos(turn) * up + np.sin(turn) * side
    wire[np.abs(wire) < 1e-12] = 0.0
    u: FloatArray = np.cross(w, wire)
    return u / np.linalg.norm(u)


def fan_makers(part: Part, worth: Worth, planes: bool, profiles: bool) -> list[Callable[[], Fan]]:
    """What makes planes at even distances, and the best profiles about them, in each direction."""
    turn = round(np.degrees(part.turn))
    angle = np.radians((turn + np.arange(6) * 30.0) % 180.0)
    ways = [np.array([np.cos(a), np.sin(a), 0.0]) for a in angle]
    for w in ways:
        w[np.abs(w) < 1e-12] = 0.0
    ways.append(np.array([0.0, 0.0, 1.0]))
    slab = whole_slab(part)
    makers: list[Callable[[], Fan]] = []
    for place, w in enumerate(ways):
        along = np.concatenate([part.of.cells.middles @ w, part.of.points @ w])
        first = int(np.floor(along.min() / ROW)) + 1
        # One at least, even of a body that lies between two rows: it is left out by what it parts.
        inner = np.arange(first, max(int(np.ceil(along.max() / ROW)), first + 1))
        if planes:
            makers.append(partial(_planes, w, place, inner))
        if profiles:
            makers += [partial(_profiles, slab, across(w, degrees), w, place, inner, worth) for degrees in _WIRES]
    return makers


def _planes(w: FloatArray, place: int, inner: IntArray) -> Fan:
    """Planes square to a direction, at some of the rows inside a body."""
    apart = max(1, -(-len(inner) // _PLANES))
    return Fan(across(w, 0.0), w, 0, 0, inner[len(inner) % apart // 2 :: apart, None], place)


def _profiles(slab: Slab, u: FloatArray, w: FloatArray, place: int, inner: IntArray, worth: Worth) -> Fan:
    """The best profiles about planes at some of the rows inside a body."""
    apart = max(_STEP, -(-len(inner) // _BANDS))
    image = make_image(slab, u, w)
    bands = [Band(image, k) for k in (inner[len(inner) % apart // 2 :: apart] - image.first_row).tolist()]
    found = best_paths(bands, BAND, worth.area / worth.line)
    paths = np.unique(np.stack([path for _, path in found]), axis=0)
    return Fan(u, w, image.first_column, image.first_row, paths, place)


def ends_of(fan: Fan) -> tuple[FloatArray, FloatArray]:
    """Between which offsets along w each sheet lies."""
    rows = (fan.first_row + fan.paths) * ROW
    return rows.min(axis=1), rows.max(axis=1) + ROW


def over(fan: Fan, middles: FloatArray, side: float) -> NDArray[np.uint8]:
    """Share of each brick over each sheet of a fan."""
    rises = (np.zeros(1) if fan.flat else RISES) * (ROW / COLUMN)
    # Rows over which a sheet of each rise passes a brick. Single precision tells a share to far less than one of 255.
    high = (np.abs(fan.w[None, :] - rises[:, None] * fan.u[None, :]).sum(axis=1) * (side / ROW)).astype(np.float32)
    at = (middles @ fan.w / ROW - fan.first_row).astype(np.float32)
    paths = fan.paths.astype(np.float32)
    if fan.flat:
        above = (at - paths) / high[0]
    else:
        i, place = fan.strips(middles)
        rise = np.diff(fan.paths, axis=1)
        above = np.take(rise.astype(np.float32), i, axis=1)
        above *= -place.astype(np.float32)
        above += at - np.float32(0.5)
        above -= np.take(paths, i, axis=1)
        above /= np.take(high[rise + RISE], i, axis=1)
    above += np.float32(0.5)
    np.clip(above, 0.0, 1.0, out=above)
    out: NDArray[np.uint8] = np.rint(above * np.float32(_FULL)).astype(np.uint8)
    return out
