# SPDX-License-Identifier: GPL-3.0-or-later
"""Covering area: the surface that a laminate lies on, which is smoother than the surface that was scanned.

A laminate bridges cracks that are narrower than some width and does not follow texture finer than that. So of each
triangle only a share of its area counts: how far it looks the way the surface round it looks, and nothing where it is
the wall of a crack that is bridged. The floor of a crack counts in full: it is as wide as the crack's mouth.

The surface round a triangle is a weighted sum of area vectors. An area vector does not depend on what a patch does
between its borders, so noise, however steep, leaves the sum alone. The sums are taken on two grids, one twice as coarse
as the other: sharp convex edges lose area in proportion to the width that is averaged over, and most of that loss is
given back by comparing the two.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import BACK, CARVED, FloatArray, IntArray, Mesh
from .split import split_long

_FINE: Final = 0.75
"""Cells of the finer grid, as a share of the bridging width. Cells and weights together average over about half of
their size to each side: 3 mm noise on 6 mm edges leaves under 1 % at 30 mm, and a sharp edge loses least."""

_GIVEN_BACK: Final = 0.75
"""Share of the difference of the two grids that is added: 1 would give sharp edges back whole and overrate gentle
bends, whose loss grows faster than the width."""

_MOST_BACK: Final = 0.25
"""Most that is added to a triangle's share: at a square edge the two grids differ by less; in cracks they differ by
more and mean nothing."""

_BRIDGED: Final = 0.4
"""Walls count as bridged where the faces that look their way outweigh those that look back by no more than this share
of both: that is so in a crack as wide as the bridging width. Found by trying cracks of known width."""

_OPEN: Final = 0.7
"""The same for a crack about 1.3 times as wide, from which on walls count in full; between the two in proportion."""

_MOST_SAMPLES: Final = 4_000_000
"""Triangles longer than a cell of the finer grid are split so that cracks between them are seen, up to about so many
parts: a few seconds."""

_TURN: Final = np.linalg.qr(np.array([[0.61, 0.23, -0.74], [0.37, 0.83, 0.52], [0.70, -0.53, 0.41]]))[0]
"""The grids stand askew, so that faces along the axes, the common case, do not lie on the borders of cells."""

_PAIRS: Final = ((0, 0), (1, 1), (2, 2), (0, 1), (0, 2), (1, 2))
_ROWS: Final = 1 << 16
"""Samples looked up at a time: their scratch stays in the processor's cache."""


def covering_shares(mesh: Mesh, bridging: float) -> FloatArray:
    """Share of each triangle's exact area that a laminate covers, (m,).

    Parameters
    ----------
    mesh : closed surface with the class of each triangle; metres, any frame.
    bridging : width that the laminate bridges, metres; 0: every share is 1.

    Returns
    -------
    (m,) float64
        1 on joint and base faces. Elsewhere about 1 on smooth ground, less on texture, 0 on the walls of cracks that
        are narrower than `bridging`; single triangles may come out below 0 or a little above 1. Summed over the whole
        mesh, share times area is never more than the exact area.

    Notes
    -----
    Measured in the tests: noise of 1 and 3 mm on edges of 6 mm changes the sum by under 2 % at a bridging width of
    30 mm; a box of 0.6 m loses under 1 %; walls of a crack narrower than that count by about a tenth of their area,
    next to the mouth. Thin ridges are not bridged.
    """
    shares = np.ones(len(mesh.triangles))
    rows = np.flatnonzero((mesh.kind == CARVED) | (mesh.kind == BACK))
    if bridging <= 0.0 or len(rows) == 0:
        return shares
    exact = _area_vectors(mesh.vertices[mesh.triangles[rows]])
    size = _length(exact)
    longest = max(_FINE * bridging, float(np.sqrt(size.sum() / _MOST_SAMPLES)))
    corners, owner = split_long(mesh.vertices[mesh.triangles[rows]], longest)
    middle = (corners[:, 0] + corners[:, 1] + corners[:, 2]) @ (_TURN.T / 3.0)
    # A cell number holds 21 bits an axis: beyond two million cells across they cannot be finer.
    fine = max(_FINE * bridging, float(np.ptp(middle, axis=0).max()) / (1 << 20))
    found = _shares(middle, _area_vectors(corners) @ _TURN.T, fine)
    covered: FloatArray = np.bincount(owner, found, len(rows)).astype(np.float64)
    total, most = float(covered.sum()), float(size.sum())
    covered = covered * (min(1.0, most / total) if total > 0.0 else 1.0)
    shares[rows] = np.divide(covered, size, out=np.ones(len(rows)), where=size > 0.0)
    return shares


def shares_of(shares: FloatArray, source: IntArray, origin: NDArray[np.uint8]) -> FloatArray:
    """Shares of a piece's triangles, (m,), from the carving's, by where each comes from; 1 on new joint faces."""
    from_carving = origin == 0
    found: FloatArray = np.ones(len(source))
    found[from_carving] = shares[source[from_carving]]
    return found


def _area_vectors(corners: FloatArray) -> FloatArray:
    (ax, ay, az), (bx, by, bz) = ((corners[:, k] - corners[:, 0]).T for k in (1, 2))
    vectors: FloatArray = 0.5 * np.stack((ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx), axis=1)
    return vectors


def _dot(one: FloatArray, two: FloatArray) -> FloatArray:
    """Row by row; numpy sums rows of three slowly."""
    product: FloatArray = np.einsum("ij,ij->i", one, two)
    return product


def _length(vectors: FloatArray) -> FloatArray:
    length: FloatArray = np.sqrt(_dot(vectors, vectors))
    return length


def _shares(middle: FloatArray, vectors: FloatArray, fine: float) -> FloatArray:
    """Area of each sample that counts, (k,), from middles and area vectors, (k, 3)."""
    size = _length(vectors)
    normals = vectors / np.where(size > 0.0, size, 1.0)[:, None]
    place = middle - middle.min(axis=0)
    near = _unit(_Grid(place, fine).sums([vectors[:, k] for k in range(3)]))
    grid = _Grid(place, 2.0 * fine)
    wide = grid.sums([*(vectors[:, k] for k in range(3)), size])
    one, two = _dot(normals, near), _dot(normals, _unit(wide[:, :3]))
    counted: FloatArray = size * (one + _GIVEN_BACK * np.clip(one - two, -_MOST_BACK, _MOST_BACK))
    forward = _dot(near, wide[:, :3])
    # Where what looks this way is most of all there is, nothing much looks back: no need to see where that lies.
    rows = np.flatnonzero(forward < _OPEN * wide[:, 3])
    near, forward = near[rows], forward[rows]
    both = _along(grid.sums([vectors[:, i] * normals[:, j] for i, j in _PAIRS], rows), near)
    ahead = _along(
        grid.sums([0.5 * (vectors[:, i] * place[:, j] + vectors[:, j] * place[:, i]) for i, j in _PAIRS], rows), near
    )
    faces_air = ahead < forward * _dot(near, place[rows])
    weight = np.divide(forward, both, out=np.ones(len(both)), where=both > 0.0)
    counted[rows] *= np.where(faces_air, np.clip((weight - _BRIDGED) / (_OPEN - _BRIDGED), 0.0, 1.0), 1.0)
    return counted


def _unit(vectors: FloatArray) -> FloatArray:
    length = _length(vectors)
    unit: FloatArray = vectors / np.where(length > 0.0, length, 1.0)[:, None]
    return unit


def _along(tensors: FloatArray, direction: FloatArray) -> FloatArray:
    """Symmetric tensors, (k, 6) in the order of `_PAIRS`, taken both ways along directions, (k, 3)."""
    total = np.zeros(len(direction))
    for column, (i, j) in enumerate(_PAIRS):
        total += tensors[:, column] * direction[:, i] * direction[:, j] * (1.0 if i == j else 2.0)
    return total


class _Grid:
    """Sums over a cubic grid, read back at the samples with linear weights of the eight cells nearest to each."""

    def __init__(self, place: FloatArray, cell: float) -> None:
        """Sort samples, (k, 3) from 0 up, into cells of this size."""
        at = place / cell + 2.0
        keys, self._row = np.unique(_key(np.floor(at).astype(np.int64)), return_inverse=True)
        base = np.floor(at - 0.5)
        self._share = at - 0.5 - base
        low, self._dual = np.unique(_key(base.astype(np.int64)), return_inverse=True)
        self._count = len(keys)
        steps = np.array([[(k >> axis) & 1 for axis in range(3)] for k in range(8)], dtype=np.int64)
        self._cells = np.empty((8, len(low)), dtype=np.int64)
        for k, step in enumerate(_key(steps)):
            wanted = low + step
            found = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
            self._cells[k] = np.where(keys[found] == wanted, found, len(keys))

    def sums(self, values: Sequence[FloatArray], samples: IntArray | None = None) -> FloatArray:
        """Weighted sums of values, each (k,), round every sample or round those named: (samples, number of values)."""
        table = np.zeros((self._count + 1, len(values)))
        for column, value in enumerate(values):
            table[:-1, column] = np.bincount(self._row, weights=value, minlength=self._count)
        wanted = np.arange(len(self._row)) if samples is None else samples
        out = np.zeros((len(wanted), len(values)))
        for start in range(0, len(out), _ROWS):
            rows = slice(start, start + _ROWS)
            dual, share = self._dual[wanted[rows]], self._share[wanted[rows]]
            for k, cells in enumerate(self._cells):
                weight = np.ones(len(dual))
                for axis in range(3):
                    weight *= share[:, axis] if (k >> axis) & 1 else 1.0 - share[:, axis]
                out[rows] += table[cells[dual]] * weight[:, None]
        return out


def _key(cells: IntArray) -> IntArray:
    """One number for each cell, (k,), from its place along the axes, (k, 3)."""
    key: IntArray = (cells[:, 0] << 42) | (cells[:, 1] << 21) | cells[:, 2]
    return key
