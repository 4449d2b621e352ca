# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints along the glue lines of a block-up, so that every part comes out of one billet."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..blockup.layout import Cell, Layout
from ..cutting.cut import cut
from ..cutting.joint import Joint, Plane
from ..errors import CutError
from ..handling.one_billet import billets_of
from ..mesh.winding import inner_point
from .carry_out import Lump

_AXES: Final = np.eye(3)
"""Along the length, across it and upwards, in the block's own frame."""


def part_by_billets(
    lump: Lump, layout: Layout, gap: float, crumb: float, alone: bool
) -> tuple[list[Joint], list[Lump]]:
    """Cut a body along every glue line that runs through it.

    Parameters
    ----------
    lump : a body of the carving. layout : where the billets lie.
    gap, crumb : as for the cut. alone : the body is all there is, so the first joint need not name it.

    Returns
    -------
    joints in the order of cuts, and the parts

    Notes
    -----
    Courses first, then ends, then sides: each time the glue line nearest to the middle of those that are left, so that
    every joint but the first cuts little. A part that a joint along the glue line does not part stays as it is.
    """
    cells, _ = billets_of(lump.mesh, layout)
    for normal, at in _glue_planes(cells, layout):
        point, square = layout.to_job([at])[0], layout.turn([normal])[0]
        try:
            found = cut(lump.mesh, [Plane(point, square)], gap, crumb=crumb)
        except CutError:
            continue
        if len(found.pieces) + len(found.crumbs) < 2:
            continue
        joints: list[Joint] = [Plane(point, square, None if alone else inner_point(lump.mesh))]
        parts: list[Lump] = []
        for body in found.pieces:
            more, made = part_by_billets(lump.child(body), layout, gap, crumb, False)
            joints, parts = [*joints, *more], [*parts, *made]
        return joints, parts
    return [], [lump]


def _glue_planes(cells: tuple[Cell, ...], layout: Layout) -> list[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Normal and a point of each glue plane between some billets, block frame, the one to cut first leading."""
    out = []
    for place, axis in ((0, 2), (1, 0), (2, 1)):
        if axis != 2 and len({cell[0] for cell in cells}) > 1:
            break
        numbers = sorted({cell[place] for cell in cells})
        middle = (numbers[0] + numbers[-1] + 1) / 2.0 if numbers else 0.0
        for number in sorted(numbers[1:], key=lambda n: (abs(n - middle), n)):
            cell = next(cell for cell in sorted(cells) if cell[place] == number)
            out.append((_AXES[axis], layout.corner(cell)))
    return out
