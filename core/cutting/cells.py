# SPDX-License-Identifier: GPL-3.0-or-later
"""The foam while it is being cut: regions, and triangles that each stand between two of them.

A joint face is stored once, with the region below it and the region above it, so the two faces of a joint are the same
triangles read two ways. Triangles of the carving that no joint touches are never copied: they only carry the number of
their region. What joints have split or made is the tail.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from ..mesh.topology import hang_together

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
KindArray = NDArray[np.uint8]

OUTSIDE: Final = -1
GONE: Final = -2


@dataclass(frozen=True)
class Region:
    """A part of the foam between joints.

    Attributes
    ----------
    sides : for each joint met, its index and 0 below, 1 above, or 2 between its faces.
    taken : the gap of a joint took it; later joints leave it alone.
    """

    sides: tuple[tuple[int, int], ...] = ()
    taken: bool = False


@dataclass(frozen=True, eq=False)
class Tail:
    """Triangles that joints have split or made; vertices numbered on beyond the carving's.

    `below` is the region behind each triangle (against its normal), `above` the one before it, or OUTSIDE.
    """

    triangles: IntArray
    below: IntArray
    above: IntArray
    kind: KindArray
    source: IntArray
    origin: KindArray

    @classmethod
    def empty(cls) -> Tail:
        """No triangles."""
        none, byte = np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.uint8)
        return cls(np.zeros((0, 3), dtype=np.int64), none, none, byte, none, byte)

    def __len__(self) -> int:
        return len(self.triangles)

    def take(self, rows: IntArray) -> Tail:
        """The given rows, as a copy."""
        return Tail(
            np.take(self.triangles, rows, axis=0),
            self.below[rows],
            self.above[rows],
            self.kind[rows],
            self.source[rows],
            self.origin[rows],
        )

    def of(self, triangles: IntArray, rows: IntArray) -> Tail:
        """New triangles, each with everything else of the row that it comes from."""
        return replace(self.take(rows), triangles=triangles)

    def with_regions(self, below: IntArray, above: IntArray) -> Tail:
        """The same triangles between other regions."""
        return replace(self, below=below, above=above)

    def joined(self, *others: Tail, only: NDArray[np.bool_] | None = None) -> Tail:
        """These rows, or some of them, then those of the others."""
        rows = None if only is None else np.flatnonzero(only)
        names = ("triangles", "below", "above", "kind", "source", "origin")
        return Tail(
            *(_chained(getattr(self, name), rows, [getattr(other, name) for other in others]) for name in names)
        )


def _chained(first: NDArray[Any], rows: IntArray | None, others: list[NDArray[Any]]) -> NDArray[Any]:
    """Rows of an array, None: all, then others; each copied once."""
    if rows is None:
        return np.concatenate([first, *others])
    out = np.empty((len(rows) + sum(map(len, others)), *first.shape[1:]), dtype=first.dtype)
    np.take(first, rows, axis=0, out=out[: len(rows)], mode="clip")
    np.concatenate(others, out=out[len(rows) :])
    return out


@dataclass(eq=False)
class Cells:
    """All regions and triangles at one moment.

    Attributes
    ----------
    mesh : the carving.
    label : (m,) int32, region behind each triangle of the carving, GONE where the tail has its parts.
    extra : (k, 3) vertices beyond the carving's, metres.
    tail : what joints have split or made.
    regions : by number.
    touching : whether bodies of one region, which may share vertices of the carving, were made regions of their own.
    one_skin : whether the carving is known to be one connected surface with two triangles at each edge.
    """

    mesh: Mesh
    label: NDArray[np.int32]
    extra: FloatArray = field(default_factory=lambda: np.zeros((0, 3)))
    tail: Tail = field(default_factory=Tail.empty)
    regions: list[Region] = field(default_factory=lambda: [Region()])
    touching: bool = False
    one_skin: bool = False

    @classmethod
    def of(cls, mesh: Mesh, one_skin: bool = False) -> Cells:
        """The uncut carving: one region."""
        return cls(mesh, np.zeros(len(mesh.triangles), dtype=np.int32), one_skin=one_skin)

    def is_one(self, tail: IntArray) -> bool:
        """Whether a region is surely one body without hollows; `tail` : (k, 3) its triangles that are in the tail.

        Where the carving is one connected surface, whatever of it is not in the tail hangs on to something that is: a
        part of its own, without any edge that a joint has touched, would be all of it.
        """
        return self.one_skin and (len(tail) == 0 or hang_together(tail))

    def points(self, vertices: IntArray) -> FloatArray:
        """Coordinates of vertices by number, metres."""
        n = len(self.mesh.vertices)
        flat = vertices.reshape(-1)
        out: FloatArray = np.take(self.mesh.vertices, flat, axis=0, mode="clip")
        new = np.flatnonzero(flat >= n)
        out[new] = self.extra[flat[new] - n]
        return out.reshape(*vertices.shape, 3)

    def rows_of(self, region: int) -> tuple[IntArray, IntArray, IntArray]:
        """Carving rows behind which the region lies, tail rows behind which, and tail rows before which it lies."""
        return (
            np.flatnonzero(self.label == region),
            np.flatnonzero(self.tail.below == region),
            np.flatnonzero(self.tail.above == region),
        )

    def surface(self, region: int) -> tuple[IntArray, IntArray]:
        """Triangles round a region, outward, (m, 3), and how many of them are rows of the carving."""
        base, below, above = self.rows_of(region)
        t = self.tail.triangles
        return np.concatenate([self.mesh.triangles[base], t[below], t[above][:, ::-1]]), base
