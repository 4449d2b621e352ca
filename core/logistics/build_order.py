# SPDX-License-Identifier: GPL-3.0-or-later
"""The order in which pieces are put together, each by one straight move.

Found backwards, by taking the structure apart: a piece may leave when it can go straight out, without end, past all
that still stands. Taking another piece away never closes a way, so the first piece that can leave may leave, and if
this comes to a stop no order of straight single moves along the tried directions exists (R. H. Wilson and J.-C.
Latombe, Artificial Intelligence 71, 1994, call the relation a directional blocking graph; citation from memory,
unverified).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import JobError, Progress
from ..mesh.mesh import Mesh
from .connection import cut_pieces
from .lock import Stuck, find_lock
from .sweep import Sweeps

FloatArray = NDArray[np.float64]

STANDING: Final = -1
"""Number that stands for what is there before the first piece: the keep-clear body."""


@dataclass(frozen=True, eq=False)
class Move:
    """How a piece leaves: `direction` (3,) unit, the way out; it comes in by the opposite. Zeros: no way was found."""

    direction: FloatArray


@dataclass(frozen=True, eq=False)
class BuildOrder:
    """The outcome.

    Attributes
    ----------
    order : piece numbers, first built first; pieces for which no move was found are left out.
    moves : for each of `order` its move.
    stuck : what locks, where something does.
    propped : pieces that come before one that they rest on, and must be held up until it is there.
    broken : pins that could not be kept: (piece, place wanted from 0, pieces in its way then).
    """

    order: tuple[int, ...]
    moves: tuple[Move, ...]
    stuck: Stuck | None
    propped: tuple[int, ...]
    broken: tuple[tuple[int, int, tuple[int, ...]], ...]


class Assembly:
    """Pieces, what stands already, and the moves that are tried.

    Parameters
    ----------
    pieces : closed meshes where they stand in the end; metres, z up.
    directions : (k, 3) unit, ways out, none below the level: below is the floor.
    fixed : bodies that stand before the first piece, such as a keep-clear body.
    touching : pairs of pieces that share a joint.
    rests : pairs (upper, lower) of pieces of which the first rests on the second.
    """

    def __init__(
        self,
        pieces: Sequence[Mesh],
        directions: FloatArray,
        fixed: Sequence[Mesh] = (),
        touching: Iterable[tuple[int, int]] = (),
        rests: Iterable[tuple[int, int]] = (),
    ) -> None:
        self.count = len(pieces)
        self.directions = directions
        self._fixed = len(fixed)
        self._sweeps = Sweeps([*pieces, *fixed], directions)
        self.touching = frozenset((min(a, b), max(a, b)) for a, b in touching if a != b)
        self.rests = frozenset((a, b) for a, b in rests if a != b)
        self.beside: list[set[int]] = [set() for _ in pieces]
        for a, b in self.touching:
            self.beside[a].add(b)
            self.beside[b].add(a)
        self._walled: dict[tuple[int, int], bool] = {}

    def free(self, piece: int, standing: Iterable[int], direction: int) -> bool:
        """Whether a piece can leave along a direction past the pieces that stand, and past what was there before."""
        # Neighbours are the likeliest to be in the way, so they are asked about first.
        beside = self.beside[piece]
        return next(self._blockers(piece, sorted(standing, key=lambda k: k not in beside), direction), None) is None

    def stops(self, piece: int, other: int, direction: int) -> bool:
        """Whether another piece stands in the way of one that leaves along a direction."""
        return self._sweeps.stops(piece, other, direction)

    def walled(self, piece: int, direction: int) -> bool:
        """Whether what was there before the first piece stands in the way."""
        key = (piece, direction)
        if key not in self._walled:
            self._walled[key] = any(self._sweeps.stops(piece, self.count + k, direction) for k in range(self._fixed))
        return self._walled[key]

    def _blockers(self, piece: int, standing: Iterable[int], direction: int) -> Iterator[int]:
        if self.walled(piece, direction):
            yield STANDING
        for other in standing:
            if other != piece and self.stops(piece, other, direction):
                yield other

    def in_the_way(self, piece: int, standing: Sequence[int]) -> tuple[int, ...]:
        """The fewest pieces that stand in the way along one direction; `STANDING` for what was there before."""
        best = min(
            (tuple(sorted(self._blockers(piece, standing, d))) for d in range(len(self.directions))),
            key=lambda found: (STANDING in found, len(found), found),
        )
        return best


def find_order(
    assembly: Assembly,
    ranks: Sequence[Sequence[int]],
    keys: Sequence[tuple[float, ...]],
    pins: Mapping[int, int] | None = None,
    progress: Progress | None = None,
) -> BuildOrder:
    """Find an order in which every piece goes in by a straight move.

    Parameters
    ----------
    assembly : pieces and moves.
    ranks : for each piece the directions to try, best first.
    keys : for each piece what it is sorted by, first built first, wherever the shapes leave a choice.
    pins : piece -> place in the order, from 0, that the user wants it at.
    progress : told the share of pieces placed; may raise `Cancelled`.

    Notes
    -----
    Pieces rest on others: one that carries another is not taken from under it, unless there is no other way; then the
    carried one is named in `propped`. Where the shapes leave a choice the rest stays connected through joints.
    """
    pinned = dict(pins or {})
    _check_pins(pinned, assembly.count)
    wanted = {place: piece for piece, place in pinned.items()}
    left = list(range(assembly.count))
    out: list[tuple[int, Move]] = []
    broken: list[tuple[int, int, tuple[int, ...]]] = []
    propped: set[int] = set()
    while left:
        if progress:
            progress(len(out) / assembly.count, "build order")
        place = len(left) - 1
        want = wanted.get(place)
        pick = None
        if want is not None and want in left:
            pick = _leave(assembly, want, left, ranks[want])
            if pick is None:
                broken.append((want, place, assembly.in_the_way(want, left)))
        if pick is None:
            pick = _choose(assembly, left, ranks, keys, {p for p, at in pinned.items() if at < place})
        if pick is None:
            break
        piece, move = pick
        propped |= {upper for upper, lower in assembly.rests if lower == piece and upper in left}
        out.append((piece, move))
        left.remove(piece)
    out.reverse()
    at = {piece: place for place, (piece, _) in enumerate(out)}
    missed = {piece for piece, _, _ in broken}
    broken += [
        (piece, place, ())
        for piece, place in sorted(pinned.items())
        if piece not in missed and not left and at[piece] != place
    ]
    return BuildOrder(
        tuple(piece for piece, _ in out),
        tuple(move for _, move in out),
        find_lock(assembly, left, progress) if left else None,
        tuple(sorted(propped)),
        tuple(broken),
    )


def _check_pins(pins: Mapping[int, int], count: int) -> None:
    for piece, place in pins.items():
        if not 0 <= piece < count or not 0 <= place < count:
            raise JobError(
                f"a pin puts piece {piece} at place {place}; there are {count} pieces and places, counted from 0",
                "build.pins",
            )
    if len(set(pins.values())) < len(pins):
        raise JobError("two pieces are pinned at the same place of the build order; move one", "build.pins")


def _leave(assembly: Assembly, piece: int, left: Sequence[int], ranked: Sequence[int]) -> tuple[int, Move] | None:
    best = next((d for d in ranked if assembly.free(piece, left, d)), None)
    return None if best is None else (piece, Move(assembly.directions[best]))


def _choose(
    assembly: Assembly,
    left: Sequence[int],
    ranks: Sequence[Sequence[int]],
    keys: Sequence[tuple[float, ...]],
    held: set[int],
) -> tuple[int, Move] | None:
    """The piece to take off next: last by its key among those that can, in four rounds from best to worst manners."""
    standing = set(left)
    carries = {lower for upper, lower in assembly.rests if upper in standing and lower in standing}
    cuts = cut_pieces(assembly.beside, left)
    rounds = (
        [p for p in left if p not in carries and p not in cuts and p not in held],
        [p for p in left if p not in carries and p not in held],
        [p for p in left if p not in held],
        list(left),
    )
    tried: set[int] = set()
    for candidates in rounds:
        for piece in sorted(set(candidates) - tried, key=lambda p: (keys[p], p), reverse=True):
            tried.add(piece)
            found = _leave(assembly, piece, left, ranks[piece])
            if found is not None:
                return found
    return None
