# SPDX-License-Identifier: GPL-3.0-or-later
"""Bodies of blocks and the least cost of cutting them along their grid, found by trying every way by exact measures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from itertools import combinations, product

import numpy as np
from seamwright.core.handling.rectangle import least_rectangle
from seamwright.core.job import Job
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.planning.trails import Trail, paint
from seamwright.core.planning.worth import Worth

Cell = tuple[int, int, int]
Cells = frozenset[Cell]
Face = frozenset[tuple[Cell, int]]
"""Part of a joint: the cells under it, each with the axis that it is square to."""

AXES = ((1, 0, 0), (0, 1, 0), (0, 0, 1))
_STEPS = 80
"""Places along the edge of a block where it is asked whether a seam runs there: 5 mm apart, as the checks ask."""


def grid(x: int, y: int, z: int, at: Cell = (0, 0, 0)) -> Cells:
    """A box of blocks."""
    return frozenset((at[0] + i, at[1] + j, at[2] + k) for i, j, k in product(range(x), range(y), range(z)))


def beside(cell: Cell, axis: int, by: int) -> Cell:
    """The cell so many further along an axis."""
    x, y, z = AXES[axis]
    return cell[0] + by * x, cell[1] + by * y, cell[2] + by * z


def blocks(cells: Cells, sides: Sequence[float]) -> Mesh:
    """Closed mesh of blocks that share faces; `sides`: of a block, metres."""
    number: dict[Cell, int] = {}
    triangles = []
    for cell in sorted(cells):
        for axis, way in product(range(3), (0, 1)):
            if beside(cell, axis, 2 * way - 1) in cells:
                continue
            first = beside(cell, axis, way)
            one, two = (axis + 1) % 3, (axis + 2) % 3
            ring = (first, beside(first, one, 1), beside(beside(first, one, 1), two, 1), beside(first, two, 1))
            corners = [number.setdefault(corner, len(number)) for corner in (ring if way else ring[::-1])]
            triangles += [corners[:3], [corners[0], corners[2], corners[3]]]
    return Mesh(np.array(list(number), dtype=np.float64) * np.array(sides), np.array(triangles))


def bodies(cells: Cells, severed: Face = frozenset()) -> list[Cells]:
    """Connected parts, through faces of blocks that are not severed."""
    left, out = set(cells), []
    while left:
        todo = [min(left)]
        left.discard(todo[0])
        body = set(todo)
        while todo:
            cell = todo.pop()
            for axis, by in product(range(3), (-1, 1)):
                near = beside(cell, axis, by)
                if near in left and (cell if by > 0 else near, axis) not in severed:
                    left.discard(near)
                    body.add(near)
                    todo.append(near)
        out.append(frozenset(body))
    return out


@dataclass
class Exhaustive:
    """The least cost of a body over all ways to cut it along its grid, and the pieces of it.

    Attributes
    ----------
    carving : its blocks. sides : of a block, metres.
    skin : kg/m2 on all faces. job : foam and limits are read.
    worth : what is charged; of it line, area, follow, small and light. trails : seams.
    limbs : also joints through one limb only, by themselves or, through a ring, two together.
    """

    carving: Cells
    sides: tuple[float, float, float]
    skin: float
    job: Job
    worth: Worth
    trails: Sequence[Trail] = ()
    limbs: bool = True
    seam: dict[tuple[Cell, int], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.best = cache(self._best)
        corners = {tuple(np.array(cell) + shift) for cell in self.carving for shift in product((0, 1), repeat=3)}
        edges = [(corner, axis) for corner in sorted(corners) for axis in range(3)]
        share = (np.arange(_STEPS) + 0.5) / _STEPS
        start = np.array([corner for corner, _ in edges], dtype=np.float64)
        way = np.array([AXES[axis] for _, axis in edges], dtype=np.float64)
        points = (start[:, None, :] + share[None, :, None] * way[:, None, :]) * np.array(self.sides)
        on, _ = paint(points.reshape(-1, 3), self.trails, self.job.joints.seam_tolerance)
        self.seam = dict(zip(edges, on.reshape(-1, _STEPS).mean(axis=1).tolist(), strict=True))

    def mass(self, cells: Cells) -> float:
        """Finished mass, kg."""
        x, y, z = self.sides
        area = (y * z, z * x, x * y)
        laid = sum(area[k] for cell in cells for k in range(3) for by in (-1, 1) if beside(cell, k, by) not in cells)
        return self.job.foam.density * len(cells) * x * y * z + self.skin * laid

    def fits(self, cells: Cells) -> bool:
        """Whether it is a piece: by its mass and the least box round it."""
        flat = {(x + i, y + j) for x, y, _ in cells for i in (0, 1) for j in (0, 1)}
        length, width, _ = least_rectangle(np.array(sorted(flat)) * np.array(self.sides[:2]))
        height = (max(cell[2] for cell in cells) - min(cell[2] for cell in cells) + 1) * self.sides[2]
        most = self.job.limits.piece_size
        assert most is not None
        inside = length <= most[0] + 1e-9 and width <= most[1] + 1e-9 and height <= most[2] + 1e-9
        return inside and self.mass(cells) <= self.job.limits.piece_mass

    def charge(self, face: Face) -> float:
        """Cost of a joint: its area, its line on the carving where no seam runs, less what lying on seams is worth."""
        area = line = on = 0.0
        for cell, axis in face:
            one, two = (axis + 1) % 3, (axis + 2) % 3
            area += self.sides[one] * self.sides[two]
            for other, along, by in ((one, two, -1), (one, two, 1), (two, one, -1), (two, one, 1)):
                low = beside(cell, other, by)
                # Seen where one of the two cells beside the joint's edge is no foam of the carving at all.
                if low in self.carving and beside(low, axis, 1) in self.carving:
                    continue
                corner = beside(beside(cell, axis, 1), other, max(by, 0))
                line += self.sides[along]
                on += self.sides[along] * self.seam[corner, along]
        return self.worth.area * area + self.worth.line * (line - on - self.worth.follow * on)

    def leaf(self, mass: float) -> float:
        """Cost of a piece."""
        lack = max(0.0, self.worth.light - mass / self.job.limits.piece_mass) / self.worth.light
        return 1.0 + self.worth.small * lack

    def ways(self, cells: Cells) -> Iterator[tuple[float, list[Cells]]]:
        """Every way to part a body by one joint, or by one through each of two limbs: its cost, and the parts."""
        opening: list[tuple[float, Face]] = []
        for axis in range(3):
            for level in sorted({cell[axis] for cell in cells})[:-1]:
                whole: Face = frozenset(
                    (cell, axis) for cell in cells if cell[axis] == level and beside(cell, axis, 1) in cells
                )
                if not whole:
                    continue
                yield self.charge(whole), bodies(cells, whole)
                faces = _faces(whole) if self.limbs else []
                for face in faces if len(faces) > 1 else []:
                    parts = bodies(cells, face)
                    if len(parts) > 1:
                        yield self.charge(face), parts
                    else:
                        opening.append((self.charge(face), face))
        for (first, one), (second, two) in combinations(opening, 2):
            parts = bodies(cells, one | two)
            if len(parts) > 1:
                yield first + second, parts

    def _best(self, cells: Cells) -> tuple[float, int]:
        if self.fits(cells):
            return self.leaf(self.mass(cells)), 1
        best = (float("inf"), 0)
        for charge, parts in self.ways(cells):
            cost, count = charge, 0
            for body in parts:
                more, pieces = self.best(body)
                cost, count = cost + more, count + pieces
            best = min(best, (cost, count))
        return best


def _faces(whole: Face) -> list[Face]:
    """The connected faces of a joint; what touches in a corner is one."""
    left, out = set(whole), []
    while left:
        todo = [min(left)]
        left.discard(todo[0])
        face = set(todo)
        while todo:
            cell, axis = todo.pop()
            one, two = (axis + 1) % 3, (axis + 2) % 3
            for i, j in product((-1, 0, 1), repeat=2):
                near = beside(beside(cell, one, i), two, j), axis
                if near in left:
                    left.discard(near)
                    face.add(near)
                    todo.append(near)
        out.append(frozenset(face))
    return out


def seam_round(cells: Cells, axis: int, level: int, sides: Sequence[float], where: Cells | None = None) -> Trail:
    """A seam round the body where a plane of its grid meets the surface.

    Parameters
    ----------
    level : cells with a lower number along the axis lie below the plane. where : only beside these cells; None: all.
    """
    starts, ends = [], []
    for cell in sorted(cells if where is None else where & cells):
        if cell[axis] != level - 1 or beside(cell, axis, 1) not in cells:
            continue
        for other, by in product(((axis + 1) % 3, (axis + 2) % 3), (-1, 1)):
            low = beside(cell, other, by)
            if low in cells and beside(low, axis, 1) in cells:
                continue
            along = 3 - axis - other
            corner = beside(beside(cell, axis, 1), other, max(by, 0))
            starts.append(corner)
            ends.append(beside(corner, along, 1))
    scale = np.array(sides)
    return Trail(f"seam {axis}/{level}", np.array(starts) * scale, np.array(ends) * scale)
