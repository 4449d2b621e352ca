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
from .near import Segments, segments_of
from .ridges import link, ridge
from .valleys import Around, bridged, line_length, smoothed

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

SCALE: Final = 0.02
"""Metres: half the width of a crevice that takes a joint well; common practice, no source."""

_SHARE_OF_SIZE: Final = 1.0 / 200.0
"""Of the diagonal: on a small figure crevices are smaller in proportion."""

FOLD: Final = np.radians(22.0)
"""Both walls of a crevice rise by this much or more, at the scale looked at: less is a hollow. Found on planted rocks
(tests/outside/planted_rocks.py), where it parts their grooves from their swelling with and without noise."""

BAND: Final = 1.22
"""Scales: vertices so near to the bottom of a crevice lie in it. A joint anywhere in there is hidden by its walls."""

_UNSURE: Final = 0.1
"""Edges by which the band is narrower: no mesh tells a bottom more truly than to a part of an edge."""

_SHORTEST: Final = 5.0
"""Scales: a shorter fold is a dent, which hides no joint."""

_EDGE: Final = 0.9
"""Scale to the middle length of the edges, at least: a crevice as wide as one edge is not in the mesh."""

FULL: Final = np.radians(90.0)
"""Walls that rise this much face each other, as in a slit: full strength."""


@dataclass(frozen=True, eq=False)
class Crevices:
    """What `find_crevices` found.

    Attributes
    ----------
    strength : (n,) float32, from 0 on flat, swelling or base surface to 1 in a slit with walls face to face; 0.5 in a
        valley whose walls meet at a right angle.
    is_crevice : (n,) bool, for each vertex: it lies within about `BAND` of a line.
    lines : ordered points (k, 3) along the bottom of each crevice, metres; a closed one repeats its first point. The
        longest comes first.
    lengths, depths : of each line, metres; the depth is what a ruler laid across would show.
    scale : metres, the scale looked at.
    """

    strength: NDArray[np.float32]
    is_crevice: NDArray[np.bool_]
    lines: tuple[FloatArray, ...]
    lengths: FloatArray
    depths: FloatArray
    scale: float


def default_scale(mesh: Mesh) -> float:
    """Scale at which to look for crevices, metres: `SCALE`, less on small figures, more where edges are long."""
    if len(mesh.triangles) == 0:
        return SCALE
    size = float(np.linalg.norm([np.ptp(column) for column in mesh.vertices.T]))
    wanted = max(_EDGE * _usual_edge(mesh), min(SCALE, size * _SHARE_OF_SIZE))
    # Two digits: scans of the same thing are looked at alike.
    return float(f"{wanted:.1e}") if wanted > 0.0 else SCALE


def _usual_edge(mesh: Mesh) -> float:
    """Middle length of some thousand edges, metres."""
    some = mesh.triangles[:: max(1, len(mesh.triangles) // 20_000)]
    return float(np.median(np.linalg.norm(mesh.vertices[some[:, 0]] - mesh.vertices[some[:, 1]], axis=1)))


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
    lines, depths, beside = _lines(mesh, fold, scale)
    band = max(BAND * scale - _UNSURE * _usual_edge(mesh), 0.5 * scale)
    away, _ = Segments(*segments_of(lines), band).nearest(mesh.vertices[beside])
    inside = np.zeros(len(mesh.vertices), dtype=bool)
    inside[beside] = np.isfinite(away)
    inside[floor.reshape(-1)] = False
    return Crevices(strength, inside, tuple(lines), np.array([line_length(line) for line in lines]), depths, scale)


def _lines(mesh: Mesh, fold: NDArray[np.float32], scale: float) -> tuple[list[FloatArray], FloatArray, IntArray]:
    """Lines along the bottoms of crevices, the longest first, their depths, and the vertices that lie about them."""
    found = ridge(mesh.vertices, fold, scale)
    sharp = [chain for chain in link(found, scale) if np.median(found.fold[chain]) >= FOLD]
    lines = bridged([smoothed(found.points[chain]) for chain in sharp], scale)
    lines = [line for line in lines if line_length(line) >= _SHORTEST * scale]
    if not lines:
        return [], np.zeros(0), np.zeros(0, dtype=np.int64)
    around = Around(mesh, lines, scale)
    laid, depths = around.laid()
    order = sorted(range(len(laid)), key=lambda i: -line_length(laid[i]))
    return [laid[i] for i in order], depths[order], around.rows
