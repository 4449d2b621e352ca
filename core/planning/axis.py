# SPDX-License-Identifier: GPL-3.0-or-later
"""Which way a carving lies."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..handling.rectangle import least_rectangle
from ..mesh.mesh import Mesh

FloatArray = NDArray[np.float64]


def long_axis(mesh: Mesh) -> tuple[FloatArray, FloatArray]:
    """Level unit directions along and across the least rectangle round the plan of a mesh, (3,) each.

    Along points to +x, or to +y where it has no x.
    """
    _, _, turn = least_rectangle(mesh.vertices[:, :2])
    along = np.array([math.cos(turn), math.sin(turn), 0.0])
    along[np.abs(along) < 1e-12] = 0.0
    if along[0] < 0.0 or (along[0] == 0.0 and along[1] < 0.0):
        along = -along
    return along, np.array([-along[1], along[0], 0.0])
