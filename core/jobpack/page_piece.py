# SPDX-License-Identifier: GPL-3.0-or-later
"""A page for each piece: views with sizes, figures, faces and neighbours, findings, and a tick for each stage."""

from __future__ import annotations

import math

from ..mesh.mesh import KIND_NAMES
from .outline import Seen
from .page_parts import Column, Markup, escape, facts, number, powers, status, table
from .record import JobResult, PieceRecord
from .views import piece_views, plan_view, small_plan


def piece_sheets(result: JobResult) -> Markup:
    """All pieces, a page each."""
    plan = plan_view(result, "from above")
    sheets = "".join(_sheet(result, plan, k, piece) for k, piece in enumerate(result.pieces))
    return Markup(f'<section id="piece-by-piece"><h2>Piece by piece</h2>\n{sheets}</section>\n')


def _sheet(result: JobResult, plan: Seen, place: int, piece: PieceRecord) -> Markup:
    f, limits = piece.figures, result.job.limits
    crew = f"{f.crew}" if f.crew else f"over {limits.crew}"
    site = result.site
    order = ""
    if site is not None:
        built, loaded = (places[place] or "none" for places in (site.build_place, site.load_place))
        comes = next((f" ({step.comes})" for step in site.build if step.piece == place), "")
        order = f"built as {built}{comes}, loaded as {loaded}"
    sides, above = piece_views(result, piece)
    figures = facts(
        [
            ("Finished mass", f"{f.finished_mass:.1f} kg", f"{f.foam_mass:.1f} kg foam, {f.skin_mass:.1f} kg skin"),
            ("Crew by the rule", f"{crew}", order),
            ("Handling box", " x ".join(f"{side:.2f}" for side in f.box) + " m", "skin included"),
        ]
    )
    return Markup(
        f'<article class="sheet"><h3 class="piece">Piece {escape(piece.mark)} <span>of {len(result.pieces)}</span> '
        f"{status(piece.status)}</h3>\n{figures}{sides}"
        f'<div class="twin"><div>{above}{small_plan(result, plan, piece.mark, (78.0, 42.0))}</div>'
        f"<div>{_neighbours(result, piece)}{_areas(piece)}{_found(result, piece)}</div></div>\n"
        f"{_cautions(result, place, piece)}{_stages(result)}</article>\n"
    )


def _neighbours(result: JobResult, piece: PieceRecord) -> Markup:
    rows = []
    for c in result.contacts:
        if piece.mark in (c.piece_a, c.piece_b):
            other = c.piece_b if c.piece_a == piece.mark else c.piece_a
            rows.append(
                [c.mark, other if other != piece.mark else "itself", number(c.area, 3), number(c.visible_length, 2)]
            )
    if not rows:
        return Markup("<p>It meets no other piece.</p>\n")
    columns = (Column("joint"), Column("to piece"), Column("area", "m\u00b2", True), Column("visible line", "m", True))
    return table("Faces and neighbours", columns, rows)


def _areas(piece: PieceRecord) -> Markup:
    rows = [
        [name, number(piece.figures.areas[k], 2)] for k, name in enumerate(KIND_NAMES) if piece.figures.areas[k] > 0
    ]
    rows.append(["foam volume (m\u00b3)", number(piece.figures.volume, 3)])
    return table("Exact areas", (Column("face"), Column("area", "m\u00b2", True)), rows)


def _found(result: JobResult, piece: PieceRecord) -> Markup:
    found = [f for f in result.findings if f.piece == piece.mark]
    if not found:
        return Markup("<p>No check found anything on this piece.</p>\n")
    items = "".join(f"<li>{status(f.severity.value)} {escape(powers(f.message))}</li>" for f in found[:_MOST])
    more = f"<li>and {len(found) - _MOST} more in findings.json</li>" if len(found) > _MOST else ""
    return Markup(f'<ul class="found">{items}{more}</ul>\n')


def _cautions(result: JobResult, place: int, piece: PieceRecord) -> Markup:
    """What can hurt with this piece in hand, in a line."""
    said = []
    if piece.status == "error":
        said.append("an error stands against this piece: settle it before it is carried")
    crew = piece.figures.crew
    if not crew:
        said.append(
            f"too heavy for the crew of {result.job.limits.crew} by the rule: a lifting aid, or cut it once more"
        )
    elif crew > 1:
        said.append(f"{crew} people lift it, one leads")
    if piece.handled is not None:
        said.append(f"by itself it falls when tilted {math.degrees(piece.handled.standing.tilt):.0f} degrees")
    if result.site is not None and place in result.site.propped:
        said.append("held up on a stand until what it rests on is there")
    said.append("its mass is reckoned: weigh it first; wire, resin, dust and wind: see Cautions")
    return Markup(f'<p class="key"><b>Take care:</b> {escape("; ".join(said))}.</p>\n')


_MOST = 5
"""Findings shown on a piece's page, so that it stays one page."""


def _stages(result: JobResult) -> Markup:
    """A tick box for each stage of work, from the wire to the site."""
    names = [
        "set out",
        "cut",
        *(["crumbs glued back"] if result.crumbs else []),
        "dry-fitted",
        *(layer.name for layer in result.job.skin.layers),
        "dry-fitted again",
        "marks renewed",
        "weighed: ______ kg",
        "loaded",
        "set down",
        "built in",
    ]
    boxes = "".join(f"<li>{escape(name)}</li>" for name in names)
    return Markup(f'<ul class="stages">{boxes}</ul>\n')
