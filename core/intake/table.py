# SPDX-License-Identifier: GPL-3.0-or-later
"""Every edge of a mesh with the triangles that share it: sorted once, asked by all that looks for faults."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import IntArray
from ..mesh.topology import joined

BoolArray: TypeAlias = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class EdgeTable:
    """Half edges sorted by the edge that they lie on. Half edge 3 t + c begins at corner c of triangle t.

    Attributes
    ----------
    triangles : (m, 3) int64, none of which names a vertex twice.
    half : (3 m,) int64, half edges, those of one edge side by side.
    up : (3 m,) bool, in the order of `half`: whether it runs from the lower to the higher vertex.
    start : (e,) int64, where each edge's half edges begin in `half`.
    count : (e,) int64, how many it has.
    """

    triangles: IntArray
    half: IntArray
    up: BoolArray
    start: IntArray
    count: IntArray

    @classmethod
    def of(cls, triangles: IntArray) -> EdgeTable:
        """Sort the half edges of these triangles, (m, 3)."""
        total = 3 * len(triangles)
        half, flat = _sorted(triangles, total)
        change = np.ones(total, dtype=bool)
        np.not_equal(flat[1:], flat[:-1], out=change[1:])
        start = np.flatnonzero(change)
        del change, flat
        corners = triangles.reshape(-1)
        up = corners[half] < corners[_next(half)]
        return cls(triangles, half, up, start, np.diff(start, append=total))

    def ends(self, rows: IntArray | BoolArray | slice) -> IntArray:
        """Both vertices of some edges, (k, 2), lower first."""
        half = self.half[self.start[rows]]
        corners = self.triangles.reshape(-1)
        ends: IntArray = np.sort(np.stack([corners[half], corners[_next(half)]], axis=1), axis=1)
        return ends

    def open(self) -> IntArray:
        """Rows of edges in one triangle only."""
        return np.flatnonzero(self.count == 1)

    def non_manifold(self) -> IntArray:
        """Rows of edges in more than two triangles."""
        return np.flatnonzero(self.count > 2)

    def misoriented(self) -> IntArray:
        """Rows of edges in two triangles that run them the same way."""
        two = np.flatnonzero(self.count == 2)
        first = self.start[two]
        rows: IntArray = two[self.up[first] == self.up[first + 1]]
        return rows

    def open_edges(self) -> IntArray:
        """Open edges as their triangles run them, (k, 2)."""
        half = self.half[self.start[self.open()]]
        corners = self.triangles.reshape(-1)
        return np.stack([corners[half], corners[_next(half)]], axis=1)

    def pairs(self, rows: IntArray | None = None) -> tuple[IntArray, IntArray, BoolArray]:
        """Neighbours across edges: two triangles (k,), (k,), and whether both run the edge the same way.

        Of an edge with n triangles there are n - 1 pairs, one behind the other.

        Parameters
        ----------
        rows : edges to take; all when left out.
        """
        last = np.zeros(len(self.half), dtype=bool)
        last[self.start + self.count - 1] = True
        keep = ~last
        if rows is not None:
            chosen = np.zeros(len(self.start), dtype=bool)
            chosen[rows] = True
            keep &= np.repeat(chosen, self.count)
        at = np.flatnonzero(keep)
        return self.half[at] // 3, self.half[at + 1] // 3, self.up[at] == self.up[at + 1]

    def bodies(self) -> IntArray:
        """Label (m,) of each triangle's body, as `mesh.topology.components` gives it."""
        one, two, _ = self.pairs()
        return joined(len(self.triangles), one, two)


def _sorted(triangles: IntArray, total: int) -> tuple[IntArray, IntArray]:
    """Half edges in the order of their edges, of one edge in rising order, and the key of each one's edge.

    Edge and half edge are sorted as one key, which is far quicker than sorting places. Where it would have more than
    63 bits, half edges are first told apart by the leading bits of their lower vertex.
    """
    number = int(triangles.max(initial=0)).bit_length()
    place = max(total - 1, 1).bit_length()
    low, high = np.empty((len(triangles), 3), dtype=np.int64), np.empty((len(triangles), 3), dtype=np.int64)
    columns = [np.ascontiguousarray(column) for column in triangles.T]
    for corner in range(3):
        a, b = columns[corner], columns[(corner + 1) % 3]
        low[:, corner], high[:, corner] = np.minimum(a, b), np.maximum(a, b)
    low, high = low.reshape(-1), high.reshape(-1)
    mask = (1 << place) - 1
    spare = max(0, 2 * number + place - 63)
    if not spare:
        low <<= number
        low |= high
        low <<= place
        low |= np.arange(total)
        low.sort()
        high = low & mask
        low >>= place
        return high, low
    rest = number - spare
    lead = ((low >> rest) << place) | np.arange(total)
    lead.sort()
    ends = np.searchsorted(lead, np.arange(1, (1 << spare) + 1) << place)
    lead &= mask
    key, start = np.empty(total, dtype=np.int64), 0
    for group, end in enumerate(ends.tolist()):
        some = lead[start:end]
        part = low[some]
        part &= (1 << rest) - 1
        part <<= number
        part |= high[some]
        part <<= place
        part |= some
        part.sort()
        lead[start:end] = part & mask
        key[start:end] = (part >> place) | (group << (rest + number))
        start = end
    return lead, key


def _next(half: IntArray) -> IntArray:
    """Half edge that follows in the same triangle."""
    following: IntArray = half + 1
    following -= 3 * (half % 3 == 2)
    return following
