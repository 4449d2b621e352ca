# SPDX-License-Identifier: GPL-3.0-or-later
"""The block-up in tables: ``billets.csv`` and its part of ``job.json``."""

from __future__ import annotations

import math
from typing import Any

from ..blockup.plan import BlockUpPlan
from .csv_text import Cell, csv_text
from .record import JobResult

BILLET_COLUMNS = (
    "mark",
    "course",
    "place_along",
    "place_across",
    "x_m",
    "y_m",
    "z_m",
    "rotation_deg",
    "length_m",
    "width_m",
    "height_m",
    "use",
    "bought_as",
    "cut_from",
    "cut_x_m",
    "cut_y_m",
    "cut_z_m",
    "cut_length_m",
    "cut_width_m",
    "cut_height_m",
)
"""place_along, place_across: from 1, alike in all courses. x, y, z: the billet's lowest corner in job coordinates, its
length along the rotation. bought_as: number of the billet that it is cut from; cut_x to cut_height: where in that one,
and how it lies there."""


def billet_rows(plan: BlockUpPlan) -> list[tuple[Cell, ...]]:
    """One row a billet, course by course, under `BILLET_COLUMNS`."""
    rows: list[tuple[Cell, ...]] = []
    first = [min(billet.cell[axis] for billet in plan.billets) - 1 for axis in (1, 2)]
    corners = plan.layout.to_job([billet.low for billet in plan.billets])
    for billet, corner in zip(plan.billets, corners.tolist(), strict=True):
        course, along, across = billet.cell
        rows.append(
            (
                billet.mark,
                course - plan.courses[0] + 1,
                along - first[0],
                across - first[1],
                *corner,
                math.degrees(plan.layout.rotation),
                *billet.size,
                "whole" if billet.whole else "part",
                billet.cutting.billet + 1,
                "new" if billet.cutting.first else "offcut",
                *billet.cutting.place,
                *billet.cutting.size,
            )
        )
    return rows


def billets_csv(result: JobResult) -> str:
    """``billets.csv``; empty where nothing is known of the block-up."""
    return "" if result.blockup is None else csv_text(BILLET_COLUMNS, billet_rows(result.blockup))


def blockup_json(result: JobResult) -> dict[str, Any] | None:
    """The block-up for machines; None where nothing is known of it."""
    plan = result.blockup
    if plan is None:
        return None
    glue = plan.glue
    return {
        "built": plan.built,
        "origin_m": list(plan.layout.origin),
        "rotation_deg": math.degrees(plan.layout.rotation),
        "billets_bought": plan.bought,
        "fewest_here": plan.fewest_here,
        "fewest": plan.fewest,
        "positions_tried": plan.tried,
        "billets": [dict(zip(BILLET_COLUMNS, row, strict=True)) for row in billet_rows(plan)],
        "glue_area_m2": plan.glue_area,
        "cans": plan.cans(result.job.blockup.can_covers),
        "least_overlap_m": plan.overlap if math.isfinite(plan.overlap) else None,
        "glue_lines": [
            {"kind": ("bed", "butt")[k], "corner_m": corner, "along_m": along, "across_m": across}
            for k, corner, along, across in zip(
                glue.kind.tolist(), glue.corner.tolist(), glue.along.tolist(), glue.across.tolist(), strict=True
            )
        ],
    }
