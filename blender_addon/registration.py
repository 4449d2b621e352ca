# SPDX-License-Identifier: GPL-3.0-or-later
"""The one ordered list of what the extension adds to Blender, walked forwards to add and backwards to take away."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy

from . import command_entry, job_setup, joint_letters, long_work, results, watch
from .operators import blockup, carving, clearance, cut, drop, joints, mending, pack, pieces, plans, seams, skin, trial
from .operators import job as job_operators
from .panels import blockup as blockup_panel
from .panels import build as build_panel
from .panels import carving as carving_panel
from .panels import clearance as clearance_panel
from .panels import joints as joints_panel
from .panels import limits as limits_panel
from .panels import pieces as pieces_panel
from .panels import plans as plans_panel
from .panels import seams as seams_panel
from .panels import skin as skin_panel
from .properties import job as job_properties

COMMAND = "seamwright"

CLASSES: tuple[type, ...] = (
    *job_properties.CLASSES,
    *job_operators.CLASSES,
    *carving.CLASSES,
    *mending.CLASSES,
    *joints.CLASSES,
    *plans.CLASSES,
    *seams.CLASSES,
    *cut.CLASSES,
    *pieces.CLASSES,
    *pack.CLASSES,
    *drop.CLASSES,
    *skin.CLASSES,
    *trial.CLASSES,
    *blockup.CLASSES,
    *clearance.CLASSES,
    *carving_panel.CLASSES,
    *limits_panel.CLASSES,
    *blockup_panel.CLASSES,
    *joints_panel.CLASSES,
    *plans_panel.CLASSES,
    *seams_panel.CLASSES,
    *pieces_panel.CLASSES,
    *clearance_panel.CLASSES,
    *skin_panel.CLASSES,
    *build_panel.CLASSES,
)
"""Classes for ``bpy.utils.register_class``: child property groups before parents, panels after their parents."""

Undo = Callable[[], None]

_undo: list[Undo] = []


def _class(cls: type) -> Undo:
    bpy.utils.register_class(cls)
    return lambda: bpy.utils.unregister_class(cls)


def _command() -> Undo:
    add = getattr(bpy.utils, "register_cli_command", None)
    if add is None:
        return lambda: None
    handle = add(COMMAND, command_entry.run)
    return lambda: bpy.utils.unregister_cli_command(handle)


def _pointers() -> Undo:
    props: Any = bpy.props
    held: tuple[tuple[Any, type], ...] = (
        (bpy.types.Collection, job_properties.SEAMWRIGHT_PG_job),
        (bpy.types.Scene, job_properties.SEAMWRIGHT_PG_scene),
    )
    for owner, group in held:
        owner.seamwright = props.PointerProperty(type=group)

    def remove() -> None:
        for owner, _ in reversed(held):
            del owner.seamwright

    return remove


def _handlers() -> Undo:
    added: list[tuple[list[Any], Any]] = [
        (bpy.app.handlers.depsgraph_update_post, watch.on_change),
        (bpy.app.handlers.undo_post, watch.on_other_state),
        (bpy.app.handlers.redo_post, watch.on_other_state),
        (bpy.app.handlers.load_post, watch.on_load),
        (bpy.app.handlers.load_post, job_setup.on_load),
        (bpy.app.handlers.load_post, watch.on_other_state),
    ]
    for handlers, call in added:
        handlers.append(call)
    # Data cannot be reached while Blender starts with the extension enabled; load_post comes after it then.
    bpy.app.timers.register(job_setup.adopt, first_interval=0.0)

    def remove() -> None:
        for handlers, call in reversed(added):
            if call in handlers:
                handlers.remove(call)
        if bpy.app.timers.is_registered(job_setup.adopt):
            bpy.app.timers.unregister(job_setup.adopt)
        long_work.stop_all()
        watch.stop()
        results.forget()

    return remove


def _letters() -> Undo:
    joint_letters.show()
    return joint_letters.hide


PARTS: tuple[Callable[[], Undo], ...] = (_pointers, _handlers, _letters, _command)
"""What is not a class: each adds itself and hands back what takes it away (handlers, menus, pointers, commands)."""


def register() -> None:
    """Add all classes, then all other parts; if one fails, those already added are taken away again."""
    if _undo:
        return
    try:
        for cls in CLASSES:
            _undo.append(_class(cls))
        for part in PARTS:
            _undo.append(part())
    except Exception:
        unregister()
        raise


def unregister() -> None:
    """Take everything away in reverse order; goes on past a part that fails and raises the first failure at the end."""
    first: Exception | None = None
    while _undo:
        try:
            _undo.pop()()
        except Exception as error:
            first = first or error
    if first is not None:
        raise first
