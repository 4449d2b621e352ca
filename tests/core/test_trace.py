# SPDX-License-Identifier: GPL-3.0-or-later
"""Lines in which joints meet the surface, and contacts, against shapely's sections and figures by hand."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from proof import joint_rows, surface
from reference import halves, section_polygon
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.cutting.result import CutResult
from seamwright.core.mesh.mesh import BACK, BASE, CARVED, JOINT, Mesh
from shapes import box, comb, cylinder, grid_box, hollow_box, pocketed_box, rock, torus


def length_by_kind(result: CutResult, joint: int) -> np.ndarray:
    out = np.zeros(4)
    for line in result.lines[joint]:
        out += np.bincount(line.kind, line.lengths, minlength=4)
    return out


def assert_lines(result: CutResult) -> None:
    """Closed, ordered, no edge of no length, on the joint; the face on the left; pieces that meet there."""
    for lines in result.lines:
        for line in lines:
            count = len(line.points) - 1
            assert line.closed
            assert line.points[0].tobytes() == line.points[-1].tobytes()
            assert line.kind.shape == (count,)
            assert line.pieces.shape == (count, 2)
            assert (line.lengths > 0.0).all()
            assert (line.pieces >= -1).all()
            assert (line.pieces < len(result.pieces)).all()
            assert (line.pieces[:, 0] != line.pieces[:, 1]).all()
    # The visible length of contacts is that of the carved edges between pieces.
    for j, lines in enumerate(result.lines):
        carved = sum(
            float(line.lengths[(line.kind == CARVED) & (line.pieces >= 0).all(axis=1)].sum()) for line in lines
        )
        assert sum(c.visible_length for c in result.contacts if c.joint == j) == pytest.approx(carved, rel=1e-12)
    key = [(c.joint, c.lower, c.upper) for c in result.contacts]
    assert key == sorted(set(key))


BODIES = {
    "rock": rock(3, 9),
    "pockets": pocketed_box(),
    "torus": torus(30, 16, rough=0.3),
    "comb": comb(4),
    "cylinder": cylinder(40, 0.6, 1.4),
    "hollow": hollow_box(),
}


@pytest.mark.parametrize("name", BODIES)
@pytest.mark.parametrize("seed", range(3))
def test_sections_by_shapely(name: str, seed: int) -> None:
    mesh = BODIES[name]
    rng = np.random.default_rng([7, seed])
    middle = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2.0
    plane = Plane(middle + rng.normal(size=3) * 0.1 * mesh.size, rng.normal(size=3))
    result = cut(mesh, [plane])
    assert_lines(result)
    section = section_polygon(mesh, plane)
    assert length_by_kind(result, 0) == pytest.approx([section.length, 0, 0, 0], rel=1e-8)
    assert sum(c.area for c in result.contacts) == pytest.approx(section.area, rel=1e-8)
    assert len(result.lines[0]) == len(shapely.get_parts(section.boundary))
    # Anticlockwise round what is foam, seen from above: the area by the lines alone.
    area = sum(
        0.5 * float((np.cross(line.points[:-1] - plane.point, line.points[1:] - plane.point) @ plane.normal).sum())
        for line in result.lines[0]
    )
    assert area == pytest.approx(section.area, rel=1e-8)


@pytest.mark.parametrize("seed", range(4))
def test_crossing_joints_share_their_sections(seed: int) -> None:
    # Lines of planes that all cut everything do not depend on one another: each is the whole section.
    rng = np.random.default_rng([8, seed])
    mesh = rock(2, seed)
    joints = [Plane(0.15 * rng.normal(size=3), rng.normal(size=3)) for _ in range(3)]
    result = cut(mesh, joints)
    assert_lines(result)
    for j, plane in enumerate(joints):
        known = halves(mesh, plane)
        assert length_by_kind(result, j) == pytest.approx([known.outline, 0, 0, 0], rel=1e-9)
        assert sum(c.area for c in result.contacts if c.joint == j) == pytest.approx(known.section, rel=1e-9)
    # Each contact is the face between its two pieces.
    for i, piece in enumerate(result.pieces):
        for j in range(3):
            faces = surface(piece.mesh)[joint_rows(piece, j)].sum()
            mine = sum(c.area for c in result.contacts if c.joint == j and i in (c.lower, c.upper))
            assert mine == pytest.approx(faces, rel=1e-9, abs=1e-14)
    for c in result.contacts:
        for piece, side in ((c.lower, -1.0), (c.upper, 1.0)):
            away = (result.pieces[piece].mesh.vertices - joints[c.joint].point) @ joints[c.joint].normal
            assert (away * side >= -1e-12).all()


def classed(mesh: Mesh) -> Mesh:
    """Floor as base, the side at the greatest y as back."""
    middle = mesh.corners().mean(axis=1)
    kind = np.where(middle[:, 2] < 1e-9, BASE, np.where(middle[:, 1] > mesh.size[1] - 1e-9, BACK, CARVED))
    return Mesh(mesh.vertices, mesh.triangles, kind)


@pytest.mark.parametrize("gap", [0.0, 0.01])
@pytest.mark.parametrize("mesh", [box((3.0, 1.0, 2.0)), grid_box((6, 4, 4), (3.0, 1.0, 2.0))], ids=["box", "grid"])
def test_kinds_of_edges(mesh: Mesh, gap: float) -> None:
    mesh = classed(mesh)
    joints: list[Joint] = [Plane((1.3, 0, 0), (1, 0, 0)), Plane((0, 0, 0.7), (0, 0, 1), part=(0.5, 0.5, 1.0))]
    result = cut(mesh, joints, gap)
    assert_lines(result)
    # Round the upright joint: top and front seen, floor and back not.
    assert length_by_kind(result, 0) == pytest.approx([1.0 + 2.0, 0, 1.0, 2.0], rel=1e-12)
    # The level one stops at the upright one: an edge along another joint does not show.
    assert length_by_kind(result, 1) == pytest.approx([1.3 + 1.0, 1.0, 0, 1.3], rel=1e-12)
    (below, above, beyond) = (p.volume for p in result.pieces)
    if gap == 0.0:
        assert (below, above, beyond) == pytest.approx((1.3 * 0.7, 1.3 * 1.3, 1.7 * 2.0), rel=1e-12)
    found = {(c.joint, c.lower, c.upper): (c.area, c.visible_length) for c in result.contacts}
    assert set(found) == {(0, 0, 2), (0, 1, 2), (1, 0, 1)}
    assert found[0, 0, 2] == pytest.approx((0.7, 0.7), rel=1e-12)
    assert found[0, 1, 2] == pytest.approx((1.3, 1.3 + 1.0), rel=1e-12)
    assert found[1, 0, 1] == pytest.approx((1.3, 2.3), rel=1e-12)


def test_faces_of_an_earlier_cut_are_a_joint_to_later_lines() -> None:
    piece = cut(grid_box((4, 2, 2), (2.0, 1.0, 1.0)), [Plane((1.2, 0, 0), (1, 0, 0))]).pieces[0].mesh
    result = cut(piece, [Plane((0, 0, 0.4), (0, 0, 1))])
    assert length_by_kind(result, 0) == pytest.approx([1.2 * 2 + 1.0, 1.0, 0, 0], rel=1e-12)
    assert (piece.kind == JOINT).any()


def test_a_profile_line_follows_its_kinks() -> None:
    mesh = classed(grid_box((4, 2, 4), (2.0, 1.0, 2.0)))
    joint = Profile((0, 0, 1.0), (1, 0, 0), (0, 0, 1), [(0.5, 0.0), (1.0, 0.5), (1.25, 0.5), (1.5, 0.0)])
    result = cut(mesh, [joint])
    assert_lines(result)
    # Slope 1 to the left end, flat, slope -2 to the right end.
    along = 1.0 * np.sqrt(2.0) + 0.25 + 0.75 * np.sqrt(5.0)
    # At x = 2 it has come down to z = 1 - 1 = 0: there it leaves along the floor's edge.
    assert length_by_kind(result, 0)[[CARVED, BACK]] == pytest.approx([along + 1.0, along], rel=1e-12)
    assert sum(float(line.lengths.sum()) for line in result.lines[0]) == pytest.approx(2.0 * along + 2.0, rel=1e-12)
    assert sum(c.area for c in result.contacts) == pytest.approx(along, rel=1e-12)
    (line,) = result.lines[0]
    for corner in ((1.0, 0.0, 1.5), (1.25, 1.0, 1.5), (2.0, 0.0, 0.0), (0.0, 1.0, 0.5)):
        assert (np.abs(line.points - corner).max(axis=1) < 1e-12).any()


def test_no_pieces_no_lines() -> None:
    result = cut(rock(1), [Plane((9.0, 0, 0), (1, 0, 0))])
    assert result.lines == ((),)
    assert result.contacts == ()
