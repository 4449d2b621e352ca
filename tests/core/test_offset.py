# SPDX-License-Identifier: GPL-3.0-or-later
"""A profile moved square to itself: figures worked out by hand, and the width left clear on any profile."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from seamwright.core.cutting.offset import offset_knots

FAR = 30.0


def extended(knots: np.ndarray, far: float = FAR) -> np.ndarray:
    """The line with both ends run on straight."""
    first, last = knots[0] - knots[1], knots[-1] - knots[-2]
    return np.concatenate([[knots[0] + first / -first[0] * far], knots, [knots[-1] + last / last[0] * far]])


def apart(points: np.ndarray, line: np.ndarray) -> np.ndarray:
    """Distance of each point from the nearest segment of a line."""
    a, b = line[:-1], line[1:]
    run = b - a
    share = ((points[:, None] - a) * run).sum(axis=2) / (run**2).sum(axis=1)
    foot = a + np.clip(share, 0.0, 1.0)[..., None] * run
    return np.linalg.norm(points[:, None] - foot, axis=2).min(axis=1)


def clear_width(one: np.ndarray, two: np.ndarray) -> float:
    """Least distance of two lines that do not cross, ends run on: met at a corner of one of them."""
    one, two = extended(one), extended(two)
    low, high = max(one[0, 0], two[0, 0]), min(one[-1, 0], two[-1, 0])
    over = np.unique(np.concatenate([one[:, 0], two[:, 0]]))
    over = over[(over >= low) & (over <= high)]
    assert (np.interp(over, *two.T) > np.interp(over, *one.T)).all(), "the two lines cross"
    inner = [line[(line[:, 0] > low) & (line[:, 0] < high)] for line in (one, two)]
    return float(min(apart(inner[0], two).min(), apart(inner[1], one).min()))


def test_a_straight_profile_moves_square_to_itself() -> None:
    points = np.array([(0.0, 0.0), (0.9, 1.2), (3.0, 4.0)])
    moved = offset_knots(points, 0.5)
    assert moved == pytest.approx(np.array([(-0.4, 0.3), (2.6, 4.3)]), abs=1e-15)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_corners_are_mitred(side: float) -> None:
    # A right-angled ridge moves straight up by the square root of two, and so does its valley on the other side.
    points = np.array([(-1.0, 0.0), (0.0, 1.0), (1.0, 0.0)])
    h = 0.1 / np.sqrt(2.0)
    expected = np.array(
        [(-1.0 - side * h, side * h), (0.0, 1.0 + side * 0.1 * np.sqrt(2.0)), (1.0 + side * h, side * h)]
    )
    assert offset_knots(points, side * 0.1) == pytest.approx(expected, abs=1e-15)


def test_a_kink_tighter_than_the_distance_takes_the_outer_lines() -> None:
    # A flat floor 0.2 wide between two slopes of 45 degrees; moved up by 1 the slopes meet before the floor: in the
    # middle, sqrt(2) over the place where they would have met below it.
    points = np.array([(-2.1, 2.0), (-0.1, 0.0), (0.1, 0.0), (2.1, 2.0)])
    moved = extended(offset_knots(points, 1.0))
    for u in (-3.0, -0.5, 0.0, 0.7, 3.0):
        assert np.interp(u, *moved.T) == pytest.approx(abs(u) - 0.1 + np.sqrt(2.0), abs=1e-12)
    # Down, the floor is a ridge: nothing is lost.
    assert len(offset_knots(points, -1.0)) == 4


def test_a_short_drop_before_a_rise() -> None:
    # A drop shorter than the distance: the line behind it must still stand clear of the rise beyond.
    low = np.array([1.0, 0.0]) + 0.3 * np.array([np.cos(-1.4), np.sin(-1.4)])
    points = np.array([(0.0, 0.0), (1.0, 0.0), low, low + 3.0 * np.array([0.5, np.sqrt(0.75)])])
    moved = offset_knots(points, 0.5)
    assert apart(extended(moved), extended(points)).min() >= 0.5 - 1e-12


@st.composite
def profiles(draw: st.DrawFn) -> tuple[np.ndarray, float]:
    count = draw(st.integers(2, 14))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    steps = 10.0 ** rng.uniform(-3.0, -0.3, count)
    heights = rng.normal(size=count) * 10.0 ** draw(st.floats(-2.0, 0.3))
    if draw(st.booleans()):
        heights = np.round(heights, 1)
    return np.stack([np.cumsum(steps), heights], axis=1), 10.0 ** draw(st.floats(-3.0, 0.0))


@given(profiles())
def test_the_clear_width_is_the_gap_or_more(case: tuple[np.ndarray, float]) -> None:
    points, half = case
    upper, lower = offset_knots(points, half), offset_knots(points, -half)
    for moved in (upper, lower):
        assert np.isfinite(moved).all()
        assert (np.diff(moved[:, 0]) > 0.0).all()
        near = 1e-9 * (half + float(np.abs(extended(moved)).max()) * 1e-3)
        assert clear_width(*((points, moved) if moved is upper else (moved, points))) >= half - near
    assert clear_width(lower, upper) >= 2.0 * half * (1.0 - 1e-8)
    assert lower == pytest.approx(offset_knots(points * (1.0, -1.0), half) * (1.0, -1.0), abs=0.0)


@given(profiles())
def test_its_ends_run_on_along_the_ends(case: tuple[np.ndarray, float]) -> None:
    points, half = case
    for distance in (half, -half):
        moved = extended(offset_knots(points, distance), 1e4)
        for end, near in ((0, 1), (-1, -2)):
            run = points[end] - points[near]
            run = run / np.linalg.norm(run)
            far = moved[end] - points[end]
            # As far out as this the sheet is on the line that the profile's end makes, moved square to it.
            across = (far[1] * run[0] - far[0] * run[1]) * np.sign(run[0])
            assert across == pytest.approx(distance, abs=1e-9 * float(np.abs(far).max()))


def test_a_saw_of_four_hundred_segments() -> None:
    rng = np.random.default_rng(5)
    points = np.stack([np.linspace(0.0, 4.0, 401), 0.02 * rng.normal(size=401)], axis=1)
    upper, lower = offset_knots(points, 0.01), offset_knots(points, -0.01)
    assert clear_width(lower, upper) >= 0.02 - 1e-10
    # And it takes little more than that: the profile's own teeth fill at most their height.
    assert np.interp(points[:, 0], *upper.T).max() <= points[:, 1].max() + 0.2
