# SPDX-License-Identifier: GPL-3.0-or-later
"""Parts of the sampled carving, and how a sheet splits one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.joint import Joint, Plane, Profile
from ..handling.rectangle import least_rectangle
from ..mesh.topology import joined
from .need import Need
from .samples import Samples

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_TURNS: Final = 16
"""Directions over half a turn whose extreme points stand for a part when its box is measured: 11 degrees apart the
points that touch the box are among them or a few millimetres off."""


LINE: Final = 0.015
"""Metres to either side of a sheet whose samples stand for its line: about the distance of samples."""

_WAYS: Final = (0.5, 1.0, 1.6)
"""Cells' sides that a point beside a joint is moved inwards to find the body that it belongs to."""

LEAST: Final = 0.03
"""Share of a part, on the smaller side, under which a joint is not looked at."""

_FEW: Final = 14_000
"""About as many samples are enough where only sums over a whole side count."""

_SOME: Final = 400
"""Cells that stand for a part where that does not tell."""


@dataclass(frozen=True, eq=False)
class Sheet:
    """A joint of the plan: `points` (k, 2) of u and w, from an origin at 0; a plane where all w are one.

    Attributes
    ----------
    u, w, wire : (3,) unit, square to each other, wire = u x w.
    points : (k, 2) knots, rising in u, metres.
    flat : whether it is a plane.
    """

    u: FloatArray
    w: FloatArray
    points: FloatArray
    flat: bool

    @property
    def wire(self) -> FloatArray:
        """Direction of the wire, (3,) unit."""
        a, b = self.u, self.w
        # As `numpy.cross`, which takes many times as long for one pair.
        return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])

    def height(self, at: FloatArray) -> FloatArray:
        """Offset along w at u, straight on past the ends."""
        if self.flat:
            return np.full(len(at), self.points[0, 1])
        a, b = self.points[:, 0], self.points[:, 1]
        out = np.interp(at, a, b)
        before, after = at < a[0], at > a[-1]
        out[before] = b[0] + (at[before] - a[0]) * (b[1] - b[0]) / (a[1] - a[0])
        out[after] = b[-1] + (at[after] - a[-1]) * (b[-1] - b[-2]) / (a[-1] - a[-2])
        return out

    def slope(self, at: FloatArray) -> FloatArray:
        """Rise of the sheet at u."""
        if self.flat:
            return np.zeros(len(at))
        strip = np.clip(np.searchsorted(self.points[:, 0], at) - 1, 0, len(self.points) - 2)
        rise: FloatArray = (np.diff(self.points[:, 1]) / np.diff(self.points[:, 0]))[strip]
        return rise

    def above(self, points: FloatArray) -> FloatArray:
        """How far points stand above it along w, (n,) metres."""
        out: FloatArray = points @ self.w
        if self.flat:
            out -= self.points[0, 1]
        else:
            out -= self.height(points @ self.u)
        return out

    def moved(self, by: float) -> Sheet:
        """The same sheet `by` metres further along w."""
        return Sheet(self.u, self.w, self.points + np.array([0.0, by]), self.flat)

    def joint(self, part: FloatArray | None, limb: FloatArray | None = None) -> Joint:
        """As a joint that cuts the body round `part`, at its face nearest to `limb`."""
        if self.flat:
            middle = float(self.points[:, 0].mean())
            return Plane(self.u * middle + self.w * self.points[0, 1], self.w, part, limb)
        return Profile((0.0, 0.0, 0.0), self.u, self.w, self.points, part, limb)


@dataclass(frozen=True, eq=False)
class Part:
    """A connected part of the carving.

    Attributes
    ----------
    of : the carving.
    cells, skin : which of its cells and samples. pairs : (p, 2) its cells that share a face.
    faces : (k, 4) samples of its joint faces: place in metres, area in square metres.
    """

    of: Samples
    cells: IntArray
    skin: IntArray
    pairs: IntArray
    faces: FloatArray

    def __getstate__(self) -> dict[str, Any]:
        """What another process is told of it: not what is long, and soon found again."""
        return {name: value for name, value in self.__dict__.items() if name not in ("places", "few")}

    @cached_property
    def foam(self) -> float:
        """Cubic metres of foam before the gap."""
        return float(self.of.cells.foam[self.cells].sum())

    @cached_property
    def laid(self) -> float:
        """Kilograms of skin, joint faces included."""
        return float(self.of.skin[self.skin].sum()) + self.of.face_mass * float(self.faces[:, 3].sum())

    @cached_property
    def volume(self) -> float:
        """Cubic metres of foam, less what the gap takes."""
        return self.foam - self.of.gap / 2.0 * float(self.faces[:, 3].sum())

    @cached_property
    def mass(self) -> float:
        """Finished mass, kg."""
        return self.of.density * self.volume + self.laid

    @cached_property
    def middle(self) -> FloatArray:
        """Centre of its foam, (3,) metres."""
        foam = self.of.cells.foam[self.cells]
        out: FloatArray = foam @ self.of.cells.middles[self.cells] / foam.sum()
        return out

    @cached_property
    def few(self) -> tuple[IntArray, float, IntArray, float]:
        """Some of its samples, and how many each stands for; some of its cells, and how many each stands for."""
        out: list[IntArray | float] = []
        for rows in (self.skin, self.cells):
            some = rows[:: max(1, len(rows) // _FEW)]
            out += [some, len(rows) / max(len(some), 1)]
        return tuple(out)  # type: ignore[return-value]

    @cached_property
    def places(self) -> FloatArray:
        """Samples of skin and joint faces, (n, 3)."""
        return np.concatenate([np.take(self.of.points, self.skin, axis=0), self.faces[:, :3]])

    @cached_property
    def _corners(self) -> FloatArray:
        angle = np.arange(_TURNS) * (np.pi / _TURNS)
        # A part of many samples is no piece yet: some of them tell its box well enough.
        places = self.places[:: 1 + len(self.places) // _FEW // 2]
        x, y = np.ascontiguousarray(places[:, :2].T)
        corners = []
        for a in angle:
            along = np.cos(a) * x + np.sin(a) * y
            corners += [int(along.argmax()), int(along.argmin())]
        return np.stack([x[corners], y[corners]], axis=1)

    @cached_property
    def _rectangle(self) -> tuple[float, float, float]:
        return least_rectangle(self._corners)

    @property
    def turn(self) -> float:
        """Direction of its length in plan, radians."""
        return self._rectangle[2]

    @cached_property
    def box(self) -> tuple[float, float, float]:
        """Length, width, height of the box round it, metres, skin included."""
        length, width, _ = self._rectangle
        grow = self.of.grow
        return length + grow, width + grow, float(np.ptp(self.places[:, 2])) + grow

    def is_piece(self, need: Need) -> bool:
        """Whether it is within the limits, turned as it may be."""
        if self.mass > need.limit or need.fits(self.mass, self.box):
            return self.mass <= need.limit
        if not need.any_pose:
            return False
        # The least rectangle need not be the one that goes through a door.
        angle = np.arange(_TURNS) * (np.pi / _TURNS)
        side = np.ptp(self._corners @ np.stack([np.cos(angle), np.sin(angle)]), axis=0) + self.of.grow
        half = _TURNS // 2
        return any(need.fits(self.mass, (*pair, self.box[2])) for pair in zip(side[:half], side[half:], strict=True))

    @cached_property
    def lines(self) -> FloatArray:
        """What joints across its length, width and height show, (6,): see `Samples.lines`."""
        some, each, _, _ = self.few
        turn = self.turn
        frame = np.array([[np.cos(turn), np.sin(turn), 0.0], [-np.sin(turn), np.cos(turn), 0.0], [0.0, 0.0, 1.0]])
        out: FloatArray = self.of.lines(some, frame).sum(axis=0) * each
        return out

    @cached_property
    def stands(self) -> bool:
        """Whether its centre is over what it stands on."""
        cells = self.of.cells.middles[self.cells]
        foot = cells[cells[:, 2] < cells[:, 2].min() + 1.5 * self.of.cells.step, :2]
        angle = np.arange(_TURNS) * (2.0 * np.pi / _TURNS)
        way = np.stack([np.cos(angle), np.sin(angle)])
        return bool(((foot @ way).max(axis=0) + self.of.cells.step / 2.0 > self.middle[:2] @ way).all())


def marks(part: Part) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which of all cells, and of all samples of the skin, a part has."""
    cells, skin = np.zeros(len(part.of.cells.foam), dtype=bool), np.zeros(len(part.of.points), dtype=bool)
    cells[part.cells], skin[part.skin] = True, True
    return cells, skin


def whole(samples: Samples) -> Part:
    """All of a body."""
    cells = np.arange(len(samples.cells.foam))
    return Part(samples, cells, np.arange(len(samples.points)), samples.cells.pairs, np.zeros((0, 4)))


def split(part: Part, sheet: Sheet) -> tuple[list[Part], FloatArray]:
    """Bodies below and above a sheet, and samples of the joint: (k, 4) place in metres, area in square metres."""
    of = part.of
    middles = np.take(of.cells.middles, part.cells, axis=0)
    f = sheet.above(middles)
    up = f >= 0.0
    along = middles @ sheet.u
    rise = sheet.slope(along)
    normal = sheet.w[None, :] - rise[:, None] * sheet.u[None, :]
    length = np.sqrt(1.0 + rise * rise)
    # Width of a cell square to the sheet: a cell cut at a random height shows foam / width on average.
    wide = of.cells.step * np.abs(normal).sum(axis=1) / length
    # Half open, and a hair aside: a plane between two layers of cells cuts one of them.
    half = wide * length / 2.0
    cut = np.flatnonzero((f + 1e-9 >= -half) & (f + 1e-9 < half))
    area = of.cells.foam[part.cells[cut]] / wide[cut]
    made = np.column_stack([middles[cut] - f[cut, None] * sheet.w, area])
    over = sheet.above(np.take(of.points, part.skin, axis=0)) >= 0.0
    old = sheet.above(part.faces[:, :3]) >= 0.0
    out = []
    mark = np.zeros(len(of.cells.foam), dtype=np.int8)
    mark[part.cells] = np.where(up, 2, 1)
    side = mark[part.pairs]
    for which, way in ((1, -1.0), (2, 1.0)):
        here = up if which == 2 else ~up
        if not here.any():
            continue
        child = Part(
            of,
            part.cells[here],
            part.skin[over == (which == 2)],
            np.compress((side[:, 0] == which) & (side[:, 1] == which), part.pairs, axis=0),
            np.concatenate([part.faces[old == (which == 2)], made]),
        )
        out += _bodies(child, way * sheet.w)
    return out, made


def shown(part: Part, sheet: Sheet) -> tuple[float, float, float]:
    """Metres of visible line that a sheet makes on a part, of them off seams, and those weighted by what they cost.

    Samples within `LINE` of the sheet stand for its line (coarea formula, as in `image`).
    """
    of = part.of
    rows, level = met(part, sheet)
    seen = of.seen[rows] * level
    return float(seen.sum()), float((seen * (1.0 - of.seam[rows])).sum()), float((of.worth[rows] * level).sum())


def trail_lengths(part: Part, sheet: Sheet) -> tuple[float, dict[int, float]]:
    """Metres of visible line, and metres of it on each trail that it follows."""
    rows, level = met(part, sheet)
    seen = part.of.seen[rows] * level
    trail = part.of.trail[rows]
    total = np.bincount(trail[trail >= 0], seen[trail >= 0])
    return float(seen.sum()), {k: float(total[k]) for k in np.flatnonzero(total > 0.0).tolist()}


def line_kept_whole(part: Part, sheet: Sheet) -> float:
    """Metres of a sheet's line that run where no joint may cross."""
    rows, level = met(part, sheet)
    return float((part.of.area[rows] * part.of.keep[rows] * level).sum())


def met(part: Part, sheet: Sheet) -> tuple[IntArray, FloatArray]:
    """Samples near a sheet, and metres of its line that a square metre of each stands for."""
    of = part.of
    points = np.take(of.points, part.skin, axis=0)
    near = np.flatnonzero(np.abs(sheet.above(points)) < 1.5 * LINE)
    rows = part.skin[near]
    rise = sheet.slope(points[near] @ sheet.u)
    across = of.normals[rows] @ sheet.w - rise * (of.normals[rows] @ sheet.u)
    return rows, line_density(across, rise, sheet.above(points[near]))


def line_density(across: FloatArray, rise: FloatArray, above: FloatArray) -> FloatArray:
    """Metres of a sheet's line that a square metre of skin by it stands for, (n,).

    across : normal's part along w, less its part along u times the rise. rise : of the sheet there.
    above : metres along w over the sheet.
    """
    away = np.abs(above) / np.sqrt(1.0 + rise * rise)
    level = np.sqrt(np.maximum(1.0 - across * across / (1.0 + rise * rise), 0.0))
    out: FloatArray = level * np.clip(1.0 - away / LINE, 0.0, None) / LINE
    return out


def _bodies(part: Part, inward: FloatArray) -> list[Part]:
    """The connected bodies of a part; `inward` points away from the joint just made, into its foam."""
    local = np.full(len(part.of.cells.foam), -1, dtype=np.int64)
    local[part.cells] = np.arange(len(part.cells))
    label = joined(len(part.cells), local[part.pairs[:, 0]], local[part.pairs[:, 1]])
    count = int(label.max()) + 1
    if count == 1:
        return [part]
    of = part.of
    name = np.full(len(local) + 1, -1, dtype=np.int64)
    name[part.cells] = label
    step = of.cells.step
    skin = name[of.home[part.skin]]
    lost = np.flatnonzero(skin < 0)
    if len(lost):
        rows = part.skin[lost]
        skin[lost] = _named(part, name, of.points[rows] - 0.25 * step * of.normals[rows], step * inward)
    faces = _named(part, name, part.faces[:, :3], step * inward)
    both = name[part.pairs[:, 0]]
    return [
        Part(of, part.cells[label == k], part.skin[skin == k], part.pairs[both == k], part.faces[faces == k])
        for k in range(count)
    ]


def _named(part: Part, name: IntArray, points: FloatArray, inward: FloatArray) -> IntArray:
    """Body at each point: that of the cell a little further in, else of the nearest of a few hundred cells."""
    out = np.full(len(points), -1, dtype=np.int64)
    for way in _WAYS:
        lost = np.flatnonzero(out < 0)
        if len(lost) == 0:
            return out
        out[lost] = name[part.of.cells.at(points[lost] + way * inward)]
    lost = np.flatnonzero(out < 0)
    some = part.cells[:: max(1, len(part.cells) // _SOME)]
    middles = part.of.cells.middles[some]
    for begin in range(0, len(lost), 512):
        rows = lost[begin : begin + 512]
        away = ((points[rows, None, :] - middles[None, :, :]) ** 2).sum(axis=2)
        out[rows] = name[some[np.argmin(away, axis=1)]]
    return out
