# SPDX-License-Identifier: GPL-3.0-or-later
"""The Mesh value: triangles with shared vertices and a class for each triangle."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import MeshError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
KindArray = NDArray[np.uint8]

CARVED: Final = 0  # outer carved surface
JOINT: Final = 1  # made by a joint
BASE: Final = 2  # resting on the floor
BACK: Final = 3  # unseen by the user's word
KIND_NAMES: Final = ("carved", "joint", "base", "back")


class Mesh:
    """Triangles with shared vertices; a value: its arrays cannot be written to.

    Parameters
    ----------
    vertices : (n, 3) float64, metres.
    triangles : (m, 3) int64, counter-clockwise seen from outside.
    kind : (m,) uint8, class of each triangle (0 carved, 1 joint, 2 base, 3 back); all carved when left out.

    Raises
    ------
    MeshError
        Wrong shapes, an index out of range, a coordinate that is not a finite number, an unknown class.

    Notes
    -----
    Arrays of the right type are looked at through a read-only view, not copied: do not write to them afterwards. Others
    are converted. Nothing is welded, turned or mended.
    """

    __slots__ = ("kind", "triangles", "vertices")

    vertices: FloatArray
    triangles: IntArray
    kind: KindArray

    def __init__(self, vertices: ArrayLike, triangles: ArrayLike, kind: ArrayLike | None = None) -> None:
        v = np.ascontiguousarray(vertices, dtype=np.float64)
        t = np.asarray(triangles)
        if v.size == 0:
            v = v.reshape(0, 3)
        if t.size == 0:
            t = np.zeros((0, 3), dtype=np.int64)
        if v.ndim != 2 or v.shape[1] != 3:
            raise MeshError(f"vertices have shape {v.shape}; give one row of x, y, z for each vertex")
        if t.ndim != 2 or t.shape[1] != 3:
            raise MeshError(f"triangles have shape {t.shape}; give one row of three vertex numbers for each triangle")
        if t.dtype.kind not in "iu":
            raise MeshError(f"triangles hold {t.dtype} values; give whole vertex numbers")
        t = np.ascontiguousarray(t, dtype=np.int64)
        if len(t) and (int(t.min()) < 0 or int(t.max()) >= len(v)):
            row = int(np.flatnonzero(((t < 0) | (t >= len(v))).any(axis=1))[0])
            raise MeshError(f"triangle {row} names vertex {t[row].tolist()}, but there are {len(v)} vertices")
        if not np.isfinite(v.sum()) and not np.isfinite(v).all():
            row = int(np.flatnonzero(~np.isfinite(v).all(axis=1))[0])
            raise MeshError(f"vertex {row} has a coordinate that is not a finite number: {v[row].tolist()}")
        k = np.zeros(len(t), dtype=np.uint8) if kind is None else np.asarray(kind)
        if k.shape != (len(t),):
            raise MeshError(f"kind has shape {k.shape}; give one class for each of the {len(t)} triangles")
        if len(k) and (k.min() < 0 or k.max() >= len(KIND_NAMES)):
            raise MeshError("kind holds a class outside 0 carved, 1 joint, 2 base, 3 back")
        k = np.ascontiguousarray(k, dtype=np.uint8)
        self.vertices, self.triangles, self.kind = v.view(), t.view(), k.view()
        for array in (self.vertices, self.triangles, self.kind):
            array.flags.writeable = False

    def __repr__(self) -> str:
        return f"Mesh({len(self.vertices)} vertices, {len(self.triangles)} triangles)"

    @property
    def size(self) -> FloatArray:
        """Extent along x, y and z, (3,) metres; zeros for an empty mesh."""
        if len(self.vertices) == 0:
            return np.zeros(3)
        low, high = bounds(self.vertices)
        return high - low

    def corners(self) -> FloatArray:
        """Corner coordinates of each triangle, (m, 3, 3): triangle, corner, axis; metres."""
        return self.vertices[self.triangles]


def bounds(points: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Least and greatest coordinates of points, (n, 3), at least one; (3,) each.

    Column by column: numpy reduces a long thin array along its length ten times slower.
    """
    return np.array([column.min() for column in points.T]), np.array([column.max() for column in points.T])


SINGLE_REACH: Final = 100.0
"""Metres from the origin within which single precision tells places 8 micrometres apart or nearer."""


def in_single(mesh: Mesh) -> Mesh:
    """The mesh with its coordinates as single precision holds them; far from the origin as it is.

    What decides between nearly equal choices looks at this one, so that a carving held in Blender, whose meshes are
    single precision, is decided upon as the same carving in a file.
    """
    if np.abs(mesh.vertices).max(initial=0.0) > SINGLE_REACH:
        return mesh
    return Mesh(mesh.vertices.astype(np.float32), mesh.triangles, mesh.kind)
