# SPDX-License-Identifier: GPL-3.0-or-later
"""Profile joints: closed forms, many kinks, kinks in every awkward place."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from proof import assert_bodies, assert_cut, joint_rows, surface
from reference import above_profile, to_manifold, volume_of
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.mesh.mesh import Mesh
from shapes import box, comb, grid_box, moved, rock, torus, turned


def profile(points: object, origin: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Profile:
    return Profile(origin, (1, 0, 0), (0, 0, 1), points)


def under(points: np.ndarray, low: float, high: float, width: float, left: float, right: float) -> float:
    """Volume under a polyline within a box, by trapezoids between its kinks and where it leaves the box."""
    first, last = points[0] - points[1], points[-1] - points[-2]
    ends = [points[0] + first / -first[0] * 99.0, *points, points[-1] + last / last[0] * 99.0]
    line = np.array(ends)
    stops = [left, right, *line[:, 0]]
    for a, b in pairwise(line):
        for z in (low, high):
            if (a[1] - z) * (b[1] - z) < 0.0:
                stops.append(a[0] + (z - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))
    stops = np.unique(np.clip(stops, left, right))
    heights = np.clip(np.interp(stops, *line.T), low, high) - low
    return width * float(((heights[1:] + heights[:-1]) / 2.0 * np.diff(stops)).sum())


@pytest.mark.parametrize("knots", [2, 3, 7, 40, 401])
@pytest.mark.parametrize("mesh", [box((2.0, 0.5, 1.0)), grid_box((8, 2, 4), (2.0, 0.5, 1.0))], ids=["box", "grid"])
def test_volume_under_a_polyline(mesh: Mesh, knots: int) -> None:
    rng = np.random.default_rng(knots)
    points = np.column_stack([np.sort(rng.uniform(-0.2, 2.2, knots)), rng.uniform(-0.2, 1.2, knots)])
    joint = profile(points)
    result = cut(mesh, [joint])
    regions = cut(mesh, [joint], split=False)
    known = under(points, 0.0, 1.0, 0.5, 0.0, 2.0)
    assert [p.volume for p in regions.pieces] == pytest.approx([known, 1.0 - known], rel=1e-11)
    if knots < 60:
        assert_cut(mesh, [joint], result)
        assert_bodies(mesh, [joint], result)
    # What of the profile's own line lies within the box, times the box's width.
    a, b = points[0] - points[1], points[-1] - points[-2]
    line = shapely.LineString([points[0] - 99.0 * a / a[0], *points, points[-1] + 99.0 * b / b[0]])
    area = 0.5 * line.intersection(shapely.box(0.0, 0.0, 2.0, 1.0)).length
    assert sum(c.area for c in result.contacts) == pytest.approx(area, rel=1e-9)


AWKWARD = {
    "kinks on the grid's lines": [(0.25, 0.25), (0.5, 0.5), (0.75, 0.5), (1.0, 0.25)],
    "along the grid's diagonals": [(0.0, 0.0), (1.0, 1.0)],
    "along diagonals and lines": [(0.0, 0.25), (0.25, 0.5), (0.5, 0.25), (0.75, 0.25), (1.0, 0.5)],
    "a strip in the top": [(0.1, 0.4), (0.25, 1.0), (0.75, 1.0), (0.9, 0.4)],
    "strips in top and bottom": [(0.1, 0.0), (0.3, 0.0), (0.5, 1.0), (0.8, 1.0)],
    "a kink in a corner": [(-0.5, 0.3), (0.0, 1.0), (0.6, 0.2)],
    "a kink just over an edge": [(-0.5, 0.3), (0.0, 1.0 + 1e-12), (0.6, 0.2)],
    "kinks nearer than the tolerance": [(0.2, 0.3), (0.5, 0.6), (0.5 + 1e-12, 0.6), (0.5 + 3e-12, 0.6), (0.8, 0.2)],
    "a step": [(0.2, 0.3), (0.5, 0.3), (0.5 + 1e-9, 0.7), (0.9, 0.7)],
    "nearly upright": [(0.4999, -5.0), (0.5001, 5.0)],
    "teeth": [(k / 16, 0.3 + 0.4 * (k % 2)) for k in range(17)],
    "nearly flat": [(0.1, 0.5), (0.4, 0.5 + 1e-12), (0.6, 0.5 - 1e-12), (0.9, 0.5)],
    "nearly in the top": [(0.1, 1.0), (0.4, 1.0 - 1e-12), (0.6, 1.0 + 1e-12), (0.9, 1.0)],
    "only touching": [(0.1, 1.5), (0.5, 1.0), (0.9, 1.5)],
}


@pytest.mark.parametrize("angle", [0.0, 0.6])
@pytest.mark.parametrize("name", AWKWARD)
def test_awkward_places(name: str, angle: float) -> None:
    turn = turned((0.5, 1.0, -0.3), angle)
    mesh = moved(grid_box((4, 4, 4), (1.0, 1.0, 1.0)), turn)
    joint = Profile((0, 0, 0), turn[:, 0], turn[:, 2], AWKWARD[name])
    result = cut(mesh, [joint])
    assert_cut(mesh, [joint], result)
    known = under(np.array(AWKWARD[name], dtype=float), 0.0, 1.0, 1.0, 0.0, 1.0)
    assert sum(p.volume for p in cut(mesh, [joint], split=False).pieces) == pytest.approx(1.0, rel=1e-12)
    solid = [p.volume for p in cut(mesh, [joint], split=False).pieces if p.volume > 1e-10]
    assert solid == pytest.approx([v for v in (known, 1.0 - known) if v > 1e-10], rel=1e-10)
    gap = 1e-4 if angle else 0.05
    assert_cut(mesh, [joint], cut(mesh, [joint], gap), gap)


@pytest.mark.parametrize("seed", range(8))
def test_rocks_against_a_boolean_library(seed: int) -> None:
    rng = np.random.default_rng([11, seed])
    mesh = rock(2, seed) if seed % 2 else torus(20, 10, rough=0.3)
    turn = turned(tuple(rng.normal(size=3)), float(rng.uniform(0.0, 3.0)))
    knots = int(rng.choice([3, 8, 30]))
    points = np.column_stack([np.sort(rng.uniform(-1.2, 1.2, knots)), 0.15 * rng.normal(size=knots)])
    joint = Profile(0.1 * rng.normal(size=3), turn[:, 0], turn[:, 2], points)
    result = cut(mesh, [joint])
    assert_cut(mesh, [joint], result)
    tool = to_manifold(above_profile(joint, 4.0))
    low, high = (p.volume for p in cut(mesh, [joint], split=False).pieces)
    assert high == pytest.approx((to_manifold(mesh) ^ tool).volume(), rel=1e-9)
    assert low == pytest.approx((to_manifold(mesh) - tool).volume(), rel=1e-9)


def test_profiles_that_cross() -> None:
    mesh = grid_box((4, 4, 4), (1.0, 1.0, 1.0))
    wave = [(0.1, 0.45), (0.35, 0.6), (0.55, 0.4), (0.8, 0.55)]
    joints: list[Joint] = [
        Profile((0, 0, 0), (1, 0, 0), (0, 0, 1), wave),
        Profile((0, 0, 0), (0, 1, 0), (1, 0, 0), wave),
        Profile((0, 0, 0), (0, 0, 1), (0, 1, 0), wave),
        Plane((0.5, 0.5, 0.5), (1, 1, 1)),
    ]
    result = cut(mesh, joints)
    assert_cut(mesh, joints, result)
    assert_bodies(mesh, joints, result)
    gapped = cut(mesh, joints, 0.02)
    assert_cut(mesh, joints, gapped, 0.02)


def test_the_side_of_greater_w_is_the_upper_side() -> None:
    joint = profile([(0.2, 0.3), (0.5, 0.4), (0.8, 0.2)])
    low, high = cut(box(), [joint]).pieces
    assert low.volume < 0.5 < high.volume
    for piece, sign in ((low, 1.0), (high, -1.0)):
        rows = joint_rows(piece, 0)
        p = piece.mesh.corners()[rows]
        assert (np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])[:, 2] * sign > 0.0).all()
        assert surface(piece.mesh)[rows].sum() == pytest.approx(sum(c.area for c in cut(box(), [joint]).contacts))
    flipped = cut(box(), [Profile((0, 0, 0), (1, 0, 0), (0, 0, -1), joint.points * (1.0, -1.0))]).pieces
    assert [p.volume for p in flipped] == pytest.approx([high.volume, low.volume], rel=1e-14)


def test_teeth_part_into_many_bodies() -> None:
    # Sixteen teeth through a thin slab leave the tips apart on both sides.
    mesh = moved(box((4.0, 0.5, 0.1)), shift=(0.0, 0.0, -0.05))
    points = [(k * 0.25, 0.15 * (-1.0) ** k) for k in range(17)]
    result = cut(mesh, [profile(points)])
    assert_cut(mesh, [profile(points)], result)
    assert_bodies(mesh, [profile(points)], result)
    assert len(result.pieces) == 17
    assert sum(p.volume for p in result.pieces) == pytest.approx(0.2, rel=1e-12)


@settings(max_examples=30)
@given(st.integers(0, 2**32 - 1))
def test_knots_at_vertices(seed: int) -> None:
    # Kinks through vertices of the mesh, strips along its edges and faces.
    rng = np.random.default_rng(seed)
    mesh = (comb(3), grid_box((3, 2, 3), (1.5, 1.0, 1.5)), rock(1, seed % 50))[seed % 3]
    turn = np.eye(3) if seed % 2 else turned(tuple(rng.normal(size=3)), 1.0)
    mesh = moved(mesh, turn)
    some = mesh.vertices[rng.choice(len(mesh.vertices), 5, replace=False)]
    across, up = some @ turn[:, 0], some @ turn[:, 2]
    order = np.argsort(across)
    keep = order[np.append(True, np.diff(across[order]) > 1e-9)]
    if len(keep) < 2:
        return
    joint = Profile((0, 0, 0), turn[:, 0], turn[:, 2], np.column_stack([across[keep], up[keep]]))
    result = cut(mesh, [joint])
    assert_cut(mesh, [joint], result)
    tool = to_manifold(above_profile(joint, 6.0))
    whole = volume_of(mesh)
    sides = [to_manifold(mesh) - tool, to_manifold(mesh) ^ tool]
    known = [s.volume() for s in sides if s.volume() > 1e-9 * whole]
    assert [p.volume for p in cut(mesh, [joint], split=False).pieces] == pytest.approx(known, abs=1e-9 * whole)
