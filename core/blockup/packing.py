# SPDX-License-Identifier: GPL-3.0-or-later
"""Parts out of billets: offcuts are used again, by straight cuts through, with the saw's kerf between parts."""

from __future__ import annotations

import bisect
import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

Triple = tuple[float, float, float]

_SLACK: Final = 1e-9
"""Metres: a part that is too large by less fits all the same; rounding only."""
_WAYS: Final = tuple(itertools.permutations(range(3)))
_ORDERS: Final = ("volume", "longest", "face", "height")
_SPLITS: Final = ("rest", "length", "height")


@dataclass(frozen=True)
class Cutting:
    """Where a part comes from.

    Attributes
    ----------
    billet : number of the billet bought, from 0.
    place : (x, y, z) metres of its lowest corner in that billet.
    size : metres as it lies in that billet; the part's own size with its sides in some order.
    first : whether it is the first part out of that billet; the others come out of offcuts.
    """

    billet: int
    place: Triple
    size: Triple
    first: bool


_Space = tuple[float, tuple[float, ...], int, Triple, Triple]
"""An offcut: its volume, its sides in order of size, its billet, its lowest corner there, its size."""


def fewest_by_volume(volume: float, billet: Sequence[float]) -> int:
    """Fewest billets that hold this much foam, whatever its shape: no block-up can do with less."""
    return max(0, math.ceil(volume / math.prod(billet) * (1.0 - 1e-12)))


def fewest_for(parts: Sequence[Triple], billet: Triple) -> int:
    """A proved lower bound on the billets that parts are cut from.

    Their volume, or the number of those of which no two go into one billet: whichever way two parts lie in a box, some
    plane square to a side parts them, so along that side their smallest lengths add up to no more than the box.
    """
    if not parts:
        return 0
    by_volume = fewest_by_volume(math.fsum(math.prod(part) for part in parts), billet)
    lying = np.asarray(parts)[:, _WAYS]
    # How short a part can be along each side of the billet, over the ways in which it fits; a misfit is large anyway.
    fits = (lying <= np.asarray(billet) + _SLACK).all(axis=2)
    shortest = np.where(fits[:, :, None], lying, np.inf).min(axis=1)
    large = (2.0 * shortest > np.asarray(billet) + _SLACK).all(axis=1)
    return max(by_volume, int(np.count_nonzero(large)))


def cut_from_billets(parts: Sequence[Triple], billet: Triple, kerf: float, tries: int = 12) -> tuple[Cutting, ...]:
    """Choose a billet and a place in it for each part, so that few billets are used.

    Parameters
    ----------
    parts : (length, width, height) metres of each; none larger than a billet.
    billet : metres.
    kerf : metres lost between two parts.
    tries : ways of ordering and parting to try, at most 12.

    Returns
    -------
    One `Cutting` for each part, in the order given. The number of billets used is not proved least; `fewest_for` says
    how far off it can be at most.

    Notes
    -----
    Largest first into the offcut that it fills best, lying any way (foam has no grain: common practice, no source), the
    rest parted by three cuts right through. Of the ways of ordering and parting that are tried the first best is kept.
    """
    bound = fewest_for(parts, billet)
    best: list[Cutting] | None = None
    for split, order in itertools.islice(itertools.product(_SPLITS, _ORDERS), max(1, tries)):
        found = _one_way(parts, billet, kerf, order, split)
        if best is None or count_billets(found) < count_billets(best):
            best = found
        if count_billets(best) <= bound:
            break
    return tuple(best or ())


def count_billets(cuttings: Sequence[Cutting]) -> int:
    """How many billets are bought."""
    return len({cutting.billet for cutting in cuttings})


def _one_way(parts: Sequence[Triple], billet: Triple, kerf: float, order: str, split: str) -> list[Cutting]:
    keys: dict[str, Callable[[Triple], tuple[float, float]]] = {
        "volume": lambda p: (math.prod(p), 0.0),
        "longest": lambda p: (max(p), math.prod(p)),
        "face": lambda p: (math.prod(sorted(p)[1:]), math.prod(p)),
        "height": lambda p: (p[2], math.prod(p)),
    }
    rows = sorted(range(len(parts)), key=lambda k: keys[order](parts[k]), reverse=True)
    spaces: list[_Space] = []  # by volume, the smallest first
    out: dict[int, Cutting] = {}
    bought = 0
    for row in rows:
        small, middle, large = sorted(parts[row])
        # A box fits another, turned by right angles, when its sides do in order of size.
        found = next(
            (
                k
                for k, (_, (a, b, c), *_) in enumerate(spaces)
                if small <= a + _SLACK and middle <= b + _SLACK and large <= c + _SLACK
            ),
            None,
        )
        if found is None:
            number, place, space = bought, (0.0, 0.0, 0.0), billet
            bought += 1
        else:
            _, _, number, place, space = spaces.pop(found)
        size = _lying(parts[row], space)
        out[row] = Cutting(number, place, size, found is None)
        for corner, rest in _rest(place, space, size, kerf, split):
            bisect.insort(spaces, (math.prod(rest), tuple(sorted(rest)), number, corner, rest))
    return [out[row] for row in range(len(parts))]


def _lying(part: Triple, space: Triple) -> Triple:
    """How a part lies in a space: of the ways that fit that with the least left beside it along one side.

    A part larger than a billet, which no block-up has, lies as it is.
    """
    ways = sorted({(part[a], part[b], part[c]) for a, b, c in _WAYS})
    fitting = [way for way in ways if all(way[k] <= space[k] + _SLACK for k in range(3))]
    return min(fitting, key=lambda way: min(space[k] - way[k] for k in range(3)), default=part)


def _rest(place: Triple, space: Triple, size: Triple, kerf: float, split: str) -> list[tuple[Triple, Triple]]:
    """Offcuts of a space after a part is cut from its corner: three cuts right through, one after the other."""
    if split == "rest":
        # First the cut that leaves the largest offcut.
        axes = sorted(range(3), key=lambda k: (space[k] - size[k]) / space[k], reverse=True)
    else:
        axes = [0, 1, 2] if split == "length" else [2, 1, 0]
    out, left = [], list(space)
    for axis in axes:
        over = left[axis] - size[axis] - kerf
        corner, rest = list(place), list(left)
        corner[axis] += size[axis] + kerf
        rest[axis] = over
        if min(rest) > _SLACK:
            out.append(((corner[0], corner[1], corner[2]), (rest[0], rest[1], rest[2])))
        left[axis] = size[axis]
    return out
