# SPDX-License-Identifier: GPL-3.0-or-later
"""``job.blend``: pieces, joints and settings as a Blender file, ready to go on with."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import convert
from .core.jobpack.joints_file import joints_json
from .core.jobpack.piece_tones import touching_tones
from .core.jobpack.record import JobResult, JointRecord
from .job_tree import CARVING, JOINTS, LINES, MADE_BY, MAKER, MARKS, PIECES, ensure_folder
from .joint_object import joint_object, write_joint
from .picture_scene import SAWN, TONES
from .piece_object import CARVED_FACE, JOINT_FACE, describe, matte
from .quiet import quiet
from .site_objects import describe_site, put_marks

SETTINGS = "JOB.toml"
JOINTS_FILE = "JOINTS.json"


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
        _forget_folders()
        bpy.ops.wm.save_as_mainfile(filepath=str(path), compress=compress, copy=True, relative_remap=False)


def _build(result: JobResult) -> None:
    scene = bpy.context.scene
    scene.unit_settings.system = "METRIC"
    scene.unit_settings.scale_length = 1.0
    scene.render.filepath = "//"
    settings = result.job.to_toml()
    job = bpy.data.collections.new(result.job.title)
    scene.collection.children.link(job)
    job[MADE_BY] = MAKER
    job["settings"] = settings
    job["gap_m"] = result.gap
    for name, contents in ((SETTINGS, settings), (JOINTS_FILE, joints_json((r.mark, r.joint) for r in result.joints))):
        text = bpy.data.texts.new(name)
        text.write(contents)
        text.use_fake_user = True
    _add_pieces(ensure_folder(job, PIECES), ensure_folder(job, MARKS), result)
    low, high = result.carving.vertices.min(axis=0), result.carving.vertices.max(axis=0)
    carving = convert.object_from_mesh("carving", result.carving, at=(low + high) / 2.0)
    for holds, objects in (
        (JOINTS, [_joint(n, record, low, high, carving) for n, record in enumerate(result.joints)]),
        (LINES, [_line(record) for record in result.joints]),
    ):
        folder = ensure_folder(job, holds)
        for obj in objects:
            folder.objects.link(obj)
    folder = ensure_folder(job, CARVING)
    folder.objects.link(carving)
    folder.hide_viewport = folder.hide_render = True


def _forget_folders() -> None:
    """Blender's windows are saved too, and their file browsers stand in the user's home folder."""
    for screen in bpy.data.screens:
        for area in screen.areas:
            space: Any
            for space in area.spaces:
                if space.type == "FILE_BROWSER" and space.params is not None:
                    space.params.directory = b"//"


def _add_pieces(folder: bpy.types.Collection, marks: bpy.types.Collection, result: JobResult) -> None:
    skins = [matte(f"{CARVED_FACE} {k + 1}", colour) for k, colour in enumerate(TONES)]
    sawn = matte(JOINT_FACE, SAWN)
    made = []
    for number, (piece, tone) in enumerate(zip(result.pieces, touching_tones(result), strict=True)):
        middle = (piece.mesh.vertices.min(axis=0) + piece.mesh.vertices.max(axis=0)) / 2.0
        obj = convert.object_from_mesh(f"piece {piece.mark}", piece.mesh, piece.source, at=middle)
        convert.set_materials(obj, [skins[tone], sawn, skins[tone], skins[tone]])
        describe(obj, piece)
        describe_site(obj, result, number)
        folder.objects.link(obj)
        made.append(obj)
    put_marks(marks, result, made)


def _joint(
    place: int, record: JointRecord, low: NDArray[np.float64], high: NDArray[np.float64], carving: bpy.types.Object
) -> bpy.types.Object:
    obj = joint_object(f"joint {record.mark}", record.joint, record.mark, low, high)
    write_joint(obj, record.joint, carving=carving)
    obj["order"] = place
    obj["status"] = record.status
    obj["area_m2"] = record.area
    obj["visible_length_m"] = record.visible_length
    return obj


def _line(record: JointRecord) -> bpy.types.Object:
    name = f"line {record.mark}"
    lines = [line.points for line in record.lines if len(line.points) > 1]
    obj = bpy.data.objects.new(name, convert.polyline(name, lines))
    obj["mark"] = record.mark
    return obj
