# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults planted in a closed boulder, each at a place that is known, alone or several together."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from seamwright.core.mesh.mesh import Mesh
from shapes import icosphere, joined, moved


@dataclass(frozen=True, eq=False)
class Planted:
    """A mesh with faults.

    Attributes
    ----------
    mesh : with all faults.
    truth : for each kind of fault of a diagnosis the middle of each one planted, and how far off it may be told, m.
    """

    mesh: Mesh
    truth: dict[str, list[tuple[np.ndarray, float]]] = field(default_factory=dict)

    def with_fault(self, mesh: Mesh, *told: tuple[str, np.ndarray, float]) -> Planted:
        truth = {kind: list(places) for kind, places in self.truth.items()}
        for kind, place, reach in told:
            truth.setdefault(kind, []).append((place, reach))
        return Planted(mesh, truth)


Plant = Callable[[Planted, np.ndarray], Planted]
"""Puts one fault in at a place on the surface."""


def near(mesh: Mesh, place: np.ndarray, radius: float) -> np.ndarray:
    """Triangles whose middle lies within a radius, (m,) bool; at least the nearest one."""
    away = np.linalg.norm(mesh.corners().mean(axis=1) - place, axis=1)
    return away <= max(radius, float(away.min()))


def middle(mesh: Mesh, rows: np.ndarray) -> np.ndarray:
    return mesh.corners()[rows].reshape(-1, 3).mean(axis=0)


def spread(mesh: Mesh, rows: np.ndarray) -> float:
    corners = mesh.corners()[rows].reshape(-1, 3)
    return float(np.linalg.norm(corners - corners.mean(axis=0), axis=1).max())


RING = 0.1
"""Metres: about one ring of triangles on the boulder of the tests."""


def hole(state: Planted, place: np.ndarray) -> Planted:
    """A patch of triangles is missing."""
    rows = near(state.mesh, place, RING)
    mesh = Mesh(state.mesh.vertices, state.mesh.triangles[~rows])
    return state.with_fault(mesh, ("open", middle(state.mesh, rows), spread(state.mesh, rows)))


def missing_triangle(state: Planted, place: np.ndarray) -> Planted:
    """One triangle is missing."""
    rows = near(state.mesh, place, 0.0)
    mesh = Mesh(state.mesh.vertices, state.mesh.triangles[~rows])
    return state.with_fault(mesh, ("open", middle(state.mesh, rows), spread(state.mesh, rows)))


def flipped_patch(state: Planted, place: np.ndarray) -> Planted:
    """A patch faces inwards."""
    rows = near(state.mesh, place, RING)
    triangles = state.mesh.triangles.copy()
    triangles[rows] = triangles[rows, ::-1]
    told = ("misoriented", middle(state.mesh, rows), spread(state.mesh, rows))
    return state.with_fault(Mesh(state.mesh.vertices, triangles), told)


def _twice(state: Planted, place: np.ndarray, turned: bool) -> Planted:
    rows = np.flatnonzero(near(state.mesh, place, 0.0))
    again = state.mesh.triangles[rows, ::-1] if turned else state.mesh.triangles[rows]
    mesh = Mesh(state.mesh.vertices, np.concatenate([state.mesh.triangles, again]))
    at, reach = middle(state.mesh, rows), spread(state.mesh, rows)
    return state.with_fault(mesh, ("double", at, 1e-9), ("non_manifold", at, reach))


def double(state: Planted, place: np.ndarray) -> Planted:
    """A triangle is there twice."""
    return _twice(state, place, False)


def double_turned(state: Planted, place: np.ndarray) -> Planted:
    """A triangle is there a second time, facing inwards."""
    return _twice(state, place, True)


def collapsed(state: Planted, place: np.ndarray) -> Planted:
    """A triangle more that names a vertex twice."""
    row = int(np.flatnonzero(near(state.mesh, place, 0.0))[0])
    a, b, _ = state.mesh.triangles[row]
    at = (2.0 * state.mesh.vertices[a] + state.mesh.vertices[b]) / 3.0
    mesh = Mesh(state.mesh.vertices, np.concatenate([state.mesh.triangles, [[a, b, a]]]))
    return state.with_fault(mesh, ("no_area", at, 1e-9))


def in_a_line(state: Planted, place: np.ndarray) -> Planted:
    """A triangle more whose corners lie in one line, on an edge of the surface."""
    row = int(np.flatnonzero(near(state.mesh, place, 0.0))[0])
    a, b, _ = state.mesh.triangles[row]
    half = 0.5 * (state.mesh.vertices[a] + state.mesh.vertices[b])
    vertices = np.concatenate([state.mesh.vertices, [half]])
    mesh = Mesh(vertices, np.concatenate([state.mesh.triangles, [[a, b, len(vertices) - 1]]]))
    size = float(np.linalg.norm(state.mesh.vertices[a] - state.mesh.vertices[b]))
    return state.with_fault(mesh, ("no_area", half, 1e-9), ("non_manifold", half, size), ("open", half, size))


def fin(state: Planted, place: np.ndarray) -> Planted:
    """A triangle stands up from an edge."""
    row = int(np.flatnonzero(near(state.mesh, place, 0.0))[0])
    a, b, c = state.mesh.triangles[row]
    p, q, r = state.mesh.vertices[[a, b, c]]
    out = np.cross(q - p, r - p)
    tip = 0.5 * (p + q) + 0.05 * out / np.linalg.norm(out)
    vertices = np.concatenate([state.mesh.vertices, [tip]])
    mesh = Mesh(vertices, np.concatenate([state.mesh.triangles, [[b, a, len(vertices) - 1]]]))
    half, size = 0.5 * (p + q), float(np.linalg.norm(p - q))
    return state.with_fault(mesh, ("non_manifold", half, size), ("open", half, size))


def crumb(state: Planted, place: np.ndarray) -> Planted:
    """A small closed body floats beside the surface."""
    centre = place * (1.0 + 0.25 / np.linalg.norm(place))
    ball = moved(icosphere(1, 0.04), shift=tuple(centre))
    return state.with_fault(joined(state.mesh, ball), ("crumb", centre, 1e-6))


def open_crumb(state: Planted, place: np.ndarray) -> Planted:
    """A scrap of surface floats beside it."""
    centre = place * (1.0 + 0.25 / np.linalg.norm(place))
    ball = moved(icosphere(1, 0.04), shift=tuple(centre))
    scrap = Mesh(ball.vertices, ball.triangles[(ball.triangles == 0).any(axis=1)])
    used = scrap.corners().reshape(-1, 3)
    at = 0.5 * (used.min(axis=0) + used.max(axis=0))
    return state.with_fault(joined(state.mesh, scrap), ("crumb", at, 1e-6), ("open", at, 0.08))


def _cut_loose(state: Planted, place: np.ndarray, off: float) -> Planted:
    rows = near(state.mesh, place, RING)
    triangles = state.mesh.triangles.copy()
    used, number = np.unique(triangles[rows], return_inverse=True)
    triangles[rows] = number.reshape(-1, 3) + len(state.mesh.vertices)
    random = np.random.default_rng(4)
    copies = state.mesh.vertices[used] + off * random.uniform(-1.0, 1.0, (len(used), 3))
    mesh = Mesh(np.concatenate([state.mesh.vertices, copies]), triangles)
    at, reach = middle(state.mesh, rows), spread(state.mesh, rows)
    return state.with_fault(mesh, ("crack", at, reach))


def unwelded(state: Planted, place: np.ndarray) -> Planted:
    """A patch has vertices of its own, in the same places."""
    return _cut_loose(state, place, 0.0)


def cracked(state: Planted, place: np.ndarray) -> Planted:
    """A patch has vertices of its own, a hundredth of a millimetre off."""
    return _cut_loose(state, place, 1e-5)


FAULTS: dict[str, Plant] = {
    plant.__name__: plant
    for plant in (
        hole,
        missing_triangle,
        flipped_patch,
        double,
        double_turned,
        collapsed,
        in_a_line,
        fin,
        crumb,
        open_crumb,
        unwelded,
        cracked,
    )
}
"""Those that mending undoes."""


def plant(mesh: Mesh, names: Sequence[str]) -> Planted:
    """Plant faults far apart on a clean boulder about the origin."""
    ways = np.array([[0.3, 0.2, 1.0], [-1.0, 0.1, 0.2], [0.2, -1.0, -0.3]])
    state = Planted(mesh)
    for name, way in zip(names, ways, strict=False):
        unit = mesh.vertices / np.linalg.norm(mesh.vertices, axis=1)[:, None]
        place = mesh.vertices[int((unit @ (way / np.linalg.norm(way))).argmax())]
        state = FAULTS[name](state, place)
    return state
