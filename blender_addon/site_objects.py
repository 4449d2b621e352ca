# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks on hidden faces as text objects that go with their pieces, and what the site knows of each piece."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from . import convert, job_tree
from .core.jobpack.record import JobResult
from .core.marking.face_marks import SMALL, mark_lines
from .core.mesh.mesh import Mesh
from .job_tree import JobCollection

_LIFT = 1e-3
"""Metres that a text stands off its face, so that the two do not flicker."""

_CAPITAL = 0.73
"""Height of a digit over the size of Blender's own font; measured on its outline."""

WAY_IN = "way_in"


def describe_site(obj: bpy.types.Object, result: JobResult, piece: int) -> None:
    """Places in build order and loading, and the way in, as custom properties; 0 and zeros where there are none."""
    site = result.site
    if site is None:
        return
    obj["build_order"] = site.build_place[piece]
    obj["load_order"] = site.load_place[piece]
    step = next((s for s in site.build if s.piece == piece), None)
    obj[WAY_IN] = [0.0, 0.0, 0.0] if step is None else list(step.way_in)
    obj["comes"] = "no straight way" if step is None else step.comes


def put_marks(
    folder: bpy.types.Collection, result: JobResult, pieces: Sequence[bpy.types.Object], scale_length: float = 1.0
) -> None:
    """Text objects for all marks, each the child of its piece; those of the cut before go.

    Parameters
    ----------
    pieces : the pieces' objects in the order of the record, standing where they were cut.
    """
    for obj in list(folder.objects):
        job_tree.remove_object(obj)
    if result.site is None:
        return
    names, letters = [p.mark for p in result.pieces], [j.mark for j in result.joints]
    for mark in result.site.marks:
        figures = result.pieces[mark.piece].figures
        lines = mark_lines(mark, names, letters, figures.finished_mass, figures.crew, result.job.limits.crew)
        axes = np.stack((mark.right, mark.up, mark.out), axis=1)
        where = f"{letters[mark.joint]} to {names[mark.other]}" if mark.joint >= 0 else "base"
        small = SMALL * mark.height
        parts = (("", lines[0], mark.height, 0.35), (" words", "\n".join(lines[1:]), small, -0.75))
        for suffix, words, height, up in parts:
            data: Any = bpy.data.curves.new(f"mark {names[mark.piece]} {where}{suffix}", "FONT")
            data.body = words
            data.size = height / _CAPITAL / scale_length
            data.align_x = "CENTER"
            obj = bpy.data.objects.new(data.name, data)
            obj["mark"] = names[mark.piece]
            obj.hide_select = True
            at = (mark.centre + _LIFT * mark.out + up * mark.height * mark.up) / scale_length
            turned = Matrix(np.block([[axes, at[:, None]], [np.zeros((1, 3)), np.ones((1, 1))]]).tolist())
            parent = pieces[mark.piece]
            obj.parent = parent
            obj.matrix_parent_inverse = Matrix.Translation(parent.matrix_world.translation).inverted()
            obj.matrix_basis = turned
            folder.objects.link(obj)


def current_numbers(job: JobCollection, scale_length: float) -> list[tuple[str, Mesh]]:
    """Number and mesh of each piece that the job has now, so that a new cut can keep the numbers."""
    held: list[Any] = list(job_tree.pieces(job))
    out = []
    for obj in held:
        if "part_m" not in obj:
            continue
        shift = np.array(obj.matrix_world.translation) * scale_length
        data = obj.data
        vertices = convert.attribute_values(data, "position", 3).reshape(-1, 3).astype(np.float64) * scale_length
        corners = convert.attribute_values(data, ".corner_vert", 1).reshape(-1, 3).astype(np.int64)
        out.append((str(obj["mark"]), Mesh(vertices + shift, corners)))
    return out
