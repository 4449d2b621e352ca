# SPDX-License-Identifier: GPL-3.0-or-later
"""Checks of one piece against the limits of the job and the published carry rules."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from ..findings import Finding, Severity
from ..job import Job
from .crew import LARGEST_TEAM, crew_for, team_limit
from .figures import PieceFigures
from .one_billet import check_size

_ROUNDING: Final = 1e-9
"""Share by which a measure may pass its limit before it counts: a piece made to the limit must not fail by rounding."""

_FARTHEST_HANDS: Final = 0.63
"""Metres from the ankles to the hands past which the revised lifting equation recommends no load at all."""

REACH: Final = 2.0 * (_FARTHEST_HANDS - 0.20)
"""Deepest load in metres that keeps the hands within that, lifted from 25 cm or higher: hands at 20 cm + depth / 2."""

REACH_LOW: Final = 2.0 * (_FARTHEST_HANDS - 0.25)
"""The same, lifted from below 25 cm: hands at 25 cm + depth / 2.

Both from the Applications Manual for the Revised NIOSH Lifting Equation, DHHS (NIOSH) 94-110, read in a transcription.
"""


def check_piece(mark: str, figures: PieceFigures, job: Job) -> list[Finding]:
    """Check a piece: errors first, then warnings, then notes.

    Parameters
    ----------
    mark : the piece's number.
    figures : its measures, from `measure_piece` with the same job.
    job : its limits are read.

    Returns
    -------
    list of Finding
        ``piece_mass``, ``piece_size`` and ``within_billet`` (errors), ``doorway`` (warning), ``crew`` and ``reach``
        (notes: published rules, which bound nothing). Of a block-up that is known `one_billet.check_place` tells.
    """
    checks = (_mass, _size, _billet, _doorway, _crew, _reach)
    return [finding for check in checks for finding in check(mark, figures, job)]


def within_limits(figures: PieceFigures, job: Job) -> bool:
    """Whether a piece passes the checks that bound planning: mass, size, and that it comes out of one billet."""
    return not any(next(check("", figures, job), None) for check in (_mass, _size, _billet))


def _over(measured: float, limit: float) -> bool:
    return measured > limit * (1.0 + _ROUNDING)


def _mass(mark: str, figures: PieceFigures, job: Job) -> Iterator[Finding]:
    limit = job.limits.piece_mass
    if not _over(figures.finished_mass, limit):
        return
    over = figures.finished_mass - limit
    yield Finding(
        check="piece_mass",
        severity=Severity.ERROR,
        message=f"Piece {mark} weighs {figures.finished_mass:.1f} kg finished ({figures.foam_mass:.1f} kg foam and "
        f"{figures.skin_mass:.1f} kg skin), {over:.3g} kg over the limit of {limit:.4g} kg.",
        remedy="Cut it once more, move a joint towards its middle, or make its skin lighter.",
        piece=mark,
        measured=figures.finished_mass,
        limit=limit,
        unit="kg",
        where=figures.centroid,
    )


def _size(mark: str, figures: PieceFigures, job: Job) -> Iterator[Finding]:
    limits = size_limits(job)
    worst = max(range(3), key=lambda axis: figures.box[axis] / limits[axis])
    if not _over(figures.box[worst], limits[worst]):
        return
    too_big = [
        f"{name} {side:.3f} m over {limit:.3f} m by {(side - limit) * 1000.0:.3g} mm"
        for name, side, limit in zip(("length", "width", "height"), figures.box, limits, strict=True)
        if _over(side, limit)
    ]
    remedy = f"Cut it across its {('length', 'width', 'height')[worst]}"
    if not job.limits.any_pose:
        remedy += ", or allow any pose if it may travel lying or tipped"
    yield Finding(
        check="piece_size",
        severity=Severity.ERROR,
        message=f"Piece {mark} is too big as carried ({_sides(figures.box)}): {'; '.join(too_big)}.",
        remedy=remedy + ".",
        piece=mark,
        measured=figures.box[worst],
        limit=limits[worst],
        unit="m",
        where=figures.centroid,
    )


def _billet(mark: str, figures: PieceFigures, job: Job) -> Iterator[Finding]:
    if figures.foam_box:
        long, middle, short = figures.foam_box
        yield from check_size(mark, (long, middle, short), figures.centroid, job)


def size_limits(job: Job) -> tuple[float, float, float]:
    """Limits for length, width and height of a box: heights compare with heights unless any pose is allowed."""
    first, second, height = job.size_limit
    if job.limits.any_pose:
        small, middle, large = sorted((first, second, height))
        return large, middle, small
    return max(first, second), min(first, second), height


def _doorway(mark: str, figures: PieceFigures, job: Job) -> Iterator[Finding]:
    room = job.limits.hand_room
    clear = [side - 2.0 * room for side in job.limits.doorway]
    # End on: the length points through the door. Upright, width meets width; in any pose the smaller meets the smaller.
    face: Sequence[float] = figures.box[1:]
    if job.limits.any_pose:
        face, clear = sorted(face), sorted(clear)
    worst = max((0, 1), key=lambda axis: face[axis] - clear[axis])
    if face[worst] <= clear[worst] * (1.0 + _ROUNDING):
        return
    wide, high = job.limits.doorway
    yield Finding(
        check="doorway",
        severity=Severity.WARNING,
        message=f"Piece {mark} shows {figures.box[1]:.3f} x {figures.box[2]:.3f} m end on; the doorway of {wide:.3f} x "
        f"{high:.3f} m less {room * 1000.0:.4g} mm for hands on each side leaves {max(wide - 2.0 * room, 0.0):.3f} x "
        f"{max(high - 2.0 * room, 0.0):.3f} m.",
        remedy="Cut it smaller, find a wider way in, or tip it if it may be carried so.",
        piece=mark,
        measured=face[worst],
        limit=max(clear[worst], 0.0),
        unit="m",
        where=figures.centroid,
    )


def _crew(mark: str, figures: PieceFigures, job: Job) -> Iterator[Finding]:
    if crew_for(figures.finished_mass, job):
        return
    people = min(job.limits.crew, LARGEST_TEAM)
    limit = team_limit([job.limits.person_lift] * people) if people > 0 else 0.0
    yield Finding(
        check="crew",
        severity=Severity.NOTE,
        message=f"Piece {mark} weighs {figures.finished_mass:.1f} kg; by the published team rule {people} "
        f"{'person' if people == 1 else 'people'} who each lift {job.limits.person_lift:.4g} kg lift {limit:.1f} kg "
        "together.",
        remedy="Carry it with a lifting aid, make it lighter, or have the carry judged by a competent person.",
        piece=mark,
        measured=figures.finished_mass,
        limit=limit,
        unit="kg",
        where=figures.centroid,
    )


def _reach(mark: str, figures: PieceFigures, job: Job) -> Iterator[Finding]:
    depth = figures.box[2] if job.limits.any_pose else figures.box[1]
    if not _over(depth, REACH_LOW):
        return
    far = _over(depth, REACH)
    yield Finding(
        check="reach",
        severity=Severity.NOTE,
        message=f"Piece {mark} is {depth:.3f} m deep; by the revised NIOSH lifting equation one person lifting it "
        f"from the front {'' if far else 'from below 0.25 m '}has the hands past {_FARTHEST_HANDS:.2f} m, where no "
        f"load is recommended (deepest: {REACH if far else REACH_LOW:.2f} m). Team carries are outside that equation.",
        remedy="Carry it from its ends or sides with more people, fit handholds, or use a lifting aid.",
        piece=mark,
        measured=depth,
        limit=REACH if far else REACH_LOW,
        unit="m",
        where=figures.centroid,
    )


def _sides(box: tuple[float, float, float]) -> str:
    return " x ".join(f"{side:.3f}" for side in box) + " m"
