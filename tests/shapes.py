# SPDX-License-Identifier: GPL-3.0-or-later
"""Closed bodies for the tests, each with outward triangles and shared vertices."""

from __future__ import annotations

import numpy as np
from seamwright.core.mesh.mesh import Mesh

Triple = tuple[float, float, float]


def moved(mesh: Mesh, rotation: np.ndarray | None = None, shift: Triple = (0.0, 0.0, 0.0)) -> Mesh:
    """Turn the mesh by a (3, 3) rotation, then shift it."""
    vertices = mesh.vertices if rotation is None else mesh.vertices @ rotation.T
    return Mesh(vertices + np.array(shift), mesh.triangles, mesh.kind)


def turned(axis: Triple, angle: float) -> np.ndarray:
    """Rotation matrix about an axis, by Rodrigues' formula, radians."""
    x, y, z = np.array(axis) / np.linalg.norm(axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * (cross @ cross)


def joined(*meshes: Mesh) -> Mesh:
    """Several bodies in one mesh, nothing welded."""
    offsets = np.cumsum([0] + [len(m.vertices) for m in meshes[:-1]])
    return Mesh(
        np.concatenate([m.vertices for m in meshes]),
        np.concatenate([m.triangles + k for m, k in zip(meshes, offsets, strict=True)]),
        np.concatenate([m.kind for m in meshes]),
    )


def without(mesh: Mesh, drop: np.ndarray) -> Mesh:
    """The mesh without these triangles and what they alone used."""
    kept, rows = np.unique(mesh.triangles[~drop], return_inverse=True)
    return Mesh(mesh.vertices[kept], rows.reshape(-1, 3), mesh.kind[~drop])


def bottomless(mesh: Mesh) -> Mesh:
    """The mesh without the triangles that lie at its lowest level."""
    low = mesh.vertices[:, 2] == mesh.vertices[:, 2].min()
    return without(mesh, low[mesh.triangles].all(axis=1))


def inside_out(mesh: Mesh) -> Mesh:
    """The mesh with every triangle wound the other way."""
    return Mesh(mesh.vertices, mesh.triangles[:, ::-1], mesh.kind)


def in_four(mesh: Mesh) -> Mesh:
    """Every triangle cut in four through the middles of its edges; kinds are not kept."""
    t, v = mesh.triangles, mesh.vertices
    edges = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1)
    unique, row = np.unique(edges, axis=0, return_inverse=True)
    a, b, c = row.reshape(3, -1) + len(v)
    parts = ((t[:, 0], a, c), (a, t[:, 1], b), (c, b, t[:, 2]), (a, b, c))
    return Mesh(np.concatenate([v, v[unique].mean(axis=1)]), np.concatenate([np.stack(part, axis=1) for part in parts]))


def box(size: Triple = (1.0, 1.0, 1.0), low: Triple = (0.0, 0.0, 0.0)) -> Mesh:
    """Make a box of 12 triangles with its lowest corner at `low`."""
    corners = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=float)
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    triangles = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    return Mesh(corners * np.array(size) + np.array(low), np.array(triangles))


def tetrahedron(edge: float = 1.0) -> Mesh:
    """Regular tetrahedron about the origin."""
    corners = np.array([[1, 1, 1], [1, -1, -1], [-1, 1, -1], [-1, -1, 1]], dtype=float) * edge / (2.0 * np.sqrt(2.0))
    return Mesh(corners, np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]]))


def prism(sides: int, radius: float = 1.0, height: float = 1.0, rings: int = 1) -> Mesh:
    """Upright prism on a regular polygon of this circumradius, z from 0 to `height`, `rings` bands high."""
    angle = 2.0 * np.pi * np.arange(sides) / sides
    circle = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    levels = np.linspace(0.0, height, rings + 1)
    vertices = np.concatenate([np.column_stack([circle, np.full(sides, z)]) for z in levels])
    side = np.arange(sides)
    follow = (side + 1) % sides
    triangles = []
    for ring in range(rings):
        a, b = side + ring * sides, follow + ring * sides
        triangles += [np.stack([a, b, b + sides], axis=1), np.stack([a, b + sides, a + sides], axis=1)]
    fan = np.arange(1, sides - 1)
    first = np.zeros_like(fan)
    triangles += [np.stack([first, fan + 1, fan], axis=1), np.stack([first, fan, fan + 1], axis=1) + rings * sides]
    return Mesh(vertices, np.concatenate(triangles))


def cylinder(sides: int = 96, radius: float = 1.0, height: float = 2.0, rings: int = 4) -> Mesh:
    """Make a prism with many sides."""
    return prism(sides, radius, height, rings)


def _around(count_u: int, count_v: int) -> np.ndarray:
    """Triangles of a grid that closes in both directions, vertex number u * count_v + v."""
    u, v = (a.ravel() for a in np.meshgrid(np.arange(count_u), np.arange(count_v), indexing="ij"))
    u2, v2 = (u + 1) % count_u, (v + 1) % count_v
    a, b, c, d = u * count_v + v, u2 * count_v + v, u2 * count_v + v2, u * count_v + v2
    return np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])


def torus(count_u: int = 40, count_v: int = 20, ring: float = 1.0, tube: float = 0.4, rough: float = 0.0) -> Mesh:
    """Torus about the z axis; `rough` moves the tube's radius by a fixed wave, a share of it (keep below 0.5)."""
    u = 2.0 * np.pi * np.arange(count_u)[:, None] / count_u
    v = 2.0 * np.pi * np.arange(count_v)[None, :] / count_v
    r = tube * (1.0 + rough * np.sin(5.0 * u + 2.0 * v + 0.3) * np.cos(3.0 * u - 3.0 * v))
    out = ring + r * np.cos(v)
    vertices = np.stack([out * np.cos(u), out * np.sin(u), r * np.sin(v)], axis=2).reshape(-1, 3)
    return Mesh(vertices, _around(count_u, count_v))


def icosphere(level: int = 2, radius: float = 1.0) -> Mesh:
    """Icosahedron, each triangle split in four `level` times, on a sphere: 20 * 4 ** level triangles."""
    g = (1.0 + np.sqrt(5.0)) / 2.0
    signs = [(s, t * g) for t in (1, -1) for s in (-1, 1)]
    vertices = np.array([(a, b, 0) for a, b in signs] + [(0, a, b) for a, b in signs] + [(b, 0, a) for a, b in signs])
    upper = [(0, 11, 5), (0, 5, 1), (0, 1, 7), (0, 7, 10), (0, 10, 11), (1, 5, 9), (5, 11, 4), (11, 10, 2), (10, 7, 6)]
    lower = [(3, 9, 4), (3, 4, 2), (3, 2, 6), (3, 6, 8), (3, 8, 9), (4, 9, 5), (2, 4, 11), (6, 2, 10), (8, 6, 7)]
    triangles = np.array([*upper, *lower, (7, 1, 8), (9, 8, 1)])
    for _ in range(level):
        edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
        unique, inverse = np.unique(edges, axis=0, return_inverse=True)
        ab, bc, ca = (inverse.reshape(3, -1) + len(vertices)).tolist()
        a, b, c = triangles.T
        vertices = np.concatenate([vertices, vertices[unique].mean(axis=1)])
        parts = [(a, ab, ca), (b, bc, ab), (c, ca, bc), (ab, bc, ca)]
        triangles = np.concatenate([np.stack([np.asarray(p) for p in part], axis=1) for part in parts])
    return Mesh(radius * vertices / np.linalg.norm(vertices, axis=1, keepdims=True), triangles)


def rock(level: int = 3, seed: int = 1, rough: float = 0.45, size: Triple = (3.0, 1.6, 1.1)) -> Mesh:
    """Make a rugged boulder: a sphere pushed out and in along its radii (so it cannot cross itself), then stretched."""
    rng = np.random.default_rng(seed)
    ball = icosphere(level)
    height = np.zeros(len(ball.vertices))
    for octave in range(5):
        waves = rng.normal(size=(6, 3)) * 1.6 * 1.9**octave
        phase = rng.uniform(0.0, 2.0 * np.pi, 6)
        height += np.sin(ball.vertices @ waves.T + phase).sum(axis=1) / 1.8**octave
    height /= np.abs(height).max()
    creases = np.abs(np.sin(ball.vertices @ np.array([2.0, 3.1, -1.4]) + 0.7))
    reach = 1.0 + rough * height - 0.15 * np.exp(-40.0 * creases**2)
    return Mesh(ball.vertices * reach[:, None] * np.array(size) / 2.0, ball.triangles)


def cells(filled: np.ndarray, size: Triple = (1.0, 1.0, 1.0)) -> Mesh:
    """Skin of the filled cells of a grid, two triangles on each cell's side, all vertices shared.

    The cells may not touch along an edge or in a corner alone.
    """
    padded = np.pad(np.asarray(filled, dtype=bool), 1)
    counts = np.array(filled.shape)
    index = np.arange(np.prod(counts + 1)).reshape(counts + 1)
    triangles = []
    for axis in range(3):
        ahead = np.diff(padded.astype(np.int8), axis=axis)
        inner = tuple(slice(None) if k == axis else slice(1, -1) for k in range(3))
        other = [k for k in range(3) if k != axis]
        for change in (-1, 1):
            at = np.argwhere(ahead[inner] == change)
            steps = np.zeros((4, 3), dtype=np.int64)
            steps[1, other[0]] = steps[2, other[0]] = steps[2, other[1]] = steps[3, other[1]] = 1
            quad = index[tuple(np.moveaxis(at[:, None, :] + steps[None], -1, 0))]
            # Along y the two other axes make a left-handed pair.
            if (change == -1) == (axis == 1):
                quad = quad[:, ::-1]
            triangles += [quad[:, [0, 1, 2]], quad[:, [0, 2, 3]]]
    corners = np.stack(np.meshgrid(*(np.arange(n + 1) for n in counts), indexing="ij"), axis=-1).reshape(-1, 3)
    used, inverse = np.unique(np.concatenate(triangles), return_inverse=True)
    return Mesh(corners[used] / counts * np.array(size), inverse.reshape(-1, 3))


def grid_box(counts: tuple[int, int, int] = (8, 6, 5), size: Triple = (1.6, 1.2, 1.0)) -> Mesh:
    """Make a box whose sides are gridded: many coplanar triangles, many vertices on one plane."""
    return cells(np.ones(counts, dtype=bool), size)


def comb(teeth: int = 5, size: Triple = (1.8, 0.6, 1.2)) -> Mesh:
    """Make a back with teeth standing on it: an upright section falls into islands."""
    filled = np.zeros((2 * teeth - 1, 2, 5), dtype=bool)
    filled[:, :, 0] = True
    filled[::2] = True
    return cells(filled, size)


def pocketed_box(size: Triple = (2.2, 1.4, 1.2)) -> Mesh:
    """Make a box with holes through it and a moat round an island: its sections have holes and islands."""
    filled = np.ones((11, 7, 6), dtype=bool)
    filled[1, 1:3, :] = False
    filled[1:3, 4:6, :] = False
    filled[4:9, 1:6, 2:] = False  # a moat, open at the top,
    filled[5:8, 2:5, 2:] = True  # round an island
    filled[6, 3, :] = False  # with a hole right through
    filled[9:, 3, 3] = False  # a blind hole from the end
    return cells(filled, size)


def hollow_box(size: Triple = (1.4, 1.0, 1.0)) -> Mesh:
    """Make a box with a closed void within: two skins, the inner one facing the void."""
    filled = np.ones((7, 5, 5), dtype=bool)
    filled[2:5, 1:4, 1:4] = False
    return cells(filled, size)
