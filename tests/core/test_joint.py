# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints: what they hold, and what cannot be one."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from seamwright.core.cutting.joint import MAX_KNOTS, Plane, Profile
from seamwright.core.errors import CutError

POINTS = [(0.0, 0.0), (1.0, 0.5)]


def test_a_plane_holds_unit_read_only_arrays() -> None:
    given = np.array([0.0, 3.0, 4.0])
    plane = Plane([1, 2, 3], given, part=(0, 0, 0))
    assert plane.kind == "plane"
    assert plane.normal.tolist() == [0.0, 0.6, 0.8]
    assert plane.point.tolist() == [1.0, 2.0, 3.0]
    assert plane.part is not None
    assert plane.part.tolist() == [0.0, 0.0, 0.0]
    assert Plane((0, 0, 0), (0, 0, 1)).part is None
    for array in (plane.normal, plane.point, plane.part):
        assert array.dtype == np.float64
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 9.0
    given[:] = 7.0
    assert plane.normal.tolist() == [0.0, 0.6, 0.8]
    with pytest.raises(dataclasses.FrozenInstanceError):
        plane.point = np.zeros(3)


@pytest.mark.parametrize("scale", [1e-300, 1e-30, 1.0, 1e30, 1e300])
def test_directions_of_any_length(scale: float) -> None:
    normal = Plane((0, 0, 0), np.array([1.0, -2.0, 2.0]) * scale).normal
    assert normal == pytest.approx([1 / 3, -2 / 3, 2 / 3], abs=1e-15)
    assert Plane((0, 0, 0), np.array([0.0, 0.0, -1.0]) * scale).normal.tolist() == [0.0, 0.0, -1.0]


@pytest.mark.parametrize("seed", range(50))
def test_made_again_from_itself_it_is_the_same(seed: int) -> None:
    rng = np.random.default_rng(seed)
    first = Plane(rng.normal(size=3), rng.normal(size=3))
    second = Plane(first.point, first.normal)
    assert np.linalg.norm(first.normal) == pytest.approx(1.0, abs=4e-16)
    assert second.normal == pytest.approx(first.normal, abs=2e-16)
    u = rng.normal(size=3)
    one = Profile(rng.normal(size=3), u, np.cross(u, rng.normal(size=3)), POINTS)
    assert abs(one.u @ one.w) <= 2e-16
    assert np.abs(np.array([one.u, one.w, one.wire]) @ np.array([one.u, one.w, one.wire]).T - np.eye(3)).max() < 1e-15
    assert one.wire == pytest.approx(np.cross(one.u, one.w), abs=0.0)


def test_a_w_that_leans_a_little_is_set_square() -> None:
    profile = Profile((0, 0, 0), (1, 0, 0), (5e-7, 0, 1), POINTS)
    assert profile.kind == "profile"
    assert profile.u.tolist() == [1.0, 0.0, 0.0]
    assert profile.w.tolist() == [0.0, 0.0, 1.0]
    with pytest.raises(CutError, match="square"):
        Profile((0, 0, 0), (1, 0, 0), (2e-6, 0, 1), POINTS)


BAD = (np.nan, np.inf, -np.inf)


@pytest.mark.parametrize("value", [(0, 0), (0, 0, 0, 0), 1.0, "up", None, [[0, 0, 1]], *((0, 0, b) for b in BAD)])
@pytest.mark.parametrize("key", ["point", "normal", "part"])
def test_bad_planes(key: str, value: object) -> None:
    keys = {"point": (0, 0, 0), "normal": (0, 0, 1), key: value}
    if key == "part" and value is None:
        return
    with pytest.raises(CutError, match=key):
        Plane(**keys)


@pytest.mark.parametrize("key", ["u", "w"])
def test_directions_without_length(key: str) -> None:
    with pytest.raises(CutError, match="no length"):
        Plane((0, 0, 0), (0, 0, 0))
    with pytest.raises(CutError, match="no length"):
        Profile(**{"origin": (0, 0, 0), "u": (1, 0, 0), "w": (0, 0, 1), "points": POINTS, key: (0, 0, 0)})


@pytest.mark.parametrize(
    ("points", "word"),
    [
        ([], "shape"),
        ([(0.0, 0.0)], "has 1 points"),
        ([(0.0, 0.0, 0.0), (1.0, 0.0, 0.0)], "shape"),
        ([0.0, 1.0], "shape"),
        ([(0.0, 0.0), (np.nan, 0.0)], "finite"),
        ([(0.0, 0.0), (1.0, np.inf)], "finite"),
        ([(0.0, 0.0), (0.0, 1.0)], "points 0 and 1 do not rise"),
        ([(0.0, 0.0), (2.0, 1.0), (1.0, 1.0)], "points 1 and 2 do not rise"),
        ([(float(k), 0.0) for k in range(MAX_KNOTS + 1)], "402 points"),
    ],
)
def test_bad_profiles(points: list, word: str) -> None:
    with pytest.raises(CutError, match=word):
        Profile((0, 0, 0), (1, 0, 0), (0, 0, 1), points)


def test_the_longest_profile() -> None:
    knots = [(float(k), 0.0) for k in range(MAX_KNOTS)]
    profile = Profile((0, 0, 0), (1, 0, 0), (0, 0, 1), knots)
    assert profile.points.shape == (401, 2)
    with pytest.raises(ValueError, match="read-only"):
        profile.points[0, 0] = -1.0
