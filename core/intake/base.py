# SPDX-License-Identifier: GPL-3.0-or-later
"""The floor: closing an open base, and which triangles rest on it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..errors import MeshError, NotClosedError
from ..mesh.mesh import BASE, CARVED, FloatArray, IntArray, KindArray, Mesh
from ..mesh.runs import runs_in_parts
from ..mesh.topology import EdgeReport, boundary_loops, components, edge_places
from ..mesh.triangulate import triangulate_loops
from ..tolerance import Tolerance

BAND_SHARE: Final = 0.05
"""Open edges belong to the base while they keep within this share of the height above the lowest point. Scanned busts
that were cut off level have rims that wander by 2 % of their height (measured on one: 2.2 %); a rim that wanders more
was not cut level, and to close it would be to invent a shape."""
BAND_LEAST: Final = 1e-3
"""The band is never under a millimetre."""
DOWN: Final = math.cos(math.radians(5.0))
_RISING: Final = 1.0 / 3.0
"""Share of a rim's length by which rising surface must outweigh falling surface: 1 for a clean rim, 0 for a hole."""
_PAIRS: Final = 1 << 22
"""Pairs of rim edges tested at a time for crossing."""


@dataclass(frozen=True, eq=False)
class ClosedBase:
    """A mesh whose base was closed.

    Attributes
    ----------
    mesh : the mesh; new triangles stand after the old ones: skirt (carved), then caps (base).
    loops : number of loops closed.
    turned : whether the mesh was inside out and was turned.
    drop : greatest height of the skirt from rim to floor, metres; 0 where all rims lay on the floor.
    """

    mesh: Mesh
    loops: int
    turned: bool
    drop: float


def close_base(mesh: Mesh, report: EdgeReport) -> ClosedBase:
    """Close all open edges at floor level.

    Parameters
    ----------
    mesh : metres, z up, every vertex used, without non-manifold or misoriented edges.
    report : its `edge_report`.

    Returns
    -------
    ClosedBase
        Rim vertices within the floor tolerance of the lowest point are used as they are. From the others a skirt drops
        straight to the lowest level. The cap, of class base, closes the loops there, with holes where a loop lies
        within another.

    Raises
    ------
    NotClosedError
        An open edge lies above the band near the lowest point, a loop is a hole low in a side, or rims cross each other
        in plan.
    """
    height = float(mesh.size[2])
    floor = float(mesh.vertices[:, 2].min())
    band = max(BAND_LEAST, BAND_SHARE * height)
    above = mesh.vertices[report.boundary, 2].max(axis=1) > floor + band
    if above.any():
        high = report.boundary[above]
        raise NotClosedError(
            f"the surface is not closed: {len(high)} of {len(report.boundary)} open edges lie more than {band:.4g} m "
            f"above the lowest point and are no open base, first {edge_places(mesh.vertices, high)}. "
            "Close these holes, or check which axis is up, stand the carving level and cut its base off straight",
            high,
        )
    loops = boundary_loops(mesh.triangles)
    areas = np.array([_plan_area(mesh.vertices[loop, :2]) for loop in loops])
    near = Tolerance.of(mesh.vertices).floor
    _refuse_holes(mesh, loops, areas, floor + near)
    turned = bool(areas.sum() < 0.0)
    triangles = mesh.triangles[:, ::-1] if turned else mesh.triangles
    # A loop runs as its triangles do; seen from above a right one runs counter-clockwise and its cap clockwise.
    loops = tuple(loop[::-1] if turned else loop for loop in loops)
    vertices, skirt, rims = _drop(mesh.vertices, loops, floor, near)
    cap = _cap(vertices, rims, report.boundary)
    drop = float((mesh.vertices[report.boundary, 2] - floor).max()) if len(vertices) > len(mesh.vertices) else 0.0
    return ClosedBase(
        Mesh(
            vertices,
            np.concatenate([triangles, skirt, cap]),
            np.concatenate([mesh.kind, _classes(len(skirt), CARVED), _classes(len(cap), BASE)]),
        ),
        len(loops),
        turned,
        drop,
    )


def mark_base(mesh: Mesh) -> Mesh:
    """Give the class base to carved triangles that rest on the floor.

    Those whose normal is within 5 degrees of straight down and whose corners all lie within the floor tolerance of
    the lowest point; metres, z up. Other classes stay.
    """
    if not len(mesh.triangles):
        return mesh
    level = float(mesh.vertices[:, 2].min()) + Tolerance.of(mesh.vertices).floor
    low = (mesh.vertices[:, 2] <= level)[mesh.triangles].all(axis=1)
    rows = np.flatnonzero(low & (mesh.kind == CARVED))
    corners = mesh.vertices[mesh.triangles[rows]]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1)
    down = (-normals[:, 2] >= DOWN * length) & (length > 0.0)
    if not down.any():
        return mesh
    kind = mesh.kind.copy()
    kind[rows[down]] = BASE
    return Mesh(mesh.vertices, mesh.triangles, kind)


def _classes(count: int, kind: int) -> KindArray:
    return np.full(count, kind, dtype=np.uint8)


def _plan_area(points: FloatArray) -> float:
    """Signed area of a loop, (k, 2), counter-clockwise positive."""
    x, y = (points - points[0]).T
    return 0.5 * float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


def _refuse_holes(mesh: Mesh, loops: tuple[IntArray, ...], areas: FloatArray, level: float) -> None:
    """Tell holes low in a side from rims that the carving stands on.

    From a rim the surface rises all round; round a hole half of it rises and half falls. The largest loop of each body
    is its base in any case (it may run through level ground), and so is a loop that lies on the floor.
    """
    hanging = [row for row, loop in enumerate(loops) if mesh.vertices[loop, 2].max() > level]
    if len(loops) < 2 or not hanging:
        return
    on_rim = np.zeros(len(mesh.vertices), dtype=bool)
    for loop in loops:
        on_rim[loop] = True
    beside = np.flatnonzero(np.count_nonzero(on_rim[mesh.triangles], axis=1) >= 2)
    body = components(mesh.triangles)[beside].tolist()
    third: dict[tuple[int, int], int] = {}
    owner: dict[tuple[int, int], int] = {}
    for corners, label in zip(mesh.triangles[beside].tolist(), body, strict=True):
        for i in range(3):
            pair = (corners[i], corners[(i + 1) % 3])
            third[pair], owner[pair] = corners[(i + 2) % 3], label
    bodies = [owner[int(loop[0]), int(loop[1])] for loop in loops]
    largest: dict[int, int] = {}
    for row in np.argsort(np.abs(areas), kind="stable").tolist():
        largest[bodies[row]] = row
    for row in hanging:
        loop = loops[row]
        follow = np.roll(loop, -1)
        if largest[bodies[row]] == row:
            continue
        ends = mesh.vertices[loop], mesh.vertices[follow]
        over = mesh.vertices[[third[pair] for pair in zip(loop.tolist(), follow.tolist(), strict=True)], 2]
        length = np.linalg.norm(ends[1] - ends[0], axis=1)
        rising = float((np.sign(2.0 * over - ends[0][:, 2] - ends[1][:, 2]) * length).sum())
        if rising < _RISING * float(length.sum()):
            edges = np.sort(np.stack([loop, follow], axis=1), axis=1)
            raise NotClosedError(
                f"the surface is not closed: a hole of {len(loop)} open edges lies low in a side and is no open base, "
                f"first {edge_places(mesh.vertices, edges)}. Close it in the program that made it",
                edges,
            )


def _drop(
    vertices: FloatArray, loops: tuple[IntArray, ...], floor: float, near: float
) -> tuple[FloatArray, IntArray, tuple[IntArray, ...]]:
    """Skirt under the rims: all vertices, the skirt's triangles, and the loops on the floor in the rims' direction."""
    new: list[FloatArray] = [vertices]
    count = len(vertices)
    skirt: list[IntArray] = []
    rims: list[IntArray] = []
    for loop in loops:
        points = vertices[loop]
        # Rim vertices straight above one another share their place on the floor.
        follows = (points[:, :2] == np.roll(points[:, :2], 1, axis=0)).all(axis=1)
        if np.count_nonzero(~follows) < 3:
            edges = np.sort(np.stack([loop, np.roll(loop, -1)], axis=1), axis=1)
            raise NotClosedError(
                f"the surface is not closed: an upright slit is open near {edge_places(vertices, edges[:1])}. "
                "Close it in the program that made it",
                edges,
            )
        shift = -int(np.flatnonzero(~follows)[0])
        loop, points, follows = np.roll(loop, shift), np.roll(points, shift, axis=0), np.roll(follows, shift)
        group = np.cumsum(~follows) - 1
        standing = points[:, 2] <= floor + near
        foot = np.full(int(group[-1]) + 1, len(vertices), dtype=np.int64)
        np.minimum.at(foot, group[standing], loop[standing])
        hanging = np.flatnonzero(foot == len(vertices))
        place = points[~follows][hanging].copy()
        place[:, 2] = floor
        foot[hanging] = count + np.arange(len(hanging))
        count += len(hanging)
        new.append(place)
        below = foot[group]
        a, b, a_low, b_low = loop, np.roll(loop, -1), below, np.roll(below, -1)
        for sides in (np.stack([b, a, a_low], axis=1), np.stack([b, a_low, b_low], axis=1)):
            p, q, r = sides.T
            skirt.append(sides[(p != q) & (q != r) & (r != p)])
        rims.append(foot)
    return np.concatenate(new), np.concatenate(skirt), tuple(rims)


def _cap(vertices: FloatArray, rims: tuple[IntArray, ...], open_edges: IntArray) -> IntArray:
    """Triangles that face down and close the rims."""
    edges = np.concatenate([np.stack([np.roll(rim, -1), rim], axis=1) for rim in rims])
    # Seen from below, x and y change places; there the cap's edges run with the cap on their left.
    seen = np.ascontiguousarray(vertices[:, 1::-1])
    crossing = _first_crossing(seen, edges)
    if crossing is None:
        try:
            cap = triangulate_loops(seen, edges)
        except MeshError:
            cap = np.zeros((0, 3), dtype=np.int64)
        p, q = seen[cap[:, 1]] - seen[cap[:, 0]], seen[cap[:, 2]] - seen[cap[:, 0]]
        area = 0.5 * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])
        if len(cap) and area.min() >= -1e-9 * np.abs(area).sum():
            return cap
        where, detail = edges[0], "do not bound one flat region"
    else:
        where, detail = edges[crossing], "cross each other seen from above"
    raise NotClosedError(
        f"the open base cannot be closed: its rims {detail}, near "
        f"{edge_places(vertices, where[None])}. Cut the base off straight, or close it in the program that made it",
        open_edges,
    )


def _first_crossing(points: FloatArray, edges: IntArray) -> int | None:
    """Row of the first edge that properly crosses another one, (n, 2) points, (k, 2) edges; None where none does.

    Edges are sorted along a slanting direction, in which the sides of level, square shapes do not stand upright, and
    each is tried against those that begin before it ends.
    """
    slant = points @ np.array([math.cos(0.61), math.sin(0.61)])
    ends = slant[edges]
    low, high = ends.min(axis=1), ends.max(axis=1)
    order = np.argsort(low, kind="stable")
    low, high, edges = low[order], high[order], edges[order]
    reach = np.searchsorted(low, high, side="right") - np.arange(len(edges)) - 1
    for one, behind in runs_in_parts(reach, _PAIRS):
        hit = _cross(points, edges[one], edges[one + 1 + behind])
        if hit.any():
            return int(order[one[np.flatnonzero(hit)[0]]])
    return None


def _cross(points: FloatArray, one: IntArray, two: IntArray) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Which pairs of segments cross in the inside of both."""
    a, b, c, d = points[one[:, 0]], points[one[:, 1]], points[two[:, 0]], points[two[:, 1]]

    def side(p: FloatArray, q: FloatArray, r: FloatArray) -> FloatArray:
        turn: FloatArray = (q[:, 0] - p[:, 0]) * (r[:, 1] - p[:, 1]) - (q[:, 1] - p[:, 1]) * (r[:, 0] - p[:, 0])
        return turn

    return (side(a, b, c) * side(a, b, d) < 0.0) & (side(c, d, a) * side(c, d, b) < 0.0)
