# SPDX-License-Identifier: GPL-3.0-or-later
"""Cutting, the pieces that came of it, what the checks say, and the job pack."""

import math
from typing import Any

import bpy

from .. import job_tree
from ..job_tree import JobCollection
from .common import SEVERITY_ICON, STATUS_ICON, OfJob, changes, imperial, length, mass, progress, sentence, size

MOST = 4
"""Findings shown; all of them stand in the job pack."""


def _worst(group: Any) -> bool:
    """Whether a check found more than notes; errors and warnings come first."""
    return len(group.findings) > 0 and group.findings[0].severity != "note"


class SEAMWRIGHT_PT_cut(OfJob, bpy.types.Panel):
    """Cut the carving along its joints"""

    bl_label = "Cut"
    bl_idname = "SEAMWRIGHT_PT_cut"
    bl_order = 3

    def draw(self, context: bpy.types.Context) -> None:
        """Show what was cut and whether it still holds; then the button; then the checks."""
        layout, job = self.layout, job_tree.active_job(context)
        group = job.seamwright
        stale = changes(context, job)
        if not group.is_cut:
            todo = "Not cut yet." if job_tree.joints(job) else "Not cut yet; add joints first."
            sentence(layout, context, todo, "INFO")
        else:
            count = len(job_tree.pieces(job))
            text = f"{count} {'piece' if count == 1 else 'pieces'}, {group.cut_joints} "
            text += f"{'joint' if group.cut_joints == 1 else 'joints'}, gap {length(context, group.gap_m, 3)}."
            sentence(layout, context, text, "NONE" if stale or _worst(group) else "CHECKMARK")
        for text in stale:
            sentence(layout, context, text, "FILE_REFRESH")
        if not progress(layout, context, "Cutting"):
            row = layout.row()
            row.scale_y = 1.3
            row.operator("seamwright.cut", text="Cut Again" if group.is_cut else "Cut", icon="MOD_EXPLODE")
        if group.is_cut:
            row = layout.row(align=True)
            row.operator("seamwright.show", text="Show Pieces").what = "PIECES"
            row.operator("seamwright.show", text="Show Carving").what = "CARVING"
            self._findings(context, job)

    def _findings(self, context: bpy.types.Context, job: JobCollection) -> None:
        layout, rows = self.layout, job.seamwright.findings
        serious = [k for k, row in enumerate(rows) if row.severity != "note"]
        notes = [k for k, row in enumerate(rows) if row.severity == "note"]
        if not serious:
            sentence(layout, context, "Mass and size of every piece are within the limits.", "CHECKMARK")
        else:
            box = layout.box()
            shown = serious[:MOST]
            remedies = [rows[k].remedy for k in shown]
            for place, k in enumerate(shown):
                self._finding(box, context, rows[k], k)
                # One remedy for several findings stands after the last of them.
                if remedies[place] and remedies[place] not in remedies[place + 1 :]:
                    sentence(box, context, remedies[place], "FORWARD", room=0.6)
            if len(serious) > MOST:
                sentence(box, context, f"And {len(serious) - MOST} more: see the list of pieces, and the job pack.")
            if any(rows[k].check in ("piece_mass", "piece_size", "within_billet") for k in serious):
                box.operator("seamwright.joints_propose", icon="SHADERFX")
        if notes:
            header, body = layout.panel("seamwright_notes", default_closed=True)
            header.label(text=f"{len(notes)} {'note' if len(notes) == 1 else 'notes'}")
            if body is not None:
                for k in notes[:MOST]:
                    self._finding(body, context, rows[k], k)
                if len(notes) > MOST:
                    sentence(body, context, f"And {len(notes) - MOST} more in the job pack.")

    def _finding(self, layout: Any, context: bpy.types.Context, finding: Any, row_number: int) -> None:
        row = layout.row()
        sentence(row, context, finding.message, SEVERITY_ICON[finding.severity], room=1.8)
        if finding.has_place or finding.piece or finding.joint:
            row.operator("seamwright.finding_show", text="", icon="VIEWZOOM").row = row_number


class SEAMWRIGHT_UL_pieces(bpy.types.UIList):
    """Pieces by number"""

    def draw_item(
        self,
        context: bpy.types.Context,
        layout: Any,
        data: Any,
        item: Any,
        icon: int | None,
        active_data: Any,
        active_property: str | None,
        index: int | None = 0,
        flt_flag: int | None = 0,
    ) -> None:
        """Number, mass, size, status."""
        split = layout.split(factor=0.09)
        split.label(text=str(item.get("mark", "")))
        split = split.split(factor=0.28)
        split.label(text=mass(context, item.get("finished_mass_kg", 0.0)))
        row = split.row()
        row.label(text=size(context, item.get("handling_box_m", ())).replace(" × ", "×").rpartition(" ")[0])
        row.label(text="", icon=STATUS_ICON.get(item.get("status"), "NONE"))

    def filter_items(self, context: bpy.types.Context, data: Any, propname: str) -> Any:
        """By number."""
        items = list(getattr(data, propname))
        order = sorted(range(len(items)), key=lambda k: job_tree.piece_key(items[k]))
        place = [0] * len(items)
        for position, k in enumerate(order):
            place[k] = position
        return [], place


class SEAMWRIGHT_PT_pieces(OfJob, bpy.types.Panel):
    """The pieces with mass, size and status"""

    bl_label = "Pieces"
    bl_idname = "SEAMWRIGHT_PT_pieces"
    bl_order = 4
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show the list, and the numbers of the active piece."""
        layout, job = self.layout, job_tree.active_job(context)
        held = job_tree.folder(job, job_tree.PIECES)
        if held is None or not held.objects:
            sentence(layout, context, "No pieces yet. Cut first.", "INFO")
            return
        if changes(context, job):
            sentence(layout, context, "These are of the cut before; cut again.", "FILE_REFRESH")
        pieces = job_tree.pieces(job)
        heaviest = max(pieces, key=lambda obj: obj.get("finished_mass_kg", 0.0))
        total = sum(obj.get("finished_mass_kg", 0.0) for obj in pieces)
        sentence(
            layout,
            context,
            f"Heaviest: piece {heaviest.get('mark')}, {mass(context, heaviest.get('finished_mass_kg', 0.0))}. "
            f"All together {mass(context, total)}.",
        )
        split = layout.split(factor=0.13)
        split.label(text="No.")
        split = split.split(factor=0.3)
        split.label(text="Mass")
        split.label(text=f"Size as Carried ({'ft' if imperial(context) else 'm'})")
        layout.template_list(
            "SEAMWRIGHT_UL_pieces", "", held, "objects", job.seamwright, "piece_index", rows=5, maxrows=14
        )
        obj = context.active_object
        if obj is not None and obj.name in held.objects:
            self._numbers(context, obj)

    def _numbers(self, context: bpy.types.Context, obj: bpy.types.Object) -> None:
        layout = self.layout
        layout.operator("seamwright.piece_show", icon="ZOOM_SELECTED")
        split = layout.column(align=True)
        split.scale_y = 0.85
        crew = obj.get("crew", 0)
        for word, text in (
            ("Size as carried", size(context, obj.get("handling_box_m", ()))),
            ("Foam", mass(context, obj.get("foam_mass_kg", 0.0))),
            ("Skin", mass(context, obj.get("skin_mass_kg", 0.0))),
            ("Joints", obj.get("joints", "") or "none"),
            ("People to carry", str(crew) if crew else "more than the crew"),
            ("Largest share", mass(context, obj.get("largest_share_kg", 0.0))),
            ("Tilts before it falls", _tilt(float(obj.get("tilt_rad", 0.0)))),
        ):
            row = split.split(factor=0.45)
            row.label(text=word)
            row.label(text=text)


def _tilt(angle: float) -> str:
    return f"{math.degrees(angle):.0f}°" if angle > 0.0 else "falls by itself"


class SEAMWRIGHT_PT_pack(OfJob, bpy.types.Panel):
    """Hand over tables, page, pieces and a Blender file"""

    bl_label = "Job Pack"
    bl_idname = "SEAMWRIGHT_PT_pack"
    bl_order = 5
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show whether it is written, then where to."""
        layout, job = self.layout, job_tree.active_job(context)
        group = job.seamwright
        if not group.is_cut:
            sentence(layout, context, "Nothing to hand over yet. Cut first.", "INFO")
        elif changes(context, job):
            sentence(layout, context, "Something has changed since the cut. Cut again first.", "FILE_REFRESH")
        elif group.pack_written:
            sentence(layout, context, "The pack of this cut is written.", "CHECKMARK")
        elif not group.pack_folder and not bpy.data.filepath:
            sentence(layout, context, "Not written yet. Choose a folder, or save the file first.", "INFO")
        else:
            sentence(layout, context, "Not written yet.")
        col = layout.column()
        col.use_property_split, col.use_property_decorate = True, False
        col.prop(group, "pack_folder")
        col.prop(group, "pack_pictures")
        if not progress(layout, context, "Job pack"):
            text = "Write the Job Pack Again" if group.pack_written else "Write the Job Pack"
            operator = layout.operator("seamwright.pack_export", text=text, icon="EXPORT")
            operator.folder = ""
            operator.replace = bool(group.pack_written)
        layout.operator("seamwright.joints_write", icon="EXPORT")


CLASSES = (
    SEAMWRIGHT_PT_cut,
    SEAMWRIGHT_UL_pieces,
    SEAMWRIGHT_PT_pieces,
    SEAMWRIGHT_PT_pack,
)
