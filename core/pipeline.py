# SPDX-License-Identifier: GPL-3.0-or-later
"""The whole job, step by step, without files and without Blender."""

from __future__ import annotations

import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from .blockup.outlines import CourseOutline, course_outlines
from .blockup.plan import plan_blockup
from .blockup.report import check_blockup
from .clearance.body import Body as KeptBody
from .clearance.job_bodies import place_bodies
from .clearance.job_check import check_placed
from .cutting.check import check_cut, require_pieces
from .cutting.cut import cut
from .cutting.joint import Joint
from .cutting.result import FROM_JOINT, Body, Contact, CutResult
from .errors import Progress
from .findings import Finding, worst
from .handling.checks import check_piece
from .handling.figures import PieceFigures, measure_finished
from .handling.growing import check_growth, grown, moved
from .handling.handled import Handled, handle
from .handling.handled_checks import check_handling
from .handling.one_billet import by_place, check_place
from .handling.pricing import check_prices, price_job
from .intake.diagnose import find_twice
from .intake.mend import Recipe
from .intake.prepare import prepare
from .intake.remesh import Remesher
from .job import Job
from .jobpack.record import ContactRecord, JobResult, JointRecord, PieceRecord, Plan
from .logistics.site_work import number_pieces, plan_site
from .marking.cutting_order import check_wires
from .marking.marks import kept_letters
from .mesh.mass import areas
from .mesh.mesh import CARVED, Mesh, in_single
from .mesh.winding import inner_point
from .planning.axis import long_axis
from .planning.for_job import as_cut, propose_for_job, suggest_for_job, suggestion_findings
from .planning.hands import gathered
from .planning.propose import Proposal
from .planning.suggest import Suggestion
from .seams.judge import ContactSeams, JointSeams
from .seams.marks import Marks
from .seams.report import check_seams, no_seams
from .seams.seams import check_joints, find_seams
from .skin.covering import covering_shares, shares_of
from .skin.depth import gap_width
from .skin.fire import fire_questions
from .skin.prices import PriceList


def run_job(
    mesh: Mesh,
    job: Job,
    joints: Sequence[Joint] | None = None,
    progress: Progress | None = None,
    remesher: Remesher | None = None,
    standing: Sequence[Mesh] = (),
    kept: Sequence[tuple[str, Mesh]] = (),
    prices: PriceList | None = None,
    user_marks: Marks | None = None,
    keep_clear: Mapping[str, Mesh] | None = None,
    letters: Sequence[str] = (),
    locked: Sequence[Joint] = (),
) -> JobResult:
    """Run the whole job: intake, joints, cut, numbers, measures, checks, take-off.

    Parameters
    ----------
    mesh : the carving, metres, z up; `carving.unit`, `up` and `taped` of the job do not apply, the rest does.
    job : all settings.
    joints : where to cut, in order; None: joints are proposed.
    progress : told the share done; may raise `Cancelled`.
    remesher : makes a new skin, for the step ``remesh`` of mending; without it that step is refused.
    standing : bodies that stand before the first piece and that no piece may pass through on its way in.
    kept : number and mesh of each piece of the cut before: a piece that is mostly the same body keeps its number.
    prices : the user's own price list; None: quantities alone.
    user_marks : lines that joints may follow, zones and viewpoints, by the user's word; None: none.
    keep_clear : mesh of each file that the job's keep-clear bodies come from, in the file's own numbers and axes.
    letters : marks that the joints have already, empty where one has none; those without take the next free letters.
    locked : where joints are proposed: joints that stay, cut first; the rest is planned round them.

    Returns
    -------
    JobResult
        The same input gives the same result, `seconds` apart.

    Raises
    ------
    MeshError, CutError, InputError
        The carving is not a solid, a joint cannot be applied, no piece is left, or the price list sells something by a
        measure that it cannot be reckoned in. Nothing is half done.
    JobError
        A keep-clear body without its mesh, or one that cannot stand as the job says.
    """
    placed = place_bodies(job.keep_clear, keep_clear or {})  # what is wrong with them is said before the long work
    standing = (*standing, *(_both_sides(body) for body in placed.bodies))
    clock = _Clock(progress)
    with clock.stage("intake", 0.0):
        recipe = Recipe.of(job.carving)
        intake = prepare(mesh, base=job.carving.base, recipe=recipe, remesher=remesher, progress=clock.part(0.0, 0.08))
        twice = find_twice(intake.mesh, job.carving.crumb, clock.part(0.08, 0.1))
        gap = gap_width(job)
        plain = in_single(intake.mesh)
        shares = covering_shares(plain, job.skin.bridging)
    with clock.stage("block-up", 0.1):
        blockup = plan_blockup(plain, job, clock.part(0.1, 0.14))
        outlines: tuple[CourseOutline, ...] = ()
        if blockup is not None:
            margin = job.blockup.margin if blockup.built == "planned" else 0.0
            outlines = course_outlines(intake.mesh, blockup.layout, blockup.courses, margin, clock.part(0.14, 0.16))
    with clock.stage("seams", 0.16):
        glue = None if blockup is None else blockup.glue
        seams = find_seams(plain, job, user_marks, glue, scan=intake.source)
    with gathered(len(plain.triangles)) as crew:
        with clock.stage("joints", 0.2):
            proposal = None
            if joints is None:
                layout = None if blockup is None else blockup.layout
                part = clock.part(0.2, 0.6)
                proposal = propose_for_job(plain, job, gap, seams, shares, locked, layout, part, crew)
                joints = proposal.joints
        with clock.stage("cut", 0.6):
            result = cut(intake.mesh, joints, gap, crumb=job.carving.crumb, progress=clock.part(0.6, 0.75))
            require_pieces(result, gap, job.carving.crumb)
        with clock.stage("measure", 0.75):
            figures = crew.map(
                [
                    partial(crew.run, measure_finished, body.mesh, job, own, _joint_numbers(body))
                    for body in result.pieces
                    for own in [shares_of(shares, body.source, body.origin)]
                ]
            )
            handled = [handle(body.mesh, f, job) for body, f in zip(result.pieces, figures, strict=True)]
    with clock.stage("build order", 0.78):
        letters = kept_letters([*letters, *[""] * (len(joints) - len(letters))])
        lines, contacts = result.lines, result.contacts
        numbered = number_pieces(
            [body.mesh for body in result.pieces],
            figures,
            joints,
            contacts,
            letters,
            long_axis(intake.mesh)[0],
            job,
            standing,
            kept,
            clock.part(0.78, 0.86),
        )
        order = numbered.order
        place = np.argsort(order)
        marks = tuple(numbered.marks[k] for k in place.tolist())
        ordered = [replace(c, lower=int(place[c.lower]), upper=int(place[c.upper])) for c in contacts]
    with clock.stage("site", 0.86):
        site, told = plan_site(
            intake.mesh,
            [result.pieces[k] for k in order],
            [figures[k] for k in order],
            numbered.marks,
            joints,
            lines,
            ordered,
            numbered.built,
            numbered.rests,
            job,
        )
    with clock.stage("clearance", 0.88):
        shifts = grown(len(result.pieces), joints, contacts, job)
        moves = shifts.moves.tolist()
        parts = [(marks[i], moved(result.pieces[i].mesh, moves[i])) for i in order]
        clearance, near = check_placed(job, intake.mesh, parts, placed, clock.part(0.88, 0.92))
    with clock.stage("check", 0.92):
        findings = [*intake.findings, *twice]
        if blockup is not None:
            findings += check_blockup(blockup, outlines, job)
        for i in order:
            findings += check_piece(marks[i], figures[i], job)
            findings += check_handling(marks[i], figures[i], handled[i], job)
            if blockup is not None and by_place(job):
                findings += check_place(
                    marks[i], result.pieces[i].mesh, figures[i].centroid, blockup.layout, blockup.names
                )
        findings += [*numbered.findings, *told, *near]
        findings += check_wires(site.cuts, letters, job.limits.wire_length)
        findings += check_cut(result, letters, job.carving.crumb, intake.volume)
        kept_to = check_joints(seams, intake.mesh, job, joints, result, gap)
        for letter, own in zip(letters, kept_to, strict=True):
            findings += check_seams(letter, own, job, seams.chance)
        suggestions: tuple[Suggestion, ...] = ()
        if proposal is None:
            plan = Plan("given", f"{len(joints)} {'joint' if len(joints) == 1 else 'joints'} given by the user.")
            poor = [j for j, own in enumerate(kept_to) if own.judged_share < job.joints.on_seam_note]
            suggestions = suggest_for_job(plain, job, gap, seams, shares, joints, poor)
            findings += suggestion_findings(suggestions, letters)
        else:
            masses = [piece.finished_mass for piece in figures]
            plan = _plan(as_cut(proposal, job, seams, kept_to, result, masses))
        if joints and job.joints.seams and not len(seams.index):
            findings.append(no_seams(job))
        findings += check_growth(shifts, [body.mesh for body in result.pieces], contacts, marks, letters, job)
        findings += fire_questions(job, sum(f.foam_mass for f in figures))
        cost = price_job([figures[k] for k in order], ordered, intake.volume, job, prices, blockup)
        findings += check_prices(cost, prices)
    with clock.stage("take-off", 0.95):
        pieces = _pieces(result, figures, handled, moves, order, marks, letters, contacts, findings)
    status = {letter: worst(f for f in findings if f.joint == letter) for letter in letters}
    return JobResult(
        job=job,
        carving=intake.mesh,
        pieces=pieces,
        joints=tuple(
            JointRecord(
                letters[j],
                joint,
                lines[j],
                sum(c.area for c in contacts if c.joint == j),
                sum(c.visible_length for c in contacts if c.joint == j),
                status[letters[j]],
                kept_to[j],
            )
            for j, joint in enumerate(joints)
        ),
        contacts=tuple(
            ContactRecord(
                letters[c.joint],
                joints[c.joint].kind,
                marks[c.lower],
                marks[c.upper],
                c.area,
                c.visible_length,
                status[letters[c.joint]],
                _contact_seams(kept_to, c),
            )
            for c in contacts
        ),
        findings=tuple(findings),
        takeoff=cost.lines,
        plan=plan,
        suggestions=suggestions,
        gap=gap,
        carving_volume=intake.volume,
        carving_area=float(areas(intake.mesh)[CARVED]),
        taken_volume=sum(body.volume for body in result.taken),
        crumbs=result.crumbs,
        scan=intake.source,
        scan_turned=intake.turned,
        site=site,
        clearance=clearance,
        cost=cost,
        seams=seams,
        blockup=blockup,
        outlines=outlines,
        seconds=clock.seconds,
    )


def _plan(proposal: Proposal) -> Plan:
    """The record of a proposal."""
    quality = proposal.quality
    return Plan(
        "planned",
        proposal.text,
        tried=proposal.looked,
        fewest=quality.fewest,
        practical=quality.practical,
        chance=quality.chance,
        planes_on_seam=quality.planes_on_seam,
        planes_pieces=quality.planes_pieces,
        complete=proposal.complete,
        reasons=tuple(reason.text for reason in proposal.reasons),
        over=proposal.over,
    )


def _both_sides(body: KeptBody) -> Mesh:
    """A keep-clear body as it stands; an open surface stops from either side."""
    mesh = body.standing()
    if body.closed:
        return mesh
    return Mesh(mesh.vertices, np.concatenate([mesh.triangles, mesh.triangles[:, ::-1]]))


class _Clock:
    """Times the stages and passes progress on."""

    def __init__(self, progress: Progress | None) -> None:
        self.progress = progress
        self.seconds: dict[str, float] = {}

    @contextmanager
    def stage(self, name: str, share: float) -> Iterator[None]:
        if self.progress:
            self.progress(share, name)
        start = time.perf_counter()
        yield
        self.seconds[name] = time.perf_counter() - start

    def part(self, low: float, high: float) -> Progress | None:
        """Progress of a step that runs from one share of the whole to another."""
        outer = self.progress
        if outer is None:
            return None
        return lambda share, text: outer(low + (high - low) * share, text)


def _contact_seams(joints: Sequence[JointSeams], contact: Contact) -> ContactSeams:
    """What was found of the visible line between two pieces; nothing of one that is hidden all along."""
    return joints[contact.joint].contacts.get((contact.lower, contact.upper), ContactSeams(0.0, 0.0, 0.0, 0.0))


def _pieces(
    result: CutResult,
    figures: Sequence[PieceFigures],
    handled: Sequence[Handled],
    moves: Sequence[Sequence[float]],
    order: Iterable[int],
    marks: Sequence[str],
    letters: Sequence[str],
    contacts: Sequence[Contact],
    findings: Sequence[Finding],
) -> tuple[PieceRecord, ...]:
    meets: list[set[int]] = [set() for _ in result.pieces]
    for contact in contacts:
        meets[contact.lower].add(contact.joint)
        meets[contact.upper].add(contact.joint)
    out = []
    for i in order:
        body = result.pieces[i]
        x, y, z = inner_point(body.mesh).tolist()
        out.append(
            PieceRecord(
                marks[i],
                body.mesh,
                body.source,
                body.origin,
                figures[i],
                tuple(letters[j] for j in sorted(meets[i])),
                worst(f for f in findings if f.piece == marks[i]),
                (x, y, z),
                handled[i],
                (moves[i][0], moves[i][1], moves[i][2]),
            )
        )
    return tuple(out)


def _joint_numbers(body: Body) -> NDArray[np.int64]:
    """The joint that made each triangle, (m,); -1 where none of this job did."""
    return np.where(body.origin == FROM_JOINT, body.source, -1)
