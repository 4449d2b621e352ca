# SPDX-License-Identifier: GPL-3.0-or-later
"""Glue lines and joints: where they come to the surface, where the wire meets glue, where thin slabs are left.

A glue line is a rectangle: a corner and two sides square to each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..blockup.glue_lines import GlueRectangles
from ..cutting.joint import Joint, Plane
from ..cutting.result import FROM_JOINT, Body
from ..mesh.mesh import Mesh
from ..mesh.raster import flat_corners, fragments

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

PITCH: Final = 0.02
"""Metres between the places at which a joint's face is held against the glue lines: a third of the usual sliver."""

PARALLEL: Final = float(np.cos(np.radians(30.0)))
"""Cosine of the angle within which a joint and a glue line leave a slab and not a wedge; the job's words."""

LEAST_AREA: Final = 0.01
"""Square metres: a thin slab smaller than 100 x 100 mm is left out; common practice, no source."""

_ON: Final = 1e-9
"""Metres: a corner so near to a glue line's plane counts as over it: a face in the plane does not cross it."""


@dataclass(frozen=True)
class Sliver:
    """A thin slab between a joint and a glue line that it does not follow.

    Attributes
    ----------
    thickness : metres, the least distance between the two. area : square metres of joint face that lies so.
    where : (x, y, z) metres, at the least distance.
    """

    thickness: float
    area: float
    where: tuple[float, float, float]


def traces(glue: GlueRectangles, mesh: Mesh) -> tuple[FloatArray, FloatArray]:
    """Where glue lines come to the surface: starts and ends of segments, (k, 3) metres each, in no order."""
    return _crossed(glue, mesh.vertices, mesh.triangles)


def glue_cut(glue: GlueRectangles, pieces: Sequence[Body], joint: int) -> float:
    """Metres of glue that the wire goes through to make a joint: its faces' crossings with the glue lines.

    The mean of the joint's two faces; one that lies along a glue line crosses none.
    """
    total = 0.0
    for body in pieces:
        rows = (body.origin == FROM_JOINT) & (body.source == joint)
        if rows.any():
            starts, ends = _crossed(glue, body.mesh.vertices, body.mesh.triangles[rows])
            total += float(np.linalg.norm(ends - starts, axis=1).sum())
    return total / 2.0


def sliver(
    glue: GlueRectangles, pieces: Sequence[Body], joints: Sequence[Joint], joint: int, followed: float, least: float
) -> Sliver | None:
    """The thin slab that a joint leaves beside glue lines, or None.

    Parameters
    ----------
    followed : metres; nearer than this the joint follows the glue line.
    least : metres; from here on a slab is thick enough.
    """
    point, normal, area = face_points(joints[joint], pieces, joint)
    if len(glue) == 0 or len(point) == 0:
        return None
    nearest = beside(glue, point, normal, followed)
    thin = nearest < least
    if not thin.any() or float(area[thin].sum()) < LEAST_AREA:
        return None
    at = int(np.argmin(np.where(thin, nearest, np.inf)))
    x, y, z = point[at].tolist()
    return Sliver(float(nearest[at]), float(area[thin].sum()), (x, y, z))


def beside(glue: GlueRectangles, point: FloatArray, normal: FloatArray, followed: float) -> FloatArray:
    """How far each place of a joint's face is from the nearest glue line that it runs along and does not follow.

    Parameters
    ----------
    point : (n, 3) metres. normal : (n, 3) unit, of the face there.
    followed : metres; a place nearer than this to any glue line that it runs along follows it.

    Returns
    -------
    (n,) metres; inf where it follows one, and where none within `PARALLEL` lies across from it.
    """
    nearest = np.full(len(point), np.inf)
    on = np.zeros(len(point), dtype=bool)
    for corner, along, across, way in zip(glue.corner, glue.along, glue.across, glue.normal, strict=True):
        to = point - corner
        away = np.abs(to @ way)
        s, t = to @ along / (along @ along), to @ across / (across @ across)
        over = (s >= 0.0) & (s <= 1.0) & (t >= 0.0) & (t <= 1.0) & (np.abs(normal @ way) >= PARALLEL)
        on |= over & (away <= followed)
        rows = over & (away > followed)
        nearest[rows] = np.minimum(nearest[rows], away[rows])
    nearest[on] = np.inf
    return nearest


def face_points(joint: Joint, pieces: Sequence[Body], number: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Places `PITCH` apart on a joint's own surface where it parts foam, its unit normals there, and their areas."""
    if isinstance(joint, Plane):
        axis = np.eye(3)[int(np.argmin(np.abs(joint.normal)))]
        u = np.cross(axis, joint.normal)
        u /= np.linalg.norm(u)
        origin, w, knots = joint.point, joint.normal, np.array([[0.0, 0.0], [1.0, 0.0]])
    else:
        origin, u, w, knots = joint.origin, joint.u, joint.w, joint.points
    wire = np.cross(u, w)
    cells = [np.zeros((0, 2), dtype=np.int64)]
    for body in pieces:
        rows = (body.origin == FROM_JOINT) & (body.source == number)
        if not rows.any():
            continue
        flat = (body.mesh.vertices - origin) @ np.stack([u, wire, w], axis=1)
        flat[:, :2] /= PITCH
        for part in fragments(flat_corners(flat, body.mesh.triangles[rows])):
            cells.append(np.stack([part.column[part.middle], part.row[part.middle]], axis=1))
    cell = np.unique(np.concatenate(cells), axis=0)
    at = (cell + 0.5) * PITCH
    slopes = np.diff(knots[:, 1]) / np.diff(knots[:, 0])
    span = np.clip(np.searchsorted(knots[:, 0], at[:, 0], side="right") - 1, 0, len(slopes) - 1)
    slope = slopes[span]
    rise = knots[span, 1] + slope * (at[:, 0] - knots[span, 0])
    point = origin + at[:, :1] * u + at[:, 1:] * wire + rise[:, None] * w
    long = np.sqrt(1.0 + slope**2)
    return point, (w - slope[:, None] * u) / long[:, None], PITCH**2 * long


def _crossed(glue: GlueRectangles, vertices: FloatArray, triangles: IntArray) -> tuple[FloatArray, FloatArray]:
    """Segments in which triangles cross rectangles: starts and ends, (k, 3)."""
    starts, ends = [np.zeros((0, 3))], [np.zeros((0, 3))]
    # Rectangles of one plane share its crossings.
    normals, _, plane = glue.planes()
    for number, way in enumerate(normals):
        rectangles = np.flatnonzero(plane == number)
        corner = glue.corner[rectangles[0]]
        height = vertices @ way - corner @ way
        over = height >= -_ON
        a, b, c = (over[triangles[:, k]] for k in range(3))
        corners = triangles[(a != b) | (b != c)]
        if len(corners) == 0:
            continue
        side = over[corners]
        lone = np.where(side[:, 0] == side[:, 1], 2, np.where(side[:, 0] == side[:, 2], 1, 0))
        at = np.arange(len(corners))
        apex = corners[at, lone]
        p = _level(vertices, height, apex, corners[at, (lone + 1) % 3])
        q = _level(vertices, height, apex, corners[at, (lone + 2) % 3])
        for k in rectangles.tolist():
            low, high = _within(p, q, glue.corner[k], (glue.along[k], glue.across[k]))
            keep = high > low
            run = (q - p)[keep]
            starts.append(p[keep] + run * low[keep, None])
            ends.append(p[keep] + run * high[keep, None])
    return np.concatenate(starts), np.concatenate(ends)


def _within(
    p: FloatArray, q: FloatArray, corner: FloatArray, sides: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Shares along p-q between which it lies in a rectangle; the second is not above the first where it does not."""
    low, high = np.zeros(len(p)), np.ones(len(p))
    for edge in sides:
        begin, run = (p - corner) @ edge / (edge @ edge), (q - p) @ edge / (edge @ edge)
        for sign, bound in ((1.0, 0.0), (-1.0, 1.0)):
            # Inside where sign * (begin + share * run - bound) >= 0.
            room, gain = sign * (begin - bound), sign * run
            level = gain == 0.0
            share = -room / np.where(level, 1.0, gain)
            low = np.where(gain > 0.0, np.maximum(low, share), low)
            high = np.where(gain < 0.0, np.minimum(high, share), high)
            high = np.where(level & (room < 0.0), -1.0, high)
    return low, high


def _level(vertices: FloatArray, height: FloatArray, p: IntArray, q: IntArray) -> FloatArray:
    """Where the edges p-q pass height 0, told from the lower to the higher vertex number."""
    low, high = np.minimum(p, q), np.maximum(p, q)
    run = height[low] - height[high]
    share = np.clip(height[low] / np.where(run == 0.0, 1.0, run), 0.0, 1.0)
    place: FloatArray = vertices[low] + share[:, None] * (vertices[high] - vertices[low])
    return place
