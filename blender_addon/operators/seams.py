# SPDX-License-Identifier: GPL-3.0-or-later
"""Marking on the carving: lines that a joint may follow, zones, viewpoints."""

from typing import Any, Final

import bpy
import numpy as np
from bpy.props import EnumProperty, FloatProperty
from mathutils import Vector

from .. import job_tree
from ..convert import KIND
from ..core.errors import MeshError, SeamwrightError
from ..core.mesh.mesh import BACK, CARVED
from ..core.seams.marks import KEEP_WHOLE, MAY_SHOW, MUST_HIDE, PLAIN, wholly
from ..long_work import sentence
from ..surface_marks import ZONE
from ..world import world_matrix
from .common import OnCarving, carving_box, need_scale, select_only

EYE_HEIGHT: Final = 1.6
"""Metres over the floor of a standing grown-up's eye, about; common practice, no source."""

_ZONES: Final = {"PLAIN": PLAIN, "KEEP": KEEP_WHOLE, "SHOW": MAY_SHOW, "HIDE": MUST_HIDE}


class SEAMWRIGHT_OT_zone_mark(OnCarving, bpy.types.Operator):
    """Mark faces of the carving as a zone: those of a face set, those masked, or those last selected"""

    bl_idname = "seamwright.zone_mark"
    bl_label = "Mark Zone"
    bl_options = {"REGISTER", "UNDO"}

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

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Write the zone of the chosen faces."""
        obj: Any = job_tree.active_job(context).seamwright.carving
        data = obj.data
        try:
            chosen = _chosen(context, obj, self.faces)
        except SeamwrightError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        if self.zone == "BACK":
            _write(data, KIND, chosen, BACK)
        else:
            _write(data, ZONE, chosen, _ZONES[self.zone])
            _write(data, KIND, chosen & (_numbers(data, KIND) == BACK), CARVED)
        # Tells those who look without reading a million faces that the zones have changed.
        obj[ZONE] = int(obj.get(ZONE, 0)) + 1
        data.update()
        count = int(chosen.sum())
        self.report({"INFO"}, f"{count} {'face' if count == 1 else 'faces'} marked")
        return {"FINISHED"}


def _chosen(context: bpy.types.Context, obj: Any, faces: str) -> Any:
    """Which faces of the carving are meant, (n,) bool."""
    data = obj.data
    if faces == "SET":
        sets = _numbers(data, ".sculpt_face_set")
        local = world_matrix(obj).inverted() @ context.scene.cursor.location
        hit, _, _, face = obj.closest_point_on_mesh(local)
        if not hit or data.attributes.get(".sculpt_face_set") is None:
            raise MeshError("the carving has no face sets; paint one in Sculpt Mode and set the 3D cursor on it")
        return sets == sets[face]
    if faces == "MASK":
        attribute = data.attributes.get(".sculpt_mask")
        if attribute is None:
            raise MeshError("nothing is masked; paint a mask in Sculpt Mode first")
        values = np.empty(len(data.vertices), dtype=np.float32)
        attribute.data.foreach_get("value", values)
        corner = np.empty(len(data.loops), dtype=np.int32)
        data.loops.foreach_get("vertex_index", corner)
        start = np.empty(len(data.polygons), dtype=np.int32)
        data.polygons.foreach_get("loop_start", start)
        return wholly(values.astype(np.float64), corner.astype(np.int64), start.astype(np.int64), 0.5)
    chosen = np.zeros(len(data.polygons), dtype=bool)
    data.polygons.foreach_get("select", chosen)
    if not chosen.any():
        raise MeshError("no face is selected; select some in Edit Mode and go back to Object Mode")
    return chosen


def _numbers(data: Any, name: str) -> Any:
    """A face attribute of whole numbers, zeros where it is missing, (n,) int32."""
    values = np.zeros(len(data.polygons), dtype=np.int32)
    attribute = data.attributes.get(name)
    if attribute is not None and attribute.domain == "FACE" and attribute.data_type in ("INT", "INT8"):
        attribute.data.foreach_get("value", values)
    return values


def _write(data: Any, name: str, chosen: Any, value: int) -> None:
    """Set a face attribute of whole numbers on some faces; it is made where it is missing and wanted."""
    if not chosen.any() or (data.attributes.get(name) is None and value == 0):
        return
    values = _numbers(data, name)
    values[chosen] = value
    attribute = data.attributes.get(name)
    if attribute is None or attribute.domain != "FACE" or attribute.data_type not in ("INT", "INT8"):
        if attribute is not None:
            data.attributes.remove(attribute)
        attribute = data.attributes.new(name, "INT", "FACE")
    attribute.data.foreach_set("value", values)


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
    SEAMWRIGHT_OT_seam_line_draw,
    SEAMWRIGHT_OT_seam_line_take,
    SEAMWRIGHT_OT_viewpoint_add,
)
