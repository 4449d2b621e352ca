# SPDX-License-Identifier: GPL-3.0-or-later
"""Profiles of a plan laid anew, one by one, each on the very part that it cuts: bent otherwise, the wire turned.

The sheets of a sheaf are the best across a whole body, in a few directions of the wire. On a part of it another may be
better, and a wire that is turned a little follows seams on more sides. What a joint parts must stay within the limits,
and what is cut further must still be cut by the joints that follow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .hands import Crew
from .image import ROW, Image, Slab, make_image, whole_slab
from .nodes import Plan
from .options import Option, Rules, cut_once
from .part import Part, Sheet
from .path import BAND, Band, best_paths, knots

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_TURNS: Final = (16.0, 7.0)
"""Degrees by which the wire is turned, step by step, each way about both axes of the profile."""

_GAIN: Final = 0.02
"""Metres of line that a turn of the wire must save."""

_NEAR: Final = 0.35
"""Metres to either side of a profile that are looked at: its band, and what turns bring in."""


def refined(plan: Plan, rules: Rules, crew: Crew) -> Plan:
    """A plan with its profiles laid anew where that lowers its cost, those that cut first before those that follow."""
    option = plan.option
    if option is None:
        return plan
    if not option.sheet.flat and not option.limbs:
        laid = crew.do(_laid_anew, plan.part, option.sheet, rules)
        other = None if laid is None or laid.cost >= option.cost else _followed(plan, laid, rules)
        if other is not None and _cost(other, rules) < _cost(plan, rules) - 1e-9:
            plan = other
    return replace(plan, plans=tuple(crew.map([partial(refined, child, rules, crew) for child in plan.plans])))


def _laid_anew(known: dict[str, Any], part: Part, sheet: Sheet, rules: Rules) -> Option | None:
    """A part cut by the best profile near a sheet; None where there is none."""
    sheet_near = _laid(part, sheet, rules)
    return None if sheet_near is None else cut_once(part, sheet_near, rules)


def _cost(plan: Plan, rules: Rules) -> float:
    """What a plan comes to."""
    if plan.option is None:
        return rules.own(plan.part)
    return plan.option.cost + sum(_cost(child, rules) for child in plan.plans)


def _cut_anew(plan: Plan, sheet: Sheet, rules: Rules) -> Plan | None:
    """The plan with another first joint, the others as they are; None where a piece would be over a limit."""
    option = cut_once(plan.part, sheet, rules)
    return None if option is None else _followed(plan, option, rules)


def _followed(plan: Plan, option: Option, rules: Rules) -> Plan | None:
    """A part that is cut by `option`, and on by what follows in the plan."""
    if len(option.parts) != len(plan.plans):
        return None
    left = list(plan.plans)
    plans = []
    for part in option.parts:
        # What was planned for the cells that it has most of.
        shared = [np.isin(part.cells, old.part.cells).sum() for old in left]
        old = left.pop(int(np.argmax(shared)))
        if old.option is None:
            if not part.is_piece(rules.need):
                return None
            plans.append(Plan(part, None))
            continue
        if old.option.limbs:
            return None
        new = _cut_anew(replace(old, part=part), old.option.sheet, rules)
        if new is None:
            return None
        plans.append(new)
    return Plan(plan.part, option, tuple(plans))


@dataclass(frozen=True, eq=False)
class _Lie:
    """How a profile may lie: its axes, the image along its wire, its path and what that costs in metres of line."""

    u: FloatArray
    w: FloatArray
    image: Image
    path: IntArray
    cost: float

    @property
    def sheet(self) -> Sheet:
        return Sheet(self.u, self.w, knots(self.image, self.path), False)


def _laid(part: Part, sheet: Sheet, rules: Rules) -> Sheet | None:
    """The best profile near a sheet, as its line goes."""
    cells = part.of.cells.middles[part.few[2]]
    away = np.abs(sheet.above(cells))
    middle = cells[away <= max(part.of.cells.step, float(away.min()))].mean(axis=0)
    near = whole_slab(part).near(middle, sheet.w, _NEAR)
    if not len(near.middles):
        return None
    price = rules.worth.area / rules.worth.line
    best = _best(near, middle, [(sheet.u, sheet.w)], price)
    for degrees in _TURNS:
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        wire = np.cross(best.u, best.w)
        turned = [axes for t in (s, -s) for axes in ((c * best.u + t * wire, best.w), (best.u, c * best.w + t * wire))]
        found = _best(near, middle, turned, price)
        if found.cost < best.cost - _GAIN:
            best = found
    return best.sheet


def _best(near: Slab, middle: FloatArray, axes: Sequence[tuple[FloatArray, FloatArray]], price: float) -> _Lie:
    """The best profile about a place, of several pairs of axes."""
    images = [make_image(near, u, w) for u, w in axes]
    bands = [
        Band(image, int(np.floor(middle @ w / ROW)) - image.first_row)
        for image, (_, w) in zip(images, axes, strict=True)
    ]
    lies = [
        _Lie(u, w, image, path, cost)
        for (u, w), image, (cost, path) in zip(axes, images, best_paths(bands, BAND, price), strict=True)
    ]
    return min(lies, key=lambda lie: lie.cost)
