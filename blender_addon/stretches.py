# SPDX-License-Identifier: GPL-3.0-or-later
"""The joints' lines on the carving, told apart by how they are drawn and by hue: kept to a seam, or off any."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import bpy

from . import convert, job_tree
from .core.jobpack.record import JobResult
from .core.seams.judge import OFF
from .core.seams.sampling import dashes

DASH: Final = 0.06
"""Metres of line, and as much without, where a joint keeps to no seam."""

THICK: Final = 0.004
"""Metres, half the thickness of a line: to be seen from some metres off, and hidden in a crevice no more than that."""

ON_COLOUR: Final = (0.16, 0.45, 0.75, 1.0)
OFF_COLOUR: Final = (0.9, 0.55, 0.1, 1.0)
"""Blue and orange: told apart also by those who do not see red and green."""


def put_lines(folder: Any, result: JobResult, scale_length: float) -> None:
    """Curves for all joints' lines; those of the cut before go.

    What keeps to a seam is one whole line, blue; what does not is dashed, orange. Where a joint's line is not visible
    nothing is drawn, and nothing that was not looked at is told apart.
    """
    for obj in list(folder.objects):
        job_tree.remove_object(obj)
    for record in result.joints:
        if record.seams is None:
            kept, off = [line.points for line in record.lines if len(line.points) > 1], []
        else:
            kept = [line for line, kind in record.seams.stretches if kind != OFF and len(line) > 1]
            off = [part for line, kind in record.seams.stretches if kind == OFF for part in dashes(line, DASH)]
        for lines, word, colour in ((kept, "", ON_COLOUR), (off, " off seam", OFF_COLOUR)):
            if not lines:
                continue
            name = f"line {record.mark}{word}"
            obj = bpy.data.objects.new(name, convert.polyline(name, lines, scale_length))
            obj["mark"] = record.mark
            obj["on_seam"] = not word
            obj.color = colour
            # A bare curve has the theme's colour; a thick one that of its material.
            obj.data.bevel_depth = THICK / scale_length
            obj.data.bevel_resolution = 0
            obj.hide_render = True
            obj.data.materials.append(_material(word or " on seam", colour))
            obj.hide_select = True
            folder.objects.link(obj)


def _material(name: str, colour: Sequence[float]) -> bpy.types.Material:
    full = f"joint{name}"
    found: Any = bpy.data.materials.get(full)
    if found is None:
        found = bpy.data.materials.new(full)
        found.diffuse_color = colour
    made: bpy.types.Material = found
    return made
