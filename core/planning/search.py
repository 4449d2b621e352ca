# SPDX-License-Identifier: GPL-3.0-or-later
"""Search over plans: a part is a piece, or is cut in one of several ways into parts that are planned for themselves.

What one part comes to does not depend on how the others are cut, so the best plan of a part is the best of its ways,
each with the best plans of what it makes: an and/or graph. A way is tried by splitting the part and planning what
comes of it; small parts, of which most of a plan consists, are tried in several ways at once, large ones again and
again where most is to be gained for the work, for as long as the budget lasts.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from threading import Lock
from typing import Final

from ..errors import Cancelled, Progress
from .options import Option, Rules
from .part import Part
from .sheaf import Sheaf
from .threads import Threads
from .ways import Way, ways

STUCK: Final = 5.0
"""Cost of a part that is over a limit and cannot be cut: a plan without one is always preferred."""

_HOPE: Final = 1.05
"""Factor by which what a way seems to come to is less than what it will: it is tried where that still betters what is
known."""

_DOUBT: Final = (0.9, 0.75, 0.6)
"""Factors tried one after the other where nothing promises by that one: what ways seem to come to may be too much."""

_MORE: Final = 600_000
"""Samples and cells that may still be looked at by them."""

_EACH: Final = 12_000
"""Samples and cells that a look at a part counts for beside its own: what does not grow with them."""

_LARGE: Final = 8_000
"""Cells of a part whose share of the sheaf is kept for its parts."""

_PLACES: Final = 2
"""Places of a plan in which other ways are tried side by side."""

_TRIES: Final = ((3.5, 4), (7.0, 2), (math.inf, 1))
"""Cost up to which a part is tried in so many ways whenever it is planned."""


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
    sheaf : of a part that holds it, or its own; None: that of the body.
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
    sheaf: Sheaf | None = None


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
class Tally:
    """Samples and cells that were looked at, of how many at most, and parts."""

    most: float = math.inf
    work: int = 0
    looked: int = 0

    @property
    def left(self) -> float:
        """How many may still be looked at."""
        return self.most - self.work


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
    tally : what was looked at.
    """

    rules: Rules
    budget: int
    progress: Progress | None = None
    cancelled: bool = False
    value: float = float("inf")
    tally: Tally = field(default_factory=Tally)
    nodes: dict[tuple[bytes, float], Node] = field(default_factory=dict)
    _rounds: Iterator[int] = field(default_factory=itertools.count)
    _roots: list[Node] = field(default_factory=list)
    _hope: float = _HOPE
    _telling: Lock = field(default_factory=Lock)
    _threads: Threads = field(default_factory=Threads)

    @property
    def looked(self) -> int:
        """Parts that were looked at."""
        return self.tally.looked

    def run(self, parts: list[Part], must: bool = False) -> list[Plan]:
        """The best plans found. After `Cancelled` what is still open is left uncut.

        must : cut every one of the parts, whatever the samples say of its mass and size.
        """
        roots = self._roots = [self._node(part, must) for part in parts]
        self.tally.most = self.budget
        try:
            with Threads() as threads:
                self._threads = threads
                for root in roots:
                    self._plan(root, math.inf, self.tally)
                self._better(roots, _HOPE)
                # Not as long as the budget lasts: most often there is nothing to be found.
                self.tally.most = min(self.tally.most, self.tally.work + _MORE)
                for hope in _DOUBT:
                    self._better(roots, hope)
        except Cancelled:
            self.cancelled = True
        self._settle(roots)
        self.value = sum(root.value for root in roots)
        return [_plan(root) for root in roots]

    def _better(self, roots: list[Node], hope: float) -> None:
        """Try other ways, where one by `hope` betters what is known, for as long as the budget lasts."""
        self._hope = hope
        while self.tally.left > 0 and (best := self._promising(roots)):
            self._at_once([partial(self._try, node, branch, math.inf) for node, branch in best], self.tally)

    def _plan(self, node: Node, bar: float, tally: Tally) -> None:
        """Plan a part, in some ways, until one is known; less than `bar` is of use only."""
        if node.fits:
            return
        if not node.looked:
            self._expand(node, tally)
        tries = next(count for cost, count in _TRIES if node.estimate < cost)
        for k in itertools.count():
            self._settle([node])
            if k >= tries and node.value < math.inf:
                break
            branch = _next(node)
            if branch is None or self._hope * _hoped(branch) >= min(node.value, bar):
                break
            if tally.left <= 0 and node.value < math.inf:
                break
            self._try(node, branch, bar, tally)

    def _try(self, node: Node, branch: Branch, bar: float, tally: Tally) -> None:
        """Split a part in a way, and plan what it makes until that comes to more than what is known."""
        if branch.option is None:
            self._split(node, branch, tally)
        branch.tried = True
        if branch.option is None:
            return
        bar = min(bar, node.value)
        children = sorted((child for child in branch.nodes if not child.fits), key=lambda child: -child.part.volume)
        self._settle([node])
        share = min(self._hope, 1.0)
        room = bar - branch.option.cost - share * sum(child.hope for child in branch.nodes)
        if room > 0.0:
            self._at_once([partial(self._plan, child, room + share * child.hope) for child in children], tally)

    def _at_once(self, tasks: Sequence[Callable[[Tally], None]], tally: Tally) -> None:
        """Work on parts that have nothing in common, side by side: what comes of each does not depend on the others."""
        own = [Tally(tally.left) for _ in tasks]
        self._threads.map([partial(task, one) for task, one in zip(tasks, own, strict=True)])
        for one in own:
            tally.work, tally.looked = tally.work + one.work, tally.looked + one.looked

    def _promising(self, roots: list[Node]) -> list[tuple[Node, Branch]]:
        """Where in the best plan most is to be gained for the work by another way: places without a part in common."""
        self._settle(roots)
        found = []
        for node in (node for root in roots for node in _steps(root)):
            branch = _next(node)
            if branch is not None:
                gain = (node.value - self._hope * _hoped(branch)) / (_size(node) + _EACH)
                found.append((gain, node, branch))
        out: list[tuple[Node, Branch]] = []
        for gain, node, branch in sorted(found, key=lambda row: -row[0]):
            if gain <= 0.0 or len(out) == _PLACES:
                break
            apart = (node not in list(_steps(other)) and other not in list(_steps(node)) for other, _ in out)
            if all(apart):
                out.append((node, branch))
        return out

    def _node(self, part: Part, must: bool = False, then: Option | None = None, sheaf: Sheaf | None = None) -> Node:
        # Series of joints have stretches in common: a part that was met before is not looked at again.
        key = part.cells.tobytes(), round(float(part.faces[:, 3].sum()), 3)
        node = None if must else self.nodes.get(key)
        if node is None:
            rules = self.rules
            fits = not must and part.is_piece(rules.need)
            own = rules.own(part)
            estimate = own if fits else max(rules.estimate(part), 2.0)
            node = Node(part, fits, own, estimate, value=own if fits else math.inf, hope=estimate, sheaf=sheaf)
            self.nodes[key] = node
        if then is not None and not node.fits:
            node.ways.append(self._branch(then, sheaf))
        return node

    def _branch(self, option: Option, sheaf: Sheaf | None) -> Branch:
        parts = zip(option.parts, option.then, strict=True)
        nodes = [self._node(part, then=then, sheaf=sheaf) for part, then in parts]
        return Branch(None, option, nodes)

    def _expand(self, node: Node, tally: Tally) -> None:
        """Look for ways to cut a part."""
        node.looked = True
        sheaf = node.sheaf or Sheaf.of_body(node.part.of, self.rules.worth, *self.rules.kinds)
        own = sheaf.on(node.part)
        node.ways += [Branch(way) for way in ways(node.part, self.rules, own)]
        # Parts of a large part are weighed sooner on what is its own; of small ones it would fill the memory.
        node.sheaf = own if len(node.part.cells) > _LARGE else sheaf
        tally.work += _size(node) + _EACH
        tally.looked += 1
        self._tell(tally)

    def _split(self, node: Node, branch: Branch, tally: Tally) -> None:
        """Split a part in a way that is not split yet."""
        option = branch.way.make() if branch.way is not None else None
        branch.way = None
        if option is not None:
            made = self._branch(option, node.sheaf)
            branch.option, branch.nodes = option, made.nodes
        tally.work += _size(node) // 3

    def _settle(self, roots: list[Node]) -> None:
        number = next(self._rounds)
        for root in roots:
            _value(root, number)

    def _tell(self, tally: Tally) -> None:
        if self.progress is None:
            return
        with self._telling:
            if self.cancelled:
                raise Cancelled
            pieces = sum(_plan(root).pieces for root in self._roots)
            share = min(1.0, 1.0 - tally.left / max(self.budget, 1))
            try:
                self.progress(share, f"{self.looked} parts looked at; the plan so far has {pieces} pieces")
            except Cancelled:
                self.cancelled = True
                raise


def _size(node: Node) -> int:
    return len(node.part.cells) + len(node.part.skin)


def _next(node: Node) -> Branch | None:
    """The way not tried yet that promises most."""
    return min((branch for branch in node.ways if not branch.tried), key=_hoped, default=None)


def _hoped(branch: Branch) -> float:
    """What a way may come to."""
    if branch.option is None:
        return branch.way.score if branch.way is not None else math.inf
    return branch.option.cost + sum(child.hope for child in branch.nodes)


def _value(node: Node, number: int) -> None:
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
            _value(child, number)
        if branch.option is not None:
            total = branch.option.cost + sum(child.value for child in branch.nodes)
            if total < node.value:
                node.value, node.best = total, branch
        node.hope = min(node.hope, _hoped(branch))
    if node.looked and all(branch.tried and branch.option is None for branch in node.ways):
        node.value = node.hope = node.own + STUCK


def _steps(node: Node) -> Iterator[Node]:
    """Parts that are cut in the best plan, each before what it makes."""
    if node.best is not None:
        yield node
        for child in node.best.nodes:
            yield from _steps(child)


def _plan(node: Node) -> Plan:
    """The best plan known; where none is, what was begun, the rest left uncut."""
    branch = node.best
    if branch is None and not node.fits:
        branch = min((branch for branch in node.ways if branch.option is not None), key=_hoped, default=None)
    if branch is None or branch.option is None:
        return Plan(node.part, None)
    return Plan(node.part, branch.option, tuple(_plan(child) for child in branch.nodes))


def divided(plan: Plan, pieces: int, rules: Rules, sheaf: Sheaf) -> Plan:
    """The plan with its heaviest pieces cut again until there are so many, where that can be done."""
    whole_pieces: set[int] = set()
    while plan.pieces < pieces:
        leaves = [step for step in plan if step.option is None and id(step) not in whole_pieces]
        if not leaves:
            break
        leaf = max(leaves, key=lambda step: step.part.mass)
        found = [way.make() for way in ways(leaf.part, rules, sheaf)]
        most = 1 + pieces - plan.pieces
        options = [option for option in found if option is not None and len(option.parts) <= most]
        if not options:
            whole_pieces.add(id(leaf))
            continue
        best = min(
            options,
            key=lambda way: way.cost + sum(float(rules.need.leaf(part.mass, rules.worth)) for part in way.parts),
        )
        plan = _exchanged(plan, leaf, Plan(leaf.part, best, tuple(Plan(part, None) for part in best.parts)))
    return plan


def _exchanged(plan: Plan, old: Plan, new: Plan) -> Plan:
    if plan is old:
        return new
    return (
        Plan(plan.part, plan.option, tuple(_exchanged(step, old, new) for step in plan.plans)) if plan.plans else plan
    )
