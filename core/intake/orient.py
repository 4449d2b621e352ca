# SPDX-License-Identifier: GPL-3.0-or-later
"""Winding all triangles of a body the same way, and its outside outwards."""

from __future__ import annotations

import numpy as np

from ..mesh.mesh import FloatArray, IntArray
from ..mesh.topology import joined
from ..mesh.winding import crossings
from .draft import BoolArray, Change, Draft
from .table import EdgeTable
from .words import coordinates, count


def consistent(table: EdgeTable, area: FloatArray) -> tuple[BoolArray, IntArray, BoolArray]:
    """Which triangles to turn so that neighbours run their edge opposite ways.

    Parameters
    ----------
    table : edges of the mesh; only edges of two triangles bind their triangles.
    area : (m,) of each triangle: the side with more of it stays as it is.

    Returns
    -------
    turn : (m,) bool.
    body : (m,) int64, triangles bound together, numbered by their first.
    one_sided : (b,) bool, bodies that have only one side, such as a band with half a twist; they are not turned.

    Notes
    -----
    Each triangle stands twice, as it is and turned; what is bound together there is one of the two ways of winding a
    body. Where both copies of a triangle fall together the body has one side only.
    """
    count_ = len(table.triangles)
    one, two, same = table.pairs(np.flatnonzero(table.count == 2))
    shift = np.where(same, count_, 0)
    label = joined(2 * count_, np.concatenate([one, one + count_]), np.concatenate([two + shift, two + count_ - shift]))
    plain, turned = label[:count_], label[count_:]
    lowest = np.minimum(plain, turned)
    _, first, body = np.unique(lowest, return_index=True, return_inverse=True)
    order = np.argsort(np.argsort(first))
    body = order[body].astype(np.int64)
    bodies = len(first)
    turn = plain != lowest
    one_sided = np.zeros(bodies, dtype=bool)
    one_sided[body[plain == turned]] = True
    balance = np.bincount(body, weights=np.where(turn, area, -area), minlength=bodies)
    turn ^= (balance > 0.0)[body]
    return turn & ~one_sided[body], body, one_sided


def turn_outwards(draft: Draft, everything: bool = False) -> tuple[Draft, tuple[Change, ...]]:
    """Wind each body alike, and outwards.

    Parameters
    ----------
    draft : any triangles. Where more than two share an edge nothing is bound across it.
    everything : also judge bodies that came wound alike; else those stay, since a body that runs inwards within
        another is a hollow.

    Notes
    -----
    A body that had to be mended is turned so that it encloses foam, or a hollow where it lies within an odd number of
    others. An open body is closed for that by a cone to the middle of its rim. Of a single body, and of several that all
    run inwards, all are turned.
    """
    mesh = draft.mesh
    if not len(mesh.triangles):
        return draft, ()
    table = EdgeTable.of(mesh.triangles)
    corners = mesh.vertices[mesh.triangles]
    double = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    turn, body, one_sided = consistent(table, np.sqrt((double * double).sum(axis=1)))
    mended = np.zeros(len(one_sided), dtype=bool)
    mended[body[turn]] = True
    changes = []
    patches = int(turn.sum())
    if patches:
        where = coordinates(corners[int(np.flatnonzero(turn)[0])].mean(axis=0))
        text = f"{count(patches, 'triangle')} that faced the wrong way turned, the first near {where}"
        changes.append(Change("orient", text, patches))
    draft = draft.turn(turn) if patches else draft
    volume = body_volumes(draft.mesh.vertices, draft.mesh.triangles, body, len(one_sided), table)
    inward = volume < 0.0
    judged = mended | everything
    if inward.sum() and (len(volume) == 1 or volume.sum() < 0.0):
        wrong = inward.copy() if not (volume > 0.0).any() else np.ones(len(volume), dtype=bool)
    else:
        wrong = np.zeros(len(volume), dtype=bool)
        closed = np.bincount(body, minlength=len(volume)) > 0
        closed[body[table.half[table.start[table.count != 2]] // 3]] = False
        for row in np.flatnonzero(judged).tolist():
            wrong[row] = inward[row] != (_depth(draft, body, closed, row) % 2 == 1)
    wrong &= ~one_sided
    if wrong.any():
        draft = draft.turn(wrong[body])
        number = int(wrong.sum())
        changes.append(Change("orient", f"{count(number, 'body', 'bodies')} inside out turned", number))
    return draft, tuple(changes)


def body_volumes(
    vertices: FloatArray, triangles: IntArray, body: IntArray, bodies: int, table: EdgeTable | None = None
) -> FloatArray:
    """Signed volume of each body, (bodies,) cubic metres; open ones closed by a cone to the middle of their rim."""
    apex = np.zeros((bodies, 3))
    middle = vertices.mean(axis=0) if len(vertices) else np.zeros(3)
    apex += middle
    if table is not None:
        half = table.half[table.start[table.count == 1]]
        if len(half):
            rim = body[half // 3]
            point = vertices[triangles.reshape(-1)[half]]
            number = np.bincount(rim, minlength=bodies)
            some = number > 0
            for axis in range(3):
                total = np.bincount(rim, weights=point[:, axis], minlength=bodies)
                apex[some, axis] = total[some] / number[some]
    result = np.zeros(bodies)
    for at in range(0, len(triangles), 1 << 16):
        some_body = body[at : at + (1 << 16)]
        a, b, c = (vertices[triangles[at : at + (1 << 16), k]] - apex[some_body] for k in range(3))
        box = (a * np.cross(b, c)).sum(axis=1)
        result += np.bincount(some_body, weights=box, minlength=bodies) / 6.0
    return result


def _depth(draft: Draft, body: IntArray, closed: BoolArray, row: int) -> int:
    """Within how many closed bodies another body lies, judged at its first corner."""
    mesh = draft.mesh
    point = mesh.vertices[mesh.triangles[int(np.flatnonzero(body == row)[0]), 0]]
    rest = np.flatnonzero((body != row) & closed[body])
    hit, _ = crossings(mesh.vertices, mesh.triangles[rest], point)
    return int((np.bincount(body[rest[hit]], minlength=1) % 2).sum())
