# SPDX-License-Identifier: GPL-3.0-or-later
"""Jobs at the edge of what can be planned: told in words, never by an error."""

from __future__ import annotations

import sys

import pytest
from seamwright.core.job import Job
from seamwright.core.planning.propose import Proposal, propose
from seamwright.core.planning.threads import Threads
from seamwright.core.skin.depth import gap_width
from shapes import box


def plan(side: float, limit: str, kinds: str) -> Proposal:
    """Of a small block that is longer than a piece may be."""
    job = Job.from_toml(
        f'[carving]\ncrumb = "0.00001 l"\n[joints]\nkinds = {kinds}\n'
        f'[limits]\npiece_size = ["{limit}", "{limit}", "{limit}"]\n'
    )
    return propose(box((1.1 * side, side, 0.9 * side), (0.001, 0.001, 0.001)), job, gap_width(job))


def test_a_limit_of_size_that_is_used_up_by_what_pieces_keep_under_it() -> None:
    found = plan(0.02, "4 mm", '["plane"]')
    assert found.complete
    assert len(found.over) >= 1


@pytest.mark.parametrize("side", [0.008, 0.03, 0.06])
def test_a_block_that_no_profile_parts(side: float) -> None:
    found = plan(side, f"{600.0 * side:g} mm", '["profile"]')
    assert found.complete
    assert len(found.over) == found.quality.pieces == 1
    assert "no joint was found that parts it" in found.over[0]


def test_threads_take_turns_as_before_when_plans_end_in_any_order() -> None:
    usual = sys.getswitchinterval()
    first, second = Threads(), Threads()
    first.__enter__()
    second.__enter__()
    assert sys.getswitchinterval() < usual
    first.__exit__(None, None, None)
    assert sys.getswitchinterval() < usual
    second.__exit__(None, None, None)
    assert sys.getswitchinterval() == usual
