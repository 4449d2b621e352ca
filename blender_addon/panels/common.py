# SPDX-License-Identifier: GPL-3.0-or-later
"""What the panels share: the tab, wrapped sentences, the scene's units, and which step of the job comes next."""

from __future__ import annotations

import re
import time
from collections.abc import Iterable
from functools import lru_cache
from typing import Any, Final

import blf
import bpy

from .. import job_tree, stamps, watch
from ..job_tree import JobCollection
from ..long_work import running

TAB = "Seamwright"


class InTab:
    """Mix-in of a panel in the tab."""

    bl_space_type: Any = "VIEW_3D"
    bl_region_type: Any = "UI"
    bl_category = TAB


class OfJob(InTab):
    """Mix-in of a panel that is there once there is a job."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There is a job in the scene."""
        begin_redraw()
        return job_tree.active_job(context) is not None


def sentence(layout: Any, context: bpy.types.Context, text: str, icon: str = "NONE", room: float = 0.0) -> Any:
    """A text over as many rows as the sidebar's width needs; `room` times the height of a row is kept free."""
    system = context.preferences.system
    row = 20.0 * system.ui_scale
    width = context.region.width if context.region is not None else 300.0
    rows = _wrapped(text, width - row * (3.0 + room + (1.0 if icon != "NONE" else 0.0)), system.ui_scale)
    col = layout.column(align=True)
    col.scale_y = 0.82
    for k, line in enumerate(rows):
        if icon == "NONE":
            col.label(text=line)
        else:
            col.label(text=line, icon=icon if k == 0 else "BLANK1")
    return col


@lru_cache(maxsize=512)
def _wrapped(text: str, width: float, scale: float) -> tuple[str, ...]:
    """The text in rows that are no wider than this, in pixels; a word that is wider stands alone."""
    blf.size(0, 11.0 * scale)
    rows: list[str] = []
    for word in _signs(text).split():
        if rows and blf.dimensions(0, f"{rows[-1]} {word}")[0] <= width:
            rows[-1] += " " + word
        else:
            rows.append(word)
    return tuple(rows) or ("",)


def _signs(text: str) -> str:
    """Text of the core, which keeps to plain letters for its files, with the signs that a screen has."""
    return _POWER.sub(lambda found: "²" if found[1] == "2" else "³", _TIMES.sub(" × ", text))


_TIMES: Final = re.compile(r"(?<=\d) x (?=\d)")
_POWER: Final = re.compile(r"(?<=\bm)([23])\b")


def sides(layout: Any, group: Any, name: str, words: tuple[str, ...]) -> None:
    """A row of lengths, each under its own word."""
    col = layout.column(align=True)
    for k, word in enumerate(words):
        col.prop(group, name, index=k, text=word)


def length(context: bpy.types.Context, metres: float, precision: int = 4) -> str:
    """A length in the scene's units."""
    settings = context.scene.unit_settings
    if settings.system == "NONE":
        return f"{metres / settings.scale_length:.{precision}g}"
    return bpy.utils.units.to_string(settings.system, "LENGTH", metres, precision=precision)


def imperial(context: bpy.types.Context) -> bool:
    """Whether the scene shows feet and pounds."""
    return bool(context.scene.unit_settings.system == "IMPERIAL")


def size(context: bpy.types.Context, metres: Iterable[float]) -> str:
    """Length, width and height with one unit, short enough for a list."""
    feet = imperial(context)
    return " × ".join(f"{v / 0.3048:.1f}" if feet else f"{v:.2f}" for v in metres) + (" ft" if feet else " m")


def mass(context: bpy.types.Context, kilograms: float) -> str:
    """A mass in the scene's system of units."""
    if imperial(context):
        return f"{kilograms / 0.45359237:.1f} lb"
    return f"{kilograms:.1f} kg"


_seen: dict[str, tuple[float, tuple[str, ...], list[str]]] = {}
"""What changed, by job: found once for all panels of one redraw."""
ONE_REDRAW = 0.05
"""Seconds; longer than the panels take to draw, shorter than anyone waits."""


def begin_redraw() -> None:
    """Blender asks the panels anew whether they are there, before it draws any: look again at what changed."""
    _seen.clear()


def _look(context: bpy.types.Context, job: JobCollection) -> tuple[float, tuple[str, ...], list[str]]:
    found = _seen.get(job.name_full)
    if found is None or time.monotonic() - found[0] > ONE_REDRAW:
        moved = stamps.moved_joints(job) if job.seamwright.is_cut else []
        scale = float(context.scene.unit_settings.scale_length)
        texts = stamps.out_of_date(job, scale, watch.surface_now(job), moved)
        found = _seen[job.name_full] = time.monotonic(), tuple(obj.name for obj in moved), texts
    return found


def changes(context: bpy.types.Context, job: JobCollection) -> list[str]:
    """What has changed since the cut, in sentences."""
    return _look(context, job)[2]


def changed_joints(context: bpy.types.Context, job: JobCollection) -> tuple[str, ...]:
    """Names of the joints that have changed since the cut."""
    return _look(context, job)[1]


def progress(layout: Any, context: bpy.types.Context, label: str) -> bool:
    """Show work of this label that goes on; whether there is any."""
    work = running()
    if work is None or work.label != label:
        return False
    layout.progress(factor=work.share, text=f"{work.label}: {work.share:.0%}")
    text = work.text or "beginning"
    sentence(layout, context, f"{text[:1].upper()}{text[1:]}. {work.stop}.")
    return True


STATUS_ICON = {"ok": "CHECKMARK", "warning": "INFO", "error": "ERROR"}
SEVERITY_ICON = {"error": "ERROR", "warning": "INFO", "note": "DOT"}
