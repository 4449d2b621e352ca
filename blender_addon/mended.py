# SPDX-License-Identifier: GPL-3.0-or-later
"""A mended copy of a scan: its triangles keep UV maps, colours, materials and zones of those that they come from."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import bpy
import numpy as np

from . import convert
from .carving_source import Snapshot, make_ready
from .core.cutting.result import FROM_CARVING, Body
from .core.errors import Progress
from .core.intake.mend import Recipe
from .core.intake.prepare import prepare
from .core.intake.remesh import Remesher
from .core.job import Job
from .core.seams.marks import PLAIN
from .corner_layers import Layers, PieceLayers, piece_layers, write_layers
from .surface_marks import ZONE


@dataclass(frozen=True, eq=False)
class Mended:
    """A mended scan as arrays; what is left to do needs Blender.

    Attributes
    ----------
    notes : what was mended, as sentences; empty where nothing was.
    """

    notes: tuple[str, ...]
    arrays: convert.MeshArrays
    layers: PieceLayers


def mend(
    carving: Snapshot,
    job: Job,
    recipe: Recipe,
    layers: Layers,
    scale_length: float,
    progress: Progress | None = None,
    remesher: Remesher | None = None,
) -> Mended:
    """Mend a scan and find out what each triangle takes over; Blender is not asked unless `remesher` does.

    Parameters
    ----------
    layers : what the scan carries, for the triangles of `carving`.

    Notes
    -----
    What mending made has UV 0, the colour of sawn foam and the first material. A new skin is made altogether: none of
    its triangles comes from one of the scan's.
    """
    ready = make_ready(carving, job)
    intake = prepare(ready.mesh, base=job.carving.base, recipe=recipe, remesher=remesher, progress=progress)
    scan = np.full(len(intake.source), -1, dtype=np.int64)
    held = intake.source >= 0
    scan[held] = ready.scan[intake.source[held]]
    body = Body(intake.mesh, np.arange(len(scan)), np.full(len(scan), FROM_CARVING, dtype=np.uint8))
    taken = piece_layers(body, intake.mesh, scan, layers, intake.turned)
    arrays = convert.mesh_arrays(intake.mesh, scale_length=scale_length)
    if carving.marks.zones is not None:
        zones = np.where(held, carving.marks.zones[scan], PLAIN)[convert.whole_triangles(intake.mesh)]
        arrays = replace(arrays, numbers={**arrays.numbers, ZONE: zones.astype(np.int32)})
    return Mended(intake.notes, arrays, taken)


def mended_object(name: str, scan: Any, made: Mended, layers: Layers) -> bpy.types.Object:
    """A new object of a mended scan, linked to no collection yet."""
    data: Any = convert.mesh_data(name, made.arrays)
    for slot in layers.slots:
        data.materials.append(bpy.data.materials.get(slot) if slot else None)
    write_layers(data, layers, made.layers)
    obj = bpy.data.objects.new(name, data)
    if ZONE in scan:
        obj[ZONE] = scan[ZONE]
    return obj
