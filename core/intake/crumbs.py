# SPDX-License-Identifier: GPL-3.0-or-later
"""Crumbs: loose scraps of a scan that are no part of the carving."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..mesh.mesh import FloatArray, IntArray, Mesh
from .draft import BoolArray, Change, Draft
from .measure import measure
from .table import EdgeTable
from .words import count, length, volume

_LONG: Final = 3.0
"""A crumb is no longer than this many sides of a cube of its size: a sheet or a strap of a metre is no crumb."""
_LEAST_SHARE: Final = 0.01
"""Closed crumbs that together hold more of the carving than this are kept: it is made of small bodies then."""


@dataclass(frozen=True, eq=False)
class Scraps:
    """The connected bodies of a mesh, closed or not.

    Attributes
    ----------
    body : (m,) int64, body of each triangle, numbered by their first.
    volume : (b,) signed, cubic metres; an open body closed by a cone to the middle of its rim.
    area : (b,) square metres.
    low, high : (b, 3) metres, corners of the box round each.
    closed : (b,) bool, no open edge.
    crumb : (b,) bool, smaller than the limit; never the body with the most area.
    flat : (m,) bool, triangles without area.
    """

    body: IntArray
    volume: FloatArray
    area: FloatArray
    low: FloatArray
    high: FloatArray
    closed: BoolArray
    crumb: BoolArray
    flat: BoolArray


def find_scraps(mesh: Mesh, crumb: float, table: EdgeTable) -> Scraps:
    """Bodies of a mesh, and which of them are crumbs.

    Parameters
    ----------
    mesh : metres; with at least one triangle.
    crumb : cubic metres; a smaller body that is not long is a crumb.
    table : its edges.
    """
    body = table.bodies()
    number = int(body.max(initial=-1)) + 1
    sizes = measure(mesh, body, number, table)
    closed = np.ones(number, dtype=bool)
    closed[body[table.half[table.start[table.count == 1]] // 3]] = False
    small = np.abs(sizes.volume) < crumb
    small &= (sizes.high - sizes.low).max(axis=1) <= _LONG * crumb ** (1.0 / 3.0)
    small[int(sizes.area.argmax())] = False
    return Scraps(body, sizes.volume, sizes.area, sizes.low, sizes.high, closed, small, sizes.flat)


def to_drop(scraps: Scraps) -> BoolArray:
    """Crumbs that go, (b,): open ones always, closed ones while they are next to nothing of the carving."""
    whole = scraps.crumb & scraps.closed
    if np.abs(scraps.volume[whole]).sum() > _LEAST_SHARE * np.abs(scraps.volume).sum():
        return scraps.crumb & ~whole
    return scraps.crumb


def drop_crumbs(draft: Draft, crumb: float) -> tuple[Draft, tuple[Change, ...]]:
    """Leave out crumbs, open ones always, closed ones while they are next to nothing of the carving."""
    if not len(draft.mesh.triangles) or crumb <= 0.0:
        return draft, ()
    scraps = find_scraps(draft.mesh, crumb, EdgeTable.of(draft.mesh.triangles))
    drop = to_drop(scraps)
    if not drop.any():
        return draft, ()
    number = int(drop.sum())
    lost = float(np.abs(scraps.volume[drop & scraps.closed]).sum())
    longest = float((scraps.high - scraps.low)[drop].max())
    text = f"{count(number, 'crumb')} left out, the largest {length(longest)} long"
    if lost > 0.0:
        text += f", {volume(lost)} of foam in all"
    return draft.keep(~drop[scraps.body]), (Change("crumbs", text, number),)
