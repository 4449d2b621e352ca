# SPDX-License-Identifier: GPL-3.0-or-later
"""Trial assembly: a scene of its own in which the pieces come in one by one, and come apart by one slider."""

from __future__ import annotations

import math
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector

from . import convert, job_tree
from .compat import curves_of
from .core.jobpack.shots import FRONT
from .core.jobpack.view_fit import FloatArray, fit
from .job_tree import JobCollection
from .site_objects import WAY_IN

TRIAL = "seamwright_trial"
"""Custom property of the scene: name of its job."""

APART = "apart"
"""Custom property of the scene: 0 as built, 1 far apart."""

STEP_FRAMES = 24
"""Frames of one step: a second at Blender's usual rate."""

_SPREAD = 0.9
"""How far pieces move from the middle at 1, as a share of their distance to it; twice that upwards."""


def trial_scene(job: JobCollection) -> Any:
    """The trial assembly of a job, or None."""
    return next((s for s in bpy.data.scenes if s.get(TRIAL) == job.name), None)


def is_trial(scene: Any) -> bool:
    """Whether a scene is a trial assembly."""
    return scene is not None and TRIAL in scene


def build_trial(job: JobCollection, units: bpy.types.UnitSettings) -> Any:
    """Make the trial assembly of a job anew.

    Notes
    -----
    Linked duplicates: mesh and materials are the pieces' own, which stay where they are. Location is keyframed, one
    piece a second in build order, along its way in; being apart is a driver on the delta location, so that both work
    together.
    """
    old = trial_scene(job)
    scene: Any = bpy.data.scenes.new(f"{job.name} trial assembly")
    if old is not None:
        for window in bpy.context.window_manager.windows:
            if window.scene == old:
                window.scene = scene
        remove_trial(old)
    scene[TRIAL] = job.name
    scene[APART] = 0.0
    scene.id_properties_ui(APART).update(min=0.0, max=1.0, soft_min=0.0, soft_max=1.0, description="How far apart")
    scene.unit_settings.system, scene.unit_settings.scale_length = units.system, units.scale_length
    pieces: list[Any] = sorted(job_tree.pieces(job), key=lambda obj: (obj.get("build_order", 0) or 1 << 30, obj.name))
    if not pieces:
        return scene
    corners = np.array([[list(obj.matrix_world @ Vector(c)) for c in obj.bound_box] for obj in pieces])
    low, high = corners.min(axis=(0, 1)), corners.max(axis=(0, 1))
    middle = np.array([*(low + high)[:2] / 2.0, low[2]])
    reach = float(np.linalg.norm(high - low))
    for number, (piece, box) in enumerate(zip(pieces, corners, strict=True)):
        twin: Any = piece.copy()
        twin.name = f"{piece.name} trial"
        twin.parent = None
        twin.animation_data_clear()
        scene.collection.objects.link(twin)
        _come(twin, np.array(piece.get(WAY_IN, (0.0, 0.0, 0.0))), reach, 1 + number * STEP_FRAMES)
        away = (box.mean(axis=0) - middle) * np.array([_SPREAD, _SPREAD, 2.0 * _SPREAD])
        away[2] = max(away[2], 0.0)
        _drive(twin, scene, away)
    scene.frame_start, scene.frame_end = 1, 1 + len(pieces) * STEP_FRAMES
    scene.frame_set(scene.frame_end)
    _camera(scene, corners.reshape(-1, 3), low, high)
    return scene


def remove_trial(scene: Any) -> None:
    """Take a trial assembly out of the file."""
    for obj in list(scene.collection.all_objects):
        data, action = obj.data, obj.animation_data.action if obj.animation_data else None
        bpy.data.objects.remove(obj)
        if action is not None and action.users == 0:
            bpy.data.actions.remove(action)
        if isinstance(data, bpy.types.Camera) and data.users == 0:
            bpy.data.cameras.remove(data)
    bpy.data.scenes.remove(scene)


def _come(obj: Any, way_in: FloatArray, reach: float, start: int) -> None:
    """Keyframes of a piece: hidden, seen from `start`, straight to its place within a step."""
    place = obj.matrix_world.translation.copy()
    obj.matrix_world = Matrix.Translation(place)
    arrive = start + STEP_FRAMES - 4
    for frame, shift in ((start, -way_in * reach), (arrive, np.zeros(3))):
        obj.location = [a + float(b) for a, b in zip(place, shift, strict=True)]
        obj.keyframe_insert("location", frame=frame)
    for frame, hidden in ((0, True), (start, False)):
        obj.hide_viewport = obj.hide_render = hidden
        obj.keyframe_insert("hide_viewport", frame=frame)
        obj.keyframe_insert("hide_render", frame=frame)
    for curve in curves_of(obj):
        for key in curve.keyframe_points:
            key.interpolation = "LINEAR" if curve.data_path == "location" else "CONSTANT"


def _drive(obj: Any, scene: Any, away: FloatArray) -> None:
    for axis in range(3):
        driver = obj.driver_add("delta_location", axis).driver
        driver.type = "SCRIPTED"
        variable = driver.variables.new()
        variable.name, variable.type = "apart", "SINGLE_PROP"
        target = variable.targets[0]
        target.id_type, target.id, target.data_path = "SCENE", scene, f'["{APART}"]'
        driver.expression = f"apart * {float(away[axis]):.6f}"


def _camera(scene: Any, points: FloatArray, low: FloatArray, high: FloatArray) -> None:
    view = fit(points, FRONT, scene.render.resolution_y / scene.render.resolution_x, margin=0.25)
    data: Any = bpy.data.cameras.new(f"{scene.name} camera")
    data.angle = 2.0 * math.atan(view.half)
    data.clip_end = 100.0 * float(np.linalg.norm(high - low))
    camera = bpy.data.objects.new(data.name, data)
    convert.place(camera, view.axes, view.position)
    scene.collection.objects.link(camera)
    scene.camera = camera
