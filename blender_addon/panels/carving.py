# SPDX-License-Identifier: GPL-3.0-or-later
"""The first panel: which job, which carving, and what it is."""

from typing import Any

import bpy

from .. import job_tree, watch
from ..compat import is_editable
from ..core.errors import SeamwrightError
from ..core.intake.taped import LIMIT, scale_of_tapes
from ..job_tree import JobCollection
from ..properties import settings_link
from .common import SEVERITY_ICON, InTab, length, progress, sentence, size


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
        self._mending(context, job)

    def _empty(self, context: bpy.types.Context) -> None:
        layout = self.layout
        sentence(layout, context, "No job in this scene yet.", "INFO")
        if progress(layout, context, "Reading"):
            return
        sentence(layout, context, "Select the carving, a scan or a model, and make a job of it:")
        layout.operator("seamwright.job_make", icon="ADD")
        sentence(layout, context, "or read one from a file, or drop the file here:")
        layout.operator("seamwright.carving_import", icon="IMPORT")

    def _mending(self, context: bpy.types.Context, job: JobCollection) -> None:
        """What is mended, and the scan scaled and mended as a copy."""
        group = job.seamwright
        header, body = self.layout.panel("SEAMWRIGHT_mending", default_closed=True)
        header.label(text="Mend and Scale")
        if body is None:
            return
        col = body.column()
        col.use_property_split, col.use_property_decorate = True, False
        col.prop(group, "mend")
        col.prop(group, "fill")
        col.prop(group, "deviation")
        if not progress(body, context, "Mending"):
            body.operator("seamwright.carving_mend", icon="MOD_REMESH")
            row = body.row(align=True)
            floor = row.operator("seamwright.carving_mend", text="With Floor Cut Off")
            floor.floor = True
            skin = row.operator("seamwright.carving_mend", text="With a New Skin")
            skin.skin = True
        self._tapes(context, job, body)

    def _tapes(self, context: bpy.types.Context, job: JobCollection, layout: Any) -> None:
        """Taped distances, how well they agree, and the scale that they give."""
        try:
            scale = scale_of_tapes(settings_link.read(job.seamwright).carving.taped)
        except SeamwrightError as error:
            sentence(layout, context, str(error), "ERROR")
            return
        if scale is None:
            sentence(layout, context, "Scale not sure? Tape a distance on the real thing and click its two ends here.")
        layout.operator("seamwright.tape_pick", icon="DRIVER_DISTANCE")
        if scale is None:
            return
        for row, miss in enumerate(scale.residual.tolist()):
            line = layout.row()
            here, there = length(context, float(scale.found[row])), length(context, float(scale.taped[row]))
            off = abs(miss) > LIMIT
            line.label(text=f"{here} is {there} ({miss:+.2%})", icon="INFO" if off else "NONE")
            line.operator("seamwright.tape_remove", text="", icon="X").row = row
        layout.operator("seamwright.carving_scale", text=f"Scale by {scale.factor:.5g}", icon="FULLSCREEN_ENTER")

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
            "can be mended": "It can be cut; what is wrong is mended in the pieces.",
            "not a solid": "It is not a solid and cannot be cut.",
        }
        icon = {"solid": "CHECKMARK", "can be mended": "INFO"}.get(group.verdict, "ERROR")
        sentence(layout, context, words.get(group.verdict, group.verdict), icon)
        mendable = group.verdict == "can be mended"
        rows = [(row[:2], row[2:]) if row[:2] in _MARKS else ("", row) for row in group.report.split("\n")]
        for text in _of(rows, ""):
            sentence(layout, context, text)
        for text in _of(rows, "! "):
            sentence(layout, context, text, "ERROR")
        if mendable:
            layout.label(text="Will be mended:")
        for text in _of(rows, "- "):
            sentence(layout, context, f"{text[:1].upper()}{text[1:]}.", "DOT")
        if mendable and group.faults:
            layout.label(text="Found in the scan:")
        for at, fault in enumerate(group.faults):
            line = layout.row()
            icon = "DOT" if mendable else SEVERITY_ICON.get(fault.severity, "DOT")
            sentence(line, context, fault.message, icon, room=1.6)
            if len(fault.places) > 2:
                line.operator("seamwright.fault_show", text="", icon="VIEWZOOM").row = at
        for text in _of(rows, "> "):
            sentence(layout, context, f"{text.rstrip('.')}; see Mend and Scale.", "FORWARD")
        if group.verdict == "not a solid":
            layout.operator("seamwright.carving_faults", icon="EDITMODE_HLT")


_MARKS = ("! ", "- ", "> ")
"""Before what keeps it from being cut, what is mended, and what to do, in the report of the check."""


def _of(rows: list[tuple[str, str]], mark: str) -> list[str]:
    return [text for found, text in rows if found == mark]


CLASSES = (SEAMWRIGHT_PT_carving,)
