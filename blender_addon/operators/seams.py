# SPDX-License-Identifier: GPL-3.0-or-later
"""Marking on the carving: lines that a joint may follow, zones, viewpoints."""

from typing import Any, Final

import bpy
from bpy.props import EnumProperty, FloatProperty
from mathutils import Vector

from .. import job_tree, zones
from ..compat import is_editable, take_mask_brush
from ..core.errors import MeshError, SeamwrightError
from ..long_work import Dropped, LongWork, Step, Steps, running, sentence
from .common import OnCarving, carving_box, job_poll, need_scale, scale_of, select_only
from .cut import show_pieces

EYE_HEIGHT: Final = 1.6
"""Metres over the floor of a standing grown-up's eye, about; common practice, no source."""

OWN_MASK: Final = "own_mask"
"""Custom property of a job while a zone is painted: the carving had no mask before."""


class SEAMWRIGHT_OT_zone_mark(LongWork, bpy.types.Operator):
    """Say what these faces of the carving are: to be kept whole, free to show a joint, to hide one, or a back"""

    bl_idname = "seamwright.zone_mark"
    bl_label = "Mark Zone"
    bl_options = {"REGISTER", "UNDO"}
    working = "Marking"

    zone: EnumProperty(
        name="Zone",
        items=[
            ("KEEP", "Keep Whole", "No joint may cross it: a face, lettering, a fine spur"),
            ("SHOW", "May Show", "A joint may run here off any seam"),
            ("HIDE", "Must Hide", "A joint here must keep to a seam"),
            ("BACK", "Back", "Unseen: against a frame or wall"),
            ("PLAIN", "Nothing Special", "Take these faces out of all zones"),
        ],
    )
    faces: EnumProperty(
        name="Faces",
        items=[
            ("SET", "Face Set at Cursor", "The sculpt face set on which the 3D cursor stands"),
            ("MASK", "Masked", "Faces that are masked in Sculpt Mode"),
            ("SELECTED", "Selected", "Faces that were selected when Edit Mode was left"),
        ],
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There is a carving, at rest or being painted on."""
        return (is_painting(context) and running() is None) or job_poll(cls, context)

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Write the zone of the chosen faces; painting ends with it."""
        name, scale = job_tree.active_job(context).name, scale_of(context)
        painted = is_painting(context)
        yield Step(0.0, "reading the faces", locked=True, idle=True)
        if painted:
            bpy.ops.object.mode_set(mode="OBJECT")
            # Strokes are undone in another way than everything else: a step of its own keeps the two apart.
            bpy.ops.ed.undo_push(message="Paint a Zone")
            yield Step(0.1, "reading the faces", locked=True, idle=True)
        _, obj = _marked(name)
        chosen = zones.chosen_faces(context, obj, self.faces)
        yield Step(0.3, "covering the zones", locked=True, idle=True)
        _, obj = _marked(name)
        zone_of, kind = zones.zoned(obj, chosen, self.zone)
        covering = zones.covers(obj, zone_of, kind, scale)
        try:
            while True:
                job, obj = _marked(name)
                try:
                    next(covering)
                except StopIteration as done:
                    covers: zones.Covers = done.value
                    break
                yield Step(0.5, "covering the zones", locked=True, idle=True)
        finally:
            covering.close()
        zones.put(job, obj, zone_of, kind, covers)
        if painted and job.pop(OWN_MASK, False):
            obj.data.attributes.remove(obj.data.attributes[zones.MASK])
        count = int(chosen.sum())
        return f"{count:,} {'face' if count == 1 else 'faces'} marked. {covers.said}".strip()


def _marked(name: str) -> tuple[Any, Any]:
    """The job of this name and its carving, as they are now."""
    job: Any = bpy.data.collections.get(name)
    if job is None or not job_tree.is_held(job, job.seamwright.carving):
        raise Dropped("the carving was removed meanwhile; nothing was marked")
    return job, job.seamwright.carving


def is_painting(context: bpy.types.Context) -> bool:
    """Whether the carving of the job is in Sculpt Mode."""
    job = job_tree.active_job(context)
    return context.mode == "SCULPT" and job is not None and context.object == job.seamwright.carving


class SEAMWRIGHT_OT_zone_paint(OnCarving, LongWork, bpy.types.Operator):
    """Take up the mask brush and paint on the carving what is to be a zone, without Edit Mode"""

    bl_idname = "seamwright.zone_paint"
    bl_label = "Paint a Zone"
    bl_options = {"REGISTER", "UNDO"}
    working = "Painting"

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Show the carving, go to Sculpt Mode, take the brush.

        Going to Sculpt Mode is one call of Blender's, over half a second with two million triangles: it is said first.
        """
        job = job_tree.active_job(context)
        obj: Any = job.seamwright.carving
        if not (is_editable(obj) and is_editable(obj.data)):
            raise MeshError(f"the carving {obj.name} is linked from another file; make it local to paint on it")
        name = job.name
        yield Step(0.0, "showing the carving", locked=True, idle=True)
        job, obj = _marked(name)
        if job.seamwright.is_cut:
            show_pieces(context, job, False)
        if obj.name not in context.view_layer.objects:
            raise MeshError(f"the carving {obj.name} is not in this view layer")
        obj.hide_viewport = False
        obj.hide_set(False)
        select_only(context, [obj])
        yield Step(0.3, "taking up the brush, which may take a second", locked=True, idle=True)
        job, obj = _marked(name)
        # A mask that was made for a zone goes when the zone is marked; one that was there before stays.
        job[OWN_MASK] = obj.data.attributes.get(zones.MASK) is None
        bpy.ops.object.mode_set(mode="SCULPT")
        if not bpy.app.background:
            take_mask_brush()
        return "Paint what is to be a zone, then choose which in the panel"


class SEAMWRIGHT_OT_seam_line_draw(OnCarving, bpy.types.Operator):
    """Draw lines on the carving that a joint may follow; leave Edit Mode when done. The carving stays as it is"""

    bl_idname = "seamwright.seam_line_draw"
    bl_label = "Draw a Line"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Make an empty curve and take up Blender's pen, set to draw on surfaces."""
        job = job_tree.active_job(context)
        data: Any = bpy.data.curves.new("marked line", "CURVE")
        data.dimensions = "3D"
        obj = bpy.data.objects.new("marked line", data)
        obj.show_in_front = True
        job_tree.ensure_folder(job, job_tree.SEAM_LINES).objects.link(obj)
        select_only(context, [obj])
        if context.view_layer.objects.active != obj:  # its folder is left out of the view layer
            self.report({"ERROR"}, f"{obj.name} is not in this view layer")
            return {"CANCELLED"}
        settings = context.scene.tool_settings.curve_paint_settings
        settings.curve_type, settings.depth_mode, settings.surface_offset = "POLY", "SURFACE", 0.0
        if not bpy.app.background:
            bpy.ops.object.mode_set(mode="EDIT")
            bpy.ops.wm.tool_set_by_id(name="builtin.draw")
        return {"FINISHED"}


class SEAMWRIGHT_OT_seam_line_take(OnCarving, bpy.types.Operator):
    """Let joints follow the selected curves"""

    bl_idname = "seamwright.seam_line_take"
    bl_label = "Take Selected Curves"
    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Link the curves into the job's folder."""
        held = job_tree.ensure_folder(job_tree.active_job(context), job_tree.SEAM_LINES)
        chosen = [obj for obj in context.selected_objects if obj.type == "CURVE" and obj.name not in held.objects]
        for obj in chosen:
            held.objects.link(obj)
        if not chosen:
            self.report({"WARNING"}, "No other curve is selected")
            return {"CANCELLED"}
        self.report({"INFO"}, f"{len(chosen)} taken")
        return {"FINISHED"}


class SEAMWRIGHT_OT_viewpoint_add(OnCarving, bpy.types.Operator):
    """Put a camera where you look from now, at eye height over the carving's floor: joints are judged from there"""

    bl_idname = "seamwright.viewpoint_add"
    bl_label = "Add Viewpoint"
    bl_options = {"REGISTER", "UNDO"}

    height: FloatProperty(
        name="Eye Height", description="Over the carving's lowest place, in metres", default=EYE_HEIGHT
    )

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Make the camera; without a view it stands two lengths in front of the carving."""
        job = job_tree.active_job(context)
        try:
            scale = need_scale(context, job)
        except SeamwrightError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        low, high = (Vector((corner / scale).tolist()) for corner in carving_box(job, scale))
        middle = (low + high) / 2.0
        view: Any = context.region_data
        if view is not None:
            eye = view.view_matrix.inverted().translation.copy()
        else:
            eye = middle - Vector((0.0, 2.0 * max((high - low)[:]), 0.0))
        eye.z = low.z + self.height / scale
        obj = bpy.data.objects.new("viewpoint", bpy.data.cameras.new("viewpoint"))
        obj.location = eye
        obj.rotation_euler = (middle - eye).to_track_quat("-Z", "Y").to_euler()
        job_tree.ensure_folder(job, job_tree.VIEWPOINTS).objects.link(obj)
        return {"FINISHED"}


CLASSES = (
    SEAMWRIGHT_OT_zone_mark,
    SEAMWRIGHT_OT_zone_paint,
    SEAMWRIGHT_OT_seam_line_draw,
    SEAMWRIGHT_OT_seam_line_take,
    SEAMWRIGHT_OT_viewpoint_add,
)
