# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints at equal stations along a carving."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..cutting.joint import Plane
from ..errors import CutError
from ..mesh.mesh import Mesh, bounds
from .axis import long_axis


def equal_stations(mesh: Mesh, slabs: int, along: ArrayLike | None = None) -> tuple[Plane, ...]:
    """Joints square to one direction that divide the carving's extent in it into equal slabs.

    Parameters
    ----------
    mesh : the carving, metres, z up; it may be open.
    slabs : number of equal parts, 2 or more.
    along : (3,) direction; None: the long side of the least rectangle round the plan.

    Returns
    -------
    tuple of Plane
        `slabs` - 1 joints, from low to high, the upper side ahead.
    """
    if slabs < 2:
        raise CutError(f"{slabs} equal parts need no joint; give 2 or more")
    if not len(mesh.triangles):
        raise CutError("the carving has no surface to cut; choose another, or add faces to it")
    axis = Plane((0.0, 0.0, 0.0), long_axis(mesh)[0] if along is None else along).normal
    reach = mesh.vertices @ axis
    start, length = float(reach.min()), float(np.ptp(reach))
    low, high = bounds(mesh.vertices)
    middle = (low + high) / 2.0
    across = middle - axis * float(middle @ axis)
    return tuple(Plane(across + axis * (start + length * k / slabs), axis) for k in range(1, slabs))
