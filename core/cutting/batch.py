# SPDX-License-Identifier: GPL-3.0-or-later
"""Several joints through the cells in one pass.

Each vertex gets one word: a bit for every sheet that it is not below, and one for every sheet that it is not above. A
triangle's word is the union of its corners' words. Most triangles are clear of every sheet; their word says in which
region they lie, and nothing else is done to them. The few others, the busy ones, go through the sheets one by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .cells import GONE, OUTSIDE, Cells, Region, Tail
from .crossing import Patch, cross
from .sheet import ProfileSheet, Sheet

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
WordArray = NDArray[np.unsignedinteger[Any]]
SheetsOfJoint = tuple[int, tuple[Sheet, ...]]

MAX_SHEETS: Final = 15
_CHUNK: Final = 1 << 16


def apply_joints(cells: Cells, joints: Sequence[SheetsOfJoint], target: int | None) -> set[int]:
    """Cut the cells by joints, in order.

    Parameters
    ----------
    cells : changed in place.
    joints : index of each joint with its one sheet, or its lower and upper sheet; at most MAX_SHEETS sheets in all.
    target : the one region that is cut, or None: all that no gap took.

    Returns
    -------
    Indices of the joints that met foam.
    """
    sheets = [sheet for _, pair in joints for sheet in pair]
    size = 1 << len(sheets)
    live = np.zeros(len(cells.regions) + 2, dtype=bool)  # the last two answer for GONE and OUTSIDE
    live[: len(cells.regions)] = [target in (None, r) and not g.taken for r, g in enumerate(cells.regions)]
    # Carving rows. The first pass of all goes over every row, without picking them out first.
    first_pass = len(cells.regions) == 1 and len(cells.tail) == 0 and bool(live[0])
    base = None if first_pass else np.flatnonzero(live[cells.label] if target is None else cells.label == target)
    triangles = cells.mesh.triangles if base is None else np.take(cells.mesh.triangles, base, axis=0)
    tail = cells.tail
    live_tail = np.flatnonzero(live[tail.below] | live[tail.above])
    tail_triangles = tail.triangles[live_tail]
    words = _Words.of(cells, sheets, None if target is None or base is None else (triangles, tail_triangles))
    word = words.of_rows(triangles)
    busy = words.busy(word, triangles)
    base_busy = np.flatnonzero(busy) if base is None else base[busy]
    tail_word = words.of_rows(tail_triangles)
    tail_busy = live_tail[words.busy(tail_word, tail_triangles)]
    # Bodies of one target share no vertex with others but where such were told apart.
    near = None if target is None or cells.touching else base
    base_ring, tail_ring = _ring(cells, words, base_busy, tail_busy, live, near)
    base_rows, tail_rows = np.concatenate([base_busy, base_ring]), np.concatenate([tail_busy, tail_ring])
    patch, ids = _patch(cells, base_rows, tail_rows, live, size)

    met: set[int] = set()
    bit = 1
    for index, pair in joints:
        for sheet in pair:
            patch, made = cross(patch, sheet, bit, index)
            bit *= 2
            if made:
                met.add(index)
        if len(pair) == 2:
            patch = _take_gap(patch, bit >> 2)

    # Numbers of the new regions, from every key that some triangle has.
    valid = _valid_addresses(joints, size)
    rest = np.ones(len(tail), dtype=bool)
    rest[tail_rows] = False
    use = rest[live_tail]
    live_tail, offset = live_tail[use], valid[tail_word[use] & (size - 1)]
    live_below, live_above = tail.below[live_tail], tail.above[live_tail]
    keys_below = live_below * size + np.where(live[live_below], offset, 0)
    keys_above = live_above * size + np.where(live[live_above], offset, 0)
    address = word & (size - 1)
    seen = np.zeros((len(cells.regions) + 1) * size, dtype=bool)
    only = 0 if base is None else target
    if only is not None:
        met_sides = np.zeros(size, dtype=bool)
        met_sides[address] = True
        seen[only * size + valid[met_sides]] = True
    else:
        keys = cells.label[base].astype(np.int64) * size + valid[address]
        seen[keys] = True
    for side in (keys_below, keys_above, patch.rows.below, patch.rows.above):
        seen[side[side >= 0]] = True
    number, regions = _number(cells.regions, joints, seen.reshape(-1, size), live)
    if only is not None:
        label = number[only * size + valid].astype(np.int32)[address]
    else:
        label = number[keys].astype(np.int32)
    if base is None:
        cells.label = label
    else:
        cells.label[base] = label
    cells.label[base_rows] = GONE
    # Keys of OUTSIDE are negative; the last number answers for them.
    number[-1] = OUTSIDE
    parts = Tail(
        ids(patch),
        number[np.maximum(patch.rows.below, -1)],
        number[np.maximum(patch.rows.above, -1)],
        patch.rows.kind,
        patch.rows.source,
        patch.rows.origin,
    )
    below, above = tail.below.copy(), tail.above.copy()
    below[live_tail], above[live_tail] = number[np.maximum(keys_below, -1)], number[np.maximum(keys_above, -1)]
    cells.tail = tail.with_regions(below, above).joined(parts, only=rest)
    cells.extra = np.concatenate([cells.extra, patch.points[ids.count :]])
    cells.regions = regions
    return met


@dataclass(frozen=True, eq=False)
class _Words:
    """Words of all vertices: bits 0 to s - 1 not below, s to 2 s - 1 not above, then one for "near a profile"."""

    words: WordArray
    sheets: int
    profiles: tuple[tuple[ProfileSheet, FloatArray, FloatArray], ...]

    @classmethod
    def of(cls, cells: Cells, sheets: Sequence[Sheet], of: tuple[IntArray, ...] | None = None) -> _Words:
        """`of`: triangles whose corners count; None: all vertices do."""
        count = len(sheets)
        dtype: type[np.unsignedinteger[Any]] = np.uint16 if count <= 7 else np.uint32
        total = len(cells.mesh.vertices) + len(cells.extra)
        used = None
        if of is not None:
            mark = np.zeros(total, dtype=bool)
            for triangles in of:
                mark[triangles] = True
            used = np.flatnonzero(mark)
        parts = []
        for points in (cells.mesh.vertices, cells.extra) if used is None else (cells.points(used),):
            words: WordArray = np.zeros(len(points), dtype=dtype)
            for begin in range(0, len(points), _CHUNK):
                x, y, z = np.ascontiguousarray(points[begin : begin + _CHUNK].T)
                chunk = words[begin : begin + _CHUNK]
                for s, sheet in enumerate(sheets):
                    if isinstance(sheet, ProfileSheet):
                        continue
                    chunk |= _bits(sheet.codes(x, y, z), s, count + s, dtype)
            parts.append((points, words))
        words = np.concatenate([words for _, words in parts]) if len(parts[-1][1]) else parts[0][1]
        profiles = []
        for s, sheet in enumerate(sheets):
            if isinstance(sheet, ProfileSheet):
                u, w = (
                    np.concatenate(part) for part in zip(*(sheet.uw(*points.T) for points, _ in parts), strict=True)
                )
                low, high = sheet.band(float(u.min()), float(u.max())) if len(u) else (0.0, 0.0)
                words |= _bits(sheet.codes_uw(u, w), s, count + s, dtype)
                words |= _bits(((w >= low) & (w <= high)).view(np.uint8), 2 * count, 0, dtype)
                profiles.append((sheet, _spread(u, used, total), _spread(w, used, total)))
        return cls(_spread(words, used, total), count, tuple(profiles))

    def of_rows(self, triangles: IntArray) -> WordArray:
        out: WordArray = self.words[triangles[:, 0]]
        out |= self.words[triangles[:, 1]]
        out |= self.words[triangles[:, 2]]
        return out

    def busy(self, word: WordArray, triangles: IntArray) -> BoolArray:
        """Rows that touch a sheet, or that a profile may touch between their corners."""
        mask = (1 << self.sheets) - 1
        busy: BoolArray = (word & (word >> self.sheets) & mask).astype(bool)
        if self.profiles:
            doubt = np.flatnonzero((word >> (2 * self.sheets)).astype(bool) & ~busy)
            busy[doubt] = self.straddles(triangles[doubt])
        return busy

    def straddles(self, triangles: IntArray) -> BoolArray:
        """Rows that will be split at a kink."""
        out = np.zeros(len(triangles), dtype=bool)
        for sheet, u, w in self.profiles:
            out |= ~sheet.clear(u[triangles], w[triangles])
        return out


def _spread(values: NDArray[Any], used: IntArray | None, total: int) -> NDArray[Any]:
    """Values of all vertices from those of the ones used; the others are 0 and not looked at."""
    if used is None:
        return values
    out = np.zeros(total, dtype=values.dtype)
    out[used] = values
    return out


def _bits(code: NDArray[np.uint8], first: int, second: int, dtype: type[np.unsignedinteger[Any]]) -> WordArray:
    """The two low bits of each code, moved to two places of a word."""
    table = np.array([((c & 1) << first) | ((c >> 1) << second) for c in range(4)], dtype=dtype)
    return table[code]


def _ring(
    cells: Cells, words: _Words, base_busy: IntArray, tail_busy: IntArray, live: BoolArray, among: IntArray | None
) -> tuple[IntArray, IntArray]:
    """Rows that are not cut themselves but share an edge that may be split: at kinks, and across a joint's face.

    `among`: carving rows that come into question; None: all.
    """
    tail = cells.tail
    mark = np.zeros(len(words.words), dtype=bool)
    t = cells.mesh.triangles[base_busy]
    mark[t[words.straddles(t)]] = True
    t = tail.triangles[tail_busy]
    beside = ((tail.below[tail_busy] >= 0) & ~live[tail.below[tail_busy]]) | (
        (tail.above[tail_busy] >= 0) & ~live[tail.above[tail_busy]]
    )
    mark[t[words.straddles(t) | beside]] = True
    none = np.zeros(0, dtype=np.int64)
    if not mark.any():
        return none, none
    base = np.flatnonzero(cells.label != GONE) if among is None else among
    out = []
    for triangles, busy, rows in (
        (cells.mesh.triangles, base_busy, base),
        (tail.triangles, tail_busy, np.arange(len(tail))),
    ):
        some = triangles if len(rows) == len(triangles) else np.take(triangles, rows, axis=0)
        a, b, c = (mark[some[:, k]] for k in range(3))
        near = rows[(a & b) | (b & c) | (c & a)]
        out.append(np.setdiff1d(near, busy, assume_unique=True))
    return out[0], out[1]


@dataclass(frozen=True, eq=False)
class _Ids:
    """Numbers of a patch's vertices among all: those it began with, and from `start` on the new ones."""

    first: IntArray
    start: int

    @property
    def count(self) -> int:
        return len(self.first)

    def __call__(self, patch: Patch) -> IntArray:
        new = self.start + np.arange(len(patch.points) - self.count, dtype=np.int64)
        out: IntArray = np.concatenate([self.first, new])[patch.rows.triangles]
        return out


def _patch(cells: Cells, base_rows: IntArray, tail_rows: IntArray, live: BoolArray, size: int) -> tuple[Patch, _Ids]:
    mesh, tail = cells.mesh, cells.tail.take(tail_rows)
    label = cells.label[base_rows].astype(np.int64)
    rows = Tail(
        mesh.triangles[base_rows],
        label,
        np.full(len(base_rows), OUTSIDE, dtype=np.int64),
        mesh.kind[base_rows],
        base_rows,
        np.zeros(len(base_rows), dtype=np.uint8),
    ).joined(tail)
    total = len(mesh.vertices) + len(cells.extra)
    mark = np.zeros(total, dtype=bool)
    mark[rows.triangles] = True
    first = np.flatnonzero(mark)
    local = np.zeros(total, dtype=np.int64)
    local[first] = np.arange(len(first))
    live_below, live_above = live[rows.below], live[rows.above]
    rows = Tail(local[rows.triangles], rows.below * size, rows.above * size, rows.kind, rows.source, rows.origin)
    return Patch(cells.points(first), rows, live_below, live_above), _Ids(first, total)


def _take_gap(patch: Patch, lower: int) -> Patch:
    """What lies above a joint's lower face (bit `lower`) and below its upper face (the next bit) is cut no further."""
    rows, upper = patch.rows, 2 * lower
    sides = []
    for key, alive in ((rows.below, patch.live_below), (rows.above, patch.live_above)):
        # Above the upper face but below the lower one there is no room: rounding; it counts as below.
        key = np.where(alive & (key & (lower | upper) == upper), key - upper, key)
        sides.append((key, alive & (key & (lower | upper) != lower)))
    (below, live_below), (above, live_above) = sides
    use = np.flatnonzero(below != above)
    return Patch(patch.points, rows.with_regions(below, above).take(use), live_below[use], live_above[use])


def _valid_addresses(joints: Sequence[SheetsOfJoint], size: int) -> IntArray:
    """For each set of sides the set that counts: nothing after the gap that took it."""
    given = np.arange(size, dtype=np.int64)
    out = np.zeros(size, dtype=np.int64)
    taken = np.zeros(size, dtype=bool)
    bit = 1
    for _, pair in joints:
        lower = (given & bit) != 0
        out += np.where(~taken & lower, bit, 0)
        if len(pair) == 2:
            upper = lower & ((given & (2 * bit)) != 0)
            out += np.where(~taken & upper, 2 * bit, 0)
            taken |= lower & ~upper
        bit <<= len(pair)
    return out


def _number(
    regions: list[Region], joints: Sequence[SheetsOfJoint], seen: BoolArray, live: BoolArray
) -> tuple[IntArray, list[Region]]:
    """Region number of each key, and the regions; a region that was cut gives its number to its lowest part."""
    number = np.full(seen.shape, OUTSIDE, dtype=np.int64)
    out = list(regions)
    for r, region in enumerate(regions):
        if not live[r]:
            number[r, 0] = r
            continue
        for i, address in enumerate(np.flatnonzero(seen[r]).tolist()):
            sides, taken = list(region.sides), False
            bit = 1
            for index, pair in joints:
                above = bool(address & bit)
                gone = len(pair) == 2 and above and not address & (2 * bit)
                sides.append((index, 2 if gone else int(above)))
                bit <<= len(pair)
                if gone:
                    taken = True
                    break
            part = Region(tuple(sides), taken)
            if i == 0:
                number[r, address] = r
                out[r] = part
            else:
                number[r, address] = len(out)
                out.append(part)
    return number.reshape(-1), out
