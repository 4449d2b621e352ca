# SPDX-License-Identifier: GPL-3.0-or-later
"""Going to the faults of a carving, scaling it by taped distances, and mending it; the scan itself is never changed."""

import json
from dataclasses import replace
from typing import Any

import bpy
import numpy as np
from bpy.props import BoolProperty, FloatProperty, FloatVectorProperty, IntProperty
from mathutils import Matrix, Vector

from .. import carving_source, job_tree
from ..core.errors import JobError, Progress
from ..core.intake.mend import Recipe
from ..core.intake.taped import scale_from_tapes, scale_of_tapes
from ..core.job import MEND_STEPS, SMALL_STEPS, Carving, Taped
from ..corner_layers import read_layers
from ..job_tree import JobCollection
from ..long_work import InWindow, LongWork, Step, Steps, beside, sentence
from ..mended import Mended, mend, mended_object
from ..properties import settings_link
from ..voxel_skin import voxel_skin
from ..watch import redraw
from ..world import shown
from .common import OnCarving, OnJob, job_again, job_poll, job_state, scale_of, select_only
from .picking import PicksPoints, can_pick
from .pieces import corners, look_to

_NEAR = 0.05
"""Metres round a fault that the view shows at least."""


class SEAMWRIGHT_OT_fault_show(OnCarving, bpy.types.Operator):
    """Go to this fault: the view turns to it and the 3D cursor is set there; again for the next one of its kind"""

    bl_idname = "seamwright.fault_show"
    bl_label = "Go to the Fault"
    bl_options = {"REGISTER", "UNDO"}

    row: IntProperty(name="Row", min=0)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Set the cursor, turn the view."""
        faults = job_tree.active_job(context).seamwright.faults
        if self.row >= len(faults):
            return {"CANCELLED"}
        fault = faults[self.row]
        places = json.loads(fault.places or "[]")
        if not places:
            self.report({"INFO"}, "This has no one place")
            return {"CANCELLED"}
        at = fault.shown % len(places)
        fault.shown = at + 1
        scale = scale_of(context)
        place = Vector(places[at]) / scale
        context.scene.cursor.location = place
        reach = max(fault.size, _NEAR) / scale
        look_to(context, [place - Vector((reach, 0.0, 0.0)), place + Vector((reach, 0.0, 0.0))])
        self.report({"INFO"}, f"Place {at + 1} of {len(places)}")
        return {"FINISHED"}


class SEAMWRIGHT_OT_tape_pick(OnCarving, PicksPoints, bpy.types.Operator):
    """Click the two ends of a tape on the carving, then say what was taped on the real thing"""

    bl_idname = "seamwright.tape_pick"
    bl_label = "Add a Taped Distance"
    asks = ("click one end of the tape on the carving", "click its other end")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """Wait for two clicks."""
        return self.begin_picking(context) if can_pick(context) else self.execute(context)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Without a view nothing can be clicked."""
        self.report({"ERROR"}, "There is no 3D view to click in; give the two ends to tape_add")
        return {"CANCELLED"}

    def picked(self, context: bpy.types.Context, points: list[Vector]) -> set[Any]:
        """Ask for the length, beginning with that on the scan."""
        first, second = points
        here = (second - first).length
        ops: Any = bpy.ops
        ops.seamwright.tape_add("INVOKE_DEFAULT", first=first, second=second, length=max(here, 1e-4))
        return {"FINISHED"}


class SEAMWRIGHT_OT_tape_add(bpy.types.Operator):
    """Note a taped distance between two points, or between two vertices of the carving selected in Edit Mode"""

    bl_idname = "seamwright.tape_add"
    bl_label = "Taped Distance"
    bl_options = {"REGISTER", "UNDO"}

    length: FloatProperty(
        name="Taped", description="The distance as taped on the real thing", subtype="DISTANCE", min=1e-4, default=1.0
    )
    first: FloatVectorProperty(name="One End", subtype="TRANSLATION", unit="LENGTH", size=3, options={"SKIP_SAVE"})
    second: FloatVectorProperty(name="Other End", subtype="TRANSLATION", unit="LENGTH", size=3, options={"SKIP_SAVE"})

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There is a carving, at rest or in Edit Mode."""
        job = job_tree.active_job(context)
        if context.mode == "EDIT_MESH" and job is not None and context.object == job.seamwright.carving:
            return True
        return job_poll(cls, context)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """Ask for the length."""
        return context.window_manager.invoke_props_dialog(self, title="Taped Distance", confirm_text="Add")

    def draw(self, context: bpy.types.Context) -> None:
        """The length alone; the ends are known."""
        self.layout.prop(self, "length")

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Note the distance among the job's settings."""
        job = job_tree.active_job(context)
        scale = scale_of(context)
        if context.mode == "EDIT_MESH":
            ends = _selected(context.object)
            if len(ends) != 2:
                self.report({"ERROR"}, f"{len(ends)} vertices are selected; select the two ends of the tape")
                return {"CANCELLED"}
        else:
            ends = [Vector(self.first), Vector(self.second)]
        a, b = ((end.x * scale, end.y * scale, end.z * scale) for end in ends)
        try:
            new = Taped(a, b, self.length * scale)
            settings = settings_link.read(job.seamwright)
            scale_from_tapes(np.array([(new.a, new.b)]), np.array([new.length]))
        except JobError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        _set_tapes(context, job, (*settings.carving.taped, new))
        return {"FINISHED"}


def _selected(obj: Any) -> list[Vector]:
    """The selected vertices of an object in Edit Mode, in the world."""
    obj.update_from_editmode()
    picked = np.zeros(len(obj.data.vertices), dtype=np.bool_)
    obj.data.vertices.foreach_get("select", picked)
    return [obj.matrix_world @ obj.data.vertices[row].co for row in np.flatnonzero(picked).tolist()]


class SEAMWRIGHT_OT_tape_remove(OnJob, bpy.types.Operator):
    """Take this taped distance off the list"""

    bl_idname = "seamwright.tape_remove"
    bl_label = "Remove the Taped Distance"
    bl_options = {"REGISTER", "UNDO"}

    row: IntProperty(name="Row", min=0)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Leave one out."""
        job = job_tree.active_job(context)
        taped = settings_link.read(job.seamwright).carving.taped
        _set_tapes(context, job, taped[: self.row] + taped[self.row + 1 :])
        return {"FINISHED"}


class SEAMWRIGHT_OT_carving_scale(OnCarving, bpy.types.Operator):
    """Make a copy of the carving that is scaled by the taped distances, and cut that; the scan stays as it is"""

    bl_idname = "seamwright.carving_scale"
    bl_label = "Scale by the Taped Distances"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Copy the object, not its mesh, so that colours and UV maps stay."""
        job = job_tree.active_job(context)
        try:
            taped = settings_link.read(job.seamwright).carving.taped
            scale = scale_of_tapes(taped)
        except JobError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        if scale is None:
            self.report({"ERROR"}, "No taped distance is given; add one first")
            return {"CANCELLED"}
        carving = job.seamwright.carving
        obj = carving.copy()
        obj.name = f"{carving.name} scaled"
        obj.parent = None
        obj.matrix_world = Matrix.Scale(scale.factor, 4) @ carving.matrix_world
        take_over(context, job, obj)
        scaled = (scale.factor * np.array([(one.a, one.b) for one in taped])).tolist()
        _set_tapes(
            context, job, tuple(Taped(tuple(a), tuple(b), t.length) for (a, b), t in zip(scaled, taped, strict=True))
        )
        self.report({"INFO"}, " ".join(finding.message for finding in scale.findings()))
        return {"FINISHED"}


class SEAMWRIGHT_OT_carving_mend(OnCarving, LongWork, bpy.types.Operator):
    """Make a mended copy of the carving and cut that; the scan stays as it is, with its colours and UV maps"""

    bl_idname = "seamwright.carving_mend"
    bl_label = "Mend a Copy"
    bl_options = {"REGISTER", "UNDO"}
    working = "Mending"

    floor: BoolProperty(name="Cut Off the Floor", description="Cut off floor that was scanned along", default=False)
    skin: BoolProperty(
        name="Lay a New Skin",
        description="Where mending cannot close it: a skin of voxels, its deviation measured both ways",
        default=False,
    )

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, mend beside the window, lay the skin in it, make the object."""
        yield Step(0.0, "reading the carving")
        job = job_tree.active_job(context)
        scale = scale_of(context)
        before, settings = job_state(job, scale, joints=False), settings_link.read(job.seamwright)
        carving = carving_source.snapshot(context, job)
        recipe = _recipe(settings.carving, self.floor, self.skin)
        yield Step(0.05, "reading colours and materials")
        scan = job_again(before).seamwright.carving
        with shown(context, scan) as depsgraph:
            layers = read_layers(scan, depsgraph)

        # Blender's own modifier makes a new skin, and may be called from the window's thread only.
        skin = InWindow(voxel_skin)

        def work(progress: Progress) -> Mended:
            return mend(carving, settings, recipe, layers, scale, progress, skin)

        made = yield from beside(work, 0.1, 0.9, wait, skin)
        yield Step(0.95, "making the object", locked=True)
        job = job_again(before)
        if not made.notes:
            return "Nothing is to be mended"
        obj = mended_object(f"{carving.name} mended", job.seamwright.carving, made, layers)
        take_over(context, job, obj)
        return f"{obj.name}: {'; '.join(made.notes)}"


def _recipe(settings: Carving, floor: bool, skin: bool) -> Recipe:
    """What to mend: what the job mends while it is cut, else small faults; the floor and a new skin if wanted."""
    steps = settings.steps if settings.mend == "steps" else SMALL_STEPS
    if floor:
        steps = tuple(step for step in MEND_STEPS if step == "floor" or step in steps)
    if skin or "remesh" in steps:
        steps = (*(step for step in steps if step not in ("fill", "remesh")), "remesh")
    return Recipe(steps, settings.crumb, settings.fill, settings.deviation, settings.base == "close")


def take_over(context: bpy.types.Context, job: JobCollection, obj: bpy.types.Object) -> None:
    """Have a job cut another object; the one before stays in the scene, hidden."""
    before = job.seamwright.carving
    held = job_tree.ensure_folder(job, job_tree.CARVING)
    if obj.name not in held.objects:
        held.objects.link(obj)
    if before is not None:
        if not [c for c in before.users_collection if c != held] and before.name in held.objects:
            context.scene.collection.objects.link(before)
        if before.name in held.objects:
            held.objects.unlink(before)
        if before.name in context.view_layer.objects:
            before.hide_set(True)
    group = job.seamwright
    group.carving = obj
    group.verdict, group.checked_surface = "", ""
    group.faults.clear()
    select_only(context, [obj])
    look_to(context, corners(obj))


def _set_tapes(context: bpy.types.Context, job: JobCollection, taped: tuple[Taped, ...]) -> None:
    settings = settings_link.read(job.seamwright)
    carving = replace(settings.carving, taped=taped)
    settings_link.load(job.seamwright, replace(settings, carving=carving), scale_of(context))
    redraw()  # after a dialog Blender leaves the sidebar as it was


CLASSES = (
    SEAMWRIGHT_OT_fault_show,
    SEAMWRIGHT_OT_tape_pick,
    SEAMWRIGHT_OT_tape_add,
    SEAMWRIGHT_OT_tape_remove,
    SEAMWRIGHT_OT_carving_scale,
    SEAMWRIGHT_OT_carving_mend,
)
