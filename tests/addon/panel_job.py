# SPDX-License-Identifier: GPL-3.0-or-later
"""A job by operators, for the tests that need one; the extension must be registered."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import bpy
import numpy as np
import pytest
import seamwright
from seamwright import convert, job_tree
from seamwright.core.mesh.mesh import Mesh
from shapes import rock

ops = bpy.ops.seamwright


DEPRECATED = pytest.mark.filterwarnings("ignore::DeprecationWarning")
"""Blender's own scripts warn of what they do themselves."""
WITH_EXTENSION = (pytest.mark.usefixtures("extension"), DEPRECATED)
"""What a module of such tests names as its `pytestmark`."""


def fresh() -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)


@contextmanager
def registered() -> Iterator[None]:
    """The extension in an empty file."""
    fresh()
    seamwright.register()
    try:
        yield
    finally:
        seamwright.unregister()


def scan(mesh: Mesh | None = None, name: str = "scan") -> bpy.types.Object:
    """A mesh object in the scene, active."""
    obj = convert.object_from_mesh(name, mesh or rock(4), scale_length=bpy.context.scene.unit_settings.scale_length)
    bpy.context.scene.collection.objects.link(obj)
    bpy.context.view_layer.objects.active = obj
    bpy.context.view_layer.update()
    return obj


def start(mesh: Mesh | None = None, parts: int = 3) -> bpy.types.Collection:
    """A job with joints at equal stations, not cut yet."""
    fresh()
    scan(mesh)
    assert ops.job_make() == {"FINISHED"}
    if parts > 1:
        assert ops.joints_equal(parts=parts) == {"FINISHED"}
    return job()


def job() -> bpy.types.Collection:
    found = job_tree.active_job(bpy.context)
    assert found is not None
    return found


def pieces() -> list[bpy.types.Object]:
    return job_tree.pieces(job())


def joints() -> list[bpy.types.Object]:
    return job_tree.joints(job())


def stale() -> list[str]:
    from seamwright import stamps, watch

    watch.take(job())
    return stamps.out_of_date(job(), bpy.context.scene.unit_settings.scale_length, watch.surface_now(job()))


def corners(obj: bpy.types.Object) -> np.ndarray:
    values = np.empty(len(obj.data.vertices) * 3, dtype=np.float32)
    obj.data.vertices.foreach_get("co", values)
    return values.reshape(-1, 3)


def tables(folder: Path) -> dict[str, bytes]:
    """Everything in a pack but the page, which holds pictures, and the Blender file."""
    skip = {"job.blend", "job-pack.html"}
    files = (path for path in sorted(folder.rglob("*")) if path.is_file() and path.name not in skip)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}
