# SPDX-License-Identifier: GPL-3.0-or-later
"""Kept plans of joints, side by side."""

from typing import Any

import bpy

from .. import job_tree, kept_plans
from ..core.errors import SeamwrightError
from ..core.plans import measure_rows
from ..job_tree import JobCollection
from ..properties import settings_link
from .common import OfJob, progress, sentence

MOST = 3
"""Plans that stand side by side: a fourth column would have no room for its figures."""


class SEAMWRIGHT_PT_plans(OfJob, bpy.types.Panel):
    """Plans of joints that are kept, side by side"""

    bl_label = "Plans Side by Side"
    bl_idname = "SEAMWRIGHT_PT_plans"
    bl_parent_id = "SEAMWRIGHT_PT_joints"
    bl_order = 0
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context: bpy.types.Context) -> None:
        """Show which plan is in the view, the plans' figures, and the buttons to choose one."""
        layout, job = self.layout, job_tree.active_job(context)
        plans, here = job.seamwright.plans, kept_plans.in_view(job)
        if not plans:
            text = "No plan is kept. Keep the joints in the view, then have others proposed and keep those too."
            sentence(layout, context, text, "INFO")
        elif here >= 0:
            sentence(layout, context, f"The joints in the view are {plans[here].name}.", "CHECKMARK")
        else:
            sentence(layout, context, "The joints in the view are not kept yet.", "INFO")
        if not progress(layout, context, "Weighing"):
            text = "Weigh It Again" if here >= 0 else "Keep This Plan"
            layout.operator("seamwright.plan_keep", text=text, icon="PINNED")
        rows, now = range(len(plans)), kept_plans.settings_stamp(job)
        stale = frozenset(row for row in rows if kept_plans.is_stale(job, plans[row], now))
        for first in range(0, len(plans), MOST):
            self._table(job, rows[first : first + MOST], here, stale)
        if stale:
            text = "Settings or carving have changed since a plan was weighed: take it, and weigh it again."
            sentence(layout, context, text, "FILE_REFRESH")

    def _table(self, job: JobCollection, rows: range, here: int, stale: frozenset[int]) -> None:
        plans = [job.seamwright.plans[row] for row in rows]
        split = self.layout.split(factor=0.34, align=True)
        words, columns = split.column(align=True), split.row(align=True)
        lines = [_figures(job, plan) for plan in plans]
        for word in ("", "wish", *(word for word, _ in next((line for line in lines if line), ()))):
            words.label(text=word.capitalize())
        words.label(text="")
        for row, plan, figures in zip(rows, plans, lines, strict=True):
            self._column(columns.column(align=True), row, plan, figures, row == here, row in stale)

    def _column(self, col: Any, row: int, plan: Any, figures: Any, here: bool, stale: bool) -> None:
        col.prop(plan, "name", text="", icon="FILE_REFRESH" if stale else "NONE", emboss=False)
        col.label(text=plan.wish)
        for _, figure in figures:
            col.label(text=figure.replace("m2", "m²"))
        if not figures:
            col.label(text="not weighed")
        buttons = col.row(align=True)
        take = buttons.row(align=True)
        take.enabled = not here
        take.operator("seamwright.plan_take", text="In View" if here else "Take").row = row
        buttons.operator("seamwright.plan_drop", text="", icon="X").row = row


def _figures(job: JobCollection, plan: Any) -> tuple[tuple[str, str], ...]:
    """Rows of a plan; none where it was not weighed."""
    measures = kept_plans.measures_of(plan.measures)
    if measures is None:
        return ()
    try:
        return measure_rows(measures, settings_link.read(job.seamwright))
    except SeamwrightError:
        return ()


CLASSES = (SEAMWRIGHT_PT_plans,)
