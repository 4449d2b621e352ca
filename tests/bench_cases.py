# SPDX-License-Identifier: GPL-3.0-or-later
"""The carving and the joints of the benchmark, ours and the floor, and what is checked of everyone's pieces.

A contender is made once and gives one function for each job that it can do. Each function takes float64 vertices
(n, 3) and int64 triangles (m, 3) and returns the pieces as pairs of such arrays; turning them into a mesh of one's own
and back is part of the time.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

Arrays = tuple[np.ndarray, np.ndarray]
Run = Callable[[np.ndarray, np.ndarray], list[Arrays]]

CUTS = (-2.0137, -1.0137, -0.0137, 0.9863, 1.9863)
"""Places of the five planes across x, metres."""

NORMAL = np.array([0.6, 0.5, 0.62]) / np.linalg.norm([0.6, 0.5, 0.62])
OFFSET = 0.0713
"""The one oblique plane, through nearly the whole length of the rock."""


# --------------------------------------------------------------------------------------------------- carving


def _noise(points: np.ndarray, seed: int) -> np.ndarray:
    """Smooth value noise between -1 and 1 on a lattice that repeats every 32 steps."""
    table = np.random.default_rng(seed).uniform(-1.0, 1.0, (32, 32, 32))
    low = np.floor(points)
    part = points - low
    part *= part * (3.0 - 2.0 * part)
    i = low.astype(np.int64) & 31
    j = (i + 1) & 31
    value = np.zeros(len(points))
    for corner in range(8):
        pick = [(corner >> axis) & 1 for axis in range(3)]
        index = [(j if pick[axis] else i)[:, axis] for axis in range(3)]
        weight = np.ones(len(points))
        for axis in range(3):
            weight *= part[:, axis] if pick[axis] else 1.0 - part[:, axis]
        value += weight * table[index[0], index[1], index[2]]
    return value


def rock(triangles: int, seed: int = 7) -> Arrays:
    """Make a bumpy, creviced rock of about this many triangles, 6.0 x 2.4 x 1.5 m.

    A cube whose sides carry an equiangular grid, pushed out on an ellipsoid along its radii, so that it cannot cross
    itself. Vertices and triangles lie side by side, row by row. Coordinates are representable in float32, so that
    libraries that hold no more get the same carving.
    """
    n = max(2, round((triangles / 12.0) ** 0.5))
    row, column = (a.ravel() for a in np.meshgrid(np.arange(n + 1), np.arange(n + 1), indexing="ij"))
    corner = (np.arange(n)[:, None] * (n + 1) + np.arange(n)[None, :]).ravel()
    quad = np.stack([corner, corner + n + 1, corner + n + 2, corner + 1], axis=1)
    places, faces = [], []
    for axis in range(3):
        for end in (0, n):
            at = np.empty((len(row), 3), dtype=np.int64)
            at[:, axis], at[:, (axis + 1) % 3], at[:, (axis + 2) % 3] = end, row, column
            turned = quad if end else quad[:, ::-1]
            faces += [turned[:, [0, 1, 2]] + len(row) * len(places), turned[:, [0, 2, 3]] + len(row) * len(places)]
            places.append(at)
    grid = np.concatenate(places)
    key = (grid[:, 0] * (n + 1) + grid[:, 1]) * (n + 1) + grid[:, 2]
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    order = np.argsort(first)
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    way = np.tan((grid[first[order]] / n - 0.5) * (np.pi / 2.0))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    height = np.zeros(len(way))
    for octave in range(8):
        height += _noise(way * (1.7 * 2.0**octave) + 3.1 * octave, seed + octave) / 1.9**octave
    creases = sum(np.exp(-80.0 * _noise(way * f + 11.0, seed + 40 + k) ** 2) for k, f in enumerate((2.3, 4.1)))
    points = way * (1.0 + 0.14 * height - 0.06 * creases)[:, None] * np.array([3.0, 1.2, 0.75])
    points *= np.array([6.0, 2.4, 1.5]) / (points.max(axis=0) - points.min(axis=0))
    vertices = points.astype(np.float32).astype(np.float64)
    return vertices, np.ascontiguousarray(rank[inverse.ravel()][np.concatenate(faces)])


def shuffled(vertices: np.ndarray, triangles: np.ndarray) -> Arrays:
    """Put the same carving's vertices and triangles in random order: the worst that a scan can bring."""
    rng = np.random.default_rng(3)
    order = rng.permutation(len(vertices))
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return vertices[order], rank[triangles[rng.permutation(len(triangles))]]


# -------------------------------------------------------------------------------------------------- joints


def planes() -> list[Any]:
    """Five planes across x."""
    from seamwright.core import Plane

    return [Plane((x, 0.0, 0.0), (1.0, 0.0, 0.0)) for x in CUTS]


def profile() -> Any:
    """Profile of 200 segments that winds about the oblique plane, all of them within the rock's reach."""
    from seamwright.core import Profile

    u = np.cross((0.0, 0.0, 1.0), NORMAL)
    u /= np.linalg.norm(u)
    at = np.linspace(-1.9, 1.9, 201)
    rough = np.random.default_rng(5).normal(0.0, 0.004, 201)
    points = np.stack([at, 0.10 * np.sin(3.0 * at) + 0.03 * np.sin(17.0 * at) + rough], axis=1)
    return Profile(NORMAL * OFFSET, u, NORMAL, points)


def twelve() -> list[Any]:
    """Twelve joints: seven planes across x, two along the length, one flat, and two profiles."""
    from seamwright.core import Plane, Profile

    at = np.linspace(-1.5, 1.5, 201)
    joints = [Plane((x, 0.0, 0.0), (1.0, 0.02, 0.0)) for x in np.linspace(-2.4, 2.4, 7)]
    joints += [Plane((0.0, y, 0.0), (0.03, 1.0, 0.0)) for y in (-0.4, 0.4)]
    joints.append(Plane((0.0, 0.0, 0.1), (0.0, 0.02, 1.0)))
    for x in (-1.2, 1.2):
        points = np.stack([at, 0.05 * np.sin(9.0 * at)], axis=1)
        joints.append(Profile((x, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), points))
    return joints


# --------------------------------------------------------------------------------------------------- proof


def _beyond(vertices: np.ndarray, triangles: np.ndarray, place: float) -> float:
    """Volume at x above `place`: triangles clipped to that side, as cones from a point of the plane."""
    p = (vertices - np.array([place, 0.0, 0.0]))[triangles]
    above = p[:, :, 0] >= 0.0
    count = above.sum(axis=1)
    whole = np.linalg.det(p[count == 3]).sum()
    for lonely in (1, 2):  # corners above; the odd one out is turned to the front
        q, odd = p[count == lonely], np.argmax(above[count == lonely] == (lonely == 1), axis=1)
        a, b, c = (q[np.arange(len(q)), (odd + k) % 3] for k in range(3))
        ab = a + (b - a) * (a[:, :1] / (a[:, :1] - b[:, :1]))
        ac = a + (c - a) * (a[:, :1] / (a[:, :1] - c[:, :1]))
        tip = np.linalg.det(np.stack([a, ab, ac], axis=1)).sum()
        whole += tip if lonely == 1 else np.linalg.det(q).sum() - tip
    return float(whole) / 6.0


def region_volumes(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Volumes of the six regions between the planes, made without any cut mesh, (6,) cubic metres."""
    ends = float(vertices[:, 0].min()) - 1.0, float(vertices[:, 0].max()) + 1.0
    beyond = [_beyond(vertices, triangles, place) for place in (ends[0], *CUTS, ends[1])]
    return -np.diff(beyond)


def is_closed(triangles: np.ndarray) -> bool:
    """Whether every edge is run once each way, by index."""
    a, b = triangles.ravel(), triangles[:, [1, 2, 0]].ravel()
    n = int(triangles.max(initial=0)) + 1
    ahead, back = np.sort(a * n + b), np.sort(b * n + a)
    return len(ahead) > 0 and bool((ahead == back).all() and (ahead[1:] != ahead[:-1]).all())


def volume(vertices: np.ndarray, triangles: np.ndarray) -> float:
    """Signed volume, cubic metres."""
    p = vertices[triangles]
    return float(np.einsum("ij,ij->", p[:, 0], np.cross(p[:, 1], p[:, 2]))) / 6.0


# ----------------------------------------------------------------------------------------- ours and the floor


def seamwright() -> dict[str, Run]:
    """Ours; the Mesh is made within the time."""
    from seamwright.core import Mesh, Plane, cut

    def run(joints: list[Any], split: bool, lines: bool = False) -> Run:
        def call(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
            result = cut(Mesh(vertices, triangles), joints, split=split)
            if lines:
                result.lines  # noqa: B018 (worked out when asked for)
                result.contacts  # noqa: B018
            return [(body.mesh.vertices, body.mesh.triangles) for body in result.pieces]

        return call

    return {
        "planes": run(planes(), False),
        "split": run(planes(), True),
        "lines": run(planes(), False, True),
        "plane": run([Plane(NORMAL * OFFSET, NORMAL)], False),
        "profile": run([profile()], False),
    }


def floor() -> dict[str, Run]:
    """Least that numpy can do: say for each vertex where it is, gather triangles and vertices; no caps, open pieces."""

    def call(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
        x = np.ascontiguousarray(vertices[:, 0])
        where = np.zeros(len(x), dtype=np.uint8)
        for place in CUTS:
            where += x >= place
        a, b, c = (where[np.ascontiguousarray(triangles[:, k])] for k in range(3))
        label = np.where((a == b) & (b == c), a, np.uint8(len(CUTS) + 1))  # cut triangles go to the end and are dropped
        count = np.cumsum(np.bincount(label, minlength=len(CUTS) + 2))
        rows = triangles[np.argsort(label, kind="stable")[: count[-2]]]
        used = np.zeros(len(x), dtype=bool)
        used[rows.ravel()] = True
        order = np.argsort(where, kind="stable")
        order = order[used[order]]
        points = vertices[order]
        begin = np.concatenate([[0], np.cumsum(np.bincount(where[order], minlength=len(CUTS) + 1))])
        rank = np.empty(len(x), dtype=np.int64)
        rank[order] = np.arange(len(order))
        pieces, first = [], 0
        for k, last in enumerate(count[:-1]):
            pieces.append((points[begin[k] : begin[k + 1]], rank[rows[first:last]] - begin[k]))
            first = last
        return pieces

    return {"planes": call}
