# SPDX-License-Identifier: GPL-3.0-or-later
"""Joint lines and surfaces as many small parts, each with its place and its size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.result import JointLine
from ..mesh.mass import triangle_areas
from ..mesh.mesh import CARVED, Mesh
from ..mesh.runs import runs

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEP: Final = 0.005
"""Metres: no part of a line is longer."""

_MOST: Final = 1000
"""Parts along one side of a triangle, at most: a triangle larger than that many spacings is a unit mistake."""

_POINTS: Final = 4_000_000
"""Points over a surface, about, at most: a spacing of nothing would ask for more than any memory holds."""

_ENOUGH: Final = 200_000
"""Triangles that tell a share of the surface to the third digit."""


@dataclass(frozen=True, eq=False)
class LineParts:
    """The visible stretches of some joint lines in parts no longer than `STEP`, in order along each line.

    Attributes
    ----------
    point : (k, 3) middle of each part, metres. length : (k,) metres.
    pieces : (k, 2) the pieces below and above; -1 where that body is no piece.
    line : (k,) which of the lines.
    fresh : (k,) bool: it does not go on where the part before it ended.
    closed : for each line, whether its last part runs on in its first.
    """

    point: FloatArray
    length: FloatArray
    pieces: IntArray
    line: IntArray
    fresh: NDArray[np.bool_]
    closed: tuple[bool, ...]


def visible_parts(lines: Sequence[JointLine], step: float = STEP) -> LineParts:
    """Divide what can be seen of a joint's lines: where carved faces meet it. `step`: metres."""
    points, lengths, pieces, owner, fresh, closed = [], [], [], [], [], []
    for number, line in enumerate(lines):
        show = line.kind == CARVED
        edge = np.flatnonzero(show)
        start, along, long = line.points[edge], np.diff(line.points, axis=0)[edge], line.lengths[edge]
        count = np.maximum(np.ceil(long / step), 1.0).astype(np.int64)
        row, turn = runs(count)
        points.append(start[row] + along[row] * ((turn + 0.5) / count[row])[:, None])
        lengths.append(long[row] / count[row])
        pieces.append(line.pieces[edge][row])
        owner.append(np.full(len(row), number, dtype=np.int64))
        first = np.append(True, np.diff(edge) != 1) if len(edge) else np.zeros(0, dtype=bool)
        fresh.append((turn == 0) & first[row])
        closed.append(bool(line.closed and len(show) and show[0] and show[-1]))
    if not points:
        return LineParts(
            np.zeros((0, 3)),
            np.zeros(0),
            np.zeros((0, 2), dtype=np.int64),
            np.zeros(0, dtype=np.int64),
            np.zeros(0, dtype=bool),
            (),
        )
    return LineParts(
        np.concatenate(points),
        np.concatenate(lengths),
        np.concatenate(pieces),
        np.concatenate(owner),
        np.concatenate(fresh),
        tuple(closed),
    )


def longest_run(parts: LineParts, bad: NDArray[np.bool_]) -> tuple[float, FloatArray]:
    """Longest unbroken visible stretch of parts that are bad: its length, metres, and the place of its middle, (3,).

    A run goes on over the end of a closed line. 0 and nan where nothing is bad.
    """
    best, place = 0.0, np.full(3, np.nan)
    for number, closed in enumerate(parts.closed):
        rows = np.flatnonzero(parts.line == number)
        if closed and len(rows):
            breaks = np.flatnonzero(~bad[rows] | np.append(False, parts.fresh[rows][1:]))
            # Begin at a break, so that no run goes over the end; a line that is bad all round is one run.
            if len(breaks):
                rows = np.roll(rows, -int(breaks[0]))
        use = bad[rows]
        if not use.any():
            continue
        start = np.append(True, (use[1:] != use[:-1]) | parts.fresh[rows][1:])
        if closed and len(rows):
            # Over the joint of a closed line the first part follows the last.
            seam = int(np.flatnonzero(rows == np.flatnonzero(parts.line == number)[0])[0])
            if seam > 0:
                start[seam] = use[seam] != use[seam - 1]
        run = np.cumsum(start) - 1
        length = np.bincount(run, parts.length[rows] * use)
        k = int(np.argmax(length))
        if length[k] > best:
            best = float(length[k])
            of_run = rows[run == k]
            half = np.searchsorted(np.cumsum(parts.length[of_run]), best / 2.0)
            place = parts.point[of_run[min(int(half), len(of_run) - 1)]]
    return best, place


def surface_parts(mesh: Mesh, spacing: float, kind: int = CARVED) -> tuple[FloatArray, FloatArray]:
    """Points spread over the faces of one class, and the area that each stands for.

    Triangles with a side longer than `spacing`, metres, are divided into equal ones. Of more than `_ENOUGH` triangles
    only every second, third ... is taken: their areas still tell shares, not the whole.

    Returns
    -------
    (k, 3) metres, (k,) square metres.
    """
    rows = np.flatnonzero(mesh.kind == kind)
    rows = rows[:: max(1, len(rows) // _ENOUGH)]
    area = triangle_areas(mesh)[rows]
    # Axis by axis, each corner's numbers in a row of their own: long rows are quick to go through.
    corners = np.ascontiguousarray(mesh.triangles[rows].T)
    axes = [np.take(np.ascontiguousarray(mesh.vertices[:, k]), corners) for k in range(3)]
    side = np.zeros(len(rows))
    for k in range(3):
        dx, dy, dz = (axis[k] - axis[k - 1] for axis in axes)
        np.maximum(side, np.sqrt(dx * dx + dy * dy + dz * dz), out=side)
    # A spacing that asks for more points than that is widened.
    spacing = max(spacing, float(np.sqrt((side**2).sum() / _POINTS)))
    times = np.clip(np.ceil(side / spacing), 1, _MOST).astype(np.int64)
    points, areas = [], []
    for n in np.flatnonzero(np.bincount(times)).tolist():
        use = np.flatnonzero(times == n)
        i, j = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
        upright, turned = i + j < n, i + j < n - 1
        s = np.concatenate([(i[upright] + 1 / 3) / n, (i[turned] + 2 / 3) / n])
        t = np.concatenate([(j[upright] + 1 / 3) / n, (j[turned] + 2 / 3) / n])
        spread = np.empty((len(use), n * n, 3))
        for k, axis in enumerate(axes):
            a, b, c = np.take(axis, use, axis=1)[:, :, None]
            np.add(a + s * (b - a), t * (c - a), out=spread[:, :, k])
        points.append(spread.reshape(-1, 3))
        areas.append(np.repeat(area[use] / (n * n), n * n))
    if not points:
        return np.zeros((0, 3)), np.zeros(0)
    return np.concatenate(points), np.concatenate(areas)


def dashes(line: FloatArray, long: float) -> list[FloatArray]:
    """Every other stretch of this length, metres, of a polyline (k, 3); the first and, cut short, maybe the last."""
    run = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    out = []
    for start in np.arange(0.0, max(run[-1], 1e-12), 2.0 * long).tolist():
        stop = min(start + long, float(run[-1]))
        inner = run[(run > start) & (run < stop)]
        at = np.concatenate([[start], inner, [stop]])
        out.append(np.stack([np.interp(at, run, column) for column in line.T], axis=1))
    return [part for part in out if len(part) > 1 and (part[0] != part[-1]).any()]
