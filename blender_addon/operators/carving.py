# SPDX-License-Identifier: GPL-3.0-or-later
"""Bringing a carving in, and checking it."""

import json
from typing import Any, Final

import bmesh
import bpy
import numpy as np
from bpy.props import EnumProperty, StringProperty

from .. import carving_source, convert, job_setup, job_tree
from ..carving_file import read_file
from ..core.errors import Progress
from ..core.intake.prepare import UP_AXES, check_size, set_upright
from ..core.intake.report import Report
from ..core.job import Job
from ..core.units import parse_quantity
from ..long_work import LongWork, Step, Steps, beside, running
from ..properties import settings_link
from .common import WAIT, OnCarving, job_again, job_state, scale_of, select_only
from .file_choice import TakesFile
from .pieces import corners, look_to

_PLACES: Final = 100
"""Places of one kind of fault that the panel goes through."""


class SEAMWRIGHT_OT_carving_import(LongWork, TakesFile, bpy.types.Operator):
    """Read the shape of a carving from an STL, PLY or OBJ file, without colours and UV maps, and make a job of it"""

    bl_idname = "seamwright.carving_import"
    bl_label = "Import a Carving"
    bl_options = {"REGISTER", "UNDO"}
    working = "Reading"

    filter_glob: StringProperty(default="*.stl;*.ply;*.obj", options={"HIDDEN"})
    unit: EnumProperty(
        name="Unit",
        description="What one of the file's own numbers is",
        items=[
            ("1 m", "Metres", ""),
            ("1 mm", "Millimetres", ""),
            ("1 cm", "Centimetres", ""),
            ("1 in", "Inches", ""),
            ("1 ft", "Feet", ""),
        ],
    )
    up: EnumProperty(
        name="Up", description="The file's axis that points up", items=[(a, a.upper(), "") for a in UP_AXES]
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Object Mode, and nothing else goes on."""
        if context.mode != "OBJECT":
            cls.poll_message_set("Go back to Object Mode first")
        elif running() is not None:
            cls.poll_message_set(WAIT)
        else:
            return True
        return False

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """Ask for the file, or for the unit of one that was dropped."""
        if self.filepath:
            return context.window_manager.invoke_props_dialog(self, title="Import a Carving", confirm_text="Import")
        return self.choose(context)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Read in a window a step at a time; at once otherwise."""
        if not bpy.app.background and context.window is not None and self.options.is_invoke:
            return self.begin(context)
        return LongWork.execute(self, context)

    def draw(self, context: bpy.types.Context) -> None:
        """The two questions that a mesh file leaves open."""
        if context.space_data is None or context.space_data.type != "FILE_BROWSER":
            self.layout.label(text=self.path().name)
        self.layout.use_property_split = True
        self.layout.prop(self, "unit")
        self.layout.prop(self, "up")

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, set upright, make the object and its job."""
        path, metres, up = str(self.path()), parse_quantity(self.unit, "length"), self.up

        scale = scale_of(context)

        def read(progress: Progress) -> tuple[str, int, convert.MeshArrays]:
            progress(0.0, "the file")
            carving = read_file(path)
            mesh = set_upright(carving.mesh, metres, up)
            check_size(mesh, metres, carving.name, "choose another unit")
            progress(0.6, "edges")
            return carving.name, len(mesh.triangles), convert.mesh_arrays(mesh, scale_length=scale)

        name, count, arrays = yield from beside(read, 0.0, 0.8, wait)
        yield Step(0.8, "making the object", locked=True)
        title = bpy.path.display_name(name)
        obj = bpy.data.objects.new(title, convert.mesh_data(title, arrays))
        job = job_setup.make_job(context, obj, Job(), title=obj.name)
        select_only(context, [obj])
        look_to(context, corners(obj))
        return f"{name}: {count:,} triangles; job {job.name} made, check its carving next"


class SEAMWRIGHT_OT_carving_check(OnCarving, LongWork, bpy.types.Operator):
    """Look at the carving: whether it is a solid, and what would be mended; the object is not changed"""

    bl_idname = "seamwright.carving_check"
    bl_label = "Check the Carving"
    bl_options = {"REGISTER", "UNDO"}
    working = "Checking"

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, look, note."""
        yield Step(0.0, "reading the carving")
        job = job_tree.active_job(context)
        before = job_state(job, scale_of(context), joints=False)
        settings = settings_link.read(job.seamwright)
        carving = carving_source.snapshot(context, job)

        def look(progress: Progress) -> Report:
            return carving_source.look_at(carving, settings, progress)

        report = yield from beside(look, 0.1, 0.9, wait)
        group = job_again(before).seamwright
        group.verdict, group.checked_surface = report.verdict, before.surface
        rows = [
            f"{report.triangles:,} triangles, {report.bodies} {'body' if report.bodies == 1 else 'bodies'}",
            f"{' × '.join(f'{v:.3f}' for v in report.size)} m",
        ]
        if report.volume is not None:
            rows.append(f"{report.volume:.3f} m³, {np.asarray(report.areas)[0]:.2f} m² carved")
        if carving_source.size_problem(carving.mesh):
            rows.append("! " + carving_source.size_problem(carving.mesh))
        if report.reason:
            # What is wrong stands in the list of faults, with its places; what to do about it stands here alone.
            what, _, remedy = report.reason.partition(". ")
            if not report.faults:
                rows.append(f"! {what[:1].upper()}{what[1:].rstrip('.')}.")
            if remedy:
                rows.append("> " + remedy)
        rows += [f"- {note}" for note in (*report.read, *report.mended)]
        group.report = "\n".join(rows)
        group.faults.clear()
        for fault in report.faults:
            row = group.faults.add()
            row.name, row.severity = fault.kind, str(fault.severity)
            row.message, row.remedy, row.size = fault.message, fault.remedy, fault.size
            row.places = json.dumps(fault.places[:_PLACES].tolist())
        return f"The carving: {report.verdict}"


class SEAMWRIGHT_OT_carving_faults(OnCarving, bpy.types.Operator):
    """Select the edges of the carving that keep it from being a solid, in Edit Mode"""

    bl_idname = "seamwright.carving_faults"
    bl_label = "Show the Open Edges"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Go to Edit Mode with edges that have not exactly two faces selected."""
        obj = job_tree.active_job(context).seamwright.carving
        if obj.name not in context.view_layer.objects:
            self.report({"ERROR"}, f"{obj.name} is not in this view layer")
            return {"CANCELLED"}
        obj.hide_set(False)
        select_only(context, [obj])
        faces = np.zeros(len(obj.data.edges), dtype=np.int32)
        edge = np.empty(len(obj.data.loops), dtype=np.int32)
        obj.data.loops.foreach_get("edge_index", edge)
        np.add.at(faces, edge, 1)
        # Through bmesh: Blender 5.0 falls over when "select" of a mesh is set from an array.
        bm = bmesh.new()
        bm.from_mesh(obj.data)
        for item in (*bm.faces, *bm.verts):
            item.select = False
        for item, fault in zip(bm.edges, (faces != 2).tolist(), strict=True):
            item.select = fault
        bm.to_mesh(obj.data)
        bm.free()
        context.tool_settings.mesh_select_mode = (False, True, False)
        bpy.ops.object.mode_set(mode="EDIT")
        self.report({"INFO"}, f"{int((faces != 2).sum())} edges selected")
        return {"FINISHED"}


CLASSES = (SEAMWRIGHT_OT_carving_import, SEAMWRIGHT_OT_carving_check, SEAMWRIGHT_OT_carving_faults)
