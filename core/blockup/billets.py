# SPDX-License-Identifier: GPL-3.0-or-later
"""The billets of a block-up: what of each is needed, what it is cut from, and where it meets its neighbours."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .glue_lines import BED, BUTT, GlueLines
from .held import Held
from .layout import Cell, Layout
from .packing import Cutting, cut_from_billets

FloatArray = NDArray[np.float64]

_TOUCH: Final = 1e-9
"""Metres within which two billets meet; walls are the same numbers, so only rounding of the block frame is in it."""


@dataclass(frozen=True)
class Billet:
    """One billet of the block-up, whole or a part.

    Attributes
    ----------
    mark : course, then number in it, such as ``2-05``.
    cell : its place: course (from 0 at the origin), along, across.
    low, high : (3,) metres, block frame: the foam that is needed there, the carving's box in it with the margin.
    whole : whether it takes a whole billet.
    cutting : what it is cut from.
    """

    mark: str
    cell: Cell
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    whole: bool
    cutting: Cutting

    @property
    def size(self) -> tuple[float, float, float]:
        """Length, width and height needed, metres."""
        return part_size(self.low, self.high)


def part_size(low: Sequence[float], high: Sequence[float]) -> tuple[float, float, float]:
    """Sides of a box by its corners."""
    return high[0] - low[0], high[1] - low[1], high[2] - low[2]


def with_margin(held: Held, layout: Layout, margin: float) -> tuple[FloatArray, FloatArray]:
    """Boxes of the carving in each billet, grown by a margin as far as the billet goes; (n, 3) and (n, 3) metres."""
    low = np.array([layout.corner(cell) for cell in held.cells])
    high = low + np.array([layout.size(cell) for cell in held.cells])
    # The walls that held_billets gives are kept to the last digit.
    grown_low = np.where(held.low - margin > low, held.low - margin, np.minimum(held.low, low))
    grown_high = np.where(held.high + margin < high, held.high + margin, np.maximum(held.high, high))
    return grown_low, grown_high


def make_billets(held: Held, layout: Layout, margin: float, kerf: float) -> tuple[Billet, ...]:
    """Billets with marks and what they are cut from, in the order of `held`."""
    low, high = with_margin(held, layout, margin)
    sizes = [part_size(a, b) for a, b in zip(low.tolist(), high.tolist(), strict=True)]
    cuttings = cut_from_billets(sizes, layout.billet, kerf)
    full = [all(size[k] >= layout.billet[k] - _TOUCH for k in range(3)) for size in sizes]
    first = min((cell[0] for cell in held.cells), default=0)
    counts: dict[int, int] = {}
    out = []
    for row, cell in enumerate(held.cells):
        counts[cell[0]] = counts.get(cell[0], 0) + 1
        mark = f"{cell[0] - first + 1}-{counts[cell[0]]:02d}"
        a, b = low[row].tolist(), high[row].tolist()
        out.append(Billet(mark, cell, (a[0], a[1], a[2]), (b[0], b[1], b[2]), full[row], cuttings[row]))
    return tuple(out)


def glue_lines(billets: Sequence[Billet], layout: Layout) -> GlueLines:
    """Rectangles where billets meet: ends and sides in a course, beds between courses.

    Foam of the carving never meets foam across a glue line outside these: each billet's box holds all of the carving
    in it, so what of the carving lies on a wall is in the boxes on both sides.
    """
    corner: list[list[float]] = []
    along: list[list[float]] = []
    across: list[list[float]] = []
    kind: list[int] = []
    low = np.array([billet.low for billet in billets]).reshape(-1, 3)
    high = np.array([billet.high for billet in billets]).reshape(-1, 3)
    course = np.array([billet.cell[0] for billet in billets], dtype=np.int64)
    for a in range(len(billets)):
        for axis in range(3):
            beyond = course == course[a] + 1 if axis == 2 else course == course[a]
            met = np.flatnonzero(beyond & (np.abs(low[:, axis] - high[a, axis]) <= _TOUCH))
            for b in met.tolist():
                start, end = np.maximum(low[a], low[b]), np.minimum(high[a], high[b])
                u, v = (axis + 1) % 3, (axis + 2) % 3
                if end[u] - start[u] <= _TOUCH or end[v] - start[v] <= _TOUCH:
                    continue
                start[axis] = high[a, axis]
                sides = np.zeros((2, 3))
                sides[0, u], sides[1, v] = end[u] - start[u], end[v] - start[v]
                corner.append(start.tolist())
                along.append(sides[0].tolist())
                across.append(sides[1].tolist())
                kind.append(BED if axis == 2 else BUTT)
    if not corner:
        return GlueLines.none()
    return GlueLines(
        layout.to_job(corner),
        layout.turn(along),
        layout.turn(across),
        np.array(kind, dtype=np.int64),
    )


def unsupported(billets: Sequence[Billet], layout: Layout) -> tuple[Billet, ...]:
    """Billets over the first course that stand on no other: they hang until glued, and want propping."""
    first = min((billet.cell[0] for billet in billets), default=0)
    out = []
    for billet in billets:
        if billet.cell[0] == first:
            continue
        below = [b for b in billets if b.cell[0] == billet.cell[0] - 1]
        level = layout.level(billet.cell[0])
        stands = any(
            b.high[2] >= level - _TOUCH
            and billet.low[2] <= level + _TOUCH
            and all(min(b.high[k], billet.high[k]) - max(b.low[k], billet.low[k]) > _TOUCH for k in range(2))
            for b in below
        )
        if not stands:
            out.append(billet)
    return tuple(out)


def least_overlap(billets: Sequence[Billet], layout: Layout) -> float:
    """Least distance along between end joints of one course and the next where billets lie on each other, metres.

    Infinity where no course has an end joint over or under another's billets.
    """
    ends: dict[int, set[float]] = {}
    cells = {billet.cell for billet in billets}
    for course, i, j in cells:
        if (course, i + 1, j) in cells:
            ends.setdefault(course, set()).add(float(layout.corner((course, i + 1, j))[0]))
    least = math.inf
    for course, places in ends.items():
        for place in places:
            for other in ends.get(course + 1, ()):
                least = min(least, abs(place - other))
    return least
