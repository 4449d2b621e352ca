# SPDX-License-Identifier: GPL-3.0-or-later
"""The bodies of a closed mesh: which are solid, which are hollows within another, which are inside out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..errors import MeshError
from ..mesh.mesh import FloatArray, IntArray, Mesh
from ..mesh.topology import components

_CHUNK: Final = 1 << 16


@dataclass(frozen=True, eq=False)
class Bodies:
    """Connected bodies.

    Attributes
    ----------
    label : (m,) int64, body of each triangle.
    volume : (b,) cubic metres, negative for hollows and bodies that are inside out.
    """

    label: IntArray
    volume: FloatArray


def find_bodies(mesh: Mesh) -> Bodies:
    """Bodies of a closed mesh (not checked), in the order of their first triangles."""
    label = components(mesh.triangles)
    count = int(label.max(initial=-1)) + 1
    size = np.zeros(count)
    middle = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) if len(mesh.vertices) else np.zeros(3)
    for start in range(0, len(label), _CHUNK):
        some = label[start : start + _CHUNK]
        corners = mesh.vertices[mesh.triangles[start : start + _CHUNK]] - middle
        box = np.einsum("ij,ij->i", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
        size += np.bincount(some, weights=box, minlength=count) / 6.0
    return Bodies(label, size)


def _boxes(mesh: Mesh, bodies: Bodies) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest corner of the box round each body, (b, 3) metres."""
    low, high = np.full((len(bodies.volume), 3), np.inf), np.full((len(bodies.volume), 3), -np.inf)
    for axis in range(3):
        place = mesh.vertices[:, axis][mesh.triangles]
        np.minimum.at(low[:, axis], bodies.label, place.min(axis=1))
        np.maximum.at(high[:, axis], bodies.label, place.max(axis=1))
    return low, high


def require_outward(mesh: Mesh) -> None:
    """Let only pass where each body that encloses negative volume is a hollow within another body.

    Parameters
    ----------
    mesh : closed; every vertex used.

    Raises
    ------
    MeshError
        A body is inside out; the message says where.
    """
    bodies = find_bodies(mesh)
    negative = np.flatnonzero(bodies.volume < 0.0).tolist()
    if not negative:
        return
    low, high = _boxes(mesh, bodies)
    for row in negative:
        triangle = int(np.flatnonzero(bodies.label == row)[0])
        point = mesh.vertices[mesh.triangles[triangle, 0]]
        around = np.flatnonzero((low <= low[row]).all(axis=1) & (high >= high[row]).all(axis=1))
        around = around[(around != row) & (bodies.volume[around] > 0.0)]
        if not len(around) or _winding(mesh, np.isin(bodies.label, around), point) < 0.5:
            middle = 0.5 * (low[row] + high[row])
            raise MeshError(
                f"body {row} of {len(bodies.volume)} is inside out: {-bodies.volume[row]:.3g} m3 round "
                f"({', '.join(f'{x:.4g}' for x in middle.tolist())}), and lies in no other body as a hollow. "
                "Turn its normals outwards in the program that made it"
            )


def _winding(mesh: Mesh, use: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], point: FloatArray) -> float:
    """How often the triangles wind round a point: 1 inside, 0 outside.

    Sum of the signed solid angles of the triangles over 4 pi, each after A. van Oosterom and J. Strackee, IEEE
    Transactions on Biomedical Engineering 30(2), 1983, p. 125.
    """
    total = 0.0
    rows = np.flatnonzero(use)
    for start in range(0, len(rows), _CHUNK):
        a, b, c = np.moveaxis(mesh.vertices[mesh.triangles[rows[start : start + _CHUNK]]] - point, 1, 0)
        la, lb, lc = (np.linalg.norm(side, axis=1) for side in (a, b, c))
        over = np.einsum("ij,ij->i", a, np.cross(b, c))
        ab, bc, ca = (np.einsum("ij,ij->i", p, q) for p, q in ((a, b), (b, c), (c, a)))
        total += float(np.arctan2(over, la * lb * lc + ab * lc + bc * la + ca * lb).sum())
    return total / (2.0 * np.pi)
