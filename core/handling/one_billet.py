# SPDX-License-Identifier: GPL-3.0-or-later
"""Whether a piece comes out of one billet: by its size alone, or by where it lies in the block-up.

A billet's own faces need no cut, and a cut beside them takes its kerf from what is left over: a piece may be as large
as the billet, and nothing is added for the saw.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..blockup.held import held_billets
from ..blockup.layout import Cell, Layout
from ..findings import Finding, Severity
from ..job import Job
from ..mesh.mesh import Mesh
from .box import Box, any_pose_box, upright_box

FloatArray = NDArray[np.float64]

_ROUNDING: Final = 1e-9
"""Share by which a side may pass the billet's before it counts, as for the other limits."""

SHAVED: Final = 0.005
"""Metres of foam beyond a glue line that do not count: a wire that is guided along it runs so truly (see
`seams.FOLLOWED`)."""


def by_size(job: Job) -> bool:
    """Whether the size alone tells: pieces shall come out of one billet, and how billets are stacked is unknown."""
    return job.limits.within_billet and job.blockup.built == "unknown"


def by_place(job: Job) -> bool:
    """Whether its place tells: pieces shall come out of one billet of a block-up that is known."""
    return job.limits.within_billet and job.blockup.built != "unknown"


def fits(box: Sequence[float], job: Job) -> bool:
    """Whether a box of foam, metres, goes into one billet with its sides along the billet's, turned as you like."""
    sides, billet = sorted(box), sorted(job.foam.billet)
    return all(side <= most * (1.0 + _ROUNDING) for side, most in zip(sides, billet, strict=True))


def foam_box(vertices: FloatArray, corners: FloatArray, job: Job) -> Box:
    """The box of foam that a piece is cut from, from large to small, metres, skin left out.

    Parameters
    ----------
    vertices : (n, 3) metres, those that triangles use. corners : (m, 3, 3) metres, of its triangles.

    Notes
    -----
    As the piece stands; tilted in the billet, as `any_pose_box` finds it, only where it goes in no other way.
    """
    long, middle, short = sorted(upright_box(vertices), reverse=True)
    standing = (long, middle, short)
    if fits(standing, job):
        return standing
    tilted = any_pose_box(vertices, corners)
    return tilted if fits(tilted, job) else standing


def check_size(mark: str, box: Box, where: tuple[float, float, float], job: Job) -> list[Finding]:
    """Whether a piece's box of foam, as `foam_box` gives it, goes into one billet."""
    if fits(box, job):
        return []
    billet = sorted(job.foam.billet, reverse=True)
    worst = max(range(3), key=lambda k: box[k] / billet[k])
    size, stock = (" x ".join(f"{side:.3f}" for side in sides) for sides in (box, billet))
    return [
        Finding(
            check="within_billet",
            severity=Severity.ERROR,
            message=f"Piece {mark} comes out of no single billet: its foam measures {size} m, a billet {stock} m; "
            f"{box[worst]:.3f} m is {(box[worst] - billet[worst]) * 1000.0:.3g} mm too much. Only its size was "
            "compared, as it is not known how the billets are stacked.",
            remedy="Cut it once more across that side, take a larger billet, or let pieces be bonded from several "
            "billets (limits.within_billet = false).",
            piece=mark,
            measured=box[worst],
            limit=billet[worst],
            unit="m",
            where=where,
        )
    ]


def billets_of(mesh: Mesh, layout: Layout) -> tuple[tuple[Cell, ...], FloatArray]:
    """The billets of a block-up that a body reaches into by more than `SHAVED`, and how far, (n,) metres.

    How far is the smallest side of the box round what of the body lies in the billet, the largest first.
    """
    held = held_billets(mesh, layout)
    deep = (held.high - held.low).min(axis=1)
    if len(deep) == 1:
        return held.cells, deep
    rows = [int(k) for k in np.argsort(-deep, kind="stable") if deep[k] > SHAVED]
    return tuple(held.cells[k] for k in rows), deep[rows]


def check_place(
    mark: str, mesh: Mesh, where: tuple[float, float, float], layout: Layout, names: dict[Cell, str]
) -> list[Finding]:
    """Whether a piece lies within one billet of the block-up.

    Parameters
    ----------
    mark : its number. mesh : the piece as cut. where : its middle.
    layout : where billets lie. names : marks of the billets by place.
    """
    cells, deep = billets_of(mesh, layout)
    if len(cells) <= 1:
        return []
    said = sorted(names.get(cell, "unnamed") for cell in cells)
    return [
        Finding(
            check="within_billet",
            severity=Severity.ERROR,
            message=f"Glue lines run through piece {mark}: it is made of {len(cells)} billets ({', '.join(said)}) and "
            f"reaches {deep[1] * 1000.0:.0f} mm or more into the second of them. Compared with the billets of the "
            "block-up where they lie.",
            remedy="Lay a joint along each glue line that goes through it (proposed joints do), shift the block-up, or "
            "let pieces be bonded from several billets (limits.within_billet = false).",
            piece=mark,
            measured=float(len(cells)),
            limit=1.0,
            where=where,
        )
    ]
