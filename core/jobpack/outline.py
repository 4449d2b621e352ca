# SPDX-License-Identifier: GPL-3.0-or-later
"""Bodies as line drawings: who is seen where, looked at along a direction, and the lines between them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.polyline import simplified
from ..mesh.raster import flat_corners, front
from ..mesh.topology import edge_loops

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NOBODY: Final = -1
"""Label of a cell in which nothing is seen."""

_SIMPLE: Final = 0.75
"""Cells by which a drawn line may leave the one through the middles of the grid's steps."""


@dataclass(frozen=True, eq=False)
class Seen:
    """A grid of labels in the plane of a view.

    Attributes
    ----------
    label : (rows, columns) int64, row 0 at the bottom, `NOBODY` where there is nothing.
    corner : (2,) metres, lower left. cell : metres.
    depth : (rows, columns) metres towards the viewer, -inf where there is nothing.
    """

    label: IntArray
    corner: FloatArray
    cell: float
    depth: FloatArray


def view_axes(name: str) -> FloatArray:
    """Right, up and towards the viewer in columns, for a view ``from above`` or from ``+x``, ``-x``, ``+y``, ``-y``."""
    if name == "from above":
        return np.eye(3)
    back = np.zeros(3)
    back["xy".index(name[1])] = 1.0 if name[0] == "+" else -1.0
    up = np.array([0.0, 0.0, 1.0])
    return np.stack((np.cross(up, back), up, back), axis=1)


def look_at(
    bodies: Sequence[tuple[FloatArray, IntArray, IntArray]],
    axes: FloatArray,
    columns: int,
    box: FloatArray | None = None,
) -> Seen:
    """Look at bodies in parallel along the third axis.

    Parameters
    ----------
    bodies : of each its vertices (n, 3), triangles (m, 3) and labels (m,), all from 0 up.
    axes : (3, 3) right, up and towards the viewer in columns.
    columns : cells along the longer side of the picture.
    box : (2, 2) lowest and highest right and up, metres; None: that of the bodies.
    """
    local = [v @ axes for v, _, _ in bodies]
    if box is None:
        box = np.array(
            [np.min([p.min(axis=0) for p in local], axis=0)[:2], np.max([p.max(axis=0) for p in local], axis=0)[:2]]
        )
    low, high = box
    cell = max(float((high - low).max()) / columns, 1e-9)
    # A cell of margin all round, so that outlines close.
    corner = low - cell
    shape = tuple(int(np.ceil(float(high[k] - low[k]) / cell)) + 2 for k in (1, 0))
    label = np.full(shape, NOBODY, dtype=np.int64)
    depth = np.full(shape, -np.inf)
    for points, (_, triangles, labels) in zip(local, bodies, strict=True):
        flat = np.column_stack([(points[:, :2] - corner) / cell, points[:, 2]])
        seen, height = front(flat_corners(flat, triangles), (shape[0], shape[1]))
        nearer = height > depth
        depth[nearer] = height[nearer]
        label[nearer] = labels[seen[nearer]]
    return Seen(label, corner, cell, depth)


def without_slits(seen: Seen, width: float) -> Seen:
    """The same view with empty slits up to `width` metres closed, such as gaps that one looks through."""
    steps = int(np.ceil(0.5 * width / seen.cell)) + 1
    label = np.pad(seen.label, steps, constant_values=NOBODY)
    grown = label
    for _ in range(steps):
        grown = np.where(grown == NOBODY, np.maximum.reduce(_beside(grown, NOBODY)), grown)
    inside = grown != NOBODY
    for _ in range(steps):
        inside = np.logical_and.reduce([inside, *_beside(inside, True)])
    closed = np.where(inside & (label == NOBODY), grown, label)[steps:-steps, steps:-steps]
    return Seen(closed, seen.corner, seen.cell, seen.depth)


def _beside(grid: NDArray[Any], outside: int) -> list[NDArray[Any]]:
    """The grid moved by one cell each way."""
    padded = np.pad(grid, 1, constant_values=outside)
    return [padded[1:-1, :-2], padded[1:-1, 2:], padded[:-2, 1:-1], padded[2:, 1:-1]]


@dataclass(frozen=True, eq=False)
class Arc:
    """A line between two labels, the lower first; (k, 2) metres in the view, a closed one repeats its first point."""

    one: int
    two: int
    points: FloatArray


def arcs(seen: Seen) -> list[Arc]:
    """Lines between cells of different labels, each once, from junction to junction or closed."""
    label = seen.label
    wide = label.shape[1] + 1
    ends: list[IntArray] = []
    pairs: list[IntArray] = []
    for first, second, step in (
        (label[:, :-1], label[:, 1:], (0, 1)),
        (label[:-1], label[1:], (1, 0)),
    ):
        row, column = np.nonzero(first != second)
        a, b = first[row, column], second[row, column]
        if step == (0, 1):
            start, end = row * wide + column + 1, (row + 1) * wide + column + 1
        else:
            start, end = (row + 1) * wide + column, (row + 1) * wide + column + 1
        ends.append(np.stack((start, end), axis=1))
        pairs.append(np.stack((np.minimum(a, b), np.maximum(a, b)), axis=1))
    edges, between = np.concatenate(ends), np.concatenate(pairs)
    touching: dict[int, list[int]] = {}
    for k, (a, b) in enumerate(edges.tolist()):
        touching.setdefault(a, []).append(k)
        touching.setdefault(b, []).append(k)
    used = np.zeros(len(edges), dtype=bool)
    out: list[Arc] = []
    listed = edges.tolist()

    def walk(edge: int, at: int) -> None:
        path = [at]
        while True:
            used[edge] = True
            a, b = listed[edge]
            at = b if a == at else a
            path.append(at)
            follow = [k for k in touching[at] if not used[k]]
            if len(touching[at]) != 2 or not follow:
                break
            edge = follow[0]
        nodes = np.array(path)
        points = np.stack((nodes % wide, nodes // wide), axis=1).astype(np.float64)
        smooth = seen.corner + simplified(_middles(points), _SIMPLE) * seen.cell
        out.append(Arc(int(between[edge, 0]), int(between[edge, 1]), smooth))

    for node, meets in touching.items():
        if len(meets) != 2:
            for edge in meets:
                if not used[edge]:
                    walk(edge, node)
    for edge in range(len(listed)):
        if not used[edge]:
            walk(edge, listed[edge][0])
    return out


def patches(seen: Seen, wanted: int) -> list[FloatArray]:
    """Outlines of all cells of one label, closed without repeating, (k, 2) metres each; holes run the other way."""
    mask = np.pad(seen.label == wanted, 1)
    wide = mask.shape[1] + 1
    edges = []
    row, column = np.nonzero(mask[:, 1:] != mask[:, :-1])
    right = mask[row, column]
    a, b = row * wide + column + 1, (row + 1) * wide + column + 1
    edges.append(np.stack((np.where(right, a, b), np.where(right, b, a)), axis=1))
    row, column = np.nonzero(mask[1:] != mask[:-1])
    top = mask[row, column]
    a, b = (row + 1) * wide + column, (row + 1) * wide + column + 1
    edges.append(np.stack((np.where(top, b, a), np.where(top, a, b)), axis=1))
    joined = np.concatenate(edges)
    if len(joined) == 0:
        return []
    out = []
    for loop in edge_loops(joined):
        points = np.stack((loop % wide, loop // wide), axis=1).astype(np.float64) - 1.0
        closed = np.concatenate([points, points[:1]])
        out.append(seen.corner + simplified(_middles(closed), _SIMPLE)[:-1] * seen.cell)
    return out


def _middles(points: FloatArray) -> FloatArray:
    """A line of grid steps through the middles of its steps, which takes the steps off; ends of an open one stay."""
    middles = (points[1:] + points[:-1]) / 2.0
    if (points[0] == points[-1]).all():
        return np.concatenate([middles, middles[:1]])
    return np.concatenate([points[:1], middles, points[-1:]])
