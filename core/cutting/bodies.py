# SPDX-License-Identifier: GPL-3.0-or-later
"""From cells to bodies: closed meshes with a source for every triangle."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mass import triangle_areas, volume
from ..mesh.mesh import Mesh
from ..mesh.topology import closed_components
from ..mesh.winding import encloses
from .cells import Cells, Tail
from .folds import close_folds
from .pinch import part_corners, pinched_edges, split_apart
from .result import FROM_CARVING, Body
from .slit import part_slits
from .splitting import edge_keys, split_edges

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

_FEW: Final = 3
"""Regions up to which the rows of each are looked for by themselves; of more all rows are sorted by region."""

_ROUNDS: Final = 2
"""Times that edges which copies of their ends cannot part are halved for all bodies at them, before each body is
parted for itself."""


@dataclass(frozen=True, eq=False)
class RegionBody:
    """A body with its place in the cells.

    Attributes
    ----------
    base : rows of the carving that it lies behind.
    behind, before : tail rows that it lies behind, and tail rows that it lies before.
    """

    region: int
    body: Body
    base: IntArray
    behind: IntArray
    before: IntArray


def make_bodies(cells: Cells, regions: Iterable[int], split: bool, again: bool = False) -> list[RegionBody]:
    """Bodies of the given regions, in their order.

    Parameters
    ----------
    cells : changed only where bodies hang together along an edge that needs a vertex to part them.
    split : one body for each connected one; else one for each region.
    again : leave the cells as they are, for bodies made earlier hold on to their rows.
    """
    regions = list(regions)
    pinches, slits = _free_pinches(cells, regions, 0 if again else _ROUNDS)
    sides = [_rows_of(side, regions, len(cells.regions)) for side in (cells.label, cells.tail.below, cells.tail.above)]
    total = len(cells.mesh.vertices) + len(cells.extra)
    most = total + max((len(twins) for _, twins in slits.values()), default=0)
    mark = np.zeros(most, dtype=bool)
    local = np.zeros(most, dtype=np.int64)
    out: list[RegionBody] = []
    tail = cells.tail
    for r, base, behind, before in zip(regions, *sides, strict=True):
        size = len(base) + len(behind) + len(before)
        if size == 0:
            continue
        triangles = np.empty((size, 3), dtype=np.int64)
        np.take(cells.mesh.triangles, base, axis=0, out=triangles[: len(base)], mode="clip")
        triangles[len(base) : len(base) + len(behind)] = np.take(tail.triangles, behind, axis=0)
        triangles[len(base) + len(behind) :] = np.take(tail.triangles, before, axis=0)[:, ::-1]
        if r in slits:
            triangles[len(base) :] = slits[r][0]
        flat = triangles.reshape(-1)
        mark[flat] = True
        used = np.flatnonzero(mark)
        mark[used] = False
        local[used] = np.arange(len(used))
        triangles = np.take(local, flat, mode="clip").reshape(-1, 3)
        points = cells.points(_whole(used, total, slits[r][1]) if r in slits else used)
        of = None
        if len(pinches[r]):
            triangles, points, of = _part(triangles, points, local[pinches[r]])
        kind = np.concatenate([cells.mesh.kind[base], tail.kind[behind], tail.kind[before]])
        source = np.concatenate([base, tail.source[behind], tail.source[before]])
        origin = np.concatenate(
            [np.full(len(base), FROM_CARVING, dtype=np.uint8), tail.origin[behind], tail.origin[before]]
        )
        if of is not None:
            kind, source, origin = kind[of], source[of], origin[of]
        whole = RegionBody(r, Body(Mesh(points, triangles, kind), source, origin), base, behind, before)
        if not split:
            out.append(whole)
        elif of is None and r not in slits and cells.is_one(triangles[len(base) :]):
            out.append(_of_one_skin(whole))
        else:
            out += _split(whole, of)
    return out


def _rows_of(region: NDArray[np.signedinteger[Any]], regions: list[int], count: int) -> list[IntArray]:
    """Rows of each of some of `count` regions, rising, from the region of every row."""
    if len(regions) <= _FEW:
        return [np.flatnonzero(region == r) for r in regions]
    # Few bytes sort fastest; GONE and OUTSIDE are their highest values, so they come last.
    short = region.astype(np.uint8 if count < 254 else np.uint16 if count < 65534 else np.uint32)
    order = np.argsort(short, kind="stable")
    bounds = np.searchsorted(short, np.arange(count + 1).astype(short.dtype), sorter=order)
    return [order[bounds[r] : bounds[r + 1]] for r in regions]


def _free_pinches(
    cells: Cells, regions: list[int], rounds: int
) -> tuple[dict[int, IntArray], dict[int, tuple[IntArray, IntArray]]]:
    """Pinched edges of each region; edges that a copy of their ends cannot part get a vertex in their middle first.

    Returns
    -------
    pinches : for each region (k, 2), by the numbers of the cells, and of the copies where slits have given some.
    slits : for each region with slits its tail rows, behind and before, after `part_slits`; and the copies.
    """
    folded = rounds > 0
    pinches: dict[int, IntArray] = {}
    slits: dict[int, tuple[IntArray, IntArray]] = {}
    stuck: dict[int, IntArray] = {}
    changed = set(regions)
    while True:
        rounds -= 1
        total = len(cells.mesh.vertices) + len(cells.extra)
        inside = cells.tail.below[cells.tail.below == cells.tail.above]
        inner = np.unique(inside[inside >= 0]).tolist()
        some = [r for r in regions if r in changed or r in inner]
        sides = [_rows_of(side, some, len(cells.regions)) for side in (cells.tail.below, cells.tail.above)]
        for r, behind, before in zip(some, *sides, strict=True):
            slits.pop(r, None)
            stuck.pop(r, None)
            t = np.take(cells.tail.triangles, np.concatenate([behind, before]), axis=0)
            t[len(behind) :] = t[len(behind) :, ::-1]
            twins = np.zeros(0, dtype=np.int64)
            if r in inner:
                t, twins = slits[r] = _part_slits(cells, t, behind, before)
            pinches[r] = pinched_edges(t, total + len(twins))
            if len(pinches[r]):
                near = _at(t, pinches[r])
                used, t = np.unique(t[near], return_inverse=True)
                t = t.reshape(-1, 3).astype(np.int64)
                edges = np.searchsorted(used, pinches[r])
                used = _whole(used, total, twins)
                found = part_corners(t, edges, cells.points(used), len(used))[2]
                if len(found):
                    stuck[r] = np.sort(used[found], axis=1)
        tail = cells.tail
        if folded and any(map(len, pinches.values())):
            cells.tail = close_folds(tail)
            folded = False
            other = (cells.tail.below != tail.below) | (cells.tail.above != tail.above)
            changed = _beside(tail, other) | _beside(cells.tail, other)
            continue
        if not stuck or rounds < 0:
            return pinches, slits
        edges = np.unique(np.concatenate(list(stuck.values())), axis=0)
        middle = cells.points(edges).mean(axis=1)
        cells.extra = np.concatenate([cells.extra, middle])
        made = total + np.arange(len(edges), dtype=np.int64)
        count = total + len(edges)
        keys = edge_keys(edges[:, 0], edges[:, 1], count)
        order = np.argsort(keys)
        triangles, rows = split_edges(tail.triangles, keys[order], made[order], count, cells.points)
        cells.tail = tail.of(triangles, rows)
        changed = _beside(tail, np.bincount(rows, minlength=len(tail)) > 1)


def _beside(tail: Tail, rows: NDArray[np.bool_]) -> set[int]:
    """Regions on either side of some rows."""
    return {*tail.below[rows].tolist(), *tail.above[rows].tolist()}


def _part_slits(cells: Cells, triangles: IntArray, behind: IntArray, before: IntArray) -> tuple[IntArray, IntArray]:
    """Tail rows of a region with the two sides of its slits parted, and which vertices the new ones are copies of."""
    rows = np.concatenate([behind, before])
    slit = np.where(cells.tail.below[rows] == cells.tail.above[rows], rows, -1)
    near = np.flatnonzero(np.isin(triangles, triangles[slit >= 0]).any(axis=1))
    used, local = np.unique(triangles[near], return_inverse=True)
    local = local.reshape(-1, 3).astype(np.int64)
    parted, twins = part_slits(local, slit[near], cells.points(used))
    total = len(cells.mesh.vertices) + len(cells.extra)
    out = triangles.copy()
    out[near] = np.append(used, total + np.arange(len(twins)))[parted]
    return out, used[twins]


def _at(triangles: IntArray, vertices: IntArray) -> NDArray[np.bool_]:
    """Which triangles have one of some vertices."""
    mark = np.zeros(int(triangles.max(initial=0)) + 1, dtype=bool)
    mark[vertices] = True
    a, b, c = (mark[triangles[:, k]] for k in range(3))
    out: NDArray[np.bool_] = a | b | c
    return out


def _whole(vertices: IntArray, total: int, twins: IntArray) -> IntArray:
    """Vertices of the cells for numbers of which those from `total` on are copies."""
    out: IntArray = np.append(np.arange(total), twins)[vertices] if len(twins) else vertices
    return out


def _part(triangles: IntArray, points: FloatArray, edges: IntArray) -> tuple[IntArray, FloatArray, IntArray | None]:
    """Triangles and points with pinched edges parted; the row that each triangle comes from, where some were split."""
    near = np.flatnonzero(_at(triangles, edges))
    parted, twins, _ = part_corners(triangles[near], edges, points, len(points))
    triangles = triangles.copy()
    triangles[near] = parted
    points = np.concatenate([points, points[twins]])
    left = pinched_edges(triangles[near], len(points))
    if len(left) == 0:
        return triangles, points, None
    return split_apart(triangles, left, points)


def _split(whole: RegionBody, of: IntArray | None = None) -> list[RegionBody]:
    """The connected bodies of a region; a hollow goes with the body round it.

    `of` tells the row of the cells that each triangle comes from, where there are more triangles than rows.
    """
    body, mesh = whole.body, whole.body.mesh
    label = closed_components(mesh.triangles)
    count = int(label.max()) + 1
    if count == 1:
        return [_of_one_skin(whole)]
    parts = _grouped(label, count)
    shells = [_compact(mesh, rows) for rows in parts]
    volumes = [volume(shell) for shell in shells]
    solid = [i for i in range(count) if volumes[i] >= 0.0]
    home = list(range(count))
    for i in range(count):
        if volumes[i] < 0.0 and solid:
            # Its corners may touch the skin of the body round it; the middle of its largest face does not.
            corners = shells[i].corners()
            middle: FloatArray = corners[int(np.argmax(triangle_areas(shells[i])))].mean(axis=0)
            inside = [s for s in solid if encloses(shells[s], middle)]
            home[i] = min(inside or solid, key=lambda s: volumes[s])
    out = []
    count_base, count_behind = len(whole.base), len(whole.behind)
    for i in sorted(set(home)):
        shared = [parts[k] for k in range(count) if home[k] == i]
        rows = np.sort(np.concatenate(shared)) if len(shared) > 1 else parts[i]
        shell = _compact(mesh, rows) if len(shared) > 1 else shells[i]
        part = Body(shell, body.source[rows], body.origin[rows], len(shared) == 1)
        rows = rows if of is None else np.unique(of[rows])
        tail = rows[rows >= count_base] - count_base
        out.append(
            RegionBody(
                whole.region,
                part,
                whole.base[rows[rows < count_base]],
                whole.behind[tail[tail < count_behind]],
                whole.before[tail[tail >= count_behind] - count_behind],
            )
        )
    return out


def _of_one_skin(whole: RegionBody) -> RegionBody:
    return replace(whole, body=replace(whole.body, one_skin=True))


def _grouped(label: IntArray, count: int) -> list[IntArray]:
    order = np.argsort(label, kind="stable")
    return np.split(order, np.cumsum(np.bincount(label, minlength=count))[:-1])


def _compact(mesh: Mesh, rows: IntArray) -> Mesh:
    flat = np.take(mesh.triangles, rows, axis=0).reshape(-1)
    mark = np.zeros(len(mesh.vertices), dtype=bool)
    mark[flat] = True
    used = np.flatnonzero(mark)
    local = np.zeros(len(mark), dtype=np.int64)
    local[used] = np.arange(len(used))
    return Mesh(mesh.vertices[used], local[flat].reshape(-1, 3), mesh.kind[rows])
