# SPDX-License-Identifier: GPL-3.0-or-later
"""How many people a carry takes, by the published team rule."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from ..errors import JobError
from ..job import Job

TEAM_SHARE: Final = {1: 1.0, 2: 2.0 / 3.0, 3: 0.5}
"""Share of the sum of what each lifts alone, by team size.

Two thirds for two and half for three are the published team rule (guidance to the British Manual Handling Operations
Regulations, read in a page that quotes it). It gives no share for four or more, and says that more than four are
unlikely to work: nothing is carried over to them.
"""

LARGEST_TEAM: Final = max(TEAM_SHARE)


def team_limit(lifts: Sequence[float]) -> float:
    """What a team lifts together, kg, by the published rule; `lifts` is what each person lifts alone, kg.

    Raises
    ------
    JobError
        Nobody, or more than three: the rule has no number for them.
    """
    if len(lifts) not in TEAM_SHARE:
        raise JobError(
            f"a team of {len(lifts)} has no published limit: the rule's shares stop at {LARGEST_TEAM} people; plan the "
            f"carry for 1 to {LARGEST_TEAM}, or have it judged by a competent person",
            "limits.crew",
        )
    return TEAM_SHARE[len(lifts)] * float(sum(lifts))


def crew_for(mass: float, job: Job) -> int:
    """Least number of people for `mass` kg.

    Up to three by the published rule, each lifting ``limits.person_lift``. For more than three there is no published
    share: where the workshop's own crew is larger and the mass within its own limit, ``limits.piece_mass``, that crew
    is meant. 0 where neither holds.
    """
    for count in range(1, min(job.limits.crew, LARGEST_TEAM) + 1):
        if mass <= team_limit([job.limits.person_lift] * count):
            return count
    own = job.limits.crew > LARGEST_TEAM and mass <= job.limits.piece_mass * (1.0 + 1e-9)
    return job.limits.crew if own else 0
