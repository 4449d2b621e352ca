# SPDX-License-Identifier: GPL-3.0-or-later
"""Turns in space: matrices of many turns at once, and back."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def turn_about(axis: ArrayLike, angle: ArrayLike) -> FloatArray:
    """Matrices (..., 3, 3) that turn by `angle` (...) radians about unit axes (..., 3); right-handed (Rodrigues)."""
    a, size = np.asarray(axis, dtype=np.float64), np.asarray(angle, dtype=np.float64)
    size = np.broadcast_to(size, np.broadcast_shapes(size.shape, a.shape[:-1]))[..., None, None]
    x, y, z = a[..., 0], a[..., 1], a[..., 2]
    none = np.zeros_like(x)
    cross = np.stack([none, -z, y, z, none, -x, -y, x, none], axis=-1).reshape(*a.shape[:-1], 3, 3)
    result: FloatArray = np.eye(3) + np.sin(size) * cross + (1.0 - np.cos(size)) * (cross @ cross)
    return result


def turn_of(matrix: FloatArray) -> tuple[FloatArray, float]:
    """Unit axis (3,) and angle, 0 to pi, of one turn (3, 3); the axis is z where nothing turns."""
    twist = np.array([matrix[2, 1] - matrix[1, 2], matrix[0, 2] - matrix[2, 0], matrix[1, 0] - matrix[0, 1]])
    sine, cosine = 0.5 * float(np.linalg.norm(twist)), 0.5 * (float(np.trace(matrix)) - 1.0)
    angle = float(np.arctan2(sine, cosine))
    if sine > 1e-9:
        return twist / np.linalg.norm(twist), angle
    if cosine > 0.0:
        return np.array([0.0, 0.0, 1.0]), 0.0
    # Half a turn: the axis is the largest column of (matrix + 1).
    columns = matrix + np.eye(3)
    column = columns[:, int(np.argmax(np.abs(columns).sum(axis=0)))]
    return column / np.linalg.norm(column), float(np.pi)


def turn_from_angles(pitch: float, roll: float, heading: float) -> FloatArray:
    """Turn of a body whose x points forward, y left, z up: nose up by pitch, left side up by roll, then the heading.

    Radians; heading counts from x towards y. The matrix is Rz(heading) Ry(-pitch) Rx(roll).
    """
    x, y, z = np.eye(3)
    result: FloatArray = turn_about(z, heading) @ turn_about(y, -pitch) @ turn_about(x, roll)
    return result
