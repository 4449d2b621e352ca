# SPDX-License-Identifier: GPL-3.0-or-later
"""Where a surface passes through itself or one body through another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..errors import Progress
from ..mesh.mesh import FloatArray, IntArray, Mesh
from ..mesh.topology import joined
from .draft import BoolArray
from .pairs import overlapping_boxes

EXACT_TO: Final = 600_000
"""Triangles up to which every pair is tested, in some ten seconds."""
SAMPLED: Final = 250_000
"""Triangles among which every pair is tested where there are more."""
_BLOCKS: Final = 32
"""Blocks along the longest side out of which some are chosen: small enough that hundreds meet the surface, and large
enough that most triangles lie in one."""
_TOUCH: Final = 1e-9
"""Share of the carving's size by which one triangle must reach through another: less is contact and rounding."""


@dataclass(frozen=True, eq=False)
class Overlap:
    """Pairs of triangles that pass through each other.

    Attributes
    ----------
    pairs : (k, 2) int64, rising.
    place : (k,) int64, which place each pair belongs to; places are told apart by their triangles having no vertex in
        common.
    share : of the places looked at, 1.0 where every pair of triangles was tested.
    """

    pairs: IntArray
    place: IntArray
    share: float

    @property
    def exact(self) -> bool:
        """Whether every pair was tested."""
        return self.share == 1.0


def find_overlap(
    mesh: Mesh, exact_to: int = EXACT_TO, sampled: int = SAMPLED, progress: Progress | None = None
) -> Overlap:
    """Test triangles for passing through each other.

    Parameters
    ----------
    mesh : metres; any triangles.
    exact_to : up to so many triangles every pair is tested.
    sampled : of more triangles, every pair among about so many is tested: those in some of the places, chosen by a
        fixed rule.
    progress : told now and then; may raise `Cancelled`.

    Notes
    -----
    A pair counts where an edge of one pierces the inside of the other by more than 1e-9 of the carving's size (each
    test is in double precision). Triangles that share an edge, and triangles that lie in one plane, do not count.
    """
    count = len(mesh.triangles)
    low, high = np.empty((count, 3)), np.empty((count, 3))
    corners = [np.ascontiguousarray(mesh.triangles[:, k]) for k in range(3)]
    for axis in range(3):
        column = np.ascontiguousarray(mesh.vertices[:, axis])
        a, b, c = (column.take(rows) for rows in corners)
        low[:, axis], high[:, axis] = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    rows = np.arange(count) if count <= exact_to else _sample(low, high, sampled)
    touch = _TOUCH * float(np.linalg.norm(mesh.size)) if count else 0.0
    found: list[IntArray] = [np.zeros((0, 2), dtype=np.int64)]
    done = 0
    for one, two in overlapping_boxes(low[rows], high[rows]):
        if progress:
            done += len(one)
            progress(min(0.99, done / (12.0 * len(rows))), "looking for surfaces that pass through each other")
        one, two = _not_beside(mesh, rows[one], rows[two])
        hit = _pierce(mesh, one, two, touch)
        found.append(np.stack([one[hit], two[hit]], axis=1))
    pairs = np.sort(np.concatenate(found), axis=1)
    pairs = pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))]
    return Overlap(pairs, _places(mesh, pairs), len(rows) / count if count else 1.0)


def _sample(low: FloatArray, high: FloatArray, wanted: int) -> IntArray:
    """Triangles that reach into some blocks of the box round all of them, about as many as wanted."""
    origin = np.array([column.min() for column in low.T])
    side = float((np.array([column.max() for column in high.T]) - origin).max()) / _BLOCKS
    if side == 0.0:
        return np.arange(min(len(low), wanted))

    def block(points: FloatArray) -> IntArray:
        at = [((points[:, axis] - origin[axis]) / side).astype(np.int64) for axis in range(3)]
        key: IntArray = (at[0] * (_BLOCKS + 2) + at[1]) * (_BLOCKS + 2) + at[2]
        return key

    first, last = block(low), block(high)
    number = np.bincount(first, minlength=(_BLOCKS + 2) ** 3)
    # A fixed shuffle of the blocks: neighbours are taken no sooner than others.
    order = np.random.default_rng(3).permutation(len(number))
    taken = np.cumsum(number[order]) <= wanted
    taken[: int(np.flatnonzero(number[order])[0]) + 1] = True
    chosen = np.zeros(len(number), dtype=bool)
    chosen[order[taken]] = True
    return np.flatnonzero(chosen[first] | chosen[last])


def _not_beside(mesh: Mesh, one: IntArray, two: IntArray) -> tuple[IntArray, IntArray]:
    """Pairs that share no edge."""
    a, b = mesh.triangles[one], mesh.triangles[two]
    common = np.zeros(len(one), dtype=np.int8)
    for i in range(3):
        for j in range(3):
            common += a[:, i] == b[:, j]
    apart = common < 2
    return one[apart], two[apart]


def _pierce(mesh: Mesh, one: IntArray, two: IntArray, touch: float) -> BoolArray:
    """Which pairs pass through each other."""
    hit = np.zeros(len(one), dtype=bool)
    rows = np.arange(len(one))
    for first, second in ((one, two), (two, one)):
        rows = rows[_straddles(mesh, first[rows], second[rows], touch)]
    for first, second in ((one, two), (two, one)):
        for corner in range(3):
            hit[rows] |= _edge_through(mesh, first[rows], second[rows], corner, touch)
    return hit


def _straddles(mesh: Mesh, one: IntArray, two: IntArray, touch: float) -> BoolArray:
    """Whether corners of the second triangle lie on both sides of the first one's plane."""
    a, b, c = (mesh.vertices[mesh.triangles[one, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    limit = touch * np.sqrt((normal * normal).sum(axis=1))
    over = np.zeros(len(one), dtype=bool)
    under = np.zeros(len(one), dtype=bool)
    for k in range(3):
        away = ((mesh.vertices[mesh.triangles[two, k]] - a) * normal).sum(axis=1)
        over |= away > limit
        under |= away < -limit
    both: BoolArray = over & under
    return both


def _edge_through(mesh: Mesh, one: IntArray, two: IntArray, corner: int, touch: float) -> BoolArray:
    """Whether the edge from a corner of the first triangle pierces the inside of the second."""
    start, end = mesh.triangles[one, corner], mesh.triangles[one, (corner + 1) % 3]
    p, q = mesh.vertices[start], mesh.vertices[end]
    face = mesh.triangles[two]
    a, b, c = (mesh.vertices[face[:, k]] for k in range(3))
    normal = np.cross(b - a, c - a)
    limit = touch * np.sqrt((normal * normal).sum(axis=1))
    before, after = ((p - a) * normal).sum(axis=1), ((q - a) * normal).sum(axis=1)
    through = ((before > limit) & (after < -limit)) | ((before < -limit) & (after > limit))
    along = q - p
    reach = touch * np.sqrt((along * along).sum(axis=1))
    left = np.ones(len(one), dtype=bool)
    right = np.ones(len(one), dtype=bool)
    for u, v in ((a, b), (b, c), (c, a)):
        side = v - u
        turn = (np.cross(along, side) * (u - p)).sum(axis=1)
        margin = reach * np.sqrt((side * side).sum(axis=1))
        left &= turn > margin
        right &= turn < -margin
    shared = (face == start[:, None]).any(axis=1) | (face == end[:, None]).any(axis=1)
    pierced: BoolArray = through & (left | right) & ~shared
    return pierced


def _places(mesh: Mesh, pairs: IntArray) -> IntArray:
    """Number the places that the pairs belong to."""
    if not len(pairs):
        return np.zeros(0, dtype=np.int64)
    corners = np.concatenate([mesh.triangles[pairs[:, 0]], mesh.triangles[pairs[:, 1]]], axis=1)
    used, at = np.unique(corners, return_inverse=True)
    at = at.reshape(-1, 6)
    first = np.repeat(at[:, 0], 5)
    label = joined(len(used), first, at[:, 1:].reshape(-1))[at[:, 0]]
    number: IntArray = np.unique(label, return_inverse=True)[1].astype(np.int64)
    return number


def overlap_box(mesh: Mesh, overlap: Overlap, place: int) -> tuple[FloatArray, FloatArray]:
    """Corners of the box round the triangles of one place, (3,) and (3,) metres."""
    corners = mesh.vertices[mesh.triangles[overlap.pairs[overlap.place == place]]].reshape(-1, 3)
    return corners.min(axis=0), corners.max(axis=0)
