# SPDX-License-Identifier: GPL-3.0-or-later
"""A new closed skin over a surface, made by Blender out of voxels: what the core is handed as its remesher."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from . import convert
from .core.errors import MeshError
from .core.mesh.mesh import Mesh


def voxel_skin(mesh: Mesh, voxel: float) -> Mesh:
    """Lay a skin over a mesh with Blender's remesh modifier; nothing of the open file is changed.

    Parameters
    ----------
    mesh : metres, any frame.
    voxel : metres, the side of a voxel.

    Returns
    -------
    Mesh
        Triangles in the frame of the mesh. Blender works in single precision, so the mesh is moved to the origin first.

    Raises
    ------
    MeshError
        Blender made no surface.
    """
    middle = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
    near = Mesh(mesh.vertices - middle, mesh.triangles)
    obj = convert.object_from_mesh("Seamwright skin", near)
    scene = bpy.data.scenes.new("Seamwright skin")
    try:
        scene.collection.objects.link(obj)
        modifier: Any = obj.modifiers.new("Skin", "REMESH")
        modifier.mode = "VOXEL"
        modifier.voxel_size = voxel
        modifier.adaptivity = 0.0
        layer: Any = scene.view_layers[0]
        layer.update()
        made = convert.mesh_from_object(obj, layer.depsgraph)
    finally:
        data: Any = obj.data
        bpy.data.objects.remove(obj)
        bpy.data.meshes.remove(data)
        bpy.data.scenes.remove(scene)
    if not len(made.triangles):
        raise MeshError(f"Blender made no skin of voxels of {voxel:g} m; the surface may be too thin for them")
    return Mesh(made.vertices + middle, made.triangles, np.zeros(len(made.triangles), dtype=np.uint8))
