# SPDX-License-Identifier: GPL-3.0-or-later
"""Pieces as objects: their data made one by one, then put in place together; each piece keeps its object."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import bpy
import numpy as np
from mathutils import Matrix

from . import convert, job_tree
from .compat import use_nodes
from .core.cutting.result import Body
from .core.errors import Progress
from .core.intake.draft import BoolArray
from .core.jobpack.record import JobResult, PieceRecord
from .core.marking.match import match_pieces
from .core.mesh.mesh import CARVED, FloatArray, IntArray, Mesh
from .corner_layers import Layers, PieceLayers, piece_layers, write_layers
from .job_tree import JobCollection
from .picture_scene import SAWN, TONES
from .site_objects import describe_site

ORIGIN = "origin"
CARVED_FACE = "Seamwright carved"
JOINT_FACE = "Seamwright joint face"
_OWN_NAME = re.compile(r"piece [\w-]*\d+(\.\d+)?", re.ASCII)


@dataclass(frozen=True, eq=False)
class Look:
    """What the pieces take over from the scan; `scan` and `turned` as in `corner_layers.piece_layers`."""

    layers: Layers
    scan: IntArray
    turned: BoolArray


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
    obj["covering_carved_m2"] = figures.covered[CARVED]
    if piece.handled is not None:
        obj["largest_share_kg"] = piece.handled.carry.worst
        obj["tilt_rad"] = piece.handled.standing.tilt
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


@dataclass(frozen=True, eq=False)
class PieceReady:
    """A piece as arrays; what is left to do needs Blender."""

    name: str
    arrays: convert.MeshArrays
    layers: PieceLayers


def pieces_ready(result: JobResult, look: Look, scale_length: float, progress: Progress) -> list[PieceReady]:
    """The pieces of a cut with what they take over from the scan; Blender is not asked."""
    out = []
    for number, piece in enumerate(result.pieces):
        progress(number / len(result.pieces), f"piece {piece.mark}")
        arrays = convert.mesh_arrays(piece.mesh, piece.source, _middle(piece.mesh), scale_length)
        origin = piece.origin[convert.whole_triangles(piece.mesh)]
        arrays = replace(arrays, numbers={**arrays.numbers, ORIGIN: origin.astype(np.int32)})
        body = Body(piece.mesh, piece.source, piece.origin)
        layers = piece_layers(body, result.carving, look.scan, look.layers, look.turned)
        out.append(PieceReady(f"piece {piece.mark}", arrays, layers))
    return out


def piece_data(piece: PieceReady, look: Look, tone: int) -> bpy.types.Mesh:
    """Mesh data of one piece, with its attributes, materials and what it carries of the scan; used by nobody yet.

    Parameters
    ----------
    tone : which tone it is shown in, where the scan has no materials of its own.
    """
    data = convert.mesh_data(piece.name, piece.arrays)
    if look.layers.slots:
        for name in look.layers.slots:
            data.materials.append(bpy.data.materials.get(name) if name else None)
    else:
        data.materials.append(_material(f"{CARVED_FACE} {tone + 1}", TONES[tone]))
    data.materials.append(_material(JOINT_FACE, SAWN))
    write_layers(data, look.layers, piece.layers)
    return data


class Before(NamedTuple):
    """A piece of the cut before: its object's name, its number, and a point (3,) inside it, metres."""

    name: str
    mark: str
    point: tuple[float, ...]


def pieces_before(job: JobCollection) -> list[Before]:
    """The pieces that the job has now."""
    found: list[Any] = job_tree.pieces(job)
    return [Before(obj.name, str(obj["mark"]), tuple(obj["part_m"])) for obj in found if "part_m" in obj]


def go_on_from(before: Sequence[Before], result: JobResult) -> list[str]:
    """For each new piece the name of the object that it goes on from; empty for none. Blender is not asked."""
    found = match_pieces(
        [piece.mark for piece in before],
        [piece.point for piece in before],
        [piece.mark for piece in result.pieces],
        [piece.mesh for piece in result.pieces],
    )
    return ["" if k is None else before[k].name for k in found]


def put_pieces(
    job: JobCollection, result: JobResult, names: Sequence[str], matched: Sequence[str], scale_length: float
) -> dict[str, int]:
    """Give each piece its data: on the object of the piece that it goes on from, or on a new one.

    Parameters
    ----------
    names : names of the pieces' mesh data, in the order of the pieces.
    matched : `go_on_from`; an object that is gone meanwhile counts as none.

    Returns
    -------
    dict
        How many objects were ``kept``, ``new`` and ``gone``.
    """
    folder = job_tree.ensure_folder(job, job_tree.PIECES)
    every: list[Any] = job_tree.pieces(job)
    old = [obj for obj in every if "part_m" in obj]
    stay = {obj.name: obj for obj in old if obj.name in matched}
    for obj in [obj for obj in old if obj.name not in stay]:
        job_tree.remove_object(obj)
    kept = [stay.get(name) for name in matched]
    for obj in stay.values():
        if _OWN_NAME.fullmatch(obj.name):
            obj.name = "piece in hand"
    for number, (piece, name, obj) in enumerate(zip(result.pieces, names, kept, strict=True)):
        data = bpy.data.meshes[name]
        if obj is None:
            obj = bpy.data.objects.new(f"piece {piece.mark}", data)
            folder.objects.link(obj)
        else:
            _swap(obj, data)
            if obj.name.startswith("piece in hand"):
                obj.name = f"piece {piece.mark}"
        obj.matrix_world = Matrix.Translation((_middle(piece.mesh) / scale_length).tolist())
        data.name = f"piece {piece.mark}"
        describe(obj, piece)
        describe_site(obj, result, number)
    return {"kept": len(stay), "new": len(names) - len(stay), "gone": len(old) - len(stay)}


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
