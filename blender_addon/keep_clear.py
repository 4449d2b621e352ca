# SPDX-License-Identifier: GPL-3.0-or-later
"""The keep-clear body of a job in Blender: read for the core, and what was found drawn in the view."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import bpy
import numpy as np

from . import convert, job_tree
from .core.clearance.in_scene import ending_at, in_own_axes, line_to_show, region_to_show
from .core.clearance.job_bodies import files_of
from .core.clearance.job_check import KeepClearResult
from .core.errors import InputError
from .core.findings import Finding, Severity
from .core.intake.readers import read_mesh
from .core.job import Job, KeepClearBody, WayPoint
from .core.mesh.mesh import FloatArray, Mesh
from .job_tree import JobCollection
from .world import shown, world_matrix

SETTINGS_FOLDER: Final = "settings_folder"
"""Custom property of a job: the folder of the JOB.toml that was read, beside which its bodies are sought."""

SUMMARY, STAMP = "clearance_summary", "clearance_stamp"
"""Custom properties of the folder: what was found, a line each, and a fingerprint of what it was found from."""

DEPTH: Final = "depth_m"
"""Vertex attribute of the surface to carve off: metres."""


@dataclass(frozen=True, eq=False)
class Held:
    """A body as it stands in the scene, and its way in; nothing of Blender's is held.

    Attributes
    ----------
    name : of the object. mesh : metres, from its origin, its own x along x. at : metres. heading : radians.
    way : (k, 3) metres, the outermost first, the last where it stands; no rows without a curve.
    """

    name: str
    mesh: Mesh
    at: tuple[float, float, float]
    heading: float
    way: FloatArray


@dataclass(frozen=True, eq=False)
class Here:
    """What a job in the scene says of keep-clear bodies: an object, or files beside the JOB.toml that was read."""

    held: Held | None = None
    folder: str = ""


def read_here(context: bpy.types.Context, job: JobCollection, scale: float) -> Here:
    """Read the chosen body and its way in; changes nothing."""
    group = job.seamwright
    obj, folder = group.keep_clear_body, str(job.get(SETTINGS_FOLDER, ""))
    if obj is None or not obj.users_scene:
        return Here(None, folder)
    with shown(context, obj) as depsgraph:
        mesh = convert.mesh_from_object(obj, depsgraph, scale)
    own, at, heading = in_own_axes(mesh, np.array(world_matrix(obj)), scale)
    line = group.keep_clear_way
    way = np.zeros((0, 3)) if line is None or not line.users_scene else _way(context, line, at, scale)
    return Here(Held(obj.name, own, at, heading, way), folder)


def _way(context: bpy.types.Context, obj: Any, at: tuple[float, float, float], scale: float) -> FloatArray:
    """Points of a curve, moved so that its end nearer to the body is where the body stands."""
    with shown(context, obj) as depsgraph:
        evaluated = obj.evaluated_get(depsgraph)
        data = evaluated.to_mesh()
        try:
            matrix = evaluated.matrix_world
            points = np.array([list(matrix @ vertex.co) for vertex in data.vertices], dtype=np.float64)
        finally:
            evaluated.to_mesh_clear()
    return ending_at(points * scale, at, obj.name)


def for_job(job: Job, here: Here) -> tuple[Job, dict[str, Mesh], list[Finding]]:
    """The job with the body of the scene in it, the meshes of its bodies, and what could not be checked.

    A chosen object takes the place of all bodies that the settings name. A file that is not there leaves its body
    unchecked, with a warning: a cut does not depend on it.
    """
    held, settings = here.held, job.keep_clear
    if held is not None:
        file = f"{held.name}.ply"
        body = KeepClearBody(held.name, file=file, at=held.at, heading=held.heading)
        way = tuple(WayPoint((x, y, z)) for x, y, z in held.way[:-1].tolist())
        approach = 0.0 if way else settings.approach
        settings = replace(settings, bodies=(body,), way_in=way, approach=approach)
        return replace(job, keep_clear=settings), {file: held.mesh}, []
    meshes: dict[str, Mesh] = {}
    missing: dict[str, str] = {}
    for file in files_of(settings):
        try:
            if not here.folder:
                raise InputError(f"{file}: no JOB.toml was read that it could lie beside")
            meshes[file] = read_mesh(Path(here.folder) / file)
        except InputError as error:
            missing[file] = str(error)
    if not missing:
        return job, meshes, []
    there = tuple(body for body in settings.bodies if body.file not in missing)
    said = [
        Finding(
            "clearance",
            Severity.WARNING,
            f"The clearance of a keep-clear body was not checked: {text}.",
            "Put the file beside JOB.toml and read that again, or choose the body in the Clearance panel.",
        )
        for text in missing.values()
    ]
    return replace(job, keep_clear=replace(settings, bodies=there)), meshes, said


def stamp(job: JobCollection, settings: Job) -> str:
    """Of the settings and the objects that a clearance depends on, cheap enough for every redraw."""
    group = job.seamwright
    parts: list[object] = [settings.keep_clear, settings.skin]
    for obj in (group.keep_clear_body, group.keep_clear_way, group.carving):
        if obj is not None:
            place = [round(value, 6) for value in np.array(world_matrix(obj)).ravel().tolist()]
            count = len(obj.data.vertices) if isinstance(obj.data, bpy.types.Mesh) else 0
            parts.append((obj.name, place, count))
    return hashlib.sha1(repr(parts).encode()).hexdigest()


def put_result(
    job: JobCollection, carving: Mesh, found: KeepClearResult, said: Mapping[str, str], scale: float
) -> bpy.types.Collection:
    """Objects for what was found, in place of those that were there: the nearest points, and what has to come off.

    Parameters
    ----------
    carving : of which `found` tells. said : custom properties of the folder.
    """
    folder: bpy.types.Collection = job_tree.ensure_folder(job, job_tree.CLEARANCE)
    for obj in list(folder.objects):
        job_tree.remove_object(obj)
    nearest = found.nearest
    if nearest is not None:
        report, piece, closest = nearest
        line = bpy.data.objects.new(
            "nearest points", convert.polyline("nearest points", [line_to_show(closest)], scale)
        )
        line.show_in_front = True
        line["distance_m"], line["to_go_m"], line["body"] = closest.distance, closest.to_go, report.name
        if piece.mark:
            line["piece"] = piece.mark
        folder.objects.link(line)
    if found.carve.region.any():
        folder.objects.link(_region(carving, found, scale))
    for name, text in said.items():
        folder[name] = text
    return folder


def _region(carving: Mesh, found: KeepClearResult, scale: float) -> Any:
    """The surface to carve off as an object of its own, with the depth at each vertex."""
    region = region_to_show(carving, found.carve)
    data = convert.surface("carve off", region.vertices / scale, region.triangles)
    depth: Any = data.attributes.new(DEPTH, "FLOAT", "POINT")
    depth.data.foreach_set("value", np.ascontiguousarray(region.depth, dtype=np.float32))
    tone: Any = data.attributes.new("depth", "FLOAT_COLOR", "POINT")
    tone.data.foreach_set("color", np.ascontiguousarray(region.tones, dtype=np.float32).ravel())
    obj = bpy.data.objects.new("carve off", data)
    obj["deepest_m"], obj["area_m2"] = found.carve.deepest, found.carve.area
    obj.show_wire = True
    obj.show_in_front = True
    obj.hide_render = True
    return obj
