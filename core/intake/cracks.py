# SPDX-License-Identifier: GPL-3.0-or-later
"""Welding: corners in one place become one vertex, and rims that part by less than a hair are joined."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray, IntArray, Mesh
from ..mesh.topology import joined
from .draft import Change, Draft
from .table import EdgeTable
from .weld import weld_points
from .words import count, length

HAIR: Final = 1e-4
"""Metres: rims nearer than this are joined; finer than any scan of a carving, and the floor tolerance."""
_SHARE: Final = 0.1
"""Of the middle length of the open edges: a finer mesh is welded over less, so that no triangle closes up."""


def find_joins(mesh: Mesh, table: EdgeTable) -> tuple[IntArray | None, tuple[Change, ...]]:
    """Which vertices to join, where that heals open edges.

    First those with the same coordinates, then vertices of open edges nearer to each other than a tenth of a
    millimetre. Neither where it leaves as many edges at fault as there were.

    Parameters
    ----------
    mesh : metres. table : its edges.

    Returns
    -------
    For each vertex the lowest one that it falls together with, (n,) int64, or None where nothing is to be joined; and
    sentences.
    """
    changes = []
    number = np.arange(len(mesh.vertices))
    if not len(table.open()):
        return None, ()
    first, group = weld_points(mesh.vertices)
    if len(first) < len(group):
        lowest = first[group]
        after = EdgeTable.of(_whole(lowest[mesh.triangles]))
        if _faults(after) < _faults(table):
            joins = len(group) - len(first)
            text = f"{count(joins, 'vertex', 'vertices')} in the place of another joined"
            changes.append(Change("weld", text, joins))
            number, table = lowest, after
    ends = table.ends(table.open())
    if len(ends):
        rim = np.unique(ends)
        gap = np.linalg.norm(mesh.vertices[ends[:, 0]] - mesh.vertices[ends[:, 1]], axis=1)
        reach = min(HAIR, _SHARE * float(np.median(gap)))
        label = _near(mesh.vertices[rim], reach)
        joins = len(rim) - int(label.max()) - 1
        lowest = np.full(int(label.max()) + 1, len(number), dtype=np.int64)
        np.minimum.at(lowest, label, rim)
        onto = np.arange(len(number))
        onto[rim] = lowest[label]
        if joins and _faults(EdgeTable.of(_whole(onto[number[mesh.triangles]]))) < _faults(table):
            text = f"{count(joins, 'vertex', 'vertices')} along cracks of under {length(reach)} joined"
            changes.append(Change("weld", text, joins))
            number = onto[number]
    return (number if changes else None), tuple(changes)


def weld_open(draft: Draft) -> tuple[Draft, tuple[Change, ...]]:
    """Join vertices that lie in one place, where that heals open edges, as `find_joins` says."""
    number, changes = find_joins(draft.mesh, EdgeTable.of(draft.mesh.triangles))
    if number is None:
        return draft, ()
    return draft.reshape(draft.mesh.vertices, number[draft.mesh.triangles]), changes


def _whole(triangles: IntArray) -> IntArray:
    """Triangles that name no vertex twice."""
    a, b, c = triangles.T
    whole: IntArray = triangles[(a != b) & (b != c) & (c != a)]
    return whole


def _faults(table: EdgeTable) -> int:
    return len(table.open()) + len(table.non_manifold())


def _near(points: FloatArray, reach: float) -> IntArray:
    """Label points, (k, 3), so that those within reach of each other get one number."""
    alone = np.arange(len(points), dtype=np.int64)
    if reach <= 0.0:
        return alone
    cell = np.floor((points - points.min(axis=0)) / reach).astype(np.int64) + 1
    wide = cell.max(axis=0) + 2
    key = (cell[:, 0] * wide[1] + cell[:, 1]) * wide[2] + cell[:, 2]
    if float(wide[0]) * float(wide[1]) * float(wide[2]) > 2.0**62:
        return alone
    order = np.argsort(key, kind="stable")
    ordered = key[order]
    one, two = [], []
    for x in (-1, 0, 1):
        for y in (-1, 0, 1):
            for z in (-1, 0, 1):
                other = key + (x * wide[1] + y) * wide[2] + z
                low = np.searchsorted(ordered, other, side="left")
                number = np.searchsorted(ordered, other, side="right") - low
                a = np.repeat(alone, number)
                b = order[np.repeat(low - np.cumsum(number) + number, number) + np.arange(int(number.sum()))]
                close = (a < b) & (((points[a] - points[b]) ** 2).sum(axis=1) <= reach * reach)
                one.append(a[close])
                two.append(b[close])
    return joined(len(points), np.concatenate(one), np.concatenate(two))
