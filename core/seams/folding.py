# SPDX-License-Identifier: GPL-3.0-or-later
"""How sharply the surface folds inwards at each vertex, told from the share of foam round it.

Round a point on a plane half of what lies near is foam; at the bottom of a valley whose two walls rise by the angle a
from the plane it is half and a/180 degrees, at every scale. A vertex that scan noise has moved off the surface by d has
a share that is off by about d over the scale. The share is therefore taken at two scales and combined so that this
drops out: what is left depends on the fold and hardly on the noise.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from .columns import Crossings, crossings
from .foam_means import PAD, RATIO, REACH, Means, foam_means

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

CELLS: Final = 2.0
"""Grid cells to the scale: fewer lose narrow crevices, more cost their third power in time."""

_MOST: Final = 2_500_000
"""Cells of one plane of the grid, at most: the planes held at a time then take half a gigabyte."""


def fold_angles(vertices: FloatArray, triangles: IntArray, scale: float, standing: bool) -> NDArray[np.float32]:
    """Angle by which the surface folds inwards at each vertex, (n,) radians: how far each wall of a valley rises.

    Below 0 on ridges. Smoothed at `scale`, so a valley narrower than that shows less.

    Parameters
    ----------
    vertices : (n, 3) metres, z up.
    triangles : (m, 3), a closed surface. Upright lines that find it open are left out of the means round them.
    scale : metres.
    standing : it stands on a flat base: the body is taken to go on below it, so that valleys keep their strength there.

    Raises
    ------
    MeshError
        A scale too fine for the carving.
    """
    cell = scale / CELLS
    # The grid stands still when the surface moves a little: noise then does not change how it falls into cells.
    low = np.floor(np.array([column.min() for column in vertices.T]) / cell) * cell
    high = np.array([column.max() for column in vertices.T])
    place = (vertices - (low - (PAD - 0.5) * cell)) / cell
    deep, wide, tall = (int(n) + 2 * PAD for n in np.ceil((high - low) / cell).tolist())
    if wide * tall > _MOST:
        raise MeshError(
            f"a scale of {scale * 1000.0:.3g} mm is too fine for a carving {high[1] - low[1]:.1f} m wide and "
            f"{high[2] - low[2]:.1f} m high; give more"
        )
    hits = _sorted(crossings(place, triangles))
    place -= REACH / 2.0  # running means drop half their width at either end
    plane = np.floor(place[:, 0]).astype(np.int32)
    order = np.argsort(plane, kind="stable")
    plane = plane[order]
    out = np.empty(len(vertices), dtype=np.float32)

    def work(start: int, stop: int) -> None:
        for first, last, means in foam_means(hits, (deep, wide, tall), standing, start, stop):
            rows = order[slice(*np.searchsorted(plane, (first, last)).tolist())]
            if len(rows):
                out[rows] = _between(means, place[rows])

    # Both halves work on planes of their own: side by side they give the same numbers.
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(work, (0, deep // 2), (deep // 2, deep)))
    out *= np.float32(np.pi / (1.0 - RATIO))
    return out


def _sorted(hits: Crossings) -> Crossings:
    order = np.argsort(hits.i, kind="stable")
    return Crossings(hits.i[order], hits.j[order], hits.z[order], hits.way[order])


def _between(means: Means, at: FloatArray) -> NDArray[np.float32]:
    """Values between the middles of cells, linear along each axis; at: (k, 3) in cells."""
    cell = np.floor(at).astype(np.int64)
    fx, fy, fz = (at - cell).astype(np.float32).T
    corner = means.at(cell)
    row = corner[::2] + fz * (corner[1::2] - corner[::2])
    plane = row[::2] + fy * (row[1::2] - row[::2])
    result: NDArray[np.float32] = plane[0] + fx * (plane[1] - plane[0])
    return result
