# SPDX-License-Identifier: GPL-3.0-or-later
"""What differs between the Blender versions that the extension runs on."""

from __future__ import annotations

from typing import Any

import bpy

HAS_FILE_HANDLER = hasattr(bpy.types, "FileHandler")
"""Files can be dropped on a window from 4.1 on."""


def colour_field(attribute: Any) -> str:
    """Name of the values of a colour attribute that go there and back without loss."""
    return "color_srgb" if attribute.data_type == "BYTE_COLOR" else "color"


def curves_of(obj: Any) -> list[Any]:
    """Animation curves of an object's own action; in layers and slots from Blender 4.4 on, and only so from 5.0 on."""
    data = obj.animation_data
    action = None if data is None else data.action
    if action is None:
        return []
    if bpy.app.version < (4, 4, 0):
        return list(action.fcurves)
    bags = [strip.channelbag(data.action_slot) for layer in action.layers for strip in layer.strips]
    return [curve for bag in bags if bag is not None for curve in bag.fcurves]


def is_editable(block: Any) -> bool:
    """Whether a data block may be changed: it is neither linked nor a locked override."""
    return bool(getattr(block, "is_editable", block.library is None))


def use_nodes(data: bpy.types.Material | bpy.types.World) -> None:
    """Give a material or world its nodes; from Blender 5.0 on it always has them, and setting that warns."""
    if bpy.app.version < (5, 0, 0):
        data.use_nodes = True


def take_mask_brush() -> None:
    """Take up Sculpt Mode's mask brush: a tool until Blender 4.2, an asset since."""
    if bpy.app.version < (4, 3, 0):
        bpy.ops.wm.tool_set_by_id(name="builtin_brush.Mask")
        return
    brush = "brushes/essentials_brushes-mesh_sculpt.blend/Brush/Mask"
    bpy.ops.brush.asset_activate(
        asset_library_type="ESSENTIALS", asset_library_identifier="", relative_asset_identifier=brush
    )


def node_inputs(modifier: Any) -> list[tuple[str, Any]]:
    """What the user has set of a modifier of nodes: properties of its own from Blender 5.2 on, custom ones before."""
    if modifier.type != "NODES" or modifier.node_group is None:
        return []
    if bpy.app.version < (5, 2, 0):
        return [(name, getattr(value, "name", str(_plain(value)))) for name, value in sorted(modifier.items())]
    inputs = modifier.properties.inputs
    sockets = [(name, getattr(inputs, name)) for name in sorted(inputs.bl_rna.properties.keys())]
    values = [(name, getattr(socket, "value", None)) for name, socket in sockets]
    return [(name, getattr(value, "name", str(_plain(value)))) for name, value in values]


def _plain(value: Any) -> Any:
    return tuple(value) if hasattr(value, "__len__") and not isinstance(value, str) else value
