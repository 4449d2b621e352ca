# SPDX-License-Identifier: GPL-3.0-or-later
"""Numbers for pieces and letters for joints."""

from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.marking.marks import LETTERS, joint_letters, kept_letters, piece_order


def test_joint_letters() -> None:
    marks = joint_letters(1000)
    assert len(set(marks)) == 1000
    assert marks[:9] == tuple("ABCDEFGHJ")
    assert marks[23:26] == ("Z", "AA", "AB")
    assert len(LETTERS) == 24
    # By length, then by alphabet: as a list of them is sorted and read.
    assert list(marks) == sorted(marks, key=lambda m: (len(m), m))
    assert [len(m) for m in marks].count(1) == 24
    assert [len(m) for m in marks].count(2) == 24**2
    # None that reads as a number, or as part of one, on foam.
    assert not set("".join(marks)) & set("IO0123456789")
    assert joint_letters(7) == marks[:7]
    assert joint_letters(0) == ()


def test_joints_keep_their_letters_and_others_take_the_next_free() -> None:
    assert kept_letters(["", "", ""]) == ("A", "B", "C")
    assert kept_letters(["C", "", "A", ""]) == ("C", "B", "A", "D")
    assert kept_letters(["X1", "B", ""]) == ("X1", "B", "A")
    assert kept_letters([]) == ()
    many = kept_letters([*joint_letters(24), *[""] * 30])
    assert many == joint_letters(54)
    assert kept_letters([*reversed(joint_letters(24)), ""])[-1] == "AA"


@pytest.mark.parametrize("angle", [0.0, 0.7, np.pi / 2])
def test_pieces_in_order_along_then_up_then_across(angle: float) -> None:
    along = np.array([np.cos(angle), np.sin(angle), 0.0])
    across = np.array([-along[1], along[0], 0.0])
    grid = [(x, z, y) for x in range(4) for z in range(3) for y in range(2)]
    points = np.array([x * along + y * across + (0.0, 0.0, z) for x, z, y in grid])
    rng = np.random.default_rng(1)
    for _ in range(5):
        mixed = rng.permutation(len(points))
        # A tenth of a millimetre is no order.
        blurred = points[mixed] + rng.uniform(-1e-4, 1e-4, points.shape)
        order = piece_order(blurred, along)
        assert order.dtype == np.int64
        assert mixed[order].tolist() == list(range(len(points)))


def test_pieces_in_one_place_keep_their_order() -> None:
    assert piece_order(np.ones((5, 3)), np.array([1.0, 0.0, 0.0])).tolist() == [0, 1, 2, 3, 4]
    assert piece_order([], np.array([1.0, 0.0, 0.0])).tolist() == []
    assert piece_order([(3.0, 0.0, 0.0), (-1.0, 0.0, 0.0)], np.array([1.0, 0.0, 0.0])).tolist() == [1, 0]
