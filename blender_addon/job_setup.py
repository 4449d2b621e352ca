# SPDX-License-Identifier: GPL-3.0-or-later
"""Setting up a job: its collection, its carving, its settings; and taking in jobs from elsewhere."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import bpy

from . import job_tree
from .core.errors import SeamwrightError
from .core.job import Job
from .job_tree import JobCollection
from .properties import settings_link
from .properties.job import VERSION


def make_job(
    context: bpy.types.Context, carving: bpy.types.Object, settings: Job, title: str | None = None
) -> JobCollection:
    """A new job in the scene, shown by the panels; the carving is linked into it and stays where it was too."""
    settings = replace(settings, title=title) if title and title.strip() else settings
    job: JobCollection = bpy.data.collections.new(settings.title)
    job[job_tree.MADE_BY] = job_tree.MAKER
    context.scene.collection.children.link(job)
    for holds in job_tree.FOLDERS:
        job_tree.ensure_folder(job, holds)
    job_tree.folder(job, job_tree.CARVING).objects.link(carving)
    group = job.seamwright
    group.is_job, group.version = True, VERSION
    group.carving = carving
    take_settings(job, settings, context.scene.unit_settings.scale_length)
    scene: Any = context.scene
    scene.seamwright.job = job
    return job


def take_settings(job: JobCollection, settings: Job, unit_scale: float) -> str:
    """Give a job its settings; returns what to add to the report.

    Objects in a scene stand in the scene's units with z up; what a file says of its own unit and axis is for reading
    that file.
    """
    upright = replace(settings, carving=replace(settings.carving, unit=1.0, up="z"))
    settings_link.load(job.seamwright, upright, unit_scale)
    return (
        "" if upright == settings else "; unit and up are for reading files, objects in a scene stand in metres, z up"
    )


def adopt() -> None:
    """Jobs of a file that was written without the extension become jobs; those of older versions are brought up."""
    job: JobCollection
    for job in bpy.data.collections:
        group = job.seamwright
        if group.is_job or job.get(job_tree.MADE_BY) != job_tree.MAKER or job.library is not None:
            continue
        try:
            settings = Job.from_toml(str(job.get("settings", "")))
        except SeamwrightError:
            continue
        group.is_job, group.version = True, VERSION
        take_settings(job, settings, 1.0)
        held = job_tree.folder(job, job_tree.CARVING)
        if held is not None and len(held.objects) == 1:
            group.carving = held.objects[0]


def on_load(*_: Any) -> None:
    """After a file was opened."""
    adopt()


on_load = bpy.app.handlers.persistent(on_load)
