# SPDX-License-Identifier: GPL-3.0-or-later
"""The share of foam round every cell of a grid, at two scales, a few planes at a time.

The whole grid is never held: planes of cells go through the running sums one batch after the other, small enough to
stay in the processor's cache, and each sum remembers the few planes that the next batch needs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .columns import Crossings

FloatGrid = NDArray[np.float32]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_FINE: Final = (4,)
"""Widths, in cells, of the running means that make the finer smoothing; along each axis. Powers of 2."""

_COARSE: Final = (4, 4)
"""Widths of those that follow and make the coarser one: standard deviations of 1.1 and 1.9 cells in all."""

REACH: Final = sum(width - 1 for width in _FINE + _COARSE)
"""Cells from the first to the last that one cell of the coarser smoothing is made of."""

PAD: Final = 8
"""Cells of air round the body: more than the running means reach."""

_TRIM: Final = sum(width - 1 for width in _COARSE) // 2
"""Cells by which the finer smoothing begins before the coarser one of the same middle."""

_TOGETHER: Final = 1 << 17
"""Cells worked on together, about: half a megabyte, which stays in the processor's cache from one sum to the next."""

_LEAST: Final = 4
"""Planes worked on together, at least; a sum remembers two."""

_BEYOND: Final = np.indices((2, 2, 2)).reshape(3, 8)
"""A cell and the seven beyond it: steps along each axis."""


def _variance(widths: tuple[int, ...]) -> float:
    return sum((width**2 - 1) / 12.0 for width in widths)


RATIO: Final = float(np.sqrt(_variance(_FINE) / _variance(_FINE + _COARSE)))
"""Of the two scales: the finer one's standard deviation over the coarser one's."""


def _steps(widths: tuple[int, ...]) -> tuple[int, ...]:
    """Sums of 2, 4, 8 ... cells, each of two of half the width: how far apart those two lie."""
    return tuple(1 << k for width in widths for k in range(width.bit_length() - 1))


def _scale(widths: tuple[int, ...], axes: int = 3) -> np.float32:
    """What makes means of sums; a power of 2, so that it makes no difference when it is done."""
    return np.float32(1.0 / np.prod(widths) ** axes)


@dataclass(frozen=True, eq=False)
class Means:
    """Some planes of a grid, smoothed. A cell is counted from the first that the coarser running mean reaches whole.

    Attributes
    ----------
    first : the plane that comes first. wide : cells of a plane of the grid along the second axis.
    fine, coarse : (planes, cells), sums of foam; a plane level after level, from the lowest up.
    sound : shares of sound columns round each, fine and coarse, by the first two axes; None where all are.
    """

    first: int
    wide: int
    fine: FloatGrid
    coarse: FloatGrid
    sound: tuple[FloatGrid, FloatGrid] | None

    def at(self, cell: IntArray) -> FloatGrid:
        """Share smoothed coarsely, less a half, less the same smoothed finely in the ratio of the two scales.

        cell : (k, 3). Returns (8, k): for the cell and those beyond it, along the third axis first, then the second.
        """
        x, y, z = cell.T[:, None] + _BEYOND[:, :, None]
        plane, place = x - self.first, z * self.wide + y
        coarse: FloatGrid = self.coarse.reshape(-1)[plane * self.coarse.shape[1] + place]
        fine = self.fine.reshape(-1)[plane * self.fine.shape[1] + (place + _TRIM * (self.wide + 1))]
        coarse *= _scale(_FINE + _COARSE)
        fine *= _scale(_FINE)
        if self.sound is not None:
            for means, sound in zip((fine, coarse), self.sound, strict=True):
                means /= np.maximum(sound[x, y], 1e-6)
        coarse -= np.float32(RATIO) * fine
        coarse -= np.float32(0.5 * (1.0 - RATIO))
        return coarse


def foam_means(
    hits: Crossings, shape: tuple[int, int, int], standing: bool, start: int, stop: int
) -> Iterator[tuple[int, int, Means]]:
    """Go through planes `start` to `stop` of the foam smoothed, a few at a time: which ones, with one more behind them.

    Parameters
    ----------
    hits : where the middle lines of the cells cross the surface, `i` rising.
    shape : of the grid, air round the body and all.
    standing : the body goes on below the lowest cells that it may lie in.

    What is handed out stands until the next is asked for.
    """
    _, wide, tall = shape
    count = max(_LEAST, _TOGETHER // (wide * tall))
    open_ = _open_columns(hits, shape)
    sound = _sound(open_) if open_.any() else None
    # Of each plane the sums that are whole, and a few behind them.
    sizes = [wide * tall - cut * (wide + 1) for cut in (REACH - 2 * _TRIM, REACH)]
    kept_fine, kept_coarse = (
        [np.zeros((step, size), dtype=np.float32) for step in _steps(widths)]
        for size, widths in zip(sizes, (_FINE, _COARSE), strict=True)
    )
    # What is smoothed finely is there sooner.
    fine = np.zeros((count + _TRIM + 1, sizes[0]), dtype=np.float32)
    coarse = np.zeros((count + 1, sizes[1]), dtype=np.float32)
    for first in range(start - REACH - 1, stop, count):
        foam = _foam(hits, open_, first + REACH + 1, count, shape, standing)
        fine[:-count], coarse[:1] = fine[count:], coarse[count:]
        _onward(_across(foam, wide, _FINE), kept_fine, _FINE, fine[-count:])
        _onward(_across(fine[-count:], wide, _COARSE), kept_coarse, _COARSE, coarse[1:])
        yield max(first, start), min(first + count, stop), Means(first, wide, fine, coarse, sound)


def _open_columns(hits: Crossings, shape: tuple[int, int, int]) -> BoolArray:
    """Columns whose line enters the body more or less often than it leaves it, by the first two axes."""
    column = hits.i.astype(np.int64) * shape[1] + hits.j
    out: BoolArray = np.bincount(column, hits.way, shape[0] * shape[1]) != 0.0
    return out.reshape(shape[:2])


def _sound(open_: BoolArray) -> tuple[FloatGrid, FloatGrid]:
    """Share of the columns round each that are closed, as the finer and the coarser means see them."""
    grids = []
    grid = (~open_).astype(np.float32)
    for widths in (_FINE, _COARSE):
        for step in _steps(widths):
            grid = grid[:, :-step] + grid[:, step:]
        for step in _steps(widths):
            grid = grid[:-step] + grid[step:]
        grid *= _scale(widths, 2)
        grids.append(grid)
    fine, coarse = grids
    return np.ascontiguousarray(fine[_TRIM:-_TRIM, _TRIM:-_TRIM]), coarse


def _foam(
    hits: Crossings, open_: BoolArray, start: int, count: int, shape: tuple[int, int, int], standing: bool
) -> FloatGrid:
    """Share of each cell's middle line that is foam, (count, cells of a plane); none in columns that are not closed."""
    _, wide, tall = shape
    begin, end = np.searchsorted(hits.i, np.array([start, start + count], dtype=hits.i.dtype)).tolist()
    z = hits.z[begin:end] + 0.5
    cell = z.astype(np.int64)
    at = ((hits.i[begin:end] - start) * tall + cell) * wide + hits.j[begin:end]
    share, way = z - cell, hits.way[begin:end]
    at, change = np.concatenate([at, at + wide]), np.concatenate([way * (1.0 - share), way * share])
    foam: FloatGrid = np.bincount(at, change, count * tall * wide).astype(np.float32).reshape(count, tall, wide)
    # Level after level: numpy's own sum along a column waits for each cell before it takes the next.
    for k in range(1, tall):
        np.add(foam[:, k - 1], foam[:, k], out=foam[:, k])
    if standing:
        foam[:, : PAD + 1] = foam[:, PAD + 1, None]
    leaking = open_[start : start + count]
    if leaking.any():
        plane, row = np.nonzero(leaking)
        foam[plane, :, row] = 0.0
    return foam.reshape(count, -1)


def _across(planes: FloatGrid, wide: int, widths: tuple[int, ...]) -> FloatGrid:
    """Sums along both axes of planes, (n, cells), level after level of `wide` cells.

    A step up is a whole level on, a step across one cell; sums that run over the end of a level are of no use and not
    looked at.
    """
    for unit in (wide, 1):
        for step in _steps(widths):
            planes = planes[:, : -step * unit] + planes[:, step * unit :]
    return planes


def _onward(planes: FloatGrid, kept: list[FloatGrid], widths: tuple[int, ...], out: FloatGrid) -> None:
    """Sums from plane to plane, as many as planes are given: the first ones reach back to those that came before.

    kept : what each sum needs of the planes before; changed to what it needs of these. out : changed.
    """
    steps = _steps(widths)
    for k, (step, before) in enumerate(zip(steps, kept, strict=True)):
        into = out if k + 1 == len(steps) else np.empty_like(planes)
        np.add(before, planes[:step], out=into[:step])
        np.add(planes[:-step], planes[step:], out=into[step:])
        before[:] = planes[-step:]
        planes = into
