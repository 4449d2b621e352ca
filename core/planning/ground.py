# SPDX-License-Identifier: GPL-3.0-or-later
"""What the sheets of a sheaf come to on a part, weighed at once by sums over its bricks and samples."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.runs import runs
from .entries import STRETCH
from .fans import Fan
from .image import ROW
from .need import Need
from .offers import Offers
from .part import LEAST, Part
from .sheaf import Sheaf
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_WINDOW: Final = 0.06
"""Metres along a direction of which the best profile of each fan is kept."""

_PROFILES: Final = 90
"""Most profiles that are kept."""

_MOST: Final = 20
"""Most planes of a direction that are weighed."""

_PLANES: Final = 80
"""Most planes that series are made of, beside those that part a part evenly: the best of each place."""

_CLEAR: Final = 0.02
"""Metres by which such a plane leaves a part shorter than it may be, as boxes are told to about so much."""

_BESIDE: Final = 0.04
"""Metres to either side of a chosen plane in which others are looked at closer."""

_EVEN: Final = 6
"""Most pieces into which planes part a part evenly."""

_POINTS: Final = 700
"""Most places by which boxes and the mass of skin are measured."""

_ROUGHLY: Final = 800
"""Bricks by which it is told how much of a part lies below a sheet, before it is looked at closer."""

_SOME: Final = 300
"""Bricks by which it is told whether two sheets cross."""


@dataclass(frozen=True, eq=False)
class Ground:
    """A part as sheets are weighed on it.

    Attributes
    ----------
    sheaf : with its own entries. brick : (b,) bricks that it has cells of.
    held : (b, c) foam in each, skin, and `Samples.lines` for each turn.
    points : (p, 3) places where it has skin, drawn together.
    off, on_seam : (s,) metres of line off seams, weighted, and on seams, that each sheet shows on it.
    ends : from where to where it reaches along a direction, as far as was asked.
    """

    part: Part
    sheaf: Sheaf
    brick: IntArray
    held: FloatArray
    points: FloatArray
    off: FloatArray
    on_seam: FloatArray
    ends: dict[int, tuple[float, float]] = field(default_factory=dict)

    @classmethod
    def of(cls, part: Part, sheaf: Sheaf) -> Ground:
        """A part on a sheaf of its body, or of a part that holds it."""
        own = sheaf.on(part)
        off, on_seam = (_sums(values, own.start) for values in (own.off, own.on_seam))
        begin = 0
        for fan in own.fans:
            if fan.flat:
                rows = own.rows(fan.place)
                mine = slice(begin, begin + len(fan.paths))
                at = rows.at(own.level[mine])
                off[mine], on_seam[mine] = rows.off[at], rows.on_seam[at]
            begin += len(fan.paths)
        return cls(part, own, *_held(part, own), _gathered(part, own), off, on_seam)

    def near(self, need: Need, worth: Worth) -> tuple[IntArray, BoolArray]:
        """Sheets that are looked at first, not too many, and which of them series are made of.

        Of planes these are the best of each place, and those that part it into even or as large pieces as may be.
        """
        sheaf = self.sheaf
        rows, length = self._by()
        # Where each lies is told well enough by some of the bricks of a large part.
        some = slice(None, None, 1 + len(self.brick) // _ROUGHLY)
        foam = self.held[some, 0] / (255.0 * self.held[some, 0].sum())
        share = 1.0 - _block(sheaf.over, rows, self.brick[some]).astype(np.float32) @ foam.astype(np.float32)
        kept = (share > LEAST) & (share < 1.0 - LEAST)
        rows, at = rows[kept], (share * length)[kept]
        price, place, flat = (self.off - worth.follow * self.on_seam)[rows], sheaf.place[rows], sheaf.flat[rows]
        bent, level = np.flatnonzero(~flat), np.flatnonzero(flat)
        best = bent[_best(place[bent], at[bent], price[bent], _PROFILES)]
        serial = np.concatenate([rows[best], rows[level[_best(place[level], at[level], price[level], _PLANES)]]])
        each = [level[place[level] == k] for k in np.unique(place[level]).tolist()]
        thin = [own[:: -(-len(own) // _MOST)] for own in each]
        serial = np.concatenate([serial, self._even(need)])
        every = np.unique(np.concatenate([serial, *(rows[own] for own in thin)]))
        return every, np.isin(every, serial)

    def _even(self, need: Need) -> IntArray:
        """Planes that part it into a few pieces of equal weight, of equal length, or as long as may be."""
        part, sheaf = self.part, self.sheaf
        fewest = math.ceil(part.mass / need.limit)
        out = [np.zeros(0, dtype=np.int64)]
        begin = 0
        for fan in sheaf.fans:
            if fan.flat:
                planes = sheaf.rows(fan.place)
                weight = part.of.density * planes.foam + planes.laid
                low, high = self._along(fan.place)
                # About what a joint adds on each side of it.
                own = part.of.face_mass * part.foam / max(high - low, 1e-9)
                rows: list[float] = []
                for many in range(max(fewest, 2), min(fewest + 3, _EVEN + 1)):
                    k = np.arange(1, many)
                    each = (weight[-1] + 2.0 * (many - 1) * own) / many
                    at = np.interp(each * k - own * (2 * k - 1), weight, np.arange(len(weight)))
                    rows += (planes.first + at).tolist()
                for side in sorted({*need.size, *(need.stock or ())}):
                    side -= part.of.grow + _CLEAR
                    many = math.ceil((high - low) / side) if side > 0.0 else 0
                    if 2 <= many <= _EVEN:
                        k = np.arange(1, many)
                        # Equal ones, and as long ones as may be from either end.
                        each = (high - low) / many
                        places = np.concatenate([low + k * each, low + k * side, high - k * side])
                        rows += (places / ROW).tolist()
                mine = np.searchsorted(fan.paths[:, 0] + fan.first_row, np.rint(rows))
                out.append(begin + np.clip(mine, 0, len(fan.paths) - 1))
            begin += len(fan.paths)
        return np.unique(np.concatenate(out))

    def beside(self, sheets: IntArray) -> IntArray:
        """Planes between those of some sheets and the next ones on either side that were looked at."""
        sheaf = self.sheaf
        out = [np.zeros(0, dtype=np.int64)]
        for k in sheets[sheaf.flat[sheets]].tolist():
            fan = sheaf.fans[sheaf.fan[k]]
            many = self._reached(fan, k - int(sheaf.row[k]))
            reach = round(_BESIDE / ROW / max(self._apart(fan), 1))
            out.append(many[np.abs(many - k) <= reach])
        return np.unique(np.concatenate(out))

    def offers(self, rows: IntArray, serial: BoolArray, worth: Worth, wire: float) -> Offers:
        """What some sheets come to as joints; those that leave next to nothing on a side are left out.

        serial : which of them series are made of. wire : metres that one reaches.
        """
        part, sheaf = self.part, self.sheaf
        over = _block(sheaf.over, rows, self.brick)
        held = self.held.astype(np.float32) / np.float32(255.0)
        under = ((255.0 - over.astype(np.float32)) @ held).astype(np.float64)
        self._counted(rows, under)
        kept = np.flatnonzero((under[:, 0] > LEAST * part.foam) & (under[:, 0] < (1.0 - LEAST) * part.foam))
        kept = kept[np.argsort(under[kept, 0], kind="stable")]
        rows, over, serial, under = rows[kept], over[kept], serial[kept], under[kept]
        area, reach = self._areas(rows)
        fee = worth.line * (self.off - worth.follow * self.on_seam)[rows] + worth.area * area
        fee += worth.wire * np.maximum(reach / wire - 1.0, 0.0)
        below = np.concatenate([np.zeros((1, held.shape[1])), under, self.held.sum(axis=0)[None]])
        low, high, low_above, high_above = self._extents(rows)
        some = slice(None, None, 1 + len(self.brick) // _SOME)
        few = over[:, some] > 127
        return Offers(part, rows, serial, fee, area, below, low, high, low_above, high_above, self._size, few)

    @cached_property
    def _size(self) -> FloatArray:
        """Metres of the part along the sheaf's axes, (7,), by all of its samples."""
        size: FloatArray = np.ptp(self.part.places @ self.sheaf.axes.T, axis=0)
        return size

    def _by(self) -> tuple[IntArray, FloatArray]:
        """Sheets that are near the part at all, and its length across each."""
        sheaf = self.sheaf
        rows, lengths = [], []
        begin = 0
        for fan in sheaf.fans:
            own = self._reached(fan, begin)
            rows.append(own)
            lengths.append(np.full(len(own), np.ptp(self._along(fan.place))))
            begin += len(fan.paths)
        return np.concatenate(rows), np.concatenate(lengths)

    def _apart(self, fan: Fan) -> int:
        """Rows from one plane of a fan to the next."""
        return int(fan.paths[1, 0] - fan.paths[0, 0]) if len(fan.paths) > 1 else 1

    def _along(self, place: int) -> tuple[float, float]:
        """From where to where the part reaches along a direction."""
        if place not in self.ends:
            w = next(fan.w for fan in self.sheaf.fans if fan.place == place)
            along = self.points @ w
            self.ends[place] = float(along.min()), float(along.max())
        return self.ends[place]

    def _reached(self, fan: Fan, begin: int) -> IntArray:
        """Sheets of a fan, whose first is number `begin`, that are near the part."""
        low, high = self._along(fan.place)
        rows = slice(begin, begin + len(fan.paths))
        return begin + np.flatnonzero((self.sheaf.most[rows] > low) & (self.sheaf.least[rows] < high))

    def _areas(self, rows: IntArray) -> tuple[FloatArray, FloatArray]:
        """Square metres of sheets, and the longest wire in foam of the profiles among them, metres.

        The wire is where the most of a profile's area is over a stretch of u.
        """
        sheaf = self.sheaf
        area = np.zeros(len(rows))
        for k, mine in self._flat(rows):
            planes = sheaf.rows(sheaf.fans[k].place)
            area[mine] = planes.area[planes.at(sheaf.level[rows[mine]])]
        first, count = sheaf.begin[rows], sheaf.begin[rows + 1] - sheaf.begin[rows]
        sheet, turn = runs(count)
        which = first[sheet] + turn
        wide = int(sheaf.column.max(initial=0)) + 1
        held = np.bincount(sheet * wide + sheaf.column[which], sheaf.area[which], len(rows) * wide)
        held = held.reshape(len(rows), wide)
        return area + held.sum(axis=1), held.max(axis=1) / STRETCH

    def _flat(self, rows: IntArray) -> Iterator[tuple[int, IntArray]]:
        """Which of some sheets are planes, fan by fan."""
        fan = self.sheaf.fan[rows]
        for k in np.unique(fan[self.sheaf.flat[rows]]).tolist():
            yield k, np.flatnonzero(fan == k)

    def _counted(self, rows: IntArray, under: FloatArray) -> None:
        """Put foam and skin below planes right, which bricks only tell roughly."""
        for k, mine in self._flat(rows):
            planes = self.sheaf.rows(self.sheaf.fans[k].place)
            at = planes.at(self.sheaf.level[rows[mine]])
            under[mine, 0], under[mine, 1] = planes.foam[at], planes.laid[at]

    def _extents(self, rows: IntArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Least and greatest places along the axes of what is below each sheet, and of what is above; ends included."""
        sheaf, points = self.sheaf, self.points
        along = points @ sheaf.axes.T
        over = np.empty((len(rows), len(points)), dtype=bool)
        for k in np.unique(sheaf.fan[rows]).tolist():
            fan = sheaf.fans[k]
            mine = np.flatnonzero(sheaf.fan[rows] == k)
            over[mine] = (points @ fan.w)[None, :] >= fan.offsets(points, sheaf.row[rows[mine]])
        n, axes = len(rows), along.shape[1]
        least, most = np.empty((2, n + 2, axes)), np.empty((2, n + 2, axes))
        # From low to high along each axis, and from high to low: what comes first on a side is its end.
        order = np.argsort(along, axis=0, kind="stable").T
        both = np.stack([order, order[:, ::-1]])
        values = along.T[np.arange(axes)[:, None], both]
        there = np.take(over, both.reshape(-1), axis=1).reshape(n, 2, axes, len(points))
        every, start = np.arange(axes), there[:, 0, :, 0]
        for side, first in ((0, there.argmin(axis=3)), (1, there.argmax(axis=3))):
            none = (first[:, 0] == 0) & (start != bool(side))
            least[side, 1:-1] = np.where(none, np.inf, values[0, every, first[:, 0]])
            most[side, 1:-1] = np.where(none, -np.inf, values[1, every, first[:, 1]])
        least[0, -1] = least[1, 0] = values[0, :, 0]
        most[0, -1] = most[1, 0] = values[1, :, 0]
        # Below the first end and above the last there is nothing.
        least[0, 0], most[0, 0] = np.inf, -np.inf
        least[1, -1], most[1, -1] = np.inf, -np.inf
        return least[0], most[0], least[1], most[1]


def _held(part: Part, sheaf: Sheaf) -> tuple[IntArray, FloatArray]:
    """Bricks of a part, and foam, skin and lines in each, (b, 20)."""
    of = part.of
    count = len(sheaf.middles)
    foam = np.bincount(sheaf.brick[part.cells], of.cells.foam[part.cells], count)
    brick = np.flatnonzero(foam)
    local = np.full(count + 1, len(brick))
    local[brick] = np.arange(len(brick))
    # Of lines every sample of a large part tells no more than some of them.
    some, each, _, _ = part.few
    home = local[sheaf.home[some]]
    columns = [np.bincount(home, column, len(brick) + 1)[:-1] * each for column in sheaf.lines[some].T]
    home = local[sheaf.home[part.skin]]
    laid: FloatArray = np.bincount(home, of.skin[part.skin], len(brick) + 1).astype(np.float64)
    if len(part.faces):
        cell = of.cells.at(part.faces[:, :3])
        home = np.where(cell >= 0, local[sheaf.brick[cell]], len(brick))
        laid += np.bincount(home, part.faces[:, 3] * of.face_mass, len(brick) + 1)
    # What lies by none of its bricks goes with the others.
    laid = laid[:-1] * (part.laid / max(float(laid[:-1].sum()), 1e-12))
    return brick, np.stack([foam[brick], laid, *columns], axis=1)


def _gathered(part: Part, sheaf: Sheaf) -> FloatArray:
    """Samples of a part's skin drawn together brick by brick, and some of its joint faces, (p, 3)."""
    of = part.of
    home = sheaf.home[part.skin]
    known = home >= 0
    rows, home = part.skin[known], home[known]
    count = len(sheaf.middles)
    many = np.bincount(home, minlength=count)
    brick = np.flatnonzero(many)
    place = np.stack([np.bincount(home, of.points[rows, k], count)[brick] for k in range(3)], axis=1)
    place = place / many[brick, None]
    return np.concatenate(
        [place[:: 1 + len(brick) // _POINTS], part.faces[:: 1 + len(part.faces) // (_POINTS // 4), :3]]
    )


def _block(table: NDArray[np.uint8], rows: IntArray, columns: IntArray) -> NDArray[np.uint8]:
    """Some rows and columns of a table: one after the other takes half as long as by both."""
    return np.take(np.take(table, rows, axis=0), columns, axis=1)


def _sums(values: NDArray[np.float32], start: IntArray) -> FloatArray:
    """Sum of the values of each sheet, (s,)."""
    total = np.zeros(len(values) + 1)
    np.cumsum(values, dtype=np.float64, out=total[1:])
    return np.diff(total[start])


def _best(place: IntArray, at: FloatArray, price: FloatArray, most: int) -> IntArray:
    """The cheapest sheet of each stretch of each direction, not more than most; `at`: metres along the direction."""
    window = _WINDOW
    while True:
        cell = np.floor(at / window).astype(np.int64) * 100 + place
        order = np.lexsort((price, cell))
        best: IntArray = order[np.append(True, np.diff(cell[order]) != 0)[: len(order)]]
        if len(best) <= most:
            return best
        window *= 1.25
