# SPDX-License-Identifier: GPL-3.0-or-later
"""Volume, centroid, inertia and areas of a mesh."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .mesh import KIND_NAMES, Mesh, bounds

FloatArray = NDArray[np.float64]

_CHUNK: Final = 1 << 15
"""Triangles worked on at a time: a few megabytes of scratch, which stays in the processor's cache."""


@dataclass(frozen=True, eq=False)
class MassProperties:
    """What a closed mesh weighs and where, for density 1.

    Attributes
    ----------
    volume : cubic metres; negative for a mesh that is inside out.
    centroid : (3,) metres, in the mesh's own frame.
    inertia : (3, 3) m5, the inertia tensor about the centroid along the frame's axes (products with a minus sign).
    """

    volume: float
    centroid: FloatArray
    inertia: FloatArray


def _middle(vertices: FloatArray) -> FloatArray:
    """Middle of the bounding box, (3,): integrals are taken about it, so that they do not lose digits far away."""
    low, high = bounds(vertices)
    return 0.5 * low + 0.5 * high


def _chunks(mesh: Mesh, origin: FloatArray) -> Iterator[FloatArray]:
    """Corners relative to `origin`, chunk by chunk: (3 axes, 3 corners, k)."""
    x, y, z = (np.ascontiguousarray(mesh.vertices[:, axis]) for axis in range(3))
    for start in range(0, len(mesh.triangles), _CHUNK):
        rows = np.ascontiguousarray(mesh.triangles[start : start + _CHUNK].T)
        yield np.stack((x[rows] - origin[0], y[rows] - origin[1], z[rows] - origin[2]))


def _boxes(corners: FloatArray) -> FloatArray:
    """Six times the signed volume of origin and triangle, (k,)."""
    (ax, bx, cx), (ay, by, cy), (az, bz, cz) = corners
    boxes: FloatArray = ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    return boxes


def volume(mesh: Mesh) -> float:
    """Signed volume in cubic metres: positive when the triangles face outwards.

    Means something only where the mesh is closed (an open one gives a number that depends on the frame).
    """
    if len(mesh.triangles) == 0:
        return 0.0
    origin = _middle(mesh.vertices)
    return math.fsum(float(_boxes(corners).sum()) for corners in _chunks(mesh, origin)) / 6.0


def mass_properties(mesh: Mesh) -> MassProperties:
    """Volume, centroid and inertia of the solid within a closed mesh, density 1.

    Parameters
    ----------
    mesh : closed and consistently wound (not checked here); metres, any frame, any distance from the origin.

    Returns
    -------
    MassProperties
        Without triangles all zeros. Where the volume is exactly zero the centroid is the middle of the box.

    Notes
    -----
    Signed tetrahedra between the middle of the box and each triangle; the moments of a tetrahedron are exact
    polynomials of its corners (F. Tonon, Journal of Mathematics and Statistics 1(1), 2005, p. 8). Sums are pairwise
    within a chunk and correctly rounded over the chunks.
    """
    if len(mesh.triangles) == 0:
        return _frozen(0.0, np.zeros(3), np.zeros((3, 3)))
    origin = _middle(mesh.vertices)
    rows: list[list[float]] = []
    for corners in _chunks(mesh, origin):
        box = _boxes(corners)
        total = corners.sum(axis=1)
        row = [float(box.sum())]
        row += [float((box * total[i]).sum()) for i in range(3)]
        for i, j in ((0, 0), (1, 1), (2, 2), (1, 2), (0, 2), (0, 1)):
            moment = (corners[i] * corners[j]).sum(axis=0) + total[i] * total[j]
            row.append(float((box * moment).sum()))
        rows.append(row)
    sums = [math.fsum(column) for column in zip(*rows, strict=True)]
    size = sums[0] / 6.0
    xx, yy, zz, yz, xz, xy = (value / 120.0 for value in sums[4:])
    second = np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
    shift = np.array(sums[1:4]) / (4.0 * sums[0]) if sums[0] != 0.0 else np.zeros(3)
    second -= size * np.outer(shift, shift)
    return _frozen(size, origin + shift, np.trace(second) * np.eye(3) - second)


def _frozen(size: float, centroid: FloatArray, inertia: FloatArray) -> MassProperties:
    centroid.flags.writeable = False
    inertia.flags.writeable = False
    return MassProperties(size, centroid, inertia)


def triangle_areas(mesh: Mesh) -> FloatArray:
    """Area of each triangle, (m,) square metres."""
    result = np.empty(len(mesh.triangles))
    start = 0
    for corners in _chunks(mesh, np.zeros(3)):
        p, q = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
        x = p[1] * q[2] - p[2] * q[1]
        y = p[2] * q[0] - p[0] * q[2]
        z = p[0] * q[1] - p[1] * q[0]
        end = start + corners.shape[2]
        result[start:end] = 0.5 * np.sqrt(x * x + y * y + z * z)
        start = end
    return result


def corner_areas(corners: FloatArray) -> FloatArray:
    """Area of each triangle given by its corners (m, 3, 3), metres; (m,) square metres."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    p, q = (b - a).T, (c - a).T
    x = p[1] * q[2] - p[2] * q[1]
    y = p[2] * q[0] - p[0] * q[2]
    z = p[0] * q[1] - p[1] * q[0]
    result: FloatArray = np.sqrt(x * x + y * y + z * z) / 2.0
    return result


def areas(mesh: Mesh) -> FloatArray:
    """Area by class, (4,) square metres: carved, joint, base, back."""
    single = triangle_areas(mesh)
    return np.array([single[mesh.kind == kind].sum() for kind in range(len(KIND_NAMES))])
