# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints through one body only, and what counts as one body."""

from __future__ import annotations

import numpy as np
import pytest
from proof import as_bytes, assert_bodies, assert_closed, assert_cut, joint_rows
from reference import inside_point, volume_of
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.cutting.result import Body
from seamwright.core.errors import CutError
from seamwright.core.mesh.mesh import Mesh
from shapes import box, cells, hollow_box, joined, moved, rock, torus, turned

FIRST = Plane((0.1, 0.0, 0.0), (1.0, 0.2, 0.1))
WAVE = [(-1.0, 0.03), (-0.4, -0.08), (-0.1, 0.09), (0.2, -0.06), (0.7, 0.05)]


def second(part: np.ndarray, kind: str) -> Joint:
    if kind == "plane":
        return Plane((0.0, 0.05, 0.02), (0.1, 1.0, 0.3), part=part)
    return Profile((0.0, 0.05, 0.02), (1.0, 0.0, 0.0), (0.0, 1.0, 0.3), WAVE, part=part)


def on_joint(body: Body, joint: Joint, near: float = 1e-12) -> np.ndarray:
    """Which vertices lie on a plane, or on a profile whose knots are given over u."""
    away = body.mesh.vertices - (joint.point if isinstance(joint, Plane) else joint.origin)
    if isinstance(joint, Plane):
        return np.abs(away @ joint.normal) <= near
    return np.abs(np.interp(away @ joint.u, *joint.points.T) - away @ joint.w) <= near * 10.0


@pytest.mark.parametrize("kind", ["plane", "profile"])
@pytest.mark.parametrize("gap", [0.0, 0.02])
def test_only_the_part_is_cut(kind: str, gap: float) -> None:
    mesh = rock(3, 2)
    before = cut(mesh, [FIRST], gap)
    assert len(before.pieces) == 2
    for k, piece in enumerate(before.pieces):
        other = before.pieces[1 - k]
        joints = [FIRST, second(inside_point(piece.mesh), kind)]
        result = cut(mesh, joints, gap)
        assert_cut(mesh, joints, result, gap)
        if gap == 0.0:
            assert_bodies(mesh, joints, result)
        same = [p for p in result.pieces if abs(p.volume - other.volume) < 1e-12]
        assert len(same) == 1
        neighbour = same[0]
        assert len(joint_rows(neighbour, 1)) == 0
        # The neighbour has gained vertices where the new joint meets the old face between them, and none elsewhere.
        new = ~np.isin(as_bytes(neighbour.mesh.vertices), as_bytes(other.mesh.vertices))
        assert np.isin(as_bytes(other.mesh.vertices), as_bytes(neighbour.mesh.vertices)).all()
        if gap > 0.0:
            assert not new.any()
        else:
            assert on_joint(neighbour, FIRST)[new].all()
            assert new.any()
            made = set(map(bytes, as_bytes(neighbour.mesh.vertices[new])))
            theirs = {bytes(x) for p in result.pieces if p is not neighbour for x in as_bytes(p.mesh.vertices)}
            assert made <= theirs
        assert sum(p.volume for p in result.pieces if p is not neighbour) <= piece.volume * (1.0 + 1e-12)
        # What faces what: the new joint parts the part's own two sides only.
        index = result.pieces.index(neighbour)
        assert all(index not in (c.lower, c.upper) for c in result.contacts if c.joint == 1)
        area = sum(c.area for c in before.contacts)
        assert sum(c.area for c in result.contacts if c.joint == 0) == pytest.approx(area, rel=1e-9)


def test_parts_of_parts() -> None:
    # Each joint cuts the piece that the last one left: a brick wall bond.
    mesh = box((4.0, 1.0, 2.0))
    joints: list[Joint] = [Plane((0, 0, 1), (0, 0, 1))]
    joints += [Plane((x, 0, 0), (1, 0, 0), part=(x, 0.5, 0.5)) for x in (1.0, 2.0, 3.0)]
    joints += [Plane((x, 0, 0), (1, 0, 0), part=(x + 0.1, 0.5, 1.5)) for x in (0.5, 1.5, 2.5, 3.5)]
    # The first point of the lower course lies on later joints, but not on an earlier one: that is no fault.
    result = cut(mesh, joints)
    assert_cut(mesh, joints, result)
    assert sorted(p.volume for p in result.pieces) == pytest.approx([0.5] * 2 + [1.0] * 7, rel=1e-12)
    bed = [c for c in result.contacts if c.joint == 0]
    assert [c.area for c in bed] == pytest.approx([0.5] * 8, rel=1e-12)
    assert sum(c.visible_length for c in bed) == pytest.approx(10.0, rel=1e-12)


def test_a_part_that_the_joint_misses() -> None:
    mesh = joined(rock(2), moved(rock(2), shift=(8.0, 0.0, 0.0)))
    here = inside_point(rock(2))
    result = cut(mesh, [Plane((8.0, 0, 0), (1, 0, 0), part=here)])
    assert result.missed == (0,)
    assert len(result.pieces) == 2
    assert len(cut(mesh, [Plane((8.0, 0, 0), (1, 0, 0), part=here + np.array((8.0, 0, 0)))]).pieces) == 3
    assert len(cut(mesh, [Plane((0.0, 0, 0), (0, 1, 0))]).pieces) == 4


@pytest.mark.parametrize("gap", [0.0, 0.02])
@pytest.mark.parametrize(
    ("part", "word"),
    [
        ((5.0, 0.5, 0.5), "no body"),
        ((0.5, 0.5, 1.0 + 1e-9), "no body"),
        ((0.5, 0.5, 1.0), "skin|no body"),
        ((0.0, 0.0, 0.0), "skin|no body"),
        ((0.0, 0.3, 0.0), "skin|no body"),
        ((0.3, 0.3, 1.0 - 1e-14), "skin|no body"),
        ((1.0, 0.3, 0.3), "skin|gap|no body"),  # on the joint before
    ],
)
def test_a_part_that_is_none_is_refused(part: tuple[float, float, float], word: str, gap: float) -> None:
    joints = [Plane((1.0, 0, 0), (1, 0, 0)), Plane((0, 0.5, 0), (0, 1, 0)), Plane((0, 0, 0.5), (0, 0, 1), part=part)]
    with pytest.raises(CutError, match=word) as caught:
        cut(box((2.0, 1.0, 1.0)), joints, gap)
    assert caught.value.joint == 2
    assert "joint 2" in str(caught.value)


def test_a_part_in_a_gap_or_a_hollow_is_refused() -> None:
    joints = [Plane((1.0, 0, 0), (1, 0, 0)), Plane((0, 0, 0.5), (0, 0, 1), part=(1.004, 0.3, 0.3))]
    with pytest.raises(CutError, match="gap of an earlier joint") as caught:
        cut(box((2.0, 1.0, 1.0)), joints, 0.02)
    assert caught.value.joint == 1
    with pytest.raises(CutError, match="no body") as caught:
        cut(hollow_box(), [Plane((0.7, 0, 0), (1, 0, 0), part=(0.6, 0.5, 0.5))])
    assert caught.value.joint == 0


def test_a_part_just_inside_is_taken() -> None:
    part = (0.3, 0.3, 1.0 - 1e-9)
    assert len(cut(box(), [Plane((0, 0, 0.5), (0, 0, 1), part=part)]).pieces) == 2


# One body ----------------------------------------------------------------------------------------------------------


def reversed_body(mesh: Mesh) -> Mesh:
    return Mesh(mesh.vertices, mesh.triangles[:, ::-1], mesh.kind)


@pytest.mark.parametrize("angle", [0.0, 0.4])
def test_a_hollow_stays_with_the_body_round_it(angle: float) -> None:
    mesh = moved(hollow_box(), turned((1.0, 0.5, 0.2), angle))
    whole = cut(mesh, [])
    assert len(whole.pieces) == 1
    assert whole.pieces[0].volume == pytest.approx(1.4 - 0.6 * 0.6 * 0.6, rel=1e-12)
    # Past the hollow: it stays with the larger piece; through it: open on both sides, nothing closed within.
    up = turned((1.0, 0.5, 0.2), angle)
    past = cut(mesh, [Plane(up @ np.array((1.2, 0, 0)), up[:, 0])])
    assert [p.volume for p in past.pieces] == pytest.approx([1.2 - 0.216, 0.2], rel=1e-12)
    through = cut(mesh, [Plane(up @ np.array((0.7, 0, 0)), up[:, 0])])
    assert [p.volume for p in through.pieces] == pytest.approx([0.7 - 0.36 * 0.3, 0.7 - 0.36 * 0.3], rel=1e-12)


def test_bodies_in_hollows_in_bodies() -> None:
    def cube(side: float, at: float = 0.0) -> Mesh:
        return box((side, side, side), (at - side / 2, -side / 2, -side / 2))

    shells = [cube(4.0), reversed_body(cube(3.0)), cube(2.0), reversed_body(cube(1.0)), cube(0.5)]
    small = cube(0.8, 10.0)
    for order in ((0, 1, 2, 3, 4), (4, 3, 2, 1, 0), (3, 0, 4, 2, 1)):
        mesh = joined(small, *(shells[k] for k in order))
        result = cut(mesh, [])
        assert sorted(p.volume for p in result.pieces) == pytest.approx([0.125, 0.512, 7.0, 37.0], rel=1e-12)
        # A part in the middle one cuts it alone; its hollow's core and the shell round it stay.
        apart = cut(mesh, [Plane((0.1, 0, 0), (1, 0, 0), part=(0.7, 0.7, 0.7))])
        assert sorted(p.volume for p in apart.pieces) == pytest.approx(
            sorted([0.125, 0.512, 37.0, 1.1 * 4 - 0.6, 0.9 * 4 - 0.4]), rel=1e-12
        )


def octahedron(middle: tuple[float, float, float], reach: float) -> Mesh:
    corners = np.array([(0, 0, 1), (1, 0, 0), (0, 1, 0), (-1, 0, 0), (0, -1, 0), (0, 0, -1)], dtype=float)
    upper, lower = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (0, 4, 1)], [(5, 2, 1), (5, 3, 2), (5, 4, 3), (5, 1, 4)]
    return Mesh(corners * reach + np.array(middle), np.array([*upper, *lower]))


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_hollow_that_touches_the_joint_in_a_point(side: float) -> None:
    # Its first corner lies in the joint's face, where nothing is inside or outside; another body is smaller.
    hollow = reversed_body(octahedron((1.0, 1.0, 0.75), 0.25))
    mesh = joined(hollow, box((2.0, 2.0, 2.0)), box((0.7, 0.7, 2.0), (5.0, 0.0, 0.0)))
    result = cut(mesh, [Plane((0, 0, 1.0), (0, 0, side))])
    assert sorted(p.volume for p in result.pieces) == pytest.approx([0.49, 0.49, 4.0 - 1.0 / 48.0, 4.0], rel=1e-12)


def test_bodies_that_only_touch() -> None:
    filled = np.ones((2, 2, 2), dtype=bool)
    filled[0, 0, 1] = filled[1, 1, 1] = False
    mesh = cells(filled, (2.0, 2.0, 2.0))
    # Two columns on a slab touch along one upright edge; a joint at their feet parts all three.
    result = cut(mesh, [Plane((0, 0, 1.0), (0, 0, 1))])
    assert sorted(p.volume for p in result.pieces) == pytest.approx([1.0, 1.0, 4.0], rel=1e-12)
    for piece in result.pieces:
        assert_closed(piece.mesh)
    # A part in one of them leaves the other alone.
    joints = [Plane((0, 0, 1.0), (0, 0, 1)), Plane((0, 0, 1.5), (0, 0, 1), part=(0.5, 1.5, 1.2))]
    parted = cut(mesh, joints)
    assert sorted(p.volume for p in parted.pieces) == pytest.approx([0.5, 0.5, 1.0, 4.0], rel=1e-12)
    # Without the split, one piece for each region.
    regions = cut(mesh, [Plane((0, 0, 1.0), (0, 0, 1))], split=False)
    assert [p.volume for p in regions.pieces] == pytest.approx([4.0, 2.0], rel=1e-12)


def test_a_corner_in_common() -> None:
    two = joined(box(), moved(box(), shift=(1.0, 1.0, 1.0)))
    weld = np.arange(16)
    weld[8] = 7
    mesh = Mesh(two.vertices[np.unique(weld)], np.unique(weld, return_inverse=True)[1][two.triangles])
    assert [p.volume for p in cut(mesh, []).pieces] == pytest.approx([1.0, 1.0], rel=1e-12)
    result = cut(mesh, [Plane((0, 0, 1.5), (0.1, 0, 1), part=(1.5, 1.5, 1.2))])
    assert len(result.pieces) == 3


def test_a_piece_of_many_bodies_by_region() -> None:
    # A torus across its hole: two bodies above, two below, if they are split.
    mesh = torus(24, 12)
    joints = [Plane((0, 0, 0), (1, 0, 0)), Plane((0, 0.02, 0), (0, 1, 0.1))]
    split, whole = cut(mesh, joints), cut(mesh, joints, split=False)
    assert len(split.pieces) == len(whole.pieces) == 4
    joints = [Plane((0.1, 0, 0), (1, 0, 0)), Plane((0.3, 0, 0), (1, 0, 0))]
    split, whole = cut(mesh, joints), cut(mesh, joints, split=False)
    assert (len(split.pieces), len(whole.pieces)) == (4, 3)
    assert sum(p.volume for p in whole.pieces) == pytest.approx(volume_of(mesh), rel=1e-12)
    assert_cut(mesh, joints, whole, split=False)
