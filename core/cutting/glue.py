# SPDX-License-Identifier: GPL-3.0-or-later
"""Give a body back to its neighbour, as if the joint between them had stopped short of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mass import areas, corner_areas, triangle_areas
from .bodies import RegionBody, make_bodies
from .cells import OUTSIDE, Cells
from .result import FROM_CARVING, Body

IntArray = NDArray[np.int64]

_FEW: Final = 256
"""Triangles up to which a body is looked at for being nothing; rounding leaves a handful."""


def is_flat(body: Body, slack: float) -> bool:
    """Whether a body of few triangles is thinner than what counts as on a joint."""
    if len(body.mesh.triangles) > _FEW:
        return False
    size = float(np.linalg.norm(body.mesh.size))
    # A volume is summed to a few parts in 1e16 of the cube round it.
    return abs(body.volume) <= slack * (float(areas(body.mesh).sum()) + slack * size) + 1e-15 * size**3


def is_nothing(body: Body, slack: float) -> bool:
    """Whether a flat body has no skin of the carving either: joint triangles back to back, no foam."""
    if not is_flat(body, slack):
        return False
    inherited = float(triangle_areas(body.mesh)[body.origin == FROM_CARVING].sum())
    return inherited <= slack * float(np.linalg.norm(body.mesh.size))


def is_spike(cells: Cells, body: RegionBody, slack: float) -> bool:
    """Whether a body is nothing, and lies on the skin of another on its own side, standing out from the joint.

    Needles along an edge that four triangles share are such. Given to the body across the joint one would be a spike
    on it, without foam, that spoils its extent.
    """
    if not is_nothing(body.body, slack):
        return False
    face = _faces(cells, body)[0]
    if len(face) == 0:
        return False
    own = np.unique(_corners(cells, body.base, np.concatenate([body.behind, body.before])))
    places = cells.points(own)
    near = cells.points(np.unique(cells.tail.triangles[face]))
    out = own[np.linalg.norm(places[:, None] - near, axis=2).min(axis=1) > 4.0 * slack]
    if len(out) == 0:
        return False
    base, behind, before = cells.rows_of(body.region)
    rest = _corners(
        cells,
        np.setdiff1d(base, body.base),
        np.concatenate([np.setdiff1d(behind, body.behind), np.setdiff1d(before, body.before)]),
    )
    area = corner_areas(cells.points(rest[np.isin(rest, out).any(axis=1)]))
    return bool((area > slack * float(np.linalg.norm(body.body.mesh.size))).any())


def _corners(cells: Cells, base: IntArray, tail: IntArray) -> IntArray:
    return np.concatenate([cells.mesh.triangles[base], cells.tail.triangles[tail]])


def bodies_without(
    cells: Cells, regions: Iterable[int], split: bool, small: Callable[[RegionBody], bool]
) -> list[RegionBody]:
    """Bodies of the regions, after each small one has been given to the neighbour with the largest face to it.

    Parameters
    ----------
    cells : changed in place; joint triangles that a gift leaves inside a body lie between OUTSIDE and OUTSIDE then.
    small : which bodies to give away; one that has no neighbour stays.
    """
    regions = list(regions)
    parts: dict[int, list[RegionBody]] = {}
    for body in make_bodies(cells, regions, split):
        parts.setdefault(body.region, []).append(body)
    # Bodies that have been looked at: none is given twice, so that this comes to an end.
    seen: set[bytes] = set()
    while True:
        bodies = [b for r in regions for b in parts.get(r, [])]
        given = next((b for b in bodies if small(b) and _name(b) not in seen), None)
        if given is None:
            return bodies
        seen.add(_name(given))
        home = _neighbour(cells, given)
        if home == OUTSIDE:
            continue
        _give(cells, given, home)
        for r in (given.region, home):
            if r in parts or r in regions:
                parts[r] = make_bodies(cells, [r], split, again=True)


def _name(body: RegionBody) -> bytes:
    return b"".join(rows.tobytes() for rows in (body.base, np.sort(np.concatenate([body.behind, body.before]))))


def _neighbour(cells: Cells, body: RegionBody) -> int:
    """The region with the largest face to a body; OUTSIDE where there is none."""
    rows, other = _faces(cells, body)
    if len(rows) == 0:
        return OUTSIDE
    area = corner_areas(cells.points(cells.tail.triangles[rows]))
    names, group = np.unique(other, return_inverse=True)
    return int(names[np.argmax(np.bincount(group.reshape(-1), area))])


def _faces(cells: Cells, body: RegionBody) -> tuple[IntArray, IntArray]:
    """Tail rows between a body and other regions, and those regions."""
    tail = cells.tail
    rows = np.concatenate([body.behind, body.before])
    other = np.concatenate([tail.above[body.behind], tail.below[body.before]])
    use = (other != OUTSIDE) & (other != body.region)
    return rows[use], other[use]


def _give(cells: Cells, body: RegionBody, home: int) -> None:
    below, above = cells.tail.below.copy(), cells.tail.above.copy()
    cells.label[body.base] = home
    below[body.behind] = home
    above[body.before] = home
    rows = np.concatenate([body.behind, body.before])
    rows = rows[(below[rows] == home) & (above[rows] == home)]
    below[rows] = above[rows] = OUTSIDE
    cells.tail = cells.tail.with_regions(below, above)
