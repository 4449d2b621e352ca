# SPDX-License-Identifier: GPL-3.0-or-later
"""The slider between few pieces and well hidden joints does what it says, step by step."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from bare_skin import limited
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Profile
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.planning.propose import propose
from seamwright.core.planning.trails import Trail, paint
from seamwright.core.planning.wished import Wish
from seamwright.core.seams.sampling import visible_parts
from shapes import rock

STEPS = (0.0, 0.25, 0.5, 0.75, 1.0)
SLACK = 0.3
"""Metres of line off seams by which a step may come out worse than the one before: the planner sees lines by samples
15 mm apart, and tells a plan's 10 to 20 m to about so much."""

JOB = limited(32.0)


def grooved(seed: int) -> tuple[Mesh, list[Trail]]:
    """A rock, and wandering grooves round it: 0.4 m apart along it, and two level ones."""
    body = rock(4, seed, 0.35, (2.2, 1.2, 0.9))
    rng = np.random.default_rng(seed)
    at = np.linspace(-1.5, 1.5, 61)
    sheets = []
    for place in np.arange(-0.8, 0.9, 0.4).tolist():
        phase, wave = rng.uniform(0.0, 2.0 * np.pi, 2), rng.uniform(0.03, 0.07, 2)
        height = place + wave[0] * np.sin(5.0 * at + phase[0]) + wave[1] * np.sin(9.0 * at + phase[1])
        lean = rng.uniform(-0.4, 0.4)
        along = (0.0, np.cos(lean), np.sin(lean))
        sheets.append(Profile((0.0, 0.0, 0.0), along, (1.0, 0.0, 0.0), np.column_stack([at, height])))
    for place in (-0.15, 0.2):
        height = place + 0.05 * np.sin(4.0 * at + rng.uniform(0.0, 2.0 * np.pi))
        sheets.append(Profile((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), np.column_stack([at, height])))
    trails = []
    for k, sheet in enumerate(sheets):
        for line in cut(body, [sheet]).lines[0]:
            trails.append(Trail.along(f"groove {k}", line.points))
    return body, trails


@pytest.mark.parametrize("seed", [1, 4])
def test_better_hidden_is_less_line_off_seams_at_the_price_of_pieces(seed: int) -> None:
    body, trails = grooved(seed)
    pieces, off = [], []
    for hidden in STEPS:
        proposal = propose(body, JOB, 0.0, trails=trails, wish=Wish(hidden=hidden))
        assert not proposal.over
        found = cut(body, proposal.joints, crumb=JOB.carving.crumb)
        parts = visible_parts([line for lines in found.lines for line in lines])
        on_seam, _ = paint(parts.point, trails, JOB.joints.seam_tolerance)
        pieces.append(len(found.pieces))
        off.append(float(((1.0 - on_seam) * parts.length).sum()))
    told = f"pieces {pieces}, metres off seams {[round(x, 2) for x in off]}"
    # A piece may be missed at one place of the slider; over all of it there are more.
    assert all(a <= b + 1 for a, b in pairwise(pieces)), told
    assert max(pieces[:3]) <= pieces[-1], told
    assert all(b <= a + SLACK for a, b in pairwise(off)), told
    # It does something.
    assert off[-1] < 0.6 * off[0], told
