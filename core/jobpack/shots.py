# SPDX-License-Identifier: GPL-3.0-or-later
"""Which pictures a job pack has: from where, how far apart the pieces are, and how the carving is dressed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..seams.marks import Viewpoint
from .record import JobResult
from .view_fit import View

SIGN_OFF: Final = "sign-off"
"""How the names of pictures begin that the client signs."""

JOINTS: Final = "joints"
BARE: Final = "bare"
"""How a picture for the client's eye is dressed: with the joints' lines, or without anything."""

FRONT: Final = (-0.42, 0.74, -0.52)
"""Looking direction of a picture: from the front, a little from the right and from above."""

BACK: Final = (0.42, -0.74, -0.45)
"""The same from behind."""

MOST_VIEWPOINTS: Final = 4
"""Viewpoints that get their two pictures: each picture takes seconds, and the page is to stay one that is read."""


@dataclass(frozen=True, eq=False)
class Shot:
    """A picture to take.

    Attributes
    ----------
    name : becomes the caption. words : the same for the progress bar.
    direction : (3,) looking direction of a camera that has everything in its picture. parallel : a parallel view.
    apart : how far the pieces are moved from the middle.
    dress : empty: pieces with their numbers and a scale bar; `JOINTS` or `BARE`: the uncut carving.
    view : the camera itself, where it is a viewpoint of the job; the direction does not count then.
    """

    name: str
    words: str
    direction: tuple[float, float, float] = FRONT
    apart: float = 0.0
    parallel: bool = False
    dress: str = ""
    view: View | None = None


def shots(result: JobResult, aspect: float) -> tuple[Shot, ...]:
    """Pictures of a job, in the order in which they stand on the page.

    Parameters
    ----------
    aspect : height over width of a picture.

    Notes
    -----
    The client signs what the public sees: from the job's viewpoints where it has some, else from front and back.
    """
    out = [
        Shot("1-the-whole-carving", "the whole carving"),
        Shot("2-pieces-moved-apart", "the pieces moved apart", apart=0.45),
        Shot("3-from-above", "the carving from above", (0.0, 0.0, -1.0), parallel=True),
    ]
    looks: list[tuple[str, tuple[float, float, float], View | None]] = [
        (f"from {view.name}", FRONT, camera(view, aspect)) for view in viewpoints(result)
    ]
    looks = looks or [("from the front", FRONT, None), ("from behind", BACK, None)]
    for number, (words, direction, view) in enumerate(looks):
        for half, dress in enumerate((JOINTS, BARE)):
            said = f"{words} {'with' if dress == JOINTS else 'without'} joints"
            out.append(Shot(f"{SIGN_OFF}-{2 * number + half + 1}-{said}", said, direction, dress=dress, view=view))
    return tuple(out)


def viewpoints(result: JobResult) -> tuple[Viewpoint, ...]:
    """The job's viewpoints that get pictures."""
    return () if result.seams is None else result.seams.viewpoints[:MOST_VIEWPOINTS]


def camera(viewpoint: Viewpoint, aspect: float) -> View:
    """The camera of a viewpoint, for a picture of another shape: all that the viewpoint sees is in it."""
    axes = np.column_stack([np.cross(viewpoint.ahead, viewpoint.up), viewpoint.up, -viewpoint.ahead])
    return View(axes, np.asarray(viewpoint.eye), max(viewpoint.wide, viewpoint.high / aspect), aspect, False)
