# SPDX-License-Identifier: GPL-3.0-or-later
"""Clicking points on what stands in the view, in Object Mode and without a tool of its own."""

from __future__ import annotations

from typing import Any, Final

import bpy
from bpy_extras.view3d_utils import region_2d_to_origin_3d, region_2d_to_vector_3d
from mathutils import Vector

from .. import job_tree

_MOST: Final = 100
"""Surfaces before the carving that are looked through."""
_PAST: Final = 1e-5
"""Of the way so far: how far behind a surface the next look begins."""


class PicksPoints:
    """Mix-in of an operator that is given points by clicks in the view beside the sidebar.

    `asks` says for each point what to click; `picked` is called with all of them, in Blender units, and its answer is
    the operator's.
    """

    asks: tuple[str, ...] = ()
    report: Any
    _points: list[Vector]

    def picked(self, context: bpy.types.Context, points: list[Vector]) -> set[Any]:
        """Go on with the points."""
        raise NotImplementedError

    def begin_picking(self, context: bpy.types.Context) -> set[Any]:
        """Wait for clicks."""
        self._points = []
        self._ask(context)
        handler: Any = self
        context.window_manager.modal_handler_add(handler)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """A click on a surface is a point; Esc and the right button end it."""
        if event.type in {"ESC", "RIGHTMOUSE"}:
            self.cancel(context)
            return {"CANCELLED"}
        job = job_tree.active_job(context)
        if job is None or not job_tree.is_held(job, job.seamwright.carving):
            self.cancel(context)
            self.report({"WARNING"}, "The carving was removed meanwhile; nothing was picked")
            return {"CANCELLED"}
        if event.type != "LEFTMOUSE" or event.value != "PRESS":
            return {"PASS_THROUGH"}
        hit = _under(context, event)
        if hit is None:
            self.report({"WARNING"}, f"Nothing there; {self.asks[len(self._points)]}")
            return {"RUNNING_MODAL"}
        self._points.append(hit)
        if len(self._points) < len(self.asks):
            self._ask(context)
            return {"RUNNING_MODAL"}
        self.cancel(context)
        return self.picked(context, self._points)

    def cancel(self, context: bpy.types.Context) -> None:
        """It ends without points, also where Blender ends it: another file is opened."""
        if context.workspace is not None:
            context.workspace.status_text_set(None)

    def _ask(self, context: bpy.types.Context) -> None:
        place = len(self._points)
        word = self.asks[place]
        context.workspace.status_text_set(
            f"{word[:1].upper()}{word[1:]} ({place + 1} of {len(self.asks)})   |   Esc: leave it"
        )


def can_pick(context: bpy.types.Context) -> bool:
    """Whether there is a view to click in."""
    there = context.window is not None and context.area is not None
    return there and not bpy.app.background and context.area.type == "VIEW_3D"


def _under(context: bpy.types.Context, event: bpy.types.Event) -> Any:
    """Where the line of sight under the mouse meets the carving first, or None; joints' sheets are looked through."""
    # The button stands in the sidebar, the click falls into the view beside it.
    area = context.area
    region = next((r for r in area.regions if r.type == "WINDOW"), None)
    view = getattr(area.spaces.active, "region_3d", None)
    if region is None or view is None:
        return None
    at = (event.mouse_x - region.x, event.mouse_y - region.y)
    if not (0 <= at[0] < region.width and 0 <= at[1] < region.height):
        return None
    origin, way = region_2d_to_origin_3d(region, view, at), region_2d_to_vector_3d(region, view, at)
    carving = job_tree.active_job(context).seamwright.carving
    for _ in range(_MOST):
        hit, place, _, _, obj, _ = context.scene.ray_cast(context.evaluated_depsgraph_get(), origin, way)
        if not hit:
            return None
        if obj.original == carving:
            return place
        origin = place + way * max(_PAST * (place - origin).length, _PAST)
    return None
