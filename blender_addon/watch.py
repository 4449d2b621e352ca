# SPDX-License-Identifier: GPL-3.0-or-later
"""Notices when a carving changes: its fingerprint is taken half a second later, once, and read by the panels.

Nothing that matters is kept here: what is forgotten is worked out again.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy
from bpy.app import handlers

from . import results
from .job_tree import JobCollection
from .stamps import surface_stamp

DELAY = 0.5

_persistent: Callable[[Any], Any] = handlers.persistent

_stamps: dict[str, str] = {}
_waiting: set[str] = set()


def surface_now(job: JobCollection) -> str | None:
    """Fingerprint of the job's carving as last taken; None until then. Takes none itself: panels may call it."""
    carving = job.seamwright.carving
    return None if carving is None else _stamps.get(carving.name_full)


def take(job: JobCollection) -> str:
    """Take the fingerprint of the job's carving now."""
    carving = job.seamwright.carving
    if carving is None:
        return ""
    _stamps[carving.name_full] = stamp = surface_stamp(carving)
    _waiting.discard(carving.name_full)
    return stamp


def _collections() -> Any:
    return bpy.data.collections


def _carvings() -> set[Any]:
    found = (c.seamwright.carving for c in _collections() if c.seamwright.is_job and c.seamwright.is_cut)
    return {obj.name_full for obj in found if obj is not None}


def _wake() -> None:
    if _waiting and not bpy.app.timers.is_registered(_look):
        bpy.app.timers.register(_look, first_interval=DELAY)


def _look() -> None:
    """Take the fingerprints that wait, and have the panels drawn again."""
    for job in [c for c in _collections() if c.seamwright.is_job]:
        carving = job.seamwright.carving
        if carving is not None and carving.name_full in _waiting:
            take(job)
    _waiting.clear()
    redraw()


def redraw() -> None:
    """Draw all 3D views again, their sidebars included."""
    for manager in bpy.data.window_managers:
        for window in manager.windows:
            for area in window.screen.areas:
                if area.type == "VIEW_3D":
                    area.tag_redraw()


@_persistent
def on_change(scene: bpy.types.Scene, depsgraph: bpy.types.Depsgraph, *_: Any) -> None:
    """After an update: carvings whose shape or place changed wait for a new fingerprint."""
    if not depsgraph.id_type_updated("OBJECT") and not depsgraph.id_type_updated("MESH"):
        return
    carvings = _carvings()
    if not carvings:
        return
    for update in depsgraph.updates:
        block = update.id
        if isinstance(block, bpy.types.Object) and (update.is_updated_geometry or update.is_updated_transform):
            if block.original.name_full in carvings:
                _waiting.add(block.original.name_full)
    _wake()


@_persistent
def on_other_state(*_: Any) -> None:
    """After undo, redo and load: everything is another's, so everything is looked at again."""
    _stamps.clear()
    _waiting.clear()
    _waiting.update(_carvings())
    _wake()


@_persistent
def on_load(*_: Any) -> None:
    """After a file was opened: results in memory belong to another file."""
    results.forget()


def stop() -> None:
    """Forget everything and stop the timer."""
    _stamps.clear()
    _waiting.clear()
    if bpy.app.timers.is_registered(_look):
        bpy.app.timers.unregister(_look)
