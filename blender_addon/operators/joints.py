# SPDX-License-Identifier: GPL-3.0-or-later
"""Adding, ordering and removing joints."""

from dataclasses import replace
from typing import Any

import bpy
import numpy as np
from bpy.props import EnumProperty, IntProperty
from mathutils import Vector

from .. import carving_source, job_tree
from ..core.cutting.joint import Plane, Profile
from ..core.errors import Progress, SeamwrightError
from ..core.mesh.mesh import FloatArray
from ..core.planning.equal import equal_stations
from ..job_tree import JobCollection
from ..joint_object import read_joint, write_joint
from ..long_work import LongWork, Step, Steps, beside, sentence
from ..properties import settings_link
from ..stamps import note_reason
from ..world import world_matrix
from .common import (
    OnCarving,
    OnJob,
    add_joints,
    carving_box,
    job_again,
    job_poll,
    job_state,
    need_scale,
    number_joints,
    remove_joints,
    scale_of,
    select_only,
)

UNDOABLE: Any = {"REGISTER", "UNDO"}
KNOTS = 9
"""Points of a new profile: few enough to take hold of, enough to follow a crevice."""

SQUARE_TO = [
    ("LONG", "Long Side", "Square to the longer level side of the carving"),
    ("X", "X", "Square to the X axis"),
    ("Y", "Y", "Square to the Y axis"),
    ("Z", "Z", "Level"),
    ("CURSOR", "Cursor", "Square to the Z axis of the 3D cursor"),
    ("VIEW", "View", "Square to the line of sight"),
]
AXES = {"X": (1.0, 0.0, 0.0), "Y": (0.0, 1.0, 0.0), "Z": (0.0, 0.0, 1.0)}


def _direction(context: bpy.types.Context, job: JobCollection, choice: str) -> FloatArray:
    """Unit direction that a joint shall be square to."""
    if choice in AXES:
        return np.array(AXES[choice])
    if choice == "CURSOR":
        return np.array(context.scene.cursor.matrix.to_3x3() @ Vector((0.0, 0.0, 1.0)), dtype=np.float64)
    view = getattr(context, "region_data", None)
    if choice == "VIEW" and view is not None:
        return np.array(view.view_rotation @ Vector((0.0, 0.0, 1.0)), dtype=np.float64)
    obj = job.seamwright.carving
    matrix = np.array(world_matrix(obj), dtype=np.float64)
    sides = [np.append(matrix[:2, k] * obj.dimensions[k], 0.0) for k in range(3)]
    lengths = [float(np.linalg.norm(side)) for side in sides]
    longest = sides[int(np.argmax(lengths))]
    return longest / max(lengths) if max(lengths) > 0.0 else np.array(AXES["X"])


class SEAMWRIGHT_OT_joint_add(OnCarving, bpy.types.Operator):
    """Add a joint through the 3D cursor; move and turn it like any object"""

    bl_idname = "seamwright.joint_add"
    bl_label = "Add a Joint"
    bl_options = UNDOABLE

    shape: EnumProperty(
        name="Shape",
        items=[
            ("PLANE", "Plane", "One flat cut"),
            ("PROFILE", "Profile", "A line pushed along the wire, to follow a crevice; edit its points in Edit Mode"),
        ],
    )
    square_to: EnumProperty(name="Square To", items=SQUARE_TO)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Make the joint's object."""
        job = job_tree.active_job(context)
        scale = scale_of(context)
        point = np.array(context.scene.cursor.location, dtype=np.float64) * scale
        normal = _direction(context, job, self.square_to)
        if self.shape == "PLANE":
            joint: Plane | Profile = Plane(point, normal)
        else:
            joint = _straight_profile(point, normal, *carving_box(job, scale))
        made = add_joints(context, job, [joint])
        select_only(context, made)
        self.report({"INFO"}, f"{made[0].name} added; cut when the joints stand")
        return {"FINISHED"}


def _straight_profile(point: FloatArray, w: FloatArray, low: FloatArray, high: FloatArray) -> Profile:
    """A straight line across the carving in the plane of `w` and the vertical, ready to be bent."""
    wire = np.array([0.0, 0.0, 1.0]) if abs(w[2]) < 0.9 else np.array([0.0, 1.0, 0.0])
    u = np.cross(w, wire)
    u /= np.linalg.norm(u)
    reach = float(np.abs(high - low) @ np.abs(u)) * 0.54
    centre = float(((low + high) / 2.0 - point) @ u)
    at = np.linspace(centre - reach, centre + reach, KNOTS)
    return Profile(point, u, w, np.column_stack([at, np.zeros(KNOTS)]))


class SEAMWRIGHT_OT_joints_equal(OnCarving, LongWork, bpy.types.Operator):
    """Add joints at equal stations, so that the carving falls into parts of equal length"""

    bl_idname = "seamwright.joints_equal"
    bl_label = "Equal Stations"
    bl_options = UNDOABLE
    working = "Proposing"

    parts: IntProperty(name="Parts", description="How many parts of equal length", default=4, min=2, max=200)
    square_to: EnumProperty(name="Square To", items=SQUARE_TO[:5])

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, ask the core for the stations, make their objects."""
        yield Step(0.0, "reading the carving")
        job = job_tree.active_job(context)
        before, parts = job_state(job, scale_of(context)), int(self.parts)
        mesh = carving_source.snapshot(context, job).mesh
        given = None if self.square_to == "LONG" else _direction(context, job, self.square_to)

        def stations(progress: Progress) -> tuple[Plane, ...]:
            progress(0.0, "stations")
            return equal_stations(mesh, parts, given)

        joints = yield from beside(stations, 0.5, 0.95, wait)
        return f"{len(add_joints(context, job_again(before), joints))} joints added"


class SEAMWRIGHT_OT_joints_propose(OnCarving, LongWork, bpy.types.Operator):
    """Propose joints that keep every piece within the limits, in place of those that are there; Esc: best so far"""

    bl_idname = "seamwright.joints_propose"
    bl_label = "Propose Joints"
    bl_options = UNDOABLE
    working = "Proposing"
    keeps = True

    keep: EnumProperty(
        name="Keep",
        items=[
            ("NONE", "None", "All joints are proposed anew"),
            ("SELECTED", "Selected Joints", "Selected joints stay and are cut first; the rest is planned round them"),
        ],
    )
    pieces: IntProperty(
        name="Pieces",
        description="How many pieces to propose; 0: as many as the Joints panel asks for",
        default=0,
        min=0,
        max=1000,
    )

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, propose, replace the joints."""
        yield Step(0.0, "reading the carving")
        job = job_tree.active_job(context)
        before = job_state(job, need_scale(context, job))
        settings = settings_link.read(job.seamwright)
        if self.pieces:
            settings = replace(settings, joints=replace(settings.joints, pieces=int(self.pieces)))
        carving = carving_source.snapshot(context, job)
        scale = scale_of(context)
        held = [obj for obj in job_tree.joints(job) if self.keep == "SELECTED" and obj.select_get()]
        locked = [read_joint(obj, job.seamwright.carving, scale) for obj in held]
        proposal = yield from beside(lambda p: carving_source.propose(carving, settings, p, locked), 0.05, 0.95, wait)
        job = job_again(before)
        remove_joints(job)
        made = add_joints(context, job, proposal.joints)
        for obj, reason in zip(made, proposal.reasons, strict=True):
            note_reason(obj, reason.text)
        wish = settings.joints
        job.seamwright.proposed = proposal.text
        # Short, for the narrow columns in which plans stand side by side.
        job.seamwright.proposed_for = (f"{wish.pieces}, " if wish.pieces else "") + f"hide {wish.hidden:.2g}"
        return proposal.text


class SEAMWRIGHT_OT_joint_remove(bpy.types.Operator):
    """Take the active joint away"""

    bl_idname = "seamwright.joint_remove"
    bl_label = "Remove the Joint"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """A joint is active."""
        return job_poll(cls, context, carving=False) and active_joint(cls, context) is not None

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Remove it and make its neighbour active."""
        job = job_tree.active_job(context)
        held = job_tree.joints(job)
        place = held.index(active_joint(type(self), context))
        job_tree.remove_object(held.pop(place))
        number_joints(job)
        if held:
            select_only(context, [held[min(place, len(held) - 1)]])
        return {"FINISHED"}


class SEAMWRIGHT_OT_joints_clear(OnJob, bpy.types.Operator):
    """Take all joints of the job away"""

    bl_idname = "seamwright.joints_clear"
    bl_label = "Remove All Joints"
    bl_options = UNDOABLE

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Remove them."""
        job = job_tree.active_job(context)
        remove_joints(job)
        job.seamwright.proposed = ""
        return {"FINISHED"}


class SEAMWRIGHT_OT_joint_order(bpy.types.Operator):
    """Cut the active joint earlier or later; one that cuts a part alone comes after the cuts that make the part"""

    bl_idname = "seamwright.joint_order"
    bl_label = "Order of Cuts"
    bl_options = UNDOABLE

    way: EnumProperty(name="Way", items=[("EARLIER", "Earlier", ""), ("LATER", "Later", "")])

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """A joint is active."""
        return job_poll(cls, context, carving=False) and active_joint(cls, context) is not None

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Change places with the neighbour."""
        job = job_tree.active_job(context)
        number_joints(job)
        held = job_tree.joints(job)
        place = held.index(active_joint(type(self), context))
        other = place + (1 if self.way == "LATER" else -1)
        if not 0 <= other < len(held):
            return {"CANCELLED"}
        held[place]["order"], held[other]["order"] = other, place
        number_joints(job)
        return {"FINISHED"}


class SEAMWRIGHT_OT_joint_reach(bpy.types.Operator):
    """Set what the active joint cuts: everything in its way, or only the part or the limb at the 3D cursor"""

    bl_idname = "seamwright.joint_reach"
    bl_label = "What It Cuts"
    bl_options = UNDOABLE

    reach: EnumProperty(
        name="Cuts",
        items=[
            ("ALL", "Everything", "Everything in its way"),
            ("CURSOR", "Part at the Cursor", "Only the part in which the 3D cursor stands"),
            (
                "LIMB",
                "Limb at the Cursor",
                "Only where it runs through the limb nearest to the 3D cursor, as of a ring",
            ),
        ],
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """A joint is active."""
        return job_poll(cls, context) and active_joint(cls, context) is not None

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Note the part or the limb with the joint."""
        carving, scale = job_tree.active_job(context).seamwright.carving, scale_of(context)
        obj = active_joint(type(self), context)
        point = np.array(context.scene.cursor.location, dtype=np.float64) * scale
        part, limb = (point if self.reach == name else None for name in ("CURSOR", "LIMB"))
        try:
            write_joint(obj, replace(read_joint(obj, carving, scale), part=part, limb=limb), carving=carving)
        except SeamwrightError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        obj.pop("cut_order", None)
        return {"FINISHED"}


def active_joint(cls: type[bpy.types.Operator], context: bpy.types.Context) -> Any:
    """The active object, if it is a joint of the job."""
    job = job_tree.active_job(context)
    held = job_tree.folder(job, job_tree.JOINTS)
    obj = context.active_object
    if obj is None or held is None or obj.name not in held.objects:
        cls.poll_message_set("Select a joint, in the list or in the view")
        return None
    return obj


CLASSES = (
    SEAMWRIGHT_OT_joint_add,
    SEAMWRIGHT_OT_joints_equal,
    SEAMWRIGHT_OT_joints_propose,
    SEAMWRIGHT_OT_joint_remove,
    SEAMWRIGHT_OT_joints_clear,
    SEAMWRIGHT_OT_joint_order,
    SEAMWRIGHT_OT_joint_reach,
)
