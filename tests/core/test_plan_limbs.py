# SPDX-License-Identifier: GPL-3.0-or-later
"""Plans of joints through one limb each: rings and bent bodies, against the exact cut."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bare_skin import limited
from proof import assert_closed
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane
from seamwright.core.handling.checks import within_limits
from seamwright.core.handling.figures import measure_piece
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.planning.blocks import Blocks
from seamwright.core.planning.limb_split import Limb, split_limbs
from seamwright.core.planning.limbs import series
from seamwright.core.planning.need import Need
from seamwright.core.planning.options import Rules
from seamwright.core.planning.part import Part, Sheet, whole
from seamwright.core.planning.propose import Wish, propose
from seamwright.core.planning.samples import take_samples
from seamwright.core.planning.search import Search, Tally
from seamwright.core.planning.sheaf import Sheaf
from seamwright.core.planning.suggest import suggest
from seamwright.core.planning.ways import limb_ways, ways
from seamwright.core.planning.wished import search_body
from seamwright.core.planning.worth import Worth
from shapes import rock, torus

JOB = replace(limited(50.0), joints=replace(limited(50.0).joints, kinds=("plane",)))
RING = torus(64, 16, 1.3, 0.3)


@pytest.fixture(scope="module")
def ring() -> Part:
    return whole(take_samples(RING, JOB, 0.0))


@pytest.fixture(scope="module")
def rules(ring: Part) -> Rules:
    plain = Rules.of(JOB, Need.of(JOB, ring.of.face_mass, 0.988, ring.of.grow), Worth.of(0.5), JOB.carving.crumb)
    return replace(plain, limbs=True)


def sheet(point: tuple[float, float, float], normal: tuple[float, float, float]) -> Sheet:
    w = np.array(normal) / np.linalg.norm(normal)
    u = np.cross((0.0, 0.0, 1.0), w)
    u /= np.linalg.norm(u)
    return Sheet(u, w, np.array([[0.0, float(np.array(point) @ w)]]), True)


def test_parts_and_lines_are_those_of_the_exact_cut(ring: Part) -> None:
    limbs = [
        Limb(sheet((1.3, 0.1, 0.0), (0.2, 1.0, 0.0)), np.array([1.3, 0.1, 0.0])),
        Limb(sheet((-1.3, 0.3, 0.0), (-0.3, 1.0, 0.0)), np.array([-1.3, 0.3, 0.1])),
    ]
    made = split_limbs(ring, limbs)
    exact = cut(RING, [limb.joint(None) for limb in limbs])
    assert len(made.parts) == len(exact.pieces) == 2
    assert all(limb.point is not None for limb in made.limbs)
    figures = [measure_piece(body.mesh, JOB) for body in exact.pieces]
    mine = sorted(made.parts, key=lambda part: part.mass)
    theirs = sorted(figures, key=lambda piece: piece.finished_mass)
    for part, piece in zip(mine, theirs, strict=True):
        assert part.mass == pytest.approx(piece.finished_mass, rel=0.01)
        assert part.foam == pytest.approx(piece.volume, rel=0.01)
        assert part.box == pytest.approx(piece.box, abs=0.03)
    assert made.area == pytest.approx(sum(c.area for c in exact.contacts), rel=0.03)
    assert made.line == pytest.approx(sum(c.visible_length for c in exact.contacts), rel=0.07)
    # Every cell and every sample is in one part.
    assert sum(len(part.cells) for part in mine) == len(ring.cells)
    assert sum(len(part.skin) for part in mine) == len(ring.skin)
    # One alone opens it and parts nothing.
    (opened,) = split_limbs(ring, limbs[:1]).parts
    assert opened.foam == pytest.approx(ring.foam)
    assert len(opened.pairs) < len(ring.pairs)


def test_a_sheet_with_one_face_needs_no_limb(rules: Rules) -> None:
    block = whole(take_samples(rock(3, 3), JOB, 0.0))
    made = split_limbs(block, [Limb(sheet((0.1, 0.0, 0.0), (1.0, 0.1, 0.0)), np.array([0.1, 0.0, 0.0]))])
    assert len(made.parts) == 2
    assert made.limbs[0].point is None
    sheaf = Sheaf.of_body(block.of, Worth.of(0.5), True, False)
    every = np.flatnonzero((sheaf.least < 0.2) & (sheaf.most > -0.2))[::3]
    assert series(block, Blocks.make(block), sheaf, every, rules.need, rules.worth, 1.5) is None


def test_a_ring_is_offered_two_joints_each_on_a_limb_of_its_own(ring: Part, rules: Rules) -> None:
    sheaf = Sheaf.of_body(ring.of, rules.worth, *rules.kinds)
    (way,) = limb_ways(ring, rules, sheaf)
    option = way.make()
    assert option is not None
    assert len(option.limbs) == len(option.parts) == 2
    one, two = option.limbs
    assert one.point is not None
    assert two.point is not None
    assert float(np.linalg.norm(one.point - two.point)) > 1.0, "they are on one limb"
    # Parts are those of the exact cut.
    exact = cut(RING, [limb.joint(None) for limb in option.limbs])
    assert sorted(body.volume for body in exact.pieces) == pytest.approx(
        sorted(part.foam for part in option.parts), rel=0.02
    )
    # It comes on top of what whole sheets offer, the best first.
    others = [(other.score, other.make()) for other in ways(ring, rules, sheaf)]
    assert others
    assert [score for score, _ in others] == sorted(score for score, _ in others)
    assert not any(other is not None and other.limbs for _, other in others)


def test_a_ring_is_planned_and_cut_within_the_limits() -> None:
    gap = 0.01
    proposal = propose(RING, JOB, gap, wish=Wish(hidden=0.5))
    result = cut(RING, proposal.joints, gap, crumb=JOB.carving.crumb)
    assert not proposal.over
    assert len(result.pieces) == proposal.quality.pieces
    assert len(proposal.joints) == len(proposal.reasons)
    for body in (*result.pieces, *result.taken):
        assert_closed(body.mesh)
    assert all(within_limits(measure_piece(body.mesh, JOB), JOB) for body in result.pieces)
    assert proposal.quality.area == pytest.approx(sum(c.area for c in result.contacts), rel=0.05)


def test_limb_by_limb_is_taken_where_it_is_better(ring: Part, rules: Rules) -> None:
    assert Blocks.make(ring).limbs
    assert not Blocks.make(whole(take_samples(rock(3, 3), JOB, 0.0))).limbs
    searches = [Search(one, 600_000) for one in (replace(rules, limbs=False), rules)]
    plans = [search.run(ring) for search in searches]
    assert all(np.isfinite(search.value) for search in searches)
    assert not any(step.option.limbs for step in plans[0] if step.option)
    assert any(step.option.limbs for step in plans[1] if step.option)
    assert searches[1].value < 1.03 * searches[0].value
    taken, search = search_body(ring.of, JOB, Wish(hidden=0.5), 600_000, None)
    assert any(step.option.limbs for step in taken if step.option)
    assert search.value == pytest.approx(searches[1].value, rel=0.2)


def test_joints_on_one_limb_that_are_given_do_not_upset_what_is_told_of_others(ring: Part) -> None:
    joints = [
        Plane((1.3, 0.1, 0.0), (0.2, 1.0, 0.0), limb=(1.3, 0.1, 0.0)),
        Plane((-1.3, 0.3, 0.0), (-0.3, 1.0, 0.0), limb=(-1.3, 0.3, 0.1)),
    ]
    assert suggest(ring.of, joints, JOB) == ()


def test_a_mesh_is_not_changed() -> None:
    mesh = Mesh(RING.vertices.copy(), RING.triangles.copy())
    before = mesh.vertices.tobytes()
    split_limbs(whole(take_samples(mesh, JOB, 0.0)), [Limb(sheet((1.3, 0.1, 0.0), (0.2, 1.0, 0.0)), np.zeros(3))])
    assert mesh.vertices.tobytes() == before


def test_progress_never_goes_back_where_parts_are_worked_on_side_by_side(rules: Rules) -> None:
    shares: list[float] = []
    search = Search(rules, 100, lambda share, _: shares.append(share))
    for work in (10, 60, 40, 100):
        search._tell(Tally(100.0, work))
    assert shares == pytest.approx([0.1, 0.6, 0.6, 1.0])
