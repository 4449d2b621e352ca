# SPDX-License-Identifier: GPL-3.0-or-later
"""Search the position of a block-up that needs fewest billets for a carving that is still to be made."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from ..errors import Progress
from ..mesh.mass import volume
from ..mesh.mesh import Mesh
from .billets import part_size, with_margin
from .clip import box_of
from .held import Held, held_billets
from .judge import Judge
from .layout import Layout
from .packing import count_billets, cut_from_billets, fewest_by_volume, fewest_for

BUDGET: Final = 1500
"""Positions that are looked at; a count, so that the same carving gets the same answer on any machine."""
_TRIES: Final = 2
"""Ways of cutting parts from billets that are tried for each position looked at."""
_EXACT: Final = 2
"""Positions of the best that are counted on the mesh itself."""


@dataclass(frozen=True)
class Position:
    """A position of the block-up and what it needs.

    Attributes
    ----------
    layout : where the billets lie.
    billets : how many are bought, part billets and offcuts used again counted; as packed, not proved least.
    parts : in how many places of the block-up foam lies.
    fewest_here : a proved lower bound for this position.
    fewest : a proved lower bound for any position: the carving's own volume.
    tried : positions looked at.
    """

    layout: Layout
    billets: int
    parts: int
    fewest_here: int
    fewest: int
    tried: int


Score = tuple[int, int, float]
"""Billets, places, foam: the smaller the better."""

_Place = tuple[float, float, float]
"""Rotation, and x and y of the origin."""


def search_position(
    mesh: Mesh, layout: Layout, margin: float, kerf: float, budget: int = BUDGET, progress: Progress | None = None
) -> Position:
    """The position that needs fewest billets, of those looked at; the first course stands on the carving's floor.

    Parameters
    ----------
    mesh : the carving, closed; metres, job coordinates.
    layout : its billet, stagger, offsets and heights are kept; origin and rotation are tried first, then others.
    margin : metres of foam wanted outside the carving; see `with_margin`.
    kerf : metres lost between parts of one billet.
    budget : positions to look at, 1 or more.
    progress : told the share done; may raise `Cancelled`.

    Notes
    -----
    Positions are judged on thinned-out points of the carving: shifts that bring a wall to an end of some course, and
    even ones between, at even angles and at those of the smallest rectangle round the plan; then angles nearby. The
    best few are counted exactly on the mesh. Not proved best; `Position.fewest` says how far off it can be at most.
    """
    low, high = box_of(mesh.vertices)
    start = replace(layout, origin=(layout.origin[0], layout.origin[1], float(low[2])))
    step = float(np.clip(np.linalg.norm(high - low) / 120.0, 0.01, 0.1))
    judge = Judge.of(mesh, start, margin, step)
    seen: dict[_Place, Score] = {}

    def look(turn: float, most: int, stop: int) -> None:
        view = judge.at(turn)
        for shift in view.shifts(most):
            place = (turn, *view.origin(shift))
            if len(seen) >= max(1, stop):
                return
            if place not in seen:
                enough = min(seen.values())[0] if seen else None
                seen[place] = _score(view.held(shift), _at(start, place), margin, kerf, enough)

    turns = judge.turns(start.rotation)
    for k, turn in enumerate(turns):
        if progress:
            progress(0.7 * k / len(turns), "search of the block-up")
        look(turn, max(1, budget * 3 // 4 // len(turns)), budget * 3 // 4)
    for width in (math.radians(5.0), math.radians(2.0)):
        for turn in sorted({place[0] for place in _ranked(seen)[:3]}):
            look(turn - width, max(1, budget // 32), budget)
            look(turn + width, max(1, budget // 32), budget)
    # The given position comes last, and stays where it is as good as any.
    places = [_at(start, place) for place in _ranked(seen)[:_EXACT]] + [start]
    found: list[tuple[Score, Layout, Held]] = []
    for k, place in enumerate(places):
        if progress:
            progress(0.8 + 0.2 * k / len(places), "count of the billets")
        held = held_billets(mesh, place)
        found.append((_score(held, place, margin, kerf, None), place, held))
    (billets, parts, _), best, held = min(found[::-1], key=lambda row: row[0])
    return Position(
        best,
        billets,
        parts,
        fewest_for(_sizes(held, best, margin), best.billet),
        fewest_by_volume(volume(mesh), best.billet),
        len(seen) + 1,
    )


def _at(layout: Layout, place: _Place) -> Layout:
    turn, x, y = place
    return replace(layout, rotation=turn, origin=(x, y, layout.origin[2]))


def _ranked(seen: dict[_Place, Score]) -> list[_Place]:
    """Positions, best first; of equal ones that which was looked at first."""
    return sorted(seen, key=lambda place: seen[place])


def _sizes(held: Held, layout: Layout, margin: float) -> list[tuple[float, float, float]]:
    low, high = with_margin(held, layout, margin)
    return [part_size(a, b) for a, b in zip(low.tolist(), high.tolist(), strict=True)]


def _score(held: Held, layout: Layout, margin: float, kerf: float, enough: int | None) -> Score:
    """Billets, places and foam; where the bound is over `enough` already, it stands for the billets."""
    sizes = _sizes(held, layout, margin)
    foam = round(math.fsum(math.prod(size) for size in sizes), 6)
    bound = fewest_for(sizes, layout.billet)
    if enough is not None and bound > enough:
        return bound, len(sizes), foam
    tries = _TRIES if enough is not None else 12
    return count_billets(cut_from_billets(sizes, layout.billet, kerf, tries)), len(sizes), foam
