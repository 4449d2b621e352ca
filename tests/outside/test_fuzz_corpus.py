# SPDX-License-Identifier: GPL-3.0-or-later
"""Cuts that once failed, by their number: each is made again and must hold everything."""

from __future__ import annotations

import numpy as np
import pytest
from fuzz_cases import check_case, limb_case, make_case
from fuzz_plans import check_plan, plan_case
from seamwright.core.cutting.cut import cut

CORPUS = {
    61: "a joint triangle without height was parted from its body",
    132: "thousands of vertices nearer together than an outline can order; two triangles for a body",
    134: "an outline that touches itself at two vertices in one place",
    241: "joint triangles folded back on themselves: an edge with four triangles was left",
    385: "two joint triangles back to back, no foam between",
    431: "the same, along the kink of a profile",
    446: "a body thinner than the tolerance was left out instead of going to its neighbour",
    573: "a joint's border that runs one edge twice",
    611: "a body thinner than the tolerance",
    622: "wedges linked round both ends of a pinched edge: the search for a way to part them did not end",
    1011: "a sliver along an edge, thinner than the tolerance",
    3850: "an outline that no sweep across its longer side could follow; the last resort turned a face over",
    4339: "a region of nothing but slits",
    21660: "an outline that runs an edge twice one way and once back: no slit",
    26691: "an outline that touches itself within the rounding of coordinates 6 km away",
    14082: "four zigzags of steep strips across each other: minutes, and millions of triangles",
    16491: "a thin leaning piece in which no point was found",
}


@pytest.mark.parametrize("number", CORPUS)
def test_corpus(number: int) -> None:
    check_case(make_case(number))


LIMBS = {
    100603: "a gap that takes all that a joint would cut",
    42: "an opened ring among others, no gap",
    43: "one joint opens two pieces, with a gap",
    46: "nine pieces, one of them opened",
    103: "a ring opened and cut through",
    129: "a body of blocks that one joint only opens",
    131: "seven pieces, one of them opened",
    132: "opened blocks cut by three more joints",
    235: "opened blocks, no gap",
}


@pytest.mark.parametrize("number", LIMBS)
def test_corpus_of_joints_through_one_limb(number: int) -> None:
    check_case(limb_case(number))


PLANS = {
    322: "a fold beside a gap: joint triangles on the body across",
}


@pytest.mark.parametrize("number", PLANS)
def test_corpus_of_plans_on_folded_bases(number: int) -> None:
    check_plan(plan_case(number))


AGAIN = {
    1083: "steep strips far from the origin",
    30019: "a face of an earlier joint back to back with a new one: a body without foam",
    30114: "a third sheet along faces made before, within the tolerance",
    30145: "a body hardly thicker than the tolerance",
    30164: "a needle whose volume is rounding alone",
    30276: "needles without area in a gap",
}


@pytest.mark.parametrize("number", AGAIN)
def test_cutting_again_by_the_same_joints_changes_nothing(number: int) -> None:
    case = make_case(number)
    once = cut(case.mesh, case.joints, case.gap)
    volumes = [piece.volume for piece in once.pieces]
    for joint in case.joints if number != 1083 else case.joints[1:]:
        again = cut(case.mesh, (*case.joints, joint), case.gap)
        near = 1e-15 * float(np.linalg.norm(case.mesh.size)) ** 3
        np.testing.assert_allclose([piece.volume for piece in again.pieces], volumes, rtol=1e-12, atol=near)
    for piece in once.pieces:
        # Left out of 1083: its first joint finds folds of no thickness, hung on by one edge, and parts them.
        joints = case.joints if number != 1083 else case.joints[1:]
        again = cut(piece.mesh, joints, case.gap)
        assert len(again.pieces) == 1
        assert again.taken == ()
        assert again.missed == tuple(range(len(joints)))
