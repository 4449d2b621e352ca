# SPDX-License-Identifier: GPL-3.0-or-later
"""Where each finished piece stands in the load space: upright boxes side by side on its floor, none on another.

Pieces go in one by one, the last built first, each pushed as far forward as the ones before it allow. So nothing that
comes later stands in the way of what comes out: unloading is the reverse of loading. Blocking, lashing, axle loads
and the driver's say are for competent people.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from ..findings import Finding, Severity
from ..job import LoadSpace

PADDING: Final = 0.02
"""Metres left beside and before each box for a blanket or board; common practice, no source."""

VOID: Final = 0.15
"""Metres: gaps summed in a direction that stay without a word (CTU Code quick guide, read second-hand)."""

HALF_SHARE: Final = 0.6
"""Largest share of the mass in half the length (CTU Code, from memory, unverified)."""

_ROUNDING: Final = 1e-9


@dataclass(frozen=True)
class Box:
    """A finished piece as carried: its number, length, width and height in metres, its mass in kg."""

    mark: str
    length: float
    width: float
    height: float
    mass: float


@dataclass(frozen=True)
class Stand:
    """A place in the load: metres from the front wall and from the left wall, sides along and across.

    `load` counts vehicles or trips from 1, `place` the order of going in, from 1 in each load.
    """

    mark: str
    load: int
    place: int
    x: float
    y: float
    along: float
    across: float
    height: float
    mass: float


@dataclass(frozen=True)
class LoadPlan:
    """All places, and what came of them.

    Attributes
    ----------
    stands : in order of going in, load after load.
    loads : vehicles or trips needed for those that fit.
    left_out : marks of pieces that go through no door or into no empty load space.
    reverse : whether every load goes in in the reverse of the build order.
    masses, centres, reaches : of each load: kg, centre of mass and furthest box, metres from the front wall.
    """

    stands: tuple[Stand, ...]
    loads: int
    left_out: tuple[str, ...]
    reverse: bool
    masses: tuple[float, ...]
    centres: tuple[float, ...]
    reaches: tuple[float, ...]


def plan_load(boxes: Sequence[Box], space: LoadSpace) -> LoadPlan:
    """Find places for all boxes.

    Parameters
    ----------
    boxes : in build order; the last goes in first.
    space : size, door and payload of the load space.

    Notes
    -----
    Each box goes where its far side ends up furthest forward, either way round or its long side along the lorry where
    it can; the front of what is loaded is kept as a skyline across the width. The order of going in is tried from the
    reverse of the build order and from the largest on, each strictly and with looks ahead. The way with fewest loads is
    taken, of those the one that keeps most pairs of pieces in the reverse of the build order.
    """
    fitting = [box for box in boxes if _ways(box, space)]
    left_out = tuple(box.mark for box in boxes if not _ways(box, space))
    last_first = list(reversed(fitting))
    largest = sorted(last_first, key=lambda b: -b.length * b.width)
    built = {box.mark: k for k, box in enumerate(boxes)}
    tries = [
        _fill(order, space, ahead, lengthways)
        for order in (last_first, largest)
        for ahead in _AHEAD
        for lengthways in (False, True)
    ]
    best = min(range(len(tries)), key=lambda k: (_loads(tries[k]), _out_of_order(tries[k], built), k))
    stands = tries[best]
    loads = _loads(stands)
    masses, centres, reaches = [], [], []
    for load in range(1, loads + 1):
        part = [s for s in stands if s.load == load]
        mass = sum(s.mass for s in part)
        masses.append(mass)
        centres.append(sum(s.mass * (s.x + s.along / 2.0) for s in part) / mass if mass > 0.0 else 0.0)
        reaches.append(max(s.x + s.along for s in part))
    reverse = _out_of_order(stands, built) == 0
    return LoadPlan(tuple(stands), loads, left_out, reverse, tuple(masses), tuple(centres), tuple(reaches))


_AHEAD: Final = (1, 3, 6, 24)
"""How many of the pieces that are next to go in may take their turn: the strict order, and ever freer ones. Over 360
random jobs of 12 to 22 boxes the freer two saved 10 loads of 417, and the long side along the lorry 11 more."""


def _out_of_order(stands: Sequence[Stand], built: Mapping[str, int]) -> int:
    """Pairs of one load of which the one built first goes in first."""
    return sum(a.load == b.load and built[a.mark] < built[b.mark] for a, b in combinations(stands, 2))


def _loads(stands: Sequence[Stand]) -> int:
    return max((s.load for s in stands), default=0)


def _ways(box: Box, space: LoadSpace) -> list[tuple[float, float]]:
    """Sides along and across by which a box goes straight in through the door and stands inside."""
    length, width, height = space.size
    if box.height > min(height, space.door[1]) + _ROUNDING:
        return []
    ways = [(box.length, box.width), (box.width, box.length)]
    return [
        (along, across)
        for along, across in ways
        if along <= length + _ROUNDING and across <= min(width, space.door[0]) + _ROUNDING
    ]


def _fill(boxes: Sequence[Box], space: LoadSpace, ahead: int, lengthways: bool) -> list[Stand]:
    """Places of all boxes, load after load; of the next `ahead` boxes the one that ends furthest forward goes in."""
    waiting = list(boxes)
    stands: list[Stand] = []
    load = 0
    while waiting:
        load += 1
        sky = [(0.0, 0.0)]  # (y from, x of the front) from left to right
        carried, place = 0.0, 0
        while waiting:
            found = None
            for k, box in enumerate(waiting[:ahead]):
                if carried + box.mass > space.payload * (1.0 + _ROUNDING) and place:
                    continue
                spot = _spot(sky, box, space, lengthways)
                if spot is not None and (found is None or spot[0] < found[0][0] - _ROUNDING):
                    found = (spot, k)
            if found is None:
                break
            (_, x, y, along, across), k = found
            box = waiting.pop(k)
            place += 1
            carried += box.mass
            stands.append(Stand(box.mark, load, place, x, y, along, across, box.height, box.mass))
            sky = _raised(sky, y, y + across, x + along + PADDING)
    return stands


def _spot(sky: Sequence[tuple[float, float]], box: Box, space: LoadSpace, lengthways: bool) -> tuple[float, ...] | None:
    """Best place for a box: (end, x, y, along, across), or None where the load space is full."""
    length, width = space.size[:2]
    best: tuple[float, ...] | None = None
    ways = _ways(box, space)
    for along, across in ways[:1] if lengthways else ways:
        starts = {0.0, max(width - across, 0.0)}
        for edge, _ in sky[1:]:
            starts |= {edge, edge + PADDING, max(edge - across - PADDING, 0.0), max(edge - across, 0.0)}
        for y in sorted(starts):
            if y + across > width + _ROUNDING:
                continue
            x = _front(sky, y - PADDING, y + across + PADDING)
            if x + along > length + _ROUNDING:
                continue
            spot = (x + along, x, y, along, across)
            if best is None or (round(spot[0], 9), round(y, 9)) < (round(best[0], 9), round(best[2], 9)):
                best = spot
    return best


def _front(sky: Sequence[tuple[float, float]], low: float, high: float) -> float:
    ends = [start for start, _ in sky[1:]] + [float("inf")]
    return max(
        x for (start, x), end in zip(sky, ends, strict=True) if start < high - _ROUNDING and end > low + _ROUNDING
    )


def _raised(sky: Sequence[tuple[float, float]], low: float, high: float, x: float) -> list[tuple[float, float]]:
    after = next((v for start, v in reversed(sky) if start <= high), 0.0)
    out = [(start, v) for start, v in sky if start < low - _ROUNDING] + [(low, x), (high, after)]
    return out + [(start, v) for start, v in sky if start > high + _ROUNDING]


def check_load(plan: LoadPlan, space: LoadSpace) -> list[Finding]:
    """What is to say about a load plan: errors where the load space is exceeded, else notes."""
    found: list[Finding] = []
    for mark in plan.left_out:
        found.append(
            Finding(
                "load_space",
                Severity.ERROR,
                f"Load space exceeded: piece {mark} goes through no door {space.door[0]:.2f} m wide and "
                f"{space.door[1]:.2f} m high with its up kept up, or is longer than {space.size[0]:.2f} m.",
                "Cut it smaller, or find a larger vehicle.",
                piece=mark,
            )
        )
    if plan.loads > 1:
        over = [s.mark for s in plan.stands if s.load > 1]
        found.append(
            Finding(
                "load_space",
                Severity.ERROR,
                f"Load space exceeded: {_pieces(len(over))} ({', '.join(over[:8])}{' ...' if len(over) > 8 else ''}) "
                f"{'does' if len(over) == 1 else 'do'} not fit into one load of {space.size[0]:.2f} x "
                f"{space.size[1]:.2f} m and {space.payload:.0f} kg, standing upright side by side.",
                f"Plan {plan.loads} trips or vehicles, or a longer one; nothing is stacked in this plan.",
                measured=float(plan.loads),
                limit=1.0,
            )
        )
    for load in range(1, plan.loads + 1):
        found += _load_notes(plan, space, load)
    return found


def _load_notes(plan: LoadPlan, space: LoadSpace, load: int) -> list[Finding]:
    part = [s for s in plan.stands if s.load == load]
    mass, centre, reach = plan.masses[load - 1], plan.centres[load - 1], plan.reaches[load - 1]
    found = []
    if mass > space.payload * (1.0 + _ROUNDING):
        found.append(
            Finding(
                "load_space",
                Severity.ERROR,
                f"Load space exceeded: piece {part[0].mark} alone weighs {mass:.1f} kg; the payload is "
                f"{space.payload:.0f} kg.",
                "Cut it smaller, or find a stronger vehicle.",
                piece=part[0].mark,
                measured=mass,
                limit=space.payload,
                unit="kg",
            )
        )
    half = sum(s.mass * min(max((reach / 2.0 - s.x) / s.along, 0.0), 1.0) for s in part)
    share = max(half, mass - half) / mass if mass > 0.0 else 0.0
    voids = [space.size[1] - width for width in _widths(part)]
    words = (
        f"Load {load}: {_pieces(len(part))}, {mass:.0f} kg on {reach:.2f} m of {space.size[0]:.2f} m, centre of mass "
        f"{centre:.2f} m from the front wall, {share:.0%} of the mass in one half of what is loaded; gaps across sum "
        f"to {max(voids, default=0.0):.2f} m at most. Axle loads were not worked out."
    )
    remedy = "Have axle loads, blocking and lashing judged by a competent person"
    if max(voids, default=0.0) > VOID:
        remedy += f"; fill gaps that sum to over {VOID * 100.0:.0f} cm"
    if share > HALF_SHARE:
        remedy += f"; over {HALF_SHARE:.0%} in one half is usually avoided"
    if not plan.reverse:
        remedy += "; this load does not come out in build order: set pieces down on site, or load them in two trips"
    found.append(Finding("load", Severity.NOTE, words, remedy + ".", measured=mass, limit=space.payload, unit="kg"))
    return found


def _pieces(count: int) -> str:
    return f"{count} piece{'' if count == 1 else 's'}"


def _widths(part: Sequence[Stand]) -> list[float]:
    """Widths taken up across, at every box's middle."""
    out = []
    for one in part:
        middle = one.x + one.along / 2.0
        out.append(sum(s.across for s in part if s.x <= middle <= s.x + s.along))
    return out
