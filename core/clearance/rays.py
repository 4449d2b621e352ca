# SPDX-License-Identifier: GPL-3.0-or-later
"""Where straight lines leave a mesh: many rays at once, down a tree of boxes."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .tree import Forest

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_BLOCK: Final = 32_768
"""Rays and boxes taken at a time."""


_PAD: Final = 1e-9
"""Metres by which boxes are taken larger: a ray along the side of one must not slip between it and its neighbour."""


def first_hits(
    forest: Forest, starts: FloatArray, directions: FloatArray, far: float, near: float = 1e-5
) -> FloatArray:
    """Metres along each ray to the first triangle that it meets.

    Parameters
    ----------
    forest : triangles. starts, directions : (n, 3), directions of length 1.
    far : metres; what is farther is not looked for. near : metres; what is nearer is the surface that it starts from.

    Returns
    -------
    (n,) metres, `far` where nothing is met.
    """
    found = np.full(len(starts), float(far))
    inverse = 1.0 / np.where(np.abs(directions) > 1e-300, directions, 1e-300)
    stack: list[tuple[IntArray, IntArray]] = []
    for root in forest.roots[forest.roots >= 0].tolist():
        rays = np.arange(len(starts), dtype=np.int64)
        stack += [(rays[k : k + _BLOCK], np.full(len(rays[k : k + _BLOCK]), root)) for k in range(0, len(rays), _BLOCK)]
    while stack:
        ray, node = stack.pop()
        box = forest.boxes[node]
        half = box[:, 3:] + _PAD
        one = (box[:, :3] - half - starts[ray]) * inverse[ray]
        two = (box[:, :3] + half - starts[ray]) * inverse[ray]
        enter, leave = np.minimum(one, two).max(axis=1), np.maximum(one, two).min(axis=1)
        slack = 1e-12 * (1.0 + np.abs(leave))
        keep = (enter <= leave + slack) & (leave >= near) & (enter < found[ray])
        ray, node = ray[keep], node[keep]
        leaf = forest.shape[node] >= 0
        if leaf.any():
            _meet(forest, starts, directions, ray[leaf], node[leaf], near, found)
            ray, node = ray[~leaf], node[~leaf]
        if len(ray) == 0:
            continue
        child, pair = forest.child[node], ~forest.single[node]
        ray, node = np.concatenate([ray, ray[pair]]), np.concatenate([child, child[pair] + 1])
        stack += [(ray[k : k + _BLOCK], node[k : k + _BLOCK]) for k in range(0, len(ray), _BLOCK)]
    return found


def _meet(
    forest: Forest,
    starts: FloatArray,
    directions: FloatArray,
    ray: IntArray,
    node: IntArray,
    near: float,
    found: FloatArray,
) -> None:
    """Note where rays meet triangles (Moeller and Trumbore's product form)."""
    corner = forest.vertices[forest.shapes[forest.shape[node]]]
    one, two = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
    direction, away = directions[ray], starts[ray] - corner[:, 0]
    p, q = np.cross(direction, two), np.cross(away, one)
    volume = (one * p).sum(axis=1)
    flat = volume == 0.0
    volume = np.where(flat, 1.0, volume)
    u, v = (away * p).sum(axis=1) / volume, (direction * q).sum(axis=1) / volume
    along = (two * q).sum(axis=1) / volume
    hit = ~flat & (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1.0 + 1e-9) & (along >= near)
    np.minimum.at(found, ray[hit], along[hit])
