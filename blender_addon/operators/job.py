# SPDX-License-Identifier: GPL-3.0-or-later
"""Making a job, reading and writing its settings."""

from typing import Any

import bpy
from bpy.props import EnumProperty, StringProperty

from .. import job_setup, job_tree
from ..core.errors import SeamwrightError
from ..core.job import Job
from ..keep_clear import SETTINGS_FOLDER, read_here
from ..keep_clear_files import take_along, write_along
from ..long_work import running, sentence
from ..properties import settings_link
from ..properties.limit_presets import PRESETS
from .common import WAIT, OnJob, change_settings, scale_of
from .file_choice import TakesFile, WritesFile

UNDOABLE: Any = {"REGISTER", "UNDO"}


class SEAMWRIGHT_OT_job_make(bpy.types.Operator):
    """Make a job of the active mesh object; the object itself is not changed"""

    bl_idname = "seamwright.job_make"
    bl_label = "Make a Job"
    bl_options = UNDOABLE

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """A mesh object is active, and it is no piece of ours."""
        obj: Any = context.active_object
        if obj is None or obj.type != "MESH":
            cls.poll_message_set("Select the carving, a mesh object")
        elif context.mode != "OBJECT":
            cls.poll_message_set("Go back to Object Mode first")
        elif "part_m" in obj or "joint" in obj:
            cls.poll_message_set("This object is a piece or a joint of a job; select a carving")
        elif running() is not None:
            cls.poll_message_set(WAIT)
        else:
            return True
        return False

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Make the collection with its settings."""
        obj: Any = context.active_object
        job = job_setup.make_job(context, obj, Job(), title=obj.name)
        self.report({"INFO"}, f"Job {job.name} made; check its carving next")
        return {"FINISHED"}


class SEAMWRIGHT_OT_settings_read(OnJob, TakesFile, bpy.types.Operator):
    """Take over all settings from a JOB.toml"""

    bl_idname = "seamwright.settings_read"
    bl_label = "Read JOB.toml"
    bl_options = UNDOABLE

    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """Read a file that was dropped; ask for one otherwise."""
        return self.execute(context) if self.filepath else self.choose(context)

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Read and show the settings."""
        path = self.path()
        job = job_tree.active_job(context)
        try:
            settings = Job.from_toml(path.read_text(encoding="utf-8-sig"))
        except (OSError, UnicodeDecodeError) as error:
            self.report({"ERROR"}, f"{path.name}: cannot be read: {error}")
            return {"CANCELLED"}
        except SeamwrightError as error:
            self.report({"ERROR"}, f"{path.name}: {' '.join(str(error).split())}")
            return {"CANCELLED"}
        note = job_setup.take_settings(job, settings, scale_of(context))
        job[SETTINGS_FOLDER] = str(path.parent)
        self.report({"INFO"}, f"Settings of {path.name} taken over{note}")
        return {"FINISHED"}


class SEAMWRIGHT_OT_settings_write(OnJob, WritesFile, bpy.types.Operator):
    """Write all settings as JOB.toml, with the files of keep-clear bodies beside it, for the command line"""

    bl_idname = "seamwright.settings_write"
    bl_label = "Write JOB.toml"

    filter_glob: StringProperty(default="*.toml", options={"HIDDEN"})
    file_name = "JOB.toml"

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Write the file, and what it names."""
        path = self.path()
        job = job_tree.active_job(context)
        try:
            here = read_here(context, job, scale_of(context))
            along = take_along(settings_link.read(job.seamwright), here, path.parent)
            write_along(along, path.parent)
            path.write_text(along.job.to_toml(), encoding="utf-8")
        except (OSError, SeamwrightError) as error:
            self.report({"ERROR"}, f"{path.name}: cannot be written: {error}")
            return {"CANCELLED"}
        beside = f", and {', '.join(along.files)} beside it" if along.files else ""
        self.report({"INFO"}, f"{path.name} written{beside}")
        for text in along.behind:
            self.report({"WARNING"}, f"Keep-clear body: {text}")
        return {"FINISHED"}


class SEAMWRIGHT_OT_limits_preset(OnJob, bpy.types.Operator):
    """Set several limits at once"""

    bl_idname = "seamwright.limits_preset"
    bl_label = "Set Limits"
    bl_options = UNDOABLE

    preset: EnumProperty(name="Limits", items=[(key, p.name, p.tip) for key, p in PRESETS.items()])

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        """What the set holds."""
        return PRESETS[properties.preset].tip

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Apply the set."""
        return change_settings(self, job_tree.active_job(context), PRESETS[self.preset].apply)


class SEAMWRIGHT_OT_lengths_keep(OnJob, bpy.types.Operator):
    """Keep the job's lengths and masses as they are under the scene's new unit scale"""

    bl_idname = "seamwright.lengths_keep"
    bl_label = "Keep the Lengths"
    bl_options = UNDOABLE

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Show the same lengths in the new scale."""
        group = job_tree.active_job(context).seamwright
        try:
            settings_link.rescale(group, scale_of(context))
        except SeamwrightError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        return {"FINISHED"}


CLASSES = (
    SEAMWRIGHT_OT_job_make,
    SEAMWRIGHT_OT_settings_read,
    SEAMWRIGHT_OT_settings_write,
    SEAMWRIGHT_OT_limits_preset,
    SEAMWRIGHT_OT_lengths_keep,
)
