# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

import numpy as np
import pytest
from seamwright.core import cut
from seamwright.core.errors import CutError
from seamwright.core.planning.equal import equal_stations
from shapes import box, moved, turned


def test_parts_of_a_bar_are_equal() -> None:
    bar = moved(box((4.0, 1.0, 1.0), (3.0, -2.0, 0.5)), turned((0.0, 0.0, 1.0), 0.6))
    joints = equal_stations(bar, 5)
    assert len(joints) == 4
    volumes = [piece.volume for piece in cut(bar, joints).pieces]
    assert volumes == pytest.approx([0.8] * 5, rel=1e-12)


def test_along_a_given_direction_from_low_to_high() -> None:
    joints = equal_stations(box((1.0, 1.0, 3.0)), 3, (0.0, 0.0, 2.0))
    assert [j.point.tolist() for j in joints] == [[0.5, 0.5, 1.0], [0.5, 0.5, 2.0]]
    assert all(np.array_equal(j.normal, (0.0, 0.0, 1.0)) for j in joints)


def test_one_part_needs_no_joint() -> None:
    with pytest.raises(CutError, match="2 or more"):
        equal_stations(box(), 1)
