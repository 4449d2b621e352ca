# SPDX-License-Identifier: GPL-3.0-or-later
"""The last finished job, kept so that the pack need not run it again. A convenience: the same job runs the same."""

from __future__ import annotations

from .core.jobpack.record import JobResult

_kept: dict[str, JobResult] = {}


def keep(stamp: str, result: JobResult) -> None:
    """Keep one result under the fingerprint of what it came from; the one before is let go."""
    _kept.clear()
    _kept[stamp] = result


def kept(stamp: str) -> JobResult | None:
    """The result of this fingerprint, if it is the one kept."""
    return _kept.get(stamp)


def forget() -> None:
    """Let it go."""
    _kept.clear()
