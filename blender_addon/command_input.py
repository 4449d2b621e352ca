# SPDX-License-Identifier: GPL-3.0-or-later
"""What the command line reads: the carving, the job and the files beside it. Errors name the file at fault."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from .carving_file import CarvingFile, read_file, require_blender
from .core.clearance.job_bodies import files_of
from .core.cutting.joint import Joint
from .core.errors import CutError, InputError, JobError, MeshError, Progress
from .core.findings import Finding
from .core.intake.prepare import check_size, set_upright, upright_notes
from .core.intake.readers import read_mesh
from .core.intake.remesh import Remesher
from .core.intake.taped import scale_taped
from .core.job import Carving, Job
from .core.jobpack.joints_file import read_marked_joints
from .core.mesh.mesh import Mesh
from .core.seams.marks import Marks
from .core.seams.marks_file import MarksFile
from .pack_folder import RECORD


def read_joints(path: str) -> tuple[tuple[str, ...], tuple[Joint, ...]]:
    """Marks and joints from a file of joints."""
    return read_marked_joints(read_text(path), Path(path).name)


def read_carving(
    options: argparse.Namespace, job: Job, marked: MarksFile | None, progress: Progress
) -> tuple[CarvingFile, Mesh, Marks | None, tuple[Finding, ...]]:
    """The carving's file; the carving in metres, z up; what is marked on it; and findings of its scale."""
    progress(0.0, "reading the carving")
    carving = read_file(options.carving, options.object)
    unit = 1.0 if carving.says_unit else job.carving.unit
    mesh, scaled = to_scale(carving, unit, job.carving.up, job.carving, options.job or "")
    carving = replace(carving, notes=(*carving.notes, *upright_notes(unit, job.carving.up)))
    where = "check unit and the taped distances" if job.carving.taped else "set unit"
    check_size(mesh, unit, carving.name, f"{where} under [carving] in the job file")
    if marked is None:
        return carving, mesh, None, scaled
    mesh, marks = marked.on(mesh)
    return carving, mesh, marks, scaled


def to_scale(
    carving: CarvingFile, unit: float, up: str, settings: Carving, job: str
) -> tuple[Mesh, tuple[Finding, ...]]:
    """The carving in metres, z up, scaled by the taped distances of a job, and findings of that."""
    try:
        return scale_taped(set_upright(carving.mesh, unit, up), settings.taped)
    except MeshError as error:
        raise MeshError(f"{carving.name}: {error}") from None
    except JobError as error:
        raise JobError(f"{Path(job).name}: {error}", error.key) from None


def remesher_of(settings: Carving) -> Remesher | None:
    """Blender's, where a new skin is asked for."""
    if settings.mend != "steps" or "remesh" not in settings.steps:
        return None
    require_blender()
    from .voxel_skin import voxel_skin

    return voxel_skin


@contextmanager
def errors_of(carving: CarvingFile, job: str | None, joints: str | None) -> Iterator[None]:
    """Errors of the core name the file at fault: the carving, the job, or the file of the joints."""
    try:
        yield
    except MeshError as error:
        raise InputError(f"{carving.name}: {error}") from None
    except CutError as error:
        if joints is None or error.joint < 0:
            raise InputError(f"{carving.name}: {error}") from None
        raise InputError(f"{Path(joints).name}: joint {error.joint + 1}: {error.problem}") from None
    except JobError as error:
        raise JobError(f"{Path(job).name}: {error}" if job else str(error), error.key) from None


def keep_clear_bodies(job: Job, options: argparse.Namespace) -> dict[str, Mesh]:
    """Meshes of the job's keep-clear bodies, sought beside the job file."""
    found = {}
    for file in files_of(job.keep_clear):
        path = str(Path(options.job).parent / file)
        if options.replace:
            keep_out(path, options.out)
        found[file] = read_mesh(path)
    return found


def keep_out(path: str | None, folder: str) -> None:
    """Refuse to replace a folder that the user's own input lies in: it would be gone. The pack's record is ours."""
    if path is None:
        return
    inside, target = Path(os.path.realpath(path)), Path(os.path.realpath(folder))
    if target in inside.parents and inside != target / RECORD:
        raise InputError(f"{path}: lies in {folder}, which would be replaced; move it out first")


def read_text(path: str) -> str:
    """A text file in UTF-8."""
    name = Path(path).name or path
    try:
        return Path(path).read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(f"{name}: the file cannot be read: {error.strerror or error}; check the path") from None
    except UnicodeDecodeError:
        raise InputError(f"{name}: is not text in UTF-8; save it as that") from None


def read_job(path: str) -> Job:
    """Settings from a job file."""
    text = read_text(path)
    try:
        return Job.from_toml(text)
    except JobError as error:
        raise JobError(f"{Path(path).name}: {error}", error.key) from None
