# SPDX-License-Identifier: GPL-3.0-or-later
"""From a field of signed values to one closed surface that cannot cross itself: dual contouring on a uniform grid.

The surface has one vertex in each grid cell that it passes and one quad round each grid edge that it crosses. Three
steps keep it a plain closed skin:

1. Corner signs are filled up until no cell side is a chequer and no cell holds solid (or air) only at two opposite
   corners. The boundary of such a set of grid points is a manifold, and each cell holds one sheet of it.
2. Each vertex stays strictly inside its own cell.
3. Each quad stays inside its envelope: the four tetrahedra that its grid edge spans with its four sides. Envelopes of
   different edges share no inner point (T. Ju and T. Udeshi, "Intersection-free contouring on an octree grid", 2006:
   the idea; the code is ours). A quad is split along a diagonal that stays inside; where neither does, it is
   split into four round a point on the grid edge, which always does.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
Field = Callable[[FloatArray], FloatArray]

EDGE_MARGIN = 0.08  # a crossing keeps this share of its grid edge away from both ends: fewer slivers
CELL_MARGIN = 0.08  # a vertex keeps this share of its cell away from the sides
PULL = 0.08  # weight that holds a vertex at the middle of its crossings where the planes leave it free
# Cells round a grid edge along each axis, counter-clockwise seen from that axis' end; offsets in cells.
RINGS = (
    ((0, -1, -1), (0, 0, -1), (0, 0, 0), (0, -1, 0)),
    ((-1, 0, -1), (-1, 0, 0), (0, 0, 0), (0, 0, -1)),
    ((-1, -1, 0), (0, -1, 0), (0, 0, 0), (-1, 0, 0)),
)


@dataclass(frozen=True)
class Grid:
    """Uniform grid: `shape` points along x, y, z, `step` metres apart from `origin`."""

    origin: tuple[float, float, float]
    step: float
    shape: tuple[int, int, int]

    def points(self, at: IntArray | FloatArray) -> FloatArray:
        """Places of the grid points with indices at (k, 3), whole or between; (k, 3) metres."""
        result: FloatArray = np.array(self.origin) + self.step * at
        return result

    def sample(self, field: Field) -> FloatArray:
        """Values of `field` at all grid points, (nx, ny, nz); away from its surface only every other point is asked.

        The others then take the value of a neighbour, which has the right sign unless the surface hides, within two
        steps, between points that are all more than four steps off by their values.
        """
        coarse = tuple((n + 1) // 2 for n in self.shape)
        values = np.empty(coarse)
        for i in range(coarse[0]):
            at = np.stack(np.meshgrid([i], np.arange(coarse[1]), np.arange(coarse[2]), indexing="ij"), axis=-1)
            values[i] = field(self.points(2 * at.reshape(-1, 3))).reshape(coarse[1:])
        near = np.abs(values) < 4.0 * self.step
        for axis in range(3):
            s, n = np.moveaxis(values < 0.0, axis, 0), np.moveaxis(near, axis, 0)
            change = s[1:] != s[:-1]
            n[1:] |= change
            n[:-1] |= change
        for axis in range(3):
            n = np.moveaxis(near, axis, 0)
            n[1:], n[:-1] = n[1:] | n[:-1], n[1:] | n[:-1]
        cut = tuple(slice(0, n) for n in self.shape)
        fine: FloatArray = values.repeat(2, axis=0).repeat(2, axis=1).repeat(2, axis=2)[cut].copy()
        asked = near.repeat(2, axis=0).repeat(2, axis=1).repeat(2, axis=2)[cut].copy()
        asked[::2, ::2, ::2] = False
        at = np.argwhere(asked)
        fine[asked] = field(self.points(at))
        return fine


@dataclass(frozen=True)
class _Crossings:
    """Grid edges that the surface crosses, in one list: axis, lower end, cells round it, place of the crossing."""

    axis: IntArray  # (e,)
    low: IntArray  # (e, 3) grid index of the lower end
    rising: BoolArray  # (e,) solid at the lower end
    share: FloatArray  # (e,) 0..1 along the edge


def contour(field: Field, grid: Grid, floor_layer: bool = True) -> tuple[FloatArray, IntArray]:
    """Surface where `field` changes sign.

    Parameters
    ----------
    field : takes points (k, 3) in metres, gives (k,) values, below 0 in the solid.
    grid : all points on its six sides are taken as air.
    floor_layer : the first layer of cells in z holds the floor: its vertices get exactly the height of its middle.

    Returns
    -------
    vertices (n, 3) float64 metres, triangles (m, 3) int64: closed, each edge in exactly two triangles, outward.
    """
    values = grid.sample(field)
    for axis in range(3):
        side = np.moveaxis(values, axis, 0)
        side[0] = np.maximum(side[0], 0.5 * grid.step)
        side[-1] = np.maximum(side[-1], 0.5 * grid.step)
    solid = _fill(values < 0.0)
    trusted = solid == (values < 0.0)
    values = np.where(trusted, values, -0.3 * grid.step)
    edges = _crossings(field, grid, values, solid, trusted)
    cells, ring = _cells(grid, edges)
    local = _place(field, grid, edges, cells, ring, floor_layer)
    quads = np.where(edges.rising[:, None], ring, ring[:, ::-1])
    local = _relax(local, quads, floor_layer, cells)
    return _triangles(grid, edges, cells, ring, local)


def _fill(solid: BoolArray) -> BoolArray:
    """Fill air points until the set is well-composed: no chequered cell side, no two opposite corners alone."""
    solid = solid.copy()
    while True:
        add = np.zeros_like(solid)
        for axis in range(3):
            s, a = np.moveaxis(solid, axis, 0), np.moveaxis(add, axis, 0)
            p, q, r, t = s[:, :-1, :-1], s[:, 1:, 1:], s[:, 1:, :-1], s[:, :-1, 1:]
            falling = p & q & ~r & ~t
            rising = r & t & ~p & ~q
            a[:, 1:, :-1] |= falling
            a[:, :-1, 1:] |= falling
            a[:, :-1, :-1] |= rising
            a[:, 1:, 1:] |= rising
        corners = [(i, j, k) for i in (0, 1) for j in (0, 1) for k in (0, 1)]
        part = {c: tuple(slice(o, solid.shape[x] - 1 + o) for x, o in enumerate(c)) for c in corners}
        count = sum(solid[part[c]].astype(np.int8) for c in corners)
        for c in corners[:4]:
            far = (1 - c[0], 1 - c[1], 1 - c[2])
            lone = (count == 2) & solid[part[c]] & solid[part[far]]
            hole = (count == 6) & ~solid[part[c]] & ~solid[part[far]]
            if lone.any() or hole.any():
                for d in corners:
                    add[part[d]] |= lone | hole
        add &= ~solid
        if not add.any():
            return solid
        solid |= add


def _crossings(field: Field, grid: Grid, values: FloatArray, solid: BoolArray, trusted: BoolArray) -> _Crossings:
    """Find the crossed grid edges and sharpen each crossing by a step of regula falsi on the field itself."""
    axes, lows, inner, outer, checked = [], [], [], [], []
    for axis in range(3):
        s = np.moveaxis(solid, axis, 0)
        low = np.argwhere(np.moveaxis(s[1:] != s[:-1], 0, axis))
        high = low.copy()
        high[:, axis] += 1
        axes.append(np.full(len(low), axis))
        lows.append(low)
        inner.append(values[tuple(low.T)])
        outer.append(values[tuple(high.T)])
        checked.append(trusted[tuple(low.T)] & trusted[tuple(high.T)])
    axis_of, low = np.concatenate(axes), np.concatenate(lows)
    f0, f1, check = np.concatenate(inner), np.concatenate(outer), np.concatenate(checked)
    rising = f0 < 0.0
    t = np.clip(f0 / (f0 - f1), 0.05, 0.95)
    at = grid.points(low)
    at[np.arange(len(low)), axis_of] += t * grid.step
    f = field(at)
    lower = (f < 0.0) == rising  # the crossing lies past t
    better = np.where(lower, t + (1.0 - t) * f / np.where(lower, f - f1, 1.0), t * f0 / np.where(lower, 1.0, f0 - f))
    share = np.clip(np.where(check, better, t), EDGE_MARGIN, 1.0 - EDGE_MARGIN)
    return _Crossings(axis_of, low, rising, share)


def _cells(grid: Grid, edges: _Crossings) -> tuple[IntArray, IntArray]:
    """Cells that hold a vertex, (n, 3), and for each crossed edge the numbers of its four cells, (e, 4)."""
    offsets = np.array(RINGS, dtype=np.int64)[edges.axis]
    around = edges.low[:, None, :] + offsets
    shape = grid.shape
    flat = (around[..., 0] * shape[1] + around[..., 1]) * shape[2] + around[..., 2]
    used = np.zeros(shape[0] * shape[1] * shape[2], dtype=bool)
    used[flat] = True
    number = np.cumsum(used) - 1
    where = np.flatnonzero(used)
    cells = np.stack([where // (shape[1] * shape[2]), where // shape[2] % shape[1], where % shape[2]], axis=1)
    return cells, number[flat]


def _place(
    field: Field, grid: Grid, edges: _Crossings, cells: IntArray, ring: IntArray, floor_layer: bool
) -> FloatArray:
    """Vertex of each cell, (n, 3) in steps from the cell's middle: where the tangent planes of its crossings meet."""
    count = len(cells)
    place = edges.low.astype(np.float64)
    place[np.arange(len(place)), edges.axis] += edges.share
    at = grid.points(place)
    small = 0.15 * grid.step
    here = field(at)
    normal = np.stack([field(at + small * np.eye(3)[a]) - here for a in range(3)], axis=1)
    length = np.linalg.norm(normal, axis=1)
    straight = np.eye(3)[edges.axis] * np.where(edges.rising, 1.0, -1.0)[:, None]
    normal = np.where((length > 1e-12)[:, None], normal / np.maximum(length, 1e-12)[:, None], straight)
    if floor_layer:
        on_floor = (edges.axis == 2) & (edges.low[:, 2] == 0)
        place[on_floor, 2] = 0.5
        normal[on_floor] = (0.0, 0.0, -1.0)

    owner = ring.ravel()
    from_middle = np.repeat(place, 4, axis=0) - cells[owner] - 0.5
    n = np.repeat(normal, 4, axis=0)
    weight = np.bincount(owner, minlength=count).astype(np.float64)

    def total(x: FloatArray) -> FloatArray:
        return np.bincount(owner, weights=x, minlength=count).astype(np.float64)

    middle = np.stack([total(from_middle[:, a]) for a in range(3)], axis=1) / weight[:, None]
    off = ((from_middle - middle[owner]) * n).sum(axis=1)
    matrix = np.empty((count, 3, 3))
    for a in range(3):
        for b in range(a, 3):
            matrix[:, a, b] = matrix[:, b, a] = total(n[:, a] * n[:, b])
    right = np.stack([total(n[:, a] * off) for a in range(3)], axis=1)
    matrix += (PULL * weight)[:, None, None] * np.eye(3)
    moved = middle + np.linalg.solve(matrix, right[:, :, None])[:, :, 0]
    limit = 0.5 - CELL_MARGIN
    # Shorten the way from the middle of the crossings rather than clip each axis: the vertex stays on its crease.
    way = moved - middle
    with np.errstate(divide="ignore", invalid="ignore"):
        room = np.where(way > 0.0, (limit - middle) / way, np.where(way < 0.0, (-limit - middle) / way, np.inf))
    moved = middle + way * np.clip(room.min(axis=1), 0.0, 1.0)[:, None]
    local: FloatArray = np.clip(moved, -limit, limit)
    if floor_layer:
        local[cells[:, 2] == 0, 2] = 0.0
    return local


def _relax(local: FloatArray, quads: IntArray, floor_layer: bool, cells: IntArray) -> FloatArray:
    """Slide vertices within the surface towards the middle of their neighbours, each inside its own cell.

    A vertex on a crease hardly moves: the way is taken off along the normals of all quads round it.
    """
    count, limit = len(local), 0.5 - CELL_MARGIN
    ahead = np.roll(quads, -1, axis=1)
    ends = np.concatenate([quads.ravel(), ahead.ravel()])
    others = np.concatenate([ahead.ravel(), quads.ravel()])
    degree = np.bincount(ends, minlength=count).astype(np.float64)
    step = (cells[others] - cells[ends]).astype(np.float64)
    for _ in range(2):
        pos = local + cells
        d1, d2 = pos[quads[:, 2]] - pos[quads[:, 0]], pos[quads[:, 3]] - pos[quads[:, 1]]
        n = np.cross(d1, d2)
        n /= np.maximum(np.linalg.norm(n, axis=1), 1e-9)[:, None]
        owner, normal = quads.ravel(), np.repeat(n, 4, axis=0)
        matrix = np.empty((count, 3, 3))
        for a in range(3):
            for b in range(a, 3):
                matrix[:, a, b] = matrix[:, b, a] = np.bincount(owner, normal[:, a] * normal[:, b], count)
        ahead_of = local[others] - local[ends] + step
        way = np.stack([np.bincount(ends, ahead_of[:, a], count) for a in range(3)], axis=1) / degree[:, None]
        # Least of |x - way|^2 + 40 * sum (n . x)^2: free along the surface, stiff across it.
        matrix = 40.0 * matrix + np.eye(3)
        local = local + 0.7 * np.linalg.solve(matrix, way[:, :, None])[:, :, 0]
        local = np.clip(local, -limit, limit)
        if floor_layer:
            local[cells[:, 2] == 0, 2] = 0.0
    return local


def _inside(corner: FloatArray, a: int) -> BoolArray:
    """Whether the diagonal from corner a to the one opposite stays inside the quad's envelope.

    corner : (e, 4, 3), the four vertices seen along their grid edge: two coordinates across it (the edge at 0), and
    the height along it, 0 to 1; counter-clockwise.
    """
    p, q = corner[:, a], corner[:, (a + 2) % 4]
    turn = p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]
    # turn > 0: the grid edge lies left of the diagonal, so the diagonal passes on the side of the next corner.
    side = np.where((turn > 0.0)[:, None], corner[:, (a + 1) % 4], corner[:, (a + 3) % 4])
    way = q - p
    across = way[:, 0] * side[:, 1] - way[:, 1] * side[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        tau = -(p[:, 0] * side[:, 1] - p[:, 1] * side[:, 0]) / across
        size = (side[:, :2] ** 2).sum(axis=1)
        s = ((p[:, :2] + tau[:, None] * way[:, :2]) * side[:, :2]).sum(axis=1) / size
        height = p[:, 2] + tau * way[:, 2]
    ok: BoolArray = (s < 0.999) & (s > -1e-9) & (height > s * side[:, 2] + 1e-6 * (1 - s))
    ok &= height < s * side[:, 2] + (1.0 - s) * (1.0 - 1e-6)
    return ok


def _least_angle_cosine(v: FloatArray, t: IntArray) -> FloatArray:
    """Largest corner cosine of each triangle, (m,): the smaller, the better the shape."""
    c = v[t]
    e = np.roll(c, -1, axis=1) - c
    e /= np.maximum(np.linalg.norm(e, axis=2), 1e-12)[:, :, None]
    largest: FloatArray = (-(e * np.roll(e, 1, axis=1)).sum(axis=2)).max(axis=1)
    return largest


def _triangles(
    grid: Grid, edges: _Crossings, cells: IntArray, ring: IntArray, local: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Split each quad into two triangles, or into four where a diagonal would leave its envelope."""
    place = local + cells + 0.5
    rows = np.arange(len(ring))
    across = np.array([[1, 2], [2, 0], [0, 1]])[edges.axis]
    seen = place[ring] - edges.low[:, None, :]
    corner = np.stack(
        [seen[rows[:, None], np.arange(4), across[:, :1]], seen[rows[:, None], np.arange(4), across[:, 1:]],
         seen[rows[:, None], np.arange(4), edges.axis[:, None]]], axis=-1)  # fmt: skip
    fine = [_inside(corner, 0), _inside(corner, 1)]
    quads = np.where(edges.rising[:, None], ring, ring[:, [0, 3, 2, 1]])  # corner 0 stays corner 0
    split = [(quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]), (quads[:, [1, 2, 3]], quads[:, [1, 3, 0]])]
    worth = [np.maximum(_least_angle_cosine(place, t), _least_angle_cosine(place, u)) for t, u in split]
    first = fine[0] & (~fine[1] | (worth[0] <= worth[1]))
    second = fine[1] & ~first
    fan = ~(first | second)
    centre = edges.low[fan].astype(np.float64)
    along = np.where((edges.axis[fan] == 2) & (edges.low[fan, 2] == 0), 0.5, edges.share[fan])
    centre[np.arange(len(centre)), edges.axis[fan]] += along
    hub = len(place) + np.arange(len(centre))
    fans = [np.stack([quads[fan, i], quads[fan, (i + 1) % 4], hub], axis=1) for i in range(4)]
    triangles = np.concatenate(
        [split[0][0][first], split[0][1][first], split[1][0][second], split[1][1][second], *fans]
    )
    vertices = grid.points(np.concatenate([place, centre]))
    return vertices, triangles
