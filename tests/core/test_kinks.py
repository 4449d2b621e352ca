# SPDX-License-Identifier: GPL-3.0-or-later
"""Triangles parted along the kinks of a profile: closed, nothing turned over, no more parts than strips."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from proof import assert_closed
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Profile
from seamwright.core.cutting.kinks import split_at_kinks
from seamwright.core.cutting.sheet import ProfileSheet
from seamwright.core.mesh.mesh import Mesh
from shapes import box, grid_box, icosphere, moved, prism, turned

SHAPES = {"box": box(), "grid": grid_box((3, 2, 2), (1.0, 1.0, 1.0)), "ball": icosphere(1, 0.5), "prism": prism(5, 0.5)}


def zigzag(kinks: int, height: float, level: float = 0.5) -> Profile:
    at = np.linspace(-0.05, 1.05, kinks + 2)
    return Profile(
        (0, 0, 0), (1, 0, 0), (0, 0, 1), np.stack([at, level + height * (-1.0) ** np.arange(kinks + 2)], axis=1)
    )


def normals(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = points[triangles].transpose(1, 0, 2)
    return np.cross(b - a, c - a)


@settings(deadline=None, max_examples=150)
@given(
    st.sampled_from(sorted(SHAPES)),
    st.integers(0, 70),
    st.floats(0.001, 0.6),
    st.integers(0, 2**32 - 1),
    st.booleans(),
)
def test_parts_cover_their_triangles_and_meet_one_strip(
    name: str, kinks: int, height: float, seed: int, posed: bool
) -> None:
    rng = np.random.default_rng(seed)
    mesh = SHAPES[name]
    if posed:
        mesh = moved(mesh, turned(tuple(rng.normal(size=3)), float(rng.uniform(0.1, 3.0))))
    live = rng.random(len(mesh.triangles)) < 0.8
    sheet = ProfileSheet(zigzag(kinks, height), zigzag(kinks, height).points, 1e-11)
    triangles, source, points, u, w, place = split_at_kinks(mesh.triangles, live, mesh.vertices, sheet)

    assert_closed(Mesh(points, triangles))
    assert (points[: len(mesh.vertices)] == mesh.vertices).all()
    whole, parts = normals(mesh.vertices, mesh.triangles), normals(points, triangles)
    share = (parts * whole[source]).sum(axis=1) / (whole[source] ** 2).sum(axis=1)
    assert (share > 1e-13).all()
    assert np.bincount(source, share, len(whole)) == pytest.approx(np.ones(len(whole)), abs=1e-12)

    at, up = sheet.uw(*points.T)
    assert np.abs(u - at).max() < 1e-14
    assert np.abs(w - up).max() < 1e-14
    assert (place == sheet.places(u)).all()
    strips = place[triangles]
    several = strips.max(axis=1) // 2 - (strips.min(axis=1) + 1) // 2 > 0
    assert sheet.clear(u[triangles], w[triangles])[several & live[source]].all()

    spread = place[mesh.triangles]
    spans = np.maximum(spread.max(axis=1) // 2 - (spread.min(axis=1) + 1) // 2, 0)
    assert (np.bincount(source, minlength=len(whole)) <= 2 * spans + 1).all()


def test_a_tall_zigzag_makes_triangles_in_step_with_its_kinks() -> None:
    # Two walls of the box are crossed, two triangles each: about 4 parts a kink and wall, cut once more by the line;
    # and 2 triangles of joint face a strip.
    counts = {
        kinks: sum(len(p.mesh.triangles) for p in cut(box(), [zigzag(kinks, 0.45)]).pieces) for kinks in (99, 399)
    }
    assert counts[99] < 40 * 99
    assert counts[399] < 4.1 * counts[99]


def test_three_tall_zigzags_across_each_other() -> None:
    one = zigzag(24, 0.45)
    joints = [
        one,
        Profile((0, 0, 0), (0, 1, 0), (0, 0, 1), one.points),
        Profile((0, 0, 0), (0, 1, 0), (1, 0, 0), one.points),
    ]
    regions = cut(box(), joints, split=False)
    for piece in regions.pieces:
        assert_closed(piece.mesh)
    assert sum(p.volume for p in regions.pieces) == pytest.approx(1.0, abs=1e-12)
    assert sum(len(p.mesh.triangles) for p in regions.pieces) < 300_000
