# SPDX-License-Identifier: GPL-3.0-or-later
"""The tables of the job pack: pieces, joints, take-off."""

from __future__ import annotations

import math

from ..mesh.mesh import BACK, CARVED, KIND_NAMES
from .csv_text import Cell, csv_text
from .record import ContactRecord, JobResult

PIECE_COLUMNS = (
    "mark",
    "build_order",
    "load_order",
    "joints",
    "length_m",
    "width_m",
    "height_m",
    "foam_volume_m3",
    *(f"{name}_area_m2" for name in KIND_NAMES),
    "covering_carved_m2",
    "covering_back_m2",
    "foam_mass_kg",
    "skin_mass_kg",
    "finished_mass_kg",
    "crew",
    "status",
)

JOINT_COLUMNS = (
    "mark",
    "kind",
    "piece_a",
    "piece_b",
    "area_m2",
    "visible_length_m",
    "on_seam_length_m",
    "on_seam_share",
    "furthest_from_seam_m",
    "status",
)

SEEN_COLUMNS = ("seen_length_m", "seen_on_seam_m")
"""Stand before the status where there are viewpoints."""

TAKEOFF_COLUMNS = (
    "item",
    "basis",
    "net_quantity",
    "unit",
    "waste",
    "order_quantity",
    "unit_price",
    "cost",
)


def piece_rows(result: JobResult) -> list[tuple[Cell, ...]]:
    """One row a piece, in the order of the job, under `PIECE_COLUMNS`."""
    return [
        (
            piece.mark,
            *_places(result, k),
            " ".join(piece.joints),
            *piece.figures.box,
            piece.figures.volume,
            *piece.figures.areas,
            piece.figures.covered[CARVED],
            piece.figures.covered[BACK],
            piece.figures.foam_mass,
            piece.figures.skin_mass,
            piece.figures.finished_mass,
            piece.figures.crew,
            piece.status,
        )
        for k, piece in enumerate(result.pieces)
    ]


def _places(result: JobResult, piece: int) -> tuple[int | None, int | None]:
    """Place in the build order and in loading; None where it has none."""
    if result.site is None:
        return None, None
    return result.site.build_place[piece] or None, result.site.load_place[piece] or None


def joint_columns(result: JobResult) -> tuple[str, ...]:
    """Columns of the joints' table: those of `SEEN_COLUMNS` only where the job has viewpoints."""
    if result.seams is None or not result.seams.viewpoints:
        return JOINT_COLUMNS
    return (*JOINT_COLUMNS[:-1], *SEEN_COLUMNS, JOINT_COLUMNS[-1])


def joint_rows(result: JobResult) -> list[tuple[Cell, ...]]:
    """One row for each contact of two pieces, under `joint_columns`; a joint's mark may repeat."""
    seen = len(joint_columns(result)) > len(JOINT_COLUMNS)
    return [
        (
            c.mark,
            c.kind,
            c.piece_a,
            c.piece_b,
            c.area,
            c.visible_length,
            *_seam_cells(c, seen),
            c.status,
        )
        for c in result.contacts
    ]


def _seam_cells(contact: ContactRecord, seen: bool) -> tuple[Cell, ...]:
    """Empty where it was not looked at, where no line is visible, and where there is no seam to be far from."""
    own = contact.seams
    if own is None:
        return (None,) * (3 + len(SEEN_COLUMNS) * seen)
    shown = contact.visible_length > 0.0
    return (
        own.on_seam,
        own.on_seam / contact.visible_length if shown else None,
        own.furthest if shown and math.isfinite(own.furthest) else None,
        *((own.seen, own.seen_on_seam) if seen else ()),
    )


def takeoff_rows(result: JobResult) -> list[tuple[Cell, ...]]:
    """One row for each material, under `TAKEOFF_COLUMNS`; prices are empty where none is known."""
    return [
        (
            line.item,
            line.basis,
            line.net_quantity,
            line.unit,
            line.waste,
            line.order_quantity,
            line.unit_price,
            line.cost,
        )
        for line in result.takeoff
    ]


def pieces_csv(result: JobResult) -> str:
    """``pieces.csv``."""
    return csv_text(PIECE_COLUMNS, piece_rows(result))


def joints_csv(result: JobResult) -> str:
    """``joints.csv``."""
    return csv_text(joint_columns(result), joint_rows(result))


def costs_csv(result: JobResult) -> str:
    """``costs.csv``: one row for each piece and stage; empty where no prices are known."""
    sheet = result.cost
    if sheet is None or sheet.total is None:
        return ""
    rows = [
        (piece.mark, stage, float(cost), sheet.currency)
        for piece, own in zip(result.pieces, sheet.pieces, strict=True)
        for stage, cost in own.items()
    ]
    return csv_text(("mark", "stage", "cost", "currency"), rows)


def takeoff_csv(result: JobResult) -> str:
    """``takeoff.csv``."""
    return csv_text(TAKEOFF_COLUMNS, takeoff_rows(result))
