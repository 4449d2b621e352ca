# SPDX-License-Identifier: GPL-3.0-or-later
"""A page for each piece: views with sizes, figures, faces and neighbours, findings, and a tick for each stage."""

from __future__ import annotations

from ..mesh.mesh import KIND_NAMES
from .outline import Seen
from .page_parts import Column, Markup, escape, facts, number, status, table
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
        order = f"built as {built}, goes in as {loaded}"
    figures = facts(
        [
            ("Finished mass", f"{f.finished_mass:.1f} kg", f"{f.foam_mass:.1f} kg foam, {f.skin_mass:.1f} kg skin"),
            ("Crew by the rule", f"{crew}", order),
            ("Handling box", " x ".join(f"{side:.2f}" for side in f.box) + " m", "skin included"),
        ]
    )
    return Markup(
        f'<article class="sheet"><h3 class="piece">Piece {escape(piece.mark)} <span>of {len(result.pieces)}</span> '
        f"{status(piece.status)}</h3>\n{figures}{piece_views(result, piece)}"
        f'<div class="twin"><div>{small_plan(result, plan, piece.mark, (78.0, 42.0))}{_areas(piece)}</div>'
        f"<div>{_neighbours(result, piece)}{_found(result, piece)}</div></div>\n{_stages(result)}</article>\n"
    )


def _neighbours(result: JobResult, piece: PieceRecord) -> Markup:
    rows = []
    for c in result.contacts:
        if piece.mark in (c.piece_a, c.piece_b):
            other = c.piece_b if c.piece_a == piece.mark else c.piece_a
            rows.append([c.mark, other, number(c.area, 3), number(c.visible_length, 2)])
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
    items = "".join(f"<li>{status(f.severity.value)} {escape(f.message)}</li>" for f in found[:_MOST])
    more = f"<li>and {len(found) - _MOST} more in findings.json</li>" if len(found) > _MOST else ""
    return Markup(f'<ul class="found">{items}{more}</ul>\n')


_MOST = 5
"""Findings shown on a piece's page, so that it stays one page."""


def _stages(result: JobResult) -> Markup:
    """A tick box for each stage of work, from the wire to the site."""
    names = [
        "set out",
        "cut",
        "crumbs glued back",
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
