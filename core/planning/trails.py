# SPDX-License-Identifier: GPL-3.0-or-later
"""Trails: what a joint may follow, by name, and which places lie on one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..blockup.glue_lines import GlueRectangles
from ..job import Job
from ..mesh.mesh import Mesh
from ..seams.crevices import find_crevices
from ..seams.glue import traces
from ..seams.marks import Marks
from ..seams.near import Segments, segments_of

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Trail:
    """Something a joint may follow.

    Attributes
    ----------
    name : for people, such as ``crevice 4``.
    starts, ends : (k, 3) metres, its segments.
    """

    name: str
    starts: FloatArray
    ends: FloatArray

    @classmethod
    def along(cls, name: str, line: FloatArray) -> Trail:
        """A trail along a polyline, (k, 3) metres."""
        return cls(name, *segments_of([line]))


def find_trails(
    mesh: Mesh,
    job: Job,
    lines: Sequence[FloatArray] | None = None,
    marks: Marks | None = None,
    glue: GlueRectangles | None = None,
) -> tuple[Trail, ...]:
    """What the joints of a job may follow, of the kinds that it names.

    Parameters
    ----------
    mesh : the carving.
    job : ``joints.seams`` is read.
    lines : crevices already found, (k, 3) each; None: they are looked for.
    marks : lines that the user marked. glue : glue lines that bind.
    """
    kinds = job.joints.seams
    out = []
    if "crevice" in kinds:
        found = find_crevices(mesh).lines if lines is None else lines
        out += [Trail.along(f"crevice {k + 1}", line) for k, line in enumerate(found)]
    if "marked" in kinds and marks is not None:
        out += [Trail.along(f"marked line {k + 1}", line) for k, line in enumerate(marks.lines)]
    if "glue line" in kinds and glue is not None and len(glue):
        out.append(Trail("the glue lines", *traces(glue, mesh)))
    return tuple(out)


def paint(points: FloatArray, trails: Sequence[Trail], tolerance: float) -> tuple[FloatArray, IntArray]:
    """Which points lie on a trail.

    Parameters
    ----------
    points : (n, 3) metres. tolerance : metres from a trail that still count as on it.

    Returns
    -------
    seam : (n,) 1 on a trail, 0 off it. trail : (n,) the nearest trail, -1 off them.
    """
    which = np.full(len(points), -1, dtype=np.int64)
    if trails:
        starts, ends = (np.concatenate([getattr(trail, name) for trail in trails]) for name in ("starts", "ends"))
        owner = np.repeat(np.arange(len(trails)), [len(trail.starts) for trail in trails])
        _, near = Segments(starts, ends, tolerance).nearest(points)
        which[near >= 0] = owner[near[near >= 0]]
    return (which >= 0).astype(np.float64), which
