# SPDX-License-Identifier: GPL-3.0-or-later
"""Which billets of a block-up hold some carving, and how much of each it reaches through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import MeshError
from ..mesh.mesh import Mesh
from ..mesh.runs import runs
from ..mesh.section import cross_sections, windings
from ..tolerance import Tolerance
from .clip import Polygons, box_of
from .layout import Cell, Layout

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_CORNERS = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Held:
    """Billets that hold some carving, course by course from the lowest, then along, then across.

    Attributes
    ----------
    cells : course, place along, place across of each.
    low, high : (n, 3) metres, block frame: the smallest upright box round what of the carving lies in each.
    """

    cells: tuple[Cell, ...]
    low: FloatArray
    high: FloatArray


def held_billets(mesh: Mesh, layout: Layout) -> Held:
    """Find the billets that hold some carving, exactly.

    Parameters
    ----------
    mesh : the carving, closed; metres, job coordinates.
    layout : where the billets lie.

    Raises
    ------
    MeshError
        No triangles, or over a million billets: the billet's size or the carving's unit is wrong.

    Notes
    -----
    A billet counts when its inside, less a skin of 1e-11 of the carving's size (`Tolerance.on_joint`), meets the solid:
    when some triangle reaches into it (clipped exactly, not by its box), or, without one, when its middle is inside. A
    face of the carving that lies on a glue line does not count for the billet beyond it. What of the solid lies within
    a billet reaches as far as its surface does there, or to a corner of the billet that is inside the solid: a wall
    that the solid meets is either crossed by the surface or wholly inside.
    """
    if len(mesh.triangles) == 0:
        raise MeshError("the carving has no triangles; nothing can be blocked up")
    block = layout.to_block(mesh.vertices)
    skin = Tolerance.of(block).on_joint
    low, high = box_of(block)
    first, last = layout.course_at(float(low[2]) + skin), layout.course_at(float(high[2]) - skin)
    sizes = (high - low)[:2] / np.array(layout.billet[:2])
    if (last - first + 1) * (sizes[0] + 2.0) * (sizes[1] + 2.0) > 1e6:
        raise MeshError(
            f"a carving of {high[0] - low[0]:.4g} x {high[1] - low[1]:.4g} x {high[2] - low[2]:.4g} m takes over a "
            "million billets; check foam.billet and the carving's unit"
        )
    grid = _Grid.of(layout, low, high, first, last)
    box_low = np.full((grid.count, 3), np.inf)
    box_high = np.full((grid.count, 3), -np.inf)
    busy = _take_plain(grid, block, mesh.triangles, skin, box_low, box_high)
    _take_crossing(grid, Polygons.of_triangles(block[mesh.triangles[busy]]), skin, box_low, box_high)
    _take_inside(grid, Mesh(block, mesh.triangles), skin, box_low, box_high)
    rows = np.flatnonzero(box_low[:, 0] <= box_high[:, 0])
    box_low, box_high = box_low[rows], box_high[rows]
    # What reaches to the skin reaches to the wall.
    cell_low, cell_high = grid.low[rows], grid.high[rows]
    box_low = np.where(box_low <= cell_low + 2.0 * skin, cell_low, box_low)
    box_high = np.where(box_high >= cell_high - 2.0 * skin, cell_high, box_high)
    return Held(tuple(grid.cells[row] for row in rows.tolist()), box_low, box_high)


@dataclass(frozen=True, eq=False)
class _Grid:
    """All billets that the carving's box may meet, numbered course by course."""

    cells: list[Cell]
    low: FloatArray
    high: FloatArray
    levels: FloatArray
    start: FloatArray
    """(courses, 2) where the first place of each course begins, along and across."""
    places: IntArray
    """(2,) places along and across; the same in every course."""
    step: FloatArray

    @property
    def count(self) -> int:
        return len(self.cells)

    @classmethod
    def of(cls, layout: Layout, low: FloatArray, high: FloatArray, first: int, last: int) -> _Grid:
        step = np.array(layout.billet[:2])
        courses = list(range(first, last + 1))
        offsets = np.array([layout.offset(k) for k in courses])
        begin = np.floor((low[:2] - offsets) / step).astype(np.int64)
        places = np.floor((high[:2] - offsets) / step).astype(np.int64).max(axis=0) - begin.min(axis=0) + 1
        # One more each way: rounding of the division may miss by one.
        begin, places = begin.min(axis=0) - 1 + np.zeros_like(begin), places + 2
        cells = [
            (k, int(begin[c, 0]) + i, int(begin[c, 1]) + j)
            for c, k in enumerate(courses)
            for i in range(int(places[0]))
            for j in range(int(places[1]))
        ]
        corners = np.array([layout.corner(cell) for cell in cells])
        # The upper wall of a place is the lower wall of the next, to the last digit.
        ends = np.array([layout.corner((k + 1, i + 1, j + 1)) for k, i, j in cells])
        same = np.array([layout.corner((k, i + 1, j + 1)) for k, i, j in cells])
        upper = np.column_stack([same[:, :2], ends[:, 2]])
        levels = np.array([layout.level(k) for k in (*courses, last + 1)])
        start = offsets + begin * step
        return cls(cells, corners, upper, levels, start, places.astype(np.int64), step)

    def number(self, course: IntArray, along: IntArray, across: IntArray) -> IntArray:
        rows: IntArray = (course * self.places[0] + along) * self.places[1] + across
        return rows

    def course(self, z: FloatArray) -> IntArray:
        rows: IntArray = np.clip(np.searchsorted(self.levels, z, side="right") - 1, 0, len(self.levels) - 2)
        return rows.astype(np.int64)

    def place(self, course: IntArray, value: FloatArray, axis: int) -> IntArray:
        raw = np.floor((value - self.start[course, axis]) / self.step[axis]).astype(np.int64)
        rows: IntArray = np.clip(raw, 0, self.places[axis] - 1)
        return rows


def _take_plain(
    grid: _Grid, block: FloatArray, triangles: IntArray, skin: float, box_low: FloatArray, box_high: FloatArray
) -> IntArray:
    """Boxes grow by the vertices that stand clear of every wall; gives the triangles that may reach through one."""
    course = grid.course(block[:, 2])
    number = grid.number(course, grid.place(course, block[:, 0], 0), grid.place(course, block[:, 1], 1))
    clear = np.ones(len(block), dtype=bool)
    for axis in range(3):
        clear &= block[:, axis] > grid.low[:, axis][number] + skin
        clear &= block[:, axis] < grid.high[:, axis][number] - skin
    number = np.where(clear, number, -1)
    order = np.argsort(number, kind="stable")
    ranked = number[order]
    begin = np.searchsorted(ranked, np.arange(grid.count + 1))
    for k in np.flatnonzero(np.diff(begin)).tolist():
        rows = order[begin[k] : begin[k + 1]]
        for axis in range(3):
            column = block[rows, axis]
            box_low[k, axis], box_high[k, axis] = column.min(), column.max()
    a, b, c = (number[triangles[:, k]] for k in range(3))
    return np.flatnonzero((a != b) | (b != c) | (a < 0))


def _take_crossing(grid: _Grid, parts: Polygons, skin: float, box_low: FloatArray, box_high: FloatArray) -> None:
    """Boxes grow by what of each triangle lies within each billet."""
    low, high = parts.low(), parts.high()
    rows, course = _spread(grid.course(low[:, 2]), grid.course(high[:, 2]))
    parts, kept = parts.take(rows).within(2, grid.levels[course] + skin, grid.levels[course + 1] - skin)
    course = course[kept]
    number = course * grid.places[0] * grid.places[1]
    for axis, stride in ((0, int(grid.places[1])), (1, 1)):
        low, high = parts.low()[:, axis], parts.high()[:, axis]
        rows, place = _spread(grid.place(course, low, axis), grid.place(course, high, axis))
        course, number = course[rows], number[rows] + place * stride
        wall = grid.low[:, axis][number], grid.high[:, axis][number]
        parts, kept = parts.take(rows).within(axis, wall[0] + skin, wall[1] - skin)
        course, number = course[kept], number[kept]
    low, high = parts.low(), parts.high()
    for axis in range(3):
        np.minimum.at(box_low[:, axis], number, low[:, axis])
        np.maximum.at(box_high[:, axis], number, high[:, axis])


def _spread(first: IntArray, last: IntArray) -> tuple[IntArray, IntArray]:
    """Rows again for each whole number from first to last, and that number."""
    rows, step = runs(last - first + 1)
    return rows, step + first[rows]


def _take_inside(grid: _Grid, block: Mesh, skin: float, box_low: FloatArray, box_high: FloatArray) -> None:
    """Boxes grow by the corners of billets that lie inside the solid; without a surface the middle decides."""
    points, owners = [], []
    inner_low, inner_high = grid.low + skin, grid.high - skin
    for k in range(grid.count):
        corners = inner_low[k] + _CORNERS * (inner_high[k] - inner_low[k])
        if not np.isfinite(box_low[k, 0]):
            corners = np.concatenate([corners, [(inner_low[k] + inner_high[k]) / 2.0]])
        points.append(corners)
        owners.append(np.full(len(corners), k))
    at, owner = np.concatenate(points), np.concatenate(owners)
    low, high = box_of(block.vertices)
    rows = np.flatnonzero(((at > low) & (at < high)).all(axis=1))
    at, owner = at[rows], owner[rows]
    levels, which = np.unique(at[:, 1], return_inverse=True)
    for k, section in enumerate(cross_sections(block, levels.tolist(), (0.0, 1.0, 0.0))):
        mine = np.flatnonzero(which.reshape(-1) == k)
        inside = windings([loop[:, [2, 0]] for loop in section.loops], at[mine][:, [2, 0]]) > 0
        for row in mine[inside].tolist():
            box_low[owner[row]] = np.minimum(box_low[owner[row]], at[row])
            box_high[owner[row]] = np.maximum(box_high[owner[row]], at[row])
