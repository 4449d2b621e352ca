# SPDX-License-Identifier: GPL-3.0-or-later
"""Rows that stand for several: against a plain loop."""

from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.mesh.runs import runs, runs_in_parts


@pytest.mark.parametrize("seed", range(20))
def test_rows_and_times_are_those_of_a_loop(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = rng.integers(0, 6, int(rng.integers(0, 40)))
    wanted = [(row, time) for row in range(len(count)) for time in range(count[row])]
    row, time = runs(count)
    assert list(zip(row.tolist(), time.tolist(), strict=True)) == wanted
    for most in (1, 7, 1000):
        parts = list(runs_in_parts(count, most))
        assert [pair for part in parts for pair in zip(*(a.tolist() for a in part), strict=True)] == wanted
        for row, _ in parts:
            assert 0 < len(row)
            # More than asked for only where one row alone is more.
            assert len(row) <= most or len(set(row.tolist())) == 1
