# SPDX-License-Identifier: GPL-3.0-or-later
"""A mesh on its way to a solid, which knows where each triangle comes from, and what a step did to it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import CARVED, FloatArray, IntArray, Mesh

BoolArray: TypeAlias = NDArray[np.bool_]

MADE: Final = -1
"""Source of a triangle that was made here."""


@dataclass(frozen=True, eq=False)
class Draft:
    """A mesh between two steps.

    Attributes
    ----------
    mesh : metres, z up; every vertex used.
    source : (m,) int64, for each triangle that of the mesh as it came; -1 where it was made here.
    turned : (m,) bool, whether it runs round the other way than its source.
    """

    mesh: Mesh
    source: IntArray
    turned: BoolArray

    @classmethod
    def of(cls, mesh: Mesh) -> Draft:
        """Begin with a mesh as it came."""
        count = len(mesh.triangles)
        return cls(mesh, np.arange(count, dtype=np.int64), np.zeros(count, dtype=bool))

    def keep(self, rows: IntArray | BoolArray) -> Draft:
        """Some triangles, and the vertices that they use."""
        mesh = Mesh(self.mesh.vertices, self.mesh.triangles[rows], self.mesh.kind[rows])
        return Draft(_used(mesh), self.source[rows], self.turned[rows])

    def turn(self, rows: BoolArray) -> Draft:
        """Wind the marked triangles, (m,) bool, the other way."""
        triangles = self.mesh.triangles.copy()
        triangles[rows] = triangles[rows, ::-1]
        return Draft(Mesh(self.mesh.vertices, triangles, self.mesh.kind), self.source, self.turned ^ rows)

    def reshape(self, vertices: FloatArray, triangles: IntArray) -> Draft:
        """The same triangles on other vertices; those that name a vertex twice fall out."""
        a, b, c = triangles.T
        whole = (a != b) & (b != c) & (c != a)
        mesh = Mesh(vertices, triangles[whole], self.mesh.kind[whole])
        return Draft(_used(mesh), self.source[whole], self.turned[whole])

    def add(self, points: FloatArray, triangles: IntArray, kind: int = CARVED) -> Draft:
        """Put vertices (k, 3) and triangles (t, 3) of one class behind those that are there."""
        new = np.full(len(triangles), kind, dtype=np.uint8)
        mesh = Mesh(
            np.concatenate([self.mesh.vertices, points]),
            np.concatenate([self.mesh.triangles, triangles]),
            np.concatenate([self.mesh.kind, new]),
        )
        return Draft(
            mesh,
            np.concatenate([self.source, np.full(len(triangles), MADE, dtype=np.int64)]),
            np.concatenate([self.turned, np.zeros(len(triangles), dtype=bool)]),
        )


@dataclass(frozen=True)
class Change:
    """What one step did.

    Attributes
    ----------
    step : its name in the recipe.
    text : a sentence without capital and full stop, with numbers, size and place.
    count : how many things it changed.
    """

    step: str
    text: str
    count: int


def _used(mesh: Mesh) -> Mesh:
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[mesh.triangles] = True
    if used.all():
        return mesh
    return Mesh(mesh.vertices[used], (np.cumsum(used) - 1)[mesh.triangles], mesh.kind)
