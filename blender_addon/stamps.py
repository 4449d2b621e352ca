# SPDX-License-Identifier: GPL-3.0-or-later
"""Fingerprints, by which a panel tells that a cut is out of date."""

from __future__ import annotations

import hashlib
import zlib
from typing import Any

import bpy
import numpy as np

from . import job_tree
from .compat import node_inputs
from .job_tree import JobCollection
from .joint_object import REASON, is_moved
from .properties.settings_link import settings_key
from .surface_marks import marks_key
from .world import world_matrix

CUT_ORDER = "cut_order"
LINE_STAMP = "line_stamp"


def settings_stamp(job: JobCollection, scale_length: float) -> str:
    """Of the settings, the price list, the unit scale and what is marked on the carving."""
    return hashlib.sha1(
        repr((settings_key(job.seamwright), scale_length, job.seamwright.prices_text, marks_key(job))).encode()
    ).hexdigest()


def line_stamp(obj: bpy.types.Object) -> str:
    """Of a profile's line; the same for every sheet."""
    if not isinstance(obj.data, bpy.types.Curve) or not obj.data.splines:
        return ""
    points = np.empty(len(obj.data.splines[0].points) * 4, dtype=np.float32)
    obj.data.splines[0].points.foreach_get("co", points)
    return str(zlib.crc32(points.tobytes()))


def surface_stamp(obj: Any) -> str:
    """Of an object's own shape, place and modifiers. Reads the whole mesh: a few milliseconds a million triangles."""
    data = obj.data
    if not isinstance(data, bpy.types.Mesh):
        return ""
    crc = len(data.polygons)
    # Whole attributes are copied at a stroke; the same through vertices and loops takes many times longer.
    for name, field, width, kind in (("position", "vector", 3, np.float32), (".corner_vert", "value", 1, np.int32)):
        values: Any = np.empty((len(data.vertices) if width == 3 else len(data.loops)) * width, dtype=kind)
        if len(values):
            attribute: Any = data.attributes[name]
            attribute.data.foreach_get(field, values)
        crc = zlib.crc32(values, crc)
    place = [round(value, 6) for row in _rows(obj) for value in row]
    return f"{crc:08x} {hashlib.sha1(repr((place, _modifiers(obj), _shapes(data))).encode()).hexdigest()}"


def _rows(obj: bpy.types.Object) -> Any:
    return world_matrix(obj)


def _modifiers(obj: bpy.types.Object) -> list[object]:
    out: list[object] = []
    for modifier in obj.modifiers:
        for prop in modifier.bl_rna.properties:
            if prop.type in ("BOOLEAN", "INT", "FLOAT", "ENUM", "STRING") and prop.identifier not in _VIEW_ONLY:
                value = getattr(modifier, prop.identifier)
                out.append((prop.identifier, value if isinstance(value, str | int | float) else str(value)))
        out += node_inputs(modifier)
    return out


def _shapes(data: bpy.types.Mesh) -> list[tuple[str, float, int]]:
    """Of the shape keys that move the mesh: name, value, and a checksum of their places."""
    keys: Any = data.shape_keys
    out = []
    for key in keys.key_blocks if keys is not None else ():
        if key.value != 0.0 and not key.mute:
            places: Any = np.empty(3 * len(key.data), dtype=np.float32)
            key.data.foreach_get("co", places)
            out.append((key.name, round(key.value, 6), zlib.crc32(places)))
    return out


_VIEW_ONLY = ("show_expanded", "is_active", "execution_time", "use_pin_to_last", "persistent_uid")


def moved_joints(job: JobCollection) -> list[bpy.types.Object]:
    """Joints that are new, moved or changed since the cut, in their order."""
    return [
        obj
        for place, obj in enumerate(job_tree.joints(job))
        if obj.get(CUT_ORDER) != place or is_moved(obj) or obj.get(LINE_STAMP, "") != line_stamp(obj)
    ]


def note_reason(obj: bpy.types.Object, reason: str) -> None:
    """Note why a joint was proposed, with the line for which that holds."""
    obj[REASON] = reason
    obj[LINE_STAMP] = line_stamp(obj)


def stands_as_proposed(obj: bpy.types.Object) -> bool:
    """Whether a joint was proposed and has not been moved or bent since."""
    return obj.get(REASON) is not None and not is_moved(obj) and obj.get(LINE_STAMP) == line_stamp(obj)


def mark_cut(job: JobCollection) -> None:
    """Note on each joint that the cut has taken it as it stands."""
    for place, obj in enumerate(job_tree.joints(job)):
        obj[CUT_ORDER] = place
        obj[LINE_STAMP] = line_stamp(obj)


def out_of_date(
    job: JobCollection, scale_length: float, surface: str | None, moved: list[bpy.types.Object] | None = None
) -> list[str]:
    """Sentences on what has changed since the cut; empty where the cut stands.

    Parameters
    ----------
    surface : fingerprint of the carving now; None where it is not known yet.
    moved : `moved_joints`, if already known.
    """
    group = job.seamwright
    if not group.is_cut:
        return []
    out = []
    moved = moved_joints(job) if moved is None else moved
    if moved:
        names = ", ".join(obj.name for obj in moved[:4]) + (" …" if len(moved) > 4 else "")
        out.append(f"Changed since the cut: {names}.")
    count = len(job_tree.joints(job))
    if count < group.cut_joints:
        gone = group.cut_joints - count
        out.append(f"{gone} {'joint has' if gone == 1 else 'joints have'} been taken away since the cut.")
    if settings_stamp(job, scale_length) != group.cut_settings:
        out.append("Settings have changed since the cut.")
    if surface is not None and surface != group.cut_surface:
        out.append("The carving has changed since the cut.")
    return out
