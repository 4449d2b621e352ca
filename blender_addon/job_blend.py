# SPDX-License-Identifier: GPL-3.0-or-later
"""``job.blend``: pieces, joints and settings as a Blender file, ready to go on with."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import bpy
import numpy as np
from numpy.typing import NDArray

from . import convert
from .core.cutting.joint import Joint, Plane
from .core.jobpack.joints_file import joint_entry, joints_json
from .core.jobpack.record import JobResult, JointRecord, PieceRecord
from .picture_scene import SAWN, TONES
from .piece_tones import touching_tones
from .quiet import quiet

if TYPE_CHECKING:
    from collections.abc import Sequence

SETTINGS = "JOB.toml"
JOINTS = "JOINTS.json"
OVERLAP = 1.08
"""A joint's sheet is this much larger than the carving, so that its rim can be taken hold of."""


def blend_bytes(result: JobResult) -> bytes:
    """Contents of the file; see `write_blend`."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.blend"
        write_blend(path, result)
        return path.read_bytes()


def write_blend(path: Path, result: JobResult, compress: bool = True) -> None:
    """Write the job as a Blender file; the file that is open in Blender is put aside.

    Notes
    -----
    One collection with the job's settings on it; in it the carving (hidden), one object for each piece with its marks
    and masses as custom properties and ``kind`` and ``source`` as face attributes, and for each joint an object to
    move (a sheet, for a profile a curve pushed along the wire) and its line on the surface. Settings and joints stand
    in texts too. Metres. No path of the machine is written.
    """
    with quiet():
        bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
        _build(result)
        bpy.ops.wm.save_as_mainfile(filepath=str(path), compress=compress, copy=True, relative_remap=False)


def _build(result: JobResult) -> None:
    scene = bpy.context.scene
    scene.unit_settings.system = "METRIC"
    scene.unit_settings.scale_length = 1.0
    scene.render.filepath = "//"
    settings = result.job.to_toml()
    job = bpy.data.collections.new(result.job.title)
    scene.collection.children.link(job)
    job["made_by"] = "seamwright"
    job["settings"] = settings
    job["gap_m"] = result.gap
    for name, contents in ((SETTINGS, settings), (JOINTS, joints_json((r.mark, r.joint) for r in result.joints))):
        text = bpy.data.texts.new(name)
        text.write(contents)
        text.use_fake_user = True
    _add_pieces(_folder(job, "Pieces"), result)
    low, high = result.carving.vertices.min(axis=0), result.carving.vertices.max(axis=0)
    for name, objects in (
        ("Joints", [_sheet(record, low, high) for record in result.joints]),
        ("Joint lines", [_line(record) for record in result.joints]),
    ):
        folder = _folder(job, name)
        for obj in objects:
            folder.objects.link(obj)
    folder = _folder(job, "Carving")
    folder.objects.link(convert.object_from_mesh("carving", result.carving, at=(low + high) / 2.0))
    folder.hide_viewport = folder.hide_render = True


def _folder(parent: bpy.types.Collection, name: str) -> bpy.types.Collection:
    child = bpy.data.collections.new(name)
    parent.children.link(child)
    return child


def _add_pieces(folder: bpy.types.Collection, result: JobResult) -> None:
    skins = [_material(f"carved {k + 1}", colour) for k, colour in enumerate(TONES)]
    sawn = _material("joint face", SAWN)
    for piece, tone in zip(result.pieces, touching_tones(result), strict=True):
        middle = (piece.mesh.vertices.min(axis=0) + piece.mesh.vertices.max(axis=0)) / 2.0
        obj = convert.object_from_mesh(f"piece {piece.mark}", piece.mesh, piece.source, at=middle)
        convert.set_materials(obj, [skins[tone], sawn, skins[tone], skins[tone]])
        _describe(obj, piece)
        folder.objects.link(obj)


def _describe(obj: bpy.types.Object, piece: PieceRecord) -> None:
    figures = piece.figures
    obj["mark"] = piece.mark
    obj["joints"] = " ".join(piece.joints)
    obj["status"] = piece.status
    obj["foam_volume_m3"] = figures.volume
    obj["foam_mass_kg"] = figures.foam_mass
    obj["skin_mass_kg"] = figures.skin_mass
    obj["finished_mass_kg"] = figures.finished_mass
    obj["handling_box_m"] = list(figures.box)
    obj["crew"] = figures.crew


def _sheet(record: JointRecord, low: NDArray[np.float64], high: NDArray[np.float64]) -> bpy.types.Object:
    """The joint as an object to move: a square sheet, or a curve that is pushed along its local z."""
    joint = record.joint
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    name = f"joint {record.mark}"
    if isinstance(joint, Plane):
        axes = _square_axes(joint.normal)
        flat = (corners - joint.point) @ axes[:, :2]
        middle, reach = (flat.min(axis=0) + flat.max(axis=0)) / 2.0, np.ptp(flat, axis=0) / 2.0 * OVERLAP
        quad = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) * [*reach, 0.0]
        obj = bpy.data.objects.new(name, convert.surface(name, quad, [[0, 1, 2], [0, 2, 3]]))
        convert.place(obj, axes, joint.point + axes[:, :2] @ middle)
    else:
        axes = np.column_stack([joint.u, joint.w, joint.wire])
        along = (corners - joint.origin) @ joint.wire
        middle, reach = (along.min() + along.max()) / 2.0, float(np.ptp(along)) / 2.0 * OVERLAP
        line = np.column_stack([joint.points, np.zeros(len(joint.points))])
        data = convert.polyline(name, [line])
        data.extrude = reach
        obj = bpy.data.objects.new(name, data)
        convert.place(obj, axes, joint.origin + joint.wire * middle)
    obj.display_type = "WIRE"
    obj.hide_render = True
    _mark(obj, record, joint)
    return obj


def _line(record: JointRecord) -> bpy.types.Object:
    name = f"line {record.mark}"
    lines = [line.points for line in record.lines if len(line.points) > 1]
    obj = bpy.data.objects.new(name, convert.polyline(name, lines))
    obj["mark"] = record.mark
    return obj


def _mark(obj: bpy.types.Object, record: JointRecord, joint: Joint) -> None:
    obj["mark"] = record.mark
    obj["kind"] = joint.kind
    obj["status"] = record.status
    obj["area_m2"] = record.area
    obj["visible_length_m"] = record.visible_length
    # Blender keeps float32; the joint to replay is the text.
    obj["joint"] = json.dumps(joint_entry(record.mark, joint))


def _square_axes(normal: NDArray[np.float64]) -> NDArray[np.float64]:
    """Axes (3, 3) in columns whose z is `normal`; x level."""
    up = np.array([0.0, 0.0, 1.0]) if abs(normal[2]) < 0.999 else np.array([0.0, 1.0, 0.0])
    x = np.cross(up, normal)
    x /= np.linalg.norm(x)
    return np.column_stack([x, np.cross(normal, x), normal])


def _material(name: str, colour: Sequence[float]) -> bpy.types.Material:
    material = bpy.data.materials.new(name)
    material.diffuse_color = (*colour, 1.0)
    material.use_nodes = True
    shader = material.node_tree.nodes["Principled BSDF"]
    shader.inputs["Base Color"].default_value = (*colour, 1.0)
    shader.inputs["Roughness"].default_value = 0.9
    return material
