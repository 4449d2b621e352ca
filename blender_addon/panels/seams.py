# SPDX-License-Identifier: GPL-3.0-or-later
"""What joints may follow, what they must not cross, and from where they are seen."""

from typing import Any

import bpy

from .. import job_tree
from ..surface_marks import marked_curves, viewpoints
from .common import OfJob, length, sentence


class SEAMWRIGHT_PT_seams(OfJob, bpy.types.Panel):
    """Where joints hide"""

    bl_label = "Seams"
    bl_idname = "SEAMWRIGHT_PT_seams"
    bl_parent_id = "SEAMWRIGHT_PT_joints"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show what was found and how the active joint keeps to it, then marks, then numbers."""
        layout, job = self.layout, job_tree.active_job(context)
        group = job.seamwright
        if group.seams_text:
            sentence(layout, context, group.seams_text)
            sentence(layout, context, "On the carving: whole blue lines keep to a seam, dashed orange ones do not.")
        else:
            sentence(layout, context, "Seams are looked for when the carving is cut.", "INFO")
        self._active(context, job)
        curves, cameras = len(marked_curves(job)), len(viewpoints(job))
        col = layout.column(align=True)
        row = col.row(align=True)
        row.operator("seamwright.seam_line_draw", icon="GREASEPENCIL")
        row.operator("seamwright.seam_line_take", icon="CURVE_DATA")
        col.operator_menu_enum("seamwright.zone_mark", "zone", icon="FACESEL")
        col.operator("seamwright.viewpoint_add", icon="CAMERA_DATA")
        if curves or cameras:
            layout.label(text=f"Marked lines: {curves}, viewpoints: {cameras}")
        col = layout.column(align=True)
        col.label(text="Joints follow:")
        col.prop(group, "seams")
        col.prop(group, "use_uv_seams")
        col = layout.column()
        col.use_property_split, col.use_property_decorate = True, False
        col.prop(group, "seam_tolerance")
        col.prop(group, "on_seam_note")
        col.prop(group, "on_seam_warn")
        col.prop(group, "sliver")

    def _active(self, context: bpy.types.Context, job: job_tree.JobCollection) -> None:
        obj: Any = context.active_object
        held = job_tree.folder(job, job_tree.JOINTS)
        if obj is None or held is None or obj.name not in held.objects or "on_seam_share" not in obj:
            return
        text = (
            f"Joint {obj.get('mark', '')}: {length(context, obj['on_seam_length_m'])} of "
            f"{length(context, obj['visible_length_m'])} on seams ({obj['on_seam_share']:.0%})"
        )
        if "furthest_from_seam_m" in obj:
            text += f", at worst {length(context, obj['furthest_from_seam_m'])} off"
        if "seen_length_m" in obj:
            text += f"; {length(context, obj['seen_length_m'])} seen from the viewpoints"
        sentence(self.layout, context, text + ".")


CLASSES = (SEAMWRIGHT_PT_seams,)
