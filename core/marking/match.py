# SPDX-License-Identifier: GPL-3.0-or-later
"""Which piece of a new cut is which piece of the cut before."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh, bounds
from ..mesh.winding import encloses

FloatArray = NDArray[np.float64]


def match_pieces(
    old_marks: Sequence[str], old_points: Sequence[Sequence[float]], marks: Sequence[str], meshes: Sequence[Mesh]
) -> tuple[int | None, ...]:
    """For each new piece the old one that it goes on from, or None; no old piece is taken twice.

    Parameters
    ----------
    old_marks, old_points : mark of each old piece, and a point (3,) strictly inside it, metres.
    marks, meshes : mark and closed mesh of each new piece, same frame.

    Notes
    -----
    First by place: a new piece goes on from an old one whose point it encloses, the one with the same mark before
    others. Then, among those left on both sides, by mark.
    """
    places = [np.asarray(point, dtype=np.float64) for point in old_points]
    out: list[int | None] = [None] * len(meshes)
    free = set(range(len(places)))
    for new, mesh in enumerate(meshes):
        low, high = bounds(mesh.vertices)
        near = [k for k in free if bool(((places[k] >= low) & (places[k] <= high)).all())]
        inside = [k for k in near if encloses(mesh, places[k])]
        if inside:
            best = min(inside, key=lambda k: (old_marks[k] != marks[new], k))
            out[new] = best
            free.remove(best)
    by_mark = {old_marks[k]: k for k in sorted(free, reverse=True)}
    for new, mark in enumerate(marks):
        if out[new] is None and mark in by_mark:
            out[new] = by_mark.pop(mark)
    return tuple(out)
