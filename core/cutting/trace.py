# SPDX-License-Identifier: GPL-3.0-or-later
"""Follow the joints: lines on the surface, and which pieces face each other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..mesh.mass import corner_areas
from ..mesh.runs import runs
from ..mesh.topology import edge_loops
from .cells import OUTSIDE, Cells
from .result import FROM_JOINT, Contact, JointLine, Trace
from .splitting import edge_keys

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def trace(cells: Cells, behind: IntArray, before: IntArray, joints: int) -> Trace:
    """Lines and contacts of all joints.

    Parameters
    ----------
    cells : cut without a gap.
    behind, before : (t,) for each tail row, the piece behind it and the piece before it, or -1.
    joints : number of joints.
    """
    tail = cells.tail
    total = len(cells.mesh.vertices) + len(cells.extra)
    made = (tail.origin == FROM_JOINT) & ~_void(cells)
    lines: list[tuple[JointLine, ...]] = []
    contacts: list[Contact] = []
    rim = _Rim(cells, total)
    for j in range(joints):
        rows = np.flatnonzero(made & (tail.source == j))
        found = _lines(cells, rim, rows, behind, before, j)
        lines.append(found)
        contacts += _contacts(cells, rows, behind, before, found, j)
    return Trace(tuple(lines), tuple(contacts))


def _void(cells: Cells) -> NDArray[np.bool_]:
    """Rows that a glued body has left without a body on either side."""
    void: NDArray[np.bool_] = (cells.tail.below == OUTSIDE) & (cells.tail.above == OUTSIDE)
    return void


class _Rim:
    """The class of what stands at an edge: the highest among the tail's triangles that are not the joint's own."""

    def __init__(self, cells: Cells, total: int) -> None:
        real = np.flatnonzero(~_void(cells))
        t = cells.tail.triangles[real]
        self.total = total
        keys = edge_keys(t, np.roll(t, -1, axis=1), total).reshape(-1)
        order = np.argsort(keys, kind="stable")
        self.keys = keys[order]
        self.rows = real[order // 3]
        self.kind = cells.tail.kind.astype(np.int64)
        self.joint = np.where(cells.tail.origin == FROM_JOINT, cells.tail.source, -1)

    def kinds(self, edges: IntArray, joint: int) -> NDArray[np.uint8]:
        keys = edge_keys(edges[:, 0], edges[:, 1], self.total)
        start = np.searchsorted(self.keys, keys, side="left")
        count = np.searchsorted(self.keys, keys, side="right") - start
        edge, at = runs(count)
        row = self.rows[start[edge] + at]
        other = self.joint[row] != joint
        out = np.zeros(len(edges), dtype=np.int64)
        np.maximum.at(out, edge[other], self.kind[row[other]])
        return out.astype(np.uint8)


def _lines(
    cells: Cells, rim: _Rim, rows: IntArray, behind: IntArray, before: IntArray, joint: int
) -> tuple[JointLine, ...]:
    """Border of a joint's face as closed loops, the face on the left seen from above."""
    t = cells.tail.triangles[rows]
    if len(t) == 0:
        return ()
    edge = np.stack([t, np.roll(t, -1, axis=1)], axis=2).reshape(-1, 2)
    row = np.repeat(rows, 3)
    keys = edge_keys(edge[:, 0], edge[:, 1], rim.total)
    order = np.argsort(keys, kind="stable")
    start = np.flatnonzero(np.append(True, keys[order][1:] != keys[order][:-1]))
    net = np.add.reduceat(np.where(edge[order, 0] < edge[order, 1], 1, -1), start)
    way = np.where(edge[:, 0] < edge[:, 1], 1, -1)[order]
    # Of the triangles at an edge that bounds the face, as many as the border runs it times, and its way.
    group = np.repeat(np.arange(len(start)), np.diff(np.append(start, len(order))))
    agrees = np.flatnonzero(np.sign(net[group]) == way)
    group = group[agrees]
    turn = np.arange(len(group)) - np.searchsorted(group, group, side="left")
    first = order[agrees[turn < np.abs(net[group])]]
    rim_edge, rim_row = edge[first], row[first]
    kinds = rim.kinds(rim_edge, joint)
    where: dict[tuple[int, int], list[int]] = {}
    for i, (a, b) in enumerate(rim_edge.tolist()):
        where.setdefault((a, b), []).append(i)
    out = []
    for loop in edge_loops(rim_edge):
        closed = np.append(loop, loop[:1])
        steps = zip(closed[:-1].tolist(), closed[1:].tolist(), strict=True)
        at = np.array([where[step].pop(0) for step in steps], dtype=np.int64)
        pieces = np.stack([behind[rim_row[at]], before[rim_row[at]]], axis=1)
        out.append(JointLine(cells.points(closed), kinds[at], pieces))
    return tuple(out)


def _contacts(
    cells: Cells,
    rows: IntArray,
    behind: IntArray,
    before: IntArray,
    lines: Sequence[JointLine],
    joint: int,
) -> list[Contact]:
    # Where the gap leaves one piece on both sides there is no contact, but where a joint only opens it there is.
    opened = cells.tail.below[rows] == cells.tail.above[rows]
    rows = rows[(behind[rows] >= 0) & (before[rows] >= 0) & ((behind[rows] != before[rows]) | opened)]
    if len(rows) == 0:
        return []
    area = corner_areas(cells.points(cells.tail.triangles[rows]))
    count = int(max(behind.max(), before.max())) + 1
    pair, inverse = np.unique(behind[rows] * count + before[rows], return_inverse=True)
    areas = np.bincount(inverse.reshape(-1), area)
    length: dict[int, float] = {}
    for line in lines:
        key = line.pieces[:, 0] * count + line.pieces[:, 1]
        use = (line.kind == 0) & (line.pieces >= 0).all(axis=1)
        for k, step in zip(key[use].tolist(), line.lengths[use].tolist(), strict=True):
            length[k] = length.get(k, 0.0) + step
    return [
        Contact(joint, k // count, k % count, float(a), length.get(k, 0.0))
        for k, a in zip(pair.tolist(), areas.tolist(), strict=True)
    ]
