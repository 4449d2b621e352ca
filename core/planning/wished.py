# SPDX-License-Identifier: GPL-3.0-or-later
"""Plans as they are wished for: searched, and brought to the number of pieces that was asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from ..errors import Progress
from ..job import Job
from .blocks import Blocks
from .divided import divided
from .hands import Crew
from .need import Need
from .nodes import Plan
from .options import Rules
from .part import whole
from .refine import refined
from .samples import Samples
from .search import Search
from .sheaf import Sheaf
from .worth import Worth

_SHARE: Final = 0.988
"""Share of the mass limit that is planned with: samples weigh a piece to about so much, and a joint moved a
centimetre afterwards costs less than a piece more."""

BUDGET: Final = 2_500_000
"""Samples and cells looked at in the search: some forty parts of a rock of twenty pieces."""

_FEWER: Final = (0.5, 0.0)
"""Factors on how well joints are to hide, tried one after the other where fewer pieces are wished for."""

_TRIES: Final = 3
"""Lower mass limits that are tried where more pieces are wished for."""

_FULL: Final = 0.85
"""Share of the mass limit that the pieces of a plan weigh on average, about."""


@dataclass(frozen=True)
class Wish:
    """What the user wants of a plan.

    Attributes
    ----------
    hidden : 0 few pieces, 1 well hidden joints.
    pieces : number of pieces wished for; None: as few as the plan comes to.
    compare : also plan with planes alone, to show what profiles gain.
    """

    hidden: float = 0.6
    pieces: int | None = None
    compare: bool = False


class Teller:
    """Passes progress on, a stretch of it at a time."""

    def __init__(self, progress: Progress | None) -> None:
        self.progress = progress

    def part(self, low: float, high: float) -> Progress | None:
        """Progress of a step between two shares of the whole."""
        outer = self.progress
        if outer is None:
            return None
        return lambda share, text: outer(low + (high - low) * min(share, 1.0), text)


@dataclass(frozen=True, eq=False)
class Order:
    """What is to be planned: bodies as they were sampled, for what job, as it is wished for, and by whom."""

    sampled: Sequence[Samples]
    job: Job
    wish: Wish
    crew: Crew

    def rules(self, lighter: float = 1.0) -> list[Rules]:
        """What ways to cut each body are judged by; `lighter`: factor on the mass limit."""
        return [_rules(one, self.job, self.wish, False, lighter) for one in self.sampled]


def plan_all(order: Order, teller: Teller) -> tuple[list[Plan], bool, int]:
    """A plan for each body, with as many pieces as are wished for where that can be.

    Returns
    -------
    The plans, whether all was searched to the end, and how many parts were looked at.
    """
    wished = order.wish.pieces
    plans, complete, looked = _search_all(order, teller.part(0.05, 0.3 if wished else 0.65))
    if wished is None or not complete:
        return plans, complete, looked
    if _count(plans) > wished:
        plans, complete, more = _fewer(plans, wished, order, teller)
    else:
        plans, complete, more = _more(plans, wished, order, teller)
    return plans, complete, looked + more


def _fewer(plans: list[Plan], wished: int, order: Order, teller: Teller) -> tuple[list[Plan], bool, int]:
    """Plans of fewer pieces: their joints may show more."""
    looked = 0
    for k, factor in enumerate(_FEWER):
        # Where joints need not hide at all planes do, and more places for them are looked at.
        planes = factor == 0.0 and "plane" in order.job.joints.kinds
        less = replace(order, wish=replace(order.wish, hidden=order.wish.hidden * factor))
        other, complete, more = _search_all(less, teller.part(0.3 + 0.15 * k, 0.45 + 0.15 * k), planes)
        looked += more
        if _count(other) < _count(plans):
            plans = other
        if not complete or _count(plans) <= wished:
            break
    if complete and _count(plans) < wished:
        plans = _divided(plans, wished, order.rules())
    return plans, complete, looked


def _more(plans: list[Plan], wished: int, order: Order, teller: Teller) -> tuple[list[Plan], bool, int]:
    """Plans of more pieces, about equal ones: by a lower limit of mass, and the last few by cutting the heaviest."""
    looked, complete = 0, True
    limit = order.job.limits.piece_mass * _SHARE
    lighter = 1.0
    for k in range(_TRIES):
        count = _count(plans)
        if count == wished:
            break
        total = sum(step.part.mass for plan in plans for step in plan if step.option is None)
        lighter = min(lighter, total / wished / _FULL / limit) if k == 0 else lighter
        part = teller.part(0.3 + 0.1 * k, 0.4 + 0.1 * k)
        other, complete, more = _search_all(order, part, lighter=lighter)
        looked += more
        if count < _count(other) <= wished:
            plans = other
        if not complete:
            return plans, complete, looked
        lighter = min(1.0, lighter * _count(other) / wished)
    return _divided(plans, wished, order.rules(min(1.0, lighter))), complete, looked


def _divided(plans: Sequence[Plan], wished: int, rules: Sequence[Rules]) -> list[Plan]:
    """The plans with their heaviest pieces cut again until there are so many, where that can be done."""
    plans = list(plans)
    stuck: set[int] = set()
    sheaves: dict[int, Sheaf] = {}
    while _count(plans) < wished and len(stuck) < len(plans):
        k = max((k for k in range(len(plans)) if k not in stuck), key=lambda k: _heaviest(plans[k]))
        if k not in sheaves:
            sheaves[k] = Sheaf.of_body(plans[k].part.of, rules[k].worth, *rules[k].kinds)
        more = divided(plans[k], plans[k].pieces + 1, rules[k], sheaves[k])
        if more.pieces == plans[k].pieces:
            stuck.add(k)
        plans[k] = more
    return plans


def _count(plans: Sequence[Plan]) -> int:
    return sum(plan.pieces for plan in plans)


def _heaviest(plan: Plan) -> float:
    return max(step.part.mass for step in plan if step.option is None)


def _search_all(
    order: Order, progress: Progress | None, planes: bool = False, lighter: float = 1.0
) -> tuple[list[Plan], bool, int]:
    """The best plan found for each body, whether each search ran to its end, and how many parts were looked at."""
    total = sum(one.whole.volume for one in order.sampled)
    count = len(order.sampled)
    teller = Teller(progress)
    plans, complete, looked = [], True, 0
    for k, one in enumerate(order.sampled):
        part = teller.part(k / count, (k + 1) / count)
        budget = int(BUDGET * max(one.whole.volume / total, 0.02))
        plan, search = search_body(one, order.job, order.wish, budget, part, planes, lighter=lighter, crew=order.crew)
        plans.append(plan)
        looked += search.looked
        complete &= not search.cancelled
    return plans, complete, looked


def search_body(
    samples: Samples,
    job: Job,
    wish: Wish,
    budget: int,
    progress: Progress | None,
    planes: bool = False,
    must: bool = False,
    lighter: float = 1.0,
    crew: Crew | None = None,
) -> tuple[Plan, Search]:
    """The best plan found for a body; `planes`: of planes alone; `must`: it is to be cut in any case.

    lighter : factor on the mass limit that is planned with. crew : that works on it; None: one of threads.
    """
    if crew is None:
        with Crew() as crew:
            return search_body(samples, job, wish, budget, progress, planes, must, lighter, crew)
    rules = _rules(samples, job, wish, planes, lighter)
    body = whole(samples)
    rules = replace(rules, limbs=not must and Blocks.make(body).limbs)
    search = Search(rules, budget, progress, crew)
    plan = search.run(body, must)
    if not search.cancelled and rules.profiles:
        plan = refined(plan, rules, crew)
    return plan, search


def _rules(samples: Samples, job: Job, wish: Wish, planes: bool, lighter: float = 1.0) -> Rules:
    """What ways to cut a body are judged by."""
    need = Need.of(job, samples.face_mass, _SHARE * lighter, samples.grow)
    rules = Rules.of(job, need, Worth.of(wish.hidden), job.carving.crumb)
    if planes:
        rules = replace(rules, planes=True, profiles=False)
    if not (samples.seam > 0.0).any() and rules.planes:
        # With nothing to follow a profile is a plane that costs more.
        rules = replace(rules, profiles=False)
    return rules
