# SPDX-License-Identifier: GPL-3.0-or-later
"""The joints' letters in the 3D views, as they stand in the tables; drawn over the view, not added to the file."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import blf
import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector

from . import job_tree
from .world import world_matrix

SIZE = 15.0
"""Height of a letter in points, before the scale of the interface."""
LIFT = 4.0
"""Points between a letter and its joint."""
INK = (1.0, 1.0, 1.0, 1.0)
RIM = (0.0, 0.0, 0.0, 0.9)
"""Light with a dark rim: to be read on foam, on a dark scan and on the grid."""

_handles: list[Any] = []


def letters(context: bpy.types.Context) -> Iterator[tuple[str, bpy.types.Object]]:
    """Letter and object of each joint that this view shows."""
    job = job_tree.active_job(context)
    view: Any = context.space_data
    for obj in job_tree.joints(job) if job is not None else ():
        mark = obj.get("mark")
        if mark and obj.visible_get() and (view is None or obj.visible_in_viewport_get(view)):
            yield str(mark), obj


def _draw() -> None:
    context = bpy.context
    view: Any = context.space_data
    region, camera = context.region, context.region_data
    if view is None or region is None or camera is None or not view.overlay.show_overlays:
        return
    scale = context.preferences.system.ui_scale
    blf.size(0, SIZE * scale)
    blf.color(0, *INK)
    blf.enable(0, blf.SHADOW)
    blf.shadow(0, 5, *RIM)
    try:
        for mark, obj in letters(context):
            at = _top(obj, region, camera)
            if at is not None:
                width = blf.dimensions(0, mark)[0]
                blf.position(0, at.x - width / 2.0, at.y + LIFT * scale, 0.0)
                blf.draw(0, mark)
    finally:
        blf.disable(0, blf.SHADOW)


def _top(obj: bpy.types.Object, region: bpy.types.Region, camera: Any) -> Vector | None:
    """Where in the region the joint's highest corner in sight lies, or else its middle."""
    matrix = world_matrix(obj)
    corners = [matrix @ Vector(corner) for corner in obj.bound_box]
    seen = [location_3d_to_region_2d(region, camera, corner) for corner in corners]
    inside = [at for at in seen if at is not None and 0 < at.x < region.width and 0 < at.y < region.height - 40]
    if inside:
        return max(inside, key=lambda at: at.y)
    at: Vector | None = location_3d_to_region_2d(region, camera, sum(corners, Vector()) / 8.0)
    return at


def show() -> None:
    """Begin to draw."""
    if not _handles and not bpy.app.background:
        _handles.append(bpy.types.SpaceView3D.draw_handler_add(_draw, (), "WINDOW", "POST_PIXEL"))


def hide() -> None:
    """Draw no more."""
    while _handles:
        bpy.types.SpaceView3D.draw_handler_remove(_handles.pop(), "WINDOW")
