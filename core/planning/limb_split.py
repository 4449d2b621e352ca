# SPDX-License-Identifier: GPL-3.0-or-later
"""How joints through one limb each split a part of the sampled carving."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..cutting.joint import Joint
from ..mesh.topology import joined
from .leaving import bound_share
from .part import Part, Sheet, met

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Limb:
    """A joint at one of its faces: the sheet, and a point on that face, (3,) metres; None where it has one only."""

    sheet: Sheet
    point: FloatArray | None

    def moved(self, by: float) -> Limb:
        """The same `by` metres further along w."""
        return Limb(self.sheet.moved(by), None if self.point is None else self.point + by * self.sheet.w)

    def joint(self, part: FloatArray | None) -> Joint:
        """As a joint of the body round `part`."""
        return self.sheet.joint(part, self.point)


@dataclass(frozen=True, eq=False)
class LimbSplit:
    """What joints through one limb each make of a part.

    Attributes
    ----------
    parts : its bodies. limbs : the joints, without a point where they have one face only.
    faces : for each joint samples of its face, (k, 4) place in metres, area in square metres.
    bound : for each joint the share of it where the wire cannot leave the foam, see `leaving.bound_share`.
    line, missed, off : metres of visible line, of them off seams, and those weighted by what they cost.
    """

    parts: list[Part]
    limbs: tuple[Limb, ...]
    faces: tuple[FloatArray, ...]
    bound: tuple[float, ...]
    line: float
    missed: float
    off: float

    @property
    def area(self) -> float:
        """Square metres of the joints' faces."""
        return float(sum(face[:, 3].sum() for face in self.faces))


@dataclass(frozen=True, eq=False)
class _Met:
    """Where a joint runs through one limb.

    Attributes
    ----------
    up, near : (n,) which of the part's cells lie above it, and which by the face. severed : (p,) pairs that it parts.
    others : whether it has other faces. bound : share of it where the wire cannot leave the foam.
    """

    up: BoolArray
    near: BoolArray
    severed: BoolArray
    others: bool
    bound: float


def split_limbs(part: Part, limbs: Sequence[Limb]) -> LimbSplit:
    """Split a part by joints, each at the one of its faces that is nearest to its point."""
    of = part.of
    local = np.full(len(of.cells.foam) + 1, -1, dtype=np.int64)
    local[part.cells] = np.arange(len(part.cells))
    pairs = local[part.pairs]
    severed = np.zeros(len(pairs), dtype=bool)
    met_by: list[_Met] = []
    made = []
    line = np.zeros(3)
    home = local[of.home[part.skin]]
    for limb in limbs:
        found, face = _face(part, pairs, limb)
        severed |= found.severed
        met_by.append(found)
        made.append(face)
        rows, level = met(part, limb.sheet)
        at = local[of.home[rows]]
        own = (at >= 0) & found.near[at]
        rows, level = rows[own], level[own]
        seen = of.seen[rows] * level
        line += seen.sum(), (seen * (1.0 - of.seam[rows])).sum(), (of.worth[rows] * level).sum()
    body = joined(len(part.cells), *pairs[~severed].T)
    skin = np.where(home >= 0, body[np.maximum(home, 0)], -1)
    lost = np.flatnonzero(skin < 0)
    if len(lost):
        places = of.points[part.skin[lost]]
        skin[lost] = body[_nearest(part, places)]
    for limb, found in zip(limbs, met_by, strict=True):
        # Beside a joint a sample goes by its own side, not by that of its cell.
        below, above = _sides(body, pairs, found)
        rows = np.flatnonzero((home >= 0) & found.near[np.maximum(home, 0)])
        over = limb.sheet.above(of.points[part.skin[rows]]) >= 0.0
        skin[rows] = np.where(over == found.up[home[rows]], skin[rows], np.where(over, above, below))
    faces = body[_nearest(part, part.faces[:, :3])] if len(part.faces) else np.zeros(0, dtype=np.int64)
    count = int(body.max()) + 1
    fresh: list[list[FloatArray]] = [[] for _ in range(count)]
    for found, face in zip(met_by, made, strict=True):
        for k in _sides(body, pairs, found):
            fresh[k].append(face)
    both = body[pairs[:, 0]]
    whole = both == body[pairs[:, 1]]
    parts = [
        Part(
            of,
            part.cells[body == k],
            part.skin[skin == k],
            part.pairs[whole & ~severed & (both == k)],
            np.concatenate([part.faces[faces == k], *fresh[k]]),
        )
        for k in range(count)
    ]
    kept = tuple(limb if found.others else Limb(limb.sheet, None) for limb, found in zip(limbs, met_by, strict=True))
    return LimbSplit(parts, kept, tuple(made), tuple(found.bound for found in met_by), *line.tolist())


def _face(part: Part, pairs: IntArray, limb: Limb) -> tuple[_Met, FloatArray]:
    """Where a joint runs through its limb, and samples of its face there: place in metres, area in square metres."""
    of, sheet = part.of, limb.sheet
    middles = of.cells.middles[part.cells]
    f = sheet.above(middles)
    up = f >= 0.0
    crossing = up[pairs[:, 0]] != up[pairs[:, 1]]
    rise = sheet.slope(middles @ sheet.u)
    length = np.sqrt(1.0 + rise * rise)
    wide = of.cells.step * np.abs(sheet.w[None, :] - rise[:, None] * sheet.u[None, :]).sum(axis=1) / length
    half = wide * length / 2.0
    cut = (f + 1e-9 >= -half) & (f + 1e-9 < half)
    band = cut.copy()
    band[pairs[crossing].ravel()] = True
    inside = np.flatnonzero(band)
    place = np.full(len(middles), -1, dtype=np.int64)
    place[inside] = np.arange(len(inside))
    joins = pairs[band[pairs].all(axis=1)]
    label = joined(len(inside), place[joins[:, 0]], place[joins[:, 1]])
    # Only a face parts something: cells that the sheet just grazes are none.
    part_of = np.zeros(int(label.max(initial=-1)) + 1, dtype=bool)
    part_of[label[place[pairs[crossing, 0]]]] = True
    real = np.flatnonzero(part_of[label])
    near = np.zeros(len(middles), dtype=bool)
    if len(real) and limb.point is not None:
        away = ((middles[inside[real]] - limb.point) ** 2).sum(axis=1)
        near[inside[label == label[real[np.argmin(away)]]]] = True
    elif len(real):
        near[inside[real]] = True
    own = np.flatnonzero(cut & near)
    area = of.cells.foam[part.cells[own]] / wide[own]
    face = np.column_stack([middles[own] - f[own, None] * sheet.w, area])
    others = int(part_of.sum()) > 1
    bound = bound_share(sheet, middles[own], middles[cut & ~near], of.cells.step) if others else 0.0
    return _Met(up, near, crossing & near[pairs[:, 0]], others, bound), face


def _sides(body: IntArray, pairs: IntArray, found: _Met) -> tuple[int, int]:
    """The bodies below and above a joint's face; of several the one with most of it."""
    rows = pairs[found.severed]
    if len(rows) == 0:
        return 0, 0
    over = found.up[rows]
    return tuple(int(np.bincount(body[rows[over == side]]).argmax()) for side in (False, True))  # type: ignore[return-value]


def _nearest(part: Part, points: FloatArray) -> IntArray:
    """The part's cell at or by each point, as a row of its cells."""
    of = part.of
    local = np.full(len(of.cells.foam) + 1, -1, dtype=np.int64)
    local[part.cells] = np.arange(len(part.cells))
    out = local[of.cells.at(points)]
    for axis in range(3):
        for way in (of.cells.step, -of.cells.step):
            lost = np.flatnonzero(out < 0)
            if len(lost) == 0:
                return out
            out[lost] = local[of.cells.at(points[lost] + way * np.eye(3)[axis])]
    lost = np.flatnonzero(out < 0)
    some = np.arange(0, len(part.cells), max(1, len(part.cells) // 400))
    middles = of.cells.middles[part.cells[some]]
    for begin in range(0, len(lost), 512):
        rows = lost[begin : begin + 512]
        out[rows] = some[np.argmin(((points[rows, None, :] - middles[None]) ** 2).sum(axis=2), axis=1)]
    return out
