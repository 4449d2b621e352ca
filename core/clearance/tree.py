# SPDX-License-Identifier: GPL-3.0-or-later
"""Boxes in boxes over triangles or points, as flat arrays: what a search for the nearest goes down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_BITS: Final = 10
"""Bits of each coordinate in a sorting key: a grid of 1024 in each direction, three of which fit 32 bits, which sort
twice as fast as 64. Within one cell of the grid the order of the mesh stays."""


@dataclass(frozen=True, eq=False)
class Forest:
    """One binary tree or several, each over the shapes of one group.

    Attributes
    ----------
    vertices : (n, 3) metres. shapes : (m, c) vertex numbers, c 3 for triangles, 1 for points.
    boxes : (k, 6) middle and half size of each node's box, metres.
    child : (k,) first child, whose brother is the next node; -1 for a leaf.
    single : (k,) whether there is no brother.
    shape : (k,) row of `shapes` of a leaf, -1 for others.
    group : (k,) group of each node.
    roots : (g,) root of each group; -1 where the group holds nothing.
    """

    vertices: FloatArray
    shapes: IntArray
    boxes: FloatArray
    child: IntArray
    single: NDArray[np.bool_]
    shape: IntArray
    group: IntArray
    roots: IntArray


def mesh_forest(meshes: Sequence[Mesh], low: FloatArray | None = None, high: FloatArray | None = None) -> Forest:
    """One tree for each mesh.

    Parameters
    ----------
    meshes : in one frame, metres. low, high : (3,) a box; triangles that keep outside it are left out.

    Returns
    -------
    Forest
        Group g is mesh g. `shapes` number the vertices of all meshes one after another; see `sources`.
    """
    vertices, shapes, parts, start = [], [], [], 0
    for group, mesh in enumerate(meshes):
        rows = _near(mesh, low, high)
        triangles = mesh.triangles if rows is None else mesh.triangles[rows]
        corners = [mesh.vertices[triangles[:, k]] for k in range(3)]
        least = np.minimum(np.minimum(corners[0], corners[1]), corners[2])
        most = np.maximum(np.maximum(corners[0], corners[1]), corners[2])
        parts.append(_tree(least, most, group))
        vertices.append(mesh.vertices)
        shapes.append(triangles + start)
        start += len(mesh.vertices)
    return _join(vertices, shapes, parts)


def sources(meshes: Sequence[Mesh], low: FloatArray | None, high: FloatArray | None) -> list[IntArray]:
    """Triangle numbers, mesh by mesh, that stand behind `mesh_forest` of the same arguments."""
    found = [_near(mesh, low, high) for mesh in meshes]
    return [
        np.arange(len(mesh.triangles), dtype=np.int64) if rows is None else rows
        for mesh, rows in zip(meshes, found, strict=True)
    ]


def point_forest(points: FloatArray) -> Forest:
    """A forest of leaves: every point (n, 3) a group of its own."""
    count = len(points)
    each = np.arange(count, dtype=np.int64)
    return Forest(
        vertices=points,
        shapes=each[:, None],
        boxes=np.concatenate([points, np.zeros((count, 3))], axis=1),
        child=np.full(count, -1, dtype=np.int64),
        single=np.zeros(count, dtype=bool),
        shape=each,
        group=each,
        roots=each,
    )


def by_shape(forest: Forest) -> Forest:
    """The same trees with every shape a group of its own; nodes over leaves belong to one more, the last group."""
    group = np.where(forest.shape >= 0, forest.shape, len(forest.shapes))
    return Forest(
        forest.vertices,
        forest.shapes,
        forest.boxes,
        forest.child,
        forest.single,
        forest.shape,
        group,
        forest.roots,
    )


def _near(mesh: Mesh, low: FloatArray | None, high: FloatArray | None) -> IntArray | None:
    """Triangles that touch the box; None: all of them."""
    if low is None or high is None:
        return None
    word = np.zeros(len(mesh.vertices), dtype=np.uint8)
    for axis in range(3):
        x = mesh.vertices[:, axis]
        word |= ((x >= low[axis]).view(np.uint8) << (2 * axis)).astype(np.uint8)
        word |= ((x <= high[axis]).view(np.uint8) << (2 * axis + 1)).astype(np.uint8)
    t = mesh.triangles
    return np.flatnonzero((word[t[:, 0]] | word[t[:, 1]] | word[t[:, 2]]) == 63)


def _spread(x: NDArray[np.uint32]) -> NDArray[np.uint32]:
    """Two zero bits between each of the low ten bits."""
    for shift, mask in ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249)):
        x = (x | (x << np.uint32(shift))) & np.uint32(mask)
    return x


def _order(least: FloatArray, most: FloatArray) -> IntArray:
    """Order of boxes along a curve that keeps near ones together."""
    corner, far = least.min(axis=0), most.max(axis=0)
    step = np.maximum((far - corner).max(), 1e-300) / ((1 << _BITS) - 1)
    key = np.zeros(len(least), dtype=np.uint32)
    for axis in range(3):
        middle = 0.5 * (least[:, axis] + most[:, axis])
        cell = ((middle - corner[axis]) / step).astype(np.uint32)
        key |= _spread(cell) << np.uint32(axis)
    return np.argsort(key, kind="stable")


def _tree(least: FloatArray, most: FloatArray, group: int) -> dict[str, Any] | None:
    """Nodes of one tree, root first, its own rows numbered from 0."""
    count = len(least)
    if count == 0:
        return None
    order = _order(least, most)
    levels = [(least[order], most[order])]
    while len(levels[-1][0]) > 1:
        low, high = levels[-1]
        half = len(low) // 2
        up_low, up_high = np.minimum(low[: 2 * half : 2], low[1::2]), np.maximum(high[: 2 * half : 2], high[1::2])
        if len(low) % 2:
            up_low, up_high = np.concatenate([up_low, low[-1:]]), np.concatenate([up_high, high[-1:]])
        levels.append((up_low, up_high))
    levels.reverse()
    sizes = [len(low) for low, _ in levels]
    starts = np.concatenate([[0], np.cumsum(sizes)])
    total = int(starts[-1])
    boxes = np.empty((total, 6))
    child, single, shape = np.full(total, -1, dtype=np.int64), np.zeros(total, dtype=bool), np.full(total, -1)
    for depth, (low, high) in enumerate(levels):
        rows = slice(starts[depth], starts[depth + 1])
        boxes[rows, :3], boxes[rows, 3:] = 0.5 * (low + high), 0.5 * (high - low)
        if depth + 1 < len(levels):
            child[rows] = starts[depth + 1] + 2 * np.arange(sizes[depth])
            single[rows][-1] = sizes[depth + 1] % 2 == 1
    shape[starts[-2] :] = order
    return {"boxes": boxes, "child": child, "single": single, "shape": shape, "group": np.full(total, group)}


def _join(vertices: list[FloatArray], shapes: list[IntArray], parts: list[dict[str, Any] | None]) -> Forest:
    roots, columns, nodes, rows = [], [], 0, 0
    for part, own in zip(parts, shapes, strict=True):
        roots.append(nodes if part is not None else -1)
        if part is not None:
            if nodes:
                part["child"] = np.where(part["child"] >= 0, part["child"] + nodes, -1)
            if rows:
                part["shape"] = np.where(part["shape"] >= 0, part["shape"] + rows, -1)
            columns.append(part)
            nodes += len(part["child"])
        rows += len(own)

    def column(name: str, empty: Any) -> Any:
        if len(columns) == 1:
            return columns[0][name]
        return np.concatenate([part[name] for part in columns]) if columns else empty

    none = np.zeros(0, dtype=np.int64)
    return Forest(
        vertices=vertices[0] if len(vertices) == 1 else np.concatenate(vertices or [np.zeros((0, 3))]),
        shapes=shapes[0] if len(shapes) == 1 else np.concatenate(shapes or [np.zeros((0, 3), dtype=np.int64)]),
        boxes=column("boxes", np.zeros((0, 6))).astype(np.float64, copy=False),
        child=column("child", none).astype(np.int64, copy=False),
        single=column("single", np.zeros(0, dtype=bool)).astype(np.bool_, copy=False),
        shape=column("shape", none).astype(np.int64, copy=False),
        group=column("group", none).astype(np.int64, copy=False),
        roots=np.array(roots, dtype=np.int64),
    )
