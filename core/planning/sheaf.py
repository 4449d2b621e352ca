# SPDX-License-Identifier: GPL-3.0-or-later
"""A sheaf of sheets through a body, found once: planes, and the best profiles, in many directions.

What is found for all of a body holds for its parts: a profile that follows seams across the whole follows them across
a part. So for each sheet it is kept which samples lie by it and which bricks of cells lie over it, and what it comes
to on a part is a sum over the part's own.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.runs import runs
from .image import COLUMN, RISE, RISES, ROW, Slab, make_image, whole_slab
from .part import LINE, Part, Sheet, line_density, whole
from .path import BAND, Band, best_paths
from .samples import Samples
from .threads import Threads
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

TURNS: Final = (0.0, 30.0, 60.0)
"""Degrees by which level axes are turned in which boxes are measured; each with the one square to it."""

_WIRES: Final = (30.0, 150.0, 0.0)
"""Degrees from upright (from the first axis for a level joint) at which the wire is tried: a wire that leans meets the
top with some of its lines and one flank with others."""

_STEP: Final = 6
"""Rows from one band's middle to the next: bands overlap, so that no way between two seams is missed."""

_BANDS: Final = 110
"""Most bands in one direction that profiles are sought in."""

_PLANES: Final = 280
"""Most planes of one direction: a row apart, or a few."""

_BRICK: Final = 2
"""Cells along each side of a brick."""

STRETCH: Final = 0.16
"""Metres of u over which the foam along a wire is measured: some cells."""

_FULL: Final = 255.0


@dataclass(frozen=True, eq=False)
class Fan:
    """Sheets of one pair of axes: planes at rows, or profiles with a height at each border of columns.

    Attributes
    ----------
    u, w : (3,) unit. first_column, first_row : of `paths`. paths : (n, columns + 1) rows; (n, 1) for planes.
    place : number of the direction of w.
    """

    u: FloatArray
    w: FloatArray
    first_column: int
    first_row: int
    paths: IntArray
    place: int

    @property
    def flat(self) -> bool:
        """Whether they are planes."""
        return self.paths.shape[1] == 1

    def sheet(self, k: int) -> Sheet:
        """One of them."""
        if self.flat:
            return Sheet(self.u, self.w, np.array([[0.0, float(self.first_row + self.paths[k, 0]) * ROW]]), True)
        u = (self.first_column + np.arange(self.paths.shape[1])) * COLUMN
        w = (self.first_row + self.paths[k] + 0.5) * ROW
        return Sheet(self.u, self.w, np.stack([u, w], axis=1), False)

    def offsets(self, points: FloatArray, some: IntArray | None = None) -> FloatArray:
        """Offset along w of some of the sheets at the u of points, (sheets, points) metres."""
        paths = self.paths if some is None else self.paths[some]
        if self.flat:
            out: FloatArray = np.broadcast_to((self.first_row + paths) * ROW, (len(paths), len(points))).astype(float)
            return out
        place = np.clip(points @ self.u / COLUMN - self.first_column, 0.0, paths.shape[1] - 1.001)
        i = place.astype(np.int64)
        place -= i
        height: FloatArray = paths[:, i] * (1.0 - place) + paths[:, i + 1] * place
        height += self.first_row + 0.5
        height *= ROW
        return height


@dataclass(frozen=True, eq=False)
class Sheaf:
    """Sheets through a body, s of them, with what lies by and over each.

    Attributes
    ----------
    fans : the sheets, in order. fan, row : (s,) where each is found. place : (s,) number of its direction.
    flat : (s,). least, most : (s,) metres along its w between which it lies.
    start : (s + 1,) entries of each sheet; sample : (e,) of the skin; off, on : (e,) metres of line that it adds: off
        seams, weighted by what it costs, and on seams.
    begin : (s + 1,) entries of each sheet; cell : (a,) that it cuts; area : (a,) square metres there; column : (a,)
        which stretch of u, `STRETCH` metres long, it lies in.
    brick : (cells,) brick of each cell. home : (m,) brick of each sample of skin, -1: none. middles : (b, 3).
    over : (s, b) share of each brick over each sheet, 255 for all of it.
    axes : (7, 3) in which boxes are measured: level ones by `TURNS`, those square to them, up.
    lines : (m, 18) `Samples.lines` of each sample for each turn.
    """

    of: Samples
    fans: tuple[Fan, ...]
    fan: IntArray
    row: IntArray
    place: IntArray
    flat: NDArray[np.bool_]
    least: FloatArray
    most: FloatArray
    start: IntArray
    sample: NDArray[np.int32]
    off: NDArray[np.float32]
    on: NDArray[np.float32]
    begin: IntArray
    cell: NDArray[np.int32]
    area: NDArray[np.float32]
    column: NDArray[np.int32]
    brick: IntArray
    home: IntArray
    middles: FloatArray
    over: NDArray[np.uint8]
    axes: FloatArray
    lines: FloatArray

    def sheet(self, k: int) -> Sheet:
        """One of the sheets."""
        return self.fans[int(self.fan[k])].sheet(int(self.row[k]))

    @classmethod
    def of_body(cls, samples: Samples, worth: Worth, planes: bool, profiles: bool) -> Sheaf:
        """All sheets through a body; `planes`, `profiles`: which kinds."""
        part = whole(samples)
        with Threads() as threads:
            return cls._made(part, _fans(part, worth, planes, profiles, threads), threads)

    @classmethod
    def _made(cls, part: Part, fans: list[Fan], threads: Threads) -> Sheaf:
        samples = part.of
        brick, middles = _bricks(part)
        home = np.where(samples.home >= 0, brick[samples.home], -1)
        lines = threads.map([partial(_lines, samples, one) for one in fans])
        areas = threads.map([partial(_areas, samples, one) for one in fans])
        over = threads.map([partial(_over, one, middles, samples.cells.step * _BRICK) for one in fans])
        count = np.array([len(one.paths) for one in fans])
        ends = [_ends(one) for one in fans]
        turns = np.radians([*TURNS, *(turn + 90.0 for turn in TURNS)]) + part.turn
        axes = np.concatenate([np.stack([np.cos(turns), np.sin(turns), 0.0 * turns], axis=1), [[0.0, 0.0, 1.0]]])
        every = np.arange(len(samples.points))
        half = len(TURNS)
        return cls(
            of=samples,
            fans=tuple(fans),
            fan=np.repeat(np.arange(len(fans)), count),
            row=np.concatenate([np.arange(n) for n in count]),
            place=np.repeat([one.place for one in fans], count),
            flat=np.repeat([one.flat for one in fans], count),
            least=np.concatenate([low for low, _ in ends]),
            most=np.concatenate([high for _, high in ends]),
            start=_starts([found.count for found in lines]),
            sample=np.concatenate([found.name for found in lines]),
            off=np.concatenate([found.values[0] for found in lines]),
            on=np.concatenate([found.values[1] for found in lines]),
            begin=_starts([found.count for found in areas]),
            cell=np.concatenate([found.name for found in areas]),
            area=np.concatenate([found.values[0] for found in areas]),
            column=np.concatenate([found.values[1] for found in areas]).astype(np.int32),
            brick=brick,
            home=home,
            middles=middles,
            over=np.concatenate(over),
            axes=axes,
            lines=np.concatenate([samples.lines(every, axes[[k, k + half, -1]]) for k in range(half)], axis=1),
        )


def _starts(counts: Sequence[IntArray]) -> IntArray:
    """Where the entries of each sheet begin, and the end of the last."""
    return np.concatenate([[0], np.cumsum(np.concatenate(counts))])


def across(w: FloatArray, degrees: float) -> FloatArray:
    """U for a wire square to w, so many degrees from upright (from +x where w is upright)."""
    up = np.array([0.0, 0.0, 1.0]) if abs(w[2]) < 0.5 else np.array([1.0, 0.0, 0.0])
    side = np.cross(up, w)
    turn = np.radians(degrees)
    wire = np.cos(turn) * up + np.sin(turn) * side
    wire[np.abs(wire) < 1e-12] = 0.0
    u: FloatArray = np.cross(w, wire)
    return u / np.linalg.norm(u)


def _fans(part: Part, worth: Worth, planes: bool, profiles: bool, threads: Threads) -> list[Fan]:
    """Planes at even distances, and the best profiles about them, in each direction."""
    turn = round(np.degrees(part.turn))
    angle = np.radians((turn + np.arange(6) * 30.0) % 180.0)
    ways = [np.array([np.cos(a), np.sin(a), 0.0]) for a in angle]
    for w in ways:
        w[np.abs(w) < 1e-12] = 0.0
    ways.append(np.array([0.0, 0.0, 1.0]))
    slab = whole_slab(part)
    makers: list[Callable[[], Fan]] = []
    for place, w in enumerate(ways):
        along = np.concatenate([part.of.cells.middles @ w, part.of.points @ w])
        inner = np.arange(int(np.floor(along.min() / ROW)) + 1, int(np.ceil(along.max() / ROW)))
        if planes:
            makers.append(partial(_planes, w, place, inner))
        if profiles:
            makers += [partial(_profiles, slab, across(w, degrees), w, place, inner, worth) for degrees in _WIRES]
    return threads.map(makers)


def _planes(w: FloatArray, place: int, inner: IntArray) -> Fan:
    """Planes square to a direction, at some of the rows inside a body."""
    apart = max(1, -(-len(inner) // _PLANES))
    return Fan(across(w, 0.0), w, 0, 0, inner[len(inner) % apart // 2 :: apart, None], place)


def _profiles(slab: Slab, u: FloatArray, w: FloatArray, place: int, inner: IntArray, worth: Worth) -> Fan:
    """The best profiles about planes at some of the rows inside a body."""
    apart = max(_STEP, -(-len(inner) // _BANDS))
    image = make_image(slab, u, w)
    bands = [Band(image, k) for k in (inner[len(inner) % apart // 2 :: apart] - image.first_row).tolist()]
    found = best_paths(bands, BAND, worth.area / worth.line)
    paths = np.unique(np.stack([path for _, path in found]), axis=0)
    return Fan(u, w, image.first_column, image.first_row, paths, place)


def _ends(fan: Fan) -> tuple[FloatArray, FloatArray]:
    """Between which offsets along w each sheet lies."""
    rows = (fan.first_row + fan.paths) * ROW
    return rows.min(axis=1), rows.max(axis=1) + ROW


def _bricks(part: Part) -> tuple[IntArray, FloatArray]:
    """Brick of each cell, and the middle of what each brick holds."""
    cells = part.of.cells
    place = np.floor((cells.middles - cells.origin) / cells.step + 1e-6).astype(np.int64) // _BRICK
    span = place.max(axis=0) + 1
    _, brick = np.unique((place[:, 0] * span[1] + place[:, 1]) * span[2] + place[:, 2], return_inverse=True)
    brick = brick.reshape(-1)
    count = np.bincount(brick)
    middles = np.stack([np.bincount(brick, cells.middles[:, k]) for k in range(3)], axis=1) / count[:, None]
    return brick, middles


def _over(fan: Fan, middles: FloatArray, side: float) -> NDArray[np.uint8]:
    """Share of each brick over each sheet of a fan."""
    rises = (np.zeros(1) if fan.flat else RISES) * (ROW / COLUMN)
    # Metres of w over which a sheet of each rise passes a brick.
    high = np.abs(fan.w[None, :] - rises[:, None] * fan.u[None, :]).sum(axis=1) * side
    above = ((middles @ fan.w)[None, :] - fan.offsets(middles)).astype(np.float32)
    if fan.flat:
        above /= np.float32(high[0])
    else:
        i = np.clip(middles @ fan.u / COLUMN - fan.first_column, 0.0, fan.paths.shape[1] - 1.001).astype(np.int64)
        above *= (1.0 / high).astype(np.float32)[(np.diff(fan.paths, axis=1) + RISE)[:, i]]
    above += 0.5
    np.clip(above, 0.0, 1.0, out=above)
    out: NDArray[np.uint8] = np.rint(above * _FULL).astype(np.uint8)
    return out


@dataclass(frozen=True, eq=False)
class _Near:
    """Points by sheets of a fan: which sheet, which point, rise of the sheet there, metres along w over it."""

    sheet: IntArray
    point: IntArray
    rise: FloatArray
    above: FloatArray

    def some(self, keep: NDArray[np.bool_]) -> _Near:
        return _Near(self.sheet[keep], self.point[keep], self.rise[keep], self.above[keep])


def _near(points: FloatArray, fan: Fan, reach: FloatArray) -> _Near:
    """Points within some reach of each sheet, metres along w for each rise that it may have."""
    high = points @ fan.w / ROW
    columns = 1 if fan.flat else fan.paths.shape[1] - 1
    rises = np.zeros((len(fan.paths), 1), dtype=np.int64) if fan.flat else np.diff(fan.paths, axis=1)
    first = fan.paths[:, :columns] + (fan.first_row + (0.0 if fan.flat else 0.5))
    along = np.zeros(len(points)) if fan.flat else points @ fan.u / COLUMN - fan.first_column
    column = np.clip(along, 0.0, columns - 0.001).astype(np.int64)
    # A row for each column, far apart, with its points by height: what lies between two heights is one run of them.
    span = 4.0 * (float(np.abs(high).max(initial=0.0)) + float(np.abs(first).max()) + 1000.0)
    key = column * span + high
    order = np.argsort(key, kind="stable")
    key = key[order]
    base = np.arange(columns) * span
    far = (reach[rises + RISE] + 1e-6) / ROW
    begin = np.searchsorted(key, base + first + np.minimum(rises, 0) - far).ravel()
    count = np.searchsorted(key, base + first + np.maximum(rises, 0) + far).ravel() - begin
    which, turn = runs(count)
    point = order[begin[which] + turn]
    rise = rises.ravel()[which]
    strip = which % columns
    above = (high[point] - first.ravel()[which] - rise * (along[point] - strip)) * ROW
    found = _Near(which // columns, point, rise * (ROW / COLUMN), above)
    # Half open, and a hair aside, as in `split`: of two layers of cells a plane between them cuts one.
    return found.some((above + 1e-9 >= -reach[rise + RISE]) & (above + 1e-9 < reach[rise + RISE]))


@dataclass(frozen=True, eq=False)
class _Entries:
    """How many entries each sheet of a fan has, and of each entry what it is of and two values."""

    count: IntArray
    name: NDArray[np.int32]
    values: tuple[NDArray[np.float32], NDArray[np.float32]]


def _lines(of: Samples, fan: Fan) -> _Entries:
    """Samples by each sheet of a fan, and the metres of line that each adds: off seams, weighted, and on seams."""
    use = np.flatnonzero((of.worth > 0.0) | (of.seen > 0.0))
    # A steep sheet is further off along w than square to it.
    found = _near(of.points[use], fan, LINE * np.hypot(1.0, RISES * (ROW / COLUMN)))
    rows, rise = use[found.point], found.rise
    level = line_density(of.normals[rows] @ fan.w - rise * (of.normals[rows] @ fan.u), rise, found.above)
    off, on = of.worth[rows] * level, of.seen[rows] * of.seam[rows] * level
    count = np.bincount(found.sheet, minlength=len(fan.paths))
    return _Entries(count, rows.astype(np.int32), (off.astype(np.float32), on.astype(np.float32)))


def _areas(of: Samples, fan: Fan) -> _Entries:
    """Cells that each sheet of a fan cuts, the area that it has in each, as in `split`, and in which stretch of u."""
    cells = of.cells
    rises = RISES * (ROW / COLUMN)
    high = np.abs(fan.w[None, :] - rises[:, None] * fan.u[None, :]).sum(axis=1) * cells.step
    found = _near(cells.middles, fan, high / 2.0)
    column = np.floor(cells.middles @ fan.u / STRETCH).astype(np.int64)
    wide = high[np.rint(found.rise * (COLUMN / ROW)).astype(np.int64) + RISE] / np.hypot(1.0, found.rise)
    area = (cells.foam[found.point] / wide).astype(np.float32)
    stretch = (column - column.min(initial=0))[found.point].astype(np.float32)
    count = np.bincount(found.sheet, minlength=len(fan.paths))
    return _Entries(count, found.point.astype(np.int32), (area, stretch))
