# SPDX-License-Identifier: GPL-3.0-or-later
"""Sections of the page that are tables: pieces and joints."""

from __future__ import annotations

from ..mesh.mesh import KIND_NAMES
from .page_parts import Column, Markup, number, section, status, table
from .record import JobResult

_AREA = "m\u00b2"
_VOLUME = "m\u00b3"


def pieces_section(result: JobResult) -> Markup:
    """Pieces: handling box, volume, areas, masses, crew, status."""
    if not result.pieces:
        return section("pieces", "Pieces", "There are no pieces.")
    columns = [
        Column("piece"),
        Column("joints"),
        *(Column(name, "m", True) for name in ("length", "width", "height")),
        Column("volume", _VOLUME, True),
        *(Column(name, _AREA, True) for name in KIND_NAMES),
        *(Column(name, "kg", True) for name in ("foam", "skin", "finished")),
        Column("crew", "people", True),
        Column("status"),
    ]
    rows = []
    for piece in result.pieces:
        f = piece.figures
        rows.append(
            [
                piece.mark,
                " ".join(piece.joints) or "\u2013",
                *(number(side, 2) for side in f.box),
                number(f.volume, 3),
                *(number(area, 2) for area in f.areas),
                *(number(mass, 1) for mass in (f.foam_mass, f.skin_mass, f.finished_mass)),
                str(f.crew) if f.crew else f"over {result.job.limits.crew}",
                status(piece.status),
            ]
        )
    sums = [piece.figures for piece in result.pieces]
    total = [
        "all",
        "",
        *("", "", ""),
        number(sum(f.volume for f in sums), 3),
        *(number(sum(f.areas[k] for f in sums), 2) for k in range(len(KIND_NAMES))),
        *(number(sum(getattr(f, m) for f in sums), 1) for m in ("foam_mass", "skin_mass", "finished_mass")),
        "",
        "",
    ]
    pose = "in the smallest pose found" if result.job.limits.any_pose else "with its up kept up"
    returns = [layer.name for layer in result.job.skin.layers if layer.edge_return > 0.0]
    notes = [
        f"Length, width and height are of the handling box: the smallest box round the finished piece {pose}, skin "
        "included. Foam volume is what is left after the gap. Areas are exact, by class of face.",
        *([f"Edge returns ({', '.join(returns)}) are weighed, clipped to their faces."] if returns else []),
        *_covering_note(result),
        *_crumb_note(result),
    ]
    return section("pieces", "Pieces", table("Pieces as carried", columns, rows, total), *notes)


def _covering_note(result: JobResult) -> list[str]:
    """How the area that the skin covers differs from the exact one."""
    bridging = result.job.skin.bridging
    if bridging == 0.0:
        return []
    carved = sum(piece.figures.areas[0] for piece in result.pieces)
    covered = sum(piece.figures.covered[0] for piece in result.pieces)
    return [
        f"Skin is weighed and bought by the area that a laminate covers which bridges {bridging * 1000.0:.4g} mm: "
        f"{covered:.2f} {_AREA} where the exact carved area is {carved:.2f} {_AREA}."
    ]


def _crumb_note(result: JobResult) -> list[str]:
    if not result.crumbs:
        return []
    volume = sum(crumb.volume for crumb in result.crumbs)
    count = len(result.crumbs)
    said = f"{count} crumbs together hold" if count > 1 else "1 crumb holds"
    return [f"{said} {volume:.5f} {_VOLUME}: too small for a piece and in no row above; see pieces/crumbs.ply."]


def joints_section(result: JobResult) -> Markup:
    """Joints: one row for each contact of two pieces, and totals of each joint."""
    if not result.joints:
        return section("joints", "Joints", "There are no joints: the carving stays in one piece.")
    columns = [
        Column("joint"),
        Column("kind"),
        Column("pieces"),
        Column("area", _AREA, True),
        Column("visible line", "m", True),
        Column("status"),
    ]
    one_limb = {joint.mark for joint in result.joints if joint.joint.limb is not None}
    rows = [
        [
            c.mark,
            f"{c.kind}, one limb only" if c.mark in one_limb else c.kind,
            f"{c.piece_a} and {c.piece_b}" if c.piece_a != c.piece_b else f"opens {c.piece_a}",
            number(c.area, 3),
            number(c.visible_length, 2),
            status(c.status),
        ]
        for c in result.contacts
    ]
    parts = [
        table(
            "Contacts of two pieces",
            columns,
            rows,
            [
                "all",
                "",
                "",
                number(sum(c.area for c in result.contacts), 3),
                number(sum(c.visible_length for c in result.contacts), 2),
                "",
            ],
            fit=True,
        )
        if rows
        else "No two pieces face each other across a joint."
    ]
    met = {c.mark for c in result.contacts}
    alone = [joint.mark for joint in result.joints if joint.mark not in met]
    if alone:
        many = len(alone) > 1
        parts.append(f"{'Joints' if many else 'Joint'} {', '.join(alone)} part{'' if many else 's'} no two pieces.")
    parts.append(
        "A joint that parts more than two pieces has a row for each pair. Area and visible line are on the joint's own "
        "surface before the gap, counted once; the visible line is where carved faces meet the joint."
    )
    return section("joints", "Joints", *parts)
