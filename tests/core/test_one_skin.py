# SPDX-License-Identifier: GPL-3.0-or-later
"""That a body is one connected surface is found sooner where it is known of the carving, and never told wrongly."""

from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.cutting import cells
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.cutting.result import CutResult
from seamwright.core.errors import CutError
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import components, hang_together
from seamwright.core.mesh.winding import inner_point
from shapes import box, icosphere, inside_out, joined, moved, rock, torus

ROCK = rock(3, 3, 0.35, (2.0, 1.2, 1.0))
RING = torus(48, 20, 1.0, 0.3)
HOLLOW = joined(icosphere(3, 1.0), inside_out(moved(icosphere(2, 0.4), shift=(0.3, 0.0, 0.0))))
PAIR = joined(icosphere(3, 0.5), moved(icosphere(3, 0.5), shift=(1.2, 0.0, 0.0)))


def series(seed: int, mesh: Mesh, gap: float = 0.0) -> list[Joint]:
    """Joints through a body and then through parts of it."""
    rng = np.random.default_rng(seed)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    middle, size = (low + high) / 2.0, high - low
    joints: list[Joint] = [Plane(middle + rng.uniform(-0.1, 0.1, 3) * size, rng.normal(size=3))]
    for _ in range(3):
        bodies = sorted(cut(mesh, joints, gap).pieces, key=lambda body: -body.volume)
        points = bodies[0].mesh.vertices
        part = inner_point(bodies[0].mesh)
        wave = np.column_stack([np.linspace(-3.0, 3.0, 31), 0.05 * rng.normal(size=31)])
        u, w, _ = np.linalg.qr(rng.normal(size=(3, 3)))[0].T
        joint = Profile(points.mean(axis=0), u, w, wave, part) if rng.uniform() < 0.5 else Plane(part, w, part)
        try:
            cut(mesh, [*joints, joint], gap)
        except CutError:
            continue  # the point comes to lie in a gap
        joints.append(joint)
    return joints


def arrays(result: CutResult) -> list[bytes]:
    bodies = (*result.pieces, *result.crumbs, *result.taken)
    return [a.tobytes() for b in bodies for a in (b.mesh.vertices, b.mesh.triangles, b.mesh.kind, b.source, b.origin)]


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("mesh", [ROCK, RING, HOLLOW, PAIR], ids=["rock", "ring", "hollow", "pair"])
@pytest.mark.parametrize("gap", [0.0, 0.01])
def test_what_is_found_sooner_is_what_is_found(
    mesh: Mesh, seed: int, gap: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    joints = series(seed, mesh, gap)
    quick = cut(mesh, joints, gap, crumb=1e-6)
    for body in quick.pieces:
        assert not body.one_skin or not components(body.mesh.triangles).any()
    monkeypatch.setattr(cells, "hang_together", lambda triangles: False)
    assert arrays(cut(mesh, joints, gap, crumb=1e-6)) == arrays(quick)


@pytest.mark.parametrize("mesh", [ROCK, RING])
def test_a_piece_is_cut_on_as_if_nothing_were_known_of_it(mesh: Mesh) -> None:
    for body in cut(mesh, series(1, mesh)).pieces:
        assert body.one_skin
        again = series(2, body.mesh)
        assert arrays(cut(body.mesh, again, one_skin=True)) == arrays(cut(body.mesh, again))


def test_a_body_with_a_hollow_is_not_one_skin() -> None:
    (whole,) = cut(HOLLOW, []).pieces
    assert not whole.one_skin
    assert all(
        not components(body.mesh.triangles).any() == body.one_skin for body in cut(HOLLOW, series(0, HOLLOW)).pieces
    )


def test_only_edges_of_two_hold_triangles_together() -> None:
    solid = box().triangles
    assert hang_together(solid, closed=True)
    assert hang_together(solid[:-1])
    assert not hang_together(solid[:-1], closed=True)
    assert not hang_together(np.concatenate([solid, solid + 8]))
    assert not hang_together(solid[:0])
    # Two tetrahedra on one edge: four triangles at it, which may go either way.
    two = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3], [0, 1, 4], [0, 5, 1], [0, 4, 5], [1, 5, 4]])
    assert not hang_together(two)
