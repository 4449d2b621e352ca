# SPDX-License-Identifier: GPL-3.0-or-later
"""Ways to cut one part: series of joints and single ones, the likeliest by what lies between them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .blocks import Blocks
from .chain import best_chains, stretches
from .ground import Ground
from .limbs import series
from .offers import Offers
from .options import Begun, Option, Rules, cut_limbs, cut_series, finished
from .part import Part, Sheet
from .sheaf import Sheaf

IntArray = NDArray[np.int64]

_SERIES: Final = 3
"""Series of joints that are looked at: the best of all directions, and of single ones."""

_SINGLES: Final = 4
"""Single profiles beside them."""

_FLAT: Final = 3
"""Single planes beside them."""

_LIMBS: Final = (2.5, 9.0, 16.0)
"""Cost from which a part is looked at for limbs that are cut one by one: of planes alone, and where there are profiles
too, which bend so far that for a shorter part any direction will do. Last, the same of what is no longer all of the
body: most often it is already known how its limbs may be cut."""

_SOME: Final = 3
"""Of so many planes one is looked at for limbs where there are profiles too."""

_APART: Final = 0.1
"""Metres: two ways of one kind and direction closer than this are one."""


@dataclass(frozen=True, eq=False)
class Way:
    """A way to cut a part: what it seems to come to, and how it is begun; None where that parts nothing."""

    score: float
    begin: Callable[[], Begun | None]

    def make(self) -> Option | None:
        """The part really split."""
        return finished(self.begin)


_Choice = tuple[float, tuple[int, ...]]
"""What sheets of the sheaf seem to come to, and which they are, from low to high."""


def ways(part: Part, rules: Rules, sheaf: Sheaf) -> list[Way]:
    """Ways to cut a part by whole sheets, the best first by what its parts seem to come to; none where none can be."""
    ground = Ground.of(part, sheaf)
    found = ground.offers(*ground.near(rules.need, rules.worth), rules.worth, rules.wire)
    if not len(found):
        return []
    chosen = _chosen(found, sheaf, rules)
    mine = np.unique(np.array([k for _, sheets in chosen for k in sheets], dtype=np.int64))
    fine = ground.beside(mine)
    if len(fine):
        # Planes lay some way apart; a centimetre may decide whether a side is a piece.
        rows = np.union1d(mine, fine)
        closer = ground.offers(rows, np.ones(len(rows), dtype=bool), rules.worth, rules.wire)
        chosen = _kept([*_chosen(closer, sheaf, rules), *chosen], sheaf)
    out = []
    for score, names in chosen:
        sheets = tuple(sheaf.sheet(k) for k in names)
        out.append(Way(score, partial(cut_series, part, sheets, rules)))
    out.sort(key=lambda way: way.score)
    return out


def is_long(part: Part, cost: float, rules: Rules) -> bool:
    """Whether a part that seems to come to so much is looked at for limbs."""
    if not rules.profiles:
        return rules.limbs and cost >= _LIMBS[0]
    return rules.limbs and cost >= _LIMBS[1 if len(part.cells) == len(part.of.cells.foam) else 2]


def limb_ways(part: Part, rules: Rules, sheaf: Sheaf) -> list[Way]:
    """The way to cut a part by a series of joints through one limb each; none where it has no limbs."""
    blocks = Blocks.make(part)
    if not blocks.limbs:
        return []
    rows, serial = Ground.of(part, sheaf).near(rules.need, rules.worth)
    if rules.profiles:
        rows = rows[serial]
        rows = np.concatenate([rows[~sheaf.flat[rows]], rows[sheaf.flat[rows]][::_SOME]])
    along = series(part, blocks, sheaf, rows, rules.need, rules.worth, rules.wire)
    return [] if along is None else [Way(along.cost, partial(cut_limbs, part, along, rules))]


def _chosen(found: Offers, sheaf: Sheaf, rules: Rules) -> list[_Choice]:
    """The best series of all directions and of each, and the best single joints."""
    need, worth = rules.need, rules.worth
    n = len(found)
    k = np.arange(1, n + 1)
    single = found.between(np.zeros_like(k), k, need, worth) + found.between(k, np.full_like(k, n + 1), need, worth)
    single += found.fee
    rank = np.argsort(single, kind="stable").tolist()
    out: list[_Choice] = [(float(single[row]), (int(found.sheets[row]),)) for row in rank if np.isfinite(single[row])]
    # What a series leaves is three pieces at least, between two joints.
    if not out or out[0][0] > 3.0 + 2.0 * min(float(found.fee.min()), 0.0):
        slab, fee, order = stretches(found, need, worth)
        place = sheaf.place[found.sheets[order]]
        groups = np.concatenate([np.ones((1, len(order)), dtype=bool), place[None, :] == np.unique(place)[:, None]])
        chains = best_chains(slab, fee, order, groups)
        out += [(cost, tuple(found.sheets[chain].tolist())) for cost, chain in chains if len(chain) > 1]
    return _kept(out, sheaf)


def _kept(choices: list[_Choice], sheaf: Sheaf) -> list[_Choice]:
    """The best of each kind, of which no two are nearly the same."""
    most = {"series": _SERIES, "plane": _FLAT, "profile": _SINGLES}
    kept: dict[str, list[tuple[Sheet, ...]]] = {kind: [] for kind in most}
    out = []
    for cost, sheets in sorted(choices):
        kind = "series" if len(sheets) > 1 else "plane" if sheaf.flat[sheets[0]] else "profile"
        if len(kept[kind]) == most[kind]:
            continue
        mine = tuple(sheaf.sheet(k) for k in sheets)
        if not any(_alike(mine, other) for other in kept[kind]):
            kept[kind].append(mine)
            out.append((cost, sheets))
    return out


def _alike(one: tuple[Sheet, ...], other: tuple[Sheet, ...]) -> bool:
    return len(one) == len(other) and all(_near(a, b) for a, b in zip(one, other, strict=True))


def _near(a: Sheet, b: Sheet) -> bool:
    if a.flat != b.flat or abs(float(a.w @ b.w)) < 0.999 or abs(float(a.u @ b.u)) < 0.999:
        return False
    if a.flat:
        return abs(float(a.points[0, 1] - b.points[0, 1])) < _APART / 2.0
    at = np.linspace(a.points[0, 0], a.points[-1, 0], 50)
    return float(np.abs(a.height(at) - b.height(at)).mean()) < _APART / 4.0
