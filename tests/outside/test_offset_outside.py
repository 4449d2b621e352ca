# SPDX-License-Identifier: GPL-3.0-or-later
"""Moved profiles against shapely: the region within half the gap, with mitred corners (GEOS buffer, join style mitre).

What is the profile's own offset by shapely need not be a graph over u; the outer envelope over u is compared.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from seamwright.core.cutting.offset import offset_knots

LIMIT = 1e6
FAR = 40.0


def extended(knots: np.ndarray, far: float) -> np.ndarray:
    first, last = knots[0] - knots[1], knots[-1] - knots[-2]
    return np.concatenate([[knots[0] + first / -first[0] * far], knots, [knots[-1] + last / last[0] * far]])


def top(points: np.ndarray, distance: float, u: np.ndarray) -> np.ndarray:
    """Highest w over each u of the region within `distance` of the profile and above it, by shapely."""
    line = shapely.LineString(extended(points, FAR))
    region = line.buffer(distance, join_style="mitre", mitre_limit=LIMIT, single_sided=True)
    return np.array(
        [shapely.intersection(region, shapely.LineString([(x, -1e4), (x, 1e4)])).bounds[3] for x in u.tolist()]
    )


@pytest.mark.parametrize("seed", range(12))
def test_kinks_wider_than_the_gap(seed: int) -> None:
    # No kink is tighter than the distance: shapely's parallel line is the moved profile, vertex for vertex.
    rng = np.random.default_rng(seed)
    points = np.stack([np.arange(9) * 0.5, rng.uniform(-0.2, 0.2, 9)], axis=1)
    for distance in (0.02, -0.02):
        theirs = shapely.LineString(points).offset_curve(distance, join_style="mitre", mitre_limit=LIMIT)
        assert offset_knots(points, distance) == pytest.approx(shapely.get_coordinates(theirs), abs=1e-12)


@pytest.mark.parametrize("seed", range(40))
def test_kinks_tighter_than_the_gap(seed: int) -> None:
    rng = np.random.default_rng([4, seed])
    count = int(rng.integers(4, 12))
    points = np.stack([np.cumsum(rng.uniform(0.02, 0.4, count)), rng.normal(size=count) * 0.3], axis=1)
    distance = float(10.0 ** rng.uniform(-1.5, -0.3))
    u = np.linspace(points[0, 0] - 0.5, points[-1, 0] + 0.5, 203)
    theirs = top(points, distance, u)
    mine = np.interp(u, *extended(offset_knots(points, distance), FAR).T)
    # GEOS leaves out input corners that hardly matter (up to 1 % of the distance by its documentation; here 1e-7), so
    # mine may stand a little over theirs; at a step, which is drawn on its outer side, a sample may stand well over.
    assert (mine >= theirs - 1e-7).all()
    assert (mine - theirs <= 1e-6).sum() >= len(u) - 2
