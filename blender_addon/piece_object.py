# SPDX-License-Identifier: GPL-3.0-or-later
"""Pieces as objects: their data made one by one, then put in place together; each piece keeps its object."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import bpy
from mathutils import Matrix

from . import convert, job_tree
from .compat import use_nodes
from .core.cutting.result import Body
from .core.jobpack.piece_tones import touching_tones
from .core.jobpack.record import JobResult, PieceRecord
from .core.marking.match import match_pieces
from .core.mesh.mesh import FloatArray, IntArray, Mesh
from .corner_layers import Layers, write_layers
from .job_tree import JobCollection
from .picture_scene import SAWN, TONES

ORIGIN = "origin"
CARVED_FACE = "Seamwright carved"
JOINT_FACE = "Seamwright joint face"
_OWN_NAME = re.compile(r"piece \d+(\.\d+)?")


@dataclass(frozen=True, eq=False)
class Look:
    """What the pieces take over from the scan; `scan` and `turned` as in `corner_layers.write_layers`."""

    layers: Layers
    scan: IntArray
    turned: bool


def describe(obj: bpy.types.Object, piece: PieceRecord) -> None:
    """Results as custom properties, for people, the spreadsheet and geometry nodes."""
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
    obj["part_m"] = list(piece.part)


def matte(name: str, colour: Sequence[float]) -> bpy.types.Material:
    """A dull material, the same in every view."""
    material = bpy.data.materials.new(name)
    material.diffuse_color = (*colour[:3], 1.0)
    use_nodes(material)
    shader = material.node_tree.nodes["Principled BSDF"]
    shader.inputs["Base Color"].default_value = (*colour[:3], 1.0)
    shader.inputs["Roughness"].default_value = 0.9
    return material


def _material(name: str, colour: Sequence[float]) -> bpy.types.Material:
    return bpy.data.materials.get(name) or matte(name, colour)


def piece_data(result: JobResult, number: int, look: Look, scale_length: float) -> bpy.types.Mesh:
    """Mesh data of one piece, with its attributes, materials and what it carries of the scan; used by nobody yet."""
    piece = result.pieces[number]
    data = convert.mesh_data(f"piece {piece.mark}", piece.mesh, piece.source, _middle(piece.mesh), scale_length)
    whole = convert.whole_triangles(piece.mesh)
    convert.face_numbers(data, ORIGIN, piece.origin[whole])
    if look.layers.slots:
        for name in look.layers.slots:
            data.materials.append(bpy.data.materials.get(name) if name else None)
    else:
        tone = touching_tones(result)[number]
        data.materials.append(_material(f"{CARVED_FACE} {tone + 1}", TONES[tone]))
    data.materials.append(_material(JOINT_FACE, SAWN))
    body = Body(piece.mesh, piece.source, piece.origin)
    write_layers(data, body, result.carving, look.scan, look.layers, look.turned)
    return data


def put_pieces(job: JobCollection, result: JobResult, names: Sequence[str], scale_length: float) -> dict[str, int]:
    """Give each piece its data: on the object of the piece that it goes on from, or on a new one.

    Parameters
    ----------
    names : names of the pieces' mesh data, in the order of the pieces.

    Returns
    -------
    dict
        How many objects were ``kept``, ``new`` and ``gone``.
    """
    pieces: list[Any] = job_tree.pieces(job)
    old = [obj for obj in pieces if "part_m" in obj]
    marks = [piece.mark for piece in result.pieces]
    matched = match_pieces(
        [str(obj["mark"]) for obj in old],
        [list(obj["part_m"]) for obj in old],
        marks,
        [piece.mesh for piece in result.pieces],
    )
    folder = job_tree.ensure_folder(job, job_tree.PIECES)
    gone = [obj for k, obj in enumerate(old) if k not in matched]
    for obj in gone:
        job_tree.remove_object(obj)
    for obj in old:
        if obj not in gone and _OWN_NAME.fullmatch(obj.name):
            obj.name = "piece in hand"
    for piece, name, before in zip(result.pieces, names, matched, strict=True):
        data = bpy.data.meshes[name]
        obj = bpy.data.objects.new(f"piece {piece.mark}", data) if before is None else old[before]
        if before is None:
            folder.objects.link(obj)
        else:
            _swap(obj, data)
            if obj.name.startswith("piece in hand"):
                obj.name = f"piece {piece.mark}"
        obj.matrix_world = Matrix.Translation((_middle(piece.mesh) / scale_length).tolist())
        data.name = f"piece {piece.mark}"
        describe(obj, piece)
    return {"kept": len(old) - len(gone), "new": len(marks) - len(old) + len(gone), "gone": len(gone)}


def _swap(obj: bpy.types.Object, data: bpy.types.Mesh) -> None:
    """New data for an object; materials that the user gave to pieces of a plain scan stay."""
    before: Any = obj.data
    own = [m for m in before.materials if m is not None and not m.name.startswith("Seamwright ")]
    if own and len(before.materials) == len(data.materials):
        for k, material in enumerate(before.materials):
            if material is not None and not material.name.startswith("Seamwright "):
                data.materials[k] = material
    obj.data = data
    if before.users == 0:
        bpy.data.meshes.remove(before)


def _middle(mesh: Mesh) -> FloatArray:
    middle: FloatArray = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2.0
    return middle
