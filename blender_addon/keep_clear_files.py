# SPDX-License-Identifier: GPL-3.0-or-later
"""The files of keep-clear bodies, taken along when a job's settings are written to another folder."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path, PurePath
from typing import NamedTuple

import bpy

from .core.clearance.job_bodies import files_of
from .core.intake.ply_write import ply_bytes
from .core.job import Job
from .core.mesh.mesh import Mesh
from .keep_clear import Here, for_job


class Along(NamedTuple):
    """Settings as they are to be written, and what goes with them.

    Attributes
    ----------
    job : the settings; an object chosen in the scene stands in them as a body with a file of its own.
    files : name of a file beside JOB.toml -> its bytes.
    behind : what does not go along, sentences.
    """

    job: Job
    files: dict[str, bytes]
    behind: tuple[str, ...]


def take_along(job: Job, here: Here, target: Path) -> Along:
    """What JOB.toml in the folder `target` needs beside it; nothing is written.

    Raises
    ------
    OSError
        A body's file cannot be read.
    """
    if here.held is not None:
        named, meshes, _ = for_job(job, here)
        (body,) = named.keep_clear.bodies
        file = f"{bpy.path.clean_name(here.held.name)}.ply"
        bodies = (replace(body, file=file),)
        mesh: Mesh = next(iter(meshes.values()))
        named = replace(named, keep_clear=replace(named.keep_clear, bodies=bodies))
        return _kept(Along(named, {file: ply_bytes(mesh)}, ()), target)
    files: dict[str, bytes] = {}
    behind = []
    for file in files_of(job.keep_clear):
        source = Path(here.folder) / file
        if PurePath(file).is_absolute() or ".." in PurePath(file).parts:
            behind.append(f"{file} is named from elsewhere and stays there")
        elif not here.folder or not source.is_file():
            behind.append(f"{file} was not found and does not go along")
        elif (target / file).resolve() != source.resolve():
            files[file] = source.read_bytes()
    return _kept(Along(job, files, tuple(behind)), target)


def _kept(along: Along, target: Path) -> Along:
    """Without files that are there already; one that differs is not written over, and that is said."""
    files, behind = {}, list(along.behind)
    for file, data in along.files.items():
        there = target / file
        if not there.exists():
            files[file] = data
        elif not there.is_file() or there.read_bytes() != data:
            behind.append(f"another {file} is there already and was left as it is")
    return Along(along.job, files, tuple(behind))


def write_along(along: Along, target: Path) -> None:
    """Write the files into the folder."""
    for file, data in along.files.items():
        path = target / file
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
