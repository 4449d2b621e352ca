# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints through one limb only: rings that are opened, and parted by two joints at places of their own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fuzz_cases import check_limb
from proof import as_bytes, assert_closed, assert_sources, joint_rows
from reference import to_manifold
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.cutting.result import Body, CutResult
from seamwright.core.errors import CutError
from seamwright.core.mesh.mesh import Mesh
from shapes import box, cells, comb, moved, rock, torus, turned

RING = torus(40, 20, 1.0, 0.4, rough=0.2)
FILLED = np.array([[1, 1, 1, 1], [1, 0, 0, 1], [1, 0, 0, 1], [1, 1, 1, 1]], dtype=bool)
FRAME = cells(FILLED[:, None, :], (1.6, 0.4, 1.6))
ONE = Plane((0.0, 0.03, 0.0), (0.1, 1.0, 0.1), limb=(1.0, 0.0, 0.0))
TWO = Plane((0.1, 0.0, 0.0), (0.3, 1.0, 0.2), limb=(-1.0, 0.0, 0.0))
WAVE = Profile(
    (0.0, 0.0, 0.0), (1.0, 0.0, 0.2), (0.0, 1.0, 0.0), [(-1.6, 0.1), (-1.0, -0.1), (0.5, 0.15), (1.1, 0.0), (1.7, 0.1)]
)


def euler(mesh: Mesh) -> int:
    """Vertices less edges plus triangles: 2 for a ball, 0 for a ring."""
    edges = np.unique(
        np.sort(np.stack([mesh.triangles, np.roll(mesh.triangles, -1, axis=1)], axis=2).reshape(-1, 2)), axis=0
    )
    return len(mesh.vertices) - len(edges) + len(mesh.triangles)


def assert_limbs(mesh: Mesh, joints: list[Joint], result: CutResult) -> None:
    bodies = (*result.pieces, *result.taken)
    for body in bodies:
        assert_closed(body.mesh)
        assert_sources(mesh, body, joints)
    whole = cut(mesh, []).pieces[0].volume
    assert sum(b.volume for b in bodies) == pytest.approx(whole, rel=1e-12)


def facing(body: Body, joint: int, up: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners of a body's triangles of one joint that look up, and of those that look down, in one order."""
    corners = body.mesh.corners()[joint_rows(body, joint)]
    over = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]) @ up > 0.0
    both = []
    for side in (corners[over], corners[~over][:, ::-1]):
        names = as_bytes(side.reshape(-1, 3)).reshape(-1, 3)
        first = np.argmin(np.argsort(np.argsort(names, axis=None)).reshape(-1, 3), axis=1)
        turned_rows = names[np.arange(len(names))[:, None], (first[:, None] + np.arange(3)) % 3]
        both.append(np.sort([b"".join(row) for row in turned_rows.tolist()]))
    return both[0], both[1]


@pytest.mark.parametrize("gap", [0.0, 0.02])
@pytest.mark.parametrize("joint", [ONE, replace(WAVE, limb=(1.0, 0.1, 0.2))], ids=["plane", "profile"])
def test_a_ring_is_opened(joint: Joint, gap: float) -> None:
    result = cut(RING, [joint], gap)
    assert_limbs(RING, [joint], result)
    assert len(result.pieces) == 1
    assert len(result.taken) == (1 if gap else 0)
    assert euler(RING) == 0
    assert euler(result.pieces[0].mesh) == 2
    (contact,) = result.contacts
    assert (contact.joint, contact.lower, contact.upper) == (0, 0, 0)
    (line,) = result.lines[0]
    assert (line.pieces == 0).all()
    assert line.points[:, 0].min() > 0.0, "the other limb was cut"
    assert contact.visible_length == pytest.approx(line.lengths.sum())
    if gap == 0.0:
        up = joint.normal if isinstance(joint, Plane) else joint.w
        below, above = facing(result.pieces[0], 0, up)
        assert len(below) > 0
        assert np.array_equal(below, above), "the two sides differ in a bit"
        # The other limb has been left alone: no vertex is new there.
        vertices = result.pieces[0].mesh.vertices
        far = vertices[vertices[:, 0] < 0.0]
        assert np.isin(as_bytes(far), as_bytes(RING.vertices)).all()


@pytest.mark.parametrize("gap", [0.0, 0.02])
@pytest.mark.parametrize("mesh", [RING, FRAME], ids=["ring", "frame"])
def test_two_joints_part_a_ring_where_each_likes(mesh: Mesh, gap: float) -> None:
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    hole = 1 if mesh is FRAME else 2
    across = 2 if hole == 1 else 1
    way, tilt = np.eye(3)[across], np.array([0.21, 0.13, 0.17])
    limb = 0.8 * half[0] * np.eye(3)[0]
    joints: list[Joint] = [
        Plane(middle + 0.1 * half * way, way + tilt, limb=middle + limb),
        Plane(middle - 0.2 * half * way, way - 2.0 * tilt, limb=middle - limb),
    ]
    result = cut(mesh, joints, gap)
    assert_limbs(mesh, joints, result)
    assert len(result.pieces) == 2
    assert [euler(p.mesh) for p in result.pieces] == [2, 2]
    assert {(c.joint, *sorted((c.lower, c.upper))) for c in result.contacts} == {(0, 0, 1), (1, 0, 1)}
    for j, side in enumerate((1.0, -1.0)):
        for line in result.lines[j]:
            assert ((line.points[:, 0] - middle[0]) * side > 0.0).all()
    if gap == 0.0:
        # Either order gives the same two bodies.
        again = cut(mesh, joints[::-1])
        assert sorted(p.volume for p in again.pieces) == pytest.approx(
            sorted(p.volume for p in result.pieces), rel=1e-12
        )


@pytest.mark.parametrize("gap", [0.004, 0.03])
def test_opened_as_by_taking_half_a_slab_away(gap: float) -> None:
    normal = ONE.normal
    slab = moved(
        box((6.0, 6.0, gap), (-3.0, -3.0, -gap / 2.0)),
        turned(tuple(np.cross((0, 0, 1), normal)), float(np.arccos(normal[2]))),
        tuple(ONE.point),
    )
    half = box((3.0, 8.0, 8.0), (0.0, -4.0, -4.0))
    tool = to_manifold(slab) ^ to_manifold(half)
    theirs = (to_manifold(RING) - tool).decompose()
    (mine,) = cut(RING, [ONE], gap).pieces
    assert len(theirs) == 1
    assert mine.volume == pytest.approx(theirs[0].volume(), rel=1e-9)
    assert theirs[0].genus() == 0
    other = to_manifold(mine.mesh)
    assert abs((other - theirs[0]).volume()) + abs((theirs[0] - other).volume()) < 1e-9


@pytest.mark.parametrize("gap", [0.0, 0.01])
def test_one_face_alone_is_cut_as_ever(gap: float) -> None:
    mesh = rock(3, 4)
    for joint in (Plane((0.1, 0.0, 0.0), (1.0, 0.2, 0.1)), replace(WAVE, u=(0.0, 1.0, 0.2), w=(1.0, 0.0, 0.0))):
        plain, limb = (
            cut(mesh, [joint], gap),
            cut(mesh, [replace(joint, limb=joint.point if isinstance(joint, Plane) else joint.origin)], gap),
        )
        assert len(plain.pieces) == len(limb.pieces)
        for one, two in zip((*plain.pieces, *plain.taken), (*limb.pieces, *limb.taken), strict=True):
            assert one.mesh.vertices.tobytes() == two.mesh.vertices.tobytes()
            assert one.mesh.triangles.tobytes() == two.mesh.triangles.tobytes()
            assert one.source.tobytes() == two.source.tobytes()


@pytest.mark.parametrize("gap", [0.0, 0.01])
def test_one_tooth_of_a_comb(gap: float) -> None:
    mesh = comb(4)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    for share in (0.55, 0.8):
        level = low[2] + share * (high - low)[2]
        for normal in ((0.0, 0.0, 1.0), (0.02, 0.03, 1.0)):
            plane = Plane(((low + high)[0] / 2.0, (low + high)[1] / 2.0, level), normal)
            faces = cut(mesh, [plane]).lines[0]
            if len(faces) < 2:
                continue
            for line in faces:
                joint = replace(plane, limb=line.points[:-1].mean(axis=0))
                result = cut(mesh, [joint], gap)
                assert_limbs(mesh, [joint], result)
                assert len(result.pieces) == 2
                check_limb(mesh, joint, gap)


def test_what_is_opened_is_one_body_for_later_joints() -> None:
    # A joint through the part round a point cuts all of it, on both sides of where it is open.
    later = Plane((0.1, 0.0, 0.0), (1.0, 0.3, 0.2), part=(-0.2, 1.0, 0.1))
    joints: list[Joint] = [ONE, later]
    result = cut(RING, joints)
    assert_limbs(RING, joints, result)
    assert len(result.pieces) == 3
    assert len([c for c in result.contacts if c.joint == 1]) == 2
    # One right through the open place: the slit goes on in both pieces.
    level = Plane((0.0, 0.0, 0.05), (0.02, 0.0, 1.0))
    result = cut(RING, [ONE, level])
    assert_limbs(RING, [ONE, level], result)
    assert [(c.joint, c.lower, c.upper) for c in result.contacts] == [(0, 0, 0), (0, 1, 1), (1, 0, 1)]
    # A third that crosses the first within the limb.
    across = Plane((1.0, 0.0, 0.0), (0.4, 1.0, -0.8), limb=(1.0, 0.0, 0.0))
    result = cut(RING, [ONE, across])
    assert_limbs(RING, [ONE, across], result)
    result = cut(RING, [ONE, across, level, TWO])
    assert_limbs(RING, [ONE, across, level, TWO], result)


def test_nothing_is_split_where_another_body_stands() -> None:
    # The nearest of all faces is cut and no other body, though the joint runs through both.
    mesh = rock(3, 5)
    first = Plane((0.0, 0.0, 0.0), (1.0, 0.1, 0.0))
    before = cut(mesh, [first])
    joints: list[Joint] = [first, Plane((0.0, 0.0, 0.0), (0.1, 0.2, 1.0), limb=(0.8, 0.0, 0.0))]
    result = cut(mesh, joints)
    assert_limbs(mesh, joints, result)
    assert len(result.pieces) == 3
    assert any(p.volume == pytest.approx(before.pieces[0].volume, rel=1e-12) for p in result.pieces)


def test_a_point_by_no_face_is_refused() -> None:
    with pytest.raises(
        CutError, match=r"its limb \(9, 0, 0\) is .* m from the nearest face of the joint, which is .* m long"
    ):
        cut(RING, [replace(ONE, limb=(9.0, 0.0, 0.0))])
    result = cut(RING, [replace(ONE, point=(0.0, 5.0, 0.0))])
    assert result.missed == (0,)
    assert len(result.pieces) == 1


def test_same_bytes_again() -> None:
    one, two = cut(RING, [ONE, TWO], 0.01), cut(RING, [ONE, TWO], 0.01)
    for a, b in zip(one.pieces, two.pieces, strict=True):
        assert a.mesh.vertices.tobytes() == b.mesh.vertices.tobytes()
        assert a.mesh.triangles.tobytes() == b.mesh.triangles.tobytes()
