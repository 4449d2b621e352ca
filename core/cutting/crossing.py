# SPDX-License-Identifier: GPL-3.0-or-later
"""One sheet through the triangles near it: split them, say which side each lies on, close what was opened."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..errors import CutError, MeshError
from ..mesh.mesh import JOINT
from ..mesh.triangulate import triangulate_layers
from .cells import Tail
from .kinks import split_at_kinks
from .sheet import ABOVE, BELOW, ON, PlaneSheet, ProfileSheet, Sheet
from .splitting import edge_keys, points_on_edges, split_edges

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
CodeArray = NDArray[np.uint8]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Patch:
    """Triangles near a few sheets, with vertices of their own.

    Attributes
    ----------
    points : (k, 3) metres.
    rows : triangles by the patch's vertices; `below` and `above` hold keys: region and sides so far.
    live_below, live_above : whether the body on that side is being cut.
    """

    points: FloatArray
    rows: Tail
    live_below: BoolArray
    live_above: BoolArray

    def of(self, triangles: IntArray, source: IntArray, points: FloatArray) -> Patch:
        """Other triangles, each with everything else of the row that it comes from."""
        return Patch(points, self.rows.of(triangles, source), self.live_below[source], self.live_above[source])


def cross(patch: Patch, sheet: Sheet, bit: int, joint: int) -> tuple[Patch, int]:
    """The patch after one sheet, and the number of joint triangles made.

    Keys of live bodies above the sheet gain `bit`; the joint's triangles stand between key and key + bit. A sheet that
    makes none leaves every triangle whole.
    """
    given = patch
    patch = replace(patch, rows=replace(patch.rows, source=np.arange(len(patch.rows), dtype=np.int64)))
    if isinstance(sheet, ProfileSheet):
        split, source, points, u, w, place = split_at_kinks(
            patch.rows.triangles, patch.live_below | patch.live_above, patch.points, sheet
        )
        patch = patch.of(split, source, points)
        code = sheet.codes_at(u, w, place)
    else:
        place = np.zeros(len(patch.points), dtype=np.int64)
        u = w = sheet.distance(*patch.points.T)
        code = sheet.codes(*patch.points.T)
    patch, code, place = _split_across(patch, sheet, code, place, u, w)
    trail = patch.rows.source
    patch = replace(patch, rows=replace(patch.rows, source=given.rows.source[trail]))
    behind, before = _upper_sides(patch, sheet, code, place)
    outline, key = _outline(patch, code, behind, before)
    cap, cap_key = _close(patch.points, sheet, outline, key, place, joint)
    if len(cap) == 0 and len(trail) > len(given.rows):
        one, two = (_of_whole(side, trail, len(given.rows)) for side in (behind, before))
        if one is not None and two is not None:
            patch, behind, before = given, one, two
    rows = patch.rows
    below_key = np.where(patch.live_below & behind, rows.below + bit, rows.below)
    above_key = np.where(patch.live_above & before, rows.above + bit, rows.above)
    made = Tail(
        cap,
        cap_key,
        cap_key + bit,
        np.full(len(cap), JOINT, dtype=np.uint8),
        np.full(len(cap), joint, dtype=np.int64),
        np.ones(len(cap), dtype=np.uint8),
    )
    new = np.ones(len(cap), dtype=bool)
    return Patch(
        patch.points,
        rows.with_regions(below_key, above_key).joined(made),
        np.concatenate([patch.live_below, new]),
        np.concatenate([patch.live_above, new]),
    ), len(cap)


def _of_whole(side: BoolArray, trail: IntArray, count: int) -> BoolArray | None:
    """Side of each triangle from the sides of its parts, or None where those of one differ."""
    parts, upper = np.bincount(trail, minlength=count), np.bincount(trail[side], minlength=count)
    out: BoolArray = upper == parts
    return None if ((upper > 0) & ~out).any() else out


def _live_edges(patch: Patch, use: BoolArray) -> tuple[IntArray, IntArray]:
    """Edges of the given rows, lower vertex first, each once."""
    t = patch.rows.triangles[use]
    n = len(patch.points)
    keys = np.unique(edge_keys(t, np.roll(t, -1, axis=1), n))
    return keys // n, keys % n


def _insert(patch: Patch, low: IntArray, high: IntArray, share: FloatArray) -> Patch:
    """A vertex on each edge, at a share of the way from its lower to its higher vertex."""
    points = np.concatenate([patch.points, points_on_edges(patch.points, low, high, share)])
    keys = edge_keys(low, high, len(points))
    order = np.argsort(keys)
    ids = len(patch.points) + np.arange(len(low), dtype=np.int64)
    triangles, source = split_edges(patch.rows.triangles, keys[order], ids[order], len(points), points.__getitem__)
    return patch.of(triangles, source, points)


def _strip(a: IntArray, b: IntArray) -> IntArray:
    """Strip in which an edge between two places lies."""
    return (a + b + 1) // 4


def _split_across(
    patch: Patch, sheet: Sheet, code: CodeArray, place: IntArray, u: FloatArray, w: FloatArray
) -> tuple[Patch, CodeArray, IntArray]:
    corners = code[patch.rows.triangles]
    mixed = (corners == ABOVE).any(axis=1) & (corners == BELOW).any(axis=1)
    mixed &= patch.live_below | patch.live_above
    low, high = _live_edges(patch, mixed)
    across = (code[low] | code[high] == ON) & (code[low] != ON) & (code[high] != ON)
    low, high = low[across], high[across]
    if len(low) == 0:
        return patch, code, place
    if isinstance(sheet, PlaneSheet):
        start, stop = u[low], u[high]
        at = np.zeros(len(low), dtype=np.int64)
    else:
        strip = _strip(place[low], place[high])
        start, stop = sheet.strip_distance(u[low], w[low], strip), sheet.strip_distance(u[high], w[high], strip)
        on_kink = np.flatnonzero((place[low] == place[high]) & (place[low] % 2 == 1))
        level = sheet.knots[place[low[on_kink]] // 2 + 1, 1]
        start[on_kink], stop[on_kink] = w[low[on_kink]] - level, w[high[on_kink]] - level
        at = np.where(place[low] == place[high], place[low], 2 * strip)
    run = start - stop
    share = np.clip(np.divide(start, run, out=np.full(len(run), 0.5), where=run != 0.0), 0.0, 1.0)
    patch = _insert(patch, low, high, share)
    made = np.full(len(low), ON, dtype=np.uint8)
    return patch, np.concatenate([code, made]), np.concatenate([place, at])


def _upper_sides(patch: Patch, sheet: Sheet, code: CodeArray, place: IntArray) -> tuple[BoolArray, BoolArray]:
    """For each row, whether the body behind it and the body before it lie above the sheet.

    Off the sheet both lie on the row's side. A row in the sheet has its two bodies on different sides.
    """
    t = patch.rows.triangles
    corners = code[t]
    behind = (corners == ABOVE).any(axis=1)
    before = behind.copy()
    flat = np.flatnonzero((corners == ON).all(axis=1))
    if len(flat):
        spread = place[t[flat]]
        strip = np.repeat(_strip(spread.min(axis=1), spread.max(axis=1)), 3)
        chart = _chart(sheet, patch.points[t[flat]].reshape(-1, 3), strip).reshape(-1, 3, 2)
        a, b = chart[:, 1] - chart[:, 0], chart[:, 2] - chart[:, 0]
        twice = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
        behind[flat], before[flat] = twice <= 0.0, twice > 0.0
        longest = np.maximum(np.abs(a).max(axis=1), np.abs(b).max(axis=1))
        _side_with_neighbours(patch, code, flat[np.abs(twice) <= 2.0 * sheet.slack * longest], behind, before)
    return behind, before


def _side_with_neighbours(patch: Patch, code: CodeArray, thin: IntArray, behind: BoolArray, before: BoolArray) -> None:
    """Put triangles without height, which lie in any sheet along them, on the side of what they hang on to.

    Taken as faces of the sheet they would be parted from their body, with no foam between.
    """
    if len(thin) == 0:
        return
    rows, n = patch.rows, len(patch.points)
    t = rows.triangles
    touching = np.flatnonzero((code[t] == ON).sum(axis=1) == 2)
    keys = edge_keys(t[touching], np.roll(t[touching], -1, axis=1), n)
    for body, side in ((rows.below, behind), (rows.above, before)):
        own = edge_keys(t[thin], np.roll(t[thin], -1, axis=1), n)
        for near_body, near_side in ((rows.below, behind), (rows.above, before)):
            bodies, sides = np.repeat(near_body[touching], 3).tolist(), np.repeat(near_side[touching], 3).tolist()
            found = dict(zip(zip(keys.reshape(-1).tolist(), bodies, strict=True), sides, strict=True))
            for i, row in enumerate(thin.tolist()):
                for key in own[i].tolist():
                    if (key, int(body[row])) in found:
                        side[row] = found[key, int(body[row])]


def _chart(sheet: Sheet, points: FloatArray, strip: IntArray) -> FloatArray:
    return sheet.chart(points) if isinstance(sheet, PlaneSheet) else sheet.chart(points, strip)


def _outline(patch: Patch, code: CodeArray, behind: BoolArray, before: BoolArray) -> tuple[IntArray, IntArray]:
    """Directed edges in the sheet that bound what lies above it, body by body, and the body's key for each.

    Seen from above the sheet, the joint's face lies to their left.
    """
    t = patch.rows.triangles
    on = (code[t] == ON).sum(axis=1)
    edge, key, net = _edges_of_bodies(patch, code, np.flatnonzero(on >= 2), behind, before)
    times = np.abs(net)
    way = np.where((net > 0)[:, None], edge, edge[:, ::-1])
    out, keys = [np.repeat(way, times, axis=0)], [np.repeat(key, times)]
    # Where a crevice comes down to the sheet, or up to it, in a line, the foam beside it hangs together in that line
    # alone. The joint's face gets a slit there, so that the bodies can be told apart.
    edges_alone = np.flatnonzero(on == 2)
    for above in (True, False):
        sides = (behind, before) if above else (~behind, ~before)
        edge, key, net = _edges_of_bodies(patch, code, edges_alone, *sides)
        out += [edge[net == 0], edge[net == 0][:, ::-1]]
        keys += [key[net == 0]] * 2
    edges, owners = np.concatenate(out), np.concatenate(keys)
    if len(edges) == len(out[0]):
        return edges, owners
    _, first = np.unique(np.column_stack([edges[len(out[0]) :], owners[len(out[0]) :]]), axis=0, return_index=True)
    keep = np.concatenate([np.arange(len(out[0])), len(out[0]) + np.sort(first)])
    return edges[keep], owners[keep]


def _edges_of_bodies(
    patch: Patch, code: CodeArray, rows: IntArray, behind: BoolArray, before: BoolArray
) -> tuple[IntArray, IntArray, IntArray]:
    """Edges in the sheet of the bodies that the given rows bound on one side of it.

    Returns
    -------
    (k, 2) edges, lower vertex first; (k,) the body's key; (k,) how many more triangles run the edge that way than back.
    """
    t, n = patch.rows.triangles, len(patch.points)
    below = rows[patch.live_below[rows] & behind[rows]]
    above = rows[patch.live_above[rows] & before[rows]]
    corners = np.concatenate([t[below], t[above][:, ::-1]])
    key = np.repeat(np.concatenate([patch.rows.below[below], patch.rows.above[above]]), 3)
    edge = np.stack([corners, np.roll(corners, -1, axis=1)], axis=2).reshape(-1, 2)
    inside = (code[edge] == ON).all(axis=1)
    edge, key = edge[inside], key[inside]
    if len(edge) == 0:
        return edge, key, key
    names, group = np.unique(key, return_inverse=True)
    label = group.reshape(-1) * (n * n) + edge_keys(edge[:, 0], edge[:, 1], n)
    order = np.argsort(label, kind="stable")
    label = label[order]
    start = np.flatnonzero(np.append(True, label[1:] != label[:-1]))
    net = np.add.reduceat(np.where(edge[order, 0] < edge[order, 1], 1, -1), start)
    label = label[start]
    return np.stack([label % (n * n) // n, label % n], axis=1), names[label // (n * n)], net


def _close(
    points: FloatArray, sheet: Sheet, edge: IntArray, key: IntArray, place: IntArray, joint: int
) -> tuple[IntArray, IntArray]:
    """Triangles of the joint's face, seen from above, and the key of the body that each closes."""
    if len(edge) == 0:
        return np.zeros((0, 3), dtype=np.int64), key
    names, group = np.unique(key, return_inverse=True)
    group = group.reshape(-1).astype(np.int64)
    used, local = np.unique(edge, return_inverse=True)
    local = local.reshape(-1, 2).astype(np.int64)
    flat = _chart(sheet, points[used], place[used] // 2)
    strips = sheet.kinks + 1
    if strips > 1:
        strip = _strip(place[edge[:, 0]], place[edge[:, 1]])
        along = (place[edge[:, 0]] == place[edge[:, 1]]) & (place[edge[:, 0]] % 2 == 1)
        rising = flat[local[:, 1], 1] > flat[local[:, 0], 1]
        strip = np.where(along, np.where(rising, place[edge[:, 0]] // 2, place[edge[:, 0]] // 2 + 1), strip)
        layer = group * strips + strip
        added, added_layer = _kink_edges(local, layer, strips, place[used], flat[:, 1], joint)
        local, layer = np.concatenate([local, added]), np.concatenate([layer, added_layer])
    else:
        layer = group
    try:
        triangles, owner = triangulate_layers(flat, local, layer)
    except MeshError as error:
        message = f"it opens the carving in lines that do not close; check the carving: {error}"
        raise CutError(message, joint) from error
    return used[triangles], names[owner // strips]


def _kink_edges(
    edge: IntArray, layer: IntArray, strips: int, place: IntArray, height: FloatArray, joint: int
) -> tuple[IntArray, IntArray]:
    """Edges along the kinks that close the outline of every strip, with their layers.

    Whatever enters a kink from one strip leaves along it or into the next strip, so that the sum of what comes in,
    taken in order along the kink, is what runs along it.
    """
    group, strip = layer // strips, layer % strips
    seen = []
    for end, sign in ((0, -1), (1, 1)):
        at = np.flatnonzero(place[edge[:, end]] & 1)
        vertex = edge[at, end]
        kink = place[vertex] // 2
        seen.append(np.stack([group[at], kink, vertex, strip[at] - kink, np.full(len(at), sign)], axis=1))
    entry = np.concatenate(seen)
    if len(entry) == 0:
        return np.zeros((0, 2), dtype=np.int64), np.zeros(0, dtype=np.int64)
    stop, inverse = np.unique(entry[:, :3], axis=0, return_inverse=True)
    gain = np.zeros((len(stop), 2), dtype=np.int64)
    np.add.at(gain, (inverse.reshape(-1), np.clip(entry[:, 3], 0, 1)), entry[:, 4])
    order = np.lexsort((stop[:, 2], height[stop[:, 2]], stop[:, 1], stop[:, 0]))
    stop, gain = stop[order], gain[order]
    flow = np.cumsum(gain, axis=0)
    same = (stop[1:, :2] == stop[:-1, :2]).all(axis=1)
    if flow[-1].any() or flow[:-1][~same].any():
        raise CutError("it opens the carving in lines that do not close at a kink; check the carving", joint)
    edges, layers = [], []
    for side in (0, 1):
        run = np.flatnonzero(same & (flow[:-1, side] != 0))
        amount = flow[run, side]
        low, high = stop[run, 2], stop[run + 1, 2]
        pair = np.where((amount > 0)[:, None], np.stack([low, high], axis=1), np.stack([high, low], axis=1))
        edges.append(np.repeat(pair, np.abs(amount), axis=0))
        layers.append(np.repeat(stop[run, 0] * strips + stop[run, 1] + side, np.abs(amount)))
    return np.concatenate(edges), np.concatenate(layers)
