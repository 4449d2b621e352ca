# SPDX-License-Identifier: GPL-3.0-or-later
"""The block-up of a carving in the scene, and where its glue lines come to the surface."""

from __future__ import annotations

from dataclasses import dataclass

from .carving_source import Snapshot, solid
from .core.blockup.plan import BlockUpPlan, plan_blockup
from .core.errors import InputError, Progress
from .core.job import Job
from .core.mesh.mesh import FloatArray
from .core.seams.glue import traces


@dataclass(frozen=True, eq=False)
class BlockUpFound:
    """A block-up, and starts and ends of its glue lines on the carving's surface, (k, 3) metres each."""

    plan: BlockUpPlan
    traces: tuple[FloatArray, FloatArray]


def block_up(carving: Snapshot, job: Job, progress: Progress) -> BlockUpFound:
    """The block-up that the settings ask for, of the carving as the whole job would take it.

    Raises
    ------
    InputError
        Nothing is known of the block-up, or the carving's size can only be a mistake.
    MeshError, JobError
        The carving is no solid, or the settings do not go together.
    """
    progress(0.0, "looking at the carving")
    ready = solid(carving, job)
    plan = plan_blockup(ready, job, lambda share, text: progress(0.1 + 0.8 * share, text))
    if plan is None:
        raise InputError("nothing is known of the block-up; say in the Block-up panel how it was or will be built")
    progress(0.9, "glue lines on the surface")
    return BlockUpFound(plan, traces(plan.glue, ready))
