# SPDX-License-Identifier: GPL-3.0-or-later
"""Where pieces stand when the room for the skin is not cut off the foam: the job grows at each joint."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray, IntArray
from .parts import numbered_parts

_NULL: Final = 1e-9
"""Singular values under this share of the largest are zero: a direction in which nothing is asked of the pieces."""


@dataclass(frozen=True, eq=False)
class Shifts:
    """How far each piece moves from where it was carved.

    Attributes
    ----------
    moves : (pieces, 3) metres.
    misfit : (contacts,) metres by which two pieces end up closer (below 0) or further apart than their skins need.
    """

    moves: FloatArray
    misfit: FloatArray


def solve_shifts(count: int, pairs: IntArray, directions: FloatArray, growth: FloatArray) -> Shifts:
    """Move pieces apart at their joints.

    Parameters
    ----------
    count : number of pieces; the first of each connected group stays where it is.
    pairs : (k, 2) pieces below and above a joint that face each other.
    directions : (k, 3) unit, from the one below to the one above, square to the joint.
    growth : (k,) metres to move apart along that.

    Returns
    -------
    Shifts
        Least squares in three rounds: pieces come apart at every joint as asked, as nearly as that can be; of all ways
        to do that, the one in which neighbours slide least along their joints; pieces that nothing joins stay.
        In a ring the demands may contradict each other: then `misfit` is not zero.
    """
    moves = np.zeros((count, 3))
    if len(pairs) == 0:
        return Shifts(moves, np.zeros(0))
    rows = np.arange(len(pairs))
    apart = np.zeros((len(pairs), count, 3))
    apart[rows, pairs[:, 0]] -= directions
    apart[rows, pairs[:, 1]] += directions
    slide = np.zeros((len(pairs), 3, count, 3))
    for axis in range(3):
        slide[rows, axis, pairs[:, 0], axis] -= 1.0
        slide[rows, axis, pairs[:, 1], axis] += 1.0
    anchors = np.unique(numbered_parts(count, pairs), return_index=True)[1]
    free = np.setdiff1d(np.arange(count), anchors)
    if len(free) == 0:
        return Shifts(moves, -growth)
    first = apart[:, free].reshape(len(pairs), -1)
    second = slide[:, :, free].reshape(3 * len(pairs), -1)
    _, values, axes = np.linalg.svd(first, full_matrices=True)
    rank = int((values > _NULL * values.max(initial=1.0)).sum())
    particular = np.linalg.lstsq(first, growth, rcond=_NULL)[0]
    null = axes[rank:].T
    if null.shape[1]:
        step = np.linalg.lstsq(second @ null, -(second @ particular), rcond=_NULL)[0]
        particular = particular + null @ step
    moves[free] = particular.reshape(-1, 3)
    # What is left of rounding in a piece that need not move at all.
    moves[np.abs(moves) < 1e-12 * max(1.0, float(np.abs(moves).max()))] = 0.0
    found = np.einsum("ij,ij->i", moves[pairs[:, 1]] - moves[pairs[:, 0]], directions)
    return Shifts(moves, found - growth)
