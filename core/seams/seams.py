# SPDX-License-Identifier: GPL-3.0-or-later
"""The seams of a job: crevices that are found, lines that the user marked, glue lines of the block-up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..blockup.glue_lines import GlueRectangles
from ..cutting.joint import Joint
from ..cutting.result import CutResult
from ..job import Job
from ..mesh.mesh import Mesh
from .crevices import Crevices, find_crevices
from .glue import traces
from .index import CREVICE, GLUE_LINE, MARKED, SEAM_NAMES, SeamIndex
from .judge import JointSeams, Surroundings, judge_joints
from .marks import Marks, Viewpoint
from .near import segments_of

FOLLOWED = 0.005
"""Metres: a joint nearer to a glue line than this follows it even where the gap is less; a wire is guided so truly."""


@dataclass(frozen=True, eq=False)
class Seams:
    """All seams that count in a job, and what the user says of the surface.

    Attributes
    ----------
    crevices : what was found; None where the job does not count them.
    index : all seams. chance : share of the carved surface within the tolerance of one.
    glue : glue lines that bind.
    zones : (m,) uint8 for each triangle of the carving.
    viewpoints : from where it is looked at.
    """

    crevices: Crevices | None
    index: SeamIndex
    chance: float
    glue: GlueRectangles
    zones: NDArray[np.uint8]
    viewpoints: tuple[Viewpoint, ...]


def find_seams(
    mesh: Mesh,
    job: Job,
    marks: Marks | None = None,
    glue: GlueRectangles | None = None,
    scan: NDArray[np.int64] | None = None,
) -> Seams:
    """Find what the joints of a job may follow, of the kinds that it names.

    Parameters
    ----------
    mesh : the carving as it is cut.
    job : its joints are read.
    marks : lines, zones and viewpoints; None: none.
    glue : glue lines that bind; None: none.
    scan : (m,) the triangle as it was given that each one is, for zones; None: the same.
    """
    marks = marks or Marks()
    glue = glue or GlueRectangles.none()
    wanted = [SEAM_NAMES.index(name) for name in job.joints.seams]
    crevices = find_crevices(mesh) if CREVICE in wanted else None
    found = {}
    if crevices is not None:
        found[CREVICE] = segments_of(crevices.lines)
    if MARKED in wanted:
        found[MARKED] = segments_of(marks.lines)
    if GLUE_LINE in wanted:
        found[GLUE_LINE] = traces(glue, mesh)
    index = SeamIndex(found, job.joints.seam_tolerance)
    zones = marks.zone_of(len(mesh.triangles), scan)
    return Seams(crevices, index, index.chance(mesh), glue, zones, marks.viewpoints)


def check_joints(
    seams: Seams, mesh: Mesh, job: Job, joints: Sequence[Joint], result: CutResult, gap: float
) -> tuple[JointSeams, ...]:
    """Hold the joints of a cut against the seams; one answer for each joint."""
    around = Surroundings(
        mesh, seams.index, seams.glue, seams.zones, seams.viewpoints, max(gap, FOLLOWED), job.joints.sliver, gap
    )
    return judge_joints(around, joints, result.lines, result.pieces)
