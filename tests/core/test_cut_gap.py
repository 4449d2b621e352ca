# SPDX-License-Identifier: GPL-3.0-or-later
"""The gap: how wide it is everywhere, what it takes, and that lines and contacts do not know of it."""

from __future__ import annotations

import numpy as np
import pytest
from proof import assert_cut, joint_rows, side_of
from reference import volume_of
from scipy.spatial import cKDTree
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.cutting.result import CutResult
from seamwright.core.mesh.mesh import Mesh
from shapes import box, comb, cylinder, grid_box, moved, pocketed_box, rock, torus, turned

TURN = turned((0.3, 1.0, -0.5), 0.7)


def samples(mesh: Mesh, rows: np.ndarray, count: int) -> np.ndarray:
    """Points spread over triangles, corners and middles of edges among them; the same each time."""
    rng = np.random.default_rng(len(rows))
    corners = mesh.corners()[rows]
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    pick = rng.choice(len(rows), count, p=area / area.sum())
    share = np.sort(rng.random((count, 2)), axis=1)
    weight = np.column_stack([share[:, 0], share[:, 1] - share[:, 0], 1.0 - share[:, 1]])
    inner = np.einsum("tk,tkx->tx", weight, corners[pick])
    return np.concatenate([inner, corners.reshape(-1, 3), (corners + np.roll(corners, 1, axis=1)).reshape(-1, 3) / 2.0])


def faces(result: CutResult, joint: int, up: np.ndarray, count: int = 4000) -> tuple[np.ndarray, np.ndarray]:
    """Points on the lower faces of a joint (above which lies the gap) and on its upper faces."""
    sides: tuple[list[np.ndarray], list[np.ndarray]] = ([], [])
    for piece in result.pieces:
        rows = joint_rows(piece, joint)
        if len(rows):
            sides[side_of(piece, joint, up)].append(samples(piece.mesh, rows, count))
    return np.concatenate(sides[0]), np.concatenate(sides[1])


def to_profile(points: np.ndarray, joint: Profile) -> tuple[np.ndarray, np.ndarray]:
    """Distance of points from the profile's surface, ends run on; and whether each lies above it."""
    flat = np.stack([(points - joint.origin) @ joint.u, (points - joint.origin) @ joint.w], axis=1)
    knots = np.array(joint.points)
    first, last = knots[0] - knots[1], knots[-1] - knots[-2]
    knots = np.concatenate([[knots[0] + 99.0 * first], knots, [knots[-1] + 99.0 * last]])
    a, run = knots[:-1], np.diff(knots, axis=0)
    share = np.clip(((flat[:, None] - a) * run).sum(axis=2) / (run**2).sum(axis=1), 0.0, 1.0)
    apart = np.linalg.norm(flat[:, None] - a - share[..., None] * run, axis=2).min(axis=1)
    return apart, flat[:, 1] > np.interp(flat[:, 0], *knots.T)


PROFILES = {
    "gentle": [(-1.5, 0.0), (-0.7, 0.15), (0.1, -0.1), (0.6, 0.12), (1.5, 0.05)],
    "sharp": [(-0.8, 0.0), (-0.2, 0.35), (-0.05, -0.2), (0.3, 0.3), (0.5, -0.1)],
    "tighter than the gap": [(-0.5, 0.0), (-0.06, 0.02), (-0.03, -0.06), (0.0, 0.05), (0.02, -0.04), (0.5, 0.1)],
    "a short drop before a rise": [(-0.5, 0.0), (0.0, 0.0), (0.008, -0.03), (0.4, 0.35), (0.9, 0.3)],
    "ends steep": [(-0.2, -0.3), (-0.1, 0.1), (0.2, 0.0), (0.35, 0.4)],
    "straight": [(-0.1, 0.0), (0.4, 0.2)],
}


def profile(name: str) -> Profile:
    return Profile((0.02, 0.01, 0.0), TURN[:, 0], TURN[:, 2], PROFILES[name])


@pytest.mark.parametrize("gap", [0.003, 0.08])
@pytest.mark.parametrize("name", PROFILES)
def test_profiles_keep_the_gap_clear(name: str, gap: float) -> None:
    joint, mesh = profile(name), rock(2, 5)
    result = cut(mesh, [joint], gap)
    assert_cut(mesh, [joint], result, gap)
    lower, upper = faces(result, 0, joint.w)
    for points, above in ((lower, False), (upper, True)):
        away, over = to_profile(points, joint)
        assert (over == above).all()
        # Half the gap on each side, everywhere or more; and somewhere no more than that.
        assert away.min() >= gap / 2.0 - 1e-9
        assert away.min() <= gap / 2.0 + 1e-9
    # The facing points themselves, whatever the profile: never nearer than the gap.
    assert cKDTree(lower).query(upper)[0].min() >= gap * (1.0 - 1e-8)
    # All foam on the far side of half the gap stays: what is taken is thin.
    for body in result.taken:
        near, _ = to_profile(samples(body.mesh, np.arange(len(body.mesh.triangles)), 500), joint)
        kinks = np.arctan(np.diff(joint.points[:, 1]) / np.diff(joint.points[:, 0]))
        longest = 1.0 / np.cos(np.abs(np.diff(kinks)).max(initial=0.0) / 2.0)
        if "gap" not in name and "drop" not in name:
            assert near.max() <= gap / 2.0 * longest + 1e-9


@pytest.mark.parametrize("gap", [0.004, 0.1])
def test_planes_keep_the_gap_clear(gap: float) -> None:
    mesh = rock(3, 5)
    joints = [Plane((0.1, 0, 0), (1, 0.2, 0.3)), Plane((0, 0.05, 0), (0.1, 1, 0)), Plane((0, 0, 0.02), (0, 0.2, 1))]
    result = cut(mesh, joints, gap)
    assert_cut(mesh, joints, result, gap)
    for j, joint in enumerate(joints):
        for points, side in zip(faces(result, j, joint.normal, 200), (-0.5, 0.5), strict=True):
            assert np.abs((points - joint.point) @ joint.normal - side * gap).max() <= 1e-14
    # No corner of any piece lies in any gap.
    for piece in result.pieces:
        for joint in joints:
            away = np.abs((piece.mesh.vertices - joint.point) @ joint.normal)
            assert away.min() >= gap / 2.0 - 1e-10


def test_ends_of_a_profile_run_straight_on() -> None:
    # Its knots stand well within the box; slopes of 1/2 and -1/4 reach its ends, moved square to themselves.
    mesh = grid_box((6, 2, 4), (3.0, 0.5, 2.0))
    joint = Profile((1.5, 0.0, 1.0), (1, 0, 0), (0, 0, 1), [(-0.2, 0.1), (0.0, 0.2), (0.2, 0.15)])
    result = cut(mesh, [joint], 0.03)
    assert_cut(mesh, [joint], result, 0.03)
    for x, height, slope in ((0.0, 1.1 - 0.5 * 1.3, 0.5), (3.0, 1.15 - 0.25 * 1.3, 0.25)):
        for piece, side in zip(result.pieces, (-1.0, 1.0), strict=True):
            ends = piece.mesh.vertices[np.unique(piece.mesh.triangles[joint_rows(piece, 0)])]
            z = ends[np.abs(ends[:, 0] - x) < 1e-12, 2]
            assert len(z) >= 2
            assert z == pytest.approx(height + side * 0.015 * np.sqrt(1.0 + slope**2), abs=1e-12)


CASES: dict[str, tuple[Mesh, list[Joint]]] = {
    "coarse box, one": (box((3.0, 1.0, 1.0)), [Plane((1, 0, 0), (1, 0, 0))]),
    "coarse box, two": (box((3.0, 1.0, 1.0)), [Plane((x, 0, 0), (1, 0, 0)) for x in (1, 2)]),
    "coarse box, eight": (box((3.0, 1.0, 1.0)), [Plane(p, p) for p in (np.eye(3) * 0.5)]),
    "cylinder": (cylinder(24, 0.6, 1.5), [Plane((0, 0, 0.7), (0.1, 0, 1)), Plane((0, 0, 0), (1, 0.1, 0))]),
    "torus": (torus(24, 12), [Plane((0.1, 0, 0), (1, 0, 0)), Plane((0, 0, 0), (0.2, 0, 1))]),
    "pockets": (pocketed_box(), [Plane((0, 0, 0.5), (0, 0.1, 1)), Plane((1.1, 0, 0), (1, 0, 0))]),
    "comb": (comb(3), [Plane((0, 0, 0.7), (0, 0, 1))]),
    "rock": (rock(3, 2), [profile("gentle"), Plane((0.1, 0, 0), (1, 0.2, 0)), Plane((0, 0.1, 0), (0, 1, 0.1))]),
    "rock, a part": (
        rock(3, 2),
        [Plane((0.1, 0, 0), (1, 0.2, 0)), Plane((0, 0.1, 0), (0, 1, 0.1), part=(-0.6, 0.05, 0.0))],
    ),
}


@pytest.mark.parametrize("gap", [1e-6, 0.01])
@pytest.mark.parametrize("name", CASES)
def test_lines_and_contacts_do_not_know_of_the_gap(name: str, gap: float) -> None:
    mesh, joints = CASES[name]
    bare, gapped = cut(mesh, joints), cut(mesh, joints, gap)
    assert len(gapped.pieces) == len(bare.pieces)
    assert_cut(mesh, joints, gapped, gap)
    # Pieces come in the same order: each has lost at most the gap times its joint faces.
    for a, b in zip(bare.pieces, gapped.pieces, strict=True):
        assert 0.0 < a.volume - b.volume <= gap * a.mesh.size.max() ** 2 * 4.0 * len(joints)
    assert gapped.contacts == bare.contacts
    for one, two in zip(bare.lines, gapped.lines, strict=True):
        assert len(one) == len(two)
        for a, b in zip(one, two, strict=True):
            assert a.points.tobytes() == b.points.tobytes()
            assert a.kind.tobytes() == b.kind.tobytes()
            assert a.pieces.tobytes() == b.pieces.tobytes()


@pytest.mark.parametrize("seed", range(3))
def test_volumes_add_up(seed: int) -> None:
    rng = np.random.default_rng([6, seed])
    mesh = moved(rock(2, seed), turned(tuple(rng.normal(size=3)), 1.0))
    joints: list[Joint] = [Plane(rng.normal(size=3) * 0.2, rng.normal(size=3)) for _ in range(2)]
    turn = turned(tuple(rng.normal(size=3)), 2.0)
    points = np.column_stack([np.sort(rng.uniform(-1, 1, 12)), 0.1 * rng.normal(size=12)])
    joints.insert(1, Profile((0, 0, 0), turn[:, 0], turn[:, 1], points))
    before = 0.0
    for gap in (1e-5, 3e-3, 0.15):
        result = cut(mesh, joints, gap)
        assert_cut(mesh, joints, result, gap)
        taken = sum(volume_of(b.mesh) for b in result.taken)
        assert sum(volume_of(p.mesh) for p in result.pieces) + taken == pytest.approx(volume_of(mesh), rel=1e-9)
        assert taken > before
        before = taken
    # A thin gap takes its width times the joints' area, less where joints cross.
    thin = cut(mesh, joints, 1e-5)
    area = sum(c.area for c in cut(mesh, joints).contacts)
    assert sum(b.volume for b in thin.taken) == pytest.approx(1e-5 * area, rel=1e-3)


def test_a_gap_wider_than_the_carving() -> None:
    mesh = rock(2)
    result = cut(mesh, [Plane((0, 0, 0), (1, 0, 0))], 10.0)
    assert result.pieces == ()
    assert sum(b.volume for b in result.taken) == pytest.approx(volume_of(mesh), rel=1e-12)
    assert result.contacts == ()
    half = cut(mesh, [Plane((5.0, 0, 0), (1, 0, 0))], 10.0)
    assert len(half.pieces) >= 1
    assert sum(b.volume for b in (*half.pieces, *half.taken)) == pytest.approx(volume_of(mesh), rel=1e-12)


def test_joints_nearer_than_the_gap() -> None:
    # What the first joint took the second does not take again.
    mesh = grid_box((4, 2, 2), (2.0, 1.0, 1.0))
    joints = [Plane((1.0, 0, 0), (1, 0, 0)), Plane((1.06, 0, 0), (1, 0, 0))]
    result = cut(mesh, joints, 0.1)
    assert_cut(mesh, joints, result, 0.1)
    assert sorted(p.volume for p in result.pieces) == pytest.approx([0.89, 0.95], rel=1e-12)
    assert sorted(b.volume for b in result.taken) == pytest.approx([0.06, 0.1], rel=1e-9)


def test_a_part_that_lies_on_a_joint_without_the_gap() -> None:
    # The gap parts the teeth; without it 5 mm of the back still join them, and the second joint runs on through all.
    joints = [
        Plane((0, 0, 0.195), (0, 0, 1)),
        Plane((0, 0, 0.6), (0, 0, 1), part=(0.5, 0.2, 0.8)),
        Plane((2.3, 0, 0), (1, 0, 0), part=(2.5, 0.2, 0.6)),
    ]
    mesh = comb(3, (5.0, 0.4, 1.0))
    result = cut(mesh, joints, 0.02)
    assert len(result.pieces) == 6
    assert_cut(mesh, joints, result, 0.02)
    assert {c.joint for c in result.contacts} == {0, 1, 2}
    assert all(result.lines)
