# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures and the Blender file of a job pack, made beside the file that is open and taken out of it again."""

from __future__ import annotations

import gzip
import os
import tempfile
from collections.abc import Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import bpy

from .core.errors import Cancelled
from .core.jobpack.record import JobResult
from .core.jobpack.shots import shots
from .job_tree import JobCollection
from .long_work import Step, beside
from .picture_scene import HEIGHT, WIDTH, PictureScene, whole_arrays
from .pictures import bare_png
from .quiet import quiet

KINDS = ("scenes", "objects", "meshes", "curves", "cameras", "lights", "worlds", "materials", "images", "collections")


@contextmanager
def _borrowed() -> Iterator[bpy.types.Scene]:
    """A scene of its own; everything that is made while it stands is taken out again."""
    before = {kind: set(getattr(bpy.data, kind)) for kind in KINDS}
    try:
        yield bpy.data.scenes.new("seamwright pictures")
    finally:
        # Blender is still rendering it: better left over than taken from under the renderer.
        for kind in () if _rendering() else KINDS:
            held = getattr(bpy.data, kind)
            for block in [block for block in held if block not in before[kind]]:
                held.remove(block)


def pictures(result: JobResult, low: float, high: float, wait: bool) -> Generator[Step, None, dict[str, bytes]]:
    """Steps of taking the pictures; ends with PNG by name. With `wait` each is rendered at once."""
    out: dict[str, bytes] = {}
    wanted, whole = shots(result, HEIGHT / WIDTH), None
    if any(shot.dress for shot in wanted):
        whole = yield from beside(lambda progress: whole_arrays(result), low, low, wait)
    yield Step(low, "arranging the pictures", locked=True)
    with tempfile.TemporaryDirectory() as folder, _borrowed() as scene:
        with _in(scene):
            stage = PictureScene(result, whole)
            pieces = stage.add_pieces(result)
        while (share := _next(scene, pieces)) is not None:
            yield Step(low + 0.2 * (high - low) * share, "arranging the pictures", locked=True)
        low += 0.2 * (high - low)
        for number, shot in enumerate(wanted):
            step = Step(low + (high - low) * number / len(wanted), f"picture: {shot.words}", locked=True)
            path = Path(folder) / f"{number}.png"
            steps = stage.showing(shot)
            while _next(scene, steps) is not None:
                yield step
            if wait:
                with _in(scene), quiet():
                    stage.render(path)
            else:
                yield from _render_beside(scene, path, step._replace(idle=True))
            if not path.is_file():
                raise Cancelled("stopped while a picture was rendered; nothing was written")
            out[shot.name] = bare_png(path.read_bytes())
    return out


def _next(scene: bpy.types.Scene, steps: Iterator[float]) -> float | None:
    """One step in the pictures' scene; None after the last. Blender's own scene stands between steps."""
    with _in(scene):
        return next(steps, None)


@contextmanager
def _in(scene: bpy.types.Scene) -> Iterator[None]:
    with bpy.context.temp_override(scene=scene, view_layer=scene.view_layers[0]):
        yield


def _rendering() -> bool:
    app: Any = bpy.app
    return bool(app.is_job_running("RENDER"))


def _render_beside(scene: bpy.types.Scene, path: Path, step: Step) -> Iterator[Step]:
    """Render as Blender's own job, without its window and with a core left over, so that the interface goes on."""
    scene.render.threads_mode, scene.render.threads = "FIXED", max(1, (os.cpu_count() or 2) - 1)
    view = bpy.context.preferences.view
    shown, view.render_display_type = view.render_display_type, "NONE"
    scene.render.filepath = str(path)
    try:
        bpy.ops.render.render("INVOKE_DEFAULT", write_still=True, scene=scene.name)
        yield step
        while _rendering():
            yield step
    finally:
        view.render_display_type = shown


def blend(job: JobCollection, path: Path) -> None:
    """Write the job as a Blender file of its own, not compressed: a scene with the collection and what it needs."""
    scene: Any = bpy.data.scenes.new("Scene")
    try:
        settings, here = scene.unit_settings, bpy.context.scene.unit_settings
        settings.system, settings.scale_length = here.system, here.scale_length
        settings.length_unit = here.length_unit
        scene.collection.children.link(job)
        scene.seamwright.job = job
        scene.render.filepath = "//"
        # Blender 5.2 falls over a scene that it has never evaluated.
        scene.view_layers[0].update()
        if job.seamwright.carving is not None:
            job.seamwright.carving.hide_set(True, view_layer=scene.view_layers[0])
        bpy.data.libraries.write(str(path), {scene}, path_remap="RELATIVE_ALL")
    finally:
        bpy.data.scenes.remove(scene)


def compressed(contents: bytes) -> bytes:
    """A Blender file as gzip, which Blender opens as it is; unlike its own compression this can go on beside it."""
    return gzip.compress(contents, 1, mtime=0)
