# SPDX-License-Identifier: GPL-3.0-or-later
"""Which few pieces lock each other, and at which joint, where no build order was found.

A set of pieces is locked when each of them has something of the set in its way along every direction. From one piece
on such a set is grown; then pieces are taken out of it for as long as what is left still locks. What stands in whose
way is asked only where the answer is needed, and asked a counted number of times: many pieces of a fine scan make each
question slow. When the count is used up the set found so far stands: it locks, and may hold more pieces than it must.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import Progress

if TYPE_CHECKING:
    from .build_order import Assembly

BoolArray = NDArray[np.bool_]

QUESTIONS: Final = 30_000
"""Times that it is asked whether one piece stops another; a ring of 60 pieces that lock only all together needs 10 637
(measured)."""

_UNKNOWN: Final = -1


@dataclass(frozen=True)
class Stuck:
    """Pieces that lock each other: none of `core` can leave while the others of it stand.

    `keys` are pairs of `core` that share a joint and whose blocking alone keeps the core locked: changing one of those
    joints frees it. `fixed` tells that what stood before the first piece is part of the lock.
    """

    core: tuple[int, ...]
    keys: tuple[tuple[int, int], ...]
    fixed: bool


class _Spent(Exception):
    """All questions are asked."""


class _Known:
    """What is known of who stops whom among some pieces."""

    def __init__(self, assembly: Assembly, pieces: Sequence[int]) -> None:
        self.pieces = list(pieces)
        self.left = QUESTIONS
        count, ways = len(self.pieces), len(assembly.directions)
        self._assembly = assembly
        self._stops = np.full((count, count, ways), _UNKNOWN, dtype=np.int8)
        self._walled = np.array([[assembly.walled(p, d) for d in range(ways)] for p in self.pieces]).reshape(-1, ways)
        at = {piece: k for k, piece in enumerate(self.pieces)}
        self.pairs = sorted((at[a], at[b]) for a, b in assembly.touching if a in at and b in at)
        touched: list[list[int]] = [[] for _ in self.pieces]
        for a, b in self.pairs:
            touched[a].append(b)
            touched[b].append(a)
        # Neighbours are the likeliest to be in the way, so they are asked about first.
        self._order = [
            [*sorted(touched[k]), *(other for other in range(count) if other != k and other not in touched[k])]
            for k in range(count)
        ]

    def grown(self) -> BoolArray:
        """A locked set, grown from the first piece; all pieces must be a locked set."""
        inside = np.zeros(len(self.pieces), dtype=bool)
        waiting = [0]
        inside[0] = True
        everyone = np.ones(len(self.pieces), dtype=bool)
        while waiting:
            piece = waiting.pop(0)
            for way in np.flatnonzero(~self._hit(inside, None, True)[piece]).tolist():
                found = self._blocker(piece, way, inside, None)
                if found is None:
                    found = self._blocker(piece, way, everyone, None)
                if found is not None and not inside[found]:
                    inside[found] = True
                    waiting.append(found)
        return inside

    def locked(self, standing: BoolArray, ignored: tuple[int, int] | None = None, walls: bool = True) -> BoolArray:
        """What cannot be taken apart of those that stand; nothing where they all come apart.

        Parameters
        ----------
        ignored : a pair whose blocking each other does not count.
        walls : whether what stood before the first piece counts.
        """
        standing = standing.copy()
        while standing.any():
            hit = self._hit(standing, ignored, walls)
            # Taking pieces away never closes a way, so all that can leave may leave together.
            leaving = [
                piece
                for piece in np.flatnonzero(standing).tolist()
                if any(
                    self._blocker(piece, way, standing, ignored) is None for way in np.flatnonzero(~hit[piece]).tolist()
                )
            ]
            if not leaving:
                break
            standing[leaving] = False
        return standing

    def near_walls(self, core: BoolArray) -> bool:
        """Whether what stood before the first piece is in the way of any of these."""
        return bool(self._walled[core].any())

    def _hit(self, standing: BoolArray, ignored: tuple[int, int] | None, walls: bool) -> BoolArray:
        """Pieces by ways, (n, k): whether something in the way is known already."""
        stops = self._stops[:, standing] == 1
        if ignored is not None:
            at = np.cumsum(standing) - 1
            for a, b in (ignored, ignored[::-1]):
                if standing[b]:
                    stops[a, at[b]] = False
        hit: BoolArray = stops.any(axis=1)
        return hit | self._walled if walls else hit

    def _blocker(self, piece: int, way: int, standing: BoolArray, ignored: tuple[int, int] | None) -> int | None:
        for other in self._order[piece]:
            if not standing[other] or ignored in ((piece, other), (other, piece)):
                continue
            if self._stops[piece, other, way] == _UNKNOWN:
                if self.left == 0:
                    raise _Spent
                self.left -= 1
                stops = self._assembly.stops(self.pieces[piece], self.pieces[other], way)
                self._stops[piece, other, way] = stops
            if self._stops[piece, other, way] == 1:
                return other
        return None


def find_lock(assembly: Assembly, left: Sequence[int], progress: Progress | None = None) -> Stuck:
    """Name what locks.

    Parameters
    ----------
    assembly : pieces and moves.
    left : pieces of which none can leave while the others stand.
    progress : may raise `Cancelled`.
    """
    for piece in left:
        # What stood there before may lock a piece by itself; that is soon found.
        if all(assembly.walled(piece, d) for d in range(len(assembly.directions))):
            return Stuck((piece,), (), True)
    known = _Known(assembly, left)
    core = np.ones(len(known.pieces), dtype=bool)
    keys: list[tuple[int, int]] = []
    fixed: bool | None = None
    try:
        core = known.grown()
        for number, piece in enumerate(np.flatnonzero(core).tolist()):
            if progress:
                progress(number / len(known.pieces), "finding what locks")
            if core[piece]:
                without = core.copy()
                without[piece] = False
                rest = known.locked(without)
                core = rest if rest.any() else core
        fixed = not known.locked(core, walls=False).any()
        for pair in known.pairs:
            if core[pair[0]] and core[pair[1]] and not known.locked(core, pair).any():
                keys.append(pair)
    except _Spent:
        pass
    names = known.pieces
    shown = keys or [(a, b) for a, b in known.pairs if core[a] and core[b]]
    return Stuck(
        tuple(names[k] for k in np.flatnonzero(core).tolist()),
        tuple((min(names[a], names[b]), max(names[a], names[b])) for a, b in shown),
        known.near_walls(core) if fixed is None else fixed,
    )
