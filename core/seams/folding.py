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

FloatArray = NDArray[np.float64]
FloatGrid = NDArray[np.float32]
IntArray = NDArray[np.int64]

CELLS: Final = 2.0
"""Grid cells to the scale: fewer lose narrow crevices, more cost their third power in time."""

_FINE: Final = (4,)
"""Widths, in cells, of the running means that make the finer smoothing; along each axis. Powers of 2."""

_COARSE: Final = (4, 4)
"""Widths of those that follow and make the coarser one: standard deviations of 1.1 and 1.9 cells in all."""

_PAD: Final = 8
"""Cells of air round the body: more than the running means reach."""

_TILE: Final = 1 << 21
"""Cells worked on at a time, about: 8 MB, which the processor's cache partly holds."""

_MOST: Final = 1 << 27
"""Cells of one slab, at most: half a gigabyte."""


def _variance(widths: tuple[int, ...]) -> float:
    return sum((width**2 - 1) / 12.0 for width in widths)


_RATIO: Final = float(np.sqrt(_variance(_FINE) / _variance(_FINE + _COARSE)))


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
    place = (vertices - (low - (_PAD - 0.5) * cell)) / cell
    shape = tuple(int(n) + 2 * _PAD for n in np.ceil((high - low) / cell).tolist())
    reach = sum(width - 1 for width in _FINE + _COARSE)
    wide = max(4 * reach, _TILE // (shape[1] * shape[2]))
    if (wide + 2 * reach) * shape[1] * shape[2] > _MOST:
        raise MeshError(
            f"a scale of {scale * 1000.0:.3g} mm is too fine for a carving {high[1] - low[1]:.1f} m wide and "
            f"{high[2] - low[2]:.1f} m high; give more"
        )
    hits = _sorted(crossings(place, triangles))
    slab = np.floor(place[:, 0]).astype(np.int32)
    order = np.argsort(slab, kind="stable")
    slab = slab[order]
    out = np.empty(len(vertices), dtype=np.float32)

    def work(begin: int) -> None:
        first, last = np.searchsorted(slab, (begin, begin + wide)).tolist()
        if first == last:
            return
        rows = order[first:last]
        start, stop = max(begin - reach, 0), min(begin + wide + reach, shape[0])
        field = _combined(*_occupancy(hits, start, stop, shape[1:], standing))
        # Running means drop half their width at either end.
        out[rows] = _between(field, place[rows] - np.array([start + reach / 2.0, reach / 2.0, reach / 2.0]))

    # Slabs do not touch each other: two at a time give the same numbers.
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(work, range(0, shape[0], wide)))
    out *= np.float32(np.pi / (1.0 - _RATIO))
    return out


def _sorted(hits: Crossings) -> Crossings:
    order = np.argsort(hits.i, kind="stable")
    return Crossings(hits.i[order], hits.j[order], hits.z[order], hits.way[order])


def _occupancy(
    hits: Crossings, start: int, stop: int, shape: tuple[int, ...], standing: bool
) -> tuple[FloatGrid, NDArray[np.bool_]]:
    """Share of each cell's middle line that is foam, (stop - start, ny, nz), and which columns are not closed."""
    ny, nz = shape
    part = slice(*np.searchsorted(hits.i, (start, stop)).tolist())
    column = (hits.i[part] - start).astype(np.int64) * ny + hits.j[part]
    z = hits.z[part] + 0.5
    cell = z.astype(np.int64)
    share = z - cell
    at, way = column * nz + cell, hits.way[part]
    size = (stop - start) * ny * nz
    change = np.bincount(at, way * (1.0 - share), minlength=size)
    change += np.bincount(at + 1, way * share, minlength=size)
    foam: FloatGrid = np.cumsum(change.reshape(-1, ny, nz), axis=2, dtype=np.float32)
    if standing:
        foam[:, :, : _PAD + 1] = foam[:, :, _PAD + 1, None]
    open_ = np.bincount(column, way, minlength=(stop - start) * ny) != 0.0
    return foam, open_.reshape(-1, ny)


def _combined(foam: FloatGrid, open_: NDArray[np.bool_]) -> FloatGrid:
    """Share of foam smoothed coarsely, less a half, less the same smoothed finely in the ratio of the two scales."""
    leaking = bool(open_.any())
    if leaking:
        foam[open_] = 0.0
    fine = _smoothed(foam, _FINE)
    coarse = _smoothed(fine, _COARSE)
    trim = sum(width - 1 for width in _COARSE) // 2
    fine = fine[trim:-trim, trim:-trim, trim:-trim]
    if leaking:
        sound = _smoothed((~open_).astype(np.float32)[:, :, None], _FINE, 2)
        fine = fine / np.maximum(sound[trim:-trim, trim:-trim], 1e-6)
        coarse = coarse / np.maximum(_smoothed(sound, _COARSE, 2), 1e-6)
    coarse -= np.float32(_RATIO) * fine
    coarse -= np.float32(0.5 * (1.0 - _RATIO))
    return coarse


def _smoothed(grid: FloatGrid, widths: tuple[int, ...], axes: int = 3) -> FloatGrid:
    """Running means along the first axes; each shortens its axis by its width less one."""
    for axis in range(axes - 1, -1, -1):
        for width in widths:
            step = 1
            while step < width:
                # Sums of 2, 4, 8 ... cells, each from two of half the width.
                count = grid.shape[axis] - step
                here = [slice(None)] * 3
                there = [slice(None)] * 3
                here[axis], there[axis] = slice(0, count), slice(step, None)
                grid = grid[tuple(here)] + grid[tuple(there)]
                step *= 2
    grid *= np.float32(1.0 / np.prod(widths) ** axes)
    return grid


def _between(grid: FloatGrid, at: FloatArray) -> NDArray[np.float32]:
    """Values between the middles of cells, linear along each axis; at: (k, 3) in cells."""
    size = np.array(grid.shape)
    cell = np.clip(np.floor(at).astype(np.int64), 0, size - 2)
    fx, fy, fz = (at - cell).astype(np.float32).T
    over, up = int(size[1] * size[2]), int(size[2])
    base = cell[:, 0] * over + cell[:, 1] * up + cell[:, 2]
    flat = grid.reshape(-1)

    def row(start: IntArray) -> NDArray[np.float32]:
        value: NDArray[np.float32] = flat[start] + fz * (flat[start + 1] - flat[start])
        return value

    near = row(base)
    near += fy * (row(base + up) - near)
    far = row(base + over)
    far += fy * (row(base + over + up) - far)
    result: NDArray[np.float32] = near + fx * (far - near)
    return result
