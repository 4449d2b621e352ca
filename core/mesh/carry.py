# SPDX-License-Identifier: GPL-3.0-or-later
"""Carrying values at the corners of triangles over to parts of those triangles."""

from __future__ import annotations

import numpy as np

from .mesh import FloatArray


def corner_weights(points: FloatArray, triangles: FloatArray) -> FloatArray:
    """Weights of the three corners of a triangle at points on it.

    Parameters
    ----------
    points : (k, c, 3) points, c of them for each triangle; metres.
    triangles : (k, 3, 3) corner coordinates of the triangle on which the points of that row lie.

    Returns
    -------
    (k, c, 3) float64
        Each row is 0 or more and adds up to 1. A point in a corner's place has weights of exactly 1, 0 and 0. Points
        off the triangle by rounding count as the place next to them; on a triangle without area the nearest corner
        counts.
    """
    a, b, c = (triangles[:, None, k] for k in range(3))
    normal = np.cross(b - a, c - a)
    square = (normal * normal).sum(axis=-1)
    flat = square <= 0.0
    unit = np.where(flat, 1.0, square)
    weights = np.stack(
        [
            (np.cross(c - b, points - b) * normal).sum(axis=-1) / unit,
            (np.cross(a - c, points - c) * normal).sum(axis=-1) / unit,
            (np.cross(b - a, points - a) * normal).sum(axis=-1) / unit,
        ],
        axis=-1,
    )
    weights = np.clip(weights, 0.0, 1.0)
    total = weights.sum(axis=-1, keepdims=True)
    weights = weights / np.where(total > 0.0, total, 1.0)
    reach = ((points[:, :, None, :] - triangles[:, None, :, :]) ** 2).sum(axis=-1)
    nearest = reach.argmin(axis=-1)
    at_corner = (reach.min(axis=-1) == 0.0) | flat | (total[..., 0] <= 0.0)
    exact: FloatArray = np.where(at_corner[..., None], np.eye(3)[nearest], weights)
    return exact


def carry(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Values at points on triangles: (k, 3, d) at their corners and (k, c, 3) weights give (k, c, d)."""
    carried: FloatArray = np.einsum("kcs,ksd->kcd", weights, values)
    return carried
