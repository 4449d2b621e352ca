# SPDX-License-Identifier: GPL-3.0-or-later
"""What several operators need: the job at hand, joints read, findings written."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal
from typing import Any, NamedTuple

import bpy
import numpy as np

from .. import job_tree, stamps, watch
from ..compat import is_editable
from ..core.cutting.joint import Joint
from ..core.errors import JobError, SeamwrightError
from ..core.findings import Finding
from ..core.job import Job
from ..core.marking.marks import joint_letters
from ..core.mesh.mesh import FloatArray
from ..core.skin.cost import CostSheet
from ..core.skin.prices import PriceList, read_prices
from ..job_tree import JobCollection
from ..joint_object import joint_object, read_joint, write_joint
from ..long_work import Dropped, running, sentence
from ..properties import settings_link
from ..world import world_matrix

_OWN_NAME = "joint "
WAIT = "Wait for the work that goes on, or stop it with Esc"


def scale_of(context: bpy.types.Context) -> float:
    """Metres in one Blender unit."""
    return float(context.scene.unit_settings.scale_length)


def job_poll(cls: type[bpy.types.Operator], context: bpy.types.Context, carving: bool = True) -> bool:
    """Whether there is a job that may be changed now; says why not."""
    job = job_tree.active_job(context)
    if job is None:
        cls.poll_message_set("Make a job first")
    elif not is_editable(job):
        cls.poll_message_set("This job is linked from another file; make it local first")
    elif context.mode != "OBJECT":
        cls.poll_message_set("Go back to Object Mode first")
    elif running() is not None:
        cls.poll_message_set(WAIT)
    elif carving and job.seamwright.carving is None:
        cls.poll_message_set("Choose a carving first")
    elif carving and not job_tree.is_held(job, job.seamwright.carving):
        cls.poll_message_set("The carving was deleted; choose another first")
    else:
        return True
    return False


class OnJob:
    """Mix-in of an operator that needs a job; it stands before the other bases."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There is a job."""
        operator: Any = cls
        return job_poll(operator, context, carving=False)


class OnCarving:
    """Mix-in of an operator that needs a job with a carving; it stands before the other bases."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """There is a job with a carving."""
        operator: Any = cls
        return job_poll(operator, context)


def change_settings(operator: bpy.types.Operator, job: JobCollection, change: Callable[[Job], Job]) -> set[Any]:
    """Change a job's settings, for an operator's `execute`; what does not go together is reported, and all stays."""
    group = job.seamwright
    try:
        settings = change(settings_link.read(group))
    except SeamwrightError as error:
        operator.report({"ERROR"}, sentence(error))
        return {"CANCELLED"}
    settings_link.load(group, settings, group.unit_scale)
    return {"FINISHED"}


def need_scale(context: bpy.types.Context, job: JobCollection) -> float:
    """The scene's unit scale, if the job's lengths were set in it.

    Raises
    ------
    JobError
        They were set in another: what 3.0 means would be a guess.
    """
    scale = scale_of(context)
    if abs(job.seamwright.unit_scale / scale - 1.0) > 1e-6:
        raise JobError("the scene's unit scale has changed since the limits were set; see the Limits panel")
    return scale


class JobState(NamedTuple):
    """Fingerprints of what long work depends on; `joints` is None where it does not depend on them."""

    name: str
    scale: float
    settings: str
    surface: str
    joints: str | None


def job_state(job: JobCollection, scale: float, joints: bool = True) -> JobState:
    """Everything that long work starts from, so that `job_again` can tell whether it still holds.

    Parameters
    ----------
    joints : whether the work depends on the joints too.
    """
    carving = job.seamwright.carving
    surface = watch.take(job) if job_tree.is_held(job, carving) else ""
    places = [
        (obj.name, obj.get("joint"), np.array(world_matrix(obj)).tolist(), stamps.line_stamp(obj))
        for obj in (job_tree.joints(job) if joints else ())
    ]
    return JobState(job.name, scale, stamps.settings_stamp(job, scale), surface, repr(places) if joints else None)


def job_again(before: JobState) -> JobCollection:
    """The job that long work began with, now that it is done.

    Raises
    ------
    Dropped
        The job is gone, or something that the work depends on has changed.
    """
    job: JobCollection = bpy.data.collections.get(before.name)
    if job is None:
        raise Dropped("the job was removed or renamed meanwhile; the result was dropped")
    if not job_tree.is_held(job, job.seamwright.carving):
        raise Dropped("the carving was removed meanwhile; the result was dropped")
    now = job_state(job, before.scale, before.joints is not None)
    for what, same in (
        ("the carving", now.surface == before.surface),
        ("the settings", now.settings == before.settings),
        ("the joints", now.joints == before.joints),
    ):
        if not same:
            raise Dropped(f"{what} changed meanwhile; the result was dropped, try again")
    return job


def read_joints(job: JobCollection, scale: float) -> tuple[Joint, ...]:
    """The job's joints in the order of cuts."""
    return tuple(read_joint(obj, job.seamwright.carving, scale) for obj in job_tree.joints(job))


def note_joints(job: JobCollection, joints: Sequence[Joint]) -> None:
    """Write on each joint's object the numbers that it was read as."""
    for obj, joint in zip(job_tree.joints(job), joints, strict=True):
        write_joint(obj, joint, carving=job.seamwright.carving)


def add_joints(context: bpy.types.Context, job: JobCollection, joints: Iterable[Joint]) -> list[bpy.types.Object]:
    """Objects for joints, after those that are there."""
    scale = scale_of(context)
    low, high = carving_box(job, scale)
    folder = job_tree.ensure_folder(job, job_tree.JOINTS)
    made = []
    for joint in joints:
        obj = joint_object(_OWN_NAME, joint, "", low, high, scale)
        obj["order"] = len(folder.objects)
        folder.objects.link(obj)
        write_joint(obj, joint, carving=job.seamwright.carving)
        made.append(obj)
    number_joints(job)
    return made


def number_joints(job: JobCollection) -> None:
    """Order, letter and name of each joint by its place; names that the user gave stay."""
    held = job_tree.joints(job)
    letters = joint_letters(len(held))
    own = [obj.name.startswith(_OWN_NAME) for obj in held]
    for obj, ours in zip(held, own, strict=True):
        if ours:
            obj.name = _OWN_NAME + "in hand"
    for place, (obj, letter, ours) in enumerate(zip(held, letters, own, strict=True)):
        obj["order"] = place
        obj["mark"] = letter
        if ours:
            obj.name = _OWN_NAME + letter


def remove_joints(job: JobCollection) -> None:
    """Take all joints away."""
    for obj in job_tree.joints(job):
        job_tree.remove_object(obj)


def carving_box(job: JobCollection, scale: float) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest corner of the box round the carving, (3,) metres each."""
    obj = job.seamwright.carving
    matrix = np.array(world_matrix(obj), dtype=np.float64)
    corners = np.array([list(corner) for corner in obj.bound_box]) @ matrix[:3, :3].T + matrix[:3, 3]
    return corners.min(axis=0) * scale, corners.max(axis=0) * scale


def write_findings(job: JobCollection, findings: Sequence[Finding]) -> None:
    """Keep the findings with the job: errors first, then warnings, then notes."""
    rows = job.seamwright.findings
    rows.clear()
    rank = {"error": 0, "warning": 1, "note": 2}
    for finding in sorted(findings, key=lambda f: rank[str(f.severity)]):
        row = rows.add()
        row.name = row.check = finding.check
        row.severity = str(finding.severity)
        row.message, row.remedy = finding.message, finding.remedy
        row.piece, row.joint = finding.piece, finding.joint
        row.has_place = finding.where is not None
        if finding.where is not None:
            row.place = finding.where


def own_prices(job: JobCollection) -> PriceList | None:
    """The price list kept with the job, if there is one."""
    group = job.seamwright
    return read_prices(group.prices_text, group.prices_name or "price list") if group.prices_text else None


def write_cost(job: JobCollection, sheet: CostSheet | None) -> None:
    """Keep what the job costs, and how that differs from the cut before."""
    group = job.seamwright
    before = Decimal(group.cost_total) if group.cost_total else None
    total = None if sheet is None else sheet.total
    group.cost_change = ""
    if sheet is None or total is None:
        group.cost_total = group.cost_currency = group.cost_stages = ""
        return
    if before is not None and group.cost_currency == sheet.currency:
        group.cost_change = f"{total - before:+.2f}"
    group.cost_total, group.cost_currency = f"{total:.2f}", sheet.currency
    group.cost_stages = "\n".join(f"{name}\t{cost:.2f}" for name, cost in sheet.stages.items())


def select_only(context: bpy.types.Context, objects: Sequence[bpy.types.Object]) -> None:
    """Select these and nothing else; the last becomes active."""
    context.view_layer.update()
    for other in list(context.view_layer.objects.selected):
        other.select_set(False)
    for obj in objects:
        if obj.name in context.view_layer.objects:
            obj.select_set(True)
            context.view_layer.objects.active = obj
