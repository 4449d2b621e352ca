# SPDX-License-Identifier: GPL-3.0-or-later
"""A joint that parts a chip off, which the plan does not know of, is moved until it does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bare_skin import BARE_SKIN
from grid_plans import blocks, grid
from seamwright.core.planning.carry_out import Bench, Lump
from seamwright.core.planning.need import Need
from seamwright.core.planning.nodes import Plan
from seamwright.core.planning.options import Rules, cut_once
from seamwright.core.planning.part import Sheet, whole
from seamwright.core.planning.samples import take_samples
from seamwright.core.planning.worth import Worth

SIDE = 0.1
HOOK = grid(20, 6, 6) | grid(1, 2, 1, (9, 6, 2)) | grid(2, 1, 1, (9, 7, 2))
"""A block with a hook on its side, whose tip ends at x = 1.1 m and hangs on by x = 0.9 to 1.0 m."""


@pytest.mark.parametrize(
    ("at", "pieces", "moved"),
    [
        (0.8, 2, 0.0),  # no tip there
        (1.08, 2, 0.02),  # 20 mm of the tip: gone once the joint is past it
        (1.02, 2, -0.03),  # 80 mm of the tip: gone once the joint is where it hangs on
        (1.05, 3, 0.0),  # out of reach on either side
    ],
)
def test_a_joint_is_moved_off_a_tip_that_it_would_part(at: float, pieces: int, moved: float) -> None:
    job = replace(BARE_SKIN, limits=replace(BARE_SKIN.limits, piece_mass=200.0))
    mesh = blocks(HOOK, (SIDE, SIDE, SIDE))
    part = whole(take_samples(mesh, job, 0.0))
    need = Need.of(job, part.of.face_mass, 1.0)
    rules = Rules.of(job, need, Worth.of(0.5), job.carving.crumb)
    option = cut_once(
        part, Sheet(np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0]), np.array([[0.0, at]]), True), rules
    )
    assert option is not None
    known = sorted(option.parts, key=lambda body: -body.volume)[:2]
    plan = Plan(part, replace(option, parts=tuple(known), then=(None, None)), tuple(Plan(body, None) for body in known))
    bench = Bench(job, 0.0, 1e-5, None, lambda lump: None)
    bench.run(Lump(mesh, np.arange(len(mesh.triangles))), plan, True)
    assert len(bench.outcome.pieces) == pieces
    assert bench.outcome.nudged == (moved != 0.0)
    (made,) = bench.outcome.made
    assert float(made.joint.point[0]) == pytest.approx(at + moved)
    assert sum(piece.volume for piece in bench.outcome.pieces) == pytest.approx(len(HOOK) * SIDE**3)
