# SPDX-License-Identifier: GPL-3.0-or-later
"""Triangulate flat regions bounded by directed edges: holes, islands and loops that touch, no new vertices.

The region is cut into trapezoids by a vertical through every vertex; each trapezoid with the vertices at its left and
right end gives a link, and the links under (or over) one boundary edge form a chain that is monotone in x. Such a
chain with its edge is a polygon in which every convex corner can be cut off, so one pass with a stack finishes it.
(Trapezoids after Seidel 1991, "A simple and fast incremental randomized algorithm for computing trapezoidal
decompositions and for triangulating polygons"; here they are found for all vertices at once by sorting.)

Everything is checked before it is handed back: the triangles' border is the given edges and no triangle is turned
over. Where rounding defeats a sweep, other directions are tried; what still fails is closed ear by ear.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from .earclip import clip_loops
from .foldback import clip_folds
from .runs import runs
from .topology import joined

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Sweeps that are tried in turn: direction against the longer side, radians, and how far vertices are moved for it, as a
# share of the extent: out of the region (positive), into it (negative). The directions are small, so that long shapes
# are crossed the short way, and odd, so that no two vertices of a regular shape lie on one vertical. Moving parts
# stretches of outline that touch: outwards where the region is pinched, inwards where it touches itself from outside.
_SWEEPS: Final = (
    (0.0573, 0.0),
    (-0.3191, 0.0),
    (0.0573, 1e-12),
    (0.0573, -1e-12),
    (0.7713, 1e-10),
    (0.7713, -1e-10),
    (1.4307, 0.0),
)
_FOLD: Final = 1e-14
"""How far, as a share of the extent, a corner may lie off the line on which the outline runs back: what rounding does
to places on one line, and what a triangle may be turned over by."""

_FEW: Final = 256
"""Most edges round the thin holes of one region."""

_LONG: Final = 1024
"""Most edges of a region that is closed ear by ear as a whole: the time for that grows with their square."""


def triangulate_loops(points: FloatArray, edges: IntArray, layer: IntArray | None = None) -> IntArray:
    """Triangles of the region to the left of the edges.

    Parameters
    ----------
    points : (n, 2) float64.
    edges : (k, 2) int64, directed, the region on their left; as many begin as end in every vertex. An edge given both
        ways is a slit: no triangle reaches across it.
    layer : (k,) int64, edges of different layers do not see each other; one layer when left out.

    Returns
    -------
    (t, 3) int64, counter-clockwise, vertices of `edges` only; layer by layer, in rising order.

    Raises
    ------
    MeshError
        The edges do not form closed loops.
    """
    return triangulate_layers(points, edges, layer)[0]


def triangulate_layers(points: FloatArray, edges: IntArray, layer: IntArray | None = None) -> tuple[IntArray, IntArray]:
    """As `triangulate_loops`, with the layer of each triangle, (t,) int64, beside them."""
    edges = np.asarray(edges, dtype=np.int64)
    layer = np.zeros(len(edges), dtype=np.int64) if layer is None else np.asarray(layer, dtype=np.int64)
    if len(edges) == 0:
        return np.zeros((0, 3), dtype=np.int64), np.zeros(0, dtype=np.int64)
    # One node for each vertex and layer, in order of layer; from here on only nodes are used.
    names, group = np.unique(layer, return_inverse=True)
    n = len(points)
    node, flat = np.unique(group.reshape(-1, 1) * n + edges, return_inverse=True)
    pairs = flat.reshape(-1, 2).astype(np.int64)
    vertex, node_group = node % n, node // n
    if not np.array_equal(np.bincount(pairs[:, 0], minlength=len(node)), np.bincount(pairs[:, 1], minlength=len(node))):
        loose = np.bincount(pairs[:, 0], minlength=len(node)) - np.bincount(pairs[:, 1], minlength=len(node))
        at = int(vertex[np.flatnonzero(loose)[0]])
        raise MeshError(f"the outline is not closed at point {at} ({points[at].tolist()}); close it first")
    xy = points[vertex]
    xy = xy - (xy.min(axis=0) + xy.max(axis=0)) / 2.0
    folded, pairs, keep = clip_folds(xy, pairs, _FOLD * float(np.abs(xy).max()))
    pairs, group = pairs[keep], group.reshape(-1)[keep]
    out: list[IntArray] = [folded]
    owner: list[IntArray] = [node_group[folded[:, 0]]]
    todo = np.ones(len(names), dtype=bool)
    slit = _slits(pairs, len(node))
    # First across the longer side, then along it; then without the slits. At last a triangle may be turned over by
    # what coordinates far from the origin are rounded by.
    quarter = 0.0 if float(np.ptp(xy[:, 0])) >= float(np.ptp(xy[:, 1])) else np.pi / 2.0
    sweeps = [
        (turn + quarter + more, share, closed, slack)
        for slack in (1e-14, 1e-11)
        for closed in ((False, True) if slit.any() else (False,))
        for more in (0.0, np.pi / 2.0)
        for turn, share in _SWEEPS
    ]
    long = np.bincount(group, minlength=len(names)) > _LONG
    for number, (turn, share, closed, slack) in enumerate(sweeps):
        # What is long and got right by none of the first sweeps crosses itself, as a rule: it is patched.
        trying = todo if number < len(_SWEEPS) else todo & ~long
        if not trying.any():
            break
        use = trying[group] & ~(slit & closed)
        c, s = np.cos(turn), np.sin(turn)
        moved = xy if share == 0.0 else _pushed(xy, pairs[use], share)
        turned = np.stack([c * moved[:, 0] + s * moved[:, 1], c * moved[:, 1] - s * moved[:, 0]], axis=1)
        triangles = _sweep(turned, pairs[use], node_group)
        wrong = np.zeros(len(names), dtype=bool)
        wrong[node_group[triangles[_turned(xy, triangles, slack), 0]]] = True
        left = _leftover(pairs[use], triangles, len(node))
        for g in np.unique(node_group[left[:, 0]]).tolist():
            # Vertices nearer together than the arithmetic can order leave a few thin holes: they are closed one by one.
            rim = left[node_group[left[:, 0]] == g]
            patch = clip_loops(xy, rim) if len(rim) <= _FEW and trying[g] and not wrong[g] else None
            if patch is None or _turned(xy, patch, 1e-11, 1e-15).any():
                wrong[g] = True
            else:
                triangles = np.concatenate([triangles, patch])
        keep = (trying & ~wrong)[node_group[triangles[:, 0]]]
        out.append(triangles[keep])
        owner.append(node_group[triangles[keep, 0]])
        todo &= wrong | ~trying
    for g in np.flatnonzero(todo):
        rim = pairs[(group == g) & ~slit]
        triangles = _patched(xy, rim, node_group)
        if len(rim) <= _LONG:
            # Where the outline crosses itself something is turned over; a way that reaches far for it turns over more.
            triangles = min(triangles, clip_loops(xy, rim), key=lambda rows: _overlap(xy, rows))
        out.append(triangles)
        owner.append(np.full(len(triangles), g, dtype=np.int64))
    triangles, owners = np.concatenate(out), np.concatenate(owner)
    order = np.argsort(owners, kind="stable")
    return vertex[triangles[order]], names[owners[order]].astype(np.int64)


def _overlap(xy: FloatArray, triangles: IntArray) -> float:
    """Twice the area that is turned over."""
    p = xy[triangles]
    d, e = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    return float(np.maximum(d[:, 1] * e[:, 0] - d[:, 0] * e[:, 1], 0.0).sum())


def _patched(xy: FloatArray, edges: IntArray, group: IntArray) -> IntArray:
    """Triangles of one long outline that no sweep gets right: of the best sweep what is right, the rest ear by ear.

    An outline that crosses itself is such; only there triangles are turned over.
    """
    best: tuple[IntArray, IntArray] | None = None
    for turn, _ in _SWEEPS:
        c, s = np.cos(turn), np.sin(turn)
        found = _sweep(np.stack([c * xy[:, 0] + s * xy[:, 1], c * xy[:, 1] - s * xy[:, 0]], axis=1), edges, group)
        found = found[~_turned(xy, found, 0.0)]
        left = _leftover(edges, found, len(xy))
        if best is None or len(left) < len(best[1]):
            best = found, left
    triangles, left = best if best is not None else (np.zeros((0, 3), dtype=np.int64), edges)
    # Each spot for itself: loops that have no vertex in common with others.
    used, local = np.unique(left, return_inverse=True)
    local = local.reshape(-1, 2)
    spot = joined(len(used), local[:, 0], local[:, 1])[local[:, 0]]
    order = np.argsort(spot, kind="stable")
    ends = np.flatnonzero(np.diff(spot[order])) + 1
    return np.concatenate([triangles, *(clip_loops(xy, left[rows]) for rows in np.split(order, ends) if len(rows))])


def _slits(edges: IntArray, count: int) -> NDArray[np.bool_]:
    """Which edges are there both ways; of an edge that is there more often one way, as many as there are back."""
    there, back = edges[:, 0] * count + edges[:, 1], edges[:, 1] * count + edges[:, 0]
    order = np.argsort(there, kind="stable")
    ordered = there[order]
    turn = np.empty(len(edges), dtype=np.int64)
    turn[order] = np.arange(len(edges)) - np.searchsorted(ordered, ordered, side="left")
    backs = np.searchsorted(ordered, back, side="right") - np.searchsorted(ordered, back, side="left")
    slit: NDArray[np.bool_] = turn < backs
    return slit


def _pushed(xy: FloatArray, edges: IntArray, share: float) -> FloatArray:
    """Nodes moved out of the region by a share of its extent."""
    along = xy[edges[:, 1]] - xy[edges[:, 0]]
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-300)[:, None]
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1)
    move = np.zeros_like(xy)
    np.add.at(move, edges[:, 0], outward)
    np.add.at(move, edges[:, 1], outward)
    return xy + move * (share * float(np.ptp(xy, axis=0).max(initial=0.0)))


def _sweep(xy: FloatArray, edges: IntArray, group: IntArray) -> IntArray:
    """Triangles by trapezoids; nodes of a lower group lie left of all nodes of a higher one."""
    order = np.lexsort((xy[:, 1], xy[:, 0], group))
    rank = np.empty(len(xy), dtype=np.int64)
    rank[order] = np.arange(len(xy))
    x, y = xy[order, 0], xy[order, 1]
    ends = rank[edges]
    # An edge that runs to the right has the region above it.
    under = ends[:, 0] < ends[:, 1]
    left, right = ends.min(axis=1), ends.max(axis=1)
    span = right - left
    edge, slab = runs(span)
    slab += left[edge]
    width = x[right] - x[left]
    width[width <= 0.0] = 1.0
    middle = (x[slab] + x[slab + 1]) / 2.0
    share = np.clip((middle - x[left[edge]]) / width[edge], 0.0, 1.0)
    height = y[left[edge]] + share * (y[right] - y[left])[edge]
    # The two ways of a slit lie at the same height: what is under it ends before what is over it begins.
    rows = np.lexsort((under[edge], height, slab))
    # In every slab the edges alternate: floor, roof, floor, roof ...; floors that find no roof are left out here and
    # show in the proof.
    sorted_edge, sorted_slab = edge[rows], slab[rows]
    floor = under[sorted_edge]
    pair = np.flatnonzero(floor[:-1] & ~floor[1:] & (sorted_slab[:-1] == sorted_slab[1:]))
    roof_of = np.full(len(edge), -1, dtype=np.int64)
    roof_of[rows[pair]] = sorted_edge[pair + 1]
    cell = np.flatnonzero(roof_of >= 0)
    if len(cell) == 0:
        return np.zeros((0, 3), dtype=np.int64)
    bottom, top, at = edge[cell], roof_of[cell], slab[cell]
    new = np.ones(len(cell), dtype=bool)
    new[1:] = (bottom[1:] != bottom[:-1]) | (top[1:] != top[:-1]) | (at[1:] != at[:-1] + 1)
    start = np.flatnonzero(new)
    last = np.append(start[1:], len(cell)) - 1
    bottom, top, a, b = bottom[start], top[start], at[start], at[last] + 1
    roof = _chains(x, y, top, a, b, (a == left[top]) & (b == right[top]), 1.0)
    base = _chains(x, y, bottom, a, b, (a == left[bottom]) & (b == right[bottom]), -1.0)
    out: IntArray = order[np.concatenate([roof, base])]
    return out


def _chains(
    x: FloatArray, y: FloatArray, edge: IntArray, a: IntArray, b: IntArray, same: NDArray[np.bool_], side: float
) -> IntArray:
    """Triangles between each edge and its chain of links a -> b; `side` is 1 where the chain hangs below."""
    use = np.flatnonzero(~same)
    use = use[np.lexsort((a[use], edge[use]))]
    if len(use) == 0:
        return np.zeros((0, 3), dtype=np.int64)
    edge, a, b = edge[use], a[use], b[use]
    start = np.flatnonzero(np.append(True, edge[1:] != edge[:-1]))
    links = np.diff(np.append(start, len(edge)))
    short = start[links == 2]
    out = np.stack([a[short], b[short], b[short + 1]], axis=1)
    if side < 0.0:
        out = out[:, ::-1]
    long_rows: list[int] = []
    # A corner that is straight but for rounding is not cut off: the next one makes a better triangle with it.
    straight = 1e-15 * (float(np.ptp(x)) + float(np.ptp(y))) ** 2
    xs, ys, al, bl = x.tolist(), y.tolist(), a.tolist(), b.tolist()
    for begin, count in zip(start[links > 2].tolist(), links[links > 2].tolist(), strict=True):
        p = al[begin]
        stack = [p]
        for q in bl[begin : begin + count]:
            qx, qy = xs[q], ys[q]
            while len(stack) > 1:
                p, o = stack[-1], stack[-2]
                ox, oy = xs[o], ys[o]
                if ((xs[p] - ox) * (qy - oy) - (ys[p] - oy) * (qx - ox)) * side <= straight:
                    break
                long_rows += (o, p, q)
                stack.pop()
            stack.append(q)
        q = stack.pop()
        while len(stack) > 1:  # only corners that rounding calls straight are left
            p = stack.pop()
            long_rows += (stack[-1], p, q)
    rest = np.array(long_rows, dtype=np.int64).reshape(-1, 3)
    if side < 0.0:
        rest = rest[:, ::-1]
    return np.concatenate([out, rest])


def _leftover(edges: IntArray, triangles: IntArray, count: int) -> IntArray:
    """Directed edges, (k, 2), that the border of the triangles lacks; none where they are right."""
    sides = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]], edges[:, ::-1]])
    if len(sides) == 0:
        return edges
    forward = sides[:, 0] < sides[:, 1]
    key = np.where(forward, sides[:, 0] * count + sides[:, 1], sides[:, 1] * count + sides[:, 0])
    rows = np.argsort(key, kind="stable")
    ordered = key[rows]
    start = np.flatnonzero(np.append(True, ordered[1:] != ordered[:-1]))
    balance = np.add.reduceat(np.where(forward[rows], 1, -1), start)
    off = balance != 0
    low, high = ordered[start[off]] // count, ordered[start[off]] % count
    way = np.where((balance[off] < 0)[:, None], np.stack([low, high], axis=1), np.stack([high, low], axis=1))
    return np.repeat(way, np.abs(balance[off]), axis=0)


def _turned(xy: FloatArray, triangles: IntArray, share: float, area_share: float = 0.0) -> NDArray[np.bool_]:
    """Which triangles are turned over by more than a height and an area that are these shares of the extent."""
    p = xy[triangles]
    d, e = p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]
    area = d[:, 0] * e[:, 1] - d[:, 1] * e[:, 0]
    extent = float(np.abs(xy).max(initial=1e-300))
    slack = share * (np.abs(d).sum(axis=1) + np.abs(e).sum(axis=1)) * extent + area_share * extent**2
    turned: NDArray[np.bool_] = area < -slack
    return turned
