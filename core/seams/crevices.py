# SPDX-License-Identifier: GPL-3.0-or-later
"""Find the crevices of a carving: valleys of its surface in which a joint hides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from ..intake.base import mark_base
from ..mesh.mesh import BASE, Mesh
from .folding import fold_angles

FloatArray = NDArray[np.float64]

SCALE: Final = 0.02
"""Metres: half the width of a crevice that takes a joint well; common practice, no source."""

_SHARE_OF_SIZE: Final = 1.0 / 250.0
"""Of the diagonal: on a small figure crevices are smaller in proportion."""

FOLD: Final = np.radians(22.0)
"""Both walls of a crevice rise by this much or more, at the scale looked at: less is a hollow. Found on planted rocks
(tests/outside/planted_rocks.py), where it parts their grooves from their swelling with and without noise."""

FULL: Final = np.radians(45.0)
"""Walls that rise this much stand square to each other: full strength."""


@dataclass(frozen=True, eq=False)
class Crevices:
    """What `find_crevices` found.

    Attributes
    ----------
    strength : (n,) float32, 0 on flat, swelling or base surface to 1 in a valley whose walls meet at a right angle or
        closer.
    is_crevice : (n,) bool, for each vertex.
    lines : ordered points (k, 3) along each crevice, metres.
    scale : metres, the scale looked at.
    """

    strength: NDArray[np.float32]
    is_crevice: NDArray[np.bool_]
    lines: tuple[FloatArray, ...]
    scale: float


def default_scale(mesh: Mesh) -> float:
    """Scale at which to look for crevices, metres: `SCALE`, less on small figures, but no less than the edges are long.

    The middle length of the edges counts: a crevice as wide as one edge is not in the mesh.
    """
    if len(mesh.triangles) == 0:
        return SCALE
    size = float(np.linalg.norm(np.ptp(mesh.vertices, axis=0)))
    some = mesh.triangles[:: max(1, len(mesh.triangles) // 20_000)]
    edge = float(np.median(np.linalg.norm(mesh.vertices[some[:, 0]] - mesh.vertices[some[:, 1]], axis=1)))
    return max(edge, min(SCALE, size * _SHARE_OF_SIZE))


def find_crevices(mesh: Mesh, scale: float | None = None) -> Crevices:
    """Find the crevices of a carving.

    Parameters
    ----------
    mesh : closed, metres, z up. Where it stands on a flat base nothing on the base counts.
    scale : metres; None: see `default_scale`.

    Raises
    ------
    MeshError
        No triangles, or a scale that is no positive length.
    """
    if len(mesh.triangles) == 0:
        raise MeshError("the carving has no triangles in which to look for crevices")
    if scale is None:
        scale = default_scale(mesh)
    if not np.isfinite(scale) or scale <= 0.0:
        raise MeshError(f"crevices are looked for at a scale of {scale} m; give a positive length")
    if not (mesh.kind == BASE).any():
        mesh = mark_base(mesh)
    floor = mesh.triangles[mesh.kind == BASE]
    fold = fold_angles(mesh.vertices, mesh.triangles, scale, len(floor) > 0)
    fold[floor.reshape(-1)] = 0.0
    strength = np.clip(fold / np.float32(FULL), 0.0, 1.0)
    return Crevices(strength, fold >= FOLD, (), scale)
