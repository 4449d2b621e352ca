# SPDX-License-Identifier: GPL-3.0-or-later
"""The long steps of a search, done here or in another process: a look at a part, and its split in a way."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Final

from .options import Begun, Option, Rules, finished
from .part import Part, marks
from .sheaf import Sheaf
from .ways import Way, limb_ways, ways

_LARGE: Final = 8_000
"""Cells of a part whose share of the sheaf is kept for its parts, which are weighed sooner on it."""

_KEPT: Final = 8
"""Parts of which it is."""


def looked(known: dict[str, Any], part: Part) -> list[Way]:
    """Ways to cut a part of the body whose rules and sheaf are known by whole sheets."""
    return ways(part, known["rules"], _sheaf_of(known, part))


def limbs_looked(known: dict[str, Any], part: Part) -> list[Way]:
    """Ways to cut it by joints through one limb each."""
    return limb_ways(part, known["rules"], _sheaf_of(known, part))


def _sheaf_of(known: dict[str, Any], part: Part) -> Sheaf:
    """The sheaf with the entries of a part, cut down from those of the least part that is kept and holds it."""
    sheaf: Sheaf = known["sheaf"]
    of, narrow = known.get("narrow", (None, []))
    if of is not sheaf:
        narrow = []
        known["narrow"] = sheaf, narrow
    for one, (cells, skin) in list(narrow):
        if len(one.part.cells) < len(sheaf.part.cells) and cells[part.cells].all() and skin[part.skin].all():
            sheaf = one
    own = sheaf.on(part)
    if len(part.cells) > _LARGE:
        narrow.append((own, marks(part)))
        del narrow[:-_KEPT]
    return own


def begun(known: dict[str, Any], begin: Callable[[], Begun | None]) -> Begun | None:
    """A part split by the first joint of a series; None where that parts nothing."""
    found = begin()
    _weigh(None if found is None else found.option, known["rules"])
    return found


def parted(known: dict[str, Any], begin: Callable[[], Begun | None]) -> Option | None:
    """A part split by all of a series; None where that parts nothing."""
    option = finished(begin)
    _weigh(option, known["rules"])
    return option


def _weigh(option: Option | None, rules: Rules) -> None:
    """Have parts find what they are judged by."""
    if option is not None:
        for part, then in zip(option.parts, option.then, strict=True):
            rules.own(part)
            if not part.is_piece(rules.need):
                rules.estimate(part)
            _weigh(then, rules)
