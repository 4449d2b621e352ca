# SPDX-License-Identifier: GPL-3.0-or-later
"""What a piece may weigh and measure, and what it is made of."""

import bpy

from .. import job_tree
from ..core.errors import SeamwrightError
from ..core.handling.crew import LARGEST_TEAM, team_limit
from ..properties import settings_link
from ..properties.limit_presets import PRESETS
from .common import OfJob, mass, sentence, sides, size


class SEAMWRIGHT_MT_limits(bpy.types.Menu):
    """Ready sets of limits"""

    bl_label = "Ready Limits"
    bl_idname = "SEAMWRIGHT_MT_limits"

    def draw(self, context: bpy.types.Context) -> None:
        """Draw a row for each set."""
        for key, preset in PRESETS.items():
            self.layout.operator("seamwright.limits_preset", text=preset.name).preset = key


class SEAMWRIGHT_PT_limits(OfJob, bpy.types.Panel):
    """What a piece may weigh and measure"""

    bl_label = "Limits"
    bl_idname = "SEAMWRIGHT_PT_limits"
    bl_order = 1
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show the largest piece first, then the limits."""
        layout, group = self.layout, job_tree.active_job(context).seamwright
        if abs(group.unit_scale / context.scene.unit_settings.scale_length - 1.0) > 1e-6:
            sentence(layout, context, "The scene's unit scale has changed since these were set.", "ERROR")
            layout.operator("seamwright.lengths_keep")
        try:
            job = settings_link.read(group)
        except SeamwrightError as error:
            sentence(layout, context, str(error), "ERROR")
            job = None
        if job is not None:
            limit, largest = mass(context, job.limits.piece_mass), size(context, job.size_limit)
            sentence(layout, context, f"A piece may weigh {limit} and measure {largest}.")
        layout.menu("SEAMWRIGHT_MT_limits", icon="PRESET")
        col = layout.column()
        col.use_property_split, col.use_property_decorate = True, False
        col.prop(group, "piece_mass")
        col.prop(group, "crew")
        col.prop(group, "person_lift")
        if job is not None and job.limits.crew <= LARGEST_TEAM:
            team = team_limit([job.limits.person_lift] * job.limits.crew)
            sentence(
                col,
                context,
                f"Published team rule: {job.limits.crew} lift {mass(context, team)} together. A competent person "
                "judges the carry.",
            )
        elif job is not None:
            sentence(
                col,
                context,
                f"The published team rule stops at {LARGEST_TEAM} people: for {job.limits.crew} only the limit above "
                "counts, which is the workshop's own. A competent person judges the carry.",
            )
        sides(col, group, "doorway", ("Doorway Width", "Height"))
        col.prop(group, "hand_room")
        col.prop(group, "any_pose")
        col.prop(group, "use_piece_size")
        if group.use_piece_size:
            sides(col, group, "piece_size", ("Largest Length", "Width", "Height"))


class SEAMWRIGHT_PT_material(OfJob, bpy.types.Panel):
    """Foam and cut"""

    bl_label = "Foam"
    bl_parent_id = "SEAMWRIGHT_PT_limits"
    bl_order = 0
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show the foam and how it is cut."""
        layout, group = self.layout, job_tree.active_job(context).seamwright
        layout.use_property_split, layout.use_property_decorate = True, False
        sides(layout, group, "billet", ("Billet Length", "Width", "Height"))
        col = layout.column()
        for name in ("density", "kerf", "fit", "min_thickness", "wire_length", "within_billet"):
            col.prop(group, name)


class SEAMWRIGHT_PT_load(OfJob, bpy.types.Panel):
    """The vehicle"""

    bl_label = "Load Space"
    bl_parent_id = "SEAMWRIGHT_PT_limits"
    bl_order = 3
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show the size, the door and the payload."""
        layout, group = self.layout, job_tree.active_job(context).seamwright
        layout.use_property_split, layout.use_property_decorate = True, False
        sides(layout, group, "load_size", ("Inside Length", "Width", "Height"))
        sides(layout, group, "load_door", ("Door Width", "Height"))
        layout.prop(group, "payload")


class SEAMWRIGHT_PT_file(OfJob, bpy.types.Panel):
    """All settings as a text file"""

    bl_label = "JOB.toml"
    bl_parent_id = "SEAMWRIGHT_PT_limits"
    bl_order = 4
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Read and write the file."""
        layout = self.layout
        sentence(layout, context, "All settings, those not shown here too. Drop a JOB.toml here to take it over.")
        row = layout.row(align=True)
        row.operator("seamwright.settings_read", icon="IMPORT", text="Read")
        row.operator("seamwright.settings_write", icon="EXPORT", text="Write")


CLASSES = (
    SEAMWRIGHT_MT_limits,
    SEAMWRIGHT_PT_limits,
    SEAMWRIGHT_PT_material,
    SEAMWRIGHT_PT_load,
    SEAMWRIGHT_PT_file,
)
