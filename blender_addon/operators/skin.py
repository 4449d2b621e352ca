# SPDX-License-Identifier: GPL-3.0-or-later
"""Ready skins, the user's own as Blender presets, and the price list."""

from dataclasses import replace
from typing import Any

import bpy
from bl_operators.presets import AddPresetBase
from bpy.props import EnumProperty, StringProperty

from .. import job_tree
from ..core.errors import SeamwrightError
from ..core.skin.prices import read_prices
from ..core.skin.schedules import SCHEDULES
from ..long_work import sentence
from .common import OnJob, change_settings, job_poll
from .file_choice import TakesFile

SUBDIR = "seamwright/skin"


class SEAMWRIGHT_MT_skin(bpy.types.Menu):
    """Ready skins and those kept as presets"""

    bl_label = "Skin Schedules"
    bl_idname = "SEAMWRIGHT_MT_skin"
    preset_subdir = SUBDIR
    preset_operator = "script.execute_preset"

    def draw(self, context: bpy.types.Context) -> None:
        """The ready ones first, then the user's own."""
        menu: Any = self
        for key, schedule in SCHEDULES.items():
            menu.layout.operator("seamwright.skin_schedule", text=schedule.name).schedule = key
        if bpy.utils.preset_paths(SUBDIR):
            menu.layout.separator()
            menu.draw_preset(context)


class SEAMWRIGHT_OT_skin_schedule(OnJob, bpy.types.Operator):
    """Take over a ready skin; limits and everything else stay"""

    bl_idname = "seamwright.skin_schedule"
    bl_label = "Set the Skin"
    bl_options = {"REGISTER", "UNDO"}

    schedule: EnumProperty(name="Skin", items=[(key, s.name, s.tip) for key, s in SCHEDULES.items()])

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        """What the skin is made of."""
        return SCHEDULES[properties.schedule].tip

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Apply it."""
        skin = SCHEDULES[self.schedule].skin
        return change_settings(self, job_tree.active_job(context), lambda settings: replace(settings, skin=skin))


class SEAMWRIGHT_OT_skin_preset_add(OnJob, AddPresetBase, bpy.types.Operator):  # type: ignore[misc]
    """Keep this skin as a preset, or take a preset away"""

    bl_idname = "seamwright.skin_preset_add"
    bl_label = "Keep the Skin as a Preset"
    preset_menu = "SEAMWRIGHT_MT_skin"
    preset_subdir = SUBDIR
    preset_defines = ["job = bpy.context.scene.seamwright.job.seamwright"]
    preset_values = ["job.skin_text"]


class SEAMWRIGHT_OT_prices_read(OnJob, TakesFile, bpy.types.Operator):
    """Read a price list (CSV); it is kept in the Blender file, and counts from the next cut on"""

    bl_idname = "seamwright.prices_read"
    bl_label = "Read a Price List"
    bl_options = {"REGISTER", "UNDO"}

    filter_glob: StringProperty(default="*.csv", options={"HIDDEN"})

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """Ask for the file unless it is named."""
        return self.execute(context) if self.filepath else self.choose(context)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Read, check, keep."""
        path = self.path()
        try:
            text = path.read_text(encoding="utf-8-sig")
            prices = read_prices(text, path.name)
        except (OSError, UnicodeDecodeError) as error:
            self.report({"ERROR"}, f"{path.name}: cannot be read: {error}")
            return {"CANCELLED"}
        except SeamwrightError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        group = job_tree.active_job(context).seamwright
        group.prices_text, group.prices_name = text, path.name
        count = len(prices.rows)
        self.report({"INFO"}, f"{count} {'price' if count == 1 else 'prices'} of {path.name} taken over")
        return {"FINISHED"}


class SEAMWRIGHT_OT_prices_drop(bpy.types.Operator):
    """Do without a price list"""

    bl_idname = "seamwright.prices_drop"
    bl_label = "Drop the Price List"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """The job has one."""
        return job_poll(cls, context, carving=False) and bool(job_tree.active_job(context).seamwright.prices_text)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Forget it."""
        group = job_tree.active_job(context).seamwright
        group.prices_text = group.prices_name = ""
        return {"FINISHED"}


CLASSES = (
    SEAMWRIGHT_MT_skin,
    SEAMWRIGHT_OT_skin_schedule,
    SEAMWRIGHT_OT_skin_preset_add,
    SEAMWRIGHT_OT_prices_read,
    SEAMWRIGHT_OT_prices_drop,
)
