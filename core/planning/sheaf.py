# SPDX-License-Identifier: GPL-3.0-or-later
"""A sheaf of sheets through a body, found once: planes, and the best profiles, in many directions.

What is found for all of a body holds for its parts: a profile that follows seams across the whole follows them across
a part. So for each sheet it is kept which samples lie by it and which bricks of cells lie over it, and what it comes
to on a part is a sum over the part's own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .entries import Entries, areas_in, lines_by
from .fans import Fan, ends_of, fan_makers, over
from .hands import Crew
from .part import Part, Sheet, marks, whole
from .rows import Rows
from .samples import Samples
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Floats = NDArray[np.floating[Any]]

TURNS: Final = (0.0, 30.0, 60.0)
"""Degrees by which level axes are turned in which boxes are measured; each with the one square to it."""

_BRICK: Final = 2
"""Cells along each side of a brick."""


@dataclass(frozen=True, eq=False)
class Sheaf:
    """Sheets through a body, s of them, with what lies by and over each, as far as it is of one part.

    Attributes
    ----------
    part : all of the body, or a part of it.
    fans : the sheets, in order. fan, row : (s,) where each is found. place : (s,) number of its direction.
    flat : (s,). level : (s,) row at which each begins: a plane lies there.
    least, most : (s,) metres along its w between which it lies.
    start : (s + 1,) entries of each profile; sample : (e,) of the skin; off, on_seam : (e,) metres of line that it
        adds: off seams, weighted by what it costs, and on seams.
    begin : (s + 1,) entries of each profile; cell : (a,) that it cuts; area : (a,) square metres there; column : (a,)
        which stretch of u, `STRETCH` metres long, it lies in.
    brick : (cells,) brick of each cell. home : (m,) brick of each sample of skin, -1: none. middles : (b, 3).
    over : (s, b) share of each brick over each sheet, 255 for all of it.
    axes : (7, 3) in which boxes are measured: level ones by `TURNS`, those square to them, up.
    lines : (m, 18) `Samples.lines` of each sample for each turn.
    planes : of each direction, made when they are asked for: they have no entries.
    """

    part: Part
    fans: tuple[Fan, ...]
    fan: IntArray
    row: IntArray
    place: IntArray
    flat: NDArray[np.bool_]
    level: IntArray
    least: FloatArray
    most: FloatArray
    start: IntArray
    sample: IntArray
    off: NDArray[np.float32]
    on_seam: NDArray[np.float32]
    begin: IntArray
    cell: IntArray
    area: NDArray[np.float32]
    column: NDArray[np.int32]
    brick: IntArray
    home: IntArray
    middles: FloatArray
    over: NDArray[np.uint8]
    axes: FloatArray
    lines: FloatArray
    planes: dict[int, Rows] = field(default_factory=dict, init=False)

    def rows(self, place: int) -> Rows:
        """The planes of a direction on the part."""
        if not self.planes:
            ways = {fan.place: fan.w for fan in self.fans}
            self.planes.update(zip(ways, Rows.through(self.part, np.stack(list(ways.values()))), strict=True))
        return self.planes[place]

    def near(self, k: int) -> tuple[IntArray, Floats, Floats]:
        """Samples of the part by a sheet, and metres of line off and on seams that each adds."""
        if self.flat[k]:
            return self.rows(int(self.place[k])).near(int(self.level[k]))
        some = slice(self.start[k], self.start[k + 1])
        return self.sample[some], self.off[some], self.on_seam[some]

    def met(self, k: int) -> tuple[IntArray, Floats, NDArray[np.int32]]:
        """Cells of the part that a sheet cuts, its area in each, and in which stretch of u; of a plane that is 0."""
        if self.flat[k]:
            cells, area = self.rows(int(self.place[k])).met(int(self.level[k]))
            return cells, area, np.zeros(len(cells), dtype=np.int32)
        some = slice(self.begin[k], self.begin[k + 1])
        return self.cell[some], self.area[some], self.column[some]

    def sheet(self, k: int) -> Sheet:
        """One of the sheets."""
        return self.fans[int(self.fan[k])].sheet(int(self.row[k]))

    def on(self, part: Part) -> Sheaf:
        """The same sheets, with the entries of a part of the one that these are of."""
        if len(part.cells) == len(self.part.cells) and len(part.skin) == len(self.part.skin):
            return self if part is self.part else replace(self, part=part)
        cells, skin = marks(part)
        by, met = (np.flatnonzero(mine[name]) for mine, name in ((skin, self.sample), (cells, self.cell)))
        return replace(
            self,
            part=part,
            start=np.searchsorted(by, self.start),
            sample=self.sample[by],
            off=self.off[by],
            on_seam=self.on_seam[by],
            begin=np.searchsorted(met, self.begin),
            cell=self.cell[met],
            area=self.area[met],
            column=self.column[met],
        )

    @classmethod
    def of_body(cls, samples: Samples, worth: Worth, planes: bool, profiles: bool, crew: Crew | None = None) -> Sheaf:
        """All sheets through a body; `planes`, `profiles`: which kinds. `crew` knows its samples; None: one is made."""
        if crew is None:
            with Crew() as crew:
                crew.know({"samples": samples})
                return cls.of_body(samples, worth, planes, profiles, crew)
        common = _common(crew.known, worth, planes, profiles)
        steps = [partial(crew.do, _found, k, worth, planes, profiles) for k in range(len(common.makers))]
        return cls._made(common, crew.map(steps))

    @classmethod
    def _made(cls, common: _Common, found: Sequence[_Found]) -> Sheaf:
        part, brick, middles = common.part, common.brick, common.middles
        samples = part.of
        home = np.where(samples.home >= 0, brick[samples.home], -1)
        fans = [one.fan for one in found]
        lines = [one.lines for one in found if one.lines is not None]
        areas = [one.areas for one in found if one.areas is not None]
        count = np.array([len(one.paths) for one in fans])
        ends = [ends_of(one) for one in fans]
        turns = np.radians([*TURNS, *(turn + 90.0 for turn in TURNS)]) + part.turn
        axes = np.concatenate([np.stack([np.cos(turns), np.sin(turns), 0.0 * turns], axis=1), [[0.0, 0.0, 1.0]]])
        every = np.arange(len(samples.points))
        half = len(TURNS)
        none = np.zeros(0, dtype=np.float32)
        return cls(
            part=part,
            fans=tuple(fans),
            fan=np.repeat(np.arange(len(fans)), count),
            row=np.concatenate([np.arange(n) for n in count]),
            place=np.repeat([one.place for one in fans], count),
            flat=np.repeat([one.flat for one in fans], count),
            level=np.concatenate([one.first_row + one.paths[:, 0] for one in fans]),
            least=np.concatenate([low for low, _ in ends]),
            most=np.concatenate([high for _, high in ends]),
            start=_starts(fans, lines),
            sample=np.concatenate([np.zeros(0, dtype=np.int64), *(found.name for found in lines)]),
            off=np.concatenate([none, *(found.values[0] for found in lines)]),
            on_seam=np.concatenate([none, *(found.values[1] for found in lines)]),
            begin=_starts(fans, areas),
            cell=np.concatenate([np.zeros(0, dtype=np.int64), *(found.name for found in areas)]),
            area=np.concatenate([none, *(found.values[0] for found in areas)]),
            column=np.concatenate([none, *(found.values[1] for found in areas)]).astype(np.int32),
            brick=brick,
            home=home,
            middles=middles,
            over=np.concatenate([one.over for one in found]),
            axes=axes,
            lines=np.concatenate([samples.lines(every, axes[[k, k + half, -1]]) for k in range(half)], axis=1),
        )


@dataclass(frozen=True, eq=False)
class _Common:
    """What all fans through a body have in common: what they were asked for, what makes each, and bricks of cells."""

    asked: tuple[Worth, bool, bool]
    part: Part
    makers: list[Callable[[], Fan]]
    brick: IntArray
    middles: FloatArray


def _common(known: dict[str, Any], worth: Worth, planes: bool, profiles: bool) -> _Common:
    """Of the body whose samples are known, made once in each process."""
    common: _Common | None = known.get("fans")
    asked = worth, planes, profiles
    if common is None or common.part.of is not known["samples"] or common.asked != asked:
        part = whole(known["samples"])
        common = known["fans"] = _Common(asked, part, fan_makers(part, *asked), *_bricks(part))
    return common


@dataclass(frozen=True, eq=False)
class _Found:
    """A fan, what lies by its profiles, and (sheets, bricks) share of each brick over each."""

    fan: Fan
    lines: Entries | None
    areas: Entries | None
    over: NDArray[np.uint8]


def _found(known: dict[str, Any], k: int, worth: Worth, planes: bool, profiles: bool) -> _Found:
    """One of the fans through the body whose samples are known."""
    common = _common(known, worth, planes, profiles)
    samples: Samples = known["samples"]
    fan = common.makers[k]()
    above = over(fan, common.middles, samples.cells.step * _BRICK)
    if fan.flat:
        return _Found(fan, None, None, above)
    return _Found(fan, lines_by(samples, fan), areas_in(samples, fan), above)


def _starts(fans: Sequence[Fan], found: Sequence[Entries]) -> IntArray:
    """Where the entries of each sheet begin, and the end of the last; `found`: of those that are no planes."""
    left = iter(found)
    counts = [np.zeros(len(one.paths), dtype=np.int64) if one.flat else next(left).count for one in fans]
    return np.concatenate([[0], np.cumsum(np.concatenate(counts))])


def _bricks(part: Part) -> tuple[IntArray, FloatArray]:
    """Brick of each cell, and the middle of what each brick holds."""
    cells = part.of.cells
    place = np.floor((cells.middles - cells.origin) / cells.step + 1e-6).astype(np.int64) // _BRICK
    span = place.max(axis=0) + 1
    _, brick = np.unique((place[:, 0] * span[1] + place[:, 1]) * span[2] + place[:, 2], return_inverse=True)
    brick = brick.reshape(-1)
    count = np.bincount(brick)
    middles = np.stack([np.bincount(brick, cells.middles[:, k]) for k in range(3)], axis=1) / count[:, None]
    return brick, middles
