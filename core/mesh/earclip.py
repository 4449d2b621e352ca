# SPDX-License-Identifier: GPL-3.0-or-later
"""Close loops ear by ear: the slow way that always ends, for outlines that rounding has spoilt."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


def clip_loops(xy: FloatArray, edges: IntArray) -> IntArray:
    """Triangles whose border is exactly `edges`, as flat as the outline allows.

    Parameters
    ----------
    xy : (n, 2) float64.
    edges : (k, 2) int64, directed, region on the left, as many in as out of every vertex.

    Returns
    -------
    (t, 3) int64. The border is always right; a triangle may be turned over where the outline crosses itself.
    """
    loops = _walk(edges, xy)
    areas = [_area(xy, loop) for loop in loops]
    outers = [i for i in range(len(loops)) if areas[i] > 0.0] or [int(np.argmax(areas))]
    rings = {i: list(loops[i]) for i in outers}
    holes = sorted((i for i in range(len(loops)) if i not in rings), key=lambda i: -float(xy[loops[i], 0].max()))
    for i in holes:
        # A hole goes to the smallest outer loop that contains it, tied on by the shortest bridge.
        inside = [o for o in outers if _contains(xy, loops[o], xy[loops[i][0]])] or outers
        _bridge(xy, rings[min(inside, key=lambda o: abs(areas[o]))], loops[i])
    rows = [row for i in outers for row in _clip(xy, rings[i])]
    return np.array(rows, dtype=np.int64).reshape(-1, 3)


def _walk(edges: IntArray, xy: FloatArray) -> list[list[int]]:
    """Loops that visit no vertex twice; at a vertex with several ways on, the sharpest left turn is taken."""
    out: dict[int, list[int]] = {}
    for a, b in edges.tolist():
        out.setdefault(a, []).append(b)
    loops: list[list[int]] = []
    for first in sorted(out):
        while out[first]:
            path, place, at = [first], {first: 0}, first
            while True:
                ways = out[at]
                if len(ways) > 1 and len(path) > 1:
                    back = xy[path[-2]] - xy[at]
                    on = xy[ways] - xy[at]
                    angle = np.arctan2(back[0] * on[:, 1] - back[1] * on[:, 0], on @ back) % (2.0 * np.pi)
                    angle[angle == 0.0] = 2.0 * np.pi
                    at = ways.pop(int(np.argmax(angle)))
                else:
                    at = ways.pop(0)
                if at in place:
                    cut = place[at]
                    loops.append(path[cut:])
                    for v in path[cut + 1 :]:
                        del place[v]
                    path = path[: cut + 1]
                    if len(path) == 1 and not out[at]:
                        break
                    if len(path) == 1:
                        continue
                else:
                    place[at] = len(path)
                    path.append(at)
    return loops


def _area(xy: FloatArray, loop: list[int]) -> float:
    p = xy[loop] - xy[loop[0]]
    q = np.roll(p, -1, axis=0)
    return float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum()) / 2.0


def _contains(xy: FloatArray, loop: list[int], point: FloatArray) -> bool:
    p = xy[loop]
    q = np.roll(p, -1, axis=0)
    cross = (p[:, 1] > point[1]) != (q[:, 1] > point[1])
    p, q = p[cross], q[cross]
    at = p[:, 0] + (point[1] - p[:, 1]) / (q[:, 1] - p[:, 1]) * (q[:, 0] - p[:, 0])
    return bool((at > point[0]).sum() % 2)


def _bridge(xy: FloatArray, ring: list[int], hole: list[int]) -> None:
    apart = ((xy[ring][:, None, :] - xy[hole][None, :, :]) ** 2).sum(axis=2)
    i, j = divmod(int(np.argmin(apart)), len(hole))
    # A hole that shares the vertex needs no bridge: a side of no length would hide the corner there.
    around = [*hole[j + 1 :], *hole[: j + 1]]
    ring[i + 1 : i + 1] = around if ring[i] == hole[j] else [hole[j], *around, ring[i]]


def _clip(xy: FloatArray, ring: list[int]) -> list[tuple[int, int, int]]:
    rows: list[tuple[int, int, int]] = []
    ring = list(ring)
    while len(ring) > 3:
        p = xy[ring]
        before, after = np.roll(p, 1, axis=0), np.roll(p, -1, axis=0)
        turn = _cross(p - before, after - p)
        best = spare = -1
        for i in np.argsort(-turn, kind="stable").tolist():
            if turn[i] <= 0.0:
                break
            a, b, c = before[i], p[i], after[i]
            apart = (p != a).any(axis=1) & (p != b).any(axis=1) & (p != c).any(axis=1)
            sides = np.minimum(np.minimum(_cross(b - a, p - a), _cross(c - b, p - b)), _cross(a - c, p - c))
            if not (apart & (sides >= 0.0)).any():
                best = i
                break
            if spare < 0 and not (apart & (sides > 0.0)).any():
                spare = i
        if best < 0:
            best = spare if spare >= 0 else int(np.argmin(np.abs(turn)))
        rows.append((ring[best - 1], ring[best], ring[(best + 1) % len(ring)]))
        del ring[best]
    if len(ring) == 3:
        rows.append((ring[0], ring[1], ring[2]))
    # A bridge is walked there and back; what closes on itself there has no border and goes.
    return [row for row in rows if len(set(row)) == 3]


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    out: FloatArray = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return out
