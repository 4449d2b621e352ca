# SPDX-License-Identifier: GPL-3.0-or-later
"""The active row of a list is the active object: nothing is stored twice, so list and viewport never disagree."""

from __future__ import annotations

from typing import Any

import bpy

from .. import job_tree


def _place(folder: bpy.types.Collection | None) -> int:
    active = bpy.context.view_layer.objects.active if bpy.context.view_layer else None
    return -1 if folder is None or active is None else folder.objects.find(active.name)


def _choose(folder: bpy.types.Collection | None, index: int) -> None:
    if folder is None or not 0 <= index < len(folder.objects):
        return
    obj = folder.objects[index]
    if obj.name not in bpy.context.view_layer.objects:
        return
    active = bpy.context.view_layer.objects.active
    if active is not None and active.mode != "OBJECT":
        return
    for other in bpy.context.view_layer.objects.selected:
        other.select_set(False)
    obj.select_set(True)
    bpy.context.view_layer.objects.active = obj


def get_joint(job: Any) -> int:
    """Row of the active object among the joints; -1 where it is none."""
    return _place(job_tree.folder(job.id_data, job_tree.JOINTS))


def set_joint(job: Any, index: int) -> None:
    """Make the joint of this row the active object."""
    _choose(job_tree.folder(job.id_data, job_tree.JOINTS), index)


def get_piece(job: Any) -> int:
    """Row of the active object among the pieces; -1 where it is none."""
    return _place(job_tree.folder(job.id_data, job_tree.PIECES))


def set_piece(job: Any, index: int) -> None:
    """Make the piece of this row the active object."""
    _choose(job_tree.folder(job.id_data, job_tree.PIECES), index)
