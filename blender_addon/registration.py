# SPDX-License-Identifier: GPL-3.0-or-later
"""The one ordered list of what the extension adds to Blender, walked forwards to add and backwards to take away."""

from __future__ import annotations

from collections.abc import Callable

import bpy

from . import command_entry

COMMAND = "seamwright"

CLASSES: tuple[type, ...] = ()
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


PARTS: tuple[Callable[[], Undo], ...] = (_command,)
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
