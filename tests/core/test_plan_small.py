# SPDX-License-Identifier: GPL-3.0-or-later
"""Small plans against exhaustive search: every way to cut a body of blocks along its grid is tried, by exact measures.

The planner knows nothing of the grid, and may cut off it; it must come to as few pieces or fewer, and to no more than
1.05 times the least cost on the grid, on the exact cut. Seams run along planes of the grid, so that the least cost is
led by them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
from grid_plans import Cells, Exhaustive, beside, blocks, bodies, grid, seam_round
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane
from seamwright.core.cutting.result import CutResult
from seamwright.core.handling.checks import within_limits
from seamwright.core.handling.figures import measure_piece
from seamwright.core.job import Job
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.planning import wished
from seamwright.core.planning.propose import propose
from seamwright.core.planning.trails import Trail, paint
from seamwright.core.planning.worth import Worth
from seamwright.core.seams.sampling import visible_parts
from shapes import box, joined, turned

SKIN = 6.0
CUBE = (0.4, 0.4, 0.4)
WIDE = (2.5, 1.3, 1.3)
SMALL = (0.25, 0.25, 0.25)
FLAT = (0.32, 0.25, 0.38)
ANY = 900.0
"""A mass limit that nothing comes near."""

BUDGET = 800_000
"""Of the search: about a quarter of the usual one, as these bodies come to few pieces."""

Round = tuple[int, int, Cells | None]
"""A seam: along which plane of the grid, by axis and level, and beside which cells; None: all round the body."""


def charged(found: CutResult, trails: Sequence[Trail], limits: Job, worth: Worth) -> float:
    """Cost of the joints of a cut."""
    parts = visible_parts([line for lines in found.lines for line in lines])
    on_seam, _ = paint(parts.point, trails, limits.joints.seam_tolerance)
    on = float(on_seam @ parts.length)
    cost = worth.area * sum(contact.area for contact in found.contacts)
    return cost + worth.line * (float(parts.length.sum()) - on - worth.follow * on)


@dataclass(frozen=True)
class Case:
    """A body of blocks and its limits.

    Attributes
    ----------
    cells : its blocks. mass : kg. size : metres. sides : of a block, metres. turn : of it all in plan, degrees.
    seams : what joints may follow. line : pieces that a metre of joint line off them costs.
    """

    cells: Cells
    mass: float
    size: tuple[float, float, float]
    sides: tuple[float, float, float] = CUBE
    turn: float = 0.0
    seams: tuple[Round, ...] = ()
    line: float = 0.05

    @property
    def worth(self) -> Worth:
        """Costs: those alone that the search by hand knows too."""
        return Worth(line=self.line, area=0.06, small=0.5, light=0.5, tips=0.0, thin=0.0, wire=0.0, floor=0.0)

    @property
    def trails(self) -> list[Trail]:
        """Seams on the grid, before it is turned."""
        return [seam_round(self.cells, axis, level, self.sides, where) for axis, level, where in self.seams]

    def job(self, kinds: tuple[str, ...]) -> Job:
        """Its limits."""
        size = ", ".join(f'"{side} m"' for side in self.size)
        return Job.from_toml(
            f"""
            [foam]
            kerf = "0 mm"
            [skin]
            bridging = "0 mm"
            layers = [{{ name = "skin", mass = "{SKIN} kg/m2", faces = ["carved", "joint", "base", "back"] }}]
            [limits]
            piece_mass = "{self.mass} kg"
            piece_size = [{size}]
            [joints]
            fit = "0 mm"
            kinds = [{", ".join(f'"{kind}"' for kind in kinds)}]
            """
        )

    def exhaustive(self, limbs: bool = True) -> tuple[float, int]:
        """Least cost along the grid, and its pieces."""
        limits, trails = self.job(("plane",)), self.trails
        each = [
            Exhaustive(body, self.sides, SKIN, limits, self.worth, trails, limbs).best(body)
            for body in bodies(self.cells)
        ]
        return sum(cost for cost, _ in each), sum(pieces for _, pieces in each)

    def planned(self, kinds: tuple[str, ...], monkeypatch: pytest.MonkeyPatch) -> tuple[float, int]:
        """Cost of what the planner proposes, and its pieces, on the exact cut."""
        monkeypatch.setattr(Worth, "of", lambda _: self.worth)
        monkeypatch.setattr(wished, "BUDGET", BUDGET)
        limits, worth, turn = self.job(kinds), self.worth, turned((0.0, 0.0, 1.0), np.radians(self.turn))
        straight = joined(*(blocks(body, self.sides) for body in bodies(self.cells)))
        mesh = Mesh(straight.vertices @ turn.T, straight.triangles)
        trails = [Trail(one.name, one.starts @ turn.T, one.ends @ turn.T) for one in self.trails]
        proposal = propose(mesh, limits, 0.0, trails=trails)
        assert not proposal.over
        found = cut(mesh, proposal.joints, crumb=limits.carving.crumb)
        figures = [measure_piece(body.mesh, limits) for body in found.pieces]
        assert all(within_limits(piece, limits) for piece in figures)
        cost = charged(found, trails, limits, worth)
        of = Exhaustive(self.cells, self.sides, SKIN, limits, worth)
        return cost + sum(of.leaf(piece.finished_mass) for piece in figures), len(figures)


U = grid(6, 2, 2) | grid(2, 5, 2) | grid(2, 5, 2, (4, 0, 0))
FLAT_U = grid(6, 2, 1) | grid(2, 5, 1) | grid(2, 5, 1, (4, 0, 0))
RING = grid(7, 7, 1) - grid(5, 5, 1, (1, 1, 0))
LONG_RING = grid(7, 4, 1) - grid(5, 2, 1, (1, 1, 0))
BAR = grid(12, 2, 2)
BOX = grid(6, 3, 2)
FLAT_L = grid(5, 2, 1) | grid(2, 5, 1)
LEFT, RIGHT = grid(2, 9, 9), grid(5, 9, 9, (4, 0, 0))

PLAIN = {
    "box by size": Case(BOX, ANY, (1.25, 1.25, 1.25)),
    "box by mass": Case(grid(6, 2, 2), 11.2, WIDE, SMALL),
    "long box": Case(grid(10, 2, 2), 11.3, WIDE, SMALL),
    "long box, pieces at 97 % of the limit": Case(grid(10, 2, 2), 11.2, WIDE, SMALL),
    "box turned": Case(grid(7, 2, 2), 10.4, WIDE, (0.23, 0.29, 0.21), 25.0),
    "tower by height": Case(grid(2, 2, 8), ANY, (1.3, 1.3, 1.25)),
    "stairs": Case(grid(6, 2, 1) | grid(4, 2, 2) | grid(2, 2, 3), 12.2, WIDE, (0.32, 0.25, 0.22)),
    "L": Case(grid(5, 2, 2) | grid(2, 5, 2), 12.5, WIDE, SMALL),
    "L turned": Case(FLAT_L, 11.4, (1.3, 0.8, 0.8), FLAT, 40.0),
    "T": Case(grid(7, 2, 2) | grid(2, 5, 2, (3, 0, 0)), 12.5, WIDE, SMALL),
    "cross": Case(grid(7, 1, 2, (0, 3, 0)) | grid(1, 7, 2, (3, 0, 0)), 25.4, (1.6, 1.2, 1.2), (0.35, 0.35, 0.45)),
    "comb": Case(
        grid(7, 1, 1) | grid(1, 4, 1) | grid(1, 4, 1, (3, 0, 0)) | grid(1, 4, 1, (6, 0, 0)), ANY, (1.3, 0.9, 1.2)
    ),
    "U": Case(U, 12.5, WIDE, SMALL),
    "U by size": Case(FLAT_U, ANY, (1.7, 0.9, 1.3)),
    "U upright": Case(grid(5, 1, 1) | grid(1, 1, 5) | grid(1, 1, 5, (4, 0, 0)), ANY, (1.3, 1.3, 1.3)),
    "ring": Case(grid(5, 5, 2) - grid(1, 1, 2, (2, 2, 0)), 12.5, WIDE, SMALL),
    "ring by size": Case(RING, ANY, (1.65, 1.3, 1.3)),
    "long ring by size": Case(LONG_RING, ANY, (1.7, 1.3, 1.3)),
    "two bodies": Case(grid(5, 2, 1) | grid(3, 2, 2, (6, 0, 0)), 22.0, WIDE, (0.4, 0.4, 0.5)),
}
SEAMED = {
    "bar led by seams": Case(BAR, 36.0, WIDE, seams=tuple((0, level, None) for level in (3, 5, 8, 10)), line=0.5),
    "bar led by seams off the middle": Case(
        BAR, 36.0, WIDE, seams=tuple((0, level, None) for level in (1, 4, 7, 9, 11)), line=0.85
    ),
    "box led by seams": Case(BOX, 38.0, WIDE, seams=((0, 2, None), (2, 1, None), (1, 1, None)), line=0.5),
    "L led by seams": Case(FLAT_L, 11.4, (1.3, 0.8, 0.8), FLAT, seams=((0, 3, None), (1, 3, None)), line=0.5),
    "L turned led by seams": Case(
        FLAT_L, 11.4, (1.3, 0.8, 0.8), FLAT, 40.0, seams=((0, 3, None), (1, 3, None)), line=0.5
    ),
    "U led by seams": Case(FLAT_U, 26.0, WIDE, seams=((1, 3, LEFT), (0, 3, None), (1, 2, RIGHT)), line=0.5),
    "long ring led by seams": Case(
        LONG_RING, 20.0, WIDE, seams=((0, 2, grid(9, 1, 1)), (0, 5, grid(9, 1, 1, (0, 3, 0))), (1, 2, RIGHT)), line=0.5
    ),
    "ring led by seams": Case(
        RING,
        24.0,
        WIDE,
        seams=((0, 3, grid(9, 1, 1)), (1, 5, LEFT), (0, 6, grid(9, 1, 1, (0, 6, 0))), (1, 2, RIGHT)),
        line=0.5,
    ),
}


PLANES, ALL = ("plane",), ("plane", "profile")


def cases() -> list[object]:
    rows = [(name, case, PLANES) for name, case in PLAIN.items()]
    rows += [(name, case, kinds) for name, case in SEAMED.items() for kinds in (PLANES, ALL)]
    return [
        pytest.param(case, kinds, id=f"{name}, profiles too" if kinds == ALL else name) for name, case, kinds in rows
    ]


@pytest.mark.parametrize(("case", "kinds"), cases())
def test_as_few_pieces_and_nearly_the_cost_of_exhaustive_search(
    case: Case, kinds: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    least, fewest = case.exhaustive()
    cost, pieces = case.planned(kinds, monkeypatch)
    assert pieces <= fewest, (pieces, fewest, cost / least)
    assert cost <= 1.05 * least, (pieces, fewest, cost / least)


@pytest.mark.parametrize("name", SEAMED)
def test_the_search_by_hand_reckons_as_the_exact_cut_measures(name: str) -> None:
    case = SEAMED[name]
    limits, worth, trails = case.job(PLANES), case.worth, case.trails
    of = Exhaustive(case.cells, case.sides, SKIN, limits, worth, trails)
    mesh = blocks(case.cells, case.sides)
    assert of.mass(case.cells) == pytest.approx(measure_piece(mesh, limits).finished_mass)
    checked = 0
    # What is on a seam is told by parts of 5 mm, which begin elsewhere on the cut.
    for axis in range(3):
        for level in sorted({cell[axis] for cell in case.cells})[:-1]:
            square = np.eye(3)[axis]
            found = cut(mesh, [Plane((level + 1) * case.sides[axis] * square, square)])
            face = frozenset(
                (cell, axis) for cell in case.cells if cell[axis] == level and beside(cell, axis, 1) in case.cells
            )
            assert of.charge(face) == pytest.approx(charged(found, trails, limits, worth), abs=0.02 * worth.line)
            parts = bodies(case.cells, face)
            masses = [measure_piece(body.mesh, limits).finished_mass for body in found.pieces]
            assert sorted(of.mass(part) for part in parts) == pytest.approx(sorted(masses))
            checked += 1
    assert checked > 5


@pytest.mark.parametrize("name", ["ring", "ring by size"])
def test_joints_through_one_limb_are_what_is_best_for_a_ring(name: str) -> None:
    """So that the search by hand is one that a planner without them loses to."""
    assert PLAIN[name].exhaustive()[0] < 0.9 * PLAIN[name].exhaustive(limbs=False)[0]


def test_seams_lead_the_search_by_hand() -> None:
    """So that a planner that does not look for them loses to it by more than the bar."""
    for name in ("bar", "box", "L", "U", "long ring", "ring"):
        case = SEAMED[f"{name} led by seams"]
        assert case.exhaustive()[0] < 0.9 * replace(case, seams=()).exhaustive()[0]


@pytest.mark.parametrize("kinds", [("profile",), ALL], ids=["profiles", "all"])
def test_what_size_alone_bounds_is_cut_along_waving_seams(kinds: tuple[str, ...]) -> None:
    bar = box((4.0, 0.5, 0.5))
    t = np.linspace(0.0, 1.0, 41)
    y, z = np.concatenate([[0.0 * t, t], [t, 1.0 + 0.0 * t], [1.0 + 0.0 * t, 1.0 - t], [1.0 - t, 0.0 * t]], axis=1)
    trails = [
        Trail.along(f"groove {x:g}", np.column_stack([x + 0.05 * np.cos(2.0 * np.pi * y), 0.5 * y, 0.5 * z]))
        for x in (1.0, 2.0, 3.0)
    ]
    limits = Case(frozenset(), ANY, (1.4, 1.2, 1.2)).job(kinds)
    proposal = propose(bar, limits, 0.0, trails=trails)
    assert not proposal.over
    assert proposal.quality.pieces == 4
    assert proposal.quality.on_seam > 0.95
