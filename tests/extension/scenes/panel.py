# SPDX-License-Identifier: GPL-3.0-or-later
"""The whole job by operators, written to folders, and the file saved for the command line.

Words: the zip, the folder with outcrop.ply and JOB.toml, a folder to write to.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import inside
from inside import WORDS, bpy, children

ZIP, SOURCE, OUT = WORDS[0], Path(WORDS[1]), Path(WORDS[2])


def panel() -> dict[str, Any]:
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    inside.install(ZIP)
    ops = bpy.ops.seamwright
    ops.carving_import(filepath=str(SOURCE / "outcrop.ply"))
    ops.settings_read(filepath=str(SOURCE / "JOB.toml"))
    carving = inside.job().seamwright.carving.name
    bpy.ops.wm.save_as_mainfile(filepath=str(OUT / "carving.blend"))
    inside.job().seamwright.pack_pictures = False
    ops.joints_propose()
    ops.cut()
    ops.pack_export(folder=str(OUT / "proposed-panel"))
    joint = children("joints")[1]
    joint.location.x += 0.04
    joint.rotation_euler.z += 0.05
    bpy.context.scene.cursor.location = children("pieces")[1].location
    ops.joint_add(shape="PLANE", square_to="X")
    bpy.context.scene.cursor.location = children("pieces")[0].location
    ops.joint_add(shape="PROFILE", square_to="X")
    for number, point in enumerate(children("joints")[-1].data.splines[0].points):
        point.co.y += 0.05 * (number % 3)
    ops.joint_reach(reach="CURSOR")
    ops.cut(renumber=True)  # as the command line, which knows of no cut before
    ops.pack_export(folder=str(OUT / "own-panel"))
    ops.settings_write(filepath=str(OUT / "JOB.toml"))
    ops.joints_write(filepath=str(OUT / "JOINTS.json"))
    bpy.ops.wm.save_as_mainfile(filepath=str(OUT / "file.blend"))
    return {"carving": carving, "kinds": [obj.type for obj in children("joints")]}


inside.play(panel)
