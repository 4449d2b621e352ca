# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints that may cut a part across one direction: planes at even distances, and the best profiles about them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
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
    sheets : makes each joint: few of them are wanted.
    off : (n,) weighted metres of line off seams. area : (n,) square metres. reach : (n,) longest wire in foam, metres.
    volume, mass : (n,) below each, without the joint's own skin. line : (n, 6) as in `Sweep`.
    low, high : (n,) borders of the sweep between which each lies.
    over : (n, cells) which of some cells lie above each.
    """

    sheets: tuple[Callable[[], Sheet], ...]
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
        return len(self.off)

    def sheet(self, k: int) -> Sheet:
        """One of the joints."""
        return self.sheets[k]()

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


def flat_sheet(one: Sweep, border: int) -> Sheet:
    """The plane at a border of a sweep."""
    return Sheet(across(one.w, 0.0), one.w, np.array([[0.0, one.at(border)]]), True)


def planes(part: Part, one: Sweep, borders: IntArray) -> Pool:
    """Planes at borders of a sweep."""
    sheets = tuple(partial(flat_sheet, one, k) for k in borders.tolist())
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


def profiles(
    part: Part, slab: Slab, sweeps: Sequence[Sweep], least: float, worth: Worth, wires: Sequence[float], step: int
) -> list[Pool]:
    """The best profiles about planes of each direction, one every `step` rows, for some directions of the wire."""
    bands: list[Band] = []
    rows = []
    for one in sweeps:
        share = one.volume / part.foam
        inner = np.flatnonzero((share > least) & (share < 1.0 - least))
        apart = max(step, int(np.ceil(len(inner) / _BANDS)))
        borders = inner[len(inner) % apart // 2 :: apart]
        for degrees in wires:
            u = across(one.w, degrees)
            image = make_image(slab, u, one.w)
            rows.append((one, image, u, len(bands), len(bands) + len(borders)))
            bands += [Band(image, k) for k in (borders + one.first_row - image.first_row).tolist()]
    found = best_paths(bands, _BAND, worth.area / worth.line) if bands else []
    pools: dict[int, list[Pool]] = {id(one): [] for one in sweeps}
    for one, image, u, first, end in rows:
        if end > first:
            paths = np.unique(np.stack([path for _, path in found[first:end]]), axis=0)
            pools[id(one)].append(_pool(part, one, image, u, one.w, paths))
    return [together([planes(part, one, np.zeros(0, dtype=np.int64)), *pools[id(one)]]) for one in sweeps]


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
    foam, laid = below(part, image, u, w)
    columns = np.arange(paths.shape[1] - 1)[None, :]
    rows = np.clip(paths[:, :-1], 0, foam.shape[1] - 1)
    volume = foam[columns, rows].sum(axis=1)
    cells = _few_cells(part)
    place = np.clip(cells @ u / COLUMN - image.first_column, 0.0, paths.shape[1] - 1.001)
    i = place.astype(np.int64)
    height = paths[:, i] * (1.0 - place + i) + paths[:, i + 1] * (place - i)
    over = (cells @ w)[None, :] >= (height + (image.first_row + 0.5)) * ROW
    low, high = _span(part, one, image, w, paths)
    return Pool(
        tuple(partial(_bent_sheet, image, u, w, path) for path in paths),
        off,
        area,
        reach,
        volume,
        part.of.density * volume + laid[columns, rows].sum(axis=1),
        one.line_at(volume),
        low,
        high,
        over,
    )


def _bent_sheet(image: Image, u: FloatArray, w: FloatArray, path: IntArray) -> Sheet:
    return Sheet(u, w, knots(image, path), False)


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


def turned(
    part: Part, slab: Slab, one: Sweep, pool: Pool, chosen: Sequence[int], worth: Worth
) -> list[tuple[int, Pool]]:
    """Profiles near others, the wire turned so that they follow seams on more sides: which, and what it became."""
    cells = part.of.cells.middles[part.few[2]]
    price = worth.area / worth.line
    turns = []
    for k in chosen:
        sheet = pool.sheet(k)
        away = np.abs(sheet.above(cells))
        middle = cells[away <= max(part.of.cells.step, float(away.min()))].mean(axis=0)
        near = slab.near(middle, sheet.w, _NEAR)
        if len(near.middles):
            image = make_image(near, sheet.u, sheet.w)
            turns.append(_Turn(k, near, middle, sheet.u, sheet.w, image, np.zeros(0, dtype=np.int64)))
    _look(turns, [[(turn.u, turn.w)] for turn in turns], price, 0.0)
    first = [turn.cost for turn in turns]
    for degrees in _TURNS:
        c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
        tried = []
        for turn in turns:
            u, w, wire = turn.u, turn.w, np.cross(turn.u, turn.w)
            tried.append([axes for t in (s, -s) for axes in ((c * u + t * wire, w), (u, c * w + t * wire))])
        _look(turns, tried, price, _GAIN)
    return [
        (turn.k, _measured(part, one, Sheet(turn.u, turn.w, knots(turn.image, turn.path), False), turn))
        for turn, before in zip(turns, first, strict=True)
        if turn.cost < before
    ]


@dataclass(eq=False)
class _Turn:
    """A profile whose wire is being turned: what is near it, how it lies now and what it costs."""

    k: int
    near: Slab
    middle: FloatArray
    u: FloatArray
    w: FloatArray
    image: Image
    path: IntArray
    cost: float = np.inf


def _look(
    turns: Sequence[_Turn], tried: Sequence[list[tuple[FloatArray, FloatArray]]], price: float, gain: float
) -> None:
    """Try axes on each profile, all side by side, and keep the best where it gains."""
    bands, axes = [], []
    for turn, some in zip(turns, tried, strict=True):
        for u, w in some:
            image = turn.image if u is turn.u and w is turn.w else make_image(turn.near, u, w)
            bands.append(Band(image, int(np.floor(turn.middle @ w / ROW)) - image.first_row))
            axes.append((turn, u, w))
    best: dict[int, tuple[float, int]] = {}
    found = best_paths(bands, _BAND, price) if bands else []
    for n, ((turn, _, _), (cost, _)) in enumerate(zip(axes, found, strict=True)):
        if cost < best.get(turn.k, (np.inf, 0))[0]:
            best[turn.k] = cost, n
    for cost, n in best.values():
        turn, u, w = axes[n]
        if cost < turn.cost - gain:
            turn.cost, turn.u, turn.w, turn.image, turn.path = cost, u, w, bands[n].image, found[n][1]


def _measured(part: Part, one: Sweep, sheet: Sheet, turn: _Turn) -> Pool:
    """What a turned sheet comes to: its line and area by its own image, its sides by the part's samples."""
    of = part.of
    off, area, reach = along(turn.image, turn.path[None])
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
        (lambda: sheet,),
        off,
        area,
        reach,
        np.array([low_foam]),
        np.array([of.density * low_foam + laid]),
        one.line_at(np.array([low_foam])),
        low,
        high,
        (sheet.above(_few_cells(part)) >= 0.0)[None],
    )
