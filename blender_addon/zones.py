# SPDX-License-Identifier: GPL-3.0-or-later
"""Zones of a carving: written as face attributes, told in a sentence, and shown as thin covers over its surface."""

from __future__ import annotations

from typing import Any, Final

import bpy
import numpy as np
from numpy.typing import NDArray

from . import convert, job_tree
from .convert import KIND
from .core.errors import MeshError
from .core.mesh.mesh import BACK, CARVED
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
        sets = numbers(data, FACE_SET)
        local = world_matrix(obj).inverted() @ context.scene.cursor.location
        hit, _, _, face = obj.closest_point_on_mesh(local)
        if not hit or data.attributes.get(FACE_SET) is None:
            raise MeshError("the carving has no face sets; paint one in Sculpt Mode and set the 3D cursor on it")
        chosen: NDArray[np.bool_] = sets == sets[face]
        return chosen
    if faces == "MASK":
        attribute = data.attributes.get(MASK)
        values = np.zeros(len(data.vertices), dtype=np.float32)
        if attribute is not None:
            attribute.data.foreach_get("value", values)
        corner = convert.attribute_values(data, ".corner_vert", 1)
        start = np.empty(len(data.polygons), dtype=np.int32)
        data.polygons.foreach_get("loop_start", start)
        chosen = wholly(values.astype(np.float64), corner.astype(np.int64), start.astype(np.int64), 0.5)
        if not chosen.any():
            raise MeshError("nothing is masked; press Paint a Zone first")
        return chosen
    chosen = np.zeros(len(data.polygons), dtype=bool)
    data.polygons.foreach_get("select", chosen)
    if not chosen.any():
        raise MeshError("no face is selected; select some in Edit Mode and go back to Object Mode")
    return chosen


def mark(obj: Any, chosen: NDArray[np.bool_], zone: str) -> None:
    """Write the zone of the chosen faces: a key of `NUMBERS`, or ``BACK``."""
    data = obj.data
    if zone == "BACK":
        _write(data, KIND, chosen, BACK)
    else:
        _write(data, ZONE, chosen, NUMBERS[zone])
        _write(data, KIND, chosen & (numbers(data, KIND) == BACK), CARVED)
    # Tells those who look without reading a million faces that the zones have changed.
    obj[ZONE] = int(obj.get(ZONE, 0)) + 1
    data.update()


def numbers(data: Any, name: str) -> Any:
    """A face attribute of whole numbers, zeros where it is missing, (n,) int32."""
    values = np.zeros(len(data.polygons), dtype=np.int32)
    attribute = data.attributes.get(name)
    if attribute is not None and attribute.domain == "FACE" and attribute.data_type in ("INT", "INT8"):
        attribute.data.foreach_get("value", values)
    return values


def _write(data: Any, name: str, chosen: NDArray[np.bool_], value: int) -> None:
    """Set a face attribute of whole numbers on some faces; it is made where it is missing and wanted."""
    if not chosen.any() or (data.attributes.get(name) is None and value == 0):
        return
    values = numbers(data, name)
    values[chosen] = value
    attribute = data.attributes.get(name)
    if attribute is None or attribute.domain != "FACE" or attribute.data_type not in ("INT", "INT8"):
        if attribute is not None:
            data.attributes.remove(attribute)
        attribute = data.attributes.new(name, "INT", "FACE")
    attribute.data.foreach_set("value", values)


def show(job: JobCollection, obj: Any, scale_length: float) -> str:
    """Lay covers over the zones of the carving, in place of those that were there; the zones as a sentence.

    The covers are for the eye alone: what counts is the attribute on the carving.
    """
    folder = job_tree.ensure_folder(job, job_tree.ZONES)
    for cover in list(folder.objects):
        job_tree.remove_object(cover)
    data = obj.data
    zone, kind = numbers(data, ZONE), numbers(data, KIND)
    area = np.empty(len(data.polygons), dtype=np.float32)
    data.polygons.foreach_get("area", area)
    matrix = world_matrix(obj)
    square = abs(matrix.determinant()) ** (2.0 / 3.0) * scale_length**2
    words = []
    faces = (zone == KEEP_WHOLE, zone == MUST_HIDE, zone == MAY_SHOW, kind == BACK)
    for (word, colour), chosen in zip(_COVERS, faces, strict=True):
        if chosen.any():
            folder.objects.link(_cover(obj, word, chosen, colour))
            words.append(f"{word} {float(area[chosen].sum(dtype=np.float64)) * square:.3g} m²")
    said = f"Zones: {', '.join(words)}." if words else ""
    folder[SAID] = said
    return said


def _cover(obj: Any, word: str, chosen: NDArray[np.bool_], colour: tuple[float, ...]) -> Any:
    """The chosen faces as an object of its own, a little off the surface."""
    data = obj.data
    data.calc_loop_triangles()
    corners = np.empty(3 * len(data.loop_triangles), dtype=np.int32)
    data.loop_triangles.foreach_get("vertices", corners)
    face = np.empty(len(data.loop_triangles), dtype=np.int32)
    data.loop_triangles.foreach_get("polygon_index", face)
    used, triangles = np.unique(corners.reshape(-1, 3)[chosen[face]], return_inverse=True)
    normals = np.empty(3 * len(data.vertices), dtype=np.float32)
    data.vertex_normals.foreach_get("vector", normals)
    where = convert.attribute_values(data, "position", 3).reshape(-1, 3)[used]
    lift = _LIFT * max(obj.dimensions) / max(abs(value) for value in obj.matrix_world.to_scale())
    cover = bpy.data.objects.new(
        f"zone {word}",
        convert.surface(f"zone {word}", where + lift * normals.reshape(-1, 3)[used], triangles.reshape(-1, 3)),
    )
    cover.matrix_world = obj.matrix_world.copy()
    cover.color = colour
    material: Any = bpy.data.materials.get(f"zone {word}") or bpy.data.materials.new(f"zone {word}")
    material.diffuse_color = colour
    data = cover.data
    data.materials.append(material)
    cover.hide_render = cover.hide_select = True
    return cover
