# SPDX-License-Identifier: GPL-3.0-or-later
"""Plans of joints for one carving: proposed as a user wishes, weighed on the exact cut, and set side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from hashlib import blake2b
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .blockup.plan import BlockUpPlan, plan_blockup
from .cutting.check import require_pieces
from .cutting.cut import cut
from .cutting.joint import Joint
from .cutting.result import FROM_JOINT
from .errors import Progress
from .handling.checks import within_limits
from .handling.figures import measure_finished
from .handling.one_billet import billets_of, by_place
from .intake.mend import Recipe
from .intake.prepare import prepare
from .intake.remesh import Remesher
from .job import Job, Joints
from .logistics.load_plan import Box, plan_load
from .mesh.mesh import Mesh, in_single
from .planning.for_job import propose_for_job
from .planning.propose import Proposal
from .seams.marks import Marks
from .seams.seams import Seams, check_joints, find_seams
from .skin.covering import covering_shares, shares_of
from .skin.depth import gap_width


@dataclass(frozen=True)
class PlanMeasures:
    """What a plan comes to, on the exact cut.

    Attributes
    ----------
    joints, pieces : numbers of them. over : pieces over a limit.
    heaviest, lightest : finished, kg. area : square metres of joint, each counted once.
    line, on_seam : metres of joint line that show, and of those along seams.
    loads : loads that the finished pieces take. floor : metres of the load space's length that they take, all loads
        together. left_out : pieces that go into no load space.
    """

    joints: int
    pieces: int
    over: int
    heaviest: float
    lightest: float
    area: float
    line: float
    on_seam: float
    loads: int
    floor: float
    left_out: int

    @property
    def share(self) -> float:
        """Share of the line that shows along seams; 1 where none shows."""
        return self.on_seam / self.line if self.line > 0.0 else 1.0


@dataclass(frozen=True, eq=False)
class Ground:
    """A carving made ready for plans: what they share is worked out once.

    Attributes
    ----------
    job : its settings. solid : the carving as it is cut; plain : the same in single precision, for seams and samples.
    gap : metres between joint faces. blockup : None where nothing is known of it.
    seams : what joints may follow. shares : (m,) covering share of each triangle.
    """

    job: Job
    solid: Mesh
    plain: Mesh
    gap: float
    blockup: BlockUpPlan | None
    seams: Seams
    shares: NDArray[np.float64]

    @classmethod
    def of(
        cls,
        mesh: Mesh,
        job: Job,
        user_marks: Marks | None = None,
        remesher: Remesher | None = None,
        progress: Progress | None = None,
    ) -> Ground:
        """Make a carving ready; parameters and errors as those of `pipeline.run_job`."""
        recipe = Recipe.of(job.carving)
        intake = prepare(
            mesh, base=job.carving.base, recipe=recipe, remesher=remesher, progress=_part(progress, 0.0, 0.4)
        )
        plain = in_single(intake.mesh)
        blockup = plan_blockup(plain, job, _part(progress, 0.4, 0.7))
        if progress:
            progress(0.7, "seams")
        glue = None if blockup is None else blockup.glue
        seams = find_seams(plain, job, user_marks, glue, scan=intake.source)
        shares = covering_shares(plain, job.skin.bridging)
        return cls(job, intake.mesh, plain, gap_width(job), blockup, seams, shares)

    def propose(
        self,
        locked: Sequence[Joint] = (),
        *,
        hidden: float | None = None,
        pieces: int | None = None,
        progress: Progress | None = None,
    ) -> Proposal:
        """Propose joints round those that are locked; `hidden` and `pieces` stand for those of the job if given."""
        own = self.job.joints
        hidden, pieces = own.hidden if hidden is None else hidden, own.pieces if pieces is None else pieces
        job = replace(self.job, joints=replace(own, hidden=hidden, pieces=pieces))
        layout = None if self.blockup is None else self.blockup.layout
        return propose_for_job(
            self.plain, job, self.gap, self.seams, self.shares, locked=locked, layout=layout, progress=progress
        )

    def weigh(self, joints: Sequence[Joint], progress: Progress | None = None) -> PlanMeasures:
        """Cut along some joints and measure what comes of it, as the whole job would.

        Raises
        ------
        CutError
            A joint cannot be applied, or no piece is left.
        """
        job, crumb = self.job, self.job.carving.crumb
        result = cut(self.solid, joints, self.gap, crumb=crumb, progress=_part(progress, 0.0, 0.6))
        require_pieces(result, self.gap, crumb)
        figures, over = [], 0
        for k, body in enumerate(result.pieces):
            if progress:
                progress(0.6 + 0.4 * k / len(result.pieces), "weighing the pieces")
            own = np.where(body.origin == FROM_JOINT, body.source, -1)
            figures.append(measure_finished(body.mesh, job, shares_of(self.shares, body.source, body.origin), own))
            apart = self.blockup is not None and by_place(job) and self._in_several(body.mesh)
            over += apart or not within_limits(figures[-1], job)
        kept_to = check_joints(self.seams, self.solid, job, joints, result, self.gap)
        masses = [f.finished_mass for f in figures]
        load = plan_load([Box(f"{k + 1}", *f.box, f.finished_mass) for k, f in enumerate(figures)], job.load_space)
        return PlanMeasures(
            joints=len(joints),
            pieces=len(masses),
            over=over,
            heaviest=max(masses),
            lightest=min(masses),
            area=math.fsum(contact.area for contact in result.contacts),
            line=math.fsum(one.visible for one in kept_to),
            on_seam=math.fsum(one.on_seam for one in kept_to),
            loads=load.loads,
            floor=math.fsum(load.reaches),
            left_out=len(load.left_out),
        )

    def _in_several(self, mesh: Mesh) -> bool:
        return self.blockup is not None and len(billets_of(mesh, self.blockup.layout)[0]) > 1


class LastGround:
    """Holds on to the last carving that was made ready, for a joint is moved and the rest planned again many times."""

    def __init__(self) -> None:
        self._last: tuple[bytes, Ground] | None = None

    def of(self, mesh: Mesh, job: Job, user_marks: Marks | None = None, progress: Progress | None = None) -> Ground:
        """As `Ground.of`; of the same carving, marks and settings, wishes for a plan apart, nothing is done twice."""
        name = _fingerprint(mesh, user_marks or Marks())
        if self._last is not None:
            known, last = self._last
            # What is wished of a plan changes nothing of what all plans share.
            if known == name and replace(job, joints=_unwished(job)) == replace(last.job, joints=_unwished(last.job)):
                return replace(last, job=job)
        # The old one goes first: both together may not have room.
        self._last = None
        ground = Ground.of(mesh, job, user_marks, progress=progress)
        self._last = name, ground
        return ground


def _unwished(job: Job) -> Joints:
    usual = Joints()
    return replace(job.joints, hidden=usual.hidden, pieces=usual.pieces, compare_planes=usual.compare_planes)


def _fingerprint(mesh: Mesh, marks: Marks) -> bytes:
    """Sixteen bytes that differ where carvings or their marks do."""
    digest = blake2b(digest_size=16)
    arrays: list[NDArray[Any]] = [mesh.vertices, mesh.triangles, mesh.kind, *marks.lines]
    arrays += [] if marks.zones is None else [marks.zones]
    for view in marks.viewpoints:
        arrays += [view.eye, view.ahead, view.up, np.array([view.wide, view.high])]
        digest.update(view.name.encode() + b"\n")
    for array in arrays:
        digest.update(f"{array.dtype.str} {array.shape} ".encode())
        digest.update(np.ascontiguousarray(array).data)
    return digest.digest()


def measure_rows(measures: PlanMeasures, job: Job) -> tuple[tuple[str, str], ...]:
    """A plan's measures as words and figures, the same rows for every plan."""
    room = job.load_space.size[0]
    if measures.loads == 1:
        load = f"{measures.floor:.1f} of {room:.1f} m"
    else:
        load = f"{measures.loads} loads, {measures.floor:.1f} m of floor"
    load += f", {measures.left_out} left out" if measures.left_out else ""
    return (
        ("pieces", str(measures.pieces)),
        ("over a limit", str(measures.over) if measures.over else "none"),
        ("heaviest", f"{measures.heaviest:.1f} kg"),
        ("lightest", f"{measures.lightest:.1f} kg"),
        ("joints", str(measures.joints)),
        ("joint faces", f"{measures.area:.2f} m2"),
        ("line shown", f"{measures.line:.1f} m"),
        ("along seams", f"{measures.share:.0%}"),
        ("load space", load),
    )


def _part(progress: Progress | None, low: float, high: float) -> Progress | None:
    """Progress of a step that runs from one share of the whole to another."""
    if progress is None:
        return None
    return lambda share, text: progress(low + (high - low) * share, text)
