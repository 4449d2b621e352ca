# SPDX-License-Identifier: GPL-3.0-or-later
"""Filling holes with patches that go on as the surface round them does."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from ..errors import MeshError
from ..mesh.mesh import FloatArray, IntArray, Mesh, bounds
from ..mesh.topology import edge_loops
from ..tolerance import Tolerance
from .draft import BoolArray, Change, Draft
from .loops import Hole, find_holes, width
from .patch import span_hole
from .refine import refine, smooth
from .table import EdgeTable
from .words import count, length, place

_STEEP: Final = math.radians(50.0)
"""Mean bend round a rim: a hole as wide as a ball's radius has 30 degrees, an open end of a tube 90."""


def fill_holes(draft: Draft, widest: float, base: bool = True) -> tuple[Draft, tuple[Change, ...]]:
    """Fill holes up to a width.

    Parameters
    ----------
    draft : wound alike, at most two triangles at an edge.
    widest : metres; wider holes stay open.
    base : leave a rim that lies level on the floor to closing the base.

    Notes
    -----
    A hole whose rim does not make loops, or that no triangles span without making an edge twice, stays open.
    """
    mesh = draft.mesh
    if not len(mesh.triangles) or widest <= 0.0:
        return draft, ()
    table = EdgeTable.of(mesh.triangles)
    holes = find_holes(mesh.vertices, table.open_edges())
    floor = float(mesh.vertices[:, 2].min()) if len(holes) else 0.0
    chosen = [hole for hole in holes if hole.across <= widest and not (base and _on_floor(hole, floor, mesh))]
    loops: list[IntArray] = []
    done: list[Hole] = []
    for hole in chosen:
        try:
            parts = edge_loops(hole.edges)
        except MeshError:
            continue
        loops += parts
        done.append(hole)
    loops.sort(key=lambda loop: width(mesh.vertices[loop]))
    patches = _span(mesh, table, loops)
    if not len(patches):
        return draft, ()
    points, triangles = _shape(mesh, table, patches)
    result = draft.add(points, triangles)
    low, high = bounds(mesh.vertices)
    rim = np.zeros(len(mesh.vertices), dtype=bool)
    rim[patches] = True
    filled = [hole for hole in done if rim[hole.edges].any()]
    left = {tuple(edge) for edge in EdgeTable.of(result.mesh.triangles).open_edges().tolist()}
    filled = [hole for hole in filled if not any(tuple(edge) in left for edge in hole.edges.tolist())]
    if not filled:
        return result, ()
    largest = filled[0]
    where = place(largest.middle, low, high)
    each = "" if len(filled) == 1 else "the largest "
    text = f"{count(len(filled), 'hole')} filled, {each}{length(largest.across)} across, {where}"
    return result, (Change("fill", text, len(filled)),)


def _on_floor(hole: Hole, floor: float, mesh: Mesh) -> bool:
    return hole.high <= floor + Tolerance.of(mesh.vertices).floor


def _span(mesh: Mesh, table: EdgeTable, loops: Sequence[IntArray]) -> IntArray:
    """Triangles of all loops that can be spanned, (t, 3)."""
    out: list[IntArray] = [np.zeros((0, 3), dtype=np.int64)]
    if not loops:
        return out[0]
    on_rim = np.zeros(len(mesh.vertices), dtype=bool)
    for loop in loops:
        on_rim[loop] = True
    ends = table.ends(slice(None))
    ends = ends[on_rim[ends].all(axis=1)]
    joined = {(int(a), int(b)) for a, b in ends.tolist()}
    half = table.half[table.start[table.open()]]
    flat = mesh.triangles.reshape(-1)
    begins = {
        (int(a), int(b)): int(h) // 3
        for a, b, h in zip(flat[half], flat[half - half % 3 + (half + 1) % 3], half, strict=True)
    }
    for loop in loops:
        follow = np.roll(loop, -1)
        owner = [begins[int(a), int(b)] for a, b in zip(loop.tolist(), follow.tolist(), strict=True)]
        corners = mesh.vertices[mesh.triangles[owner]]
        normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        size = np.linalg.norm(normal, axis=1)
        normal /= np.where(size > 0.0, size, 1.0)[:, None]
        made = span_hole(mesh.vertices[loop], normal, _forbidden(loop, joined))
        if made is None:
            continue
        patch = loop[made]
        out.append(patch)
        for a, b in np.sort(np.concatenate([patch[:, [0, 1]], patch[:, [1, 2]], patch[:, [2, 0]]]), axis=1).tolist():
            joined.add((a, b))
    return np.concatenate(out)


def _forbidden(loop: IntArray, joined: set[tuple[int, int]]) -> BoolArray:
    """Pairs of corners of a loop that an edge joins already."""
    size = len(loop)
    table = np.zeros((size, size), dtype=bool)
    row = {int(v): k for k, v in enumerate(loop.tolist())}
    if len(joined) < size * size:
        for a, b in joined:
            if a in row and b in row:
                table[row[a], row[b]] = table[row[b], row[a]] = True
    else:
        for a, i in row.items():
            for b, j in row.items():
                if (min(a, b), max(a, b)) in joined:
                    table[i, j] = True
    return table


def _shape(mesh: Mesh, table: EdgeTable, patch: IntArray) -> tuple[FloatArray, IntArray]:
    """Corners to put into the patches, and the patches' triangles."""
    rim = np.unique(patch)
    on_rim = np.zeros(len(mesh.vertices), dtype=bool)
    on_rim[rim] = True
    beside = np.flatnonzero(on_rim[mesh.triangles].any(axis=1))
    near = mesh.triangles[beside]
    edges = np.unique(np.sort(np.concatenate([near[:, [0, 1]], near[:, [1, 2]], near[:, [2, 0]]]), axis=1), axis=0)
    size = np.linalg.norm(mesh.vertices[edges[:, 0]] - mesh.vertices[edges[:, 1]], axis=1)
    total, number = np.zeros(len(mesh.vertices)), np.zeros(len(mesh.vertices))
    for side in range(2):
        total += np.bincount(edges[:, side], weights=size, minlength=len(total))
        number += np.bincount(edges[:, side], minlength=len(total))
    spacing = total / np.maximum(number, 1.0)
    base = 4 * (len(mesh.vertices) + 64 * len(patch) + 4096)
    both = edges[on_rim[edges].all(axis=1)]
    blocked = np.sort(both[:, 0] * base + both[:, 1])
    new, triangles = refine(mesh.vertices, patch, spacing, blocked, base)
    if not len(new):
        return new, triangles
    free = len(mesh.vertices) + np.arange(len(new))
    points = np.concatenate([mesh.vertices, new])
    moved = smooth(points, np.concatenate([near, triangles]), free, rim)
    # A patch that bulges by more than half the width of its hole is worse than a plain one.
    body = EdgeTable.of(triangles).bodies()
    owner = np.zeros(len(points), dtype=np.int64)
    owner[triangles] = body[:, None]
    bulge = np.zeros(int(body.max()) + 1)
    np.maximum.at(bulge, owner[free], np.linalg.norm(moved - new, axis=1))
    wide = np.array([width(mesh.vertices[rim[owner[rim] == k]]) for k in range(len(bulge))])
    plain = ((bulge > 0.5 * wide) | _ends(points, near, triangles, body))[owner[free]]
    return np.where(plain[:, None], new, moved), triangles


def _ends(points: FloatArray, near: IntArray, patch: IntArray, body: IntArray) -> BoolArray:
    """Which patches meet the surface round them so steeply that they close an end and are no hole in a side.

    A smooth patch would bulge there: a tube's open end stays flat.
    """
    both = np.concatenate([near, patch])
    corners = points[both]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.sqrt((normal * normal).sum(axis=1))
    normal /= np.where(size > 0.0, size, 1.0)[:, None]
    one, two, _ = EdgeTable.of(both).pairs()
    rim = (one < len(near)) != (two < len(near))
    outer, inner = np.minimum(one, two)[rim], np.maximum(one, two)[rim]
    bend = np.arccos(np.clip((normal[outer] * normal[inner]).sum(axis=1), -1.0, 1.0))
    label = body[inner - len(near)]
    number = np.maximum(np.bincount(label, minlength=int(body.max()) + 1), 1)
    steep: BoolArray = np.bincount(label, weights=bend, minlength=len(number)) / number > _STEEP
    return steep
