# SPDX-License-Identifier: GPL-3.0-or-later
"""The block-up: shown, searched, and set by points on a glue line that shows."""

from dataclasses import replace
from typing import Any

import bpy
import numpy as np
from bpy.props import FloatVectorProperty
from mathutils import Vector

from .. import blockup_object, blockup_source, carving_source, job_tree, watch
from ..core.blockup.fit_points import fit_to_points
from ..core.blockup.layout import Layout
from ..core.blockup.plan import settings_at
from ..core.blockup.report import count_words
from ..core.errors import SeamwrightError
from ..core.job import Job
from ..job_tree import JobCollection
from ..long_work import LongWork, Step, Steps, beside, sentence
from ..properties import settings_link
from .common import OnCarving, job_again, job_state, need_scale
from .picking import PicksPoints, can_pick

POINTS = 3
_WORDS = {"bed": "between two courses", "end": "across the billets' length", "side": "along the billets' length"}


def _need_known(settings: Job) -> Job:
    """Settings with a block-up to show: one of which nothing is known is drawn as if it were given."""
    if settings.blockup.built != "unknown":
        return settings
    return replace(settings, blockup=replace(settings.blockup, built="as-given"))


def _put(job: JobCollection, found: blockup_source.BlockUpFound, settings: Job, scale: float) -> str:
    folder = blockup_object.put_blockup(job, found.plan, found.traces, scale)
    text = count_words(found.plan, settings)
    folder[blockup_object.SUMMARY] = text
    folder[blockup_object.STAMP] = blockup_object.stamp(settings)
    folder[blockup_object.SURFACE] = watch.take(job)
    return text


def _searched(settings: Job) -> Job:
    """Settings by which the position that needs fewest billets is sought."""
    return replace(settings, blockup=replace(settings.blockup, built="planned", position="fewest"))


def _steps(context: bpy.types.Context, wait: bool, search: bool) -> Steps:
    """Read, reckon beside, write; with `search` the position found goes into the settings."""
    yield Step(0.0, "reading the carving")
    job = job_tree.active_job(context)
    scale = need_scale(context, job)
    before, settings = job_state(job, scale, joints=False), settings_link.read(job.seamwright)
    carving = carving_source.snapshot(context, job)
    wanted = _searched(settings) if search else _need_known(settings)
    found = yield from beside(lambda p: blockup_source.block_up(carving, wanted, p), 0.05, 0.95, wait)
    job = job_again(before)
    if search:
        settings = replace(wanted, blockup=settings_at(wanted.blockup, found.plan.layout))
        settings_link.load(job.seamwright, settings, scale)
    return _put(job, found, settings, scale)


class SEAMWRIGHT_OT_blockup_show(OnCarving, LongWork, bpy.types.Operator):
    """Show the billets of the block-up as wire boxes, and its glue lines on the carving"""

    bl_idname = "seamwright.blockup_show"
    bl_label = "Show the Block-up"
    bl_options = {"REGISTER", "UNDO"}
    working = "Block-up"

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, reckon beside, write."""
        return _steps(context, wait, search=False)


class SEAMWRIGHT_OT_blockup_search(OnCarving, LongWork, bpy.types.Operator):
    """Search the position of the block-up that needs fewest billets; origin and rotation are set to it"""

    bl_idname = "seamwright.blockup_search"
    bl_label = "Search the Position"
    bl_options = {"REGISTER", "UNDO"}
    working = "Searching"

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, search beside, set the position, show it."""
        return _steps(context, wait, search=True)


class SEAMWRIGHT_OT_blockup_points(OnCarving, PicksPoints, bpy.types.Operator):
    """Click three points on a glue line that shows on the scan; the block-up is moved, and turned, onto it"""

    bl_idname = "seamwright.blockup_points"
    bl_label = "From Three Points"
    bl_options = {"REGISTER", "UNDO"}

    first: FloatVectorProperty(name="First", subtype="TRANSLATION", unit="LENGTH", size=3, options={"SKIP_SAVE"})
    second: FloatVectorProperty(name="Second", subtype="TRANSLATION", unit="LENGTH", size=3, options={"SKIP_SAVE"})
    third: FloatVectorProperty(name="Third", subtype="TRANSLATION", unit="LENGTH", size=3, options={"SKIP_SAVE"})

    asks = ("click a glue line that shows",) * POINTS

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Move the block-up onto the points."""
        try:
            job = job_tree.active_job(context)
            scale = need_scale(context, job)
            settings = settings_link.read(job.seamwright)
            points = np.array([list(self.first), list(self.second), list(self.third)]) * scale
            fitted = fit_to_points(Layout.of_job(settings), points)
        except SeamwrightError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        placed = settings_at(settings.blockup, fitted.layout)
        built = "as-given" if placed.built == "unknown" else placed.built
        settings_link.load(job.seamwright, replace(settings, blockup=replace(placed, built=built)), scale)
        off = f"{fitted.off * 1000.0:.0f} mm"
        self.report({"INFO"}, f"The block-up lies on a glue line {_WORDS[fitted.line]}; points up to {off} off it")
        return {"FINISHED"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """Wait for clicks."""
        return self.begin_picking(context) if can_pick(context) else self.execute(context)

    def picked(self, context: bpy.types.Context, points: list[Vector]) -> set[Any]:
        """Take the points over as if they had been given."""
        self.first, self.second, self.third = points
        return self.execute(context)


CLASSES = (SEAMWRIGHT_OT_blockup_show, SEAMWRIGHT_OT_blockup_search, SEAMWRIGHT_OT_blockup_points)
