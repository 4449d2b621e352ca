# SPDX-License-Identifier: GPL-3.0-or-later
"""Dismantling and packing: the build order backwards, and where each piece goes in the lorry."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from .load_plan import PADDING, Stand
from .site_work import SiteWork

WRAP: Final = PADDING / 2.0
"""Metres of blanket on each side: two wrapped pieces then fill what the load plan leaves between their boxes."""

_TOUCH: Final = 0.05
"""Metres that two boxes lie side by side to count as neighbours in the lorry."""


@dataclass(frozen=True)
class Packed:
    """A line of the packing list; pieces and joints by index.

    Attributes
    ----------
    piece : index of the piece.
    off : place in dismantling, from 1.
    way_out : unit vector along which it leaves.
    opens : joints that part as it leaves.
    wrapped : length, width and height with blankets, metres.
    load, place : vehicle or trip and order of going in, from 1; 0 where it is in no load.
    beside, before : pieces next to it across the lorry, and next to it towards the front wall.
    waits : pieces that go into the same load before it and come off after it: it is set down until they are in.
    """

    piece: int
    off: int
    way_out: tuple[float, float, float]
    opens: tuple[int, ...]
    wrapped: tuple[float, float, float]
    load: int
    place: int
    beside: tuple[int, ...]
    before: tuple[int, ...]
    waits: tuple[int, ...]


def packing_list(site: SiteWork, marks: Sequence[str], boxes: Sequence[Sequence[float]]) -> tuple[Packed, ...]:
    """Lines in the order of dismantling, the last built first.

    Parameters
    ----------
    marks : number of each piece. boxes : handling box of each, (length, width, height) metres.
    """
    at = {mark: k for k, mark in enumerate(marks)}
    stands = {at[s.mark]: s for s in site.load.stands}
    count = len(site.build)
    off = {step.piece: count - k for k, step in enumerate(site.build)}
    out = []
    for step in reversed(site.build):
        stand = stands.get(step.piece)
        same = [] if stand is None else [s for s in stands.values() if s.load == stand.load and s is not stand]
        length, width, height = (float(side) + 2.0 * WRAP for side in boxes[step.piece])
        x, y, z = (0.0 - v for v in step.way_in)
        out.append(
            Packed(
                step.piece,
                off[step.piece],
                (x, y, z),
                step.meets,
                (length, width, height),
                0 if stand is None else stand.load,
                0 if stand is None else stand.place,
                () if stand is None else tuple(sorted(at[s.mark] for s in same if _beside(s, stand))),
                () if stand is None else tuple(sorted(at[s.mark] for s in _before(stand, same))),
                ()
                if stand is None
                else tuple(
                    at[s.mark]
                    for s in sorted(same, key=lambda s: s.place)
                    if s.place < stand.place and off.get(at[s.mark], 0) > off[step.piece]
                ),
            )
        )
    return tuple(out)


def _beside(one: Stand, two: Stand) -> bool:
    """Whether two lie side by side across the lorry."""
    return min(one.x + one.along, two.x + two.along) - max(one.x, two.x) > _TOUCH


def _in_row(one: Stand, two: Stand) -> bool:
    """Whether one lies behind the other along the lorry."""
    return min(one.y + one.across, two.y + two.across) - max(one.y, two.y) > _TOUCH


def _before(stand: Stand, others: Sequence[Stand]) -> list[Stand]:
    """Those towards the front wall with nothing between."""
    ahead = [s for s in others if _in_row(s, stand) and s.x + s.along <= stand.x]
    return [s for s in ahead if not any(b is not s and _in_row(b, s) and s.x + s.along <= b.x for b in ahead)]
