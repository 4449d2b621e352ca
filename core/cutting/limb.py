# SPDX-License-Identifier: GPL-3.0-or-later
"""A joint through one limb only: of the faces that it would make the one nearest to a point, and no other."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..errors import CutError
from ..mesh.mesh import Mesh
from ..mesh.topology import joined
from ..mesh.winding import distance_within
from .batch import apply_joints
from .beside import piece_of_rows
from .bodies import RegionBody, make_bodies
from .cells import Cells, Region
from .result import FROM_JOINT
from .sheet import Sheet

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class _Face:
    """A connected face of a joint; with a gap its two faces and the foam between them.

    Attributes
    ----------
    region : that was cut. rows : tail rows of the face.
    """

    region: int
    rows: IntArray


def cut_limb(
    cells: Cells, index: int, limb: FloatArray, sheets: tuple[Sheet, ...], target: int | None, strict: bool = True
) -> bool:
    """Cut the cells by one joint, at its face nearest to a point only.

    Parameters
    ----------
    cells : changed in place. Where the two sides of the face still hang together some other way, as in a ring that is
        opened, the face's triangles stand between a region and itself.
    index : of the joint. limb : (3,) metres. sheets : its one sheet, or its lower and upper sheet.
    target : the one region that is cut, or None: the one where the nearest face is.
    strict : refuse a point that is further away from the face than the face is long.

    Returns
    -------
    Whether the joint met foam. A joint with one face in the region cuts it as a joint through all of it does.

    Raises
    ------
    CutError
        The point is not by any face.
    """
    trial, faces = _trial(cells, index, sheets, target)
    if not faces:
        return False
    face = _nearest(trial, faces, limb, index, strict)
    if target is None and len(cells.regions) > 1:
        trial, faces = _trial(cells, index, sheets, face.region)
        face = _nearest(trial, faces, limb, index, strict)
    if len(faces) > 1:
        _keep_one(cells, trial, faces, face, index)
    _take_over(cells, trial)
    return True


def _trial(cells: Cells, index: int, sheets: tuple[Sheet, ...], target: int | None) -> tuple[Cells, list[_Face]]:
    """The cells cut by the whole joint, and its faces.

    Rows of the trial's tail that come from rows of the tail have as source -1 less the number of that row.
    """
    tail = replace(cells.tail, source=-1 - np.arange(len(cells.tail), dtype=np.int64))
    trial = Cells(
        cells.mesh, cells.label.copy(), cells.extra, tail, list(cells.regions), cells.touching, cells.one_skin
    )
    apply_joints(trial, [(index, sheets)], target)
    rows = _made(trial)
    return trial, _faces(trial, rows) if len(sheets) == 1 else _slabs(trial, rows)


def _made(trial: Cells) -> IntArray:
    """Rows of the joint's faces: the sources of all other rows that a joint made are negative in a trial."""
    return np.flatnonzero((trial.tail.origin == FROM_JOINT) & (trial.tail.source >= 0))


def _faces(trial: Cells, rows: IntArray) -> list[_Face]:
    """Faces of a joint without a gap; what touches in a vertex is one face."""
    tail = trial.tail
    region = tail.below[rows]
    total = len(trial.mesh.vertices) + len(trial.extra)
    label = _sharing(len(rows), np.repeat(np.arange(len(rows)), 3), (region[:, None] * total + tail.triangles[rows]))
    # The part of a region below the joint keeps the number of the region.
    return [_Face(int(region[label == k][0]), rows[label == k]) for k in range(int(label.max(initial=-1)) + 1)]


def _slabs(trial: Cells, rows: IntArray) -> list[_Face]:
    """Faces of a joint with a gap: pairs of faces with the foam between them."""
    below, above = trial.tail.below[rows], trial.tail.above[rows]
    beside = np.unique(np.concatenate([below, above])).tolist()
    out = []
    for r in [r for r in beside if trial.regions[r].taken]:
        # Of the parts of a region the lowest keeps its number, and numbers of new ones are higher.
        region = int(min(below[above == r].min(initial=r), above[below == r].min(initial=r)))
        slabs = make_bodies(trial, [r], True, again=True)
        behind, before = piece_of_rows(len(trial.tail), list(enumerate(slabs)))
        own = [_corners(trial, slab) for slab in slabs]
        label = _sharing(len(slabs), np.repeat(np.arange(len(slabs)), [len(c) for c in own]), np.concatenate(own))
        of = np.maximum(behind, before)[rows]
        out += [_Face(region, rows[(of >= 0) & (label[of] == k)]) for k in range(int(label.max()) + 1)]
    return [face for face in out if len(face.rows)]


def _corners(cells: Cells, body: RegionBody) -> IntArray:
    tail = np.concatenate([body.behind, body.before])
    corners: IntArray = np.unique(np.concatenate([cells.mesh.triangles[body.base], cells.tail.triangles[tail]]))
    return corners


def _sharing(count: int, thing: IntArray, token: IntArray) -> IntArray:
    """Labels of `count` things, those that have a token in common joined; one thing for each token in the list."""
    token = token.reshape(-1)
    order = np.argsort(token, kind="stable")
    thing, token = thing[order], token[order]
    same = token[1:] == token[:-1]
    return joined(count, thing[:-1][same], thing[1:][same])


def _nearest(trial: Cells, faces: list[_Face], limb: FloatArray, index: int, strict: bool) -> _Face:
    """The face nearest to the point; of two as near the first."""
    best, away = faces[0], np.inf
    for face in faces:
        used, t = np.unique(trial.tail.triangles[face.rows], return_inverse=True)
        points = trial.points(used)
        far = distance_within(Mesh(points, t.reshape(-1, 3)), limb, np.inf)
        if far < away:
            best, away, long = face, far, float(np.linalg.norm(np.ptp(points, axis=0)))
    if strict and away > long:
        here = f"({limb[0]:.6g}, {limb[1]:.6g}, {limb[2]:.6g})"
        raise CutError(
            f"its limb {here} is {away:.3g} m from the nearest face of the joint, which is {long:.3g} m long; move the "
            "point to where the joint runs through the limb, or leave it out to cut through everything",
            index,
        )
    return best


def _keep_one(cells: Cells, trial: Cells, faces: list[_Face], face: _Face, index: int) -> None:
    """Take back the other faces in a trial: the bodies on their two sides are one again, and foam not taken is foam."""
    parts = [face.region, *range(len(cells.regions), len(trial.regions))]
    bodies = make_bodies(trial, parts, True, again=True)
    behind, before = piece_of_rows(len(trial.tail), list(enumerate(bodies)))
    other = np.concatenate([f.rows for f in faces if f is not face])
    whole = joined(len(bodies), behind[other], before[other])
    taken = np.array([trial.regions[b.region].taken for b in bodies])
    sides = np.stack([behind[face.rows], before[face.rows]])
    lost = np.zeros(len(bodies), dtype=bool)
    lost[sides[taken[sides]]] = True
    lower, upper = (whole[side[~lost[side]]] for side in sides)
    above = np.isin(whole, np.setdiff1d(upper, lower)) & ~lost
    old = cells.regions[face.region].sides
    trial.regions = list(cells.regions)
    trial.regions[face.region] = Region((*old, (index, 0)))
    region = np.full(len(bodies), face.region, dtype=np.int64)
    for use, side in ((lost, 2), (above, 1)):
        if use.any():
            region[use] = len(trial.regions)
            trial.regions.append(Region((*old, (index, side)), side == 2))
    below_of, above_of = trial.tail.below.copy(), trial.tail.above.copy()
    for body, number in zip(bodies, region.tolist(), strict=True):
        trial.label[body.base] = number
        below_of[body.behind] = number
        above_of[body.before] = number
    trial.tail = trial.tail.with_regions(below_of, above_of)
    _mend(cells, trial, face.rows, other)


def _mend(cells: Cells, trial: Cells, kept: IntArray, dropped: IntArray) -> None:
    """Take faces out of a trial and make triangles whole again that were split for them alone.

    Parameters
    ----------
    cells : before the trial. kept, dropped : rows of the faces that stay and of those that go.
    """
    tail, base = trial.tail, len(cells.mesh.triangles)
    old = len(cells.mesh.vertices) + len(cells.extra)
    rows = np.setdiff1d(np.arange(len(tail)), np.concatenate([kept, dropped]))
    # Each triangle before the cut by a number: carving first, then the tail.
    source = tail.source[rows]
    parent, part = np.unique(np.where(source < 0, base - 1 - source, source), return_inverse=True)
    part = part.reshape(-1)
    corners = tail.triangles[rows]
    touches = np.zeros(old + len(trial.extra) - len(cells.extra), dtype=bool)
    touches[tail.triangles[kept]] = True
    stay = np.zeros(len(parent), dtype=bool)
    stay[part[touches[corners].any(axis=1)]] = True
    first = np.full(len(parent), -1, dtype=np.int64)
    first[part[::-1]] = rows[::-1]
    for side in (tail.below, tail.above):
        stay[part[side[rows] != side[first[part]]]] = True
    # Triangles with a new vertex in common stay split or are made whole together.
    row, at = np.nonzero(corners >= old)
    together = _sharing(len(parent), part[row], corners[row, at])
    stay = np.isin(together, together[stay])
    whole = np.flatnonzero(~stay)
    from_base = whole[parent[whole] < base]
    from_tail = whole[parent[whole] >= base]
    trial.label[parent[from_base]] = tail.below[first[from_base]]
    back = cells.tail.take(parent[from_tail] - base)
    back = replace(back, source=base - 1 - parent[from_tail])
    back = back.with_regions(tail.below[first[from_tail]], tail.above[first[from_tail]])
    left = np.sort(np.concatenate([rows[stay[part]], kept]))
    tail = back.joined(tail.take(left))
    # Vertices of the faces that went are in no triangle any more.
    used = np.unique(tail.triangles[tail.triangles >= old])
    number = np.arange(len(touches))
    number[used] = old + np.arange(len(used))
    trial.tail = replace(tail, triangles=number[tail.triangles])
    trial.extra = np.concatenate([cells.extra, trial.points(used)])


def _take_over(cells: Cells, trial: Cells) -> None:
    """Make the cells what a trial made of them."""
    source = trial.tail.source
    given = source < 0
    source = np.where(given, 0, source)
    source[given] = cells.tail.source[-1 - trial.tail.source[given]]
    cells.label, cells.extra, cells.regions = trial.label, trial.extra, trial.regions
    cells.tail = replace(trial.tail, source=source)
    cells.touching = True
