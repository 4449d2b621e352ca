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
from dataclasses import dataclass, field, replace
from functools import partial
from threading import Lock
from typing import Final

from ..errors import Cancelled, Progress
from .hands import Crew
from .looks import begun, limbs_looked, looked, parted
from .nodes import Branch, Node, Plan, hoped, next_way, plan_of, reckon, size_of, steps
from .options import Begun, Option, Rules
from .part import Part
from .sheaf import Sheaf
from .ways import is_long

_HOPE: Final = 1.05
"""Factor by which what a way seems to come to is less than what it will: it is tried where that still betters what is
known."""

_DOUBT: Final = (0.9, 0.75, 0.6)
"""Factors tried one after the other where nothing promises by that one: what ways seem to come to may be too much."""

_MORE: Final = 200_000
"""Samples and cells that may still be looked at by them."""

_EACH: Final = 12_000
"""Samples and cells that a look at a part counts for beside its own: what does not grow with them."""

_PLACES: Final = 3
"""Places of a plan in which other ways are tried side by side."""

_TRY: Final = 3
"""Times its size that a try of another way at a part takes at least, about: where less is left it is not begun."""

_LARGE: Final = 60_000
"""Samples and cells of a part whose halves are split on by a series side by side."""

_TRIES: Final = ((3.5, 4), (7.0, 2), (math.inf, 1))
"""Cost up to which a part is tried in so many ways whenever it is planned."""


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
    """A search for the best plan of a body.

    Attributes
    ----------
    rules : what options are judged by.
    budget : samples and cells that may be looked at, over all options; a count, so that the same carving gets the same
        plan on a slow day.
    progress : told what is done. crew : that works on it.
    value : cost of the plan found, infinite while there is none.
    tally : what was looked at.
    """

    rules: Rules
    budget: int
    progress: Progress | None = None
    crew: Crew = field(default_factory=Crew)
    cancelled: bool = False
    value: float = float("inf")
    tally: Tally = field(default_factory=Tally)
    nodes: dict[tuple[bytes, float], Node] = field(default_factory=dict)
    _rounds: Iterator[int] = field(default_factory=itertools.count)
    _root: Node | None = None
    _hope: float = _HOPE
    _told: float = 0.0
    _telling: Lock = field(default_factory=Lock)

    @property
    def looked(self) -> int:
        """Parts that were looked at."""
        return self.tally.looked

    def run(self, part: Part, must: bool = False) -> Plan:
        """The best plan found. After `Cancelled` what is still open is left uncut.

        must : cut the part, whatever the samples say of its mass and size.
        """
        root = self._root = self._node(part, must)
        self.tally.most = self.budget
        self.crew.waiting = lambda: self._tell(self.tally)
        try:
            if not root.fits:
                rules = self.rules
                self.crew.know({"samples": part.of, "rules": rules})
                self.crew.know({"sheaf": Sheaf.of_body(part.of, rules.worth, *rules.kinds, self.crew)})
            self._plan(root, math.inf, self.tally)
            self._better(root, _HOPE)
            # Not as long as the budget lasts: most often there is nothing to be found.
            self.tally.most = min(self.tally.most, self.tally.work + _MORE)
            for hope in _DOUBT:
                self._better(root, hope)
        except Cancelled:
            self.cancelled = True
        finally:
            self.crew.waiting = None
        self._settle(root)
        self.value = root.value
        return plan_of(root)

    def _better(self, root: Node, hope: float) -> None:
        """Try other ways, where one by `hope` betters what is known, for as long as the budget lasts."""
        self._hope = hope
        while self.tally.left > 0 and (best := self._promising(root)):
            self._at_once([partial(self._try, node, branch, math.inf) for node, branch in best], self.tally)

    def _plan(self, node: Node, bar: float, tally: Tally) -> None:
        """Plan a part, in some ways, until one is known; less than `bar` is of use only."""
        if node.fits:
            return
        if not node.looked:
            self._expand(node, tally)
        tries = next(count for cost, count in _TRIES if node.estimate < cost)
        for k in itertools.count():
            self._settle(node)
            if k >= tries and node.value < math.inf:
                break
            branch = next_way(node)
            if branch is None or self._hope * hoped(branch) >= min(node.value, bar):
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
        self._settle(node)
        share = min(self._hope, 1.0)
        room = bar - branch.option.cost - share * sum(child.hope for child in branch.nodes)
        if room > 0.0:
            self._at_once([partial(self._plan, child, room + share * child.hope) for child in children], tally)

    def _at_once(self, tasks: Sequence[Callable[[Tally], None]], tally: Tally) -> None:
        """Work on parts that have nothing in common, side by side: what comes of each does not depend on the others."""
        own = [Tally(tally.left) for _ in tasks]
        self.crew.map([partial(task, one) for task, one in zip(tasks, own, strict=True)])
        for one in own:
            tally.work, tally.looked = tally.work + one.work, tally.looked + one.looked

    def _promising(self, root: Node) -> list[tuple[Node, Branch]]:
        """Where in the best plan most is to be gained for the work by another way: places without a part in common."""
        self._settle(root)
        found = []
        for node in steps(root):
            branch = next_way(node)
            if branch is not None:
                gain = (node.value - self._hope * hoped(branch)) / (size_of(node) + _EACH)
                found.append((gain, node, branch))
        out: list[tuple[Node, Branch]] = []
        left = self.tally.left
        for gain, node, branch in sorted(found, key=lambda row: -row[0]):
            if gain <= 0.0 or len(out) == _PLACES:
                break
            if _TRY * size_of(node) > left:
                continue
            apart = (node not in list(steps(other)) and other not in list(steps(node)) for other, _ in out)
            if all(apart):
                out.append((node, branch))
                left -= _TRY * size_of(node)
        return out

    def _node(self, part: Part, must: bool = False, then: Option | None = None) -> Node:
        # Series of joints have stretches in common: a part that was met before is not looked at again.
        key = part.cells.tobytes(), round(float(part.faces[:, 3].sum()), 3)
        node = None if must else self.nodes.get(key)
        if node is None:
            rules = self.rules
            fits = not must and part.is_piece(rules.need)
            own = rules.own(part)
            estimate = own if fits else max(rules.estimate(part), 2.0)
            node = Node(part, fits, own, estimate, value=own if fits else math.inf, hope=estimate)
            self.nodes[key] = node
        if then is not None and not node.fits:
            node.ways.append(self._branch(then))
        return node

    def _branch(self, option: Option) -> Branch:
        parts = zip(option.parts, option.then, strict=True)
        nodes = [self._node(part, then=then) for part, then in parts]
        return Branch(None, option, nodes)

    def _expand(self, node: Node, tally: Tally) -> None:
        """Look for ways to cut a part."""
        node.looked = True
        # The last is done here if it can be: the longer one.
        looks = [looked, limbs_looked] if is_long(node.part, node.estimate, self.rules) else [looked]
        found = self.crew.map([partial(self.crew.do, look, node.part) for look in looks])
        node.ways += [Branch(way) for more in found for way in more]
        tally.work += size_of(node) + _EACH
        tally.looked += 1
        self._tell(tally)

    def _split(self, node: Node, branch: Branch, tally: Tally) -> None:
        """Split a part in a way that is not split yet."""
        option = self._parted(branch.way.begin, size_of(node)) if branch.way is not None else None
        branch.way = None
        if option is not None:
            made = self._branch(option)
            branch.option, branch.nodes = option, made.nodes
        tally.work += size_of(node) // 3

    def _parted(self, begin: Callable[[], Begun | None], size: int) -> Option | None:
        """A part of so many samples and cells split by a series."""
        if size < _LARGE:
            return self.crew.do(parted, begin)
        first = self.crew.do(begun, begin)
        if first is None:
            return None
        rests = [partial(self.crew.do, parted, rest) for rest in first.rests if rest is not None]
        made = iter(self.crew.map(rests))
        return replace(first.option, then=tuple(None if rest is None else next(made) for rest in first.rests))

    def _settle(self, node: Node) -> None:
        reckon(node, next(self._rounds))

    def _tell(self, tally: Tally) -> None:
        if self.progress is None:
            return
        with self._telling:
            if self.cancelled:
                raise Cancelled
            pieces = plan_of(self._root).pieces if self._root is not None else 0
            # Parts that are worked on side by side each know of their own work only.
            self._told = max(self._told, min(1.0, 1.0 - tally.left / max(self.budget, 1)))
            try:
                self.progress(self._told, f"{self.looked} parts looked at; the plan so far has {pieces} pieces")
            except Cancelled:
                self.cancelled = True
                raise
