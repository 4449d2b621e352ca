# SPDX-License-Identifier: GPL-3.0-or-later
"""The command that the extension registers, as `blender --command seamwright WORDS` calls it.

Words: the zip, then the words of the command.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import inside
from inside import WORDS, bpy

commands: dict[str, Callable[[Sequence[str]], int]] = {}


def command() -> dict[str, Any]:
    add = bpy.utils.register_cli_command

    def note(name: str, call: Callable[[Sequence[str]], int]) -> Any:
        commands[name] = call
        return add(name, call)

    bpy.utils.register_cli_command = note
    inside.install(WORDS[0])
    # Small pictures: what is compared are the tables.
    from importlib import import_module

    pictures = import_module(f"{inside.PACKAGE}.picture_scene")
    pictures.WIDTH, pictures.HEIGHT, pictures.SAMPLES = 96, 60, 1
    return {"commands": sorted(commands), "code": commands["seamwright"](WORDS[1:])}


inside.play(command)
