# SPDX-License-Identifier: GPL-3.0-or-later
"""Cutting: on a snapshot, beside the interface, written at the end in one step."""

import hashlib
import math
from typing import Any

import bpy
from bpy.props import BoolProperty

from .. import carving_source, job_tree, results, stamps, watch
from ..core.errors import CutError, Progress, SeamwrightError
from ..core.jobpack.piece_tones import touching_tones
from ..core.jobpack.record import JobResult
from ..core.seams.judge import JointSeams
from ..core.seams.report import seams_words
from ..corner_layers import read_layers
from ..job_tree import JobCollection
from ..joint_object import fit_sheet
from ..long_work import LongWork, Step, Steps, beside
from ..piece_object import Look, go_on_from, piece_data, pieces_before, pieces_ready, put_pieces
from ..properties import settings_link
from ..site_objects import current_numbers, put_marks
from ..stretches import put_lines
from ..world import shown
from .common import (
    OnCarving,
    job_again,
    job_state,
    need_scale,
    note_joints,
    number_joints,
    own_prices,
    read_joints,
    write_cost,
    write_findings,
)


class SEAMWRIGHT_OT_cut(OnCarving, LongWork, bpy.types.Operator):
    """Cut the carving along the joints into pieces, and check each; the carving itself is not changed"""

    bl_idname = "seamwright.cut"
    bl_label = "Cut"
    bl_options = {"REGISTER", "UNDO"}
    working = "Cutting"

    renumber: BoolProperty(
        name="Number Anew",
        description="Give all pieces new numbers; otherwise one that is mostly the same keeps its own",
    )

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, cut beside, see that nothing changed, write."""
        yield Step(0.0, "reading the joints")
        job = job_tree.active_job(context)
        scale = need_scale(context, job)
        before = job_state(job, scale)
        settings = settings_link.read(job.seamwright)
        prices = own_prices(job)
        joints, called = read_joints(job, scale), [obj.name for obj in job_tree.joints(job)]
        old, numbered = pieces_before(job), [] if self.renumber else current_numbers(job, scale)
        yield Step(0.02, "reading the carving")
        job = job_again(before)
        carving = carving_source.snapshot(context, job)
        yield Step(0.05, "cutting")

        def cut(progress: Progress) -> tuple[JobResult, carving_source.Scan, list[str]]:
            result, scan = carving_source.do_job(carving, settings, joints, progress, numbered, prices)
            return result, scan, go_on_from(old, result)

        try:
            result, scan, matched = yield from beside(cut, 0.05, 0.7, wait)
        except CutError as error:
            raise _named(error, called) from None
        yield Step(0.7, "reading colours and materials")
        obj = job_again(before).seamwright.carving
        with shown(context, obj) as depsgraph:
            look = Look(read_layers(obj, depsgraph), scan.triangles, scan.turned)
        ready = yield from beside(lambda p: pieces_ready(result, look, scale, p), 0.7, 0.85, wait)
        job_again(before)
        names: list[str] = []
        try:
            for piece, tone in zip(ready, touching_tones(result), strict=True):
                yield Step(0.85 + 0.1 * len(names) / len(ready), f"making {piece.name}", locked=True)
                names.append(piece_data(piece, look, tone).name)
            yield Step(0.95, "putting the pieces in place", locked=True)
            job = job_again(before)
        except BaseException:
            for made in names:
                bpy.data.meshes.remove(bpy.data.meshes[made])
            raise
        counts = put_pieces(job, result, names, matched, scale)
        _finish(context, job, result, scale)
        results.keep(cut_id(job), result)
        text = f"{len(result.pieces)} {'piece' if len(result.pieces) == 1 else 'pieces'}"
        if counts["kept"] or counts["gone"]:
            text += f": {counts['kept']} kept, {counts['new']} new, {counts['gone']} gone"
        return text


def _named(error: CutError, called: list[str]) -> SeamwrightError:
    """The error with the name of the joint's object."""
    if not 0 <= error.joint < len(called):
        return error
    return CutError(f"{called[error.joint]}: {error.problem}")


def _finish(context: bpy.types.Context, job: JobCollection, result: JobResult, scale: float) -> None:
    """Joints, their lines, findings and the state of the job; pieces are shown and the carving hidden."""
    group = job.seamwright
    number_joints(job)
    for obj, record in zip(job_tree.joints(job), result.joints, strict=True):
        fit_sheet(obj, record.joint, [line.points for line in record.lines], scale)
    note_joints(job, [record.joint for record in result.joints])
    for obj, record in zip(job_tree.joints(job), result.joints, strict=True):
        obj["status"] = record.status
        obj["area_m2"] = record.area
        obj["visible_length_m"] = record.visible_length
        _note_seams(obj, record.seams)
        obj.pop("shift_m", None)
        obj.pop("shift_text", None)
    for one in result.suggestions:
        obj = job_tree.joints(job)[one.joint]
        obj["shift_m"], obj["shift_text"] = one.shift, one.text(str(obj["mark"]))
    stamps.mark_cut(job)
    put_lines(job_tree.ensure_folder(job, job_tree.LINES), result, scale)
    group.seams_text = "" if result.seams is None else seams_words(result.seams)
    put_marks(job_tree.ensure_folder(job, job_tree.MARKS), result, job_tree.pieces(job), scale)
    write_findings(job, result.findings)
    write_cost(job, result.cost)
    job["settings"] = result.job.to_toml()
    job["gap_m"] = group.gap_m = result.gap
    group.plan = result.plan.text
    group.is_cut, group.cut_joints = True, len(result.joints)
    group.cut_settings, group.cut_surface = stamps.settings_stamp(job, scale), watch.take(job)
    group.pack_written = ""
    show_pieces(context, job, True)


def _note_seams(obj: Any, seams: JointSeams | None) -> None:
    """What was found of a joint, as custom properties in SI; what does not apply is taken away."""
    furthest = None if seams is None or not math.isfinite(seams.furthest) else seams.furthest
    found: dict[str, float | None] = {
        "on_seam_length_m": None if seams is None else seams.on_seam,
        "on_seam_share": None if seams is None else seams.share,
        "furthest_from_seam_m": furthest,
        "longest_off_seam_m": None if seams is None else seams.run,
        "seen_length_m": None if seams is None else seams.seen,
        "seen_on_seam_m": None if seams is None else seams.seen_on_seam,
    }
    for name, value in found.items():
        if value is not None:
            obj[name] = value
        elif name in obj:
            del obj[name]


def show_pieces(context: bpy.types.Context, job: JobCollection, pieces: bool) -> None:
    """Show the pieces and hide the carving in this view, or the other way round."""
    carving, held = job.seamwright.carving, job_tree.folder(job, job_tree.CARVING)
    if held is not None:
        held.hide_viewport = False
        job_tree.set_folder_hidden(context, held, False)
    if carving is not None and carving.name in context.view_layer.objects:
        carving.hide_set(pieces)
    job_tree.set_folder_hidden(context, job_tree.folder(job, job_tree.PIECES), not pieces)
    job_tree.set_folder_hidden(context, job_tree.folder(job, job_tree.ZONES), pieces)


def cut_id(job: JobCollection) -> str:
    """Fingerprint of what the last cut came from."""
    group = job.seamwright
    joints = [(str(obj.get("mark")), str(obj.get("joint"))) for obj in job_tree.joints(job)]
    return hashlib.sha1(repr((group.cut_settings, group.cut_surface, joints)).encode()).hexdigest()


CLASSES = (SEAMWRIGHT_OT_cut,)
