# SPDX-License-Identifier: GPL-3.0-or-later
"""Another version of the extension comes in while a job is open; and goes again.

Words: the zip, a zip of a later version, the folder with outcrop.ply and JOB.toml, how it comes: "enabled" is installed
over the one that is enabled, "disabled" over one that was disabled before, "removed" after the old one was removed.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import inside
from inside import WORDS, bpy, children

OLD, NEW, SOURCE, WAY = WORDS[0], WORDS[1], Path(WORDS[2]), WORDS[3]


def put(path: str) -> list[str]:
    went = []
    if WAY != "enabled":
        went.append(inside.disable())
    if WAY == "removed":
        went.append(inside.remove())
    went.append(inside.install(path, enable=WAY == "enabled"))
    if WAY != "enabled":
        went.append(inside.enable())
    return went


def state() -> dict[str, Any]:
    """Which version there is, whether it cuts, and what the open job holds."""
    out: dict[str, Any] = {"version": inside.version()}
    out["pieces"] = {str(obj["mark"]): obj["finished_mass_kg"] for obj in children("pieces")}
    out["title"] = inside.job().seamwright.title
    out["cut"] = inside.refusal(bpy.ops.seamwright.cut)
    return out


def update() -> dict[str, Any]:
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    before = inside.held()
    inside.install(OLD)
    enabled = inside.held()
    ops = bpy.ops.seamwright
    ops.carving_import(filepath=str(SOURCE / "outcrop.ply"))
    ops.settings_read(filepath=str(SOURCE / "JOB.toml"))
    ops.joints_equal(parts=4)
    ops.cut()
    out: dict[str, Any] = {"old": state(), "put new": put(NEW)}
    out["added by new"] = inside.difference(enabled, inside.held())
    out["new"] = state()
    out["put old"] = put(OLD)
    out["old again"] = state()
    inside.disable()
    out["after disable"] = inside.difference(before, inside.held())
    return out


inside.play(update)
