# SPDX-License-Identifier: GPL-3.0-or-later
"""Checking the clearance of the carving as it is, before it is cut."""

from typing import Any

import bpy

from .. import carving_source, job_tree, keep_clear
from ..core.clearance.in_scene import summary_lines
from ..core.clearance.job_check import KeepClearResult, check_keep_clear
from ..core.errors import JobError, Progress
from ..core.findings import Finding
from ..core.mesh.mesh import Mesh
from ..job_tree import JobCollection
from ..long_work import LongWork, Step, Steps, beside
from ..properties import settings_link
from .common import OnCarving, job_again, job_poll, job_state, need_scale, select_only

Found = tuple[Mesh, KeepClearResult | None, list[Finding]]


class SEAMWRIGHT_OT_clearance_check(OnCarving, LongWork, bpy.types.Operator):
    """Measure how near the keep-clear body comes to the carving, and show where foam has to come off"""

    bl_idname = "seamwright.clearance_check"
    bl_label = "Check the Clearance"
    bl_options = {"REGISTER", "UNDO"}
    working = "Clearance"

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """Read, measure beside, write."""
        yield Step(0.0, "reading the carving")
        job = job_tree.active_job(context)
        scale = need_scale(context, job)
        before, settings = job_state(job, scale, joints=False), settings_link.read(job.seamwright)
        carving = carving_source.snapshot(context, job)
        mark = keep_clear.stamp(job, settings)

        def check(progress: Progress) -> Found:
            wanted, meshes, said = keep_clear.for_job(settings, carving.keep_clear)
            mesh = carving_source.solid(carving, settings)
            result, findings = check_keep_clear(wanted, mesh, [("", mesh)], meshes, progress)
            return mesh, result, [*said, *findings]

        mesh, result, findings = yield from beside(check, 0.05, 0.95, wait)
        if result is None:
            missing = " ".join(finding.message for finding in findings)
            raise JobError(missing or "this job has no keep-clear body; choose an object in the Clearance panel")
        job = job_again(before)
        lines = summary_lines(result, findings)
        said = {keep_clear.SUMMARY: "\n".join(lines), keep_clear.STAMP: mark}
        keep_clear.put_result(job, mesh, result, said, scale)
        return lines[0]


class SEAMWRIGHT_OT_clearance_show(bpy.types.Operator):
    """Select what was found: the line between the nearest points and the surface to carve off"""

    bl_idname = "seamwright.clearance_show"
    bl_label = "Select What Was Found"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Something was found."""
        if not job_poll(cls, context):
            return False
        job: JobCollection = job_tree.active_job(context)
        folder = job_tree.folder(job, job_tree.CLEARANCE)
        return folder is not None and len(folder.objects) > 0

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Select them."""
        folder = job_tree.folder(job_tree.active_job(context), job_tree.CLEARANCE)
        select_only(context, list(folder.objects))
        return {"FINISHED"}


CLASSES = (SEAMWRIGHT_OT_clearance_check, SEAMWRIGHT_OT_clearance_show)
