# SPDX-License-Identifier: GPL-3.0-or-later
"""UV maps, colour attributes, materials and shading of a scan, read as arrays and written on its pieces.

The second half of `convert`: here too Blender's data become arrays and nothing else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from .compat import colour_field
from .convert import all_triangles, attribute_values, face_numbers, whole_triangles
from .core.cutting.carry import corner_shares
from .core.cutting.result import FROM_CARVING, Body
from .core.mesh.mesh import Mesh

SAWN = (0.86, 0.84, 0.78, 1.0)
"""Colour of joint faces in a scan's colour attributes: sawn foam."""


@dataclass(frozen=True, eq=False)
class Layer:
    """One UV map or colour attribute: `values` (k, d) float32, and the row (m, 3) at the corners of each triangle."""

    name: str
    kind: str
    values: NDArray[np.float32]
    rows: NDArray[np.int32]


@dataclass(frozen=True, eq=False)
class Layers:
    """What a scan carries besides its shape, by triangle in the order of `convert.mesh_from_object`.

    Attributes
    ----------
    layers : UV maps (kind ``UV``) and colour attributes (kind ``BYTE_COLOR`` or ``FLOAT_COLOR``).
    material : (m,) material slot of each triangle.
    flat : (m,) whether each triangle is shaded flat.
    slots : names of the materials in the scan's slots; empty for an empty slot.
    active_colour : name of the colour attribute that is shown; active_uv : of the UV map that is shown.
    """

    layers: tuple[Layer, ...]
    material: NDArray[np.int32]
    flat: NDArray[np.bool_]
    slots: tuple[str, ...]
    active_colour: str
    active_uv: str


def read_layers(obj: bpy.types.Object, depsgraph: bpy.types.Depsgraph) -> Layers:
    """Read an object as Blender shows it; nothing is changed."""
    evaluated = obj.evaluated_get(depsgraph)
    mirrored = evaluated.matrix_world.to_3x3().determinant() < 0.0
    data = evaluated.to_mesh()
    try:
        loops, faces = _triangles(data)
        corners = loops.reshape(-1, 3)[:, ::-1] if mirrored else loops.reshape(-1, 3)
        material = _by_face(data, "material_index")
        sharp = _by_face(data, "sharp_face")
        layers: list[Layer | None] = [_uv(layer, len(data.loops), corners) for layer in data.uv_layers]
        layers += [_colour(attribute, data, corners) for attribute in data.color_attributes]
        slots = tuple(slot.material.name if slot.material else "" for slot in obj.material_slots)
        colour, uv = data.color_attributes.active_color, data.uv_layers.active
        return Layers(
            tuple(layer for layer in layers if layer is not None),
            material[faces],
            sharp[faces].astype(bool),
            slots,
            colour.name if colour else "",
            uv.name if uv else "",
        )
    finally:
        evaluated.to_mesh_clear()


def _triangles(data: bpy.types.Mesh) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Corner numbers of the triangles, one after the other, and the face of each triangle."""
    whole = all_triangles(data)
    count = len(data.loop_triangles)
    if whole:
        return np.arange(count * 3, dtype=np.int32), np.arange(count, dtype=np.int32)
    loops, faces = np.empty(count * 3, dtype=np.int32), np.empty(count, dtype=np.int32)
    data.loop_triangles.foreach_get("loops", loops)
    data.loop_triangles.foreach_get("polygon_index", faces)
    return loops, faces


def _by_face(data: bpy.types.Mesh, name: str) -> NDArray[np.int32]:
    """One of Blender's own face attributes, which are there only where some face differs from 0."""
    values = np.zeros(len(data.polygons), dtype=bool if name == "sharp_face" else np.int32)
    attribute: Any = data.attributes.get(name)
    if attribute is not None and attribute.domain == "FACE":
        attribute.data.foreach_get("value", values)
    return values.astype(np.int32)


def _uv(layer: bpy.types.MeshUVLoopLayer, loops: int, corners: NDArray[np.int32]) -> Layer:
    values = np.empty(loops * 2, dtype=np.float32)
    layer.uv.foreach_get("vector", values)
    return Layer(layer.name, "UV", values.reshape(-1, 2), corners)


def _colour(attribute: Any, data: bpy.types.Mesh, corners: NDArray[np.int32]) -> Layer | None:
    if attribute.domain not in ("POINT", "CORNER") or attribute.data_type not in ("BYTE_COLOR", "FLOAT_COLOR"):
        return None
    values = np.empty(len(attribute.data) * 4, dtype=np.float32)
    attribute.data.foreach_get(colour_field(attribute), values)
    at = corners
    if attribute.domain == "POINT":
        at = attribute_values(data, ".corner_vert", 1)[corners]
    return Layer(attribute.name, attribute.data_type, values.reshape(-1, 4), at)


@dataclass(frozen=True, eq=False)
class PieceLayers:
    """What a piece takes over, ready to be written: material slots and shading by face, values (m, 3, d) by layer."""

    material: NDArray[np.int32]
    flat: NDArray[np.bool_]
    values: tuple[NDArray[np.float32], ...]


def piece_layers(
    piece: Body, carving: Mesh, scan: NDArray[np.int64], layers: Layers, turned: NDArray[np.bool_]
) -> PieceLayers:
    """What a piece takes over from a scan, by source triangle and place in it; Blender is not asked.

    Parameters
    ----------
    piece : the piece. carving : the carving that was cut.
    scan : (m,) for each triangle of `carving` the row in `layers`, -1 where it has none.
    turned : (m,) whether a triangle of `carving` runs the other way round than that of `layers`.

    Notes
    -----
    Faces without a place on the scan get the slot after the scan's own, flat shading, UV 0 and the colour of sawn
    foam; where the base was closed, the first slot.
    """
    whole = whole_triangles(piece.mesh)
    carved = piece.origin[whole] == FROM_CARVING
    row = np.where(carved, scan[np.where(carved, piece.source[whole], 0)], -1)
    held = row >= 0
    slots = max(len(layers.slots), 1)
    material = np.where(carved, 0, slots).astype(np.int32)
    if layers.slots:
        material[held] = np.minimum(layers.material[row[held]], slots - 1)
    flat = np.ones(len(row), dtype=bool)
    flat[held] = layers.flat[row[held]]
    made = []
    share = corner_shares(carving, piece)[whole][held] if layers.layers else np.zeros((0, 3, 3))
    back = turned[piece.source[whole][held]]
    for layer in layers.layers:
        values = _blank(layer, len(row))
        corner = layer.values[layer.rows[row[held]]]
        corner[back] = corner[back, ::-1]
        values[held] = np.einsum("tcs,tsk->tck", share, corner)
        made.append(values)
    return PieceLayers(material, flat, tuple(made))


def write_layers(data: bpy.types.Mesh, layers: Layers, made: PieceLayers) -> None:
    """Write on a piece's mesh, as `convert.mesh_data` makes it, what it takes over."""
    face_numbers(data, "material_index", made.material)
    sharp: Any = data.attributes.new("sharp_face", "BOOLEAN", "FACE")
    sharp.data.foreach_set("value", made.flat)
    for layer, values in zip(layers.layers, made.values, strict=True):
        _put(data, layer, values)
    if layers.active_colour in data.color_attributes:
        data.color_attributes.active_color = data.color_attributes[layers.active_colour]
    if layers.active_uv in data.uv_layers:
        data.uv_layers.active = data.uv_layers[layers.active_uv]


def _blank(layer: Layer, count: int) -> NDArray[np.float32]:
    width = layer.values.shape[1]
    return np.tile(np.array(SAWN if width == 4 else (0.0, 0.0), dtype=np.float32), (count, 3, 1))


def _put(data: bpy.types.Mesh, layer: Layer, values: NDArray[np.float32]) -> None:
    flat = np.ascontiguousarray(values).ravel()
    if layer.kind == "UV":
        data.uv_layers.new(name=layer.name, do_init=False).uv.foreach_set("vector", flat)
        return
    attributes: Any = data.color_attributes
    attribute = attributes.new(layer.name, layer.kind, "CORNER")
    attribute.data.foreach_set(colour_field(attribute), flat)
