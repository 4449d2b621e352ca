# SPDX-License-Identifier: GPL-3.0-or-later
"""Give a body back to its neighbour, as if the joint between them had stopped short of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mass import areas, corner_areas, triangle_areas
from .batch import apply_joints
from .bodies import RegionBody, make_bodies
from .cells import OUTSIDE, Cells
from .result import FROM_CARVING, Body
from .sheet import Sheet

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
    """Whether a body is nothing, and stands out from the face that it has to the body it would be given to.

    Needles along an edge that four triangles share are such, and needles that lie on several joints. Given away one
    would be a spike without foam that spoils the extent of its new body. Left out it is missed by none: whatever
    bodies lie beside it keep their own side of its triangles.
    """
    if not is_nothing(body.body, slack):
        return False
    rows, other = _faces(cells, body)
    if len(rows) == 0:
        return False
    face = cells.tail.triangles[rows[other == _neighbour(cells, body, slack)]]
    own = np.concatenate(
        [cells.mesh.triangles[body.base], cells.tail.triangles[body.behind], cells.tail.triangles[body.before]]
    )
    away = cells.points(np.setdiff1d(own, face))[:, None] - cells.points(np.unique(face))
    return bool((np.linalg.norm(away, axis=2).min(axis=1) > 4.0 * slack).any())


def bodies_without(
    cells: Cells,
    regions: Iterable[int],
    split: bool,
    small: Callable[[RegionBody], bool],
    slack: float,
    sheets: Callable[[int], tuple[Sheet, ...]] | None = None,
) -> list[RegionBody]:
    """Bodies of the regions, after each small one has been given to the neighbour with the largest face to it.

    Parameters
    ----------
    cells : changed in place; joint triangles that a gift leaves inside a body lie between OUTSIDE and OUTSIDE then.
    small : which bodies to give away; one that has no neighbour stays.
    slack : metres; what is thinner has no area by which to choose, but its length.
    sheets : of a joint by its index. With it a body without foam that has several neighbours is first cut by the
        joints between them, each part to go to its own: given to one as a whole, it would reach along the others.
    """
    regions = list(regions)
    bodies = make_bodies(cells, regions, split)
    while sheets is not None:
        beside = [(b, _joint_beside(cells, b)) for b in bodies if is_flat(b.body, slack)]
        wide = [(b, joint) for b, joint in beside if joint is not None]
        if not wide:
            break
        regions += _part(cells, wide, sheets)
        bodies = make_bodies(cells, regions, split)
    parts: dict[int, list[RegionBody]] = {}
    for body in bodies:
        parts.setdefault(body.region, []).append(body)
    # Bodies that have been looked at: none is given twice, so that this comes to an end.
    seen: set[bytes] = set()
    while True:
        bodies = [b for r in regions for b in parts.get(r, [])]
        given = next((b for b in bodies if small(b) and _name(b) not in seen), None)
        if given is None:
            return bodies
        seen.add(_name(given))
        home = _neighbour(cells, given, slack)
        if home == OUTSIDE:
            continue
        _give(cells, given, home)
        for r in (given.region, home):
            if r in parts or r in regions:
                parts[r] = make_bodies(cells, [r], split, again=True)


def _joint_beside(cells: Cells, body: RegionBody) -> int | None:
    """The first joint that lies between neighbours of a body and has not cut the body itself; None: there is none."""
    region = cells.regions[body.region]
    if region.taken:  # no joint cuts it
        return None
    own = {joint for joint, _ in region.sides}
    sides: dict[int, set[int]] = {}
    for other in np.unique(_faces(cells, body)[1]).tolist():
        for joint, side in cells.regions[other].sides:
            sides.setdefault(joint, set()).add(side)
    return min((joint for joint, found in sides.items() if len(found) > 1 and joint not in own), default=None)


def _part(
    cells: Cells, wide: Sequence[tuple[RegionBody, int]], sheets: Callable[[int], tuple[Sheet, ...]]
) -> list[int]:
    """Make each body a region of its own and cut it by its joint; the regions made."""
    first = len(cells.regions)
    below, above = cells.tail.below.copy(), cells.tail.above.copy()
    for number, (body, _) in enumerate(wide, first):
        cells.label[body.base] = number
        below[body.behind] = number
        above[body.before] = number
    cells.tail = cells.tail.with_regions(below, above)
    cells.regions = [*cells.regions, *(cells.regions[body.region] for body, _ in wide)]
    cells.touching = True
    for number, (_, joint) in enumerate(wide, first):
        apply_joints(cells, [(joint, sheets(joint))], number)
    return list(range(first, len(cells.regions)))


def _name(body: RegionBody) -> bytes:
    return b"".join(rows.tobytes() for rows in (body.base, np.sort(np.concatenate([body.behind, body.before]))))


def _neighbour(cells: Cells, body: RegionBody, slack: float) -> int:
    """The region with the largest face to a body; OUTSIDE where there is none."""
    rows, other = _faces(cells, body)
    if len(rows) == 0:
        return OUTSIDE
    corners = cells.points(cells.tail.triangles[rows])
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    area = np.maximum(corner_areas(corners), slack * longest)
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
