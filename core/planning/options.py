# SPDX-License-Identifier: GPL-3.0-or-later
"""Options: a part really split in some way, and what the joint costs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..job import Job
from ..seams.glue import beside
from ..seams.seams import FOLLOWED
from .entries import STRETCH
from .leaving import sawn
from .limb_split import Limb, split_limbs
from .limbs import Series
from .need import Need
from .part import LEAST, Part, Sheet, shown, split
from .path import plain
from .worth import Worth

FloatArray = NDArray[np.float64]

_GRAINS: Final = 2
"""Cells of a body that may be none: cells at a joint hang together by faces, foam does by less."""


@dataclass(frozen=True, eq=False)
class Option:
    """A way to cut a part.

    Attributes
    ----------
    sheet : the joint. parts : what it makes. then : for each part, how the same series cuts it further, or None.
    cost : of the joint itself, in pieces.
    line, missed, off : metres of visible line, metres of it off seams, and those weighted by what they cost.
    area : square metres.
    limbs : where it is cut through one limb only: its joints, two of them through a ring; none: the sheet cuts it all.
    """

    sheet: Sheet
    parts: tuple[Part, ...]
    then: tuple[Option | None, ...]
    cost: float
    line: float
    missed: float
    off: float
    area: float
    limbs: tuple[Limb, ...] = ()


@dataclass(frozen=True, eq=False)
class Rules:
    """What options are judged by.

    Attributes
    ----------
    need, worth : laws of pieces and costs. profiles : whether profiles are sought. planes : whether planes are.
    wire : longest stretch of wire in foam, metres. thin : least thickness, metres.
    sliver : metres by which a joint keeps away from a glue line that it runs along and does not follow.
    crumb : cubic metres under which a body is no piece. limbs : whether joints through one limb only are sought.
    """

    need: Need
    worth: Worth
    planes: bool
    profiles: bool
    wire: float
    thin: float
    crumb: float
    sliver: float
    limbs: bool = False

    @classmethod
    def of(cls, job: Job, need: Need, worth: Worth, crumb: float) -> Rules:
        """Rules of a job."""
        kinds = job.joints.kinds
        limits = job.limits
        wire, thin, sliver = limits.wire_length, limits.min_thickness, job.joints.sliver
        return cls(need, worth, "plane" in kinds, "profile" in kinds, wire, thin, crumb, sliver)

    @property
    def kinds(self) -> tuple[bool, bool]:
        """Whether planes and whether profiles are made; where neither is asked for, planes."""
        return self.planes or not self.profiles, self.profiles

    def own(self, part: Part) -> float:
        """Cost of a part as a piece."""
        cost = float(self.need.leaf(part.mass, self.worth)) + (0.0 if part.stands else self.worth.tips)
        return cost + self.worth.floor * part.box[0] * part.box[1]

    def estimate(self, part: Part) -> float:
        """Cost that a part comes to: pieces, and the joints between them."""
        box, line = np.array([part.box]), part.lines[None]
        return float(self.need.cost(box, np.array([part.volume]), np.array([part.mass]), line, self.worth)[0])


@dataclass(frozen=True, eq=False)
class Begun:
    """A part split by the first joint of a series, and what splits each body that comes of it further, or None."""

    option: Option
    rests: tuple[Callable[[], Begun | None] | None, ...]


def finished(begin: Callable[[], Begun | None]) -> Option | None:
    """The part split by all of the series; None where nothing is parted."""
    begun = begin()
    if begun is None:
        return None
    return replace(begun.option, then=tuple(None if rest is None else finished(rest) for rest in begun.rests))


def cut_series(part: Part, sheets: tuple[Sheet, ...], rules: Rules) -> Begun | None:
    """The part split by the middle one of a series, its parts by the others; None where nothing is parted."""
    while sheets:
        k = len(sheets) // 2
        rest = (*sheets[:k], *sheets[k + 1 :])
        option = cut_once(part, sheets[k], rules)
        if option is not None:
            rests: list[Callable[[], Begun | None] | None] = []
            for body in option.parts:
                mine = tuple(one for one in rest if _parts(one, body))
                rests.append(None if body.is_piece(rules.need) else partial(cut_series, body, mine, rules))
            return Begun(option, tuple(rests))
        sheets = rest
    return None


def cut_once(part: Part, sheet: Sheet, rules: Rules) -> Option | None:
    """The part split by one sheet; None where nothing is parted."""
    sheet = sheet if sheet.flat else Sheet(sheet.u, sheet.w, plain(sheet.points), False)
    bodies, made = split(part, sheet)
    parts = [p for p in bodies if p.volume >= rules.crumb]
    if len(parts) < 2:
        return None
    area = float(made[:, 3].sum())
    line, missed, off = shown(part, sheet)
    cost = rules.worth.line * (off - rules.worth.follow * (line - missed)) + rules.worth.area * area
    cost += rules.worth.crumb * (sum(len(body.cells) > _GRAINS for body in bodies) - len(parts))
    cost += rules.worth.wire * max(0.0, _wire(sheet, made) / rules.wire - 1.0)
    cost += rules.worth.thin * (_thin(parts, sheet, area, rules.thin) + _sliver(part, sheet, made, rules.sliver))
    return Option(sheet, tuple(parts), (None,) * len(parts), cost, line, missed, off, area)


def cut_limbs(part: Part, along: Series, rules: Rules) -> Begun | None:
    """The part split by the middle one of a series of joints through one limb each, a ring by two of them."""
    limbs = along.limbs
    if len(limbs) < 1 + along.ring:
        return None
    k = len(limbs) // 2
    mine = (0, k) if along.ring else (k,)
    made = split_limbs(part, [limbs[n] for n in mine])
    parts = [p for p in made.parts if p.volume >= rules.crumb]
    rest = tuple(limbs[n] for n in range(len(limbs)) if n not in mine)
    if len(parts) != 2:
        return None if along.ring else cut_limbs(part, Series(rest, along.cost, False), rules)
    rests: list[Callable[[], Begun | None] | None] = []
    for body in parts:
        own = Series(tuple(limb for limb in rest if _holds(body, limb)), 0.0, False)
        rests.append(None if body.is_piece(rules.need) else partial(cut_limbs, body, own, rules))
    worth = rules.worth
    cost = worth.line * (made.off - worth.follow * (made.line - made.missed)) + worth.area * made.area
    cost += worth.saw * float(np.sum(sawn(np.array(made.bound))))
    for limb, face in zip(made.limbs, made.faces, strict=True):
        cost += worth.wire * max(0.0, _wire(limb.sheet, face) / rules.wire - 1.0)
        cost += worth.thin * _sliver(part, limb.sheet, face, rules.sliver)
    option = Option(
        made.limbs[0].sheet,
        tuple(parts),
        (None,) * len(parts),
        cost,
        made.line,
        made.missed,
        made.off,
        made.area,
        made.limbs,
    )
    return Begun(option, tuple(rests))


def _wire(sheet: Sheet, made: FloatArray) -> float:
    """Longest wire in foam of a profile, metres, by samples of its face; a plane may be cut the short way."""
    if sheet.flat or len(made) == 0:
        return 0.0
    column = np.floor(made[:, :3] @ sheet.u / STRETCH).astype(np.int64)
    return float(np.bincount(column - column.min(), made[:, 3]).max()) / STRETCH


def _holds(part: Part, limb: Limb) -> bool:
    """Whether a joint's face is in a part."""
    return limb.point is not None and bool((part.cells == part.of.cells.at(limb.point[None])[0]).any())


def _parts(sheet: Sheet, part: Part) -> bool:
    """Whether a sheet goes through the middle of a part and not past it."""
    over = float((sheet.above(part.of.cells.middles[part.few[2]]) >= 0.0).mean())
    return LEAST < over < 1.0 - LEAST


def _thin(parts: list[Part], sheet: Sheet, area: float, least: float) -> float:
    """Square metres of the joint with less than `least` of foam behind them, on the thinner side of it.

    Taken from how much less foam lies within that depth than the joint's area would fill; rims that run out to nothing
    count little, being narrow.
    """
    if least <= 0.0:
        return 0.0
    near = [0.0, 0.0]
    for part in parts:
        away = sheet.above(part.of.cells.middles[part.cells])
        close = np.abs(away) < least
        near[int(away[0] >= 0.0)] += float(part.of.cells.foam[part.cells[close]].sum())
    return max(0.0, area - min(near) / least - 0.25 * area)


def _sliver(part: Part, sheet: Sheet, made: FloatArray, least: float) -> float:
    """Square metres of a joint, of samples as `split` gives them, that leave a thin slab beside a glue line."""
    of = part.of
    if least <= 0.0 or len(of.glue) == 0:
        return 0.0
    normal = sheet.w - sheet.slope(made[:, :3] @ sheet.u)[:, None] * sheet.u
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    away = beside(of.glue, made[:, :3], normal, max(of.gap, FOLLOWED))
    return float(made[away < least, 3].sum())
