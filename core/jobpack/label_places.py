# SPDX-License-Identifier: GPL-3.0-or-later
"""Where in a picture a piece's number can stand: on the middle of what is seen of that piece."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

COLUMNS = 160
"""Cells across the picture: at 960 pixels a cell is 6 of them, a fifth of a label's height."""

NOBODY = -1
"""What a cell holds in which no piece is seen."""


def room(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """For each cell of a mask, how many steps it lies inside: 0 outside, 1 at the rim; steps go to all 8 neighbours."""
    inside = mask.copy()
    count = inside.astype(np.int64)
    while inside.any():
        padded = np.pad(inside, 1)
        inside = inside.copy()
        for di in (0, 1, 2):
            for dj in (0, 1, 2):
                inside &= padded[di : di + mask.shape[0], dj : dj + mask.shape[1]]
        count += inside
    return count


def label_places(seen: NDArray[np.int64], pieces: int, needed: int) -> list[tuple[float, float] | None]:
    """For each piece the x and y, each from -1 to 1, of the roomiest place in what is seen of it.

    Parameters
    ----------
    seen : (rows, columns) index of the piece that is seen in each cell of the picture, `NOBODY` where there is none;
        row 0 at the top.
    pieces : how many pieces there are.
    needed : steps of room that a label needs; a piece that shows less of itself gets None.
    """
    rows, columns = seen.shape
    places: list[tuple[float, float] | None] = []
    for piece in range(pieces):
        mask = seen == piece
        # The picture's own rim must not cut a label.
        mask[0, :] = mask[-1, :] = mask[:, 0] = mask[:, -1] = False
        if not mask.any():
            places.append(None)
            continue
        ys, xs = np.nonzero(mask)
        top, left = int(ys.min()), int(xs.min())
        part = mask[top : int(ys.max()) + 1, left : int(xs.max()) + 1]
        steps = room(part)
        best = int(steps.max())
        if best < needed:
            places.append(None)
            continue
        y, x = np.nonzero(steps == best)
        middle = np.array([y.mean(), x.mean()])
        pick = int(np.argmin((y - middle[0]) ** 2 + (x - middle[1]) ** 2))
        row, column = top + int(y[pick]) + 0.5, left + int(x[pick]) + 0.5
        places.append((2.0 * column / columns - 1.0, 1.0 - 2.0 * row / rows))
    return places
