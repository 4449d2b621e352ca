# SPDX-License-Identifier: GPL-3.0-or-later
"""Install, enable, the whole job by operators, undo, redo, save, load, append, disable, enable, remove.

Words: the zip, the folder with outcrop.ply and JOB.toml, a folder to write to.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import inside
from inside import WORDS, bpy, children, held, picture

ZIP, SOURCE, OUT = WORDS[0], Path(WORDS[1]), Path(WORDS[2])
DO = ("EXEC_DEFAULT", True)
"""As from a button: with a step of undo, which Blender leaves out otherwise when a script calls."""

ops = bpy.ops.seamwright


def empty() -> None:
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)


def by_hand(change: Callable[[], object]) -> Callable[[], set[str]]:
    """What the user does without an operator of ours: the step of undo has to be made here."""

    def do() -> set[str]:
        change()
        bpy.context.view_layer.update()
        bpy.ops.ed.undo_push(message="by hand")
        return {"FINISHED"}

    return do


def activate(number: int) -> None:
    for obj in bpy.context.view_layer.objects.selected:
        obj.select_set(False)
    obj = children("joints")[number]
    obj.select_set(True)
    bpy.context.view_layer.objects.active = obj


def move(number: int) -> None:
    children("joints")[number].location.x += 0.03


def cursor() -> None:
    bpy.context.scene.cursor.location = children("pieces")[0].location


def steps() -> dict[str, Callable[[], set[str]]]:
    return {
        "import": lambda: ops.carving_import(*DO, filepath=str(SOURCE / "outcrop.ply")),
        "check": lambda: ops.carving_check(*DO),
        "limits": lambda: ops.limits_preset(*DO, preset="two"),
        "settings": lambda: ops.settings_read(*DO, filepath=str(SOURCE / "JOB.toml")),
        "propose": lambda: ops.joints_propose(*DO),
        "keep the plan": lambda: ops.plan_keep(*DO),
        "move a joint": by_hand(lambda: move(1)),
        "cut": lambda: ops.cut(*DO),
        "show the carving": lambda: ops.show(*DO, what="CARVING"),
        "show a piece": lambda: ops.piece_show(*DO, piece="2"),
        "add": lambda: cursor() or ops.joint_add(*DO, shape="PROFILE", square_to="X"),
        "reach": lambda: ops.joint_reach(*DO, reach="CURSOR"),
        "cut again": lambda: ops.cut(*DO),
        "activate": by_hand(lambda: activate(1)),
        "order": lambda: ops.joint_order(*DO, way="EARLIER"),
        "remove one": lambda: ops.joint_remove(*DO),
        "clear": lambda: ops.joints_clear(*DO),
        "equal": lambda: ops.joints_equal(*DO, parts=5),
        "take the plan": lambda: ops.plan_take(*DO, row=0),
        "cut at last": lambda: ops.cut(*DO),
    }


def whole_job() -> dict[str, Any]:
    empty()
    bpy.ops.ed.undo_push(message="start")
    seen, went = [picture()], {}
    for name, step in steps().items():
        went[name] = next(iter(step()))
        seen.append(picture())
    names = list(went)
    same = [names[k] for k in range(len(names)) if seen[k] == seen[k + 1]]
    undone, redone = [], []
    for state in reversed(seen[:-1]):
        bpy.ops.ed.undo()
        undone.append(_first_difference(picture(), state))
    for state in seen[1:]:
        bpy.ops.ed.redo()
        redone.append(_first_difference(picture(), state))
    return {"went": went, "without effect": same, "undone": undone[::-1], "redone": redone, "last": seen[-1]}


def _first_difference(now: Any, then: Any, at: str = "") -> str:
    if isinstance(now, dict) and isinstance(then, dict):
        for key in sorted({*now, *then}):
            found = _first_difference(now.get(key), then.get(key), f"{at}/{key}")
            if found:
                return found
        return ""
    return "" if now == then else f"{at}: {str(now)[:200]} instead of {str(then)[:200]}"


def keeping() -> dict[str, Any]:
    """Export, save, load, append into another file; each time the job must be all there and cut the same."""
    out: dict[str, Any] = {}
    job = inside.job()
    job.seamwright.pack_pictures = False
    out["export"] = next(iter(ops.pack_export(folder=str(OUT / "pack"))))
    out["pack"] = sorted(path.relative_to(OUT / "pack").as_posix() for path in (OUT / "pack").rglob("*"))
    name, before = job.name, picture()
    file = str(OUT / "job.blend")
    bpy.ops.wm.save_as_mainfile(filepath=file)
    out["saved"] = _first_difference(picture(), before)
    empty()
    out["gone from an empty file"] = inside.job() is None
    bpy.ops.wm.open_mainfile(filepath=file)
    out["loaded"] = _first_difference(picture(), before)
    out["ready to export"] = bool(ops.pack_export.poll())
    out["export of the loaded"] = next(iter(ops.pack_export(folder=str(OUT / "again"))))
    empty()
    bpy.ops.mesh.primitive_cube_add()
    bpy.ops.wm.append(directory=f"{file}/Collection/", filename=name, instance_collections=False)
    numbers = {obj["mark"]: obj["finished_mass_kg"] for obj in children("pieces")}
    out["appended"] = inside.job() is not None and inside.job().library is None
    out["appended pieces"] = [numbers, {obj["mark"]: obj["finished_mass_kg"] for obj in _pieces_of(before)}]
    out["ready in the other file"] = bool(ops.pack_export.poll())
    out["cut in the other file"] = next(iter(ops.cut()))
    out["pieces cut there"] = {obj["mark"]: obj["finished_mass_kg"] for obj in children("pieces")}
    return out


def _pieces_of(seen: dict[str, Any]) -> list[dict[str, Any]]:
    return [row[3] for row in seen["objects"].values() if "finished_mass_kg" in row[3]]


def life() -> dict[str, Any]:
    empty()
    before = held()
    out: dict[str, Any] = {"install": inside.install(ZIP, enable=False), "enabled by install": inside.is_enabled()}
    out["after install"] = inside.difference(before, held())
    out["enable"] = inside.enable()
    enabled = held()
    out["after enable"] = inside.difference(before, enabled)
    home = str(inside.folder_of())
    out["from elsewhere"] = [m for m in inside.modules() if not str(inside.sys.modules[m].__file__).startswith(home)]
    out |= whole_job()
    out |= keeping()
    count = len(children("pieces"))
    out["disable"] = inside.disable()
    out["after disable"] = inside.difference(before, held())
    bpy.ops.wm.save_as_mainfile(filepath=str(OUT / "disabled.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(OUT / "disabled.blend"))
    out["enable again"] = inside.enable()
    out["after second enable"] = inside.difference(enabled, held())
    out["job after the pause"] = [inside.job() is not None, len(children("pieces")) == count, bool(ops.cut.poll())]
    out["cut after the pause"] = next(iter(ops.cut()))
    empty()
    out["disable again"] = inside.disable()
    out["remove"] = inside.remove()
    out["after remove"] = inside.difference(before, held())
    out["files left"] = sorted(p.name for p in inside.folder_of().parent.rglob("*") if inside.IDENTIFIER in p.name)
    return out


inside.play(life)
