# SPDX-License-Identifier: GPL-3.0-or-later
"""What the seam check says of a joint, as findings with remedies."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Final

import numpy as np

from ..findings import Finding, Severity
from ..job import Job
from .index import GLUE_LINE, MARKED
from .judge import JointSeams, Place
from .marks import KEEP_WHOLE
from .seams import Seams

_TOUCH: Final = 0.005
"""Metres of line in a zone, or of glue met, from which it is told: one part of a line."""


def check_seams(letter: str, seams: JointSeams, job: Job, chance: float) -> list[Finding]:
    """Findings of one joint.

    Parameters
    ----------
    letter : the joint's mark.
    chance : share of the surface within the tolerance of a seam.
    """
    checks = (_kept(letter, seams, job, chance), _zones(letter, seams), _glue(letter, seams, job))
    return [finding for check in checks for finding in check]


def no_seams(job: Job) -> Finding:
    """Said once where there is nothing that a joint could follow."""
    return Finding(
        "seams",
        Severity.NOTE,
        f"No seam was found on this carving ({', '.join(job.joints.seams)}); how well joints hide was not judged.",
        "Mark lines that a joint may follow, or enter the block-up that it was carved from.",
    )


def _kept(letter: str, seams: JointSeams, job: Job, chance: float) -> Iterator[Finding]:
    share = seams.judged_share
    if share >= max(job.joints.on_seam_note, job.joints.on_seam_warn) or seams.run_at is None:
        return
    if not math.isfinite(seams.furthest):
        return  # there is no seam at all: said once, by `no_seams`
    warned = share < job.joints.on_seam_warn
    yield Finding(
        "seams",
        Severity.WARNING if warned else Severity.NOTE,
        f"Joint {letter} keeps to a seam for {seams.judged_on:.2f} m of its {seams.judged:.2f} m of visible line, "
        f"{share:.0%} (a line laid anywhere: {chance:.0%}); its longest stretch off a seam is {_length(seams.run)}, "
        f"near {_place(seams.run_at)}, and the worst place is {_length(seams.furthest)} from the nearest.",
        "Move or bend it into a crevice there, mark a line that it may follow, or mark the place as one that may show.",
        joint=letter,
        measured=share,
        limit=job.joints.on_seam_warn if warned else job.joints.on_seam_note,
        where=seams.run_at,
    )


def _zones(letter: str, seams: JointSeams) -> Iterator[Finding]:
    kept, at = seams.zones[KEEP_WHOLE], seams.zone_at[KEEP_WHOLE]
    if kept > _TOUCH and at is not None:
        yield Finding(
            "keep_whole",
            Severity.WARNING,
            f"Joint {letter} crosses {_length(kept)} of a place that is to keep whole, near {_place(at)}.",
            "Move it past that place, or limit it to the part beside it.",
            joint=letter,
            measured=kept,
            limit=0.0,
            unit="m",
            where=at,
        )
    if seams.hide_off > _TOUCH and seams.hide_at is not None:
        yield Finding(
            "must_hide",
            Severity.WARNING,
            f"Joint {letter} shows for {_length(seams.hide_off)} off any seam where joints must hide, near "
            f"{_place(seams.hide_at)}.",
            "Move or bend it into a crevice there, or out of that place.",
            joint=letter,
            measured=seams.hide_off,
            limit=0.0,
            unit="m",
            where=seams.hide_at,
        )


def _glue(letter: str, seams: JointSeams, job: Job) -> Iterator[Finding]:
    slab = seams.slab
    if slab is not None:
        yield Finding(
            "sliver",
            Severity.WARNING,
            f"Joint {letter} runs {_length(slab.thickness)} beside a glue line without following it, over "
            f"{slab.area:.2f} m2 less than {_length(job.joints.sliver)} off, near {_place(slab.where)}: the thin slab "
            "between them breaks off.",
            f"Move it onto the glue line, or {_length(job.joints.sliver)} or more away from it.",
            joint=letter,
            measured=slab.thickness,
            limit=job.joints.sliver,
            unit="m",
            where=slab.where,
        )
    if seams.glue_cut > _TOUCH:
        yield Finding(
            "glue_cut",
            Severity.NOTE,
            f"The wire meets {seams.glue_cut:.2f} m of glue line in joint {letter}.",
            "Run it along the glue line, or saw through the glue; hot glue smokes, so keep air moving and follow its "
            "data sheet.",
            joint=letter,
            measured=seams.glue_cut,
            limit=0.0,
            unit="m",
        )


def _length(metres: float) -> str:
    return f"{metres * 1000.0:.0f} mm" if metres < 1.0 else f"{metres:.2f} m"


def _place(at: Place) -> str:
    return f"({at[0]:.2f}, {at[1]:.2f}, {at[2]:.2f}) m"


def seams_words(seams: Seams) -> str:
    """What was found of seams, in a sentence for a panel."""
    found = seams.crevices
    parts = []
    if found is not None:
        count = len(found.lines)
        parts.append(f"{count} {'crevice' if count == 1 else 'crevices'}, {float(found.lengths.sum()):.1f} m in all")
    for kind, word in ((MARKED, "marked lines"), (GLUE_LINE, "glue lines on the surface")):
        rows = seams.index.kinds == kind
        if rows.any():
            length = float(np.linalg.norm((seams.index.ends - seams.index.starts)[rows], axis=1).sum())
            parts.append(f"{length:.1f} m of {word}")
    text = "; ".join(parts) or "No seams are looked for"
    return f"{text[:1].upper()}{text[1:]}. A line laid anywhere would lie {seams.chance:.0%} on a seam."
