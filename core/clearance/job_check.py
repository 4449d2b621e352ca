# SPDX-License-Identifier: GPL-3.0-or-later
"""The clearance of a whole job: every piece against every keep-clear body, what to carve off, gauge boards."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..errors import Progress
from ..findings import Finding, Severity
from ..job import FACES, Job
from ..mesh.mesh import Mesh
from ..skin.depth import skin_depth
from .boards import GaugeBoard, even_stations, gauge_board
from .body import Body
from .carve_off import CarveOff, carve_off
from .check import BodyClearance, Closest, PieceClearance, Rule, check_body
from .job_bodies import Placed, place_bodies

_MOST_BOARDS: Final = 40
"""Gauge boards at most: more is a slip of the pen in the spacing, and each takes a second or more."""


@dataclass(frozen=True, eq=False)
class KeepClearResult:
    """What was found.

    Attributes
    ----------
    rule : what was asked. bodies : as they stand and move. reports : of each. carve : what has to come off the carving.
    boards : in the order of their stations.
    """

    rule: Rule
    bodies: tuple[Body, ...]
    reports: tuple[BodyClearance, ...]
    carve: CarveOff
    boards: tuple[GaugeBoard, ...]

    @property
    def nearest(self) -> tuple[BodyClearance, PieceClearance, Closest] | None:
        """Where anything comes nearest to anything, on the way or at rest; None: nothing within reach."""
        found = [
            (report, piece, piece.sweep)
            for report in self.reports
            for piece in report.pieces
            if piece.sweep is not None
        ]
        return min(found, key=lambda row: row[2].distance, default=None)


def rule_of(job: Job) -> Rule:
    """What the job asks of the clearance. The skin counts with its thickness where it is thickest."""
    settings = job.keep_clear
    return Rule(
        clearance=settings.clearance,
        skin=max(skin_depth(job, face) for face in FACES if face != "base"),
        fit=settings.close_fit,
        facing=settings.facing,
        tolerance=settings.tolerance,
    )


def check_keep_clear(
    job: Job,
    carving: Mesh,
    parts: Sequence[tuple[str, Mesh]],
    meshes: Mapping[str, Mesh],
    progress: Progress | None = None,
) -> tuple[KeepClearResult | None, list[Finding]]:
    """As `check_placed`, of bodies that are still to be placed; `meshes`: of each file that they come from.

    Raises
    ------
    JobError
        A body that cannot be made or stood.
    """
    return check_placed(job, carving, parts, place_bodies(job.keep_clear, meshes), progress)


def check_placed(
    job: Job, carving: Mesh, parts: Sequence[tuple[str, Mesh]], placed: Placed, progress: Progress | None = None
) -> tuple[KeepClearResult | None, list[Finding]]:
    """Check all pieces against all keep-clear bodies of a job.

    Parameters
    ----------
    job : its settings. carving : uncut, metres, job coordinates.
    parts : mark and mesh of each piece; a carving that is not cut yet is one part with an empty mark.
    placed : the bodies as `place_bodies` stands them.
    progress : told the share done; may raise `Cancelled`.

    Returns
    -------
    KeepClearResult or None, list of Finding
        None where the job has no keep-clear bodies. Errors ``contact`` and ``clearance``; a warning ``stance``
        where it is ambiguous; notes ``close_fit``, ``off_line`` and ``open_body``.
    """
    if not placed.bodies:
        return None, []
    rule, count = rule_of(job), len(placed.bodies)

    def say(share: float, text: str) -> None:
        if progress is not None:
            progress(share, text)

    reports = []
    for k, body in enumerate(placed.bodies):
        share, text = 0.5 * k / count, f"clearance of {body.name}"
        say(share, text)
        reports.append(check_body(parts, body, rule, heed=lambda share=share, text=text: say(share, text)))  # type: ignore[misc]
    findings = [
        Finding(
            "stance",
            Severity.WARNING,
            f"The {name} {text}.",
            "Measure its centre of gravity, block up the pad that hangs, or stand it on three points.",
        )
        for name, text in placed.unsure
    ]
    for body, report in zip(placed.bodies, reports, strict=True):
        findings += _of_body(body, report, rule)
    if any(finding.severity is Severity.ERROR for finding in findings):
        say(0.5, "depth to carve off")
        carve = carve_off(carving, placed.bodies, rule.foam, rule.tolerance, lambda: say(0.5, "depth to carve off"))
    else:
        nothing = np.zeros(len(carving.triangles), dtype=bool)
        carve = CarveOff(np.zeros(len(carving.vertices)), nothing, 0.0, 0.0, None)
    boards = []
    stations = _stations(job, placed.bodies) if rule.foam > 0.0 else ()
    for k, station in enumerate(stations):
        share = 0.6 + 0.4 * k / len(stations)
        say(share, "gauge boards")
        board = gauge_board(
            placed.bodies,
            station,
            rule.foam,
            carving,
            0.5 * rule.tolerance,
            lambda share=share: say(share, "gauge boards"),  # type: ignore[misc]
        )
        boards += [board] if board is not None else []
    return KeepClearResult(rule, placed.bodies, tuple(reports), carve, tuple(boards)), findings


def _stations(job: Job, bodies: Sequence[Body]) -> tuple[float, ...]:
    settings = job.keep_clear
    even = even_stations(bodies, settings.boards) if settings.boards > 0.0 else ()
    return tuple(sorted({*even[:_MOST_BOARDS], *settings.stations}))


def _of_body(body: Body, report: BodyClearance, rule: Rule) -> list[Finding]:
    out = []
    for piece in report.pieces:
        worst = piece.sweep
        if worst is not None and (worst.distance <= 0.0 or worst.distance - rule.skin < rule.clearance - 1e-9):
            out.append(_too_near(report, piece, worst, rule))
    if report.fit_share is not None:
        low, high = (f"{1000.0 * value:.4g}" for value in rule.fit)
        out.append(
            Finding(
                "close_fit",
                Severity.NOTE,
                f"Of {report.facing_area:.2f} m2 of carved surface that faces the {report.name} as it stands, "
                f"{100.0 * report.fit_share:.0f} % lies {low} mm to {high} mm from it, skin counted.",
                measured=report.fit_share,
            )
        )
    if report.aside is not None:
        out.append(_off_line(report))
    if not body.closed:
        out.append(
            Finding(
                "open_body",
                Severity.NOTE,
                f"The surface of the {report.name} is open: whether foam lies wholly inside it cannot be told.",
                "Give a closed mesh where that could be.",
            )
        )
    return out


def _too_near(report: BodyClearance, piece: PieceClearance, worst: Closest, rule: Rule) -> Finding:
    x, y, z = worst.here
    who = f"Piece {piece.mark}" if piece.mark else "The carving"
    when = f"{worst.to_go:.2f} m before it stands" if worst.to_go > 0.0005 else "as it stands"
    extra = _extras(worst)
    place = f"at ({x:.2f}, {y:.2f}, {z:.2f}) m"
    gap = worst.distance - rule.skin
    remedy = (
        "Take off what the carve-off map and the gauge boards show, or change the stance or the way in; check again."
    )
    if worst.inside:
        what = f"{who} and the {report.name} lie one inside the other, {place}"
    elif worst.distance <= 0.0:
        what = f"{who} and the {report.name} meet {when}{extra}, {place}"
    elif gap <= 0.0:
        what = (
            f"{who} comes within {1000.0 * worst.distance:.3g} mm of the {report.name} {when}{extra}, {place}; its "
            f"skin of {1000.0 * rule.skin:.3g} mm would touch it"
        )
    else:
        what = (
            f"{who} comes within {1000.0 * gap:.3g} mm of the {report.name} {when}{extra}, {place}, its skin of "
            f"{1000.0 * rule.skin:.3g} mm counted: {1000.0 * (rule.clearance - gap):.3g} mm less than the clearance of "
            f"{1000.0 * rule.clearance:.4g} mm"
        )
    return Finding(
        check="contact" if gap <= 0.0 else "clearance",
        severity=Severity.ERROR,
        message=f"{what}.",
        remedy=remedy,
        piece=piece.mark,
        measured=max(gap, 0.0),
        limit=rule.clearance,
        unit="m",
        where=worst.here,
    )


def _extras(worst: Closest) -> str:
    """What came on top in the pose, in words."""
    _, roll, bounce, side = worst.pose
    parts = []
    if roll:
        parts.append(f"rolled {abs(np.degrees(roll)):.2g} deg to the {'right' if roll > 0.0 else 'left'}")
    if bounce:
        parts.append(f"bounced {1000.0 * abs(bounce):.3g} mm {'up' if bounce > 0.0 else 'down'}")
    if side:
        parts.append(f"{1000.0 * abs(side):.3g} mm off line to the {'left' if side > 0.0 else 'right'}")
    return f", {', '.join(parts)}" if parts else ""


def _off_line(report: BodyClearance) -> Finding:
    said = []
    least: float | None = None
    for side, room in zip(("left", "right"), report.aside or (), strict=True):
        slope = "" if not report.downhill else " (downhill)" if side == report.downhill else " (uphill)"
        said.append(f"{f'{1000.0 * room:.0f} mm' if room is not None else 'over 1 m'} to the {side}{slope}")
        least = room if least is None else least if room is None else min(room, least)
    return Finding(
        "off_line",
        Severity.NOTE,
        f"The {report.name} may come in off line by {' or '.join(said)} before the finished surface is touched.",
        measured=least,
        unit="m",
    )
