# SPDX-License-Identifier: GPL-3.0-or-later
"""Build order: pins, trial assembly."""

from dataclasses import replace
from typing import Any

import bpy
from bpy.props import IntProperty

from .. import job_tree, trial
from ..core.job import Build, Job, Pin
from .common import change_settings, job_poll


def _cut_poll(cls: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    if not job_poll(cls, context):
        return False
    if not job_tree.pieces(job_tree.active_job(context)):
        cls.poll_message_set("Cut first")
        return False
    return True


class SEAMWRIGHT_OT_trial(bpy.types.Operator):
    """Show in a scene of its own how the pieces come in one by one; the pieces here stay put"""

    bl_idname = "seamwright.trial"
    bl_label = "Trial Assembly"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There are pieces."""
        return _cut_poll(cls, context)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Make the scene anew, and go there."""
        scene = trial.build_trial(job_tree.active_job(context), context.scene.unit_settings)
        if context.window is not None:
            context.window.scene = scene
        return {"FINISHED"}


class SEAMWRIGHT_OT_trial_leave(bpy.types.Operator):
    """Go back to the scene of the job"""

    bl_idname = "seamwright.trial_leave"
    bl_label = "Back to the Job"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """The scene is a trial assembly."""
        return trial.is_trial(context.scene)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Show the first scene that holds the job."""
        scene: Any = context.scene
        job = bpy.data.collections.get(str(scene[trial.TRIAL]))
        home = next((s for s in bpy.data.scenes if job is not None and job in s.collection.children_recursive), None)
        if home is None or context.window is None:
            self.report({"WARNING"}, "The job of this trial assembly is gone")
            return {"CANCELLED"}
        context.window.scene = home
        return {"FINISHED"}


class SEAMWRIGHT_OT_build_pin(bpy.types.Operator):
    """Pin the active piece to a place in the build order; cut again to check it"""

    bl_idname = "seamwright.build_pin"
    bl_label = "Pin"
    bl_options = {"REGISTER", "UNDO"}

    place: IntProperty(name="Place", description="Place in the build order; 0 takes the pin off", min=0)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """A piece is active."""
        if not _cut_poll(cls, context):
            return False
        if context.active_object not in job_tree.pieces(job_tree.active_job(context)):
            cls.poll_message_set("Make a piece active first")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Write the pin into the job's settings."""
        piece: Any = context.active_object
        x, y, z = (float(v) for v in piece["part_m"])
        part = (x, y, z)

        def pinned(settings: Job) -> Job:
            pins = tuple(p for p in settings.build.pins if p.part != part and p.place != self.place)
            if self.place:
                pins = (*pins, Pin(part, int(self.place)))
            return replace(settings, build=Build(pins))

        return change_settings(self, job_tree.active_job(context), pinned)


CLASSES = (SEAMWRIGHT_OT_trial, SEAMWRIGHT_OT_trial_leave, SEAMWRIGHT_OT_build_pin)
