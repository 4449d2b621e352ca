# SPDX-License-Identifier: GPL-3.0-or-later
"""Triangles halved until none is longer than some length."""

from __future__ import annotations

import numpy as np

from ..mesh.mesh import FloatArray, IntArray


def split_long(corners: FloatArray, longest: float) -> tuple[FloatArray, IntArray]:
    """Halve triangles across their longest edge until no edge is longer.

    Parameters
    ----------
    corners : (m, 3, 3) triangles.
    longest : above 0, same unit.

    Returns
    -------
    (k, 3, 3), (k,)
        The parts, wound as they were, and which triangle each is part of.
    """
    owner = np.arange(len(corners))
    parts: list[tuple[FloatArray, IntArray]] = [(np.zeros((0, 3, 3)), np.zeros(0, dtype=np.int64))]
    while len(corners):
        edges = corners[:, (1, 2, 0)] - corners
        squares = np.einsum("ijk,ijk->ij", edges, edges)
        side = squares.argmax(axis=1)
        big = squares[np.arange(len(side)), side] > longest * longest
        parts.append((corners[~big], owner[~big]))
        corners, side, owner = corners[big], side[big], owner[big]
        row = np.arange(len(corners))
        a, b, c = (corners[row, (side + k) % 3] for k in range(3))
        between = 0.5 * (a + b)
        corners = np.concatenate((np.stack((a, between, c), axis=1), np.stack((between, b, c), axis=1)))
        owner = np.concatenate((owner, owner))
    return np.concatenate([part for part, _ in parts]), np.concatenate([whose for _, whose in parts])
