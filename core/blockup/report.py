# SPDX-License-Identifier: GPL-3.0-or-later
"""Findings about a block-up: how many billets, and what the people who stack and block it out must know."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Final

from ..findings import Finding, Severity
from ..job import Job
from .outlines import CourseOutline
from .plan import BlockUpPlan

LEAST_OVERLAP: Final = 0.25
"""Share of a billet's length by which end joints of two courses should be apart; common practice, no source."""


def check_blockup(plan: BlockUpPlan, outlines: Iterable[CourseOutline], job: Job) -> list[Finding]:
    """What is worth saying of a block-up; all notes: nothing of it fails a job."""
    found = [_count(plan, job), *_fitted(plan)]
    if plan.overlap < LEAST_OVERLAP * plan.layout.billet[0] - 1e-9:
        found.append(
            Finding(
                "blockup_overlap",
                Severity.NOTE,
                f"End joints of two courses are only {_mm(plan.overlap)} apart; a quarter of a billet, "
                f"{_mm(LEAST_OVERLAP * plan.layout.billet[0])}, is usual (common practice, no source).",
                "Change the stagger or the offsets of the courses.",
                measured=plan.overlap,
                limit=LEAST_OVERLAP * plan.layout.billet[0],
                unit="m",
            )
        )
    if plan.built == "planned":
        found += [*_bare(plan), *_hanging(plan), *_bulges(plan, outlines)]
    return found


def count_words(plan: BlockUpPlan, job: Job) -> str:
    """What a block-up takes, in sentences."""
    whole = sum(billet.whole for billet in plan.billets)
    parts = len(plan.billets) - whole
    length, width, height = plan.layout.billet
    searched = f", of {plan.tried} positions tried" if plan.tried else ""
    cans = plan.cans(job.blockup.can_covers)
    return (
        f"The block-up takes {plan.bought} billet{'s' if plan.bought != 1 else ''} of {length:.4g} x {width:.4g} x "
        f"{height:.4g} m{searched}: {whole} whole and {parts} part billets in {len(plan.courses)} "
        f"course{'s' if len(plan.courses) != 1 else ''}. Fewer than {plan.fewest_here} cannot do at this position, "
        f"fewer than {plan.fewest} not at any. {plan.glue_area:.1f} m2 of glue line, {_count_of(cans, 'can')} of "
        f"adhesive at {job.blockup.can_covers:.4g} m2 each."
    )


def _count(plan: BlockUpPlan, job: Job) -> Finding:
    return Finding(
        "blockup",
        Severity.NOTE,
        count_words(plan, job),
        "Nothing; billets.csv has each.",
        measured=float(plan.bought),
        limit=float(plan.fewest_here),
    )


_LINES: Final = {"bed": "between two courses", "end": "across the billets' length", "side": "along it"}


def _fitted(plan: BlockUpPlan) -> list[Finding]:
    """Each glue line that the block-up was moved onto, by the points picked on it."""
    return [
        Finding(
            "blockup_picked",
            Severity.NOTE,
            f"The block-up was moved onto the glue line {_LINES[one.line]} that was picked; the points lie up to "
            f"{_mm(one.off)} off it.",
            "Pick them again where that is more than the glue line wanders.",
            measured=one.off,
            unit="m",
        )
        for one in plan.fitted
    ]


def _bare(plan: BlockUpPlan) -> list[Finding]:
    if not plan.bare:
        return []
    mark, least, place = min(plan.bare, key=lambda row: (row[1], row[0]))
    return [
        Finding(
            "blockup_margin",
            Severity.NOTE,
            f"At {_count_of(len(plan.bare), 'outer end')} of the block-up less than {_mm(plan.margin)} of foam is left "
            f"outside the carving; least at billet {mark}, {_mm(least)}.",
            "Shift or turn the block-up, or carve those places from the billet's own face.",
            measured=least,
            limit=plan.margin,
            unit="m",
            where=place,
        )
    ]


def _hanging(plan: BlockUpPlan) -> list[Finding]:
    if not plan.hanging:
        return []
    marks = [billet.mark for billet in plan.hanging]
    x, y, z = plan.layout.to_job([plan.hanging[0].low])[0].tolist()
    many = len(marks) > 1
    return [
        Finding(
            "blockup_hanging",
            Severity.NOTE,
            f"Billet{'s' if many else ''} {_listed(marks)} stand{'' if many else 's'} on no other and hang"
            f"{'' if many else 's'} by glue alone.",
            "Prop them until the glue holds, and keep a prop under while carving; how much it holds is for a competent "
            "person to say.",
            measured=float(len(marks)),
            limit=0.0,
            where=(x, y, z),
        )
    ]


def _bulges(plan: BlockUpPlan, outlines: Iterable[CourseOutline]) -> list[Finding]:
    return [
        Finding(
            "blockup_bulge",
            Severity.NOTE,
            f"Between its faces course {one.course - plan.courses[0] + 1} stands out up to {_mm(one.bulge)} past a "
            f"straight wire along both outlines, which have {_mm(plan.margin)} to carve off.",
            "Cut upright along the dashed outline of the whole course there.",
            measured=one.bulge,
            limit=plan.margin,
            unit="m",
            where=one.bulge_at,
        )
        for one in outlines
        if one.bulge > plan.margin
    ]


def _mm(metres: float) -> str:
    return f"{metres * 1000.0:.0f} mm" if math.isfinite(metres) else "no length"


def _count_of(count: int, noun: str) -> str:
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _listed(marks: Sequence[str]) -> str:
    return ", ".join(marks) if len(marks) <= 8 else f"{', '.join(marks[:7])} and {len(marks) - 7} more"
