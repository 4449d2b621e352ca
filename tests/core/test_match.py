# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

import itertools

from seamwright.core.marking.match import match_pieces
from shapes import box


def bar(*cuts: float) -> list:
    ends = (0.0, *cuts, 4.0)
    return [box((b - a, 1.0, 1.0), (a, 0.0, 0.0)) for a, b in itertools.pairwise(ends)]


OLD = ["1", "2"]
POINTS = [(0.5, 0.5, 0.5), (2.5, 0.5, 0.5)]


def test_same_pieces_go_on() -> None:
    assert match_pieces(OLD, POINTS, ["1", "2"], bar(1.0)) == (0, 1)


def test_place_goes_before_number() -> None:
    assert match_pieces(OLD, POINTS, ["2", "1"], bar(1.0)) == (0, 1)


def test_a_new_cut_makes_a_new_piece() -> None:
    assert match_pieces(OLD, POINTS, ["1", "2", "3"], bar(1.0, 2.0)) == (0, None, 1)


def test_two_old_pieces_in_one_new_leave_one_over() -> None:
    assert match_pieces(OLD, POINTS, ["1"], bar()) == (0,)
    assert match_pieces(OLD, POINTS, ["2"], bar()) == (1,)


def test_what_lies_nowhere_goes_by_number() -> None:
    assert match_pieces(OLD, [(0.5, 0.5, 0.5), (9.0, 9.0, 9.0)], ["1", "2"], bar(1.0)) == (0, 1)
    assert match_pieces(OLD, [(0.5, 0.5, 0.5), (9.0, 9.0, 9.0)], ["1", "3"], bar(1.0)) == (0, None)


def test_nothing_before() -> None:
    assert match_pieces([], [], ["1", "2"], bar(1.0)) == (None, None)
