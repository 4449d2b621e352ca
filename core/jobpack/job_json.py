# SPDX-License-Identifier: GPL-3.0-or-later
"""``job.json``: the whole job for machines."""

from __future__ import annotations

import json
import math
import tomllib
from typing import Any, Final

from ..cutting.result import JointLine
from ..handling.handled import Handled
from ..mesh.mesh import BACK, CARVED, KIND_NAMES
from ..seams.index import SEAM_NAMES
from ..seams.judge import JointSeams
from ..seams.marks import KEEP_WHOLE
from ..seams.seams import Seams
from .blockup_table import blockup_json
from .joints_file import joint_entry
from .json_text import SCHEMA_VERSION, finding_entry, json_text
from .page_clearance import clearance_json
from .record import JobResult, JointRecord, PieceRecord
from .site_tables import (
    BUILD_COLUMNS,
    LOADING_COLUMNS,
    PACKING_COLUMNS,
    SETOUT_COLUMNS,
    build_rows,
    loading_rows,
    packing_rows,
    setout_rows,
)
from .tables import TAKEOFF_COLUMNS, joint_columns, joint_rows, takeoff_rows

MADE_BY: Final = "seamwright"


def is_job_record(text: str) -> bool:
    """Whether text is a ``job.json`` of ours, of any schema version: what may be replaced on the user's word."""
    try:
        record = json.loads(text)
    except (ValueError, RecursionError):
        return False
    return isinstance(record, dict) and record.get("made_by") == MADE_BY and "schema_version" in record


def job_json(result: JobResult) -> str:
    """The record of a job: settings, joints, pieces, contacts, crumbs, take-off, findings and totals.

    Units stand in the names; job coordinates, metres. ``joints`` is what a joints file holds, ``joint_totals`` what was
    measured of each. ``settings`` are as in the job's TOML, lengths and masses as texts with their units;
    ``settings_toml`` is that TOML.
    """
    toml = result.job.to_toml()
    return json_text(
        {
            "schema_version": SCHEMA_VERSION,
            "made_by": MADE_BY,
            "title": result.job.title,
            "settings": tomllib.loads(toml),
            "settings_toml": toml,
            "gap_m": result.gap,
            "plan": {
                "kind": result.plan.kind,
                "text": result.plan.text,
                "tried": result.plan.tried,
                "fewest_pieces": result.plan.fewest,
                "practical_pieces": result.plan.practical,
                "chance_on_seam_share": result.plan.chance,
                "planes_alone_on_seam_share": result.plan.planes_on_seam,
                "planes_alone_pieces": result.plan.planes_pieces,
                "complete": result.plan.complete,
                "reasons": {
                    record.mark: reason for record, reason in zip(result.joints, result.plan.reasons, strict=False)
                },
                "over_limits": list(result.plan.over),
            },
            "joints": [joint_entry(record.mark, record.joint) for record in result.joints],
            "joint_totals": [_joint_totals(record) for record in result.joints],
            "blockup": blockup_json(result),
            "seams": None if result.seams is None else _seams(result.seams),
            "pieces": [{**_piece(piece), **_places(result, k)} for k, piece in enumerate(result.pieces)],
            "build_order": [dict(zip(BUILD_COLUMNS, row, strict=True)) for row in build_rows(result)],
            "loading": [dict(zip(LOADING_COLUMNS, row, strict=True)) for row in loading_rows(result)],
            "packing": [dict(zip(PACKING_COLUMNS, row, strict=True)) for row in packing_rows(result)],
            "setting_out": _setting_out(result),
            "contacts": [dict(zip(joint_columns(result), row, strict=True)) for row in joint_rows(result)],
            "crumbs": [{"volume_m3": crumb.volume, "triangles": len(crumb.mesh.triangles)} for crumb in result.crumbs],
            "takeoff": [dict(zip(TAKEOFF_COLUMNS, row, strict=True)) for row in takeoff_rows(result)],
            "cost": _cost(result),
            "findings": [finding_entry(finding) for finding in result.findings],
            "keep_clear": clearance_json(result),
            "totals": _totals(result),
        }
    )


def _piece(piece: PieceRecord) -> dict[str, Any]:
    figures = piece.figures
    return {
        "mark": piece.mark,
        "file": f"pieces/{piece.mark}.ply",
        "joints": list(piece.joints),
        "part": list(piece.part),
        "length_m": figures.box[0],
        "width_m": figures.box[1],
        "height_m": figures.box[2],
        "foam_volume_m3": figures.volume,
        "foam_centroid_m": list(figures.centroid),
        **{f"{name}_area_m2": area for name, area in zip(KIND_NAMES, figures.areas, strict=True)},
        "covering_carved_m2": figures.covered[CARVED],
        "covering_back_m2": figures.covered[BACK],
        "edge_returns_m2": list(figures.returns),
        "balance_m": list(figures.balance),
        "shift_m": list(piece.shift),
        "handling": None if piece.handled is None else _handling(piece.handled),
        "foam_mass_kg": figures.foam_mass,
        "skin_mass_kg": figures.skin_mass,
        "finished_mass_kg": figures.finished_mass,
        "crew": figures.crew,
        "status": piece.status,
        "triangles": len(piece.mesh.triangles),
    }


def _handling(handled: Handled) -> dict[str, Any]:
    carry, standing, turning = handled.carry, handled.standing, handled.turning
    return {
        "people": carry.people,
        "hands_m": carry.places.tolist(),
        "shares_kg": carry.shares.tolist(),
        "hands_apart_m": _finite(carry.apart),
        "footprint_m": standing.footprint.tolist(),
        "on_base": standing.on_base,
        "tilt_rad": standing.tilt,
        "wind_slides_m_s": _finite(standing.slides),
        "wind_tips_m_s": _finite(standing.tips),
        "turning_headroom_m": turning.headroom,
        "turning_lift_kg": turning.lift,
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _cost(result: JobResult) -> dict[str, Any] | None:
    sheet = result.cost
    if sheet is None or sheet.total is None:
        return None
    return {
        "currency": sheet.currency,
        "total": float(sheet.total),
        "stages": {name: float(cost) for name, cost in sheet.stages.items()},
        "pieces": {
            piece.mark: {name: float(cost) for name, cost in own.items()}
            for piece, own in zip(result.pieces, sheet.pieces, strict=True)
        },
        "unpriced": list(sheet.unpriced),
        "unused": list(sheet.unused),
    }


def _places(result: JobResult, piece: int) -> dict[str, Any]:
    """Places from 1 in build order and loading; null where the piece has none."""
    site = result.site
    if site is None:
        return {"build_order": None, "load_order": None}
    return {"build_order": site.build_place[piece] or None, "load_order": site.load_place[piece] or None}


def _setting_out(result: JobResult) -> dict[str, Any]:
    site = result.site
    if site is None:
        return {"datum_marks": [], "measured": False, "fit_rms_m": None, "points": []}
    missed = site.fit.residuals.tolist() or [None] * len(site.datum)
    return {
        "datum_marks": [
            {
                "name": mark.name,
                "scan_m": list(mark.scan),
                "site_m": None if mark.site is None else list(mark.site),
                "on_floor": mark.on_floor,
                "residual_m": residual,
            }
            for mark, residual in zip(site.datum, missed, strict=True)
        ],
        "measured": site.measured,
        "fit_rms_m": site.fit.rms if site.measured else None,
        "points": [dict(zip(SETOUT_COLUMNS, row, strict=True)) for row in setout_rows(result)],
    }


def _joint_totals(record: JointRecord) -> dict[str, Any]:
    return {
        "mark": record.mark,
        "kind": record.joint.kind,
        "area_m2": record.area,
        "visible_length_m": record.visible_length,
        "status": record.status,
        "lines": [_line(line) for line in record.lines],
        **({} if record.seams is None else _kept_to(record.seams)),
    }


def _kept_to(seams: JointSeams) -> dict[str, Any]:
    """What the seam check found of a joint; no number where there is no seam, and no place where nothing is wrong."""
    seen = {} if seams.seen is None else {"seen_length_m": seams.seen, "seen_on_seam_m": seams.seen_on_seam}
    return {
        "on_seam_length_m": seams.on_seam,
        "on_seam_share": seams.share,
        "on_seam_by_kind_m": dict(zip(SEAM_NAMES, seams.by_kind, strict=True)),
        "furthest_from_seam_m": _finite(seams.furthest),
        "furthest_at_m": seams.furthest_at,
        "longest_off_seam_m": seams.run,
        "longest_off_seam_at_m": seams.run_at,
        "keep_whole_crossed_m": seams.zones[KEEP_WHOLE],
        "must_hide_off_seam_m": seams.hide_off,
        "glue_met_m": seams.glue_cut,
        "slab_m": None if seams.slab is None else seams.slab.thickness,
        **seen,
    }


def _seams(seams: Seams) -> dict[str, Any]:
    """What joints could follow; ``chance_share`` is what a line laid anywhere on the carved surface would score."""
    found = seams.crevices
    return {
        "chance_share": seams.chance,
        "tolerance_m": seams.index.tolerance,
        "viewpoints": [view.name for view in seams.viewpoints],
        "crevice_scale_m": None if found is None else found.scale,
        "crevices": []
        if found is None
        else [
            {"length_m": length, "depth_m": depth, "points": len(line)}
            for length, depth, line in zip(found.lengths.tolist(), found.depths.tolist(), found.lines, strict=True)
        ],
    }


def _line(line: JointLine) -> dict[str, Any]:
    return {"closed": line.closed, "length_m": math.fsum(line.lengths.tolist()), "points": len(line.points)}


def _totals(result: JobResult) -> dict[str, Any]:
    figures = [piece.figures for piece in result.pieces]
    return {
        "pieces": len(figures),
        "joints": len(result.joints),
        "crumbs": len(result.crumbs),
        "carving_volume_m3": result.carving_volume,
        "carving_carved_area_m2": result.carving_area,
        "foam_volume_m3": math.fsum(f.volume for f in figures),
        "gap_volume_m3": result.taken_volume,
        "crumb_volume_m3": math.fsum(crumb.volume for crumb in result.crumbs),
        **{f"{name}_area_m2": math.fsum(f.areas[k] for f in figures) for k, name in enumerate(KIND_NAMES)},
        "covering_carved_m2": math.fsum(f.covered[CARVED] for f in figures),
        "covering_back_m2": math.fsum(f.covered[BACK] for f in figures),
        "foam_mass_kg": math.fsum(f.foam_mass for f in figures),
        "skin_mass_kg": math.fsum(f.skin_mass for f in figures),
        "finished_mass_kg": math.fsum(f.finished_mass for f in figures),
        "heaviest_kg": max((f.finished_mass for f in figures), default=0.0),
        "visible_joint_length_m": math.fsum(record.visible_length for record in result.joints),
    }
