# SPDX-License-Identifier: GPL-3.0-or-later
"""What must be kept clear of the carving, and how near it comes."""

from typing import Any

import bpy

from .. import job_tree, keep_clear
from ..core.errors import SeamwrightError
from ..properties import settings_link
from .common import OfJob, progress, sentence

MOST = 8
"""Lines shown of what was found; the job pack has them all."""


class SEAMWRIGHT_PT_clearance(OfJob, bpy.types.Panel):
    """What must be kept clear of the carving"""

    bl_label = "Clearance"
    bl_idname = "SEAMWRIGHT_PT_clearance"
    bl_parent_id = "SEAMWRIGHT_PT_cut"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show what was found, then the body, its way in and what is asked."""
        layout, job = self.layout, job_tree.active_job(context)
        group = job.seamwright
        try:
            settings = settings_link.read(group)
        except SeamwrightError as error:
            sentence(layout, context, str(error), "ERROR")
            return
        self._state(context, job, settings)
        busy = progress(layout, context, "Clearance")
        col = layout.column()
        col.use_property_split, col.use_property_decorate = True, False
        col.prop(group, "keep_clear_body")
        if group.keep_clear_body is None and settings.keep_clear.bodies:
            names = ", ".join(body.name for body in settings.keep_clear.bodies)
            sentence(layout, context, f"From JOB.toml: {names}. An object chosen here takes their place.")
        if group.keep_clear_body is not None:
            col.prop(group, "keep_clear_way")
        drawn = group.keep_clear_body is None and settings.keep_clear.way_in
        if group.keep_clear_way is None and not drawn:
            col.prop(group, "approach")
        col.prop(group, "clearance")
        if not busy:
            layout.operator("seamwright.clearance_check", icon="DRIVER_DISTANCE")
            layout.operator("seamwright.clearance_show", icon="RESTRICT_SELECT_OFF")

    def _state(self, context: bpy.types.Context, job: job_tree.JobCollection, settings: Any) -> None:
        layout, folder = self.layout, job_tree.folder(job, job_tree.CLEARANCE)
        if folder is None or keep_clear.SUMMARY not in folder:
            known = job.seamwright.keep_clear_body is not None or settings.keep_clear.bodies
            first = "" if known else " Choose what the rock must not touch, as it stands."
            sentence(layout, context, f"Not checked yet.{first}", "INFO")
            return
        if folder.get(keep_clear.STAMP) != keep_clear.stamp(job, settings):
            sentence(layout, context, "Something has changed since this was found; check again.", "FILE_REFRESH")
        lines = str(folder[keep_clear.SUMMARY]).split("\n")
        bad = any(obj.get("deepest_m", 0.0) > 0.0 for obj in folder.objects)
        for k, line in enumerate(lines[:MOST]):
            sentence(layout, context, line, ("ERROR" if bad else "CHECKMARK") if k == 0 else "DOT")


CLASSES = (SEAMWRIGHT_PT_clearance,)
