# SPDX-License-Identifier: GPL-3.0-or-later
"""Propose joints as a job asks for them: with its seams, zones and viewpoints."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..blockup.layout import Layout
from ..cutting.joint import Joint
from ..cutting.result import CutResult
from ..errors import Progress
from ..findings import Finding, Severity
from ..handling.one_billet import by_place
from ..job import Job
from ..mesh.mesh import Mesh
from ..seams.index import GLUE_LINE, MARKED, SEAM_NAMES
from ..seams.judge import JointSeams
from ..seams.marks import KEEP_WHOLE, MAY_SHOW, MUST_HIDE
from ..seams.seams import Seams
from ..seams.view import seen_from
from .hands import Crew
from .propose import Proposal, propose
from .quality import plan_words
from .reasons import exact_reason
from .samples import take_samples
from .suggest import Suggestion, suggest
from .trails import Trail
from .wished import Wish

FloatArray = NDArray[np.float64]

_ZONES: Final = {MAY_SHOW: 0.1, MUST_HIDE: 4.0}
"""What a metre of joint line off seams costs in a zone, against 1 elsewhere: where it may show nearly nothing, where it
must hide as much as a detour of four metres."""

_UNSEEN: Final = 0.25
"""The same where no viewpoint sees it: the public may still walk round."""


def propose_for_job(
    mesh: Mesh,
    job: Job,
    gap: float,
    seams: Seams,
    shares: FloatArray | None = None,
    locked: Sequence[Joint] = (),
    layout: Layout | None = None,
    progress: Progress | None = None,
    crew: Crew | None = None,
) -> Proposal:
    """Propose joints for a job.

    Parameters
    ----------
    mesh : the carving as it is cut, closed, metres, z up.
    job : foam, skin, limits and joints are read; ``joints.hidden``, ``pieces`` and ``compare_planes`` are the user's
        wishes.
    gap : metres between joint faces.
    seams : what joints may follow, zones and viewpoints.
    shares : (m,) covering share of each triangle.
    locked : joints that stay, cut first.
    layout : where billets lie; None: not known. Read where ``limits.within_billet`` is set.
    progress : told the share done; `Cancelled` ends the search with the best plan so far.
    crew : that works on it; None: one that ends with it.
    """
    wish = Wish(job.joints.hidden, job.joints.pieces, job.joints.compare_planes)
    weight, keep = _weights(mesh, seams)
    return propose(
        mesh,
        job,
        gap,
        trails=trails_of(seams),
        wish=wish,
        weight=weight,
        keep=keep,
        shares=shares,
        locked=locked,
        glue=seams.glue,
        layout=layout if by_place(job) else None,
        progress=progress,
        crew=crew,
    )


def as_cut(
    proposal: Proposal,
    job: Job,
    seams: Seams,
    kept_to: Sequence[JointSeams],
    result: CutResult,
    masses: Sequence[float],
) -> Proposal:
    """A proposal whose words and measures are those of the cut, no longer of the samples that it was planned with.

    Parameters
    ----------
    kept_to : how each joint of `result` keeps to the seams. masses : of the finished pieces, kg.
    """
    line = math.fsum(one.visible for one in kept_to)
    quality = replace(
        proposal.quality,
        pieces=len(masses),
        line=line,
        on_seam=math.fsum(one.on_seam for one in kept_to) / line if line > 0.0 else 1.0,
        area=math.fsum(contact.area for contact in result.contacts),
        heaviest=max(masses, default=0.0),
        lightest=min(masses, default=0.0),
        exact=True,
    )
    trails, tolerance = trails_of(seams), job.joints.seam_tolerance
    return replace(
        proposal,
        reasons=tuple(
            exact_reason(reason, lines, trails, tolerance)
            for reason, lines in zip(proposal.reasons, result.lines, strict=True)
        ),
        text=plan_words(quality, job.limits.piece_mass, proposal.complete, proposal.over, proposal.wished),
        quality=quality,
    )


def suggest_for_job(
    mesh: Mesh,
    job: Job,
    gap: float,
    seams: Seams,
    shares: FloatArray | None,
    joints: Sequence[Joint],
    which: Collection[int],
) -> tuple[Suggestion, ...]:
    """Shifts by which joints set by hand would hide better; see `suggest`.

    Parameters
    ----------
    mesh, job, gap, seams, shares : as for `propose_for_job`.
    joints : in the order of cuts. which : those that are to hide better.
    """
    if not which or not len(seams.index):
        return ()
    weight, keep = _weights(mesh, seams)
    samples = take_samples(mesh, job, gap, trails_of(seams), weight, keep, shares)
    return suggest(samples, joints, job, which)


def suggestion_findings(suggestions: Sequence[Suggestion], letters: Sequence[str]) -> list[Finding]:
    """Suggested shifts as notes; `letters` are the marks of the joints."""
    return [
        Finding(
            "suggestion",
            Severity.NOTE,
            f"{one.text(letters[one.joint])}. No more pieces come over a limit by it.",
            "Shift it and cut again: the cut tells the shares exactly.",
            joint=letters[one.joint],
            measured=one.before,
            limit=one.after,
        )
        for one in suggestions
    ]


def trails_of(seams: Seams) -> tuple[Trail, ...]:
    """The seams of a job by name: each crevice for itself, the longest first; marked lines; glue lines."""
    out = []
    if seams.crevices is not None:
        out += [Trail.along(f"crevice {k + 1}", line) for k, line in enumerate(seams.crevices.lines)]
    index = seams.index
    for kind in (MARKED, GLUE_LINE):
        rows = index.kinds == kind
        if rows.any():
            out.append(
                Trail(
                    f"the {SEAM_NAMES[kind]}{'s' if kind == GLUE_LINE else ' lines'}",
                    index.starts[rows],
                    index.ends[rows],
                )
            )
    return tuple(out)


def _weights(mesh: Mesh, seams: Seams) -> tuple[FloatArray | None, NDArray[np.bool_] | None]:
    """Weight of each triangle, and where no joint may cross; None where all are alike."""
    weight = None
    if seams.viewpoints:
        middle = mesh.corners().mean(axis=1)
        seen = np.zeros(len(middle), dtype=bool)
        for view in seams.viewpoints:
            seen |= seen_from(view, mesh, middle)
        weight = np.where(seen, 1.0, _UNSEEN)
    keep = None
    if (seams.zones == KEEP_WHOLE).any():
        keep = seams.zones == KEEP_WHOLE
    if np.isin(seams.zones, list(_ZONES)).any():
        weight = np.ones(len(mesh.triangles)) if weight is None else weight
        for zone, worth in _ZONES.items():
            weight[seams.zones == zone] *= worth
    return weight, keep
