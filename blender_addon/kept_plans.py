# SPDX-License-Identifier: GPL-3.0-or-later
"""Plans of joints that are kept with a job: put by, told from the one in the view, and made into objects again."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import asdict, replace
from functools import lru_cache
from typing import Any

from . import job_tree, stamps, watch
from .core.cutting.joint import Joint
from .core.job import Job
from .core.jobpack.joints_file import read_joints
from .core.plans import PlanMeasures
from .job_tree import JobCollection
from .joint_object import CARVING_PLACE, JOINT, REASON, is_moved
from .properties import settings_link
from .surface_marks import marks_key

LINE = "plan_line"
"""Of a profile's line when its plan was kept or taken."""


def note(job: JobCollection) -> None:
    """Note on the joints in the view that they stand as they are kept."""
    for obj in job_tree.joints(job):
        obj[LINE] = stamps.line_stamp(obj)


def put_by(job: JobCollection, measures: PlanMeasures | None) -> Any:
    """Keep the joints in the view as a plan, or renew the one that they are; their numbers must be noted on them.

    measures : what they come to; None: not known yet.
    """
    plans = job.seamwright.plans
    note(job)
    row = in_view(job)
    if row < 0:
        name = _free_name(job)
        plan = plans.add()
        plan.name = name
        plan.joints = json.dumps([_kept(obj) for obj in job_tree.joints(job)])
        plan.text = job.seamwright.proposed
        plan.wish = _wish(job)
    else:
        plan = plans[row]
    if measures is not None:
        plan.measures = json.dumps(asdict(measures))
        plan.settings, plan.surface = settings_stamp(job), watch.take(job)
    return plan


def in_view(job: JobCollection) -> int:
    """The kept plan whose joints are those in the view, unchanged; -1 where none is. Cheap: panels call it."""
    held = job_tree.joints(job)
    if any(is_moved(obj) or obj.get(LINE, "") != stamps.line_stamp(obj) for obj in held):
        return -1
    now = [_unmarked(str(obj.get(JOINT, ""))) for obj in held]
    for row, plan in enumerate(job.seamwright.plans):
        if [entry["joint"] for entry in entries(plan.joints)] == now:
            return row
    return -1


@lru_cache(maxsize=32)
def entries(text: str) -> tuple[dict[str, Any], ...]:
    """What is kept of each joint of a plan."""
    found = json.loads(text) if text else []
    return tuple(entry for entry in found if isinstance(entry, dict))


def joints_of(plan: Any) -> tuple[Joint, ...]:
    """The joints of a kept plan, metres, as they were put by."""
    return read_joints(
        '{"schema_version": 1, "joints": [' + ", ".join(entry["joint"] for entry in entries(plan.joints)) + "]}",
        plan.name,
    )


def tell(obj: Any, entry: dict[str, Any]) -> None:
    """Give a joint's new object what was kept of the old one; a point in a part belongs to the carving as it was."""
    if entry["name"]:
        obj.name = entry["name"]
    if entry["reason"]:
        stamps.note_reason(obj, entry["reason"])
    if entry["place"]:
        obj[CARVING_PLACE] = entry["place"]


@lru_cache(maxsize=32)
def measures_of(text: str) -> PlanMeasures | None:
    """What a plan comes to, of the text kept with it; None where it was not weighed."""
    return PlanMeasures(**json.loads(text)) if text else None


def is_stale(job: JobCollection, plan: Any, settings: str) -> bool:
    """Whether settings, of which this is the `settings_stamp`, or carving are others than when a plan was weighed."""
    if not plan.measures:
        return False
    surface = watch.surface_now(job)
    return bool(plan.settings != settings or (surface is not None and surface != plan.surface))


def settings_stamp(job: JobCollection) -> str:
    """Of all settings but what is wished of a plan."""
    return _stamp(settings_link.settings_key(job.seamwright), marks_key(job))


@lru_cache(maxsize=16)
def _stamp(key: Any, marks: Any) -> str:
    job = settings_link.job_of(key)
    plain = Job().joints
    wishless = replace(job.joints, hidden=plain.hidden, pieces=plain.pieces, compare_planes=plain.compare_planes)
    return hashlib.sha1(repr((replace(job, joints=wishless).to_toml(), marks)).encode()).hexdigest()


def _kept(obj: Any) -> dict[str, Any]:
    name = "" if obj.name == f"joint {obj.get('mark')}" else obj.name
    return {
        "joint": _unmarked(str(obj[JOINT])),
        "name": name,
        "reason": str(obj.get(REASON, "")),
        "place": [float(value) for value in obj.get(CARVING_PLACE, ())],
    }


def _unmarked(text: str) -> str:
    return re.sub(r'"mark": "[^"]*"', '"mark": ""', text, count=1)


def _free_name(job: JobCollection) -> str:
    taken = {plan.name for plan in job.seamwright.plans}
    number = len(taken) + 1
    while f"plan {number}" in taken:
        number += 1
    return f"plan {number}"


def _wish(job: JobCollection) -> str:
    """How the joints in the view came about."""
    if not any(obj.get(REASON) for obj in job_tree.joints(job)):
        return "by hand"
    return str(job.seamwright.proposed_for)
