# SPDX-License-Identifier: GPL-3.0-or-later
"""A job is a collection; what it holds lies in child collections that are known by a custom property, not by name."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, TypeAlias

import bpy

JobCollection: TypeAlias = Any
"""A collection with the properties that the extension adds, of which Blender's type stubs know nothing."""

HOLDS = "holds"
CARVING, JOINTS, LINES, PIECES, MARKS = "carving", "joints", "joint lines", "pieces", "marks"
BLOCKUP = "block-up"
SEAM_LINES, VIEWPOINTS = "seam lines", "viewpoints"
CLEARANCE, ZONES = "clearance", "zones"
FOLDERS = {
    CLEARANCE: "Clearance",
    CARVING: "Carving",
    BLOCKUP: "Block-up",
    JOINTS: "Joints",
    LINES: "Joint lines",
    PIECES: "Pieces",
    MARKS: "Marks",
    SEAM_LINES: "Marked lines",
    ZONES: "Zones",
    VIEWPOINTS: "Viewpoints",
}
MADE_BY = "made_by"
MAKER = "seamwright"


def jobs(scene: Any) -> list[JobCollection]:
    """The jobs of a scene, by name."""
    found = {c.name: c for c in scene.collection.children_recursive if c.seamwright.is_job}
    return [found[name] for name in sorted(found)]


def active_job(context: bpy.types.Context) -> JobCollection:
    """The job that the panels show: the chosen one, or else the first of the scene."""
    scene: Any = context.scene
    if scene is None:
        return None
    chosen = scene.seamwright.job
    here = jobs(scene)
    if chosen is not None and chosen in here:
        return chosen
    return here[0] if here else None


def folder(job: JobCollection, holds: str) -> Any:
    """The child collection for one kind of thing, or None."""
    for child in job.children:
        if child.get(HOLDS) == holds:
            return child
    return None


def ensure_folder(job: JobCollection, holds: str) -> Any:
    """The child collection for one kind of thing, made where it is missing."""
    child = folder(job, holds)
    if child is None:
        child = bpy.data.collections.new(FOLDERS[holds])
        child[HOLDS] = holds
        job.children.link(child)
    return child


def is_held(job: JobCollection, carving: bpy.types.Object | None) -> bool:
    """Whether a carving is there still: deleted in the view, it lives on as long as the job names it."""
    if carving is None:
        return False
    held = folder(job, CARVING)
    return (held is not None and carving.name in held.objects) or bool(carving.users_scene)


def joints(job: JobCollection) -> list[bpy.types.Object]:
    """The joints in the order of cuts."""
    held = folder(job, JOINTS)
    return [] if held is None else sorted(held.objects, key=lambda obj: (obj.get("order", 1 << 30), obj.name))


def pieces(job: JobCollection) -> list[bpy.types.Object]:
    """The pieces in the order of their numbers."""
    held = folder(job, PIECES)
    return [] if held is None else sorted(held.objects, key=lambda obj: piece_key(obj))


def piece_key(obj: bpy.types.Object) -> tuple[int, str]:
    """Sorts pieces by number."""
    found = re.search(r"\d+$", str(obj.get("mark", "")))
    return (int(found[0]) if found else 1 << 30), obj.name


def remove_object(obj: bpy.types.Object) -> None:
    """Take an object out of the file, with its data if nobody else uses it."""
    data: Any = obj.data
    bpy.data.objects.remove(obj)
    if data is not None and data.users == 0:
        (bpy.data.meshes if isinstance(data, bpy.types.Mesh) else bpy.data.curves).remove(data)


def layer_collections(root: bpy.types.LayerCollection) -> Iterator[bpy.types.LayerCollection]:
    """All layer collections under `root`, itself included."""
    yield root
    for child in root.children:
        yield from layer_collections(child)


def set_folder_hidden(context: bpy.types.Context, collection: bpy.types.Collection | None, hidden: bool) -> None:
    """Hide a collection in the active view layer, or show it; a matter of the view alone."""
    for layer in layer_collections(context.view_layer.layer_collection):
        if layer.collection == collection:
            layer.hide_viewport = hidden
