# SPDX-License-Identifier: GPL-3.0-or-later
"""The one place where Blender data and arrays meet: `matrix_world`, unit scale and winding are dealt with here once.

The core works in float64 metres in the world's frame. Blender keeps coordinates in float32 and in its own units, of
which `scale_length` metres make one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix
from numpy.typing import ArrayLike, NDArray

from .core.errors import MeshError
from .core.mesh.edges import triangle_edges
from .core.mesh.mesh import KIND_NAMES, Mesh

KIND = "kind"
SOURCE = "source"


def mesh_from_object(obj: bpy.types.Object, depsgraph: bpy.types.Depsgraph, scale_length: float = 1.0) -> Mesh:
    """The object as Blender shows it, modifiers included, as triangles in world coordinates.

    Parameters
    ----------
    obj : an object with a surface; changed by nothing here. In edit mode call ``update_from_editmode`` first.
    depsgraph : an evaluated dependency graph of a view layer that holds `obj`.
    scale_length : metres in one Blender unit, ``scene.unit_settings.scale_length``.

    Returns
    -------
    Mesh
        float64 metres; wound outwards as the object shows it, also where it is mirrored by a negative scale; classes
        from a face attribute ``kind`` of whole numbers where there is one. Vertices are neither welded nor dropped.

    Raises
    ------
    MeshError
        The object has no surface, is flattened by a scale of 0, or holds coordinates that are not numbers.
    """
    evaluated = obj.evaluated_get(depsgraph)
    matrix = np.array(evaluated.matrix_world, dtype=np.float64)
    determinant = float(np.linalg.det(matrix[:3, :3]))
    if determinant == 0.0 or not np.isfinite(matrix).all():
        raise MeshError(f"object {obj.name!r} is flattened by its scale {obj.scale[:]}; give it a scale other than 0")
    try:
        data = evaluated.to_mesh()
    except RuntimeError:
        data = None
    if data is None:
        raise MeshError(f"object {obj.name!r} has no surface; choose a mesh object")
    try:
        vertices, triangles, kind = _arrays(data)
    finally:
        evaluated.to_mesh_clear()
    world = (vertices @ matrix[:3, :3].T + matrix[:3, 3]) * scale_length
    if determinant < 0.0:
        triangles = triangles[:, ::-1]
    try:
        return Mesh(world, triangles, kind)
    except MeshError as error:
        raise MeshError(f"object {obj.name!r}: {error}") from None


def _arrays(data: bpy.types.Mesh) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64] | None]:
    """Vertices (n, 3) in the object's frame, triangles (m, 3) and their classes (m,) or None."""
    coordinates = attribute_values(data, "position", 3)
    faces: NDArray[np.int32] | None = None
    if all_triangles(data):
        corners = attribute_values(data, ".corner_vert", 1)
    else:
        corners = np.empty(len(data.loop_triangles) * 3, dtype=np.int32)
        data.loop_triangles.foreach_get("vertices", corners)
        faces = np.empty(len(data.loop_triangles), dtype=np.int32)
        data.loop_triangles.foreach_get("polygon_index", faces)
    kind = None
    attribute = data.attributes.get(KIND)
    if attribute is not None and attribute.domain == "FACE" and attribute.data_type in ("INT", "INT8"):
        by_face = attribute_values(data, KIND, 1)
        kind = (by_face if faces is None else by_face[faces]).astype(np.int64)
    return coordinates.reshape(-1, 3).astype(np.float64), corners.reshape(-1, 3).astype(np.int64), kind


def all_triangles(data: bpy.types.Mesh) -> bool:
    """Whether every face is a triangle, so that corners three by three are the triangles."""
    data.calc_loop_triangles()
    return len(data.loops) == 3 * len(data.polygons) == 3 * len(data.loop_triangles)


def attribute_values(data: bpy.types.Mesh, name: str, width: int) -> Any:
    """An attribute as one flat array. Blender copies it at a stroke; by vertex or corner takes far longer.

    Parameters
    ----------
    width : 3 for vectors, float32; 1 for whole numbers, int32.
    """
    attribute: Any = data.attributes.get(name)
    values = np.empty(
        0 if attribute is None else len(attribute.data) * width, dtype=np.float32 if width == 3 else np.int32
    )
    if len(values):
        attribute.data.foreach_get("vector" if width == 3 else "value", values)
    return values


@dataclass(frozen=True, eq=False)
class MeshArrays:
    """Mesh data in Blender's own numbers, made without Blender, so that a thread can do it beside the window.

    Attributes
    ----------
    vertices : (n, 3) float32, Blender units, from the object's origin.
    triangles : (m, 3) int32. lines : (k, 2) int32, edges. begins : (m, 3) int32, edge that begins at each corner.
    numbers : name of a face attribute -> (m,) int32.
    """

    vertices: NDArray[np.float32]
    triangles: NDArray[np.int32]
    lines: NDArray[np.int32]
    begins: NDArray[np.int32]
    numbers: Mapping[str, NDArray[np.int32]]


def whole_triangles(mesh: Mesh) -> NDArray[np.bool_]:
    """Triangles (m,) that name three vertices; Blender cannot hold others, and they have no area."""
    t = mesh.triangles
    whole: NDArray[np.bool_] = (t[:, 0] != t[:, 1]) & (t[:, 1] != t[:, 2]) & (t[:, 2] != t[:, 0])
    return whole


def mesh_arrays(
    mesh: Mesh, source: ArrayLike | None = None, at: ArrayLike = (0.0, 0.0, 0.0), scale_length: float = 1.0
) -> MeshArrays:
    """Everything of `mesh_data` that needs no Blender; parameters as `object_from_mesh`."""
    whole = whole_triangles(mesh)
    numbers = {KIND: mesh.kind[whole].astype(np.int32)}
    if source is not None:
        numbers[SOURCE] = np.asarray(source)[whole].astype(np.int32)
    origin = np.asarray(at, dtype=np.float64)
    return _arrays_of((mesh.vertices - origin) / scale_length, mesh.triangles[whole], numbers)


def _arrays_of(
    vertices: ArrayLike, triangles: NDArray[np.int64], numbers: Mapping[str, NDArray[np.int32]]
) -> MeshArrays:
    # Blender would find the edges itself, twice as slowly and with the window standing still.
    lines, begins = triangle_edges(triangles)
    held = [np.ascontiguousarray(values, dtype=np.int32) for values in (triangles, lines, begins)]
    return MeshArrays(np.ascontiguousarray(vertices, dtype=np.float32), held[0], held[1], held[2], numbers)


def object_from_mesh(
    name: str,
    mesh: Mesh,
    source: ArrayLike | None = None,
    at: ArrayLike = (0.0, 0.0, 0.0),
    scale_length: float = 1.0,
) -> bpy.types.Object:
    """A new mesh object, linked to no collection yet.

    Parameters
    ----------
    name : name of the object and of its mesh; Blender may add a number.
    mesh : triangles in metres, world frame.
    source : (m,) whole numbers, written as the face attribute ``source``.
    at : (3,) metres, world frame: where the object's own origin goes. Near the mesh, float32 keeps more of it.
    scale_length : metres in one Blender unit.

    Returns
    -------
    Object
        Its mesh has a face attribute ``kind``, and ``source`` where given. Triangles that name a vertex twice are
        left out: Blender cannot hold them, and they have no area.
    """
    obj = bpy.data.objects.new(name, mesh_data(name, mesh_arrays(mesh, source, at, scale_length)))
    obj.location = (np.asarray(at, dtype=np.float64) / scale_length).tolist()
    return obj


def surface(name: str, vertices: ArrayLike, triangles: ArrayLike) -> bpy.types.Mesh:
    """Mesh data of triangles (m, 3) over vertices (n, 3), both as they are, in Blender units."""
    return mesh_data(name, _arrays_of(vertices, np.asarray(triangles, dtype=np.int64), {}))


def mesh_data(name: str, arrays: MeshArrays) -> bpy.types.Mesh:
    """Mesh data of arrays that stand ready; a quarter of a second for two million triangles."""
    data = bpy.data.meshes.new(name)
    data.vertices.add(len(arrays.vertices))
    data.edges.add(len(arrays.lines))
    data.loops.add(arrays.triangles.size)
    data.polygons.add(len(arrays.triangles))
    for attribute, field, values in (
        ("position", "vector", arrays.vertices),
        (".edge_verts", "value", arrays.lines),
        (".corner_vert", "value", arrays.triangles),
        (".corner_edge", "value", arrays.begins),
    ):
        if values.size:
            held: Any = data.attributes[attribute]
            held.data.foreach_set(field, values.ravel())
    data.polygons.foreach_set("loop_start", np.arange(0, arrays.triangles.size, 3, dtype=np.int32))
    data.update()
    for attribute, numbers in arrays.numbers.items():
        face_numbers(data, attribute, numbers)
    return data


def face_numbers(data: bpy.types.Mesh, name: str, values: ArrayLike) -> None:
    """Add a face attribute of whole numbers, one for each face."""
    attribute: Any = data.attributes.new(name, "INT", "FACE")
    attribute.data.foreach_set("value", np.ascontiguousarray(values, dtype=np.int32))


def set_materials(obj: bpy.types.Object, materials: Sequence[bpy.types.Material]) -> None:
    """Give each face the material of its class: `materials` in the order of the classes, one for each."""
    if len(materials) != len(KIND_NAMES):
        raise ValueError(f"give {len(KIND_NAMES)} materials, one for each class; there are {len(materials)}")
    data: Any = obj.data
    for material in materials:
        data.materials.append(material)
    # The attribute is written at a stroke; by way of the faces it takes half a second for two million.
    if "material_index" not in data.attributes:
        face_numbers(data, "material_index", attribute_values(data, KIND, 1))
        return
    data.attributes["material_index"].data.foreach_set("value", attribute_values(data, KIND, 1))


def polyline(name: str, lines: Sequence[ArrayLike], scale_length: float = 1.0) -> bpy.types.Curve:
    """Curve data of polylines, each (k, 3) metres in the object's frame; a closed one repeats its first point."""
    data = bpy.data.curves.new(name, "CURVE")
    data.dimensions = "3D"
    for line in lines:
        points = np.asarray(line, dtype=np.float64) / scale_length
        closed = len(points) > 2 and bool((points[0] == points[-1]).all())
        if closed:
            points = points[:-1]
        spline = data.splines.new("POLY")
        spline.points.add(len(points) - 1)
        spline.points.foreach_set("co", np.column_stack([points, np.ones(len(points))]).astype(np.float32).ravel())
        spline.use_cyclic_u = closed
    return data


def place(obj: bpy.types.Object, axes: ArrayLike, at: ArrayLike, scale_length: float = 1.0) -> None:
    """Turn and move an object: `axes` (3, 3) whose columns are its x, y, z in the world, `at` (3,) metres."""
    matrix = np.eye(4)
    matrix[:3, :3] = np.asarray(axes, dtype=np.float64)
    matrix[:3, 3] = np.asarray(at, dtype=np.float64) / scale_length
    # A plain nested list would be taken column by column.
    obj.matrix_world = Matrix(matrix.tolist())
