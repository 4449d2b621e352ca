# SPDX-License-Identifier: GPL-3.0-or-later
"""Where planes cross a closed mesh, as closed loops: any number of parallel planes in one pass over the triangles."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import MeshError
from .mesh import Mesh
from .runs import runs

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Section:
    """What one plane shows of a solid.

    Attributes
    ----------
    level : metres along the normal.
    loops : each (k, 3) metres, closed (the first point is not repeated), the solid on its left seen against the
        normal; so outlines run counter-clockwise and holes clockwise.
    """

    level: float
    loops: tuple[FloatArray, ...]


def cross_sections(
    mesh: Mesh, levels: Sequence[float], normal: ArrayLike = (0.0, 0.0, 1.0), beneath: bool = False
) -> tuple[Section, ...]:
    """Sections of a closed mesh by the planes ``normal . x = level``.

    Parameters
    ----------
    mesh : closed and consistently wound; metres.
    levels : any order, any number.
    normal : (3,) unit direction.
    beneath : a vertex exactly on a plane counts as under it, so that a flat face there shows what stands on it; with
        `beneath` it counts as over it, and the section is of what lies just under the plane.

    Returns
    -------
    One `Section` for each level, in the order given; without loops where the plane misses the solid.

    Raises
    ------
    MeshError
        The mesh is not closed where a plane crosses it.

    Notes
    -----
    A crossed edge has one place, worked out from its lower to its higher vertex number, and loops are linked by edge,
    not by nearness: there are no gaps, and the solid's two sides never disagree. The cost is one pass over the mesh and
    then that of the triangles crossed.
    """
    wanted = np.asarray(levels, dtype=np.float64).reshape(-1)
    order = np.argsort(wanted, kind="stable")
    rising = wanted[order]
    axis = np.asarray(normal, dtype=np.float64)
    height = mesh.vertices[:, 0] * axis[0] + mesh.vertices[:, 1] * axis[1] + mesh.vertices[:, 2] * axis[2]
    # How many planes a vertex stands over: a triangle is crossed by those between its lowest and its highest corner.
    over = np.searchsorted(rising, height, side="right" if beneath else "left").astype(np.int32)
    a, b, c = (over[mesh.triangles[:, k]] for k in range(3))
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    rows = np.flatnonzero(high > low)
    times = (high[rows] - low[rows]).astype(np.int64)
    row, plane = runs(times)
    row = rows[row]
    plane += low[row]
    if len(row) == 0:
        return tuple(Section(float(level), ()) for level in wanted)
    corner = mesh.triangles[row]
    up = over[corner] > plane[:, None]
    # Round the triangle the edge that goes down begins the stroke, the one that goes up ends it.
    after = np.roll(up, -1, axis=1)
    begin, end = np.argmax(up & ~after, axis=1), np.argmax(~up & after, axis=1)
    count = len(mesh.vertices)
    starts, ends = (_edge_key(corner, at, count) for at in (begin, end))
    follow = _followers(starts, ends, plane)
    points = _places(mesh, height, starts, rising[plane])
    found: list[list[FloatArray]] = [[] for _ in rising]
    for loop in _loops(follow):
        found[plane[loop[0]]].append(points[loop])
    sections = [Section(float(rising[j]), tuple(loops)) for j, loops in enumerate(found)]
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    return tuple(sections[j] for j in place.tolist())


def _edge_key(corner: IntArray, at: IntArray, count: int) -> IntArray:
    """One number for the edge that begins at corner `at`: lower vertex x count + higher vertex."""
    rows = np.arange(len(corner))
    p, q = corner[rows, at], corner[rows, (at + 1) % 3]
    key: IntArray = np.minimum(p, q) * count + np.maximum(p, q)
    return key


def _followers(starts: IntArray, ends: IntArray, plane: IntArray) -> IntArray:
    """Which stroke begins where each ends: same edge, same plane."""
    first, last = np.lexsort((starts, plane)), np.lexsort((ends, plane))
    if not np.array_equal(starts[first], ends[last]) or not np.array_equal(plane[first], plane[last]):
        raise MeshError("a section is not closed: the surface has open or doubled edges there; mend the carving first")
    follow = np.empty(len(starts), dtype=np.int64)
    follow[last] = first
    return follow


def _places(mesh: Mesh, height: FloatArray, keys: IntArray, level: FloatArray) -> FloatArray:
    """Where each edge meets its plane, (k, 3)."""
    p, q = np.divmod(keys, len(mesh.vertices))
    rise = height[q] - height[p]
    share = np.clip((level - height[p]) / np.where(rise == 0.0, 1.0, rise), 0.0, 1.0)[:, None]
    start, stop = mesh.vertices[p], mesh.vertices[q]
    # Either end exactly where the plane runs through it.
    places: FloatArray = np.where(share == 1.0, stop, start + share * (stop - start))
    return places


def _loops(follow: IntArray) -> list[list[int]]:
    """Cycles of a permutation, each from its lowest member, in that order."""
    after = follow.tolist()
    seen = bytearray(len(after))
    out = []
    for first in range(len(after)):
        if seen[first]:
            continue
        loop, at = [], first
        while not seen[at]:
            seen[at] = 1
            loop.append(at)
            at = after[at]
        out.append(loop)
    return out


def windings(loops: Sequence[FloatArray], points: ArrayLike) -> IntArray:
    """How often loops go round points, (n,): 1 inside a solid's section, 0 outside.

    Parameters
    ----------
    loops : each (k, 2) or more columns, closed.
    points : (n, 2).
    """
    at = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    turns = np.zeros(len(at), dtype=np.int64)
    if not loops:
        return turns
    p = np.concatenate([loop[:, :2] for loop in loops])
    q = np.concatenate([np.roll(loop[:, :2], -1, axis=0) for loop in loops])
    for k, (x, y) in enumerate(at.tolist()):
        from_over, to_over = p[:, 1] > y, q[:, 1] > y
        rows = np.flatnonzero(from_over != to_over)
        a, b = p[rows], q[rows]
        side = (b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (x - a[:, 0]) * (b[:, 1] - a[:, 1])
        rising = to_over[rows]
        turns[k] = np.count_nonzero(rising & (side > 0.0)) - np.count_nonzero(~rising & (side < 0.0))
    return turns
