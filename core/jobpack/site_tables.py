# SPDX-License-Identifier: GPL-3.0-or-later
"""Tables for the site: build order, loading, packing, setting-out."""

from __future__ import annotations

import numpy as np

from ..logistics.load_plan import Stand
from ..logistics.packing import packing_list
from ..logistics.site_work import leave_words
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

PACKING_COLUMNS = (
    "off_order",
    "piece",
    "leaves",
    "way_out_x",
    "way_out_y",
    "way_out_z",
    "parts_joints",
    "finished_mass_kg",
    "crew",
    "wrapped_length_m",
    "wrapped_width_m",
    "wrapped_height_m",
    "number_stands_on",
    "load",
    "load_order",
    "behind",
    "beside",
    "waits_for",
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


def marked_on(result: JobResult) -> list[str]:
    """For each piece the hidden faces on which its number stands, in words; empty where there is none."""
    marks = result.site.marks if result.site is not None else ()
    out = []
    for k in range(len(result.pieces)):
        faces = dict.fromkeys(mark.joint for mark in marks if mark.piece == k)
        letters = [result.joints[joint].mark for joint in faces if joint >= 0]
        said = [f"joint{'s' if len(letters) > 1 else ''} {' '.join(letters)}"] if letters else []
        out.append(", ".join([*said, *(["base"] if -1 in faces else [])]))
    return out


def packing_rows(result: JobResult) -> list[tuple[Cell, ...]]:
    """One row for each piece in the order of coming off, under `PACKING_COLUMNS`."""
    site = result.site
    if site is None:
        return []
    names = [p.mark for p in result.pieces]
    marks = marked_on(result)
    return [
        (
            line.off,
            names[line.piece],
            leave_words(line.way_out),
            *line.way_out,
            " ".join(result.joints[j].mark for j in line.opens),
            result.pieces[line.piece].figures.finished_mass,
            result.pieces[line.piece].figures.crew,
            *line.wrapped,
            marks[line.piece],
            line.load or None,
            site.load_place[line.piece] or None,
            *(" ".join(names[k] for k in near) for near in (line.before, line.beside, line.waits)),
        )
        for line in packing_list(site, names, [p.figures.box for p in result.pieces])
    ]


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


def packing_csv(result: JobResult) -> str:
    """``packing.csv``."""
    return csv_text(PACKING_COLUMNS, packing_rows(result))


def setout_csv(result: JobResult) -> str:
    """``setout.csv``."""
    return csv_text(SETOUT_COLUMNS, setout_rows(result))
