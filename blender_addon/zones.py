# SPDX-License-Identifier: GPL-3.0-or-later
"""Zones of a carving: written as face attributes, told in a sentence, and shown as thin covers over its surface."""

from __future__ import annotations

from collections.abc import Generator
from typing import Any, Final, NamedTuple

import bpy
import numpy as np
from numpy.typing import NDArray

from . import convert, job_tree
from .convert import KIND
from .core.errors import MeshError
from .core.mesh.mass import triangle_areas
from .core.mesh.mesh import BACK, CARVED, Mesh
from .core.seams.marks import KEEP_WHOLE, MAY_SHOW, MUST_HIDE, PLAIN, wholly
from .job_tree import JobCollection
from .surface_marks import ZONE
from .world import world_matrix

FACE_SET, MASK = ".sculpt_face_set", ".sculpt_mask"
SAID: Final = "zones_said"
"""Custom property of the folder: the zones with their areas, as last marked."""

NUMBERS: Final = {"PLAIN": PLAIN, "KEEP": KEEP_WHOLE, "SHOW": MAY_SHOW, "HIDE": MUST_HIDE}

_COVERS: Final = (
    ("keep whole", (0.05, 0.25, 0.6, 1.0)),
    ("must hide", (0.45, 0.7, 0.95, 1.0)),
    ("may show", (0.95, 0.65, 0.25, 1.0)),
    ("back", (0.35, 0.35, 0.35, 1.0)),
)
"""Word and colour: blues for what binds, orange for what frees, as with the joints' lines; grey for what is unseen."""

_MASKED: Final = 0.5
"""A face counts as masked where all its corners are masked by half or more."""

_LIFT: Final = 2e-4
"""Of the carving's length: how far a cover lies off the surface, so that the two do not flicker."""


def chosen_faces(context: bpy.types.Context, obj: Any, faces: str) -> NDArray[np.bool_]:
    """Which faces of the carving are meant, (n,) bool.

    Parameters
    ----------
    faces : ``SET``, the face set at the 3D cursor; ``MASK``; or ``SELECTED``.

    Raises
    ------
    MeshError
        There is nothing of that kind.
    """
    data = obj.data
    if faces == "SET":
        if data.attributes.get(FACE_SET) is None or not len(data.polygons):
            raise MeshError("the carving has no face sets; paint one in Sculpt Mode and set the 3D cursor on it")
        sets = numbers(data, FACE_SET)
        near = _face_near(data, world_matrix(obj).inverted() @ context.scene.cursor.location)
        chosen: NDArray[np.bool_] = sets == sets[near]
        return chosen
    if faces == "MASK":
        attribute = data.attributes.get(MASK)
        values = np.zeros(len(data.vertices), dtype=np.float32)
        if attribute is not None:
            attribute.data.foreach_get("value", values)
        corner = convert.attribute_values(data, ".corner_vert", 1)
        if _whole(data):
            chosen = (values >= _MASKED)[corner].reshape(-1, 3).all(axis=1)
        else:
            start = np.empty(len(data.polygons), dtype=np.int32)
            data.polygons.foreach_get("loop_start", start)
            chosen = wholly(values.astype(np.float64), corner.astype(np.int64), start.astype(np.int64), _MASKED)
        if not chosen.any():
            raise MeshError("nothing is masked; press Paint a Zone first")
        return chosen
    chosen = np.zeros(len(data.polygons), dtype=bool)
    data.polygons.foreach_get("select", chosen)
    if not chosen.any():
        raise MeshError("no face is selected; select some in Edit Mode and go back to Object Mode")
    return chosen


def zoned(obj: Any, chosen: NDArray[np.bool_], zone: str) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Zone and class of each face, as they will be once the chosen ones are of a zone: a key of `NUMBERS`, or ``BACK``.

    Nothing is written; see `put`.
    """
    zone_of: NDArray[np.int32] = numbers(obj.data, ZONE)
    kind: NDArray[np.int32] = numbers(obj.data, KIND)
    if zone == "BACK":
        kind[chosen] = BACK
    else:
        zone_of[chosen] = NUMBERS[zone]
        kind[chosen & (kind == BACK)] = CARVED
    return zone_of, kind


def numbers(data: Any, name: str) -> Any:
    """A face attribute of whole numbers, zeros where it is missing, (n,) int32."""
    values = np.zeros(len(data.polygons), dtype=np.int32)
    attribute = data.attributes.get(name)
    if attribute is not None and attribute.domain == "FACE" and attribute.data_type in ("INT", "INT8"):
        attribute.data.foreach_get("value", values)
    return values


def _write(data: Any, name: str, values: NDArray[np.int32]) -> None:
    """Set a face attribute of whole numbers; it is made where it is missing and wanted."""
    if np.array_equal(values, numbers(data, name)):
        return
    attribute = data.attributes.get(name)
    if attribute is None or attribute.domain != "FACE" or attribute.data_type not in ("INT", "INT8"):
        if attribute is not None:
            data.attributes.remove(attribute)
        attribute = data.attributes.new(name, "INT", "FACE")
    attribute.data.foreach_set("value", values)


def _face_near(data: Any, place: Any) -> int:
    """A face at the vertex nearest to a place in the object's own frame.

    Blender's search for the nearest face makes a tree of all faces first, which takes a second for two million.
    """
    away = convert.attribute_values(data, "position", 3).reshape(-1, 3) - np.asarray(place, dtype=np.float32)
    corner = convert.attribute_values(data, ".corner_vert", 1)
    order = (away * away).sum(axis=1)
    order[_unused(data, corner)] = float("inf")
    first = np.flatnonzero(corner == order.argmin())[0]
    if _whole(data):
        return int(first) // 3
    start = np.empty(len(data.polygons), dtype=np.int32)
    data.polygons.foreach_get("loop_start", start)
    return int(np.flatnonzero(start <= first)[-1])


def _unused(data: Any, corner: NDArray[np.int32]) -> NDArray[np.bool_]:
    loose = np.ones(len(data.vertices), dtype=bool)
    loose[corner] = False
    return loose


def _whole(data: Any) -> bool:
    """Whether every face is a triangle, without making triangles of them: none has fewer than three corners."""
    return len(data.loops) == 3 * len(data.polygons)


class Covers(NamedTuple):
    """Objects over the zones, linked nowhere yet, and the zones as a sentence; for the eye alone."""

    objects: list[Any]
    said: str


def covers(
    obj: Any, zone_of: NDArray[np.int32], kind: NDArray[np.int32], scale_length: float
) -> Generator[None, None, Covers]:
    """Make covers over the zones of the carving, one at a time; what was made goes again where it is not ended."""
    made: list[Any] = []
    words = []
    faces = (zone_of == KEEP_WHOLE, zone_of == MUST_HIDE, zone_of == MAY_SHOW, kind == BACK)
    try:
        for (word, colour), chosen in zip(_COVERS, faces, strict=True):
            if chosen.any():
                cover, area = _cover(obj, word, chosen, colour, scale_length)
                made.append(cover)
                words.append(f"{word} {area:.3g} m²")
                yield
    except BaseException:
        for cover in made:
            job_tree.remove_object(cover)
        raise
    return Covers(made, f"Zones: {', '.join(words)}." if words else "")


def put(job: JobCollection, obj: Any, zone_of: NDArray[np.int32], kind: NDArray[np.int32], covers: Covers) -> None:
    """Write zone and class of each face, and lay the covers in place of those that were there."""
    data = obj.data
    _write(data, ZONE, zone_of)
    _write(data, KIND, kind)
    # Tells those who look without reading a million faces that the zones have changed.
    obj[ZONE] = int(obj.get(ZONE, 0)) + 1
    data.update()
    folder = job_tree.ensure_folder(job, job_tree.ZONES)
    for cover in list(folder.objects):
        job_tree.remove_object(cover)
    for cover in covers.objects:
        folder.objects.link(cover)
    folder[SAID] = covers.said


def _cover(
    obj: Any, word: str, chosen: NDArray[np.bool_], colour: tuple[float, ...], scale_length: float
) -> tuple[Any, float]:
    """The chosen faces as an object of its own, a little off the surface, and their area in square metres."""
    data = obj.data
    corners = _corners(data, chosen)
    used = np.zeros(len(data.vertices), dtype=bool)
    used[corners] = True
    rows = np.flatnonzero(used)
    place = np.empty(len(used), dtype=np.int64)
    place[rows] = np.arange(len(rows))
    normals = np.empty(3 * len(used), dtype=np.float32)
    data.vertex_normals.foreach_get("vector", normals)
    where = convert.attribute_values(data, "position", 3).reshape(-1, 3)[rows]
    matrix = world_matrix(obj)
    area = triangle_areas(
        Mesh((where.astype(np.float64) @ np.array(matrix.to_3x3()).T) * scale_length, place[corners])
    ).sum()
    size: Any = matrix.to_scale()
    lift = _LIFT * max(obj.dimensions) / max(abs(value) for value in size)
    cover = bpy.data.objects.new(
        f"zone {word}",
        convert.surface(f"zone {word}", where + lift * normals.reshape(-1, 3)[rows], place[corners]),
    )
    cover.matrix_world = matrix
    cover.color = colour
    material: Any = bpy.data.materials.get(f"zone {word}") or bpy.data.materials.new(f"zone {word}")
    material.diffuse_color = colour
    made: Any = cover.data
    made.materials.append(material)
    cover.hide_render = cover.hide_select = True
    return cover, float(area)


def _corners(data: Any, chosen: NDArray[np.bool_]) -> NDArray[np.int32]:
    """Vertices (m, 3) of the triangles of the chosen faces."""
    if _whole(data):
        whole: NDArray[np.int32] = convert.attribute_values(data, ".corner_vert", 1).reshape(-1, 3)[chosen]
        return whole
    data.calc_loop_triangles()
    corners = np.empty(3 * len(data.loop_triangles), dtype=np.int32)
    data.loop_triangles.foreach_get("vertices", corners)
    face = np.empty(len(data.loop_triangles), dtype=np.int32)
    data.loop_triangles.foreach_get("polygon_index", face)
    parts: NDArray[np.int32] = corners.reshape(-1, 3)[chosen[face]]
    return parts
