# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether a point lies in a body, and how near it is to the skin."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from .mesh import Mesh, bounds

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
ByteArray = NDArray[np.uint8]


def crossings(vertices: FloatArray, triangles: IntArray, point: FloatArray) -> tuple[IntArray, IntArray]:
    """Triangles that a ray from the point along +x crosses, and +1 where it leaves through them, -1 where it enters.

    Parameters
    ----------
    vertices : (n, 3) metres. triangles : (m, 3). point : (3,) metres.

    Notes
    -----
    A corner exactly level with the ray counts as just under it, for every triangle alike, so a ray through an edge or
    a corner is counted once.
    """
    rows = straddling(levels(vertices[:, 1], vertices[:, 2], point), triangles)
    hit, turn = crossed(vertices[triangles[rows]], triangles[rows], point)
    return rows[hit], turn


def levels(y: FloatArray, z: FloatArray, point: FloatArray) -> ByteArray:
    """A word for each vertex, (n,): two bits for y, two for z, each telling under or over the point."""
    over: ByteArray = (y > point[1]).view(np.uint8) + np.uint8(1)
    over |= ((z > point[2]).view(np.uint8) + np.uint8(1)) << np.uint8(2)
    return over


def straddling(level: ByteArray, triangles: IntArray) -> IntArray:
    """Triangles with corners under and over the point in y and in z, by the `levels` of all vertices."""
    word = level[triangles[:, 0]]
    word |= level[triangles[:, 1]]
    word |= level[triangles[:, 2]]
    return np.flatnonzero(word == 15)


def crossed(corner: FloatArray, t: IntArray, point: FloatArray) -> tuple[IntArray, IntArray]:
    """Which of some triangles, given by their corners, (m, 3, 3) and (m, 3), a ray from the point crosses, and turns.

    As `crossings`.
    """
    # Each edge is crossed by the level y at one place, worked out from its lower to its higher vertex number.
    a, b = t, np.roll(t, -1, axis=1)
    corner = corner - point
    after = np.roll(corner, -1, axis=1)
    forth = (a < b)[..., None]
    p, q = np.where(forth, corner, after), np.where(forth, after, corner)
    cut = (p[..., 1] > 0.0) != (q[..., 1] > 0.0)
    run = np.where(cut, p[..., 1] - q[..., 1], 1.0)
    z = p[..., 2] + (p[..., 1] / run) * (q[..., 2] - p[..., 2])
    right = cut & (z > 0.0)
    hit = np.flatnonzero(right.sum(axis=1) == 1)
    corner = corner[hit]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    height = (normal * corner[:, 0]).sum(axis=1)
    ahead = (normal[:, 0] != 0.0) & (height * np.sign(normal[:, 0]) > 0.0)
    # Which way its edge above the ray runs says which way the triangle faces, without a division.
    falling = np.where(after[hit, :, 1] > 0.0, -1, 1)
    turn = np.where(right[hit], falling, 0).sum(axis=1)
    return hit[ahead], turn[ahead].astype(np.int64)


def encloses(mesh: Mesh, point: FloatArray) -> bool:
    """Whether a closed mesh goes round the point."""
    return bool(crossings(mesh.vertices, mesh.triangles, point)[1].sum() > 0)


_FACES: Final = 8
"""Largest triangles under which the inside of a thin body is looked for."""


def distance_within(mesh: Mesh, point: FloatArray, reach: float) -> float:
    """Distance from the point to the skin, metres; `reach` where nothing is nearer than that."""
    word = np.zeros(len(mesh.vertices), dtype=np.uint8)
    for axis in range(3):
        x = mesh.vertices[:, axis]
        word |= ((x >= point[axis] - reach).view(np.uint8) << (2 * axis)).astype(np.uint8)
        word |= ((x <= point[axis] + reach).view(np.uint8) << (2 * axis + 1)).astype(np.uint8)
    t = mesh.triangles
    near = (word[t[:, 0]] | word[t[:, 1]] | word[t[:, 2]]) == 63
    corner = mesh.vertices[t[near]] - point
    best = reach
    for k in range(3):
        a, edge = corner[:, k], corner[:, (k + 1) % 3] - corner[:, k]
        square = (edge**2).sum(axis=1)
        share = np.clip(-(a * edge).sum(axis=1) / np.where(square > 0.0, square, 1.0), 0.0, 1.0)
        best = min(best, float(np.linalg.norm(a + share[:, None] * edge, axis=1).min(initial=reach)))
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    length = np.linalg.norm(normal, axis=1)
    inside = length > 0.0
    for k in range(3):
        inside &= (np.cross(corner[:, k], corner[:, (k + 1) % 3]) * normal).sum(axis=1) >= 0.0
    plane = np.abs((normal * corner[:, 0]).sum(axis=1)[inside]) / length[inside]
    return min(best, float(plane.min(initial=reach)))


def inner_point(mesh: Mesh) -> FloatArray:
    """A point well inside a closed mesh, (3,) metres: the middle of the longest stretch of a few lines through it.

    Lines along x are tried at the heights and depths of the middle of the box, of the vertices' mean and of places
    between, then lines square to the largest triangles, which find the inside of a thin slab; the same mesh gives the
    same point.

    Raises
    ------
    MeshError
        No line finds room inside: the mesh has no volume to speak of.
    """
    low, high = bounds(mesh.vertices)
    mean = mesh.vertices.mean(axis=0)
    size = high - low
    # Odd shares, so that no line runs through a vertex of a regular shape.
    shares = np.array([0.4913, 0.2617, 0.7411, 0.1153, 0.8731])
    places = [(float(mean[1]), float(mean[2]))]
    places += [(float(low[1] + a * size[1]), float(low[2] + b * size[2])) for a in shares for b in shares]
    rows = np.take(
        mesh.triangles, _near_lines(mesh, sorted({y for y, _ in places}), sorted({z for _, z in places})), axis=0
    )
    corner = np.take(mesh.vertices, rows, axis=0)
    across = np.ascontiguousarray(corner[:, :, 1:].T)
    best, found = 0.0, None
    for i, (y, z) in enumerate(places):
        over = across > np.array([[[y]], [[z]]])
        near = np.flatnonzero(((over[:, 0] != over[:, 1]) | (over[:, 0] != over[:, 2])).all(axis=0))
        room, x = _longest_stretch(corner[near], rows[near], y, z, (float(low[0]), float(high[0])))
        if room > best:
            best, found = room, np.array([x, y, z])
        if i >= 8 and best > 0.1 * size[0]:
            break
    if found is None:
        found = _under_a_face(mesh)
    if found is None:
        raise MeshError("no point inside the body was found; it holds no foam to speak of")
    return found


def _near_lines(mesh: Mesh, ys: list[float], zs: list[float]) -> IntArray:
    """Triangles that reach from one side to the other of some of the levels in y, and of some in z."""
    level = np.zeros(len(mesh.vertices), dtype=np.uint8)
    for axis, values, unit in ((1, ys, 1), (2, zs, 16)):
        x = np.ascontiguousarray(mesh.vertices[:, axis])
        for value in values:
            level += (x > value).view(np.uint8) * np.uint8(unit)
    a, b, c = (level[mesh.triangles[:, k]] for k in range(3))
    apart = (a ^ b) | (a ^ c)
    return np.flatnonzero(((apart & 15) != 0) & (apart > 15))


def _longest_stretch(
    corner: FloatArray, triangles: IntArray, y: float, z: float, ends: tuple[float, float]
) -> tuple[float, float]:
    """Longest stretch inside a mesh of the line along x at (y, z), metres, and the x of its middle; 0 where none.

    Parameters
    ----------
    corner, triangles : (m, 3, 3) metres and (m, 3), those at the line or more.
    ends : least and most x of the mesh.
    """
    start = np.array([ends[0] - 0.01 * (ends[1] - ends[0]), y, z])
    rows, turn = crossed(corner, triangles, start)
    p = corner[rows]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    x = start[0] + (normal * (p[:, 0] - start)).sum(axis=1) / normal[:, 0]
    order = np.argsort(x, kind="stable")
    x, inside = x[order], np.cumsum(-turn[order])
    room = np.where(inside[:-1] > 0, np.diff(x), 0.0) if len(x) else np.zeros(0)
    if not len(room):
        return 0.0, start[0]
    at = int(np.argmax(room))
    return float(room[at]), float(x[at] + x[at + 1]) / 2.0


def _under_a_face(mesh: Mesh) -> FloatArray | None:
    """Middle of the longest stretch of lines square to the largest triangles, through their middles."""
    corners = mesh.corners()
    middle = corners.mean(axis=1)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    twice = np.linalg.norm(normal, axis=1)
    best, found = 0.0, None
    for row in np.argsort(-twice, kind="stable")[:_FACES].tolist():
        if not twice[row] > 0.0:
            break
        n = normal[row] / twice[row]
        side = np.cross(n, np.eye(3)[int(np.argmin(np.abs(n)))])
        side /= np.linalg.norm(side)
        frame = np.stack([n, side, np.cross(n, side)])
        turned = (mesh.vertices - middle[row]) @ frame.T
        x_of = turned[:, 0]
        near = _near_lines(Mesh(turned, mesh.triangles), [0.0], [0.0])
        rows = mesh.triangles[near]
        room, x = _longest_stretch(turned[rows], rows, 0.0, 0.0, (x_of.min(), x_of.max()))
        if room > best:
            best, found = room, middle[row] + x * n
    return found
