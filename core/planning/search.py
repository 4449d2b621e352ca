# SPDX-License-Identifier: GPL-3.0-or-later
"""Search over plans: a part is a piece, or is cut in one of several ways into parts that are planned for themselves.

What one part comes to does not depend on how the others are cut, so the best plan of a part is the best of its ways,
each with the best plans of what it makes: an and/or graph. Parts not yet cut stand in it with an estimate; the search
always goes on in the plan that looks best as a whole, and turns to another when what it finds disappoints.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from ..errors import Cancelled, Progress
from .options import Option, Rules, options
from .part import Part

STUCK: Final = 5.0
"""Cost of a part that is over a limit and cannot be cut: a plan without one is always preferred."""

_HOPES: Final = (1.06, 1.0, 0.97)
"""Factors on the estimates, one round after the other: above 1 a plan that is begun is carried on with, so that one is
whole early; lower ones let ways that were passed over show what they are worth."""


@dataclass(eq=False)
class Node:
    """A part and the ways to cut it; `best` is the way that looks best now, None for a piece or an open part."""

    part: Part
    fits: bool
    own: float
    estimate: float
    ways: list[tuple[Option, list[Node]]] = field(default_factory=list)
    best: tuple[Option, list[Node]] | None = None
    value: float = 0.0
    looked: bool = False
    round: int = -1

    @property
    def open(self) -> bool:
        """Whether it is over a limit and seems best cut in a way that is not known yet."""
        return not self.fits and not self.looked and self.best is None


@dataclass(frozen=True, eq=False)
class Plan:
    """A plan of one part: how it is cut and what comes of it, or a piece."""

    part: Part
    option: Option | None
    plans: tuple[Plan, ...] = ()

    def __iter__(self) -> Iterator[Plan]:
        """All plans of it, itself first, in the order of cuts."""
        yield self
        for plan in self.plans:
            yield from plan

    @property
    def pieces(self) -> int:
        """Number of pieces."""
        return sum(plan.pieces for plan in self.plans) if self.option else 1


@dataclass(eq=False)
class Search:
    """A search for the best plan of several bodies.

    Attributes
    ----------
    rules : what options are judged by.
    budget : samples and cells that may be looked at, over all options; a count, so that the same carving gets the same
        plan on a slow day.
    progress : told what is done.
    value : cost of the plans found, infinite while there is none.
    """

    rules: Rules
    budget: int
    progress: Progress | None = None
    work: int = 0
    cancelled: bool = False
    looked: int = 0
    value: float = float("inf")
    nodes: dict[tuple[bytes, float], Node] = field(default_factory=dict)
    rounds: int = 0

    def run(self, parts: list[Part], must: bool = False) -> list[Plan]:
        """The best plans found. After `Cancelled` what is still open is left uncut.

        must : cut every one of the parts, whatever the samples say of its mass and size.
        """
        roots = [self._node(part, must) for part in parts]
        best: tuple[float, list[Plan]] | None = None
        try:
            for hope in _HOPES:
                self._settle(roots, hope)
                while True:
                    front = [node for root in roots for node in _front(root)]
                    if not front:
                        break
                    if self.work > self.budget and best is not None:
                        break
                    node = max(front, key=lambda node: node.part.volume)
                    self._expand(node)
                    spent = self.work > self.budget
                    self._settle(roots, 3.0 if spent else hope)
                    self._tell(roots)
                if any(True for root in roots for _ in _front(root)):
                    break
                value = sum(_true(root) for root in roots)
                if best is None or value < best[0] - 1e-9:
                    best = value, [_plan(root) for root in roots]
                    self.value = value
                if self.work > self.budget:
                    break
        except Cancelled:
            self.cancelled = True
        return best[1] if best is not None else [_plan(root) for root in roots]

    def _node(self, part: Part, must: bool = False, then: Option | None = None) -> Node:
        # Series of joints have stretches in common: a part that was met before is not looked at again.
        key = part.cells.tobytes(), round(float(part.faces[:, 3].sum()), 3)
        node = None if must else self.nodes.get(key)
        if node is None:
            rules = self.rules
            fits = not must and rules.need.fits(part.mass, part.box)
            own = float(rules.need.leaf(part.mass, rules.worth)) + (0.0 if part.stands else rules.worth.tips)
            own += rules.worth.floor * part.box[0] * part.box[1]
            estimate = own if fits else max(rules.estimate(part), 2.0)
            node = Node(part, fits, own, estimate, value=estimate)
            self.nodes[key] = node
        if then is not None and not node.fits:
            node.ways.append(self._way(then))
        return node

    def _way(self, option: Option) -> tuple[Option, list[Node]]:
        return option, [self._node(part, then=then) for part, then in zip(option.parts, option.then, strict=True)]

    def _expand(self, node: Node) -> None:
        node.looked = True
        node.ways += [self._way(option) for option in options(node.part, self.rules)]
        self.work += len(node.part.cells) + len(node.part.skin) + 2000
        self.looked += 1

    def _settle(self, roots: list[Node], hope: float) -> None:
        self.rounds += 1
        for root in roots:
            _value(root, hope, self.rounds)

    def _tell(self, roots: list[Node]) -> None:
        if self.progress:
            pieces = sum(_plan(root).pieces for root in roots)
            share = min(1.0, self.work / max(self.budget, 1))
            self.progress(share, f"{self.looked} parts looked at; the plan so far has {pieces} pieces")


def _value(node: Node, hope: float, number: int) -> float:
    """What a part comes to; `number` tells what was reckoned already, as parts may be met in several plans."""
    if node.round == number:
        return node.value
    node.round, node.best = number, None
    if node.fits:
        node.value = node.own
        return node.value
    best = math.inf if node.ways else node.own + STUCK
    if not node.looked:
        best = node.estimate * hope
    for way in node.ways:
        total = way[0].cost + sum(_value(child, hope, number) for child in way[1])
        if total < best:
            best, node.best = total, way
    node.value = best
    return best


def _true(node: Node) -> float:
    """Value of a complete plan, without hopes."""
    if node.fits:
        return node.own
    if node.best is None:
        return node.own + STUCK
    return node.best[0].cost + sum(_true(child) for child in node.best[1])


def _front(node: Node) -> Iterator[Node]:
    """Open parts of the plan that looks best."""
    if node.open:
        yield node
    elif node.best is not None:
        for child in node.best[1]:
            yield from _front(child)


def _plan(node: Node) -> Plan:
    if node.fits or node.best is None:
        return Plan(node.part, None)
    return Plan(node.part, node.best[0], tuple(_plan(child) for child in node.best[1]))


def divided(plan: Plan, pieces: int, rules: Rules) -> Plan:
    """The plan with its heaviest pieces cut again until there are so many, where that can be done."""
    whole_pieces: set[int] = set()
    while plan.pieces < pieces:
        leaves = [step for step in plan if step.option is None and id(step) not in whole_pieces]
        if not leaves:
            break
        leaf = max(leaves, key=lambda step: step.part.mass)
        ways = [way for way in options(leaf.part, rules) if len(way.parts) <= 1 + pieces - plan.pieces]
        if not ways:
            whole_pieces.add(id(leaf))
            continue
        way = min(
            ways, key=lambda way: way.cost + sum(float(rules.need.leaf(part.mass, rules.worth)) for part in way.parts)
        )
        plan = _exchanged(plan, leaf, Plan(leaf.part, way, tuple(Plan(part, None) for part in way.parts)))
    return plan


def _exchanged(plan: Plan, old: Plan, new: Plan) -> Plan:
    if plan is old:
        return new
    return (
        Plan(plan.part, plan.option, tuple(_exchanged(step, old, new) for step in plan.plans)) if plan.plans else plan
    )
