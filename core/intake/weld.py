# SPDX-License-Identifier: GPL-3.0-or-later
"""Exact welding: corners with the same coordinates become one vertex; nothing is moved."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import FloatArray, IntArray, Mesh
from ..mesh.topology import edge_report

_Bits: TypeAlias = NDArray[np.uint32] | NDArray[np.uint64]
# Odd constants of 64-bit multiplicative mixing (golden ratio and two digits-of-pi words): any odd numbers would do,
# for a poor mix costs rounds, never a wrong weld.
_MIX: Final = (0x9E3779B97F4A7C15, 0x243F6A8885A308D3, 0x13198A2E03707345)
_CHUNK: Final = 1 << 15
"""Points worked on at a time: their scratch stays in the processor's cache."""


@dataclass(frozen=True, eq=False)
class Welded:
    """A welded mesh and what that did.

    Attributes
    ----------
    mesh : the mesh with shared vertices, in the order in which they first appear.
    merged : vertices that fell together with an earlier one.
    dropped : triangles left out because two of their corners had become one.
    """

    mesh: Mesh
    merged: int
    dropped: int


def weld_points(points: FloatArray | NDArray[np.float32]) -> tuple[IntArray, IntArray]:
    """Find the points that are equal in all three coordinates.

    Parameters
    ----------
    points : (n, 3) float64 or float32, finite; -0.0 equals 0.0.

    Returns
    -------
    first : (k,) int64, the first of each set of equal points, rising.
    number : (n,) int64, for each point its set.

    Notes
    -----
    Each round hashes the points not yet placed into a table whose slots keep the lowest point; points that equal their
    slot's point are placed, the others go to the next round with another hash. The lowest point left is always placed,
    so the rounds end; equal points share every hash, so the result is exact and depends on no hash.
    """
    count = len(points)
    plain = np.ascontiguousarray(points + points.dtype.type(0))
    bits: _Bits = plain.view(np.uint32) if points.dtype == np.float32 else plain.view(np.uint64)
    owner = np.empty(count, dtype=np.int64)
    left = np.arange(count, dtype=np.int64)
    turn = 0
    while len(left):
        slot = np.empty(len(left), dtype=np.int64)
        width = max(4, len(left).bit_length())
        parts = [slice(start, start + _CHUNK) for start in range(0, len(left), _CHUNK)]
        for part in parts:
            slot[part] = _hash(bits.take(left[part], axis=0), turn, width)
        table = np.full(1 << width, count, dtype=np.int64)
        np.minimum.at(table, slot, left)
        equal = np.empty(len(left), dtype=bool)
        for part in parts:
            found = table.take(slot[part])
            here, there = bits.take(left[part], axis=0), bits.take(found, axis=0)
            same = equal[part]
            np.equal(here[:, 0], there[:, 0], out=same)
            same &= here[:, 1] == there[:, 1]
            same &= here[:, 2] == there[:, 2]
            owner[left[part][same]] = found[same]
        left = left[~equal]
        turn += 1
    is_first = owner == np.arange(count)
    number: IntArray = (np.cumsum(is_first) - 1)[owner]
    return np.flatnonzero(is_first).astype(np.int64), number


def weld(mesh: Mesh) -> Welded:
    """Give vertices with the same coordinates one number; triangles that collapse are left out and counted.

    Parameters
    ----------
    mesh : any triangles; vertices that no triangle uses stay, unless they equal an earlier one.
    """
    first, number = weld_points(mesh.vertices)
    triangles = number[mesh.triangles]
    a, b, c = triangles.T
    whole = (a != b) & (b != c) & (c != a)
    merged = Mesh(mesh.vertices[first] + 0.0, triangles[whole], mesh.kind[whole])
    return Welded(merged, len(number) - len(first), int(len(whole) - np.count_nonzero(whole)))


def weld_if_open(mesh: Mesh) -> tuple[Mesh, tuple[str, ...]]:
    """Weld a mesh with shared vertices only where that heals open edges.

    Returns
    -------
    The mesh itself where it has no open edges or where welding does not lower the number of edges at fault; otherwise
    the welded mesh. With it a sentence that says what was done, if anything was.
    """
    report = edge_report(mesh.triangles)
    if not len(report.boundary):
        return mesh, ()
    welded = weld(mesh)
    if not welded.merged and not welded.dropped:
        return mesh, ()
    after = edge_report(welded.mesh.triangles)
    if after.faults >= report.faults:
        return mesh, ()
    note = (
        f"{welded.merged} vertices with the same coordinates as another were joined, "
        f"which closed {len(report.boundary) - len(after.boundary)} of {len(report.boundary)} open edges"
    )
    if welded.dropped:
        note += f"; {welded.dropped} triangles without area (two corners in one place) were left out"
    return welded.mesh, (note,)


def _hash(rows: _Bits, turn: int, width: int) -> IntArray:
    """Slot of each row in a table of 2**width, (n,) int64; another function of the bits for each turn."""
    mixed = np.full(len(rows), 2 * turn + 1, dtype=np.uint64)
    for axis in range(3):
        mixed ^= rows[:, axis]
        mixed *= np.uint64(_MIX[axis])
        mixed ^= mixed >> np.uint64(29)
    mixed *= np.uint64(_MIX[0])
    return (mixed >> np.uint64(64 - width)).astype(np.int64)
