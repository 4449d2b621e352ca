# SPDX-License-Identifier: GPL-3.0-or-later
"""Parts and the ways to cut them, as a search knows them: what each comes to, and what it may."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from .options import Option
from .part import Part
from .ways import Way

STUCK: Final = 5.0
"""Cost of a part that is over a limit and cannot be cut: a plan without one is always preferred."""


@dataclass(eq=False)
class Branch:
    """A way to cut a part: not split yet while `option` is None, and then what it comes to by its score.

    tried : whether what it makes was planned, or given up because it comes to more than what is known.
    """

    way: Way | None
    option: Option | None = None
    nodes: list[Node] = field(default_factory=list)
    tried: bool = False


@dataclass(eq=False)
class Node:
    """A part and the ways to cut it.

    Attributes
    ----------
    own : cost as a piece. estimate : what it seems to come to before ways are known.
    value : of the best plan known, infinite while there is none; `best` the way that it begins with.
    hope : what it may come to.
    """

    part: Part
    fits: bool
    own: float
    estimate: float
    ways: list[Branch] = field(default_factory=list)
    best: Branch | None = None
    value: float = math.inf
    hope: float = 0.0
    looked: bool = False
    round: int = -1


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


def size_of(node: Node) -> int:
    """Samples and cells of a part."""
    return len(node.part.cells) + len(node.part.skin)


def next_way(node: Node) -> Branch | None:
    """The way not tried yet that promises most."""
    return min((branch for branch in node.ways if not branch.tried), key=hoped, default=None)


def hoped(branch: Branch) -> float:
    """What a way may come to."""
    if branch.option is None:
        return branch.way.score if branch.way is not None else math.inf
    return branch.option.cost + sum(child.hope for child in branch.nodes)


def reckon(node: Node, number: int) -> None:
    """Reckon the value and the hope of a part; `number` tells what was reckoned already, as parts may be met often."""
    if node.round == number or node.fits:
        return
    node.round = number
    if not node.looked and not node.ways:
        return
    node.value, node.best = math.inf, None
    node.hope = math.inf if node.looked else node.estimate
    for branch in node.ways:
        for child in branch.nodes:
            reckon(child, number)
        if branch.option is not None:
            total = branch.option.cost + sum(child.value for child in branch.nodes)
            if total < node.value:
                node.value, node.best = total, branch
        node.hope = min(node.hope, hoped(branch))
    if node.looked and all(branch.tried and branch.option is None for branch in node.ways):
        node.value = node.hope = node.own + STUCK


def steps(node: Node) -> Iterator[Node]:
    """Parts that are cut in the best plan, each before what it makes."""
    if node.best is not None:
        yield node
        for child in node.best.nodes:
            yield from steps(child)


def plan_of(node: Node) -> Plan:
    """The best plan known; where none is, what was begun, the rest left uncut."""
    branch = node.best
    if branch is None and not node.fits:
        branch = min((branch for branch in node.ways if branch.option is not None), key=hoped, default=None)
    if branch is None or branch.option is None:
        return Plan(node.part, None)
    return Plan(node.part, branch.option, tuple(plan_of(child) for child in branch.nodes))
