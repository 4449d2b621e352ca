# SPDX-License-Identifier: GPL-3.0-or-later
"""Operators that take a file: chosen in Blender's file browser, dropped on a view, or named by a script."""

from pathlib import Path
from typing import Any

import bpy
from bpy.props import BoolProperty, StringProperty


class TakesFile:
    """Mix-in: `filepath`, never remembered from call to call, so that the browser opens each time."""

    filepath: StringProperty(name="File", subtype="FILE_PATH", options={"SKIP_SAVE"})

    def path(self) -> Path:
        """The file as an absolute path."""
        return Path(bpy.path.abspath(str(self.filepath)))

    def choose(self, context: bpy.types.Context) -> set[Any]:
        """Open the file browser; `execute` follows."""
        operator: Any = self
        context.window_manager.fileselect_add(operator)
        return {"RUNNING_MODAL"}


class WritesFile(TakesFile):
    """Mix-in of an operator that writes `file_name` unless told another name."""

    file_name = "file"
    check_existing: BoolProperty(default=True, options={"HIDDEN"})

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """Propose a name beside the Blender file."""
        if not self.filepath:
            self.filepath = (
                str(Path(bpy.data.filepath).parent / self.file_name) if bpy.data.filepath else self.file_name
            )
        return self.choose(context)
