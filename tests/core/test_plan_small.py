# SPDX-License-Identifier: GPL-3.0-or-later
"""Small plans against exhaustive search: every way to cut a body of blocks along its grid is tried, by exact measures.

The planner knows nothing of the grid, and may cut off it; it must come to as few pieces or fewer, and to no more than
1.05 times the least cost on the grid.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest
from seamwright.core.cutting.cut import cut
from seamwright.core.handling.checks import within_limits
from seamwright.core.handling.figures import measure_piece
from seamwright.core.job import Job
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.planning.need import Need
from seamwright.core.planning.options import Rules
from seamwright.core.planning.part import whole
from seamwright.core.planning.samples import take_samples
from seamwright.core.planning.search import Plan, Search
from seamwright.core.planning.worth import Worth

SIDE = 0.4
SKIN = 6.0
WORTH = Worth(line=0.05, area=0.06, small=0.5, light=0.5, tips=0.0, thin=0.0, wire=0.0, floor=0.0)
Cell = tuple[int, int, int]


def job(mass: float, size: tuple[float, float, float]) -> Job:
    sides = ", ".join(f'"{side} m"' for side in size)
    return Job.from_toml(
        f"""
        [foam]
        kerf = "0 mm"
        [skin]
        bridging = "0 mm"
        layers = [{{ name = "skin", mass = "{SKIN} kg/m2", faces = ["carved", "joint", "base", "back"] }}]
        [limits]
        piece_mass = "{mass} kg"
        piece_size = [{sides}]
        [joints]
        fit = "0 mm"
        kinds = ["plane"]
        """
    )


def blocks(cells: frozenset[Cell]) -> Mesh:
    """Closed mesh of cubes that share faces."""
    number: dict[Cell, int] = {}
    triangles = []
    for cell in sorted(cells):
        for axis in range(3):
            for way in (0, 1):
                beside = list(cell)
                beside[axis] += 2 * way - 1
                if tuple(beside) in cells:
                    continue
                one, two = (axis + 1) % 3, (axis + 2) % 3
                corners = []
                for a, b in ((0, 0), (1, 0), (1, 1), (0, 1)):
                    at = list(cell)
                    at[axis] += way
                    at[one] += a
                    at[two] += b
                    corners.append(number.setdefault(tuple(at), len(number)))
                corners = corners if way else corners[::-1]
                triangles += [corners[:3], [corners[0], corners[2], corners[3]]]
    return Mesh(SIDE * np.array(list(number), dtype=np.float64), np.array(triangles))


def bodies(cells: frozenset[Cell]) -> list[frozenset[Cell]]:
    """Connected parts, through faces."""
    left, out = set(cells), []
    while left:
        todo = [min(left)]
        left.discard(todo[0])
        body = set(todo)
        while todo:
            x, y, z = todo.pop()
            for near in ((x + 1, y, z), (x - 1, y, z), (x, y + 1, z), (x, y - 1, z), (x, y, z + 1), (x, y, z - 1)):
                if near in left:
                    left.discard(near)
                    body.add(near)
                    todo.append(near)
        out.append(frozenset(body))
    return out


@dataclass
class Exhaustive:
    """The least cost of a body over all ways to cut it along its grid, and the pieces of it."""

    carving: frozenset[Cell]
    job: Job

    def __post_init__(self) -> None:
        self.best = cache(self._best)

    def mass(self, cells: frozenset[Cell]) -> float:
        faces = sum(
            (x + dx, y + dy, z + dz) not in cells
            for x, y, z in cells
            for dx, dy, dz in ((1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1))
        )
        return self.job.foam.density * len(cells) * SIDE**3 + SKIN * faces * SIDE**2

    def fits(self, cells: frozenset[Cell]) -> bool:
        extent = np.ptp(np.array(sorted(cells)), axis=0) + 1
        length, width = sorted((extent[0] * SIDE, extent[1] * SIDE), reverse=True)
        most = self.job.limits.piece_size
        assert most is not None
        inside = length <= most[0] + 1e-9 and width <= most[1] + 1e-9 and extent[2] * SIDE <= most[2] + 1e-9
        return inside and self.mass(cells) <= self.job.limits.piece_mass

    def joint(self, cells: frozenset[Cell], axis: int, level: int) -> float:
        """Cost of the joint between the cells under a level and those over it: its area, its line on the carving."""
        area = line = 0
        for cell in cells:
            over = list(cell)
            over[axis] += 1
            if cell[axis] != level - 1 or tuple(over) not in cells:
                continue
            area += 1
            for other in ((axis + 1) % 3, (axis + 2) % 3):
                for way in (-1, 1):
                    beside = list(cell)
                    beside[other] += way
                    above = list(beside)
                    above[axis] += 1
                    # Seen where one of the two cells beside the joint's edge is no foam of the carving at all.
                    line += tuple(beside) not in self.carving or tuple(above) not in self.carving
        return WORTH.area * area * SIDE**2 + WORTH.line * line * SIDE

    def _best(self, cells: frozenset[Cell]) -> tuple[float, int]:
        if self.fits(cells):
            return leaf(self.mass(cells), self.job), 1
        best = (float("inf"), 0)
        for axis in range(3):
            levels = sorted({cell[axis] for cell in cells})
            for level in levels[1:]:
                low = frozenset(cell for cell in cells if cell[axis] < level)
                cost, count = self.joint(cells, axis, level), 0
                for body in [*bodies(low), *bodies(cells - low)]:
                    more, pieces = self.best(body)
                    cost, count = cost + more, count + pieces
                best = min(best, (cost, count))
        return best


def leaf(mass: float, limits: Job) -> float:
    lack = max(0.0, WORTH.light - mass / limits.limits.piece_mass) / WORTH.light
    return 1.0 + WORTH.small * lack


def grid(x: int, y: int, z: int) -> frozenset[Cell]:
    return frozenset((i, j, k) for i in range(x) for j in range(y) for k in range(z))


WIDE = (2.5, 1.3, 1.3)
CASES = {
    "box by size": (grid(6, 3, 2), 500.0, (1.25, 1.25, 1.25)),
    "box by mass": (grid(6, 2, 2), 26.0, WIDE),
    "long box": (grid(10, 2, 2), 30.0, WIDE),
    "L": (grid(5, 2, 2) | frozenset((i, j, k) for i in range(2) for j in range(5) for k in range(2)), 32.0, WIDE),
    "T": (grid(7, 2, 2) | frozenset((i, j, k) for i in (3, 4) for j in range(5) for k in range(2)), 32.0, WIDE),
    "U": (
        grid(6, 2, 2) | frozenset((i, j, k) for i in (0, 1, 4, 5) for j in range(5) for k in range(2)),
        32.0,
        WIDE,
    ),
    "ring": (grid(5, 5, 2) - frozenset((2, 2, k) for k in range(2)), 34.0, WIDE),
}


def steps(plan: Plan) -> list[Plan]:
    return [step for step in plan if step.option is not None]


@pytest.mark.parametrize("name", CASES)
def test_as_few_pieces_and_nearly_the_cost_of_exhaustive_search(name: str) -> None:
    cells, mass, size = CASES[name]
    limits = job(mass, size)
    mesh = blocks(cells)
    least, fewest = Exhaustive(cells, limits).best(cells)
    samples = take_samples(mesh, limits, 0.0)
    need = Need.of(limits, samples.face_mass, 0.985)
    plan = Search(Rules.of(limits, need, WORTH, 1e-3), 700_000).run([whole(samples)])[0]
    cost, pieces = measured(mesh, plan, limits)
    assert pieces <= fewest
    assert cost <= 1.05 * least


def measured(mesh: Mesh, plan: Plan, limits: Job) -> tuple[float, int]:
    """Cost and pieces of a plan on the exact cut, part by part."""
    if plan.option is None:
        figures = measure_piece(mesh, limits)
        assert within_limits(figures, limits), figures
        return leaf(figures.finished_mass, limits), 1
    found = cut(mesh, [plan.option.sheet.joint(None)], crumb=1e-3)
    cost = sum(WORTH.area * c.area + WORTH.line * c.visible_length for c in found.contacts)
    count = 0
    left = list(plan.plans)
    assert len(found.pieces) == len(left)
    for body in found.pieces:
        middle = body.mesh.vertices.mean(axis=0)
        own = min(left, key=lambda p: float(np.linalg.norm(p.part.middle - middle)))
        left.remove(own)
        more, pieces = measured(body.mesh, own, limits)
        cost, count = cost + more, count + pieces
    return cost, count
