# SPDX-License-Identifier: GPL-3.0-or-later
"""Which piece of a cut with a gap stands at each joint triangle of the same cut without it."""

from __future__ import annotations

import contextlib
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from ..mesh.mesh import bounds
from ..mesh.winding import encloses, inner_point
from .bodies import RegionBody
from .cells import Cells
from .joint import Joint, Plane
from .result import FROM_JOINT, Body

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_CHUNK: Final = 1 << 20
"""Distances measured at once: some tens of megabytes."""


def piece_of_rows(count: int, named: Sequence[tuple[int, RegionBody]]) -> tuple[IntArray, IntArray]:
    """Number of the body behind and before each of `count` rows of a tail, -1 where there is none."""
    behind, before = np.full(count, -1, dtype=np.int64), np.full(count, -1, dtype=np.int64)
    for i, b in named:
        behind[b.behind] = i
        before[b.before] = i
    return behind, before


def piece_beside(
    bare: Cells, bodies: Sequence[RegionBody], pieces: Sequence[RegionBody], joints: Sequence[Joint]
) -> tuple[IntArray, IntArray]:
    """Pieces of the cut with a gap behind and before each row of the tail of the cut without it.

    Parameters
    ----------
    bare, bodies : the cut without the gap.
    pieces : of the cut with it, of the same carving.

    A body is the piece that most of its untouched skin went to. Where a gap ate through a neck, so that one body is
    several pieces, each of its joint triangles goes to the piece with the nearest face of that joint.
    """
    home = np.full(len(bare.label), -1, dtype=np.int64)
    for i, b in enumerate(pieces):
        home[b.base] = i
    named = []
    places: FloatArray | None = None
    for b in bodies:
        there = home[b.base]
        there = there[there >= 0]
        if len(there):
            named.append((int(np.argmax(np.bincount(there))), b))
            continue
        # Its whole skin was split, or went with the gap: the largest of the pieces that lie in it.
        places = _places(pieces) if places is None else places
        inside = [i for i in _within(b, places) if encloses(b.body.mesh, places[i])]
        if inside:
            named.append((max(inside, key=lambda i: pieces[i].body.volume), b))
    behind, before = piece_of_rows(len(bare.tail), named)
    alone = set(range(len(pieces))) - {i for i, _ in named}
    if alone:
        places = _places(pieces) if places is None else places
        for i, b in named:
            also = [o for o in _within(b, places) if o in alone and encloses(b.body.mesh, places[o])]
            if also:
                among = [(o, pieces[o].body) for o in (i, *also)]
                _share_faces(bare, b.behind, behind, True, among, joints)
                _share_faces(bare, b.before, before, False, among, joints)
    return behind, before


def _places(pieces: Sequence[RegionBody]) -> FloatArray:
    """A point well inside each piece, (k, 3), nan where it has no room to speak of."""
    out = np.full((len(pieces), 3), np.nan)
    for i, piece in enumerate(pieces):
        with contextlib.suppress(MeshError):
            out[i] = inner_point(piece.body.mesh)
    return out


def _within(body: RegionBody, places: FloatArray) -> list[int]:
    """Places in a body's box: a quick first look, for there may be hundreds of each."""
    low, high = bounds(body.body.mesh.vertices)
    # Comparing with nan is false.
    return [int(i) for i in np.flatnonzero(((low <= places) & (places <= high)).all(axis=1))]


def _share_faces(
    bare: Cells,
    rows: IntArray,
    piece: IntArray,
    below: bool,
    among: Sequence[tuple[int, Body]],
    joints: Sequence[Joint],
) -> None:
    """Give each joint triangle of a body to the piece whose face of that joint is nearest to its middle.

    Parameters
    ----------
    bare : the cut without the gap.
    rows : rows of its tail that bound the body.
    piece : (t,) piece of each row of the tail, changed in place.
    below : whether the body lies below these rows.
    among : pieces that the gap made of the body, with their numbers.
    """
    rows = rows[bare.tail.origin[rows] == FROM_JOINT]
    for j in np.unique(bare.tail.source[rows]).tolist():
        mine = rows[bare.tail.source[rows] == j]
        faces = [(i, _face_points(body, j, joints[j], below)) for i, body in among]
        owner = np.repeat([i for i, _ in faces], [len(points) for _, points in faces])
        if len(owner):
            middle = bare.points(bare.tail.triangles[mine]).mean(axis=1)
            piece[mine] = owner[_nearest(middle, np.concatenate([points for _, points in faces]))]


def _face_points(body: Body, index: int, joint: Joint, below: bool) -> FloatArray:
    """Corners and middles of a piece's triangles on one face of a joint, (k, 3) metres."""
    corners = body.mesh.vertices[body.mesh.triangles[(body.origin == FROM_JOINT) & (body.source == index)]]
    up = joint.normal if isinstance(joint, Plane) else joint.w
    rise = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) @ up
    corners = corners[rise > 0.0 if below else rise < 0.0]
    return np.concatenate([corners.reshape(-1, 3), corners.mean(axis=1)])


def _nearest(points: FloatArray, among: FloatArray) -> IntArray:
    """Index of the nearest of `among` for each point; of equal ones the first."""
    out = np.empty(len(points), dtype=np.int64)
    step = max(1, _CHUNK // len(among))
    for begin in range(0, len(points), step):
        away = points[begin : begin + step, None, :] - among[None]
        out[begin : begin + step] = np.argmin(np.einsum("ijk,ijk->ij", away, away), axis=1)
    return out
