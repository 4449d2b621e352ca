# SPDX-License-Identifier: GPL-3.0-or-later
"""A joint as an object to move: a sheet for a plane, a curve pushed along the wire for a profile; and read back.

An object that has not been touched gives back the very numbers that it was made from; one that was moved is read from
its transform. The point of a joint that cuts one part or one limb alone belongs to the carving, and moves with it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import convert
from .core.cutting.joint import Joint, Plane, Profile
from .core.errors import CutError
from .core.jobpack.joints_file import joint_entry, joints_json, read_joints
from .world import world_matrix

FloatArray = NDArray[np.float64]

OVERLAP = 1.08
"""A joint's sheet is this much larger than the carving, so that its rim can be taken hold of."""
JOINT = "joint"
PLACE = "joint_place"
CARVING_PLACE = "carving_place"
REASON = "reason"
"""Why a joint was proposed: taken away as soon as other numbers are noted on it."""
_STILL = 1e-6
"""An entry of a matrix that differs by less is the same: turning goes through angles in single precision."""


def joint_object(
    name: str, joint: Joint, mark: str, low: FloatArray, high: FloatArray, scale_length: float = 1.0
) -> bpy.types.Object:
    """A new object for a joint, linked to no collection yet.

    Parameters
    ----------
    low, high : (3,) metres, corners of the box round the carving; the sheet reaches a little over it.
    """
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    if isinstance(joint, Plane):
        axes = square_axes(joint.normal)
        middle, reach = _spread((corners - joint.point) @ axes[:, :2])
        quad = _QUAD * [*reach, 0.0]
        data = bpy.data.meshes.new(name)
        data.from_pydata((quad / scale_length).tolist(), [], [[0, 1, 2, 3]])
        obj = bpy.data.objects.new(name, data)
        convert.place(obj, axes, joint.point + axes[:, :2] @ middle, scale_length)
    else:
        axes = np.column_stack([joint.u, joint.w, joint.wire])
        middle, reach = _spread((corners - joint.origin) @ joint.wire)
        line = np.column_stack([joint.points, np.zeros(len(joint.points))])
        curve = convert.polyline(name, [line], scale_length)
        curve.extrude = float(reach) / scale_length
        obj = bpy.data.objects.new(name, curve)
        convert.place(obj, axes, joint.origin + joint.wire * middle, scale_length)
    obj.display_type = "WIRE"
    obj.hide_render = True
    write_joint(obj, joint, mark)
    return obj


_QUAD = np.array([[-1.0, -1.0, 0.0], [1.0, -1.0, 0.0], [1.0, 1.0, 0.0], [-1.0, 1.0, 0.0]])


def _spread(places: FloatArray) -> tuple[Any, Any]:
    """Middle of some places along each axis, and how far a sheet over them reaches from there."""
    low, high = places.min(axis=0), places.max(axis=0)
    return (low + high) / 2.0, (high - low) / 2.0 * OVERLAP


def fit_sheet(obj: Any, joint: Joint, lines: Sequence[FloatArray], scale_length: float) -> None:
    """Draw a joint's sheet no larger than what it cut, so that many joints leave the carving in sight.

    Parameters
    ----------
    joint : as the object was read. lines : (n, 3) metres each, where it meets the surface.

    Notes
    -----
    Only the sheet's size and its middle change, not the joint; note its numbers again afterwards. A sheet that was
    scaled, or shaped in Edit Mode, is left as it is.
    """
    matrix = np.array(world_matrix(obj), dtype=np.float64)
    axes = matrix[:3, :3]
    if not lines or float(np.abs(np.linalg.norm(axes, axis=0) - 1.0).max()) > _STILL:
        return
    points = np.concatenate(lines)
    if isinstance(joint, Plane):
        if len(obj.data.vertices) != len(_QUAD):
            return
        middle, reach = _spread((points - joint.point) @ axes[:, :2])
        sheet: Any = obj.data
        sheet.vertices.foreach_set("co", (_QUAD * [*reach, 0.0] / scale_length).astype(np.float32).ravel())
        sheet.update()
        convert.place(obj, axes, joint.point + axes[:, :2] @ middle, scale_length)
    else:
        middle, reach = _spread((points - joint.origin) @ joint.wire)
        obj.data.extrude = float(reach) / scale_length
        convert.place(obj, axes, joint.origin + joint.wire * middle, scale_length)


def put_joint(obj: Any, joint: Joint, carving: bpy.types.Object | None, scale_length: float = 1.0) -> None:
    """Move a joint's object so that it stands for this joint, which differs from its own by a shift alone.

    It counts as changed since the cut.
    """
    before = read_joint(obj, carving, scale_length)
    start, end = (one.point if isinstance(one, Plane) else one.origin for one in (before, joint))
    matrix = np.array(world_matrix(obj), dtype=np.float64)
    convert.place(obj, matrix[:3, :3], matrix[:3, 3] * scale_length + end - start, scale_length)
    write_joint(obj, joint, carving=carving)
    obj.pop("cut_order", None)


def write_joint(
    obj: bpy.types.Object, joint: Joint, mark: str | None = None, carving: bpy.types.Object | None = None
) -> None:
    """Note the joint's exact numbers on its object, with the places of object and carving for which they hold."""
    if mark is not None:
        obj["mark"] = mark
    obj["kind"] = joint.kind
    if obj.get(REASON) is not None and _entry("", joint) != _entry("", _noted(obj)):
        del obj[REASON]
    # Blender keeps float32; the joint to replay is the text.
    obj[JOINT] = _entry(str(obj.get("mark", "")), joint)
    obj[PLACE] = _flat(world_matrix(obj))
    if carving is not None:
        obj[CARVING_PLACE] = _flat(world_matrix(carving))


def _entry(mark: str, joint: Joint | None) -> str:
    return "" if joint is None else json.dumps(joint_entry(mark, joint))


def read_joint(obj: Any, carving: bpy.types.Object | None, scale_length: float = 1.0) -> Joint:
    """The joint that an object stands for, metres.

    Raises
    ------
    CutError
        An object that is no joint, a sheet that is no longer flat, a curve that is no profile; the message names it.
    """
    matrix = np.array(world_matrix(obj), dtype=np.float64)
    if not np.isfinite(matrix).all() or abs(float(np.linalg.det(matrix[:3, :3]))) == 0.0:
        raise CutError(f"{obj.name} is flattened by its scale; give it a scale other than 0")
    noted = _noted(obj)
    part = None if noted is None else _with_carving(obj, noted.part, carving, scale_length)
    limb = None if noted is None else _with_carving(obj, noted.limb, carving, scale_length)
    try:
        if isinstance(obj.data, bpy.types.Mesh):
            joint: Joint = _plane(obj, matrix, scale_length)
        elif isinstance(obj.data, bpy.types.Curve):
            joint = _profile(obj, matrix, scale_length)
        else:
            raise CutError("neither a sheet nor a curve; take it out of the Joints collection")
    except CutError as error:
        raise CutError(f"{obj.name}: {error}") from None
    if noted is not None and noted.kind == joint.kind and _unmoved(obj) and _same_curve(noted, joint, scale_length):
        joint = noted
    return joint if part is joint.part and limb is joint.limb else replace(joint, part=part, limb=limb)


def is_moved(obj: Any) -> bool:
    """Whether the object stands elsewhere than the numbers on it say."""
    return PLACE not in obj or not _unmoved(obj)


def square_axes(normal: FloatArray) -> FloatArray:
    """Axes (3, 3) in columns whose z is `normal`; x level."""
    up = np.array([0.0, 0.0, 1.0]) if abs(normal[2]) < 0.999 else np.array([0.0, 1.0, 0.0])
    x = np.cross(up, normal)
    x /= np.linalg.norm(x)
    return np.column_stack([x, np.cross(normal, x), normal])


def _plane(obj: bpy.types.Object, matrix: FloatArray, scale: float) -> Plane:
    coordinates = np.empty(len(obj.data.vertices) * 3, dtype=np.float32)
    obj.data.vertices.foreach_get("co", coordinates)
    rows = coordinates.reshape(-1, 3)
    if len(rows) and float(np.abs(rows[:, 2]).max()) > _STILL * float(np.abs(rows).max()):
        raise CutError("its sheet was changed in Edit Mode; move and turn the object instead, or add a new joint")
    normal = np.cross(matrix[:3, 0], matrix[:3, 1])
    if float(normal @ matrix[:3, 2]) < 0.0:
        normal = -normal
    return Plane(matrix[:3, 3] * scale, normal)


def _profile(obj: Any, matrix: FloatArray, scale: float) -> Profile:
    points = curve_points(obj.data)
    if points is None:
        raise CutError("a profile is one open line of straight stretches; set its spline to Poly and leave it open")
    if float(np.abs(points[:, 2]).max()) > _STILL * float(np.abs(points).max()):
        raise CutError("its line has left its plane; set the z of its points to 0")
    size = np.linalg.norm(matrix[:3, :2], axis=0)
    u, w = matrix[:3, 0] / size[0], matrix[:3, 1] / size[1]
    return Profile(matrix[:3, 3] * scale, u, w, points[:, :2] * size * scale)


def curve_points(data: bpy.types.Curve) -> FloatArray | None:
    """Points (k, 3) of a curve that is one open line of straight stretches; None for any other, Blender units."""
    if len(data.splines) != 1 or data.splines[0].type != "POLY" or data.splines[0].use_cyclic_u:
        return None
    points = np.empty(len(data.splines[0].points) * 4, dtype=np.float32)
    data.splines[0].points.foreach_get("co", points)
    return points.reshape(-1, 4)[:, :3].astype(np.float64)


def _noted(obj: bpy.types.Object) -> Joint | None:
    text = obj.get(JOINT)
    if not isinstance(text, str):
        return None
    return read_joints('{"schema_version": 1, "joints": [' + text + "]}", obj.name)[0]


def _with_carving(
    obj: bpy.types.Object, point: FloatArray | None, carving: bpy.types.Object | None, scale: float
) -> FloatArray | None:
    """A point in the part or by the limb that is cut, where the carving stands now."""
    then = obj.get(CARVING_PLACE)
    if point is None or carving is None or then is None:
        return point
    now = world_matrix(carving)
    if _still(_flat(now), then):
        return point
    before = np.array(list(then), dtype=np.float64).reshape(4, 4)
    moved: FloatArray = np.array(now, dtype=np.float64) @ np.linalg.inv(before) @ np.append(point / scale, 1.0)
    return moved[:3] * scale


def _unmoved(obj: Any) -> bool:
    return PLACE in obj and _still(_flat(world_matrix(obj)), obj[PLACE])


def _still(a: Sequence[float], b: Sequence[float]) -> bool:
    if list(a) == list(b):
        return True
    return all(abs(x - y) <= _STILL * max(1.0, abs(x)) for x, y in zip(a, b, strict=True))


def _same_curve(noted: Joint, joint: Joint, scale: float) -> bool:
    """Whether a profile's line is still the one that is noted; planes have none."""
    if not isinstance(noted, Profile) or not isinstance(joint, Profile):
        return True
    if noted.points.shape != joint.points.shape:
        return False
    reach = max(float(np.abs(noted.points).max()), scale)
    return bool((np.abs(noted.points - joint.points) <= _STILL * reach).all())


def _flat(matrix: Any) -> list[float]:
    return [float(value) for row in matrix for value in row]


def joints_text(pairs: Sequence[tuple[str, Joint]]) -> str:
    """A joints file of marks and joints."""
    return joints_json(pairs)
