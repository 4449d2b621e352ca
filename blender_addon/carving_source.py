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
from .core.intake.prepare import LEAST_SIZE, MOST_SIZE, set_upright
from .core.intake.report import Report, describe
from .core.intake.weld import weld_if_open, weld_points
from .core.job import Job
from .core.jobpack.record import JobResult
from .core.mesh.mesh import Mesh
from .core.pipeline import propose_joints, run_job
from .core.planning.propose import Proposal
from .core.seams.marks import Marks
from .core.skin.prices import PriceList
from .job_tree import JobCollection, is_held
from .keep_clear import Here, for_job, read_here
from .surface_marks import after_welding, read_marks
from .world import shown


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


def size_problem(size: NDArray[np.float64]) -> str:
    """A sentence where the carving's size can only be a mistake of the unit; empty otherwise."""
    longest = float(np.max(size, initial=0.0))
    if LEAST_SIZE <= longest <= MOST_SIZE:
        return ""
    return (
        f"The carving is {longest:.3g} m long, outside {LEAST_SIZE:g} m to {MOST_SIZE:g} m: most likely its unit is "
        "wrong. Scale the object, or set the scene's unit scale."
    )


def do_job(
    carving: Snapshot,
    job: Job,
    joints: tuple[Joint, ...] | None,
    progress: Progress | None,
    kept: Sequence[tuple[str, Mesh]] = (),
    prices: PriceList | None = None,
) -> JobResult:
    """The whole job on a snapshot; its findings begin with what reading the carving took."""
    mesh, notes = weld_if_open(carving.mesh)
    ready = set_upright(mesh, 1.0, job.carving.up)
    problem = size_problem(ready.size)
    if problem:
        raise InputError(problem)
    marks = after_welding(carving.marks, carving.mesh, len(mesh.triangles))
    wanted, bodies, unchecked = for_job(job, carving.keep_clear)
    result = run_job(ready, wanted, joints, progress, kept=kept, prices=prices, user_marks=marks, keep_clear=bodies)
    read = tuple(Finding("intake", Severity.NOTE, f"{note[:1].upper()}{note[1:]}.") for note in notes)
    return replace(result, findings=(*read, *unchecked, *result.findings))


def propose(carving: Snapshot, job: Job, progress: Progress, locked: Sequence[Joint] = ()) -> Proposal:
    """Joints by the same way as the whole job would propose them; `locked` stay."""
    progress(0.0, "looking at the carving")
    mesh, _ = weld_if_open(carving.mesh)
    ready = set_upright(mesh, 1.0, job.carving.up)
    problem = size_problem(ready.size)
    if problem:
        raise InputError(problem)
    marks = after_welding(carving.marks, carving.mesh, len(mesh.triangles))
    return propose_joints(ready, job, marks, locked, progress=progress)


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


def do_job_for_scan(
    carving: Snapshot,
    job: Job,
    joints: tuple[Joint, ...],
    progress: Progress,
    kept: Sequence[tuple[str, Mesh]] = (),
    prices: PriceList | None = None,
) -> tuple[JobResult, Scan]:
    """`do_job`, and where its triangles come from.

    Notes
    -----
    Reading keeps the order of triangles, and welding leaves out those that collapse; the core says the rest.
    """
    result = do_job(carving, job, joints, progress, kept, prices)
    progress(1.0, "finding the way back to the scan")
    count = len(carving.mesh.triangles)
    stayed = np.arange(count)
    if len(weld_if_open(carving.mesh)[0].triangles) != count:
        a, b, c = weld_points(carving.mesh.vertices)[1][carving.mesh.triangles].T
        stayed = stayed[(a != b) & (b != c) & (c != a)]
    if result.scan is None or result.scan_turned is None:
        raise MeshError("the way back to the scan is lost; report this carving")
    held = result.scan >= 0
    triangles = np.full(len(result.scan), -1, dtype=np.int64)
    triangles[held] = stayed[result.scan[held]]
    return result, Scan(triangles, result.scan_turned)
