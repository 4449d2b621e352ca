# SPDX-License-Identifier: GPL-3.0-or-later
"""What one piece measures and weighs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from ..job import Job
from ..mesh.mass import areas, mass_properties
from ..mesh.mesh import KIND_NAMES, Mesh
from ..skin.depth import rim_depth, skin_depth
from ..skin.mass import skin_mass
from .box import any_pose_box, upright_box
from .crew import crew_for


@dataclass(frozen=True)
class PieceFigures:
    """Measures of a piece.

    Attributes
    ----------
    volume : cubic metres of foam, after the gap.
    centroid : (3,) of the foam, job coordinates, metres.
    areas : (4,) exact square metres by class: carved, joint, base, back.
    foam_mass, skin_mass, finished_mass : kg; finished = foam + skin.
    box : length, width, height of the handling box, metres, skin included; length at least width.
    crew : least number of people whose team limit covers the finished mass; 0 where none up to the job's crew does.
    """

    volume: float
    centroid: tuple[float, float, float]
    areas: tuple[float, float, float, float]
    foam_mass: float
    skin_mass: float
    finished_mass: float
    box: tuple[float, float, float]
    crew: int


def measure_piece(mesh: Mesh, job: Job) -> PieceFigures:
    """Measure and weigh a piece.

    Parameters
    ----------
    mesh : a closed piece with the class of each triangle; metres, z up.
    job : foam, skin and limits are read.

    Raises
    ------
    MeshError
        A mesh without triangles.

    Notes
    -----
    The handling box keeps the piece's up unless ``limits.any_pose`` is set. Twice the thickest skin that lies on any
    of the piece's faces is added to each side of the bare box, so it is never too small on account of the skin.
    """
    if len(mesh.triangles) == 0:
        raise MeshError("a piece without triangles cannot be measured; leave it out")
    solid = mass_properties(mesh)
    by_kind = np.asarray(areas(mesh), dtype=np.float64)
    grow = 2.0 * _thickest(by_kind, job)
    used = _used_vertices(mesh)
    foam = job.foam.density * solid.volume
    skin = skin_mass(by_kind, job)
    return PieceFigures(
        volume=float(solid.volume),
        centroid=_triple(solid.centroid),
        areas=(float(by_kind[0]), float(by_kind[1]), float(by_kind[2]), float(by_kind[3])),
        foam_mass=float(foam),
        skin_mass=skin,
        finished_mass=float(foam + skin),
        box=any_pose_box(used, mesh.corners(), grow) if job.limits.any_pose else upright_box(used, grow),
        crew=crew_for(float(foam + skin), job),
    )


def _thickest(by_kind: NDArray[np.float64], job: Job) -> float:
    """Thickest skin on the classes of face that the piece has, metres; joint faces count with their rims."""
    depths = [
        rim_depth(job) if name == "joint" else skin_depth(job, name)
        for name, area in zip(KIND_NAMES, by_kind, strict=True)
        if area > 0.0
    ]
    return max(depths, default=0.0)


def _used_vertices(mesh: Mesh) -> NDArray[np.float64]:
    """Vertices that a triangle uses: loose ones are no part of the piece."""
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[mesh.triangles.reshape(-1)] = True
    return mesh.vertices if used.all() else mesh.vertices[used]


def _triple(row: NDArray[np.float64]) -> tuple[float, float, float]:
    return float(row[0]), float(row[1]), float(row[2])
