# SPDX-License-Identifier: GPL-3.0-or-later
"""What joints may follow, what they must not cross, and from where they are seen."""

from typing import Any

import bpy

from .. import job_tree, zones
from ..operators.seams import is_painting
from ..surface_marks import marked_curves, viewpoints
from .common import OfJob, length, progress, sentence


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
        if progress(layout, context, "Marking") or progress(layout, context, "Painting"):
            return
        if is_painting(context):
            sentence(
                layout, context, "Paint what is meant; with Ctrl paint is taken away. Then say what it is:", "INFO"
            )
            self._zone(layout, "Painted Faces Are", "MASK", "BRUSH_DATA")
            layout.operator("object.mode_set", text="Leave Without a Zone", icon="LOOP_BACK").mode = "OBJECT"
            return
        if context.mode == "EDIT_CURVE" and context.object in marked_curves(job):
            sentence(layout, context, "Draw on the carving, as many lines as you like; Tab when done.", "INFO")
        self._marks(context, job)
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

    def _marks(self, context: bpy.types.Context, job: job_tree.JobCollection) -> None:
        """What is marked, and how to mark: lines, zones, viewpoints."""
        layout, held = self.layout, job_tree.folder(job, job_tree.ZONES)
        curves: list[Any] = marked_curves(job)
        lines, cameras = sum(len(obj.data.splines) for obj in curves), len(viewpoints(job))
        if lines or cameras:
            sentence(layout, context, f"Marked lines: {lines}, viewpoints: {cameras}.")
        if held is not None and held.get(zones.SAID):
            sentence(layout, context, str(held[zones.SAID]))
        col = layout.column(align=True)
        row = col.row(align=True)
        row.operator("seamwright.seam_line_draw", icon="GREASEPENCIL")
        row.operator("seamwright.seam_line_take", text="Take Curves", icon="CURVE_DATA")
        col.operator("seamwright.zone_paint", icon="BRUSH_DATA")
        col.label(text="Make a zone of faces that are:")
        row = col.row(align=True)
        for text, faces in (("Masked", "MASK"), ("In a Set", "SET"), ("Selected", "SELECTED")):
            self._zone(row, text, faces)
        layout.operator("seamwright.viewpoint_add", icon="CAMERA_DATA")

    def _zone(self, layout: Any, text: str, faces: str, icon: str = "NONE") -> None:
        """A menu of zones for some faces."""
        layout.operator_menu_enum("seamwright.zone_mark", "zone", text=text, icon=icon).faces = faces

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
