# SPDX-License-Identifier: GPL-3.0-or-later
"""The skin of a job as one text, so that Blender's own presets can keep and apply it.

What the two functions need is imported in them: Blender 4.2 keeps a property's functions for ever, and with them all
that their module holds.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from ..core.job import Job

_HEAD = "[skin]"


def skin_toml(job: Job) -> str:
    """The table of the skin as TOML text."""
    lines = job.to_toml().splitlines()
    start = lines.index(_HEAD)
    end = next((k for k in range(start + 1, len(lines)) if lines[k].startswith("[") and lines[k] != "["), len(lines))
    return "\n".join(lines[start:end]).strip() + "\n"


def get_skin(group: Any) -> str:
    """The skin as it is set now; empty while settings do not go together."""
    from ..core.errors import SeamwrightError
    from . import settings_link

    try:
        return skin_toml(settings_link.read(group))
    except SeamwrightError:
        return ""


def set_skin(group: Any, text: str) -> None:
    """Take a skin over, all else stays; a text that is no skin changes nothing."""
    from ..core.errors import SeamwrightError
    from ..core.job import Job
    from . import settings_link

    try:
        skin = Job.from_toml(text).skin
        job = settings_link.read(group)
    except SeamwrightError:
        return
    settings_link.load(group, replace(job, skin=skin), group.unit_scale)
