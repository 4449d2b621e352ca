# SPDX-License-Identifier: GPL-3.0-or-later
"""The clearance in the job record and on the page."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..clearance.check import BodyClearance, Closest
from ..clearance.job_check import KeepClearResult
from .page_parts import Column, Markup, number, section, table
from .record import JobResult


def clearance_json(result: JobResult) -> dict[str, Any] | None:
    """The record of the keep-clear bodies; None where the job has none."""
    found = result.clearance
    if found is None:
        return None
    return {
        "clearance_m": found.rule.clearance,
        "skin_m": found.rule.skin,
        "tolerance_m": found.rule.tolerance,
        "close_fit_m": list(found.rule.fit),
        "bodies": [_body(found, k) for k in range(len(found.bodies))],
        "carve_off": {
            "deepest_m": found.carve.deepest,
            "area_m2": found.carve.area,
            "where": None if found.carve.where is None else list(found.carve.where),
        },
        "gauge_boards": [
            {
                "file": f"gauge-boards/{n}.svg",
                "station_m": board.station,
                "foot": list(board.foot),
                "left": list(board.left),
                "over_m": board.over,
                "outlines": [loop.tolist() for loop in board.outlines],
            }
            for n, board in enumerate(found.boards, 1)
        ],
    }


def _body(found: KeepClearResult, k: int) -> dict[str, Any]:
    body, report = found.bodies[k], found.reports[k]
    aside = report.aside or (None, None)
    return {
        "name": body.name,
        "file": f"keep-clear/{k + 1}.ply",
        "stance": body.stance,
        "place": list(body.rest.place),
        "heading_rad": body.rest.heading,
        "pitch_rad": body.rest.pitch,
        "roll_rad": body.rest.roll,
        "way_m": body.motion.length,
        "facing_area_m2": report.facing_area,
        "close_fit_share": report.fit_share,
        "off_line_left_m": aside[0],
        "off_line_right_m": aside[1],
        "downhill": report.downhill,
        "pieces": [
            {"mark": piece.mark, "at_rest": _closest(piece.rest), "on_the_way": _closest(piece.sweep)}
            for piece in report.pieces
            if piece.sweep is not None
        ],
    }


def _closest(found: Closest | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "foam_distance_m": found.distance,
        "on_piece": list(found.here),
        "on_body": list(found.there),
        "to_go_m": found.to_go,
        "extra_roll_rad": found.pose[1],
        "bounce_m": found.pose[2],
        "sideways_m": found.pose[3],
        "inside": found.inside,
    }


_BODIES = (
    Column("body"),
    Column("how it stands"),
    Column("pitch", "deg", True),
    Column("roll", "deg", True),
    Column("way in", "m", True),
    Column("least, at rest", "mm", True),
    Column("least, on the way", "mm", True),
    Column("close fit", "%", True),
    Column("off line, left / right", "mm"),
)
_BOARDS = (
    Column("board"),
    Column("station", "m", True),
    Column("floor mark", "x, y in m"),
    Column("width x height", "m"),
    Column("foam over the line", "mm", True),
)


def clearance_section(result: JobResult) -> Markup:
    """What must be kept clear: bodies, gauge boards, what to carve off; nothing where the job has no bodies."""
    found = result.clearance
    if found is None:
        return Markup("")
    rule = found.rule
    bodies = [_row(found, k) for k in range(len(found.bodies))]
    boards = []
    for n, board in enumerate(found.boards, 1):
        points = np.concatenate(board.outlines)
        wide, high = np.ptp(points[:, 0]), points[:, 1].max()
        boards.append(
            [
                str(n),
                number(board.station, 3),
                f"{board.foot[0]:.3f}, {board.foot[1]:.3f}",
                f"{wide:.2f} x {high:.2f}",
                number(1000.0 * board.over, 0),
            ]
        )
    parts: list[str] = [
        f"Asked: {1000.0 * rule.clearance:.4g} mm from the finished surface to each body at rest and on its way in. "
        f"All distances here have {1000.0 * rule.skin:.3g} mm of skin taken off; those on the way may be too large by "
        f"{1000.0 * rule.tolerance:.3g} mm. Close fit: share of the carved surface facing the body that lies "
        f"{1000.0 * rule.fit[0]:.4g} to {1000.0 * rule.fit[1]:.4g} mm from it. Whether the body, its supports, ramps "
        "and lashing will do is for competent people to say.",
        table("Keep-clear bodies", _BODIES, bodies),
    ]
    if found.carve.region.any():
        parts.append(
            f"Up to {1000.0 * found.carve.deepest:.0f} mm have to come off, over {found.carve.area:.2f} m\u00b2: see "
            "carve-off.svg, and carve-off.ply with the depth at each vertex. Then check again."
        )
    if boards:
        parts.append(table("Gauge boards", _BOARDS, boards, fit=True))
        parts.append("Drawn at true size in gauge-boards. Foam must not pass the line.")
    return section("clearance", "Clearance", *parts)


def _row(found: KeepClearResult, k: int) -> list[str]:
    body, report, skin = found.bodies[k], found.reports[k], found.rule.skin
    share = report.fit_share
    return [
        body.name,
        body.stance,
        number(float(np.degrees(body.rest.pitch)), 2),
        number(float(np.degrees(body.rest.roll)), 2),
        number(body.motion.length, 2),
        _least(report, False, skin),
        _least(report, True, skin),
        number(None if share is None else 100.0 * share, 0),
        " / ".join("over 1000" if room is None else f"{1000.0 * room:.0f}" for room in report.aside)
        if report.aside is not None
        else "\u2013",
    ]


def _least(report: BodyClearance, way: bool, skin: float) -> str:
    found = [piece.sweep if way else piece.rest for piece in report.pieces]
    least = min((one.distance for one in found if one is not None), default=None)
    return "none near" if least is None else number(1000.0 * (least - skin), 0)
