# SPDX-License-Identifier: GPL-3.0-or-later
"""Where objects stand, also those that are hidden and that Blender therefore does not evaluate."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import bpy
from mathutils import Matrix


def world_matrix(obj: bpy.types.Object) -> Matrix:
    """The object's place in the world from its own transform and its parents'; with constraints, as last evaluated."""
    if len(obj.constraints) or obj.parent_type != "OBJECT" or obj.animation_data is not None:
        return obj.matrix_world.copy()
    if obj.parent is None:
        return obj.matrix_basis.copy()
    return world_matrix(obj.parent) @ obj.matrix_parent_inverse @ obj.matrix_basis


@contextmanager
def shown(context: bpy.types.Context, obj: bpy.types.Object) -> Iterator[bpy.types.Depsgraph]:
    """An evaluated dependency graph that holds `obj`, hidden or not; what hid it hides it again afterwards."""
    layer = context.view_layer
    if obj.name in layer.objects and obj.visible_get(view_layer=layer):
        layer.update()
        yield context.evaluated_depsgraph_get()
        return
    root = context.scene.collection
    disabled = obj.hide_viewport
    linked = obj.name not in root.objects
    if linked:
        root.objects.link(obj)
    hidden = obj.hide_get(view_layer=layer)
    try:
        obj.hide_viewport = False
        obj.hide_set(False, view_layer=layer)
        layer.update()
        yield context.evaluated_depsgraph_get()
    finally:
        obj.hide_viewport = disabled
        obj.hide_set(hidden, view_layer=layer)
        if linked:
            root.objects.unlink(obj)
