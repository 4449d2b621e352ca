# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints that may cut a part across one direction: planes at even distances, and the best profiles about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .image import COLUMN, RISE, ROW, Image, Slab, below, make_image
from .part import Part, Sheet
from .path import Band, best_paths, knots
from .sweep import Sweep
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

WIRES: Final = (30.0, 150.0, 0.0)
"""Degrees from upright (from the first axis for a level joint) at which the wire is tried, before it is turned further:
a wire that leans meets the top with some of its lines and one flank with others."""

_BAND: Final = 15
"""Rows to either side of a plane that a profile may stray."""

STEP: Final = 6
"""Rows from one band's middle to the next: bands overlap, so that no way between two seams is missed."""

_BANDS: Final = 110
"""Most bands in one direction that profiles are sought in."""

_WINDOW: Final = 6
"""Rows of which the best joint is kept, for each direction of the wire."""

_KEPT: Final = 90
"""Most joints of one direction that chains are made of."""

_TURNS: Final = (16.0, 7.0)
"""Degrees by which the wire is turned, step by step, each way about both axes of the profile."""

_GAIN: Final = 0.02
"""Metres of line that a turn of the wire must save."""

_NEAR: Final = 0.35
"""Metres to either side of a profile that are looked at while its wire is turned: its band, and what turns bring in."""

_SOME: Final = 700
"""Cells by which it is told whether two joints cross."""


@dataclass(frozen=True, eq=False)
class Pool:
    """Joints across one direction.

    Attributes
    ----------
    sheets : the joints. off : (n,) weighted metres of line off seams. area : (n,) square metres.
    reach : (n,) longest wire in foam, metres.
    volume, mass : (n,) below each, without the joint's own skin. line : (n, 3) as in `Sweep`.
    low, high : (n,) borders of the sweep between which each lies.
    over : (n, cells) which of some cells lie above each.
    """

    sheets: tuple[Sheet, ...]
    off: FloatArray
    area: FloatArray
    reach: FloatArray
    volume: FloatArray
    mass: FloatArray
    line: FloatArray
    low: IntArray
    high: IntArray
    over: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.sheets)

    def some(self, rows: IntArray) -> Pool:
        """Some of the joints."""
        return Pool(
            tuple(self.sheets[k] for k in rows.tolist()),
            *(
                getattr(self, name)[rows]
                for name in ("off", "area", "reach", "volume", "mass", "line", "low", "high", "over")
            ),
        )

    def joined(self, other: Pool) -> Pool:
        """Both together."""
        return Pool(
            (*self.sheets, *other.sheets),
            *(
                np.concatenate([getattr(self, name), getattr(other, name)])
                for name in ("off", "area", "reach", "volume", "mass", "line", "low", "high", "over")
            ),
        )


def across(w: FloatArray, degrees: float) -> FloatArray:
    """U for a wire square to w, so many degrees from upright (from +x where w is upright)."""
    up = np.array([0.0, 0.0, 1.0]) if abs(w[2]) < 0.5 else np.array([1.0, 0.0, 0.0])
    side = np.cross(up, w)
    turn = np.radians(degrees)
    wire = np.cos(turn) * up + np.sin(turn) * side
    wire[np.abs(wire) < 1e-12] = 0.0
    u: FloatArray = np.cross(w, wire)
    return u / np.linalg.norm(u)


def planes(part: Part, one: Sweep, borders: IntArray) -> Pool:
    """Planes at borders of a sweep."""
    u = across(one.w, 0.0)
    sheets = tuple(Sheet(u, one.w, np.array([[0.0, one.at(k)]]), True) for k in borders.tolist())
    height = _few_cells(part) @ one.w
    return Pool(
        sheets,
        one.cost[borders],
        one.area[borders],
        np.zeros(len(borders)),
        one.volume[borders],
        one.mass[borders],
        one.line[borders],
        borders,
        borders,
        height[None, :] >= ((one.first_row + borders) * ROW)[:, None],
    )


def _few_cells(part: Part) -> FloatArray:
    out: FloatArray = part.of.cells.middles[part.cells[:: 1 + len(part.cells) // _SOME]]
    return out


def profiles(part: Part, slab: Slab, one: Sweep, least: float, worth: Worth, wires: Sequence[float], step: int) -> Pool:
    """The best profiles about planes of one direction, one every `step` rows, for some directions of the wire."""
    share = one.volume / part.foam
    rows = np.flatnonzero((share > least) & (share < 1.0 - least))
    step = max(step, int(np.ceil(len(rows) / _BANDS)))
    borders = rows[len(rows) % step // 2 :: step]
    axes = [across(one.w, degrees) for degrees in wires]
    images = [make_image(slab, u, one.w) for u in axes]
    bands = [Band(image, k) for image in images for k in (borders + one.first_row - image.first_row).tolist()]
    found = best_paths(bands, _BAND, worth.area / worth.line)
    pools = []
    for k, (u, image) in enumerate(zip(axes, images, strict=True)):
        paths = np.unique(np.stack([path for _, path in found[k * len(borders) : (k + 1) * len(borders)]]), axis=0)
        pools.append(_pool(part, one, image, u, one.w, paths))
    return together(pools)


def together(pools: Sequence[Pool]) -> Pool:
    """Pools in one."""
    out = pools[0]
    for pool in pools[1:]:
        out = out.joined(pool)
    return out


def pruned(pools: Sequence[Pool], worth: Worth) -> Pool:
    """The best of each window of rows in each pool, not too many."""
    window = _WINDOW
    while True:
        kept = []
        for pool in pools:
            price = worth.line * pool.off + worth.area * pool.area
            place = (pool.low + pool.high) // 2 // window
            order = np.lexsort((price, place))
            first = np.append(True, np.diff(place[order]) != 0)
            kept.append(pool.some(np.sort(order[first])))
        if sum(len(pool) for pool in kept) <= _KEPT:
            break
        window += 2
    return together(kept)


def _pool(part: Part, one: Sweep, image: Image, u: FloatArray, w: FloatArray, paths: IntArray) -> Pool:
    """What the sheets along paths of an image come to."""
    off, area, reach = along(image, paths)
    of = part.of
    sums = below(part, image, u, w, _lengths(part, one).T)
    columns = np.arange(paths.shape[1] - 1)[None, :]
    total = sums[:, columns, np.clip(paths[:, :-1], 0, sums.shape[2] - 1)].sum(axis=2)
    sheets = tuple(Sheet(u, w, knots(image, path), False) for path in paths)
    cells = _few_cells(part)
    place = np.clip(cells @ u / COLUMN - image.first_column, 0.0, paths.shape[1] - 1.001)
    i = place.astype(np.int64)
    height = paths[:, i] * (1.0 - place + i) + paths[:, i + 1] * (place - i)
    over = (cells @ w)[None, :] >= (height + (image.first_row + 0.5)) * ROW
    low, high = _span(part, one, image, w, paths)
    return Pool(
        sheets,
        off,
        area,
        reach,
        total[0],
        of.density * total[0] + total[1],
        total[2:].T,
        low,
        high,
        over,
    )


def _lengths(part: Part, one: Sweep) -> FloatArray:
    """Line that planes square to each axis of the sweep's frame show at each of the few samples, weighted; (k, 3)."""
    of = part.of
    some, each, _, _ = part.few
    out: FloatArray = np.sqrt(np.maximum(1.0 - (of.normals[some] @ one.frame.T) ** 2, 0.0))
    return out * (of.worth[some] * each)[:, None]


def _span(part: Part, one: Sweep, image: Image, w: FloatArray, paths: IntArray) -> tuple[IntArray, IntArray]:
    """Borders of the sweep between which each path lies, where it is in foam."""
    columns = np.arange(paths.shape[1] - 1)[None, :]
    middle = np.clip(paths[:, :-1], 0, image.depth.shape[1] - 1)
    inside = image.depth[columns, middle] > 0.02
    none = ~inside.any(axis=1)
    inside[none] = True
    last = len(one.volume) - 1
    if float(w @ one.w) > 0.9999:
        heights = middle + image.first_row - one.first_row
        low = np.where(inside, heights, last).min(axis=1)
        high = np.where(inside, heights, 0).max(axis=1) + 1
    else:
        # A wire turned out of the direction: its sheet's span goes by cells beside it.
        low, high = np.zeros(len(paths), dtype=np.int64), np.zeros(len(paths), dtype=np.int64)
    return np.clip(low, 0, last), np.clip(high, 0, last)


def along(image: Image, rows: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What paths show and part: weighted line off seams, area, longest wire; each (b,)."""
    columns = np.arange(image.depth.shape[0])[None, :]
    rise = np.diff(rows, axis=1)
    at = np.clip(rows[:, :-1] + (rise / 2.0).astype(np.int64), 0, image.depth.shape[1] - 1)
    slope = np.abs(rise) / RISE
    steep = image.cost[np.where(rise < 0, 0, 2), columns, at]
    off = (image.cost[1][columns, at] * (1.0 - slope) + steep * slope).sum(axis=1)
    depth = image.depth[columns, at]
    return off, (depth * np.hypot(1.0, slope)).sum(axis=1) * COLUMN, depth.max(axis=1)


def turned(part: Part, slab: Slab, one: Sweep, pool: Pool, k: int, worth: Worth) -> Pool | None:
    """A profile near another, its wire turned so that it follows seams on more sides; None if none shows less."""
    sheet = pool.sheets[k]
    cells = part.of.cells.middles[part.few[2]]
    away = np.abs(sheet.above(cells))
    beside = cells[away <= max(part.of.cells.step, float(away.min()))]
    middle = beside.mean(axis=0)
    price = worth.area / worth.line
    near = slab.near(middle, sheet.w, _NEAR)
    if len(near.middles) == 0:
        return None

    def look(axes: list[tuple[FloatArray, FloatArray]]) -> list[tuple[float, Image, IntArray]]:
        images = [make_image(near, u, w) for u, w in axes]
        bands = [
            Band(image, int(np.floor(middle @ w / ROW)) - image.first_row)
            for image, (_, w) in zip(images, axes, strict=True)
        ]
        return [
            (cost, band.image, rows) for band, (cost, rows) in zip(bands, best_paths(bands, _BAND, price), strict=True)
        ]

    u, w = sheet.u, sheet.w
    (best,) = look([(u, w)])
    first = best
    for degrees in _TURNS:
        turn = np.radians(degrees)
        tried = []
        for angle in (turn, -turn):
            wire = np.cross(u, w)
            c, s = np.cos(angle), np.sin(angle)
            tried += [(c * u + s * wire, w), (u, c * w + s * wire)]
        found = look(tried)
        k = min(range(len(found)), key=lambda k: found[k][0])
        if found[k][0] < best[0] - _GAIN:
            best, (u, w) = found[k], tried[k]
    if best is first:
        return None
    sheet = Sheet(u, w, knots(best[1], best[2]), False)
    return _measured(part, slab, one, sheet, best[1], best[2])


def _measured(part: Part, slab: Slab, one: Sweep, sheet: Sheet, image: Image, path: IntArray) -> Pool:
    """What a turned sheet comes to: its line and area by its own image, its sides by the part's samples."""
    of = part.of
    off, area, reach = along(image, path[None])
    some, each, cells, _ = part.few
    under = sheet.above(of.points[some]) < 0.0
    middles = of.cells.middles[cells]
    height = sheet.above(middles)
    foam = of.cells.foam[cells]
    low_foam = float(foam[height < 0.0].sum() / foam.sum()) * part.foam
    skin = of.skin[some]
    laid = float(skin[under].sum()) * each + of.face_mass * float(
        part.faces[sheet.above(part.faces[:, :3]) < 0.0, 3].sum()
    )
    total = float(skin.sum()) * each + of.face_mass * float(part.faces[:, 3].sum())
    laid *= part.laid / max(total, 1e-12)
    beside = middles[np.abs(height) <= max(of.cells.step, float(np.abs(height).min()))] @ one.w
    last = len(one.volume) - 1
    low, high = (
        np.clip(np.array([int(np.floor(x / ROW)) - one.first_row]), 0, last) for x in (beside.min(), beside.max())
    )
    return Pool(
        (sheet,),
        off,
        area,
        reach,
        np.array([low_foam]),
        np.array([of.density * low_foam + laid]),
        _lengths(part, one)[under].sum(axis=0)[None],
        low,
        high,
        (sheet.above(_few_cells(part)) >= 0.0)[None],
    )
