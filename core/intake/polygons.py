# SPDX-License-Identifier: GPL-3.0-or-later
"""Faces with any number of corners into triangles, without new vertices."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from ..mesh.mesh import FloatArray, IntArray
from ..mesh.triangulate import triangulate_loops

_FLAT: Final = 1e-9
"""A fan triangle under this share of its face's area (or over, turned the wrong way) makes the fan a bad one."""
_WIDE: Final = 1 << 20
"""Fan triangles tried at a time, so that a face of many corners does not fill the memory."""


@dataclass(frozen=True, eq=False)
class Fans:
    """Triangles of faces.

    Attributes
    ----------
    triangles : (m, 3) int64 vertex numbers, face by face.
    face : (m,) int64, the face that each triangle comes from.
    split : faces of four or more corners.
    concave : those of them that no fan covers, split as a flat outline instead.
    folded : those that even so overlap themselves: their outline crosses or doubles back.
    """

    triangles: IntArray
    face: IntArray
    split: int
    concave: int
    folded: int

    def notes(self) -> tuple[str, ...]:
        """What was done, as sentences."""
        if not self.split:
            return ()
        text = f"{self.split} faces with four or more corners were split into triangles"
        if self.concave:
            text += f"; {self.concave} of them are concave or strongly bent"
        if self.folded:
            text += f"; {self.folded} of them cross themselves and were split as they are"
        return (text,)


def split_faces(points: FloatArray, counts: IntArray, corners: IntArray) -> Fans:
    """Split faces into triangles.

    Parameters
    ----------
    points : (n, 3) vertices.
    counts : (f,) number of corners of each face, 3 or more.
    corners : (sum of counts,) vertex numbers, face by face.

    Notes
    -----
    A face is fanned from the corner whose worst triangle is best: the triangle's area along the face's own normal
    (Newell's) is compared, so that for a concave or bent quad the diagonal inside is taken. Where no corner sees the
    whole face, it is laid flat along that normal and triangulated there.
    """
    begins = np.cumsum(counts) - counts
    triangles: list[IntArray] = []
    faces: list[IntArray] = []
    concave = folded = 0
    for count in np.unique(counts).tolist():
        rows = np.flatnonzero(counts == count)
        step = max(1, _WIDE // (count * count))
        for start in range(0, len(rows), step) if count > 3 else (0,):
            some = rows[start : start + step] if count > 3 else rows
            loops = corners[begins[some][:, None] + np.arange(count)]
            if count == 3:
                made, bad = loops[:, None, :], np.zeros(len(loops), dtype=bool)
            else:
                made, bad = _fan(points, loops)
            for at in np.flatnonzero(bad).tolist():
                flat = _lay_flat(points, loops[at])
                concave += 1
                folded += flat is None
                if flat is not None:
                    made[at] = flat
            triangles.append(made.reshape(-1, 3))
            faces.append(np.repeat(some, count - 2))
    if not triangles:
        return Fans(np.zeros((0, 3), dtype=np.int64), np.zeros(0, dtype=np.int64), 0, 0, 0)
    face = np.concatenate(faces)
    order = np.argsort(face, kind="stable")
    return Fans(np.concatenate(triangles)[order], face[order], int(np.count_nonzero(counts > 3)), concave, int(folded))


def _fan(points: FloatArray, loops: IntArray) -> tuple[IntArray, NDArray[np.bool_]]:
    """Best fan of each loop of k corners, (f, k - 2, 3), and which of them do not cover their face."""
    faces, count = loops.shape
    place = points[loops] - points[loops[:, :1]]
    normal = _newell(place)
    size = np.linalg.norm(normal, axis=1)
    best = np.full(faces, -np.inf)
    start = np.zeros(faces, dtype=np.int64)
    for first in range(count):
        turned = np.roll(place, -first, axis=1)
        arms = turned[:, 1:] - turned[:, :1]
        area = np.einsum("fki,fi->fk", np.cross(arms[:, :-1], arms[:, 1:]), normal).min(axis=1)
        better = area > best * (1.0 + np.copysign(1e-12, best))  # equal but for rounding: the first corner stays
        best[better], start[better] = area[better], first
    turned_loops = loops[np.arange(faces)[:, None], (start[:, None] + np.arange(count)) % count]
    fans = np.empty((faces, count - 2, 3), dtype=np.int64)
    fans[:, :, 0] = turned_loops[:, :1]
    fans[:, :, 1] = turned_loops[:, 1:-1]
    fans[:, :, 2] = turned_loops[:, 2:]
    return fans, best < _FLAT * size * size


def _newell(place: FloatArray) -> FloatArray:
    """Twice the area vector of each loop, (f, 3)."""
    normal: FloatArray = np.cross(place, np.roll(place, -1, axis=1)).sum(axis=1)
    return normal


def _lay_flat(points: FloatArray, loop: IntArray) -> IntArray | None:
    """Triangles (k - 2, 3) of one loop laid flat along its normal; None where its outline is not a simple one."""
    if len(np.unique(loop)) < len(loop):
        return None
    place = points[loop] - points[loop[0]]
    normal = _newell(place[None])[0]
    if not normal.any():
        return None
    drop = int(np.abs(normal).argmax())
    keep = [(drop + 1) % 3, (drop + 2) % 3]
    flat = place[:, keep] if normal[drop] > 0 else place[:, keep[::-1]]
    edges = np.stack([np.arange(len(loop)), np.roll(np.arange(len(loop)), -1)], axis=1)
    try:
        made = triangulate_loops(np.ascontiguousarray(flat), edges)
    except MeshError:
        return None
    if len(made) != len(loop) - 2:
        return None
    p, q = flat[made[:, 1]] - flat[made[:, 0]], flat[made[:, 2]] - flat[made[:, 0]]
    turned_over = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0] < -_FLAT * np.abs(normal).max()
    return None if turned_over.any() else loop[made]
