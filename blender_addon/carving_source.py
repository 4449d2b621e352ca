# SPDX-License-Identifier: GPL-3.0-or-later
"""The carving of a job, read as the command line reads it from the saved file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import bpy
import numpy as np
from numpy.typing import NDArray

from . import convert
from .core.cutting.joint import Joint
from .core.errors import InputError, MeshError, Progress
from .core.findings import Finding, Severity
from .core.intake.mend import Recipe
from .core.intake.prepare import LEAST_SIZE, MOST_SIZE, far_problem, prepare, set_upright
from .core.intake.report import Report, describe
from .core.intake.weld import weld_if_open, weld_points
from .core.job import Job
from .core.jobpack.record import JobResult
from .core.mesh.mesh import Mesh
from .core.pipeline import run_job
from .core.planning.propose import Proposal
from .core.plans import LastGround, PlanMeasures
from .core.seams.marks import Marks
from .core.skin.prices import PriceList
from .job_tree import JobCollection, is_held
from .keep_clear import Here, for_job, read_here
from .surface_marks import read_marks
from .world import shown

_GROUND = LastGround()
"""What plans share, of the carving that was planned or weighed last: only of one, as it may be large."""


@dataclass(frozen=True, eq=False)
class Snapshot:
    """A carving as it stands, in arrays; nothing of Blender's is held.

    Attributes
    ----------
    name : of the object.
    mesh : triangles in world coordinates, metres, as the object shows them.
    marks : what is marked on it; zones for these triangles.
    keep_clear : what it must not touch.
    """

    name: str
    mesh: Mesh
    marks: Marks = field(default_factory=Marks)
    keep_clear: Here = field(default_factory=Here)


def snapshot(context: bpy.types.Context, job: JobCollection) -> Snapshot:
    """Read the job's carving.

    Raises
    ------
    MeshError
        No carving, no surface, or coordinates that are not numbers.
    """
    obj = job.seamwright.carving
    if not is_held(job, obj):
        raise MeshError("this job has no carving; choose one in the Carving panel")
    if obj.mode == "EDIT":
        obj.update_from_editmode()
    with shown(context, obj) as depsgraph:
        scale = context.scene.unit_settings.scale_length
        mesh = convert.mesh_from_object(obj, depsgraph, scale)
        marks = read_marks(job, obj, depsgraph, scale)
    return Snapshot(obj.name, mesh, marks, read_here(context, job, scale))


def look_at(carving: Snapshot, job: Job, progress: Progress | None = None) -> Report:
    """What the carving is and what is wrong with it."""
    mesh, notes = weld_if_open(carving.mesh)
    recipe = Recipe.of(job.carving)
    return describe(mesh, 1.0, "z", job.carving.base, carving.name, notes, recipe, progress)


def size_problem(mesh: Mesh) -> str:
    """A sentence where the carving's size can only be a mistake of the unit, or it lies too far off; else empty."""
    longest = float(np.max(mesh.size, initial=0.0))
    if not len(mesh.triangles):
        return "The carving has no surface; choose another, or add faces to it."
    if LEAST_SIZE <= longest <= MOST_SIZE:
        far = far_problem(mesh)
        return far and f"{far[:1].upper()}{far[1:]}."
    return (
        f"The carving is {longest:.3g} m long, outside {LEAST_SIZE:g} m to {MOST_SIZE:g} m: most likely its unit is "
        "wrong. Scale the object, or set the scene's unit scale."
    )


@dataclass(frozen=True, eq=False)
class Ready:
    """A snapshot as the core takes it.

    Attributes
    ----------
    mesh : metres, z up; welded where that closes open edges.
    notes : what was done, as sentences.
    marks : zones for the triangles of `mesh`.
    scan : (m,) int64, for each triangle that of the snapshot.
    """

    mesh: Mesh
    notes: tuple[str, ...]
    marks: Marks
    scan: NDArray[np.int64]


def make_ready(carving: Snapshot, job: Job) -> Ready:
    """Weld a snapshot, set it upright, look at its size, and bring its marks along.

    Raises
    ------
    InputError
        The carving's size can only be a mistake.
    """
    mesh, notes = weld_if_open(carving.mesh)
    upright = set_upright(mesh, 1.0, job.carving.up)
    problem = size_problem(upright)
    if problem:
        raise InputError(problem)
    scan, marks = _left_by_welding(carving.mesh, mesh), carving.marks
    return Ready(upright, notes, marks if marks.zones is None else replace(marks, zones=marks.zones[scan]), scan)


def _left_by_welding(read: Mesh, welded: Mesh) -> NDArray[np.int64]:
    """The triangles as read that welding has left, in order: those whose corners do not fall together."""
    if len(welded.triangles) == len(read.triangles):
        return np.arange(len(read.triangles), dtype=np.int64)
    a, b, c = weld_points(read.vertices)[1][read.triangles].T
    return np.flatnonzero((a != b) & (b != c) & (c != a))


def solid(carving: Snapshot, job: Job) -> Mesh:
    """The carving as the whole job cuts it: mended by the job's recipe, its base closed.

    Raises
    ------
    InputError
        The carving's size can only be a mistake.
    MeshError, JobError
        The carving is no solid, or the settings do not go together.
    """
    mesh = make_ready(carving, job).mesh
    return prepare(mesh, base=job.carving.base, recipe=Recipe.of(job.carving)).mesh


def propose(carving: Snapshot, job: Job, progress: Progress, locked: Sequence[Joint] = ()) -> Proposal:
    """Joints by the same way as the whole job would propose them; `locked` stay."""
    progress(0.0, "looking at the carving")
    ready = make_ready(carving, job)
    ground = _GROUND.of(ready.mesh, job, ready.marks, lambda share, text: progress(0.12 * share, text))
    return ground.propose(locked, progress=lambda share, text: progress(0.12 + 0.88 * share, text))


def weigh(carving: Snapshot, job: Job, joints: Sequence[Joint], progress: Progress) -> PlanMeasures:
    """What joints come to on the exact cut, as the whole job would find it."""
    progress(0.0, "looking at the carving")
    ready = make_ready(carving, job)
    ground = _GROUND.of(ready.mesh, job, ready.marks, lambda share, text: progress(0.4 * share, text))
    return ground.weigh(joints, lambda share, text: progress(0.4 + 0.6 * share, text))


@dataclass(frozen=True, eq=False)
class Scan:
    """Where the triangles of a cut carving are in the object as it was read.

    Attributes
    ----------
    triangles : (m,) for each triangle of the carving that of the object; -1 where mending or closing made it.
    turned : (m,) bool, whether the carving runs round it the other way.
    """

    triangles: NDArray[np.int64]
    turned: NDArray[np.bool_]


def do_job(
    carving: Snapshot,
    job: Job,
    joints: tuple[Joint, ...],
    progress: Progress,
    kept: Sequence[tuple[str, Mesh]] = (),
    prices: PriceList | None = None,
) -> tuple[JobResult, Scan]:
    """The whole job on a snapshot, and where its triangles come from.

    Findings begin with what reading the carving took.
    """
    ready = make_ready(carving, job)
    wanted, bodies, unchecked = for_job(job, carving.keep_clear)
    result = run_job(
        ready.mesh, wanted, joints, progress, kept=kept, prices=prices, user_marks=ready.marks, keep_clear=bodies
    )
    read = tuple(Finding("intake", Severity.NOTE, f"{note[:1].upper()}{note[1:]}.") for note in ready.notes)
    result = replace(result, findings=(*read, *unchecked, *result.findings))
    progress(1.0, "finding the way back to the scan")
    if result.scan is None or result.scan_turned is None:
        raise MeshError("the way back to the scan is lost; report this carving")
    held = result.scan >= 0
    triangles = np.full(len(result.scan), -1, dtype=np.int64)
    triangles[held] = ready.scan[result.scan[held]]
    return result, Scan(triangles, result.scan_turned)
