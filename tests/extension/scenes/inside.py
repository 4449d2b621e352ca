# SPDX-License-Identifier: GPL-3.0-or-later
"""What the scenes share. Imported first of all: from here on this process has no network and no other seamwright."""

from __future__ import annotations

import gc
import hashlib
import json
import os
import sys
import threading
import traceback
import weakref
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

FACTS = Path(sys.argv[1])
WORDS = sys.argv[2:]
REPOSITORY = "user_default"
IDENTIFIER = "seamwright"
PACKAGE = f"bl_ext.{REPOSITORY}.{IDENTIFIER}"

network: list[str] = []


def _no_network(event: str, arguments: tuple[Any, ...]) -> None:
    if event in ("socket.connect", "socket.sendto", "socket.getaddrinfo", "socket.gethostbyname"):
        network.append(f"{event} {arguments[-1]!r}")
        raise OSError("this process has no network")


sys.addaudithook(_no_network)
# The extension must do without the project that may be installed beside Blender.
sys.modules[IDENTIFIER] = None  # type: ignore[assignment]

import bpy  # noqa: E402

timers: list[weakref.ref[Callable[..., Any]]] = []
draw_handlers: list[tuple[Any, Any]] = []


def _watch_timers() -> None:
    register = bpy.app.timers.register

    def note(function: Callable[..., Any], *words: Any, **named: Any) -> Any:
        timers.append(weakref.ref(function))
        return register(function, *words, **named)

    bpy.app.timers.register = note


def _watch_draw_handlers() -> None:
    for name in dir(bpy.types):
        space = getattr(bpy.types, name)
        if not name.startswith("Space") or name == "Space" or not hasattr(space, "draw_handler_add"):
            continue
        add, remove = space.draw_handler_add, space.draw_handler_remove

        def note_add(*words: Any, add: Any = add, name: str = name) -> Any:
            handle = add(*words)
            draw_handlers.append((name, handle))
            return handle

        def note_remove(handle: Any, region: str, remove: Any = remove, name: str = name) -> None:
            remove(handle, region)
            draw_handlers.remove((name, handle))

        space.draw_handler_add, space.draw_handler_remove = staticmethod(note_add), staticmethod(note_remove)


_watch_timers()
_watch_draw_handlers()


def install(path: str, enable: bool = True) -> str:
    """Install a zip as "Install from Disk" does."""
    done = bpy.ops.extensions.package_install_files(filepath=path, repo=REPOSITORY, enable_on_install=enable)
    return next(iter(done))


def enable() -> str:
    return next(iter(bpy.ops.preferences.addon_enable(module=PACKAGE)))


def disable() -> str:
    return next(iter(bpy.ops.preferences.addon_disable(module=PACKAGE)))


def remove() -> str:
    """Uninstall as the preferences do."""
    index = [repo.module for repo in bpy.context.preferences.extensions.repos].index(REPOSITORY)
    return next(iter(bpy.ops.extensions.package_uninstall(repo_index=index, pkg_id=IDENTIFIER)))


def is_enabled() -> bool:
    return PACKAGE in bpy.context.preferences.addons


def part(name: str) -> ModuleType:
    """A module of the extension that is enabled."""
    return sys.modules[f"{PACKAGE}.{name}"]


def refusal(call: Callable[[], Any]) -> str:
    """The message of an operator that refuses."""
    try:
        return f"not refused: {call()}"
    except RuntimeError as error:
        return " ".join(str(error).split())


def modules() -> list[str]:
    return sorted(name for name in sys.modules if name.startswith(PACKAGE))


def folder_of() -> Path:
    repo = next(repo for repo in bpy.context.preferences.extensions.repos if repo.module == REPOSITORY)
    return Path(repo.directory)


def version() -> str:
    import tomllib

    manifest = tomllib.loads((folder_of() / IDENTIFIER / "blender_manifest.toml").read_text("utf-8"))
    return str(manifest["version"])


# ------------------------------------------------------------------------------------ what Blender holds of whom


def _handlers() -> dict[str, list[str]]:
    out = {}
    for name in dir(bpy.app.handlers):
        held = getattr(bpy.app.handlers, name)
        if isinstance(held, list):
            out[name] = sorted(f"{getattr(h, '__module__', '?')}.{getattr(h, '__qualname__', h)}" for h in held)
    return out


def _properties() -> list[str]:
    """Every property of every type of Blender's, built in or added."""
    out = []
    for name in dir(bpy.types):
        rna = getattr(getattr(bpy.types, name), "bl_rna", None)
        if rna is not None:
            out += [f"{name}.{key}" for key in rna.properties.keys()]
    return sorted(out)


def _added() -> list[str]:
    """Plain Python attributes on Blender's types, such as a menu's appended drawing."""
    out = []
    for name in dir(bpy.types):
        kind = getattr(bpy.types, name)
        draw = getattr(kind, "draw", None)
        out += [f"{name} draws {f.__module__}.{f.__qualname__}" for f in getattr(draw, "_draw_funcs", ())]
    return sorted(out)


def _keys() -> list[str]:
    configs = bpy.context.window_manager.keyconfigs
    return sorted(
        f"{name} {keymap.name} {item.idname}"
        for name in ("addon", "user", "default")
        if (config := getattr(configs, name)) is not None
        for keymap in config.keymaps
        for item in keymap.keymap_items
    )


def _operators() -> list[str]:
    return sorted(f"{module}.{name}" for module in dir(bpy.ops) for name in dir(getattr(bpy.ops, module)))


def held() -> dict[str, Any]:
    """All that an extension can leave in a running Blender, to be compared before and after."""
    return {
        "types": sorted(dir(bpy.types)),
        "properties": _properties(),
        "handlers": _handlers(),
        "timers": sorted({f.__qualname__ for ref in timers if (f := ref()) and bpy.app.timers.is_registered(f)}),
        "draw handlers": sorted(name for name, _ in draw_handlers),
        "menus": _added(),
        "keys": _keys(),
        "operators": _operators(),
        "preset paths": sorted(bpy.utils.preset_paths("")),
        "threads": sorted(thread.name for thread in threading.enumerate()),
        "sys.path": list(sys.path),
        "addons": sorted(addon.module for addon in bpy.context.preferences.addons),
    }


def difference(before: dict[str, Any], after: dict[str, Any]) -> dict[str, Any]:
    """What came and what went, by kind; empty where all is as it was."""
    out: dict[str, Any] = {}
    for kind, was in before.items():
        now = after[kind]
        if was == now:
            continue
        rows = [
            Counter([f"{k}: {x}" for k, v in held.items() for x in v] if isinstance(held, dict) else held)
            for held in (was, now)
        ]
        out[kind] = {"gone": [*(rows[0] - rows[1]).elements()], "come": [*(rows[1] - rows[0]).elements()]}
    return out


def alive() -> list[str]:
    """Functions and classes of the extension that somebody still holds, once Python's own list of modules has let go.

    Blender keeps the modules of an add-on that was disabled; whatever it keeps of them elsewhere (handlers, timers,
    draw handlers, classes, commands, menus) would show here. Opening a file takes timers away, but without a window
    Blender lets go of their functions only when it ends: ask before a file is opened.
    """
    for name in modules():
        del sys.modules[name]
    parent = sys.modules.get(PACKAGE.rpartition(".")[0])
    if parent is not None:
        vars(parent).pop(IDENTIFIER, None)
    for _ in range(3):
        gc.collect()
    return sorted(
        f"{thing.__module__}.{thing.__qualname__}"
        for thing in gc.get_objects()
        if isinstance(thing, type | FunctionType) and str(thing.__module__).startswith(PACKAGE)
    )


# ------------------------------------------------------------------------------------------------- what a job is


def job() -> Any:
    return part("job_tree").active_job(bpy.context)


def children(holds: str) -> list[Any]:
    collection = job()
    found = [child for child in collection.children if child.get("holds") == holds] if collection else []
    return sorted(found[0].objects, key=lambda obj: obj.name) if found else []


def picture() -> dict[str, Any]:
    """The whole scene in numbers: the job, its settings, findings, every object with its shape.

    The 3D cursor is left out: Blender keeps it where it is through undo and redo.
    """
    import numpy as np

    objects = {}
    for obj in bpy.context.scene.objects:
        words = {key: _plain(obj[key]) for key in obj.keys()}
        objects[obj.name] = [
            obj.type,
            [round(value, 6) for row in obj.matrix_basis for value in row],
            obj.hide_get(),
            {key: value for key, value in words.items() if not key.startswith("_")},
        ]
        if obj.type == "MESH":
            at = np.empty(len(obj.data.vertices) * 3, dtype=np.float32)
            obj.data.vertices.foreach_get("co", at)
            shape = hashlib.sha256(at.tobytes())
            for attribute in sorted(obj.data.attributes, key=lambda a: a.name):
                shape.update(f"{attribute.name} {attribute.domain} {attribute.data_type}".encode())
            objects[obj.name].append(shape.hexdigest())
        elif obj.type == "CURVE":
            objects[obj.name].append([[round(v, 6) for v in p.co] for s in obj.data.splines for p in s.points])
    out: dict[str, Any] = {
        "objects": objects,
        "active": getattr(bpy.context.view_layer.objects.active, "name", None),
        "job": None,
    }
    collection = job()
    if collection is not None:
        group = collection.seamwright
        keys = [p.identifier for p in group.bl_rna.properties if p.type in ("BOOLEAN", "INT", "FLOAT", "STRING")]
        out["job"] = {key: _plain(getattr(group, key)) for key in keys if not key.endswith("_index")}
        out["findings"] = [[row.check, row.severity, row.message] for row in group.findings]
        out["plans"] = [[plan.name, plan.text, plan.joints, plan.measures] for plan in group.plans]
        out["tree"] = sorted(child.name for child in collection.children)
    return out


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6)
    if isinstance(value, str | int):
        return value
    return [_plain(item) for item in value] if hasattr(value, "__iter__") else repr(value)


def play(scene: Callable[[], dict[str, Any]]) -> None:
    """Run a scene, note its facts, and leave at once: Blender's module can crash in Python's own ending."""
    code = 0
    try:
        facts = scene()
        facts["network"] = network
        facts["blender"] = bpy.app.version_string
        facts["online"] = bpy.app.online_access
        FACTS.write_text(json.dumps(facts, default=str), encoding="utf-8")
    except BaseException:
        traceback.print_exc()
        code = 1
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)
