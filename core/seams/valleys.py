# SPDX-License-Identifier: GPL-3.0-or-later
"""Lines along valleys, laid on their bottoms, with length and depth."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh
from .near import Segments, pairs_within, segments_of

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_WALL: Final = 2.5
"""Scales: how far to either side the walls of a valley are followed to tell its depth."""

_FLOOR: Final = 0.5
"""Scales: what lies so far to either side of the line is the bottom."""

_GAP: Final = 6.0
"""Scales: the widest break that is bridged where one line runs on in another."""

_ONWARD: Final = 0.7
"""Cosine: so straight must the bridge lie to both ends."""

_TAIL: Final = 4
"""Steps from the end of a line by which the way it points is told."""


def line_length(line: FloatArray) -> float:
    """Metres along ordered points (k, 3)."""
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def smoothed(line: FloatArray) -> FloatArray:
    """Each inner point moved to the mean of itself and the middle of its neighbours; a closed line has no ends."""
    if len(line) < 3:
        return line
    if (line[0] == line[-1]).all():
        ring = line[:-1]
        ring = (np.roll(ring, 1, axis=0) + 2.0 * ring + np.roll(ring, -1, axis=0)) / 4.0
        return np.concatenate([ring, ring[:1]])
    inner = (line[:-2] + 2.0 * line[1:-1] + line[2:]) / 4.0
    return np.concatenate([line[:1], inner, line[-1:]])


def bridged(lines: list[FloatArray], scale: float) -> list[FloatArray]:
    """Lines that run on in each other across a short break, joined; the order of the rest stays."""
    for _ in range(4):
        pair = _best_bridge(lines, scale)
        if not pair:
            break
        used = {i for i, _, _ in pair.values()} | set(pair)
        joined = []
        for i, (j, i_turn, j_turn) in pair.items():
            one = lines[i][::-1] if i_turn else lines[i]
            two = lines[j][::-1] if j_turn else lines[j]
            joined.append(np.concatenate([one, two]))
        lines = [line for k, line in enumerate(lines) if k not in used] + joined
    return lines


def _best_bridge(lines: list[FloatArray], scale: float) -> dict[int, tuple[int, bool, bool]]:
    """For some lines the one that goes on from them, and which of the two must be turned; each line once."""
    open_ = [i for i, line in enumerate(lines) if not (line[0] == line[-1]).all()]
    if not open_:
        return {}
    ends = np.array([lines[i][k] for i in open_ for k in (0, -1)])
    tail = [min(_TAIL, len(lines[i]) - 1) for i in open_]
    tails = np.array([lines[i][k] for i, t in zip(open_, tail, strict=True) for k in (t, -1 - t)])
    out = ends - tails
    out /= np.maximum(np.linalg.norm(out, axis=1), 1e-300)[:, None]
    one, two, apart = pairs_within(ends, _GAP * scale)
    use = one // 2 < two // 2
    one, two, apart = one[use], two[use], np.maximum(apart[use], 1e-12)
    way = (ends[two] - ends[one]) / apart[:, None]
    # Ends that all but touch have no way between them: then the lines themselves must go straight on.
    touch = apart < scale
    ahead = np.where(touch, -(out[one] * out[two]).sum(axis=1), (out[one] * way).sum(axis=1))
    behind = np.where(touch, ahead, -(out[two] * way).sum(axis=1))
    rows = np.flatnonzero((ahead > _ONWARD) & (behind > _ONWARD))
    taken: set[int] = set()
    found: dict[int, tuple[int, bool, bool]] = {}
    for r in rows[np.argsort(apart[rows], kind="stable")].tolist():
        i, j = open_[one[r] // 2], open_[two[r] // 2]
        if i in taken or j in taken:
            continue
        taken |= {i, j}
        found[i] = (j, one[r] % 2 == 0, two[r] % 2 == 1)
    return found


class Around:
    """The surface beside some lines, seen in cross-section.

    Parameters
    ----------
    mesh : metres.
    lines : ordered points (k, 3).
    scale : metres.
    """

    def __init__(self, mesh: Mesh, lines: list[FloatArray], scale: float) -> None:
        self.lines = lines
        self.scale = scale
        starts, ends = segments_of(lines)
        count = len(starts)
        away, owner = Segments(starts, ends, _WALL * scale).nearest(mesh.vertices)
        self.rows = np.flatnonzero(owner >= 0)
        self.away, self.owner = away[self.rows], owner[self.rows]
        way = ends - starts
        self.way = way / np.maximum(np.linalg.norm(way, axis=1), 1e-300)[:, None]
        triangle = np.flatnonzero(owner[mesh.triangles[:, 0]] >= 0)
        corner = mesh.vertices[mesh.triangles[triangle]]
        square = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
        at = owner[mesh.triangles[triangle, 0]]
        sums: FloatArray = np.stack([np.bincount(at, column, minlength=count) for column in square.T], axis=1)
        out = self._eased(sums)
        out -= self.way * (out * self.way).sum(axis=1)[:, None]
        self.out = out / np.maximum(np.linalg.norm(out, axis=1), 1e-300)[:, None]
        to = mesh.vertices[self.rows] - starts[self.owner]
        self.height = (to * self.out[self.owner]).sum(axis=1)
        self.side = (to * np.cross(self.out, self.way)[self.owner]).sum(axis=1)

    def _eased(self, values: FloatArray) -> FloatArray:
        """Sums over five neighbouring segments of the same line; values (n, d)."""
        done = np.empty_like(values)
        first = 0
        for line in self.lines:
            part = values[first : first + len(line) - 1]
            total = np.cumsum(np.concatenate([np.zeros((1, part.shape[1])), part]), axis=0)
            low = np.maximum(np.arange(len(part)) - 2, 0)
            high = np.minimum(np.arange(len(part)) + 3, len(part))
            done[first : first + len(part)] = total[high] - total[low]
            first += len(line) - 1
        return done

    def _least(self, rows: NDArray[np.bool_], values: FloatArray) -> FloatArray:
        """Least value at each segment, inf where there is none."""
        least = np.full(len(self.way), np.inf)
        np.minimum.at(least, self.owner[rows], values[rows])
        return least

    def laid(self) -> tuple[list[FloatArray], FloatArray]:
        """The lines laid on the bottom, and the depth of each, metres.

        The depth is what a ruler laid across would show: from the bottom up to the lower of the two walls' highest
        places within two and a half scales; the middle value along the line.
        """
        bottom = self._least(np.abs(self.side) <= _FLOOR * self.scale, self.height)
        left = -self._least(self.side < 0.0, -self.height)
        right = -self._least(self.side > 0.0, -self.height)
        lines, depths = [], []
        first = 0
        for line in self.lines:
            part = slice(first, first + len(line) - 1)
            first += len(line) - 1
            known = np.isfinite(bottom[part]) & np.isfinite(left[part]) & np.isfinite(right[part])
            if not known.any():
                lines.append(line)
                depths.append(0.0)
                continue
            at = np.flatnonzero(known)
            depth = np.minimum(left[part][at], right[part][at]) - bottom[part][at]
            depths.append(float(np.median(depth)))
            drop = np.interp(np.arange(len(line)), at, bottom[part][at])
            out = np.concatenate([self.out[part], self.out[part][-1:]])
            moved = line + out * drop[:, None]
            if (line[0] == line[-1]).all():
                moved[-1] = moved[0]
            lines.append(smoothed(moved))
        return lines, np.array(depths)
