# SPDX-License-Identifier: GPL-3.0-or-later
"""Series of joints along a part that is bent or a ring, each through one limb and each in a direction of its own.

A sheet that meets a part in several faces is several joints to choose from. Which way round the faces lie is told on
coarse blocks of cells; what lies between two of them is weighed by samples, and the best series is found as in `chain`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .blocks import Blocks, Face
from .chain import best_chains, least_stretch
from .entries import STRETCH
from .leaving import bound_shares, sawn
from .limb_split import Limb
from .need import Need
from .part import Part
from .sheaf import Sheaf
from .sight import Sight, View
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Single = NDArray[np.float32]

_BOX: Final = 400
"""Samples by which boxes are measured at a glance."""

_LONG: Final = 3.0
"""Mass limits up to which a stretch between two joints is weighed."""

_STARTS: Final = 2
"""Faces of a ring tried as the one where the series begins and ends."""

_AGAIN: Final = 4
"""Times at most that a ring is opened at another face of the best series."""

_KEPT: Final = 80
"""Most faces that a series is made of."""

_ROUNDS: Final = 60
"""Times that the stretches of the best series are measured closely and the best is chosen again."""

_SHY: Final = 0.012
"""Metres by which a box may be larger than its samples say: a limb about as thick as a limit is no piece by chance."""

_CROSS: Final = 5e-4
"""Share of the samples that two faces may each have on the wrong side of the other, by rounding, and not cross."""

_TURNS: Final = np.radians([0.0, 22.5, 45.0, 67.5])


@dataclass(frozen=True, eq=False)
class Series:
    """Joints along a part, in order; with a ring the last comes back to the first."""

    limbs: tuple[Limb, ...]
    cost: float
    ring: bool


def series(
    part: Part, blocks: Blocks, sheaf: Sheaf, rows: IntArray, need: Need, worth: Worth, wire: float
) -> Series | None:
    """The best series of joints through one limb each; None where the part has no limbs.

    Parameters
    ----------
    blocks : of the part. rows : (n,) sheets of the sheaf that joints may be made of. wire : longest wire, metres.
    """
    sheaf = sheaf.on(part)
    faces: list[Face] = []
    several = 0
    for k in rows.tolist():
        sheet = sheaf.sheet(k)
        own = [Face(k, sheet, *face) for face in blocks.faces(sheet)]
        several += len(own) > 1
        faces += own
    if not several:
        return None
    ring, faces = _sorted_out(blocks, faces)
    if len(faces) < 2:
        return None
    fees, area = _fees(part, sheaf, blocks, faces, worth, wire)
    # What is not among the cheapest even so need not be looked at closer.
    keep = _best_by_place(faces, fees, 3 * _KEPT)
    faces, fees, area = [faces[k] for k in keep], fees[keep], area[keep]
    fees += worth.saw * sawn(bound_shares(part, blocks, faces, sheaf))
    view = View.make(part, blocks)
    keep = _best_by_place(faces, fees, _KEPT)
    faces, fees = [faces[k] for k in keep], fees[keep]
    sight = Sight.make(view, faces, area[keep])
    if not ring:
        far = _end(blocks)
        side = blocks.parted(np.array([face.severed for face in faces]))
        rows = np.arange(len(faces))
        ends = side == side[:, far, None]
        found = _chain(view, sight, rows, fees, ends, need, worth)
        return None if found is None else Series(_limbs(view, faces, found[1]), found[0], False)
    best: tuple[float, list[int]] | None = None
    for start in np.argsort(fees, kind="stable")[:_STARTS].tolist():
        at: int | None = start
        least = math.inf
        # Where a ring is opened was chosen by its fee alone. Opened at another face of its best series it comes to no
        # more, and the first one may move.
        for _ in range(_AGAIN):
            found = None if at is None else _opened(view, sight, blocks, fees, at, need, worth)
            if found is None or found[0] >= least - 1e-9:
                break
            least = found[0]
            if best is None or found[0] < best[0]:
                best = found
            at = found[1][len(found[1]) // 2] if len(found[1]) > 1 else None
    return None if best is None else Series(_limbs(view, faces, best[1]), best[0], True)


def _limbs(view: View, faces: Sequence[Face], rows: Sequence[int]) -> tuple[Limb, ...]:
    """Some of the faces as joints."""
    return tuple(Limb(faces[k].sheet, view.point(faces[k])) for k in rows)


def _opened(
    view: View, sight: Sight, blocks: Blocks, fees: FloatArray, k: int, need: Need, worth: Worth
) -> tuple[float, list[int]] | None:
    """Cost and faces of the best series through a ring that begins with a face."""
    start = sight.faces[k]
    ends = blocks.edges[start.severed]
    up = start.sheet.above(blocks.middles) >= 0.0
    far = int(ends[~up[ends]][0])
    apart = np.flatnonzero(~(np.array([face.near for face in sight.faces]) & start.near).any(axis=1))
    side = blocks.parted(np.array([face.severed for face in sight.faces])[apart] | start.severed)
    two = side.max(axis=1) == 1
    if not two.any():
        return None
    own = (side == side[:, far, None])[two]
    found = _chain(view, sight, apart[two], fees, own, need, worth, k)
    return None if found is None else (found[0] + float(fees[k]), [k, *found[1]])


def _sorted_out(blocks: Blocks, faces: list[Face]) -> tuple[bool, list[Face]]:
    """Whether the part is a ring, and the faces that open it, or those that part it."""
    severed = np.array([np.zeros(len(blocks.edges), dtype=bool), *(face.severed for face in faces)])
    count = blocks.parted(severed).max(axis=1)
    more = (count[1:] - count[0]).tolist()
    opening, parting = ([face for face, n in zip(faces, more, strict=True) if n == many] for many in (0, 1))
    return (True, opening) if len(opening) > len(parting) // 4 and len(opening) > 3 else (False, parting)


def _end(blocks: Blocks) -> int:
    """A block at an end of the part: the one furthest along from the first, by steps from block to block."""
    at = 0
    for _ in range(2):
        steps = np.full(len(blocks.middles), -1, dtype=np.int64)
        steps[at] = 0
        k = 0
        while True:
            known = steps[blocks.edges] >= 0
            fresh = np.concatenate(
                [blocks.edges[known[:, 0] & ~known[:, 1], 1], blocks.edges[known[:, 1] & ~known[:, 0], 0]]
            )
            if len(fresh) == 0:
                break
            k += 1
            steps[fresh] = k
        at = int(np.argmax(steps))
    return at


def _fees(
    part: Part, sheaf: Sheaf, blocks: Blocks, faces: Sequence[Face], worth: Worth, wire: float
) -> tuple[FloatArray, FloatArray]:
    """What each face costs as a joint, and its square metres."""
    of = part.of
    local = np.full(len(of.cells.foam) + 1, -1, dtype=np.int64)
    local[part.cells] = blocks.of
    home = np.full(len(of.points), -1, dtype=np.int64)
    home[part.skin] = local[of.home[part.skin]]
    fees, areas = np.zeros(len(faces)), np.zeros(len(faces))
    for k, face in enumerate(faces):
        near = np.append(face.near, False)
        if k == 0 or face.name != faces[k - 1].name:
            # Faces of one sheet follow each other.
            (skin, off, on_seam), (cells, area, column) = sheaf.near(face.name), sheaf.met(face.name)
            shown, home_of, body_of = off - worth.follow * on_seam, home[skin], local[cells]
        by = near[body_of]
        areas[k] = area[by].sum()
        reach = 0.0 if face.sheet.flat else float(np.bincount(column[by], area[by], 1).max())
        line = float(shown[near[home_of]].sum())
        fees[k] = worth.line * line + worth.area * areas[k] + worth.wire * max(reach / STRETCH / wire - 1.0, 0.0)
    return fees, areas


def _best_by_place(faces: Sequence[Face], fees: FloatArray, most: int) -> IntArray:
    """The cheapest faces of each place, not too many."""
    where = np.array([int(face.near.argmax()) for face in faces])
    order = np.lexsort((fees, where))
    # How many cheaper ones there are in its place.
    start = np.flatnonzero(np.append(True, np.diff(where[order]) != 0))
    turn = np.arange(len(order)) - np.repeat(start, np.diff(np.append(start, len(order))))
    rank = order[np.lexsort((fees[order], turn))]
    return np.sort(rank[:most])


def _chain(
    view: View,
    sight: Sight,
    rows: IntArray,
    fees: FloatArray,
    sides: BoolArray,
    need: Need,
    worth: Worth,
    start: int = -1,
) -> tuple[float, list[int]] | None:
    """Cost and faces of the best series of faces of which each leaves all of the others on one side."""
    of = view.part.of
    cells, skin = sight.beyond(view, rows, sides, start)
    rest = (~cells) @ view.foam
    order = np.argsort(rest, kind="stable")
    rows, cells, skin, rest = rows[order], cells[order], skin[order], rest[order]
    n = len(rows)
    own = np.zeros(n + 2)
    if start >= 0:
        own[[0, -1]] = (of.face_mass - of.density * of.gap / 2.0) * sight.area[start]
    own[1:-1] = (of.face_mass - of.density * of.gap / 2.0) * sight.area[rows]
    volume = np.concatenate([[0.0], rest, [view.part.foam]])
    under = (~skin).astype(np.float64)
    laid = np.concatenate([[0.0], under @ view.skin, [float(view.skin.sum())]])
    line = np.concatenate([np.zeros((1, 6)), under @ view.lines, view.lines.sum(axis=0)[None]])
    mass = of.density * volume + laid
    i, j = np.triu_indices(n + 2, 1)
    weighs = mass[j] - mass[i] + own[i] + own[j]
    ok = (weighs > least_stretch(view.part, need)) & (weighs < _LONG * need.limit)
    over, rind = cells.astype(np.float32), skin.astype(np.float32)
    crossing = ((1.0 - over) @ over.T > _CROSS * over.shape[1]) | ((1.0 - rind) @ rind.T > _CROSS * rind.shape[1])
    inner = (i > 0) & (j < n + 1)
    ok[inner] &= ~crossing[i[inner] - 1, j[inner] - 1]
    i, j, weighs = i[ok], j[ok], weighs[ok]
    if len(i) == 0:
        return None
    every = np.concatenate([np.ones((1, skin.shape[1]), bool), skin, np.zeros((1, skin.shape[1]), bool)])

    def cost(i: IntArray, j: IntArray, points: IntArray) -> FloatArray:
        box = _boxes(view.points[points], every[:, points], i, j) + of.grow + _SHY
        return need.cost(
            box,
            np.maximum(volume[j] - volume[i], 1e-9),
            mass[j] - mass[i] + own[i] + own[j],
            np.maximum(line[j] - line[i], 0.0),
            worth,
        )

    slab = np.full((n + 2, n + 2), np.inf)
    slab[i, j] = cost(i, j, np.arange(0, len(view.points), max(1, len(view.points) // _BOX)))
    fee = np.zeros(n + 2)
    fee[1:-1] = fees[rows]
    known = np.zeros(slab.shape, dtype=bool)
    all_points = np.arange(len(view.points))
    best: tuple[float, list[int]] | None = None
    for _ in range(_ROUNDS):
        ((total, chain),) = best_chains(slab, fee, np.arange(n), np.ones((1, n), dtype=bool))
        if not chain or (best is not None and total >= best[0]):
            break
        stops = np.array([0, *(k + 1 for k in chain), n + 1])
        a, b = stops[:-1], stops[1:]
        fresh = ~known[a, b]
        if not fresh.any():
            best = total, chain
            break
        # Fewer samples see a smaller box: what looks best is looked at closely.
        slab[a[fresh], b[fresh]] = cost(a[fresh], b[fresh], all_points)
        known[a, b] = True
        true = float(slab[a, b].sum() + fee[a].sum())
        if np.isfinite(true) and (best is None or true < best[0]):
            best = true, chain
    if best is None:
        return None
    return best[0], rows[best[1]].tolist()


def _boxes(points: FloatArray, every: BoolArray, i: IntArray, j: IntArray) -> FloatArray:
    """Box of the points that are beyond i and not beyond j by the rows of `every`, (p, 3) metres."""
    out = np.empty((len(i), 3))
    along = [np.cos(a) * points[:, 0] + np.sin(a) * points[:, 1] for a in (*_TURNS, *(_TURNS + np.pi / 2.0))]
    # Single precision tells it to some millionths of a metre, in half the time.
    places = np.array([*along, points[:, 2]], dtype=np.float32)
    count = len(_TURNS)
    for begin in range(0, len(i), 1024):
        rows = slice(begin, begin + 1024)
        aside = np.where(every[i[rows]] & ~every[j[rows]], np.float32(0.0), np.float32(np.inf))
        reach = np.stack([_extent(place, aside) for place in places], axis=1)
        flat = reach[:, :count] * reach[:, count : 2 * count]
        best = np.argmin(flat, axis=1)
        pick = np.arange(len(best))
        out[rows] = np.stack([reach[pick, best], reach[pick, count + best], reach[:, -1]], axis=1)
    return out


def _extent(values: Single, aside: Single) -> Single:
    """How far the values that are not aside reach, of each row; 0 where all are."""
    high = (values - aside).max(axis=1)
    low = (values + aside).min(axis=1)
    out: Single = np.where(np.isfinite(high), high - low, np.float32(0.0))
    return out
