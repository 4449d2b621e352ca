# SPDX-License-Identifier: GPL-3.0-or-later
"""``job-pack.html``: the job on one printable page that needs nothing beside it."""

from __future__ import annotations

from collections.abc import Mapping

from ..skin.depth import growth
from .drawing import clean_text
from .page_blockup import blockup_section
from .page_checks import cautions_section, findings_section
from .page_clearance import clearance_section
from .page_handling import handling_section
from .page_parts import Markup, escape, facts, number, picture, powers, section
from .page_piece import piece_sheets
from .page_road import load_section, packing_section
from .page_site import (
    build_section,
    cutting_section,
    key_plan_section,
    labels_section,
    setting_out_section,
    sign_off_section,
)
from .page_style import STYLE
from .page_tables import joints_section, pieces_section
from .page_takeoff import takeoff_section
from .record import JobResult, PieceRecord
from .shots import SIGN_OFF

_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"
_MOST_BARS = 60


def job_page(result: JobResult, pictures: Mapping[str, bytes]) -> str:
    """The page as HTML text: from the summary to the cautions.

    Parameters
    ----------
    result : a finished job.
    pictures : name -> PNG; embedded in the order of their names.

    Raises
    ------
    InputError
        A picture that is not a PNG.
    """
    title = result.job.title
    signed = {name: png for name, png in pictures.items() if name.startswith(SIGN_OFF)}
    others = {name: png for name, png in pictures.items() if name not in signed}
    site = result.site
    parts = {
        "Summary": _summary(result),
        "Pictures": _pictures(others),
        "Findings": findings_section(result),
        "Key plan": key_plan_section(result) if site else "",
        "Pieces": pieces_section(result),
        "Piece by piece": piece_sheets(result) if site else "",
        "Handling": handling_section(result),
        "Joints": joints_section(result),
        "Block-up": blockup_section(result),
        "Clearance": clearance_section(result),
        "Setting-out": setting_out_section(result, site) if site else "",
        "Cutting order": cutting_section(result, site) if site else "",
        "Build order": build_section(result, site) if site else "",
        "Loading": load_section(result, site) if site else "",
        "Packing": packing_section(result, site) if site else "",
        "Take-off": takeoff_section(result),
        "Labels": labels_section(result, site) if site else "",
        "Sign-off": sign_off_section(result, {n: picture(n, png) for n, png in signed.items()}) if site else "",
        "Cautions": cautions_section(result.job),
    }
    parts = {name: part for name, part in parts.items() if part}
    links = " ".join(f'<a href="#{anchor(name)}">{name}</a>' for name in parts)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)} - job "
        f"pack</title>\n<style>{STYLE}{_print_foot(title)}</style>\n</head>\n<body>\n"
        f"<header><h1>{escape(title)}</h1><p>Job pack. Lengths "
        "in metres, masses in kilograms, positions in job coordinates, z "
        f"up.</p><nav>{links}</nav></header>\n<main>\n{''.join(parts.values())}</main>\n</body>\n</html>\n"
    )


def anchor(name: str) -> str:
    """The place of a section on the page."""
    return name.lower().replace(" ", "-")


def _summary(result: JobResult) -> Markup:
    figures = [piece.figures for piece in result.pieces]
    finished, foam, skin = (
        sum(getattr(f, name) for f in figures) for name in ("finished_mass", "foam_mass", "skin_mass")
    )
    heaviest = max(result.pieces, key=lambda piece: piece.figures.finished_mass, default=None)
    limit = result.job.limits.piece_mass
    crumbs = sum(crumb.volume for crumb in result.crumbs)
    pairs = [
        ("Pieces", str(len(figures)), _status_count(result.pieces) if result.pieces else ""),
        ("Finished mass, all pieces", f"{finished:.1f} kg", f"{foam:.1f} kg foam and {skin:.1f} kg skin"),
        (
            "Heaviest piece",
            "none" if heaviest is None else f"{heaviest.figures.finished_mass:.1f} kg",
            "" if heaviest is None else f"piece {heaviest.mark}; limit {limit:.4g} kg",
        ),
        ("Carving", f"{result.carving_volume:.3f} m\u00b3", f"{result.carving_area:.2f} m\u00b2 carved, exact area"),
        (
            "Joints",
            str(len(result.joints)),
            _line_words(result),
        ),
        (
            "Gap between joint faces",
            f"{result.gap * 1000.0:.1f} mm",
            _allowance(result)
            + f"takes {result.taken_volume:.4f} m\u00b3"
            + (f"; crumbs ({len(result.crumbs)}): {crumbs:.4f} m\u00b3" if result.crumbs else ""),
        ),
    ]
    plan = powers(result.plan.text or "Nothing was said about how the joints came about.")
    if result.plan.kind == "planned":
        plan = f"How the joints were planned: {plan}"
    return section("summary", "Summary", facts(pairs), plan, _reasons(result), _mass_bars(result.pieces, limit))


def _reasons(result: JobResult) -> Markup:
    """Why each joint runs where it does."""
    said = [
        f"<li>Joint {escape(record.mark)}: {escape(powers(reason))}.</li>"
        for record, reason in zip(result.joints, result.plan.reasons, strict=False)
    ]
    if not said:
        return Markup("")
    key = "Why each joint runs where it does; masses to a few percent, with the skin on the new faces."
    return Markup(f'<p class="key">{key}</p><ul class="reasons">{"".join(said)}</ul>\n')


def _line_words(result: JobResult) -> str:
    """How long the visible joints are, and how much of that keeps to seams."""
    length = sum(joint.visible_length for joint in result.joints)
    seams = [joint.seams for joint in result.joints if joint.seams is not None]
    share = f", {sum(s.on_seam for s in seams) / length:.0%} of it on seams" if seams and length > 0.0 else ""
    return f"{length:.2f} m of joint line on the carved surface{share}"


def _print_foot(title: str) -> str:
    """Title and number of the page in print; every character of the title but plain ones as its code."""
    short = title if len(title) <= 60 else title[:57] + "..."
    plain = "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in clean_text(short))
    return (
        f'@page {{ @bottom-left {{ content: "{plain}"; {_FOOT} }} '
        f'@bottom-right {{ content: "page " counter(page) " of " counter(pages); {_FOOT} }} }}'
    )


_FOOT = "font: 7.5pt Helvetica, Arial, 'Liberation Sans', sans-serif; color: #5b666e;"


def _allowance(result: JobResult) -> str:
    """How the room for the skin comes about."""
    if result.job.joints.allowance == "grow":
        return f"kerf alone, pieces then {growth(result.job) * 1000.0:.1f} mm further apart; "
    return "half of it off each face; "


def _status_count(pieces: tuple[PieceRecord, ...]) -> str:
    counts = {word: sum(piece.status == word for piece in pieces) for word in ("error", "warning")}
    said = [f"{count} with {word}" + ("s" if count > 1 else "") for word, count in counts.items() if count]
    return ", ".join(said) if said else "none with an error or a warning"


def _mass_bars(pieces: tuple[PieceRecord, ...], limit: float) -> Markup:
    """Finished mass of each piece as a bar with the limit as a line across."""
    if not pieces or len(pieces) > _MOST_BARS:
        return Markup("")
    full = max(limit, *(piece.figures.finished_mass for piece in pieces)) * 1.02
    if full <= 0.0:
        return Markup("")
    line = f'<i class="limit" style="left:{100.0 * limit / full:.2f}%"></i>'
    rows = []
    for piece in pieces:
        mass = piece.figures.finished_mass
        within, over = (100.0 * part / full for part in (min(mass, limit), max(mass - limit, 0.0)))
        rows.append(
            f"<span>{escape(piece.mark)}</span>"
            f'<span class="track"><i class="bar" style="left:0;width:{within:.2f}%"></i>'
            f'<i class="bar over" style="left:{within:.2f}%;width:{over:.2f}%"></i>{line}</span>'
            f'<span class="n">{number(mass, 1)} kg</span>'
        )
    words = f"Finished mass of each piece; the line across is the limit of {limit:.4g} kg, what is over it is hatched."
    return Markup(f'<p class="key">{escape(words)}</p><div class="bars">{"".join(rows)}</div>\n')


def _pictures(pictures: Mapping[str, bytes]) -> Markup:
    if not pictures:
        return section("pictures", "Pictures", "No pictures were made for this pack.")
    figures = "".join(picture(name, pictures[name]) for name in sorted(pictures))
    return section("pictures", "Pictures", Markup(f'<div class="pictures">{figures}</div>\n'))
