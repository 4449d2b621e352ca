# SPDX-License-Identifier: GPL-3.0-or-later
"""A piece in people's hands and standing by itself: the plan and the figures behind the checks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..job import Job
from ..mesh.mesh import Mesh
from .carry import CarryPlan, Turning, plan_carry, turn_over
from .figures import PieceFigures
from .rectangle import least_rectangle
from .standing import Standing, stand


@dataclass(frozen=True, eq=False)
class Handled:
    """How a piece is carried, turned over and set down."""

    carry: CarryPlan
    turning: Turning
    standing: Standing


def handle(mesh: Mesh, figures: PieceFigures, job: Job) -> Handled:
    """Work out the handling of a piece with its up kept up.

    Parameters
    ----------
    mesh : the piece, metres, z up. figures : of `measure_finished`. job : limits are read.

    Notes
    -----
    A piece for which no crew is found is planned for as many people as the job has.
    """
    people = figures.crew or job.limits.crew
    plan = mesh.vertices[np.unique(mesh.triangles), :2]
    length, width, turn = least_rectangle(plan)
    grow = figures.box[0] - length if not job.limits.any_pose else 0.0
    height = float(np.ptp(mesh.vertices[mesh.triangles.ravel(), 2]))
    return Handled(
        plan_carry(plan, figures.balance, figures.finished_mass, people),
        turn_over(plan, figures.balance, figures.finished_mass, np.array([width + grow, height + grow, turn])),
        stand(mesh, figures.balance, figures.finished_mass),
    )
