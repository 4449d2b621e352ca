# SPDX-License-Identifier: GPL-3.0-or-later
"""Carry what the carving has on its triangles' corners over to a piece: texture places, colours, anything."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from ..mesh.carry import carry as carry_corners
from ..mesh.carry import corner_weights
from ..mesh.mesh import Mesh
from .result import FROM_CARVING, Body

FloatArray = NDArray[np.float64]


def corner_shares(carving: Mesh, body: Body) -> FloatArray:
    """Place of each corner of a body in its source triangle.

    Parameters
    ----------
    carving : the mesh that was cut, metres.
    body : a piece of it.

    Returns
    -------
    (m, 3, 3) float64: triangle, corner, share of each corner of the source triangle. Shares are 0 to 1 and add up to 1;
    of a corner that is a corner of its source they are exactly 1, 0, 0 in some order. Rows of joint faces made by the
    cut are zero.
    """
    out = np.zeros((len(body.source), 3, 3))
    rows = np.flatnonzero(body.origin == FROM_CARVING)
    source = carving.vertices[carving.triangles[body.source[rows]]]
    out[rows] = corner_weights(body.mesh.vertices[body.mesh.triangles[rows]], source)
    return out


def carry(carving: Mesh, body: Body, values: FloatArray, fill: float = 0.0) -> FloatArray:
    """Values on the corners of a body from values on the corners of the carving.

    Parameters
    ----------
    carving : the mesh that was cut. body : a piece of it.
    values : (m, 3, k) or (m, 3), one row for each corner of each triangle of the carving.
    fill : value on joint faces made by the cut.

    Returns
    -------
    As `values`, for the triangles of the body, float64.

    Raises
    ------
    MeshError
        The values do not fit the carving.
    """
    given = np.asarray(values, dtype=np.float64)
    if given.shape[:2] != (len(carving.triangles), 3) or given.ndim not in (2, 3):
        count = len(carving.triangles)
        raise MeshError(f"values have shape {given.shape}; give one for each corner of {count} triangles")
    flat = given.reshape(len(given), 3, -1)
    out = np.full((len(body.source), 3, flat.shape[2]), fill)
    rows = np.flatnonzero(body.origin == FROM_CARVING)
    out[rows] = carry_corners(flat[body.source[rows]], corner_shares(carving, body)[rows])
    return out.reshape(len(out), 3, *given.shape[2:])
