# SPDX-License-Identifier: GPL-3.0-or-later
"""What the skin of a piece weighs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..job import Job
from ..mesh.mesh import KIND_NAMES

Areas = NDArray[np.float64] | Sequence[float]


def skin_mass(areas: Areas, job: Job, returns: Areas | None = None) -> float:
    """Mass of the whole skin, kg.

    Parameters
    ----------
    areas : (4,) square metres by class that are covered: carved, joint, base, back.
    job : its skin layers are read.
    returns : (layers,) square metres of edge return of each layer; None: no returns are weighed.

    Notes
    -----
    Each layer weighs its mass per square metre on the classes that it names and on its edge return; a class that no
    layer names stays bare.
    """
    strips = np.zeros(len(job.skin.layers)) if returns is None else np.asarray(returns, dtype=np.float64)
    return float(
        sum(
            layer.areal_mass * (layer_area(areas, layer.faces) + float(strip))
            for layer, strip in zip(job.skin.layers, strips, strict=True)
        )
    )


def layer_area(areas: Areas, faces: Sequence[str]) -> float:
    """Sum of the areas, (4,) square metres by class, over the classes named in `faces`."""
    return float(sum(float(areas[k]) for k, name in enumerate(KIND_NAMES) if name in faces))


def mass_per_area(job: Job, face: str) -> float:
    """Mass of all layers together on one class of face (``carved``, ``joint``, ``base``, ``back``), kg/m2."""
    return float(sum(layer.areal_mass for layer in job.skin.layers if face in layer.faces))
