# SPDX-License-Identifier: GPL-3.0-or-later
"""What the skin of a piece weighs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..job import Job
from ..mesh.mesh import KIND_NAMES


def skin_mass(areas: NDArray[np.float64] | Sequence[float], job: Job) -> float:
    """Mass of the whole skin, kg.

    Parameters
    ----------
    areas : (4,) square metres by class: carved, joint, base, back. The exact area, not the covering area.
    job : its skin layers are read.

    Notes
    -----
    Each layer weighs its mass per square metre on the classes that it names; a class that no layer names stays bare.
    Edge returns are not weighed: their area needs the length of the rim, which the areas do not tell.
    """
    return float(sum(layer.areal_mass * layer_area(areas, layer.faces) for layer in job.skin.layers))


def layer_area(areas: NDArray[np.float64] | Sequence[float], faces: Sequence[str]) -> float:
    """Sum of the areas, (4,) square metres by class, over the classes named in `faces`."""
    return float(sum(float(areas[k]) for k, name in enumerate(KIND_NAMES) if name in faces))


def mass_per_area(job: Job, face: str) -> float:
    """Mass of all layers together on one class of face (``carved``, ``joint``, ``base``, ``back``), kg/m2."""
    return float(sum(layer.areal_mass for layer in job.skin.layers if face in layer.faces))
