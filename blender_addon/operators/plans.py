# SPDX-License-Identifier: GPL-3.0-or-later
"""Plans of joints kept with the job: put by with what they come to, taken into the view, dropped."""

from typing import Any

import bpy
from bpy.props import IntProperty, StringProperty

from .. import carving_source, job_tree, kept_plans
from ..core.errors import SeamwrightError
from ..core.planning.suggest import shifted
from ..joint_object import put_joint, read_joint
from ..long_work import LongWork, Step, Steps, beside, sentence
from ..properties import settings_link
from .common import (
    OnCarving,
    add_joints,
    job_again,
    job_poll,
    job_state,
    need_scale,
    note_joints,
    number_joints,
    read_joints,
    remove_joints,
    scale_of,
)

UNDOABLE: Any = {"REGISTER", "UNDO"}


class SEAMWRIGHT_OT_plan_keep(OnCarving, LongWork, bpy.types.Operator):
    """Keep the joints in the view as a plan, with what they come to on the exact cut, to set beside another"""

    bl_idname = "seamwright.plan_keep"
    bl_label = "Keep This Plan"
    bl_options = UNDOABLE
    working = "Weighing"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There are joints to keep."""
        if not super().poll(context):
            return False
        if not job_tree.joints(job_tree.active_job(context)):
            cls.poll_message_set("There are no joints to keep: have some proposed, or add them")
            return False
        return True

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, cut and weigh beside, put by."""
        yield Step(0.0, "reading the carving")
        job = job_tree.active_job(context)
        scale = need_scale(context, job)
        before = job_state(job, scale)
        settings, joints = settings_link.read(job.seamwright), read_joints(job, scale)
        carving = carving_source.snapshot(context, job)
        measures = yield from beside(lambda p: carving_source.weigh(carving, settings, joints, p), 0.05, 0.95, wait)
        job = job_again(before)
        note_joints(job, joints)
        plan = kept_plans.put_by(job, measures)
        return f"Kept as {plan.name}: {measures.pieces} {'piece' if measures.pieces == 1 else 'pieces'}"


class _OnPlan:
    """Mix-in of an operator on a kept plan; it stands before the other bases."""

    row: IntProperty(name="Plan", description="Which of the kept plans, from 0", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There is a kept plan."""
        operator: Any = cls
        if not job_poll(operator, context):
            return False
        if not job_tree.active_job(context).seamwright.plans:
            operator.poll_message_set("No plan is kept yet")
            return False
        return True


class SEAMWRIGHT_OT_plan_take(_OnPlan, bpy.types.Operator):
    """Put a kept plan's joints into the view in place of those there, which are kept too if they are not yet"""

    bl_idname = "seamwright.plan_take"
    bl_label = "Take This Plan"
    bl_options = UNDOABLE

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Keep what is there, make the plan's objects."""
        job = job_tree.active_job(context)
        if not 0 <= self.row < len(job.seamwright.plans):
            self.report({"ERROR"}, f"There is no plan {self.row}")
            return {"CANCELLED"}
        said = ""
        try:
            scale = need_scale(context, job)
            if job_tree.joints(job) and kept_plans.in_view(job) < 0:
                note_joints(job, read_joints(job, scale))
                said = f"; the joints that were there are kept as {kept_plans.put_by(job, None).name}"
            plan = job.seamwright.plans[self.row]
            joints = kept_plans.joints_of(plan)
        except SeamwrightError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        remove_joints(job)
        entries = kept_plans.entries(plan.joints)
        for obj, entry in zip(add_joints(context, job, joints), entries, strict=True):
            kept_plans.tell(obj, entry)
        number_joints(job)
        kept_plans.note(job)
        job.seamwright.proposed, job.seamwright.proposed_for = plan.text, plan.wish
        self.report({"INFO"}, f"{plan.name} is in the view{said}")
        return {"FINISHED"}


class SEAMWRIGHT_OT_plan_drop(_OnPlan, bpy.types.Operator):
    """Forget a kept plan; joints in the view stay"""

    bl_idname = "seamwright.plan_drop"
    bl_label = "Forget This Plan"
    bl_options = UNDOABLE

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Take it off the list."""
        plans = job_tree.active_job(context).seamwright.plans
        if not 0 <= self.row < len(plans):
            return {"CANCELLED"}
        plans.remove(self.row)
        return {"FINISHED"}


class SEAMWRIGHT_OT_joint_shift(bpy.types.Operator):
    """Shift a joint to where the last cut found that it hides better; cut again to see what it comes to"""

    bl_idname = "seamwright.joint_shift"
    bl_label = "Shift"
    bl_options = UNDOABLE

    joint: StringProperty(name="Joint", description="Name of its object", options={"HIDDEN"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There is a job."""
        return job_poll(cls, context)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Move the object, and forget what was suggested of it."""
        job, scale = job_tree.active_job(context), scale_of(context)
        obj: Any = next((one for one in job_tree.joints(job) if one.name == self.joint and one.get("shift_m")), None)
        if obj is None:
            self.report({"ERROR"}, f"No shift is suggested for {self.joint or 'this joint'}; cut first")
            return {"CANCELLED"}
        carving = job.seamwright.carving
        try:
            put_joint(obj, shifted(read_joint(obj, carving, scale), obj["shift_m"]), carving, scale)
        except SeamwrightError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        obj.pop("shift_m")
        obj.pop("shift_text", None)
        self.report({"INFO"}, f"{obj.name} is shifted; cut again to see what it comes to")
        return {"FINISHED"}


CLASSES = (
    SEAMWRIGHT_OT_plan_keep,
    SEAMWRIGHT_OT_plan_take,
    SEAMWRIGHT_OT_plan_drop,
    SEAMWRIGHT_OT_joint_shift,
)
