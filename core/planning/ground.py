# SPDX-License-Identifier: GPL-3.0-or-later
"""What the sheets of a sheaf come to on a part, weighed at once by sums over its bricks and samples."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.runs import runs
from .image import ROW, gathered
from .need import Need
from .offers import Offers
from .part import LEAST, Part
from .sheaf import STRETCH, Fan, Sheaf
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_WINDOW: Final = 0.06
"""Metres along a direction of which the best profile of each fan is kept."""

_PROFILES: Final = 90
"""Most profiles that are kept."""

_MOST: Final = 40
"""Most planes of a direction that are weighed."""

_PLANES: Final = 80
"""Most planes that series are made of, beside those that part a part evenly: the best of each place."""

_CLEAR: Final = 0.02
"""Metres by which such a plane leaves a part shorter than it may be, as boxes are told to about so much."""

_BESIDE: Final = 0.08
"""Metres to either side of a chosen plane in which others are looked at closer."""

_EVEN: Final = 6
"""Most pieces into which planes part a part evenly."""

_POINTS: Final = 1_600
"""Most places by which boxes and the mass of skin are measured."""

_SOME: Final = 600
"""Bricks by which it is told whether two sheets cross."""


@dataclass(frozen=True, eq=False)
class Ground:
    """A part as sheets are weighed on it.

    Attributes
    ----------
    brick : (b,) bricks that it has cells of. held : (b, c) foam in each, skin, and `Samples.lines` for each turn.
    skin, cells : (m,), (n,) which samples and cells of the body are its own.
    points : (p, 3) places where it has skin, drawn together.
    ends, stacks : from where to where it reaches along a direction, and what is below rows, as far as was asked.
    """

    part: Part
    sheaf: Sheaf
    brick: IntArray
    held: FloatArray
    skin: BoolArray
    cells: BoolArray
    points: FloatArray
    ends: dict[int, tuple[float, float]] = field(default_factory=dict)
    stacks: dict[int, tuple[int, FloatArray, FloatArray]] = field(default_factory=dict)

    @classmethod
    def of(cls, part: Part, sheaf: Sheaf) -> Ground:
        """A part on the sheaf of its body."""
        skin = np.zeros(len(part.of.points), dtype=bool)
        skin[part.skin] = True
        cells = np.zeros(len(part.of.cells.foam), dtype=bool)
        cells[part.cells] = True
        return cls(part, sheaf, *_held(part, sheaf), skin, cells, _gathered(part, sheaf))

    def near(self, need: Need, worth: Worth) -> tuple[IntArray, BoolArray]:
        """Sheets that are looked at first, not too many, and which of them series are made of.

        Of planes these are the best of each place, and those that part it into even or as large pieces as may be.
        """
        sheaf = self.sheaf
        rows, length = self._by()
        foam = self.held[:, 0] / (255.0 * self.held[:, 0].sum())
        share = 1.0 - sheaf.over[np.ix_(rows, self.brick)].astype(np.float32) @ foam.astype(np.float32)
        kept = (share > LEAST) & (share < 1.0 - LEAST)
        rows, at = rows[kept], (share * length)[kept]
        off, on = self._lines(rows)
        price, place, flat = off - worth.follow * on, sheaf.place[rows], sheaf.flat[rows]
        bent, level = np.flatnonzero(~flat), np.flatnonzero(flat)
        best = bent[_best(place[bent], at[bent], price[bent], _PROFILES)]
        serial = np.concatenate([rows[best], rows[level[_best(place[level], at[level], price[level], _PLANES)]]])
        some = [level[place[level] == k] for k in np.unique(place[level]).tolist()]
        thin = [own[:: -(-len(own) // _MOST)] for own in some]
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
                first, foam, laid = self._stack(fan)
                weight = part.of.density * foam + laid
                low, high = self._along(fan.place)
                # About what a joint adds on each side of it.
                own = part.of.face_mass * part.foam / max(high - low, 1e-9)
                rows: list[float] = []
                for many in range(max(fewest, 2), min(fewest + 3, _EVEN + 1)):
                    k = np.arange(1, many)
                    each = (weight[-1] + 2.0 * (many - 1) * own) / many
                    rows += (first + np.interp(each * k - own * (2 * k - 1), weight, np.arange(len(weight)))).tolist()
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
            reach = max(-(-len(many) // _MOST), round(_BESIDE / ROW / max(self._apart(fan), 1))) - 1
            out.append(many[np.abs(many - k) <= reach])
        return np.unique(np.concatenate(out))

    def offers(self, rows: IntArray, serial: BoolArray, worth: Worth, wire: float) -> Offers:
        """What some sheets come to as joints; those that leave next to nothing on a side are left out.

        serial : which of them series are made of. wire : metres that one reaches.
        """
        part, sheaf = self.part, self.sheaf
        over = sheaf.over[np.ix_(rows, self.brick)]
        held = self.held.astype(np.float32) / np.float32(255.0)
        under = ((255.0 - over.astype(np.float32)) @ held).astype(np.float64)
        self._counted(rows, under)
        kept = np.flatnonzero((under[:, 0] > LEAST * part.foam) & (under[:, 0] < (1.0 - LEAST) * part.foam))
        kept = kept[np.argsort(under[kept, 0], kind="stable")]
        rows, over, serial, under = rows[kept], over[kept], serial[kept], under[kept]
        off, on = self._lines(rows)
        (area,) = _summed(rows, sheaf.begin, sheaf.cell, self.cells, (sheaf.area,))
        reach = self._wires(rows)
        fee = worth.line * (off - worth.follow * on) + worth.area * area
        fee += worth.wire * np.maximum(reach / wire - 1.0, 0.0)
        below = np.concatenate([np.zeros((1, held.shape[1])), under, self.held.sum(axis=0)[None]])
        low, high, low_above, high_above = self._extents(rows)
        some = slice(None, None, 1 + len(self.brick) // _SOME)
        size = np.ptp(part.places @ sheaf.axes.T, axis=0)
        few = over[:, some] > 127
        return Offers(part, rows, serial, fee, area, below, low, high, low_above, high_above, size, few)

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

    def _lines(self, rows: IntArray) -> list[FloatArray]:
        """Metres of line off seams, weighted, and on seams, that sheets show on the part."""
        sheaf = self.sheaf
        return _summed(rows, sheaf.start, sheaf.sample, self.skin, (sheaf.off, sheaf.on))

    def _wires(self, rows: IntArray) -> FloatArray:
        """Longest wire in foam of each profile, metres: where the most of its area is over a stretch of u."""
        sheaf = self.sheaf
        out = np.zeros(len(rows))
        bent = np.flatnonzero(~sheaf.flat[rows])
        sheet, which = _entries(rows[bent], sheaf.begin, sheaf.cell, self.cells)
        column = sheaf.column[which]
        wide = int(column.max(initial=0)) + 1
        held = np.bincount(sheet * wide + column, sheaf.area[which], len(bent) * wide)
        out[bent] = held.reshape(len(bent), wide).max(axis=1) / STRETCH
        return out

    def _stack(self, fan: Fan) -> tuple[int, FloatArray, FloatArray]:
        """Foam and skin below each row along a fan's direction, from its first row on.

        Planes lie at rows, so what is below one is told exactly by counting.
        """
        found = self.stacks.get(fan.place)
        if found is not None:
            return found
        part, of = self.part, self.part.of
        skin = np.concatenate([of.points[part.skin], part.faces[:, :3]]) @ fan.w
        laid = np.concatenate([of.skin[part.skin], part.faces[:, 3] * of.face_mass])
        rows = [np.floor(at / ROW + 1e-9).astype(np.int64) for at in (of.cells.middles[part.cells] @ fan.w, skin)]
        first = min(int(row.min()) for row in rows)
        many = max(int(row.max()) for row in rows) - first + 1
        below = [
            np.concatenate([[0.0], np.bincount(row - first, value, many).cumsum()])
            for row, value in zip(rows, (of.cells.foam[part.cells], laid), strict=True)
        ]
        self.stacks[fan.place] = first, below[0], below[1]
        return self.stacks[fan.place]

    def _counted(self, rows: IntArray, under: FloatArray) -> None:
        """Put foam and skin below planes right, which bricks only tell roughly."""
        sheaf = self.sheaf
        for k in np.unique(sheaf.fan[rows]).tolist():
            fan = sheaf.fans[k]
            if fan.flat:
                mine = np.flatnonzero(sheaf.fan[rows] == k)
                first, *stack = self._stack(fan)
                at = np.clip(fan.paths[sheaf.row[rows[mine]], 0] + fan.first_row - first, 0, len(stack[0]) - 1)
                under[mine, 0], under[mine, 1] = stack[0][at], stack[1][at]

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
        for a in range(axes):
            order = np.argsort(along[:, a], kind="stable")
            values = along[order, a]
            there, back = over[:, order], over[:, order[::-1]]
            # The first and the last of the points, in order of their places, that are on each side.
            for side, which in ((0, np.argmin), (1, np.argmax)):
                none = there.all(axis=1) if side == 0 else ~there.any(axis=1)
                least[side, 1:-1, a] = np.where(none, np.inf, values[which(there, axis=1)])
                most[side, 1:-1, a] = np.where(none, -np.inf, values[len(values) - 1 - which(back, axis=1)])
            least[0, -1, a] = least[1, 0, a] = values[0]
            most[0, -1, a] = most[1, 0, a] = values[-1]
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
    place /= many[brick, None]
    return np.concatenate(
        [place[:: 1 + len(brick) // _POINTS], part.faces[:: 1 + len(part.faces) // (_POINTS // 4), :3]]
    )


def _summed(
    rows: IntArray,
    start: IntArray,
    name: NDArray[np.int32],
    mine: BoolArray,
    values: Sequence[NDArray[np.float32]],
) -> list[FloatArray]:
    """Sums of the entries of some sheets over what is of a part; `mine` tells what is, by the names of entries."""
    sheet, which = _entries(rows, start, name, mine)
    return [gathered(sheet, value[which], len(rows)) for value in values]


def _entries(rows: IntArray, start: IntArray, name: NDArray[np.int32], mine: BoolArray) -> tuple[IntArray, IntArray]:
    """Entries of some sheets that are of a part: the place of each one's sheet in `rows`, and which entries."""
    first, count = start[rows], start[rows + 1] - start[rows]
    sheet, turn = runs(count)
    which = first[sheet] + turn
    here = mine[name[which]]
    return sheet[here], which[here]


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
