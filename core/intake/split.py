# SPDX-License-Identifier: GPL-3.0-or-later
"""Parting surfaces that hang together in one edge or vertex: more than two triangles at an edge become pairs."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..mesh.mesh import IntArray, Mesh
from ..mesh.topology import joined
from .draft import BoolArray, Change, Draft
from .orient import consistent
from .table import EdgeTable
from .words import coordinates, count

_ROUNDS: Final = 5
"""Rounds of pairing: as the directions say, changed about, one pair only, none."""


def split_edges(draft: Draft) -> tuple[Draft, tuple[Change, ...]]:
    """Give each pair of triangles at a non-manifold edge an edge of its own.

    Notes
    -----
    Round the edge, a triangle is paired with the next one that runs the edge the other way across the foam between
    them, so that bodies that touch along an edge part and do not cross. Where the directions do not alternate, the two
    that come nearest to one smooth surface are paired first. A triangle left over keeps an open edge. Then corners at
    one vertex that no shared edge binds together get vertices of their own, in the same place.
    """
    mesh = draft.mesh
    table = EdgeTable.of(mesh.triangles)
    bad = table.non_manifold()
    if not len(bad):
        return draft, ()
    corners = mesh.vertices[mesh.triangles]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    turn, _, _ = consistent(table, np.sqrt((normal * normal).sum(axis=1)))
    ends = table.ends(bad)
    choice = np.zeros(len(bad), dtype=np.int64)
    for _ in range(_ROUNDS):
        pairs = _choose(mesh, table, bad, ends, turn, choice)
        triangles, new = _part(mesh, table, pairs)
        left = _still_shared(table, bad, triangles)
        if not left.any():
            break
        choice[left] += 1
    where = coordinates(mesh.vertices[ends[0]].mean(axis=0))
    text = f"{count(len(bad), 'edge')} with more than two triangles split, the first near {where}"
    vertices = np.concatenate([mesh.vertices, mesh.vertices[new]])
    return draft.reshape(vertices, triangles), (Change("split", text, len(bad)),)


def _choose(mesh: Mesh, table: EdgeTable, bad: IntArray, ends: IntArray, turn: BoolArray, choice: IntArray) -> IntArray:
    """Pairs of half edges (2, k) at all edges; `choice` counts how often an edge's pairing has failed."""
    out: list[tuple[int, int]] = []
    for row, (low, high), failed in zip(bad.tolist(), ends.tolist(), choice.tolist(), strict=True):
        part = slice(int(table.start[row]), int(table.start[row] + table.count[row]))
        half = table.half[part]
        pairs = _pair(mesh, half, table.up[part] ^ turn[half // 3], low, high)
        if failed == 1 and len(pairs) > 1:
            # Partners change places in a ring: where both pairs hang together round both ends, this parts them.
            pairs = [(a, pairs[k - 1][1]) for k, (a, _) in enumerate(pairs)]
        elif failed > 1:
            pairs = pairs[:1] if failed == 2 else []
        out += pairs
    return np.array(out, dtype=np.int64).reshape(-1, 2).T


def _still_shared(table: EdgeTable, bad: IntArray, triangles: IntArray) -> BoolArray:
    """Which of the edges more than two triangles share even after the split."""
    flat = triangles.reshape(-1)
    left = np.zeros(len(bad), dtype=bool)
    for k, row in enumerate(bad.tolist()):
        half = table.half[int(table.start[row]) : int(table.start[row] + table.count[row])]
        ends = np.sort(np.stack([flat[half], flat[half - half % 3 + (half + 1) % 3]], axis=1), axis=1)
        left[k] = np.unique(ends, axis=0, return_counts=True)[1].max() > 2
    return left


def _pair(mesh: Mesh, half: IntArray, up: BoolArray, low: int, high: int) -> list[tuple[int, int]]:
    """Pairs of half edges at one edge."""
    start, end = mesh.vertices[low], mesh.vertices[high]
    along = end - start
    size = float(np.linalg.norm(along))
    along = along / size if size > 0.0 else np.array([0.0, 0.0, 1.0])
    third = mesh.vertices[mesh.triangles.reshape(-1)[half - half % 3 + (half + 2) % 3]] - start
    third = third - (third @ along)[:, None] * along
    side = np.eye(3)[int(np.abs(along).argmin())]
    side = np.cross(along, side)
    side /= np.linalg.norm(side)
    angle = np.arctan2(third @ np.cross(along, side), third @ side)
    order = np.argsort(angle, kind="stable")
    ways = up[order]
    if len(half) % 2 == 0 and (ways != np.roll(ways, 1)).all():
        # From a triangle that runs the edge upwards, foam lies at falling angles: its partner is the next one there.
        ring = order[::-1]
        ring = np.roll(ring, -int(np.flatnonzero(up[ring])[0]))
        return [(int(half[ring[k]]), int(half[ring[k + 1]])) for k in range(0, len(ring), 2)]
    left = list(range(len(half)))
    options = sorted(
        (abs(abs((angle[i] - angle[j]) % (2.0 * np.pi)) - np.pi), i, j)
        for i in left
        for j in left
        if i < j and up[i] != up[j]
    )
    free = [True] * len(half)
    out = []
    for _, i, j in options:
        if free[i] and free[j]:
            free[i] = free[j] = False
            out.append((int(half[i]), int(half[j])))
    return out


def _part(mesh: Mesh, table: EdgeTable, pairs: IntArray) -> tuple[IntArray, IntArray]:
    """New triangles, and the old vertex of each vertex that is added, when only paired half edges hold together."""
    after = np.array([1, 2, 0])
    two = np.flatnonzero(table.count == 2)
    one = np.concatenate([table.half[table.start[two]], pairs[0]])
    other = np.concatenate([table.half[table.start[two] + 1], pairs[1]])
    # Corners at the same vertex across a shared edge are one.
    flat = mesh.triangles.reshape(-1)
    one_end, other_end = one - one % 3 + after[one % 3], other - other % 3 + after[other % 3]
    alike = flat[one] == flat[other]
    joins = (
        np.concatenate([one, one_end]),
        np.concatenate([np.where(alike, other, other_end), np.where(alike, other_end, other)]),
    )
    fan = joined(len(flat), *joins)
    # Only vertices of split edges are parted: elsewhere bodies may touch in a vertex as they came.
    touched = np.zeros(len(mesh.vertices), dtype=bool)
    touched[table.ends(table.non_manifold())] = True
    at = np.flatnonzero(touched[flat])
    fans, first = np.unique(fan[at], return_index=True)
    vertex = flat[at[first]]
    order = np.lexsort((fans, vertex))
    fans, vertex = fans[order], vertex[order]
    fresh = np.zeros(len(fans), dtype=bool)
    fresh[1:] = vertex[1:] == vertex[:-1]
    number = vertex.copy()
    number[fresh] = len(mesh.vertices) + np.arange(int(fresh.sum()))
    back = np.argsort(fans)
    result = flat.copy()
    result[at] = number[back[np.searchsorted(fans[back], fan[at])]]
    return result.reshape(-1, 3), vertex[fresh]
