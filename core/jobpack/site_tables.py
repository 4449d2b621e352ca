# SPDX-License-Identifier: GPL-3.0-or-later
"""Tables for the site: build order, loading, setting-out."""

from __future__ import annotations

import numpy as np

from ..logistics.load_plan import Stand
from .csv_text import Cell, csv_text
from .record import JobResult

BUILD_COLUMNS = (
    "build_order",
    "piece",
    "comes",
    "way_in_x",
    "way_in_y",
    "way_in_z",
    "rests_on",
    "closes_joints",
    "propped",
    "finished_mass_kg",
    "crew",
    "load_order",
)

LOADING_COLUMNS = (
    "load",
    "load_order",
    "piece",
    "from_front_m",
    "from_left_m",
    "along_m",
    "across_m",
    "height_m",
    "finished_mass_kg",
    "build_order",
)

SETOUT_COLUMNS = (
    "joint",
    "point",
    "run",
    "where",
    "height_m",
    "way",
    "mark_a",
    "distance_a_m",
    "mark_b",
    "distance_b_m",
    "worst_off_m",
    "x_m",
    "y_m",
    "z_m",
)


def build_rows(result: JobResult) -> list[tuple[Cell, ...]]:
    """One row for each step, first built first, under `BUILD_COLUMNS`; nothing where the record has no site work."""
    site = result.site
    if site is None:
        return []
    rows: list[tuple[Cell, ...]] = []
    for place, step in enumerate(site.build):
        piece = result.pieces[step.piece]
        rows.append(
            (
                place + 1,
                piece.mark,
                step.comes,
                *step.way_in,
                " ".join(result.pieces[k].mark for k in step.rests_on),
                " ".join(result.joints[j].mark for j in step.meets),
                "yes" if step.piece in site.propped else "no",
                piece.figures.finished_mass,
                piece.figures.crew,
                site.load_place[step.piece] or None,
            )
        )
    return rows


def loading_rows(result: JobResult) -> list[tuple[Cell, ...]]:
    """One row for each piece in the order of going in, under `LOADING_COLUMNS`."""
    site = result.site
    if site is None:
        return []
    at = {piece.mark: k for k, piece in enumerate(result.pieces)}
    return [_stand(s, site.load_place[at[s.mark]], site.build_place[at[s.mark]]) for s in site.load.stands]


def _stand(s: Stand, load_order: int, build_order: int) -> tuple[Cell, ...]:
    return (s.load, load_order, s.mark, s.x, s.y, s.along, s.across, s.height, s.mass, build_order or None)


def setout_rows(result: JobResult) -> list[tuple[Cell, ...]]:
    """One row for each point, joint by joint, under `SETOUT_COLUMNS`; distances and heights are those on site."""
    site = result.site
    if site is None:
        return []
    return [
        (
            result.joints[s.joint].mark,
            s.number,
            s.run or None,
            s.where,
            s.height,
            s.way,
            site.datum[s.marks[0]].name,
            s.distances[0],
            site.datum[s.marks[1]].name,
            s.distances[1],
            s.worst,
            *(float(v) for v in np.asarray(s.point)),
        )
        for s in site.settings
    ]


def build_order_csv(result: JobResult) -> str:
    """``build_order.csv``."""
    return csv_text(BUILD_COLUMNS, build_rows(result))


def loading_csv(result: JobResult) -> str:
    """``loading.csv``."""
    return csv_text(LOADING_COLUMNS, loading_rows(result))


def setout_csv(result: JobResult) -> str:
    """``setout.csv``."""
    return csv_text(SETOUT_COLUMNS, setout_rows(result))
