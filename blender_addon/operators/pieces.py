# SPDX-License-Identifier: GPL-3.0-or-later
"""Looking at pieces and findings."""

from typing import Any

import bpy
from bpy.props import EnumProperty, IntProperty, StringProperty
from mathutils import Vector

from .. import job_tree
from .common import OnCarving, OnJob, scale_of, select_only
from .cut import show_pieces


class SEAMWRIGHT_OT_show(OnCarving, bpy.types.Operator):
    """Show the pieces, or the whole carving"""

    bl_idname = "seamwright.show"
    bl_label = "Show"
    bl_options = {"REGISTER", "UNDO"}

    what: EnumProperty(name="What", items=[("PIECES", "Pieces", ""), ("CARVING", "Carving", "")])

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Switch the view layer's hiding."""
        show_pieces(context, job_tree.active_job(context), self.what == "PIECES")
        return {"FINISHED"}


class SEAMWRIGHT_OT_piece_show(OnJob, bpy.types.Operator):
    """Select this piece or joint and bring it into view"""

    bl_idname = "seamwright.piece_show"
    bl_label = "Show in the View"
    bl_options = {"REGISTER", "UNDO"}

    piece: StringProperty(name="Piece", description="Number of a piece; empty: the active object")
    joint: StringProperty(name="Joint", description="Letter of a joint; empty: none")

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Select and turn the view's middle to it."""
        job = job_tree.active_job(context)
        wanted, held = (self.joint, job_tree.joints(job)) if self.joint else (self.piece, job_tree.pieces(job))
        found: list[Any] = (
            [obj for obj in held if str(obj.get("mark")) == wanted] if wanted else [context.active_object]
        )
        if not found or found[0] is None:
            self.report({"WARNING"}, "There is no such piece any more; cut again")
            return {"CANCELLED"}
        select_only(context, found)
        look_to(context, corners(found[0]))
        return {"FINISHED"}


class SEAMWRIGHT_OT_finding_show(OnJob, bpy.types.Operator):
    """Go to the place that this finding speaks of: the 3D cursor is set there"""

    bl_idname = "seamwright.finding_show"
    bl_label = "Go to the Place"
    bl_options = {"REGISTER", "UNDO"}

    row: IntProperty(name="Row", min=0)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Set the cursor, select the piece or joint."""
        job = job_tree.active_job(context)
        rows = job.seamwright.findings
        if self.row >= len(rows):
            return {"CANCELLED"}
        finding = rows[self.row]
        mark, held = (finding.piece, job_tree.pieces(job)) if finding.piece else (finding.joint, job_tree.joints(job))
        found = [obj for obj in held if mark and str(obj.get("mark")) == mark]
        select_only(context, found)
        if finding.has_place:
            context.scene.cursor.location = Vector(finding.place) / scale_of(context)
        if found:
            look_to(context, corners(found[0]))
        return {"FINISHED"}


def corners(obj: bpy.types.Object) -> list[Vector]:
    """The corners of the box round an object, in the world."""
    return [obj.matrix_world @ Vector(corner) for corner in obj.bound_box]


def look_to(context: bpy.types.Context, points: list[Vector]) -> None:
    """Turn every 3D view's middle to some points, near enough to see them; without a window nothing is done."""
    screen = context.screen
    if screen is None or not points:
        return
    middle = sum(points, Vector()) / len(points)
    reach = max((point - middle).length for point in points)
    for area in screen.areas:
        if area.type == "VIEW_3D":
            view = area.spaces.active.region_3d
            view.view_location = middle
            view.view_distance = 3.5 * max(reach, 1e-3)


CLASSES = (SEAMWRIGHT_OT_show, SEAMWRIGHT_OT_piece_show, SEAMWRIGHT_OT_finding_show)
