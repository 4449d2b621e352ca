# SPDX-License-Identifier: GPL-3.0-or-later
"""How triangles hang together: open and faulty edges, connected bodies, loops of open edges."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError, NotClosedError
from .mesh import FloatArray, IntArray, Mesh

Fans = Callable[[int, int, list[int]], list[tuple[int, int]]]
"""Pairs of triangles that belong together, from the lower and the higher vertex of an edge and the triangles at it."""

_SHOWN = 3  # edges written out in a message: enough to find the place, short enough for one line
_MOST_VERTICES = 1 << 31  # two vertex numbers and a direction bit share one 63-bit key


@dataclass(frozen=True, eq=False)
class EdgeReport:
    """Edges that a closed, consistently wound surface does not have.

    Attributes
    ----------
    boundary : (k, 2) int64, open edges: in one triangle only. An edge from a vertex to itself is listed here too.
    non_manifold : (k, 2) int64, edges in more than two triangles.
    misoriented : (k, 2) int64, edges in two triangles that run them the same way.

    Notes
    -----
    Vertex pairs stand lowest index first, rows in rising order.
    """

    boundary: IntArray
    non_manifold: IntArray
    misoriented: IntArray

    @property
    def closed(self) -> bool:
        """Whether every edge lies in exactly two triangles that run it opposite ways."""
        return self.faults == 0

    @property
    def faults(self) -> int:
        """Number of edges at fault."""
        return len(self.boundary) + len(self.non_manifold) + len(self.misoriented)


def edge_report(triangles: IntArray) -> EdgeReport:
    """Find open, non-manifold and misoriented edges.

    Parameters
    ----------
    triangles : (m, 3) int64 vertex numbers.

    Raises
    ------
    MeshError
        A vertex number of 2**31 or more.
    """
    keys = np.sort(_edge_keys(triangles))
    edges = keys >> 1
    starts = _run_starts(edges)
    counts = np.diff(starts, append=len(edges))
    flipped = np.add.reduceat(keys & 1, starts) if len(starts) else starts
    first = edges[starts]
    ends = np.stack([first >> 31, first & (_MOST_VERTICES - 1)], axis=1)
    boundary = (counts == 1) | (ends[:, 0] == ends[:, 1])
    return EdgeReport(
        boundary=ends[boundary],
        non_manifold=ends[(counts > 2) & ~boundary],
        misoriented=ends[(counts == 2) & (flipped != 1) & ~boundary],
    )


def require_closed(mesh: Mesh, report: EdgeReport | None = None) -> None:
    """Let only a closed, consistently wound surface pass.

    Parameters
    ----------
    mesh : the surface.
    report : its `edge_report` where the caller has it already.

    Raises
    ------
    NotClosedError
        Open, non-manifold or misoriented edges; the message counts them and gives the first ones' coordinates.
    """
    found = edge_report(mesh.triangles) if report is None else report
    if found.closed:
        return
    kinds = (
        (found.boundary, "open edge", "in one triangle only"),
        (found.non_manifold, "non-manifold edge", "in more than two triangles"),
        (found.misoriented, "misoriented edge", "its two triangles are wound against each other"),
    )
    parts = []
    for edges, name, meaning in kinds:
        if len(edges):
            count = f"{len(edges)} {name}{'s' if len(edges) > 1 else ''}"
            parts.append(f"{count} ({meaning}), first {edge_places(mesh.vertices, edges)}")
    only_winding = len(found.misoriented) == found.faults
    raise NotClosedError(
        f"the surface is not {'wound consistently' if only_winding else 'closed'}: {'; '.join(parts)}. "
        "Close the holes and make the normals consistent in the program that made it, then try again",
        np.concatenate([edges for edges, _, _ in kinds]),
    )


def edge_places(vertices: FloatArray, edges: IntArray) -> str:
    """Coordinates of the first few edges, as text for a message."""

    def point(row: int) -> str:
        return "(" + ", ".join(f"{x:.6g}" for x in vertices[row].tolist()) + ")"

    return ", ".join(f"{point(int(a))} to {point(int(b))}" for a, b in edges[:_SHOWN])


def components(triangles: IntArray) -> IntArray:
    """Label the connected bodies: triangles that share an edge belong together.

    Parameters
    ----------
    triangles : (m, 3) int64. All triangles at an edge are connected, also where there are more than two.

    Returns
    -------
    (m,) int64 labels 0, 1, 2, ..., numbered by the first triangle of each body.

    Notes
    -----
    Every body's root is its lowest triangle. In each round a root hooks on to the lowest root that it touches, then
    all paths are shortened to their root. A root that cannot hook has a neighbour that hooks at least as low, so within
    two rounds every root of an unfinished body joins another one: at most 2 log2(m) + 2 rounds.
    """
    return joined(len(triangles), *_neighbours(triangles))


def closed_components(triangles: IntArray, fans: Fans | None = None) -> IntArray:
    """As `components`, quicker where an even number of triangles is at each edge; anything else goes the slow way.

    Parameters
    ----------
    triangles : (m, 3) int64.
    fans : where more than two triangles are at an edge, which of them belong together; left out: all of them.
    """
    count = len(triangles)
    place, number = max(count - 1, 1).bit_length(), int(triangles.max(initial=0)).bit_length()
    if fans is not None and 2 * number + place > 63:
        used, local = np.unique(triangles, return_inverse=True)
        given = fans
        return closed_components(local.reshape(-1, 3), lambda a, b, rows: given(int(used[a]), int(used[b]), rows))
    if count % 2 or 2 * number + place > 63:
        return components(triangles)
    keys = np.empty((3, count), dtype=np.int64)
    for k in range(3):
        a, b = triangles[:, k], triangles[:, (k + 1) % 3]
        np.minimum(a, b, out=keys[k])
        keys[k] <<= number
        keys[k] |= np.maximum(a, b)
        keys[k] <<= place
        keys[k] |= np.arange(count)
    flat = keys.reshape(-1)
    flat.sort()
    edges = flat >> place
    if len(flat) % 2 or (edges[::2] != edges[1::2]).any():
        return components(triangles)
    flat &= (1 << place) - 1
    one, two = flat[::2], flat[1::2]
    # Of more than two triangles at an edge, those that were paired by their order are paired anew.
    again = np.flatnonzero(edges[2::2] == edges[1:-1:2])
    more: list[tuple[int, int]] = []
    for begin, end in _stretches(again):
        rows = flat[2 * begin : 2 * end + 4].tolist()
        if fans is None:
            more += itertools.pairwise(rows)
        else:
            edge = int(edges[2 * begin])
            two[begin : end + 2] = one[begin : end + 2]
            more += fans(edge >> number, edge & ((1 << number) - 1), rows)
    if more:
        extra = np.array(more, dtype=np.int64)
        one, two = np.concatenate([one, extra[:, 0]]), np.concatenate([two, extra[:, 1]])
    return joined(count, one, two)


def hang_together(triangles: IntArray, closed: bool = False) -> bool:
    """Whether triangles, (m, 3), are surely one body: joined by edges that just two of them have.

    closed : every edge has to be such a one.
    """
    count = len(triangles)
    place, number = max(count - 1, 1).bit_length(), int(triangles.max(initial=0)).bit_length()
    if count == 0 or 2 * number + place > 63:
        return False
    keys = np.empty((3, count), dtype=np.int64)
    for k in range(3):
        a, b = triangles[:, k], triangles[:, (k + 1) % 3]
        np.left_shift(np.minimum(a, b), number, out=keys[k])
        keys[k] |= np.maximum(a, b)
        keys[k] <<= place
        keys[k] |= np.arange(count)
    flat = keys.reshape(-1)
    flat.sort()
    starts = _run_starts(flat >> place)
    flat &= (1 << place) - 1
    pairs = starts[np.diff(starts, append=len(flat)) == 2]
    if closed and len(pairs) < len(starts):
        return False
    return not joined(count, flat[pairs], flat[pairs + 1]).any()


def _stretches(numbers: IntArray) -> list[tuple[int, int]]:
    """First and last of each stretch of rising numbers without a step of more than one."""
    if len(numbers) == 0:
        return []
    breaks = np.flatnonzero(np.diff(numbers) > 1)
    firsts = numbers[np.append(0, breaks + 1)]
    return list(zip(firsts.tolist(), numbers[np.append(breaks, len(numbers) - 1)].tolist(), strict=True))


def joined(count: int, one: IntArray, two: IntArray) -> IntArray:
    """Labels of `count` things joined by pairs, numbered by the first of each body.

    Parameters
    ----------
    count : how many things there are.
    one, two : (k,) int64, the pairs; a thing in no pair is a body of its own.
    """
    labels: list[IntArray] = []
    while True:
        apart = one != two
        if not apart.any():
            break
        one, two = one[apart], two[apart]
        root = np.arange(count, dtype=np.int64)
        np.minimum.at(root, np.maximum(one, two), np.minimum(one, two))
        while True:
            shorter = root[root]
            if (shorter == root).all():
                break
            root = shorter
        # What has come together is one thing from here on: fewer and fewer are left.
        number = np.cumsum(root == np.arange(count)) - 1
        label = number[root]
        labels.append(label)
        one, two, count = label[one], label[two], int(number[-1]) + 1
    out: IntArray = np.arange(count, dtype=np.int64)
    for label in reversed(labels):
        out = out[label]
    return out


def boundary_loops(triangles: IntArray) -> tuple[IntArray, ...]:
    """Order the open edges into loops.

    Parameters
    ----------
    triangles : (m, 3) int64, without non-manifold or misoriented edges.

    Returns
    -------
    Loops of vertex numbers, each (k,) int64, in the direction in which the triangles run the edges (a cap runs them
    backwards), first vertex not repeated. Each loop starts at its lowest vertex and visits no vertex twice; where
    loops touch in a vertex they are kept apart. Loops are in the order of their first vertex.

    Raises
    ------
    MeshError
        The open edges do not form loops.
    """
    return edge_loops(_open_edges(triangles))


def edge_loops(edges: IntArray) -> tuple[IntArray, ...]:
    """Order directed edges, (k, 2) int64, into loops as `boundary_loops` does."""
    following: dict[int, list[int]] = {}
    for a, b in sorted(edges.tolist(), reverse=True):
        following.setdefault(a, []).append(b)
    loops: list[list[int]] = []
    for start in sorted(following):
        while following[start]:
            path, place = [start], {start: 0}
            while path:
                ahead = following.get(path[-1])
                if not ahead:
                    raise MeshError(
                        f"the open edges do not form loops: they end at vertex {path[-1]}; make the normals consistent"
                    )
                vertex = ahead.pop()
                if vertex not in place:
                    place[vertex] = len(path)
                    path.append(vertex)
                    continue
                cut = place[vertex]
                loops.append(path[cut:])
                for gone in path[cut:]:
                    del place[gone]
                del path[cut:]
                if cut:
                    place[vertex] = cut
                    path.append(vertex)
    return tuple(sorted((_from_lowest(loop) for loop in loops), key=lambda loop: (int(loop[0]), int(loop[1]))))


def _from_lowest(loop: Sequence[int]) -> IntArray:
    rows = np.array(loop, dtype=np.int64)
    turned: IntArray = np.roll(rows, -int(rows.argmin()))
    return turned


def _edge_keys(triangles: IntArray) -> IntArray:
    """Pack lowest vertex, highest vertex and a direction bit; (3 m,): all first edges, then all second, all third."""
    if len(triangles) and int(triangles.max()) >= _MOST_VERTICES:
        raise MeshError(f"vertex number {int(triangles.max())} is too high; the most is {_MOST_VERTICES - 1}")
    keys = np.empty((3, len(triangles)), dtype=np.int64)
    for side, row in enumerate(keys):
        start, end = triangles[:, side], triangles[:, (side + 1) % 3]
        np.left_shift(np.minimum(start, end), 32, out=row)
        row |= np.maximum(start, end) << 1
        row |= start > end
    return keys.reshape(-1)


def _neighbours(triangles: IntArray) -> tuple[IntArray, IntArray]:
    """Pairs of triangles that share an edge; of k at one edge k - 1 pairs that connect them all."""
    count = 3 * len(triangles)
    keys = _edge_keys(triangles) >> 1
    place, number = max(count - 1, 1).bit_length(), int(triangles.max(initial=0)).bit_length()
    if 2 * number + place <= 63:
        # Up to some 2 million triangles edge and place fit one key; sorting values is twice as fast as sorting places.
        low, high = keys >> 31, keys & (_MOST_VERTICES - 1)
        packed = np.sort((((low << number) | high) << place) | np.arange(count))
        edges, order = packed >> place, packed & ((1 << place) - 1)
    else:
        order = np.argsort(keys, kind="stable")
        edges = keys[order]
    same = np.flatnonzero(edges[1:] == edges[:-1])
    owner = order % max(len(triangles), 1)
    return owner[same], owner[same + 1]


def _run_starts(ordered: IntArray) -> NDArray[np.intp]:
    change = np.ones(len(ordered), dtype=bool)
    np.not_equal(ordered[1:], ordered[:-1], out=change[1:])
    return np.flatnonzero(change)


def _open_edges(triangles: IntArray) -> IntArray:
    """Directed open edges, (k, 2) int64, as the triangles run them."""
    keys = np.sort(_edge_keys(triangles))
    edges = keys >> 1
    starts = _run_starts(edges)
    single = keys[starts[np.diff(starts, append=len(edges)) == 1]]
    low, high, back = single >> 32, (single >> 1) & (_MOST_VERTICES - 1), (single & 1).astype(bool)
    return np.stack([np.where(back, high, low), np.where(back, low, high)], axis=1)
