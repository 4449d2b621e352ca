# SPDX-License-Identifier: GPL-3.0-or-later
"""Rims: where faces of two classes meet, and the joint, base and back faces of a piece laid flat."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..mesh.mesh import CARVED, FloatArray, IntArray, Mesh
from ..mesh.topology import components

_FLAT: Final = 1e-3
"""Share of a face's length that it may be out of flat, or of its area that may be lost as it is laid flat, before it
counts as curved: a floor is flat to 0.1 mm, a joint exactly."""

_ASKEW: Final = np.array([(0.36, 0.48, 0.8), (0.8, -0.6, 0.0)])
"""Directions, of length 1, square to each other, that axes in a plane are taken from: no usual edge lies along one."""

_SLANT: Final = 0.01
"""Least square of what of the first such direction lies in a plane; else the second is taken."""


@dataclass(frozen=True, eq=False)
class Rims:
    """Edges of joint, base and back triangles at which the class changes.

    Attributes
    ----------
    triangle : (k,) the triangle, never a carved one, whose edge it is; an edge between two such stands here twice.
    corner : (k,) the corner where the edge begins.
    other : (k,) class on the other side.
    """

    triangle: IntArray
    corner: IntArray
    other: IntArray


def find_rims(mesh: Mesh) -> Rims:
    """Rims of a closed mesh. Only edges of triangles that are not carved are looked at, so it is quick."""
    rows = np.flatnonzero(mesh.kind != CARVED)
    triangles = mesh.triangles[rows]
    low = np.minimum(triangles, triangles[:, (1, 2, 0)]).ravel()
    high = np.maximum(triangles, triangles[:, (1, 2, 0)]).ravel()
    keys = low * max(len(mesh.vertices), 1) + high
    order = np.argsort(keys, kind="stable")
    same = np.flatnonzero(keys[order[1:]] == keys[order[:-1]])
    other = np.full(len(keys), CARVED, dtype=np.int64)
    kind = np.repeat(mesh.kind[rows].astype(np.int64), 3)
    one, two = order[same], order[same + 1]
    other[one], other[two] = kind[two], kind[one]
    edge = np.flatnonzero(other != kind)
    return Rims(rows[edge // 3], edge % 3, other[edge])


def rim_lengths(mesh: Mesh, rims: Rims | None = None) -> FloatArray:
    """Length of rim between two classes, (4, 4) metres, symmetric; the diagonal is 0."""
    rims = find_rims(mesh) if rims is None else rims
    length = np.linalg.norm(np.subtract(*_ends(mesh, rims.triangle, rims.corner)), axis=1)
    table = np.zeros((4, 4))
    np.add.at(table, (mesh.kind[rims.triangle], rims.other), length)
    return np.maximum(table, table.T)


def _ends(mesh: Mesh, triangle: IntArray, corner: IntArray) -> tuple[FloatArray, FloatArray]:
    rows = mesh.triangles[triangle]
    place = np.arange(len(rows))
    return mesh.vertices[rows[place, corner]], mesh.vertices[rows[place, (corner + 1) % 3]]


@dataclass(frozen=True, eq=False)
class Face:
    """One connected face of one class, of one joint where it is a joint face.

    Attributes
    ----------
    kind : its class.
    triangles : (m,) its triangles in the piece.
    outline : (k, 2, 2) its border laid flat, metres; empty where it cannot be laid flat.
    rim : (r, 2, 2) those edges of its border that are rims, laid flat; empty likewise.
    edges : (r, 2, 3) the same in space.
    other : (r,) class on the other side of each.
    """

    kind: int
    triangles: IntArray
    outline: FloatArray
    rim: FloatArray
    edges: FloatArray
    other: IntArray

    @property
    def flat(self) -> bool:
        """Whether it could be laid flat without stretching."""
        return len(self.outline) > 0


def find_faces(mesh: Mesh, joints: IntArray | None = None, rims: Rims | None = None) -> list[Face]:
    """Joint, base and back faces of a piece.

    Parameters
    ----------
    mesh : closed piece.
    joints : (m,) a number for each triangle that is the same on all joint triangles of one joint; None: joint triangles
        belong together where they lie in one plane.
    rims : of the same mesh, where the caller has them.
    """
    rims = find_rims(mesh) if rims is None else rims
    rows = np.flatnonzero(mesh.kind != CARVED)
    if len(rows) == 0:
        return []
    label = _labels(mesh, rows, joints)
    of_triangle = np.full(len(mesh.triangles), -1)
    of_triangle[rows] = label
    a, b = _ends(mesh, rims.triangle, rims.corner)
    edges, whose = np.stack((a, b), axis=1), of_triangle[rims.triangle]
    faces = []
    order = np.argsort(label, kind="stable")
    for own in np.split(rows[order], np.flatnonzero(np.diff(label[order])) + 1):
        here = np.flatnonzero(whose == of_triangle[own[0]])
        outline, rim = _laid_flat(mesh, own, rims.triangle[here], rims.corner[here])
        faces.append(Face(int(mesh.kind[own[0]]), own, outline, rim, edges[here], rims.other[here]))
    return faces


def _labels(mesh: Mesh, rows: IntArray, joints: IntArray | None) -> IntArray:
    """Number the faces: connected, of one class and, on joints, of one joint (or of one plane)."""
    kind = mesh.kind[rows].astype(np.int64)
    group = kind << 32
    on_joint = kind == 1
    if joints is not None:
        group[on_joint] += np.asarray(joints, dtype=np.int64)[rows[on_joint]] + 1
    else:
        corners = mesh.vertices[mesh.triangles[rows[on_joint]]]
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        size = np.linalg.norm(normals, axis=1)
        unit = normals / np.where(size > 0.0, size, 1.0)[:, None]
        _, plane = np.unique(np.round(unit * 1e5).astype(np.int64), axis=0, return_inverse=True)
        group[on_joint] += plane.ravel() + 1
    labels = np.zeros(len(rows), dtype=np.int64)
    count = 0
    for number in np.unique(group):
        at = np.flatnonzero(group == number)
        found = components(mesh.triangles[rows[at]])
        labels[at] = found + count
        count += int(found.max()) + 1
    return labels


def _laid_flat(mesh: Mesh, own: IntArray, triangle: IntArray, corner: IntArray) -> tuple[FloatArray, FloatArray]:
    """Border and rim of a face in its own plane; of a joint face that is bent along one straight direction, unrolled.

    The direction is the one that the normals have least of; square to it the face is a line, along which lengths are
    added up.
    """
    used, place = np.unique(mesh.triangles[own], return_inverse=True)
    rows = place.reshape(-1, 3)
    points = mesh.vertices[used] - mesh.vertices[used].mean(axis=0)
    corners = points[rows]
    vectors = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(vectors, axis=1)
    unit = vectors / np.where(size > 0.0, size, 1.0)[:, None]
    _, axes = np.linalg.eigh((vectors * 0.5).T @ unit)
    wire, across, up = axes.T * np.copysign(1.0, _ASKEW[0] @ axes)[:, None]
    h = points @ up
    bent = bool(np.ptp(h) > _FLAT * np.ptp(points, axis=0).max())
    if not bent:
        # In a plane the normals have no least direction but by rounding, and axes taken from them would turn with it.
        aside = max((axis - (axis @ up) * up for axis in _ASKEW), key=lambda axis: axis @ axis > _SLANT)
        across = aside / np.linalg.norm(aside)
        wire = np.cross(up, across)
    u, v = points @ across, points @ wire
    if bent:
        order = np.lexsort((h, u))
        run = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(u[order]), np.diff(h[order])))))
        u = np.empty(len(run))
        u[order] = run
    flat = np.stack((u, v), axis=1)
    p, q, r = (flat[rows[:, k]] for k in range(3))
    doubled = np.abs((q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0]))
    if abs(float(doubled.sum()) - float(size.sum())) > _FLAT * float(size.sum()):
        return np.zeros((0, 2, 2)), np.zeros((0, 2, 2))
    starts, ends = rows.ravel(), rows[:, (1, 2, 0)].ravel()
    keys = np.minimum(starts, ends) * len(used) + np.maximum(starts, ends)
    _, first, count = np.unique(keys, return_index=True, return_counts=True)
    border = first[count == 1]
    outline = np.stack((flat[starts[border]], flat[ends[border]]), axis=1)
    ring = mesh.triangles[triangle]
    at = np.arange(len(ring))
    a = np.searchsorted(used, ring[at, corner])
    b = np.searchsorted(used, ring[at, (corner + 1) % 3])
    return outline, np.stack((flat[a], flat[b]), axis=1)
