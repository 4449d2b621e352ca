# SPDX-License-Identifier: GPL-3.0-or-later
"""The whole job, then the extension is taken away: nobody may hold anything of it.

Words: the zip, the folder with outcrop.ply and JOB.toml, a folder to write to, what comes
first: "disable" or "remove".
"""

from __future__ import annotations

import gc
import weakref
from pathlib import Path
from typing import Any

import inside
from inside import WORDS, bpy

ZIP, SOURCE, OUT, FIRST = WORDS[0], Path(WORDS[1]), Path(WORDS[2]), WORDS[3]


def kept_here() -> None:
    """Stands for what an add-on may forget: if the ways to look for leftovers are blind, this shows it."""


def looks() -> list[bool]:
    """Whether a timer, a draw handler and a handler are noticed."""
    before = inside.held()
    bpy.app.timers.register(kept_here, first_interval=60.0)
    handle = bpy.types.SpaceView3D.draw_handler_add(kept_here, (), "WINDOW", "POST_VIEW")
    bpy.app.handlers.load_post.append(kept_here)
    bpy.types.Scene.kept_here = bpy.props.IntProperty()
    found = inside.difference(before, inside.held())
    bpy.app.timers.unregister(kept_here)
    bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
    bpy.app.handlers.load_post.remove(kept_here)
    del bpy.types.Scene.kept_here
    words = ("timers", "draw handlers", "handlers", "properties")
    return [*(len(found.get(word, {"come": []})["come"]) == 1 for word in words), inside.held() == before]


def groups_stay() -> bool:
    """Whether this Blender itself keeps a property group that was registered, pointed to and taken back in good order.

    4.2 does.
    """
    group: Any = type("KeptHere", (bpy.types.PropertyGroup,), {"__annotations__": {"number": bpy.props.IntProperty()}})
    bpy.utils.register_class(group)
    bpy.types.Scene.kept_here = bpy.props.PointerProperty(type=group)
    del bpy.types.Scene.kept_here
    bpy.utils.unregister_class(group)
    held = weakref.ref(group)
    del group
    for _ in range(3):
        gc.collect()
    return held() is not None


def leave() -> dict[str, Any]:
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    out: dict[str, Any] = {"looks": looks(), "groups stay": groups_stay()}
    before = inside.held()
    out["install"] = inside.install(ZIP)
    ops = bpy.ops.seamwright
    ops.carving_import(filepath=str(SOURCE / "outcrop.ply"))
    ops.settings_read(filepath=str(SOURCE / "JOB.toml"))
    ops.carving_check()
    ops.joints_propose()
    ops.cut()
    inside.job().seamwright.pack_pictures = False
    out["export"] = next(iter(ops.pack_export(folder=str(OUT / f"pack-{FIRST}"))))
    out["alive before"] = len([name for name in inside.modules() if name in inside.sys.modules])
    if FIRST == "disable":
        out["disable"] = inside.disable()
    out["remove"] = inside.remove()
    out["modules"] = inside.modules()
    out["after remove"] = inside.difference(before, inside.held())
    out["alive"] = inside.alive()
    return out


inside.play(leave)
