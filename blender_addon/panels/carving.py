# SPDX-License-Identifier: GPL-3.0-or-later
"""The first panel: which job, which carving, and what it is."""

import bpy

from .. import job_tree, watch
from ..compat import is_editable
from ..job_tree import JobCollection
from .common import InTab, progress, sentence, size


class SEAMWRIGHT_PT_carving(InTab, bpy.types.Panel):
    """Which carving is cut, and whether it is a solid"""

    bl_label = "Carving"
    bl_idname = "SEAMWRIGHT_PT_carving"
    bl_order = 0

    def draw(self, context: bpy.types.Context) -> None:
        """Show the state first, then what can be done."""
        job = job_tree.active_job(context)
        if job is None:
            self._empty(context)
            return
        layout = self.layout
        if len(job_tree.jobs(context.scene)) > 1:
            layout.prop(context.scene.seamwright, "job", text="")
        if not is_editable(job):
            sentence(layout, context, "Linked from another file: to be looked at, not changed.", "INFO")
        group = job.seamwright
        col = layout.column()
        col.use_property_split, col.use_property_decorate = True, False
        col.prop(group, "title")
        col.prop(group, "carving")
        if group.carving is None:
            sentence(layout, context, "Choose the object to cut.", "INFO")
            return
        if not job_tree.is_held(job, group.carving):
            sentence(layout, context, f"{group.carving.name} was deleted; choose another object to cut.", "ERROR")
            return
        self._state(context, job)
        if not progress(layout, context, "Checking"):
            again = "Check Again" if group.verdict else "Check the Carving"
            layout.operator("seamwright.carving_check", text=again, icon="VIEWZOOM")

    def _empty(self, context: bpy.types.Context) -> None:
        layout = self.layout
        sentence(layout, context, "No job in this scene yet.")
        if progress(layout, context, "Reading"):
            return
        sentence(layout, context, "Select the carving, a scan or a model, and make a job of it:")
        layout.operator("seamwright.job_make", icon="ADD")
        sentence(layout, context, "or read one from a file, or drop the file here:")
        layout.operator("seamwright.carving_import", icon="IMPORT")

    def _state(self, context: bpy.types.Context, job: JobCollection) -> None:
        layout, group = self.layout, job.seamwright
        if not group.verdict:
            scale = context.scene.unit_settings.scale_length
            sentence(layout, context, size(context, (v * scale for v in group.carving.dimensions)))
            sentence(layout, context, "Not checked yet.", "INFO")
            return
        now = watch.surface_now(job)
        if now is not None and now != group.checked_surface:
            sentence(layout, context, "The carving has changed since it was checked.", "INFO")
        words = {
            "solid": "It is a solid and can be cut.",
            "can be mended": "It can be cut; this will be mended in the pieces:",
            "not a solid": "It is not a solid and cannot be cut.",
        }
        icon = {"solid": "CHECKMARK", "can be mended": "INFO"}.get(group.verdict, "ERROR")
        sentence(layout, context, words.get(group.verdict, group.verdict), icon)
        for row in group.report.split("\n"):
            if row.startswith("! "):
                sentence(layout, context, row[2:], "ERROR")
            elif row.startswith("- "):
                sentence(layout, context, f"{row[2:3].upper()}{row[3:]}.", "DOT")
            else:
                sentence(layout, context, row)
        if group.verdict == "not a solid":
            layout.operator("seamwright.carving_faults", icon="EDITMODE_HLT")


CLASSES = (SEAMWRIGHT_PT_carving,)
