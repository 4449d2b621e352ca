# SPDX-License-Identifier: GPL-3.0-or-later
"""Checks of how a piece is carried and how it stands. Each says its rule and where that comes from."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

from ..findings import Finding, Severity
from ..job import Job
from .carry import ELBOW_ROOM
from .crew import LARGEST_TEAM
from .figures import PieceFigures
from .handled import Handled
from .lifting import CARRY_ZONE, METRIC, filter_load, hands_out, recommended_load
from .standing import DRAG, FRICTION

LEAST_TILT: Final = math.radians(10.0)
"""A piece that falls at less than this is warned about: appliances are tilted by 10 degrees in their standards; from
memory, unverified."""

GALE: Final = 17.2
"""m/s at which Beaufort 8, a gale, begins; from memory, unverified. Work that stands free in less is noted."""

_LIFT_HEIGHT: Final = 0.75
"""Height of the hands at which the lifting equation is kindest, metres: the result is the most that it allows."""

_ROUNDING: Final = 1e-9


def check_handling(mark: str, figures: PieceFigures, handled: Handled, job: Job) -> list[Finding]:
    """Check a piece's handling: warnings, then notes.

    Returns
    -------
    list of Finding
        ``tipping`` (warning; a note where the piece has no base to stand on); ``hands``, ``person_lift``,
        ``weight_filter``, ``lifting`` and ``wind`` (notes: published rules and plain formulas, which bound nothing).
    """
    checks = (_tipping, _hands, _person, _filter, _lifting, _wind)
    return [finding for check in checks for finding in check(mark, figures, handled, job)]


def _tipping(mark: str, figures: PieceFigures, handled: Handled, _: Job) -> Iterator[Finding]:
    standing = handled.standing
    if standing.tilt >= LEAST_TILT:
        return
    rests = "its base" if standing.on_base else "its lowest points"
    degrees = math.degrees(standing.tilt)
    said = f"tips at {degrees:.1f} degrees" if degrees > 0.0 else "falls over by itself"
    yield Finding(
        check="tipping",
        severity=Severity.WARNING if standing.on_base else Severity.NOTE,
        message=f"Piece {mark} set down upright on {rests} {said}; {math.degrees(LEAST_TILT):.0f} degrees are asked "
        "for (as appliances are tilted; from memory, unverified).",
        remedy="Prop it, set it down on another side or in a cradle, and have a competent person judge how it stands.",
        piece=mark,
        measured=standing.tilt,
        limit=LEAST_TILT,
        unit="rad",
        where=figures.balance,
    )


def _hands(mark: str, figures: PieceFigures, handled: Handled, _: Job) -> Iterator[Finding]:
    carry = handled.carry
    if carry.people < 2 or carry.apart >= ELBOW_ROOM * (1.0 - _ROUNDING):
        return
    yield Finding(
        check="hands",
        severity=Severity.NOTE,
        message=f"Round piece {mark} {carry.people} people stand {carry.apart:.2f} m apart at best; {ELBOW_ROOM:.2f} m "
        "are wanted (common practice, no source).",
        remedy="Use a carrying frame or straps that take hands further out, or make the piece lighter.",
        piece=mark,
        measured=carry.apart,
        limit=ELBOW_ROOM,
        unit="m",
        where=figures.balance,
    )


def _person(mark: str, figures: PieceFigures, handled: Handled, job: Job) -> Iterator[Finding]:
    carry, limit = handled.carry, job.limits.person_lift
    if carry.worst <= limit * (1.0 + _ROUNDING):
        return
    yield Finding(
        check="person_lift",
        severity=Severity.NOTE,
        message=f"Of the {carry.people} who carry piece {mark} one bears {carry.worst:.1f} kg where the workshop's own "
        f"limit is {limit:.4g} kg"
        + (": it does not balance in the middle." if figures.finished_mass <= limit * carry.people else "."),
        remedy="Put two people at the heavy side, use a lifting aid, or have the carry judged by a competent person.",
        piece=mark,
        measured=carry.worst,
        limit=limit,
        unit="kg",
        where=figures.balance,
    )


def _filter(mark: str, figures: PieceFigures, handled: Handled, _: Job) -> Iterator[Finding]:
    """The weight filter is for one person: beside it stands the largest share of a team."""
    carry = handled.carry
    limit = filter_load(CARRY_ZONE, far=True, women=True)
    if carry.people == 0 or carry.worst <= limit * (1.0 + _ROUNDING):
        return
    more = (
        ""
        if carry.people <= LARGEST_TEAM
        else f" For {carry.people} people there is no published factor: it stops at {LARGEST_TEAM}."
    )
    men = filter_load(CARRY_ZONE, far=True, women=False)
    yield Finding(
        check="weight_filter",
        severity=Severity.NOTE,
        message=f"The largest share of piece {mark} is {carry.worst:.1f} kg for {carry.people} "
        f"{'person' if carry.people == 1 else 'people'}; between knuckle and elbow at arm's length the weight filter "
        f"of INDG143 has {limit:.4g} kg (women) and {men:.4g} kg (men), above which it wants a full assessment.{more}",
        remedy="Have the carry assessed by a competent person; carry it closer to the body, or with more people.",
        piece=mark,
        measured=carry.worst,
        limit=limit,
        unit="kg",
        where=figures.balance,
    )


def _lifting(mark: str, figures: PieceFigures, handled: Handled, job: Job) -> Iterator[Finding]:
    if handled.carry.people != 1:
        return
    depth = figures.box[2] if job.limits.any_pose else figures.box[1]
    limit = recommended_load(hands_out(depth), _LIFT_HEIGHT, METRIC.short)
    if limit == 0.0 or figures.finished_mass <= limit:
        return  # out of reach is what the check of reach says
    yield Finding(
        check="lifting",
        severity=Severity.NOTE,
        message=f"Piece {mark} weighs {figures.finished_mass:.1f} kg and is {depth:.2f} m deep: the revised NIOSH "
        f"lifting equation recommends {limit:.1f} kg at most to one person, at the best height, poorly gripped, now "
        "and then.",
        remedy="Let two people lift it, or fit handholds nearer to its middle; a competent person judges the lift.",
        piece=mark,
        measured=figures.finished_mass,
        limit=limit,
        unit="kg",
        where=figures.balance,
    )


def _wind(mark: str, figures: PieceFigures, handled: Handled, job: Job) -> Iterator[Finding]:
    standing = handled.standing
    least = min(standing.slides, standing.tips)
    if "outdoors" not in job.skin.place or least >= GALE or standing.tilt <= 0.0:
        return  # what falls by itself needs no wind
    way = "slides" if standing.slides <= standing.tips else "tips"
    yield Finding(
        check="wind",
        severity=Severity.NOTE,
        message=f"Piece {mark} standing free {way} in a wind of about {least:.1f} m/s by the plain formula (half the "
        f"air's density, drag {DRAG:g} and friction {FRICTION:g}, both assumed): less than a gale. Gusts, lift and "
        "slope are not in it.",
        remedy="Do not leave it standing free; tie or weigh it down as an engineer says.",
        piece=mark,
        measured=least,
        limit=GALE,
        unit="m/s",
        where=figures.balance,
    )
