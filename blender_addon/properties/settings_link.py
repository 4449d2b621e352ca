# SPDX-License-Identifier: GPL-3.0-or-later
"""Between the settings that the panels show and the core's `Job`.

The text of JOB.toml stays the master: a value in a panel counts only where it differs from the text's by more than
Blender's single precision, so that a job that went through Blender is the same job to the last digit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Any, NamedTuple

import numpy as np

from ..core.job import PLACES, Job
from ..core.seams.index import SEAM_NAMES

Key = tuple[Any, ...]


class Link(NamedTuple):
    """A property and the setting behind it; `power` of the unit scale turns Blender units into SI."""

    name: str
    table: str
    key: str
    power: int = 0


LINKS = (
    Link("title", "", "title"),
    Link("mend", "carving", "mend"),
    Link("fill", "carving", "fill", 1),
    Link("deviation", "carving", "deviation", 1),
    Link("piece_mass", "limits", "piece_mass", 3),
    Link("crew", "limits", "crew"),
    Link("person_lift", "limits", "person_lift", 3),
    Link("doorway", "limits", "doorway", 1),
    Link("hand_room", "limits", "hand_room", 1),
    Link("min_thickness", "limits", "min_thickness", 1),
    Link("wire_length", "limits", "wire_length", 1),
    Link("within_billet", "limits", "within_billet"),
    Link("any_pose", "limits", "any_pose"),
    Link("piece_size", "limits", "piece_size", 1),
    Link("billet", "foam", "billet", 1),
    Link("density", "foam", "density"),
    Link("kerf", "foam", "kerf", 1),
    Link("fit", "joints", "fit", 1),
    Link("bridging", "skin", "bridging", 1),
    Link("place", "skin", "place"),
    Link("allowance", "joints", "allowance"),
    Link("hidden", "joints", "hidden"),
    Link("pieces", "joints", "pieces"),
    Link("compare_planes", "joints", "compare_planes"),
    Link("seams", "joints", "seams"),
    Link("seam_tolerance", "joints", "seam_tolerance", 1),
    Link("on_seam_note", "joints", "on_seam_note"),
    Link("on_seam_warn", "joints", "on_seam_warn"),
    Link("sliver", "joints", "sliver", 1),
    Link("load_size", "load_space", "size", 1),
    Link("load_door", "load_space", "door", 1),
    Link("payload", "load_space", "payload", 3),
    Link("block_built", "blockup", "built"),
    Link("block_position", "blockup", "position"),
    Link("block_origin", "blockup", "origin", 1),
    Link("block_rotation", "blockup", "rotation"),
    Link("block_stagger", "blockup", "stagger"),
    Link("block_margin", "blockup", "margin", 1),
    Link("clearance", "keep_clear", "clearance", 1),
    Link("approach", "keep_clear", "approach", 1),
)
OPTIONAL = "piece_size"
COUNT = "pieces"
"""Shown as 0 where it is not set."""
WORDS = {"place": PLACES, "seams": SEAM_NAMES}
"""Shown as switches, one for each word."""
SWITCH = "use_piece_size"


def load(group: Any, job: Job, unit_scale: float) -> None:
    """Show a job in the properties; what they do not show stays in the text."""
    group.text = job.to_toml()
    group.unit_scale = unit_scale
    unit_scale = group.unit_scale  # single precision, as it is read again
    setattr(group, SWITCH, job.limits.piece_size is not None)
    for link in LINKS:
        value = _get(job, link)
        if value is None and link.name == OPTIONAL:
            value = job.size_limit
        shown = _shown(value, link, unit_scale)
        setattr(group, link.name, set(shown) if link.name in WORDS else shown)


def settings_key(group: Any) -> Key:
    """Everything that settings depend on, hashable and cheap to read."""
    values: list[Any] = []
    for link in LINKS:
        value = getattr(group, link.name)
        if isinstance(value, set):
            value = tuple(sorted(value))
        values.append(tuple(value) if hasattr(value, "__len__") and not isinstance(value, str) else value)
    return group.text, group.unit_scale, getattr(group, SWITCH), *values


def read(group: Any) -> Job:
    """The job as it is set now.

    Raises
    ------
    JobError
        Values that do not go together.
    """
    return job_of(settings_key(group))


@lru_cache(maxsize=16)
def job_of(key: Key) -> Job:
    """The job of a `settings_key`; made once, however often a panel is drawn."""
    text, scale, own_size, *values = key
    job = Job.from_toml(text)
    changes: dict[str, dict[str, Any]] = {}
    for link, value in zip(LINKS, values, strict=True):
        base = _get(job, link)
        if link.name == OPTIONAL:
            if not own_size:
                changes.setdefault(link.table, {})[link.key] = None
                continue
            if base is None:
                base = job.size_limit
                changes.setdefault(link.table, {})[link.key] = base
        if _shown(base, link, scale) != value:
            changes.setdefault(link.table, {})[link.key] = _taken(value, base, link, scale)
    top = changes.pop("", {})
    return replace(job, **top, **{table: replace(getattr(job, table), **new) for table, new in changes.items()})


def rescale(group: Any, unit_scale: float) -> None:
    """Keep lengths and masses as they are in a scene whose unit scale has changed."""
    load(group, read(group), unit_scale)


def _get(job: Job, link: Link) -> Any:
    return getattr(getattr(job, link.table) if link.table else job, link.key)


def _shown(value: Any, link: Link, scale: float) -> Any:
    """The value as Blender holds it: single precision, Blender units."""
    if link.name in WORDS:
        return tuple(sorted(value))
    if value is None:
        return 0
    if isinstance(value, tuple):
        return tuple(float(np.float32(v / scale**link.power)) for v in value)
    return float(np.float32(value / scale**link.power)) if isinstance(value, float) else value


def _taken(value: Any, base: Any, link: Link, scale: float) -> Any:
    """A value that the user changed, in SI; of a row only the numbers that differ are taken."""
    if link.name in WORDS:
        return tuple(word for word in WORDS[link.name] if word in value)
    if link.name == COUNT:
        return value or None
    if not isinstance(base, tuple):
        return _digits(value * scale**link.power) if isinstance(base, float) else value
    shown: Sequence[float] = _shown(base, link, scale)
    return tuple(
        old if new == there else _digits(new * scale**link.power)
        for new, there, old in zip(value, shown, base, strict=True)
    )


def _digits(value: float) -> float:
    """The number that was meant: single precision holds seven digits, and 0.61 shall not become 0.6100000143."""
    return float(f"{value:.7g}")
