# SPDX-License-Identifier: GPL-3.0-or-later
"""How deep foam has to come off so that nothing touches: a depth at each vertex, and the region."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from ..mesh.topology import components
from .body import Body
from .check import swept_box
from .motion import Motion
from .rays import first_hits
from .search import Nearest, least_distance
from .tree import by_shape, mesh_forest, point_forest, sources

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Heed = Callable[[], None]

DEEPEST: Final = 0.5
"""Metres: foam is looked at no deeper than this; a rock that is in the way by more is to be shaped anew."""

_STEPS: Final = 200
"""Steps along a ray at most; a ray that runs along the body for longer is given the depth that it has got to."""


_BEHIND: Final = 0.1
"""Sine: a body that lies behind the level of the surface by more than this angle's is not beside it but under it."""


_FLANK: Final = 0.75
"""Cosine: surface whose normal is more than 41 degrees off the way in of its patch is a flank."""


@dataclass(frozen=True, eq=False)
class CarveOff:
    """What has to come off.

    Attributes
    ----------
    depth : (n,) metres at each vertex, straight in along the inward normal; 0 where nothing has to come off.
    region : (m,) whether any corner of a triangle has a depth.
    area : square metres of the region.
    deepest : metres. where : its vertex's place, job coordinates, or None where nothing has to come off.
    """

    depth: FloatArray
    region: NDArray[np.bool_]
    area: float
    deepest: float
    where: tuple[float, float, float] | None


def carve_off(
    mesh: Mesh, bodies: Sequence[Body], keep: float, tolerance: float = 0.001, heed: Heed | None = None
) -> CarveOff:
    """Find how deep a carving has to be taken off so that every body keeps its clearance in all its poses.

    Parameters
    ----------
    mesh : the closed carving, metres, job coordinates.
    bodies : posed, with their ways in.
    keep : metres that the foam has to stay away (clearance and skin).
    tolerance : metres by which a depth may be too small or too large.
    heed : called often; may raise `Cancelled`.

    Notes
    -----
    The depth at a vertex is the shorter of two: straight in along its normal, to the last place that is nearer than
    `keep` to a body (a walk back along the normal from where it leaves the foam, each step as long as the distance left
    allows); and straight away from the body, where the body stands outside and beside the surface. What then
    hangs on foam that comes off goes with it, through and through. Past `DEEPEST` nothing is looked for.
    """
    depth = np.zeros(len(mesh.vertices))
    for body in bodies:
        np.maximum(depth, _OneBody(mesh, body, keep, tolerance, heed).depths(), out=depth)
    region = (depth[mesh.triangles] > 0.0).any(axis=1)
    sizes = np.linalg.norm(_normals(mesh, np.flatnonzero(region)), axis=1)
    place = None
    if region.any():
        x, y, z = mesh.vertices[int(np.argmax(depth))].tolist()
        place = x, y, z
    return CarveOff(depth, region, float(0.5 * sizes.sum()), float(depth.max(initial=0.0)), place)


def vertex_normals(mesh: Mesh) -> FloatArray:
    """Outward unit normals (n, 3), triangles weighed by their area; zero where they cancel out."""
    normal = _normals(mesh, slice(None))
    total = np.stack(
        [
            np.bincount(mesh.triangles.ravel(), np.repeat(normal[:, axis], 3), minlength=len(mesh.vertices))
            for axis in range(3)
        ],
        axis=1,
    )
    size = np.linalg.norm(total, axis=1, keepdims=True)
    result: FloatArray = np.where(size > 0.0, total / np.where(size > 0.0, size, 1.0), 0.0)
    return result


def _normals(mesh: Mesh, rows: IntArray | slice) -> FloatArray:
    """Normals (k, 3) of triangles, twice their area long."""
    corner = mesh.vertices[mesh.triangles[rows]]
    result: FloatArray = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    return result


def _ways_in(vertices: FloatArray, triangles: IntArray, patch: IntArray) -> tuple[FloatArray, FloatArray]:
    """Two unit directions (p, 3) for each patch of triangles; zero where there is none.

    From its middle to the middle of its rim, and its mean inward normal.
    """

    def sums(values: FloatArray, labels: IntArray) -> FloatArray:
        count = int(patch.max()) + 1
        return np.stack([np.bincount(labels, values[:, axis], minlength=count) for axis in range(3)], axis=1)

    def unit(rows: FloatArray, least: FloatArray) -> FloatArray:
        size = np.linalg.norm(rows, axis=1, keepdims=True)
        result: FloatArray = np.where(size > least[:, None], rows / np.where(size > 0.0, size, 1.0), 0.0)
        return result

    corner = vertices[triangles]
    cross = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.linalg.norm(cross, axis=1)
    total = np.bincount(patch, area)
    middle = sums(corner.mean(axis=1) * area[:, None], patch) / np.maximum(total, 1e-300)[:, None]
    edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    unique, first, count = np.unique(edges, axis=0, return_index=True, return_counts=True)
    ends, label = vertices[unique[count == 1]], np.tile(patch, 3)[first[count == 1]]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    round_ = np.bincount(label, length, minlength=len(total))
    rim = sums(ends.mean(axis=1) * length[:, None], label) / np.maximum(round_, 1e-300)[:, None]
    to_rim = np.where(round_[:, None] > 0.0, rim - middle, 0.0)
    # A patch that hardly stands out over its rim has no direction towards it.
    return unit(to_rim, 0.05 * np.sqrt(total)), unit(-sums(cross, patch), 0.2 * total)


class _OneBody:
    """The foam near one body."""

    def __init__(self, mesh: Mesh, body: Body, keep: float, tolerance: float, heed: Heed | None) -> None:
        self.mesh, self.motion, self.keep, self.tolerance, self.heed = mesh, body.motion, keep, tolerance, heed
        self.body = mesh_forest([body.mesh])
        low, high = swept_box(self.body, body.motion)
        near = keep + DEEPEST
        self.foam, self.rows = mesh_forest([mesh], low - near, high + near), sources([mesh], low - near, high + near)[0]
        self.inward = -vertex_normals(mesh)

    def depths(self) -> FloatArray:
        """Depth at each vertex of the mesh."""
        touched = least_distance(
            by_shape(self.foam), self.body, self.motion, self.keep, self.tolerance, first=True, heed=self.heed
        )
        hits = np.flatnonzero(touched.shape[: len(self.rows)] >= 0)
        depth = np.zeros(len(self.mesh.vertices))
        if len(hits) == 0:
            return depth
        triangles = self.mesh.triangles[self.rows]
        done = np.zeros(len(depth), dtype=bool)
        start = np.unique(triangles[hits])
        while len(start):  # from what is too near outwards, as long as there is something to take off
            done[start] = True
            depth[start] = self._at(self.mesh.vertices[start], self.inward[start])[0]
            around = np.unique(triangles[(depth[triangles] > 0.0).any(axis=1)])
            start = around[~done[around]]
        self._hanging(depth)
        self._straightened(depth)
        # Where only the middle of a large triangle is too near, its corners take on what is found there.
        hits = hits[(depth[triangles[hits]] == 0.0).all(axis=1)]
        if len(hits):
            cross = _normals(self.mesh, self.rows[hits])
            size = np.linalg.norm(cross, axis=1, keepdims=True)
            found = self._at(touched.here[hits], -cross / np.where(size > 0.0, size, 1.0))[0]
            np.maximum.at(depth, triangles[hits], found[:, None])
        return depth

    def _straightened(self, depth: FloatArray) -> None:
        """Shorten depths to those along two directions of each patch: flanks of what stands out go with it.

        From the patch's middle to the middle of its rim, and its mean inward normal; only where that leads into foam
        or along its surface.
        """
        region = self.mesh.triangles[(depth[self.mesh.triangles] > 0.0).any(axis=1)]
        if len(region) == 0:
            return
        patch = components(region)
        vertex, first = np.unique(region.ravel(), return_index=True)
        own = np.repeat(patch, 3)[first]
        some = depth[vertex] > 0.0
        vertex, own = vertex[some], own[some]
        start = self.mesh.vertices[vertex]
        still = Motion(np.zeros((1, 3)), np.eye(3)[None], self.motion.ahead)
        for inward in _ways_in(self.mesh.vertices, region, patch):
            # Where the surface itself looks that way its own normal holds.
            flank = (inward[own] * self.inward[vertex]).sum(axis=1) < _FLANK
            rows = np.flatnonzero(flank & (np.linalg.norm(inward[own], axis=1) > 0.5))
            if len(rows) == 0:
                continue
            direction = inward[own[rows]]
            along = self._walked(start[rows], direction, np.full(len(rows), DEEPEST))
            end = start[rows] + along[:, None] * direction
            found = least_distance(point_forest(end), self.foam, still, heed=self.heed)
            corner = self.foam.vertices[self.foam.shapes[found.other]]
            normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
            foam = (found.distance < self.tolerance) | (((end - found.there) * normal).sum(axis=1) < 0.0)
            at = vertex[rows[foam]]
            depth[at] = np.minimum(depth[at], along[foam])

    def _hanging(self, depth: FloatArray) -> None:
        """Add surface that is cut off all round and has something to take off under it: it comes off whole."""
        stays = ~(depth[self.mesh.triangles] > 0.0).any(axis=1)
        rest = self.mesh.triangles[stays]
        if len(rest) == 0:
            return
        label = components(rest)
        count = np.bincount(label)
        # Of each body the part with most triangles is what the rest hangs on.
        body = components(self.mesh.triangles)[stays][np.unique(label, return_index=True)[1]]
        order = np.lexsort((count, body))
        main = order[np.append(body[order][1:] != body[order][:-1], True)]
        islands = np.flatnonzero(~np.isin(label, main))
        if len(islands) == 0:
            return
        vertex, island = np.unique(np.stack([rest[islands].ravel(), np.repeat(label[islands], 3)]), axis=1)
        found, whole = self._at(self.mesh.vertices[vertex], self.inward[vertex])
        loose = np.zeros(len(count), dtype=bool)
        loose[island[found > 0.0]] = True
        goes = loose[island]
        np.maximum.at(depth, vertex[goes], np.where(found > 0.0, found, whole)[goes])

    def _at(self, points: FloatArray, inward: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Depth at points (n, 3) along inward directions (n, 3), and the whole thickness of foam there."""
        whole = first_hits(self.foam, points, inward, DEEPEST)
        whole[np.linalg.norm(inward, axis=1) == 0.0] = 0.0
        along = self._walked(points, inward, whole)
        return np.minimum(along, self._away(points, inward)), whole

    def _walked(self, points: FloatArray, inward: FloatArray, far: FloatArray) -> FloatArray:
        """Metres along each line to the last place nearer to the body than is kept, looked for from `far` (n,) back."""
        along = np.array(far)
        going = np.flatnonzero(along > 0.0)
        for _ in range(_STEPS):
            if len(going) == 0:
                break
            at = points[going] + along[going, None] * inward[going]
            # Farther than the way that is left is as good as far.
            cap = self.keep + along[going] + self.tolerance
            found = self._nearest(at, cap)
            free = found.distance - self.keep
            stop = free <= 0.5 * self.tolerance
            step = np.maximum(free, 0.5 * self.tolerance)
            along[going] = np.where(stop, along[going], np.maximum(along[going] - step, 0.0))
            going = going[~stop & (along[going] > 0.0)]
        return along

    def _away(self, points: FloatArray, inward: FloatArray) -> FloatArray:
        """Metres to go straight away from the body; infinite where it stands behind the surface or reaches through."""
        # Looked for twice as far as needed: a point that is just free is told so here, not by a long walk.
        found = self._nearest(points, np.full(len(points), 2.0 * self.keep))
        away = np.maximum(self.keep - found.distance, 0.0)
        turn, _ = self.motion.at(found.pose)
        corner = self.body.vertices[self.body.shapes[np.maximum(found.other, 0)]]
        normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        normal = np.einsum("nij,nj->ni", turn, normal)
        normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-300)
        from_body = points - found.there
        # Beside an edge of the body a point lies level with one of its two faces, and outside all the same.
        outside = (from_body * normal).sum(axis=1) >= -1e-6 * found.distance
        outside &= found.distance > self.tolerance
        outside &= (from_body * inward).sum(axis=1) >= -_BEHIND * found.distance
        return np.where(found.shape < 0, np.inf, np.where(outside, away, np.inf))

    def _nearest(self, points: FloatArray, cap: FloatArray) -> Nearest:
        return least_distance(point_forest(points), self.body, self.motion, cap, 0.25 * self.tolerance, heed=self.heed)
