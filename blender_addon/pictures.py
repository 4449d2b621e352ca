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
from .core.jobpack.page import SIGN_OFF
from .picture_scene import BARE, JOINTS, PictureScene
from .quiet import quiet

if TYPE_CHECKING:
    from .core.jobpack.record import JobResult

FRONT = (-0.42, 0.74, -0.52)
"""Looking direction of a picture: from the front, a little from the right and from above."""

BACK = (0.42, -0.74, -0.45)
"""The same from behind."""

VIEWS = (
    ("1-the-whole-carving", "the whole carving", FRONT, 0.0, False, ""),
    ("2-pieces-moved-apart", "the pieces moved apart", FRONT, 0.45, False, ""),
    ("3-from-above", "the carving from above", (0.0, 0.0, -1.0), 0.0, True, ""),
    (f"{SIGN_OFF}-1-from-the-front-with-joints", "from the front with joints", FRONT, 0.0, False, JOINTS),
    (f"{SIGN_OFF}-2-from-the-front-without-joints", "from the front without joints", FRONT, 0.0, False, BARE),
    (f"{SIGN_OFF}-3-from-behind-with-joints", "from behind with joints", BACK, 0.0, False, JOINTS),
    (f"{SIGN_OFF}-4-from-behind-without-joints", "from behind without joints", BACK, 0.0, False, BARE),
)
"""Of each picture: name, words, looking direction, how far apart, whether a parallel view, and how it is dressed: with
numbers, or for the client's eye with `JOINTS` marked or `BARE`."""


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
        for number, (name, text, direction, apart, parallel, dress) in enumerate(VIEWS):
            if progress is not None:
                progress(number / len(VIEWS), f"picture: {text}")
            scene.show(direction, apart, parallel, dress)
            path = Path(folder) / f"{number}.png"
            scene.render(path)
            pictures[name] = bare_png(path.read_bytes())
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
