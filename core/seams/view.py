# SPDX-License-Identifier: GPL-3.0-or-later
"""What a camera sees of given places on the carving: those in its picture that nothing hides."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from ..mesh.raster import flat_corners, front
from .marks import Viewpoint

FloatArray = NDArray[np.float64]

PIXELS: Final = 1024
"""Across the picture's longer side: at 8 m and a usual lens about 8 mm on the carving."""

_NEAR: Final = 0.05
"""Metres before the eye: what is nearer is not looked at."""

_SLACK: Final = 0.005
"""Metres by which a place may lie behind the surface seen there: scan roughness."""

_PIXELS_DEEP: Final = 2.0
"""Pixels' widths that it may lie further behind: the surface slopes within a pixel."""


def seen_from(view: Viewpoint, mesh: Mesh, points: FloatArray) -> NDArray[np.bool_]:
    """Which points on the carving's surface the camera sees.

    Parameters
    ----------
    mesh : the whole carving, which alone hides anything; metres, the camera's frame.
    points : (n, 3) metres, on its surface.

    Notes
    -----
    Triangles are drawn into a picture with the reciprocal of their depth, which is linear in it; a point is seen where
    it lies no deeper than what was drawn there, or than the deepest of the four pixels round it. Triangles that reach
    behind the eye are left out.
    """
    scale = PIXELS / (2.0 * max(view.wide, view.high))
    middle = np.array([scale * view.wide, scale * view.high])
    shape = (max(1, round(2.0 * middle[1])), max(1, round(2.0 * middle[0])))
    flat, depth = _projected(view, mesh.vertices, scale, middle)
    corners = flat_corners(flat, mesh.triangles[(depth[mesh.triangles] > _NEAR).all(axis=1)])
    shown = np.ones(corners.shape[2], dtype=bool)
    for axis, size in ((0, shape[1]), (1, shape[0])):
        shown &= (corners[axis].max(axis=0) >= 0.0) & (corners[axis].min(axis=0) <= size)
    _, height = front(corners[:, :, shown], shape)
    at, deep = _projected(view, points, scale, middle)
    inside = (deep > _NEAR) & (at[:, 0] >= 0.0) & (at[:, 0] < shape[1]) & (at[:, 1] >= 0.0) & (at[:, 1] < shape[0])
    near = np.full(len(points), np.inf)
    for across in (-0.5, 0.5):
        for up in (-0.5, 0.5):
            column = np.clip(np.floor(at[:, 0] + across), 0, shape[1] - 1).astype(np.int64)
            row = np.clip(np.floor(at[:, 1] + up), 0, shape[0] - 1).astype(np.int64)
            near = np.minimum(near, height[row, column])
    drawn = np.where(near > 0.0, 1.0 / np.where(near > 0.0, near, 1.0), np.inf)
    slack = _SLACK + _PIXELS_DEEP * deep / scale
    seen: NDArray[np.bool_] = inside & (deep <= drawn + slack)
    return seen


def _projected(view: Viewpoint, points: FloatArray, scale: float, middle: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Column, row and reciprocal depth of points in the picture, (n, 3), and their depth, (n,) metres."""
    right = np.cross(view.ahead, view.up)
    to = points - view.eye
    depth = to @ view.ahead
    inverse = 1.0 / np.where(depth > _NEAR, depth, np.inf)
    column = middle[0] + scale * (to @ right) * inverse
    row = middle[1] - scale * (to @ view.up) * inverse
    return np.stack([column, row, inverse], axis=1), depth
