# SPDX-License-Identifier: GPL-3.0-or-later
"""The build order, pins, numbers, and the trial assembly with its slider."""

from typing import Any

import bpy

from .. import job_tree, trial
from .common import InTab, OfJob, changes, sentence

MOST = 20
"""Steps shown; the job pack has them all."""


class SEAMWRIGHT_PT_build(OfJob, bpy.types.Panel):
    """In which order the pieces are put together"""

    bl_label = "Build Order"
    bl_idname = "SEAMWRIGHT_PT_build"
    bl_parent_id = "SEAMWRIGHT_PT_pieces"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show the steps, then what can be done."""
        layout, job = self.layout, job_tree.active_job(context)
        held: list[Any] = list(job_tree.pieces(job))
        pieces = [obj for obj in held if "build_order" in obj]
        if not pieces:
            sentence(layout, context, "No build order yet. Cut first.", "INFO")
            return
        if changes(context, job):
            sentence(layout, context, "This is of the cut before; cut again.", "FILE_REFRESH")
        steps = sorted((obj for obj in pieces if obj["build_order"]), key=lambda obj: obj["build_order"])
        if len(steps) < len(pieces):
            left = ", ".join(str(obj.get("mark")) for obj in pieces if not obj["build_order"])
            sentence(layout, context, f"No straight way in was found for {left}; see the checks under Cut.", "ERROR")
        column = layout.column(align=True)
        column.scale_y = 0.85
        for obj in steps[:MOST]:
            column.label(text=f"{obj['build_order']}: piece {obj.get('mark')}, {obj.get('comes', '')}")
        if len(steps) > MOST:
            sentence(layout, context, f"And {len(steps) - MOST} more; the job pack has them all.")
        self._buttons(context, job)

    def _buttons(self, context: bpy.types.Context, job: Any) -> None:
        layout, obj = self.layout, context.active_object
        if obj is not None and obj in job_tree.pieces(job):
            place = int(obj.get("build_order", 0))
            row = layout.row(align=True)
            row.operator("seamwright.build_pin", text="Earlier", icon="TRIA_UP").place = max(place - 1, 1)
            row.operator("seamwright.build_pin", text="Pin Here", icon="PINNED").place = max(place, 1)
            row.operator("seamwright.build_pin", text="Later", icon="TRIA_DOWN").place = place + 1
            row.operator("seamwright.build_pin", text="", icon="X").place = 0
        layout.operator("seamwright.cut", text="Cut and Number Anew", icon="LINENUMBERS_ON").renumber = True
        layout.operator("seamwright.trial", icon="ARMATURE_DATA")
        scene = trial.trial_scene(job)
        if scene is not None:
            layout.prop(scene, f'["{trial.APART}"]', text="Apart", slider=True)


class SEAMWRIGHT_PT_trial(InTab, bpy.types.Panel):
    """Trial assembly of a job"""

    bl_label = "Trial Assembly"
    bl_idname = "SEAMWRIGHT_PT_trial"
    bl_order = 0

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """The scene is a trial assembly."""
        return trial.is_trial(context.scene)

    def draw(self, context: bpy.types.Context) -> None:
        """The slider, and the way back."""
        layout, scene = self.layout, context.scene
        sentence(layout, context, "Play the animation to see the pieces come in, one a second.")
        layout.prop(scene, f'["{trial.APART}"]', text="Apart", slider=True)
        layout.operator("seamwright.trial_leave", icon="LOOP_BACK")


CLASSES = (SEAMWRIGHT_PT_build, SEAMWRIGHT_PT_trial)
