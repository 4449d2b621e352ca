# SPDX-License-Identifier: GPL-3.0-or-later
"""The skin, what it leaves at the joints, and what the job costs."""

from typing import Any

import bpy

from .. import job_tree
from ..core.errors import SeamwrightError
from ..core.mesh.mesh import KIND_NAMES
from ..core.skin.depth import gap_width, growth
from ..core.skin.mass import mass_per_area
from ..properties import settings_link
from .common import OfJob, length, sentence


class SEAMWRIGHT_PT_skin(OfJob, bpy.types.Panel):
    """Everything over the foam"""

    bl_label = "Skin"
    bl_idname = "SEAMWRIGHT_PT_skin"
    bl_parent_id = "SEAMWRIGHT_PT_limits"
    bl_order = 2
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Presets first, then the layers from the foam out, then what follows from them."""
        layout, group = self.layout, job_tree.active_job(context).seamwright
        row = layout.row(align=True)
        row.menu("SEAMWRIGHT_MT_skin", icon="PRESET")
        row.operator("seamwright.skin_preset_add", text="", icon="ADD")
        remove: Any = row.operator("seamwright.skin_preset_add", text="", icon="REMOVE")
        remove.remove_active = True
        col = layout.column()
        col.use_property_split, col.use_property_decorate = True, False
        col.prop(group, "place")
        col.prop(group, "bridging")
        col.prop(group, "allowance")
        try:
            job = settings_link.read(group)
        except SeamwrightError as error:
            sentence(layout, context, str(error), "ERROR")
            return
        col = layout.column(align=True)
        col.scale_y = 0.85
        for layer in job.skin.layers:
            split = col.split(factor=0.62)
            split.label(text=layer.name)
            split.label(text=f"{layer.areal_mass:.2f} kg/m²")
            faces = "all faces" if len(layer.faces) == len(KIND_NAMES) else ", ".join(layer.faces)
            turned = f", turned in {length(context, layer.edge_return)}" if layer.edge_return > 0.0 else ""
            sentence(col, context, f"on {faces}{turned}", "BLANK1")
        if not job.skin.layers:
            sentence(col, context, "No skin.")
        text = f"{mass_per_area(job, 'carved'):.2f} kg/m² on carved faces. Gap {length(context, gap_width(job))}"
        more = f", pieces then {length(context, growth(job))} further apart" if growth(job) > 0.0 else ""
        sentence(layout, context, f"{text}{more}. Layers are set in JOB.toml.")


class SEAMWRIGHT_PT_cost(OfJob, bpy.types.Panel):
    """What the job costs"""

    bl_label = "Cost"
    bl_idname = "SEAMWRIGHT_PT_cost"
    bl_parent_id = "SEAMWRIGHT_PT_cut"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """The total and what the last change of joints did to it; then the stages; then the list."""
        layout, group = self.layout, job_tree.active_job(context).seamwright
        if group.cost_total:
            text = f"{group.cost_total} {group.cost_currency}".strip()
            if group.cost_change:
                text += f", {group.cost_change} against the cut before"
            sentence(layout, context, f"{text}.")
            col = layout.column(align=True)
            col.scale_y = 0.85
            for line in group.cost_stages.splitlines():
                name, _, cost = line.partition("\t")
                split = col.split(factor=0.65)
                split.label(text=name)
                split.label(text=cost)
        elif group.prices_text:
            sentence(layout, context, "Cut again to have it priced.", "FILE_REFRESH")
        else:
            sentence(layout, context, "No price list yet: quantities alone.", "INFO")
        row = layout.row(align=True)
        row.operator("seamwright.prices_read", text=group.prices_name or "Read a Price List", icon="IMPORT")
        row.operator("seamwright.prices_drop", text="", icon="X")


CLASSES = (SEAMWRIGHT_PT_skin, SEAMWRIGHT_PT_cost)
