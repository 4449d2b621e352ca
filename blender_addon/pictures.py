# SPDX-License-Identifier: GPL-3.0-or-later
"""Pictures of a finished job: the carving with its joints, its pieces moved apart, and from above.

Rendered by Cycles on the processor alone, so that no display and no graphics card is needed. The file that is open in
Blender is put aside: a picture is made in an empty one.
"""

from __future__ import annotations

import struct
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import bpy

from .core.errors import Progress
from .core.jobpack.shots import shots
from .picture_scene import HEIGHT, WIDTH, PictureScene
from .quiet import quiet

if TYPE_CHECKING:
    from .core.jobpack.record import JobResult


def render_pictures(result: JobResult, progress: Progress | None = None) -> dict[str, bytes]:
    """PNG pictures of the job by name, in the order in which they should be shown.

    Parameters
    ----------
    result : a finished job with at least one piece.
    progress : called before each picture.

    Notes
    -----
    The names become captions. Nothing of the machine (path, clock, name) is written into a PNG.
    """
    pictures: dict[str, bytes] = {}
    with quiet(), tempfile.TemporaryDirectory() as folder:
        bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
        scene = PictureScene(result)
        for _ in scene.add_pieces(result):
            pass
        wanted = shots(result, HEIGHT / WIDTH)
        for number, shot in enumerate(wanted):
            if progress is not None:
                progress(number / len(wanted), f"picture: {shot.words}")
            scene.show(shot)
            path = Path(folder) / f"{number}.png"
            scene.render(path)
            pictures[shot.name] = bare_png(path.read_bytes())
    return pictures


def bare_png(png: bytes) -> bytes:
    """The PNG without its texts and clock: Cycles writes render times into it. Pixels stay as they are."""
    kept = [png[:8]]
    at = 8
    while at < len(png):
        (length,) = struct.unpack(">I", png[at : at + 4])
        if png[at + 4 : at + 8] not in (b"tEXt", b"zTXt", b"iTXt", b"tIME", b"eXIf"):
            kept.append(png[at : at + 12 + length])
        at += 12 + length
    return b"".join(kept)
