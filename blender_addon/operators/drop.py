# SPDX-License-Identifier: GPL-3.0-or-later
"""Files dropped on a 3D view: a carving, or the settings of a job."""

import bpy

from ..compat import HAS_FILE_HANDLER

CLASSES: tuple[type, ...] = ()

if HAS_FILE_HANDLER:

    class SEAMWRIGHT_FH_carving(bpy.types.FileHandler):
        """A carving's shape"""

        bl_idname = "SEAMWRIGHT_FH_carving"
        bl_label = "Carving for Seamwright"
        bl_import_operator = "seamwright.carving_import"
        bl_file_extensions = ".stl;.ply;.obj"

        @classmethod
        def poll_drop(cls, context: bpy.types.Context) -> bool:
            """On a 3D view."""
            return context.area is not None and context.area.type == "VIEW_3D"

    class SEAMWRIGHT_FH_settings(bpy.types.FileHandler):
        """The settings of a job"""

        bl_idname = "SEAMWRIGHT_FH_settings"
        bl_label = "Settings for Seamwright"
        bl_import_operator = "seamwright.settings_read"
        bl_file_extensions = ".toml"

        @classmethod
        def poll_drop(cls, context: bpy.types.Context) -> bool:
            """On a 3D view."""
            return context.area is not None and context.area.type == "VIEW_3D"

    CLASSES = (SEAMWRIGHT_FH_carving, SEAMWRIGHT_FH_settings)
