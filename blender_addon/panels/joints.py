# SPDX-License-Identifier: GPL-3.0-or-later
"""The joints: a list in the order of cuts, and how to add to it."""

from typing import Any

import bpy

from .. import job_tree
from ..joint_object import JOINT, REASON
from ..stamps import stands_as_proposed
from .common import STATUS_ICON, OfJob, changed_joints, progress, sentence, size


class SEAMWRIGHT_UL_joints(bpy.types.UIList):
    """Joints in the order of cuts"""

    changed: frozenset[str] = frozenset()
    """Names of joints that have changed since the cut, as the panel last found them: once for all rows."""

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
        """Letter and name; what its line measures; whether it has moved."""
        split = layout.split(factor=0.52, align=True)
        row = split.row(align=True)
        if item.get("mark") and item.name != f"joint {item['mark']}":
            row.label(text=str(item["mark"]))
        row.prop(item, "name", text="", emboss=False, icon="MESH_PLANE" if item.type == "MESH" else "IPO_LINEAR")
        row = split.row(align=True)
        row.alignment = "RIGHT"
        if item.name in SEAMWRIGHT_UL_joints.changed:
            row.label(text="", icon="FILE_REFRESH")
        elif "visible_length_m" in item:
            row.label(text=size(context, (item["visible_length_m"],)))
            row.label(text="", icon=STATUS_ICON.get(item.get("status"), "NONE"))
        row.prop(item, "hide_viewport", text="", emboss=False)

    def filter_items(self, context: bpy.types.Context, data: Any, propname: str) -> Any:
        """In the order of cuts."""
        items = list(getattr(data, propname))
        order = sorted(range(len(items)), key=lambda k: (items[k].get("order", 1 << 30), items[k].name))
        place = [0] * len(items)
        for position, k in enumerate(order):
            place[k] = position
        return [], place


class SEAMWRIGHT_PT_joints(OfJob, bpy.types.Panel):
    """Where the carving is cut"""

    bl_label = "Joints"
    bl_idname = "SEAMWRIGHT_PT_joints"
    bl_order = 2

    def draw(self, context: bpy.types.Context) -> None:
        """Show the list first, then ways to add."""
        layout, job = self.layout, job_tree.active_job(context)
        held = job_tree.folder(job, job_tree.JOINTS)
        if held is None or not held.objects:
            sentence(layout, context, "No joints yet. Have some proposed, or add them yourself.", "INFO")
        else:
            SEAMWRIGHT_UL_joints.changed = frozenset(changed_joints(context, job))
            row = layout.row()
            row.template_list(
                "SEAMWRIGHT_UL_joints", "", held, "objects", job.seamwright, "joint_index", rows=4, maxrows=10
            )
            col = row.column(align=True)
            col.operator("seamwright.joint_remove", text="", icon="REMOVE")
            col.separator()
            col.operator("seamwright.joint_order", text="", icon="TRIA_UP").way = "EARLIER"
            col.operator("seamwright.joint_order", text="", icon="TRIA_DOWN").way = "LATER"
            col.separator()
            col.operator("seamwright.joints_clear", text="", icon="TRASH")
            col.separator()
            col.prop(held, "hide_viewport", text="")
            self._active(context, held)
            self._shifts(context, job)
        if not progress(layout, context, "Proposing"):
            if job.seamwright.proposed and held is not None and held.objects and not job.seamwright.is_cut:
                stands = all(stands_as_proposed(obj) for obj in held.objects)
                before = "Proposed" if stands else "Proposed, before joints were changed"
                sentence(layout, context, f"{before}: {job.seamwright.proposed}")
            col = layout.column(align=True)
            col.prop(job.seamwright, "hidden", slider=True)
            col.prop(job.seamwright, "pieces", text="Pieces (0: Fewest)")
            col.prop(job.seamwright, "compare_planes")
            row = col.row(align=True)
            row.operator("seamwright.joints_propose", icon="SHADERFX").keep = "NONE"
            if held is not None and any(obj.select_get() for obj in held.objects):
                row.operator("seamwright.joints_propose", text="Keep Selected", icon="LOCKED").keep = "SELECTED"
        col = layout.column(align=True)
        row = col.row(align=True)
        row.operator("seamwright.joint_add", text="Add Plane", icon="MESH_PLANE").shape = "PLANE"
        row.operator("seamwright.joint_add", text="Add Profile", icon="IPO_LINEAR").shape = "PROFILE"
        col.operator("seamwright.joints_equal", icon="ALIGN_JUSTIFY")

    def _shifts(self, context: bpy.types.Context, job: Any) -> None:
        """Shifts by which joints would hide better, by the last cut; of joints that stand as they were cut."""
        changed = SEAMWRIGHT_UL_joints.changed
        told = [obj for obj in job_tree.joints(job) if obj.get("shift_text") and obj.name not in changed]
        if not told:
            return
        box = self.layout.box()
        for obj in told:
            row = box.row()
            sentence(row, context, f"{obj['shift_text']}.", room=3.0)
            col = row.column()
            col.operator("seamwright.joint_shift", text="Shift").joint = obj.name

    def _active(self, context: bpy.types.Context, held: bpy.types.Collection) -> None:
        obj = context.active_object
        if obj is None or obj.name not in held.objects:
            return
        layout = self.layout
        noted = str(obj.get(JOINT, '"part": null'))
        limb = '"limb": [' in noted
        part = not limb and '"part": null' not in noted
        split = layout.split(factor=0.16)
        split.label(text="Cuts")
        col = split.column(align=True)
        col.operator("seamwright.joint_reach", text="Everything", depress=not part and not limb).reach = "ALL"
        row = col.row(align=True)
        row.operator("seamwright.joint_reach", text="Part at Cursor", depress=part).reach = "CURSOR"
        row.operator("seamwright.joint_reach", text="Limb at Cursor", depress=limb).reach = "LIMB"
        if stands_as_proposed(obj):
            sentence(layout, context, f"Joint {obj.get('mark', '')} {obj[REASON]}.")


CLASSES = (SEAMWRIGHT_UL_joints, SEAMWRIGHT_PT_joints)
