# SPDX-License-Identifier: GPL-3.0-or-later
"""What one piece measures and weighs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from ..job import Job
from ..mesh.mass import mass_properties, triangle_areas
from ..mesh.mesh import KIND_NAMES, Mesh
from ..skin.depth import rim_depth, skin_depth
from ..skin.mass import mass_per_area, skin_mass
from ..skin.returns import return_areas, rough_return_areas
from ..skin.rims import find_rims
from .box import Box, any_pose_box, turned_boxes, upright_box
from .crew import crew_for
from .one_billet import by_size, foam_box

FloatArray = NDArray[np.float64]


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
    crew : least number of people for the finished mass, see `crew_for`; 0 where there is none.
    covering : (4,) square metres by class that the skin covers; empty: the exact areas.
    returns : square metres of edge return of each layer; empty: none.
    centre : (3,) of the finished piece, skin included, job coordinates, metres; empty: not worked out.
    foam_box : the box of foam that it is cut from, from large to small, metres, where pieces must come out of one
        billet of an unknown block-up; empty: not asked for.
    """

    volume: float
    centroid: tuple[float, float, float]
    areas: tuple[float, float, float, float]
    foam_mass: float
    skin_mass: float
    finished_mass: float
    box: tuple[float, float, float]
    crew: int
    covering: tuple[float, ...] = ()
    returns: tuple[float, ...] = ()
    centre: tuple[float, ...] = ()
    foam_box: tuple[float, ...] = ()

    @property
    def covered(self) -> tuple[float, ...]:
        """Square metres by class that the skin covers."""
        return self.covering or self.areas

    @property
    def balance(self) -> tuple[float, float, float]:
        """Where the finished piece balances; the foam's centroid where the skin's share is not known."""
        x, y, z = self.centre or self.centroid
        return x, y, z


def measure_piece(mesh: Mesh, job: Job, shares: FloatArray | None = None) -> PieceFigures:
    """Measure and weigh a piece, quickly: for candidates of which there are thousands.

    Parameters
    ----------
    mesh : a closed piece with the class of each triangle; metres, z up.
    job : foam, skin and limits are read.
    shares : (m,) share of each triangle's area that the skin covers, see `covering_shares`; None: all of it.

    Raises
    ------
    MeshError
        A mesh without triangles.

    Notes
    -----
    Edge returns are weighed by the length of the rim, a little too heavy; `measure_finished` has them exactly.
    The handling box keeps the piece's up unless ``limits.any_pose`` is set. Twice the thickest skin that lies on any
    of the piece's faces is added to each side of the bare box, so it is never too small on account of the skin. In any
    pose it is the smallest found, unless that one is over a size limit which the piece keeps upright, turned somehow.
    """
    _require(mesh)
    return _measure(mesh, job, shares, rough_return_areas(mesh, job), None, thorough=False)


def measure_finished(
    mesh: Mesh, job: Job, shares: FloatArray | None = None, joints: NDArray[np.int64] | None = None
) -> PieceFigures:
    """Measure and weigh a piece exactly: edge returns clipped to their faces, and where the finished piece balances.

    Parameters and errors as `measure_piece`.

    joints : (m,) a number for each triangle that is the same on all joint triangles of one joint, such as the source
        of a piece; None: joint triangles belong together where they lie in one plane.
    """
    _require(mesh)
    strips = return_areas(mesh, job, joints)
    return _measure(mesh, job, shares, strips, _skin_centre(mesh, job, shares, strips), thorough=True)


def _require(mesh: Mesh) -> None:
    if len(mesh.triangles) == 0:
        raise MeshError("a piece without triangles cannot be measured; leave it out")


def _measure(
    mesh: Mesh,
    job: Job,
    shares: FloatArray | None,
    strips: FloatArray,
    skin_centre: FloatArray | None,
    thorough: bool,
) -> PieceFigures:
    solid = mass_properties(mesh)
    single = triangle_areas(mesh)
    exact = _by_kind(mesh, single)
    covered = exact if shares is None else _by_kind(mesh, single * shares)
    returns = strips.sum(axis=1)
    grow = 2.0 * _thickest(exact, job)
    used = _used_vertices(mesh)
    foam = float(job.foam.density * solid.volume)
    skin = skin_mass(covered, job, returns)
    centre = None
    if skin_centre is not None:
        centre = _triple((foam * solid.centroid + skin * skin_centre) / (foam + skin))
    return PieceFigures(
        volume=float(solid.volume),
        centroid=_triple(solid.centroid),
        areas=(float(exact[0]), float(exact[1]), float(exact[2]), float(exact[3])),
        foam_mass=foam,
        skin_mass=skin,
        finished_mass=float(foam + skin),
        box=_handling_box(mesh, used, grow, job, thorough),
        crew=crew_for(foam + skin, job),
        covering=tuple(covered.tolist()),
        returns=tuple(returns.tolist()),
        centre=centre or (),
        foam_box=foam_box(used, mesh.corners(), job) if by_size(job) else (),
    )


def _handling_box(mesh: Mesh, used: FloatArray, grow: float, job: Job, thorough: bool) -> Box:
    """The smallest box; in any pose one that keeps the limits where the piece does upright and that one does not."""
    standing = upright_box(used, grow)
    if not job.limits.any_pose:
        return standing
    smallest = any_pose_box(used, mesh.corners(), grow, thorough, standing)
    limits = np.array(sorted(job.size_limit, reverse=True))
    if (np.array(smallest) <= limits).all():
        return smallest
    # Any pose that keeps the limits will do, and of those upright the one that is least.
    upright = np.concatenate([np.array([sorted(standing, reverse=True)]), turned_boxes(used, grow)])
    keeps = (upright <= limits).all(axis=1)
    if not keeps.any():
        return smallest
    return _triple(upright[keeps][np.argmin(upright[keeps].prod(axis=1))])


def _by_kind(mesh: Mesh, values: FloatArray) -> FloatArray:
    return np.array([values[mesh.kind == kind].sum() for kind in range(len(KIND_NAMES))])


def _skin_centre(mesh: Mesh, job: Job, shares: FloatArray | None, strips: FloatArray) -> FloatArray:
    """Centre of mass of the skin, (3,): layers where they lie, edge returns at the middle of the rims of their face."""
    weight = np.array([mass_per_area(job, name) for name in KIND_NAMES])[mesh.kind] * triangle_areas(mesh)
    if shares is not None:
        weight = weight * shares
    corners = mesh.corners()
    middle = (corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3.0
    moment, total = weight @ middle, float(weight.sum())
    turned_in = np.array([layer.areal_mass for layer in job.skin.layers]) @ strips if len(strips) else np.zeros(4)
    if turned_in.any():
        rims = find_rims(mesh)
        rows = np.arange(len(rims.triangle))
        triangles = mesh.triangles[rims.triangle]
        start = mesh.vertices[triangles[rows, rims.corner]]
        end = mesh.vertices[triangles[rows, (rims.corner + 1) % 3]]
        length = np.linalg.norm(end - start, axis=1)
        for kind in np.flatnonzero(turned_in).tolist():
            here = mesh.kind[rims.triangle] == kind
            along = length[here] @ (0.5 * (start + end))[here] / float(length[here].sum())
            moment, total = moment + turned_in[kind] * along, total + float(turned_in[kind])
    centre: FloatArray = moment / total if total > 0.0 else np.zeros(3)
    return centre


def _thickest(by_kind: FloatArray, job: Job) -> float:
    """Thickest skin on the classes of face that the piece has, metres; joint faces count with their rims."""
    depths = [
        rim_depth(job) if name == "joint" else skin_depth(job, name)
        for name, area in zip(KIND_NAMES, by_kind, strict=True)
        if area > 0.0
    ]
    return max(depths, default=0.0)


def _used_vertices(mesh: Mesh) -> FloatArray:
    """Vertices that a triangle uses: loose ones are no part of the piece."""
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[mesh.triangles.reshape(-1)] = True
    return mesh.vertices if used.all() else mesh.vertices[used]


def _triple(row: FloatArray) -> tuple[float, float, float]:
    return float(row[0]), float(row[1]), float(row[2])
