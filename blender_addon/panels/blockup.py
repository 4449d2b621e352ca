# SPDX-License-Identifier: GPL-3.0-or-later
"""How the billets are stacked: what is known of it, where it lies, what it takes."""

import bpy

from .. import blockup_object, job_tree, watch
from ..core.errors import SeamwrightError
from ..properties import settings_link
from .common import OfJob, progress, sentence


class SEAMWRIGHT_PT_blockup(OfJob, bpy.types.Panel):
    """How the billets are stacked"""

    bl_label = "Block-up"
    bl_idname = "SEAMWRIGHT_PT_blockup"
    bl_parent_id = "SEAMWRIGHT_PT_limits"
    bl_order = 1
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show what it takes, then how it is set."""
        layout, job = self.layout, job_tree.active_job(context)
        group = job.seamwright
        self._state(context, job)
        busy = progress(layout, context, "Block-up") or progress(layout, context, "Searching")
        col = layout.column()
        col.use_property_split, col.use_property_decorate = True, False
        col.prop(group, "block_built")
        if group.block_built == "planned":
            col.prop(group, "block_position")
        if group.block_built != "planned" or group.block_position == "given":
            col.prop(group, "block_origin")
            col.prop(group, "block_rotation")
        col.prop(group, "block_stagger")
        if group.block_built == "planned":
            col.prop(group, "block_margin")
        if busy:
            return
        col = layout.column(align=True)
        row = col.row(align=True)
        row.operator("seamwright.blockup_show", icon="MESH_CUBE")
        held = job_tree.folder(job, job_tree.BLOCKUP)
        if held is not None and held.objects:
            row.prop(held, "hide_viewport", text="")
        if group.block_built != "as-given":
            col.operator("seamwright.blockup_search", icon="VIEWZOOM")
        if group.block_built != "planned":
            col.operator("seamwright.blockup_points", icon="SNAP_FACE")

    def _state(self, context: bpy.types.Context, job: job_tree.JobCollection) -> None:
        layout, group = self.layout, job.seamwright
        held = job_tree.folder(job, job_tree.BLOCKUP)
        if group.block_built == "unknown":
            sentence(
                layout,
                context,
                "Nothing is known of the block-up: its glue lines bind nothing. Say how the scan was built, or plan it "
                "for a carving still to be made.",
                "INFO",
            )
        if held is None or blockup_object.SUMMARY not in held:
            return
        try:
            settings = blockup_object.stamp(settings_link.read(group))
        except SeamwrightError as error:
            sentence(layout, context, str(error), "ERROR")
            return
        surface = watch.surface_now(job)
        moved = surface is not None and surface != held.get(blockup_object.SURFACE)
        if moved or settings != held.get(blockup_object.STAMP):
            sentence(layout, context, "Changed since it was shown; show it again.", "FILE_REFRESH")
        else:
            sentence(layout, context, str(held[blockup_object.SUMMARY]))


CLASSES = (SEAMWRIGHT_PT_blockup,)
