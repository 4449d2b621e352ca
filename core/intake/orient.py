# SPDX-License-Identifier: GPL-3.0-or-later
"""Winding all triangles of a body the same way, and its outside outwards."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray, IntArray, Mesh
from ..mesh.topology import joined
from ..mesh.winding import crossings
from .draft import BoolArray, Change, Draft
from .measure import measure
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


def turn_outwards(draft: Draft) -> tuple[Draft, tuple[Change, ...]]:
    """Wind each body alike, and outwards.

    Parameters
    ----------
    draft : any triangles. Where more than two share an edge nothing is bound across it.

    Notes
    -----
    A body that had to be wound alike is then turned so that it encloses foam, or a hollow where it lies within an odd
    number of others. A body that came wound alike stays a hollow within another, and is turned where it runs inwards
    in the open; where all such bodies together run inwards, all are turned first. An open body is judged as closed by
    a cone to the middle of its rim; one as flat as a scrap of floor encloses nothing that would tell, and stays.
    """
    mesh = draft.mesh
    if not len(mesh.triangles):
        return draft, ()
    table = EdgeTable.of(mesh.triangles)
    corners = mesh.vertices[mesh.triangles]
    double = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.sqrt((double * double).sum(axis=1))
    turn, body, one_sided = consistent(table, area)
    bodies = len(one_sided)
    mended = np.zeros(bodies, dtype=bool)
    mended[body[turn]] = True
    changes = []
    patches = int(turn.sum())
    if patches:
        where = coordinates(corners[int(np.flatnonzero(turn)[0])].mean(axis=0))
        text = f"{count(patches, 'triangle')} that faced the wrong way turned, the first near {where}"
        changes.append(Change("orient", text, patches))
        draft = draft.turn(turn)
    sizes = measure(draft.mesh, body, bodies, table)
    closed = np.ones(bodies, dtype=bool)
    closed[body[table.half[table.start[table.count != 2]] // 3]] = False
    flat = ~closed & (np.abs(sizes.volume) < _FLAT * (0.5 * np.bincount(body, weights=area, minlength=bodies)) ** 1.5)
    volume = np.where(flat, 0.0, sizes.volume)
    inward = volume < 0.0
    wrong = np.zeros(bodies, dtype=bool)
    if volume[~mended].sum() < 0.0:
        wrong[~mended] = True
    doubtful = np.flatnonzero(mended | (inward & ~wrong) | (wrong & ~inward)) if bodies > 1 else np.flatnonzero(mended)
    if len(doubtful):
        for row in doubtful.tolist():
            hollow = _depth(draft.mesh, body, closed, sizes.low, sizes.high, row) % 2 == 1
            if mended[row]:
                wrong[row] = inward[row] != hollow
            elif inward[row] != wrong[row] and not hollow:
                wrong[row] = not wrong[row]
    wrong &= ~one_sided
    if wrong.any():
        draft = draft.turn(wrong[body])
        number = int(wrong.sum())
        text = f"{count(number, 'body', 'bodies')} inside out turned" if bodies > 1 else INSIDE_OUT
        changes.append(Change("orient", text, number))
    return draft, tuple(changes)


_FLAT: Final = 1e-3
"""Of an open body's area to the power of 3/2, which for a ball is a hundred times its volume: a sheet holds less."""
INSIDE_OUT: Final = "the surface was inside out and was turned"


def _depth(mesh: Mesh, body: IntArray, closed: BoolArray, low: FloatArray, high: FloatArray, row: int) -> int:
    """Within how many closed bodies another body lies, judged at its first corner."""
    around = (low <= low[row]).all(axis=1) & (high >= high[row]).all(axis=1) & closed
    around[row] = False
    if not around.any():
        return 0
    point = mesh.vertices[mesh.triangles[int(np.flatnonzero(body == row)[0]), 0]]
    rest = np.flatnonzero(around[body])
    hit, _ = crossings(mesh.vertices, mesh.triangles[rest], point)
    return int((np.bincount(body[rest[hit]], minlength=1) % 2).sum())
