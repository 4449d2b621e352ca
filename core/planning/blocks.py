# SPDX-License-Identifier: GPL-3.0-or-later
"""Where sheets meet a part in several faces, told on coarse blocks of its cells."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.topology import joined
from .part import Part, Sheet

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

_BLOCKS: Final = 700
"""About as many blocks tell how a part hangs together; each is some cells."""

_STATIONS: Final = (0.2, 0.35, 0.5, 0.65, 0.8)
"""Where along a part planes are laid to see whether it has limbs."""

_EDGES: Final = 4
"""Pairs of blocks that a face severs at least: less is a bump on the surface and no limb."""


@dataclass(frozen=True, eq=False)
class Blocks:
    """Cells in blocks: `of` (n,) block of each of the part's cells; middles (k, 3); edges (e, 2)."""

    of: IntArray
    middles: FloatArray
    edges: IntArray

    @classmethod
    def make(cls, part: Part) -> Blocks:
        """Blocks of a part."""
        cells = part.of.cells
        middles = cells.middles[part.cells]
        many = max(2, round((len(part.cells) / _BLOCKS) ** (1.0 / 3.0)))
        place = np.floor((middles - middles.min(axis=0)) / (many * cells.step) + 1e-6).astype(np.int64)
        span = place.max(axis=0) + 1
        of = _numbered((place[:, 0] * span[1] + place[:, 1]) * span[2] + place[:, 2], int(np.prod(span)))
        count = np.bincount(of)
        centre = np.stack([np.bincount(of, middles[:, k]) for k in range(3)], axis=1) / count[:, None]
        local = np.full(len(cells.foam), -1, dtype=np.int64)
        local[part.cells] = of
        one, two = local[part.pairs].T
        apart = one != two
        one, two = one[apart], two[apart]
        names = np.unique(np.minimum(one, two) * len(count) + np.maximum(one, two))
        return cls(of, centre, np.stack(np.divmod(names, len(count)), axis=1))

    def faces(self, sheet: Sheet) -> list[tuple[BoolArray, BoolArray]]:
        """For each face of a sheet the edges that it severs, (e,), and the blocks by it, (k,)."""
        up = sheet.above(self.middles) >= 0.0
        ends = up[self.edges]
        crossing = ends[:, 0] != ends[:, 1]
        if not crossing.any():
            return []
        near = np.zeros(len(up), dtype=bool)
        near[self.edges[crossing]] = True
        both = self.edges[near[self.edges].all(axis=1)]
        label = joined(len(up), both[:, 0], both[:, 1])
        names = label[self.edges[:, 0]]
        return [(crossing & (names == k), near & (label == k)) for k in np.unique(names[crossing]).tolist()]

    def parted(self, severed: BoolArray) -> IntArray:
        """Connected groups of blocks, (f, k), when some edges are severed, (f, e): numbered for each f from 0."""
        # What none of them severs is joined once for all.
        some = severed.any(axis=0)
        base = joined(len(self.middles), *self.edges[~some].T)
        ends, count = base[self.edges[some]], int(base.max()) + 1
        which, edge = np.nonzero(~severed[:, some])
        one, two = (ends[edge] + count * which[:, None]).T
        label = joined(count * len(severed), one, two).reshape(len(severed), count)
        # Groups are numbered by their first block, one set of edges after the other.
        return (label - label[:, :1])[:, base]

    @property
    def limbs(self) -> bool:
        """Whether the part is a ring or bent, so that planes through it meet it in several faces."""
        for turn in np.radians(np.arange(0.0, 180.0, 30.0)).tolist():
            w = np.array([np.cos(turn), np.sin(turn), 0.0])
            u = np.array([w[1], -w[0], 0.0])
            height = self.middles @ w
            for share in _STATIONS:
                at = float(height.min() + share * np.ptp(height))
                faces = self.faces(Sheet(u, w, np.array([[0.0, at]]), True))
                if sum(int(severed.sum()) >= _EDGES for severed, _ in faces) > 1:
                    return True
        return False


@dataclass(frozen=True, eq=False)
class Face:
    """A face of a sheet: the sheet's number in the sheaf, the edges that it severs, and the blocks by it."""

    name: int
    sheet: Sheet
    severed: BoolArray
    near: BoolArray


def _numbered(places: IntArray, most: int) -> IntArray:
    """Places, each below `most`, numbered from 0 in order, without gaps."""
    taken = np.zeros(most, dtype=bool)
    taken[places] = True
    out: IntArray = (np.cumsum(taken) - 1)[places]
    return out
