# SPDX-License-Identifier: GPL-3.0-or-later
"""A block-up in the view: its billets as wire boxes, its glue lines where they come to the carving's surface."""

from __future__ import annotations

import hashlib
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from . import job_tree
from .core.blockup.plan import BlockUpPlan
from .core.job import Job
from .job_tree import JobCollection

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SUMMARY, STAMP, SURFACE = "blockup_summary", "blockup_stamp", "blockup_surface"
"""What a shown block-up takes, and fingerprints of the settings and of the carving that it was shown from."""

_CORNERS = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=np.float64)
_SIDES = np.array([[0, 1], [2, 3], [4, 5], [6, 7], [0, 2], [1, 3], [4, 6], [5, 7], [0, 4], [1, 5], [2, 6], [3, 7]])


def stamp(job: Job) -> str:
    """Of the settings that a block-up depends on."""
    return hashlib.sha1(repr((job.blockup, job.foam)).encode()).hexdigest()


def put_blockup(
    job: JobCollection, plan: BlockUpPlan, traces: tuple[FloatArray, FloatArray], scale_length: float
) -> Any:
    """The collection with objects for a block-up, in place of those that were there.

    Parameters
    ----------
    traces : starts and ends of the glue lines on the surface, (k, 3) metres each.
    """
    folder: Any = job_tree.ensure_folder(job, job_tree.BLOCKUP)
    for obj in list(folder.objects):
        job_tree.remove_object(obj)
    low, high = (np.array([getattr(billet, end) for billet in plan.billets]) for end in ("low", "high"))
    points = (low[:, None] + _CORNERS * (high - low)[:, None]).reshape(-1, 3)
    edges = (_SIDES + 8 * np.arange(len(low))[:, None, None]).reshape(-1, 2)
    folder.objects.link(_wire("billets", plan.layout.to_job(points), edges, scale_length))
    starts, ends = traces
    if len(starts):
        pairs = np.arange(2 * len(starts)).reshape(2, -1).T
        lines = _wire("glue lines", np.concatenate([starts, ends]), pairs, scale_length)
        lines.show_in_front = True
        folder.objects.link(lines)
    return folder


def _wire(name: str, points: FloatArray, edges: IntArray, scale_length: float) -> Any:
    """An object of edges alone, that is not rendered and not picked by a click."""
    data: Any = bpy.data.meshes.new(name)
    data.vertices.add(len(points))
    data.edges.add(len(edges))
    data.attributes["position"].data.foreach_set("vector", (points / scale_length).astype(np.float32).ravel())
    data.edges.foreach_set("vertices", edges.astype(np.int32).ravel())
    data.update()
    obj = bpy.data.objects.new(name, data)
    obj.display_type = "WIRE"
    obj.hide_render = True
    obj.hide_select = True
    return obj
