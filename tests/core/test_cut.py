# SPDX-License-Identifier: GPL-3.0-or-later
"""Cuts that must change nothing, in any order, anywhere, and at any size; and what is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fuzz_cases import make_case
from proof import assert_areas, assert_closed, assert_cut, assert_plane_cut, joint_rows, surface
from reference import halves, volume_of
from scipy.spatial import cKDTree
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.cutting.result import Body, CutResult
from seamwright.core.errors import Cancelled, CutError, MeshError, NotClosedError
from seamwright.core.jobpack.joints_file import joints_json, read_joints
from seamwright.core.mesh.mesh import Mesh
from shapes import box, cells, comb, grid_box, icosphere, joined, moved, pocketed_box, rock, torus, turned


def everything(result: CutResult) -> list[bytes]:
    """All that a cut hands back, as bytes in its order."""
    out = [repr(result.missed).encode()]
    for body in (*result.pieces, *result.taken, *result.crumbs):
        arrays = (body.mesh.vertices, body.mesh.triangles, body.mesh.kind, body.source, body.origin)
        out += [a.tobytes() for a in arrays]
    for lines in result.lines:
        out += [a.tobytes() for line in lines for a in (line.points, line.kind, line.pieces)]
    return [*out, repr(result.contacts).encode()]


def facets(body: Body) -> list[bytes]:
    """Triangles of a body with class and source, whatever their order; coordinates bit for bit."""
    corners = body.mesh.corners() + 0.0
    first = np.lexsort(np.moveaxis(corners, 2, 0)[::-1].reshape(3, -1))
    rank = np.empty(len(first), dtype=np.int64)
    rank[first] = np.arange(len(first))
    turn = rank.reshape(-1, 3).argmin(axis=1)
    # Equal corners within a triangle do not occur in these cases.
    rows = np.take_along_axis(corners, ((turn[:, None] + np.arange(3)) % 3)[:, :, None], axis=1).reshape(-1, 9)
    named = np.column_stack([rows, body.mesh.kind, body.source, body.origin]).astype(np.float64)
    return sorted(row.tobytes() for row in named)


def wavy(seed: int, knots: int = 9, high: float = 0.12) -> Profile:
    rng = np.random.default_rng([9, seed])
    turn = turned(tuple(rng.normal(size=3)), float(rng.uniform(0.0, 3.0)))
    points = np.column_stack([np.linspace(-1.4, 1.4, knots), high * rng.normal(size=knots)])
    return Profile(0.1 * rng.normal(size=3), turn[:, 0], turn[:, 2], points)


PLANES = [Plane((0.21, 0.0, 0.0), (1.0, 0.2, 0.1)), Plane((0.0, 0.07, 0.05), (0.1, 0.9, 0.4))]
SETS: list[tuple[Joint, ...]] = [
    (PLANES[0],),
    tuple(PLANES),
    (wavy(1), PLANES[0]),
    (PLANES[1], wavy(2, 12), wavy(3, 5)),
]


@pytest.mark.parametrize("gap", [0.0, 0.02])
@pytest.mark.parametrize("joints", SETS, ids=range(len(SETS)))
def test_a_joint_used_again_changes_nothing(joints: tuple[Joint, ...], gap: float) -> None:
    mesh = rock(2, 4)
    once = cut(mesh, joints, gap)
    assert once.missed == ()
    for j, joint in enumerate(joints):
        again = cut(mesh, (*joints, joint), gap)
        assert again.missed == (len(joints),)
        assert [facets(p) for p in again.pieces] == [facets(p) for p in once.pieces]
        assert [facets(p) for p in again.taken] == [facets(p) for p in once.taken]
        assert again.contacts == once.contacts
        assert again.lines[len(joints)] == ()
        # The other way round, and right after itself.
        other = cut(mesh, (*joints[: j + 1], joint, *joints[j + 1 :]), gap)
        assert other.missed == (j + 1,)
        assert [p.mesh.vertices.tobytes() for p in other.pieces] == [p.mesh.vertices.tobytes() for p in once.pieces]


@pytest.mark.parametrize("turn", [-1.0, 1.0])
def test_a_joint_turned_round_is_the_same_joint(turn: float) -> None:
    mesh, plane = rock(2, 6), PLANES[0]
    result = cut(mesh, [plane, Plane(plane.point, turn * plane.normal)])
    assert result.missed == (1,)
    assert len(result.pieces) == len(cut(mesh, [plane]).pieces)


@pytest.mark.parametrize("gap", [0.0, 0.02])
@pytest.mark.parametrize("joints", SETS, ids=range(len(SETS)))
def test_a_piece_cut_again_by_its_joints_stays_whole(joints: tuple[Joint, ...], gap: float) -> None:
    for piece in cut(rock(2, 4), joints, gap).pieces:
        again = cut(piece.mesh, joints, gap)
        assert again.missed == tuple(range(len(joints)))
        assert len(again.pieces) == 1
        assert again.taken == ()
        coordinates = [np.sort((b.mesh.corners() + 0.0).view("V24").ravel()) for b in (again.pieces[0], piece)]
        assert np.array_equal(*coordinates)


def twins(one: CutResult, two: CutResult, near: float) -> None:
    """The same pieces in any order: volume, area by class, and each vertex of one at a vertex of the other."""
    assert len(one.pieces) == len(two.pieces)
    rest = list(two.pieces)
    for a in one.pieces:
        close = [b for b in rest if abs(a.volume - b.volume) <= near and len(a.mesh.vertices) == len(b.mesh.vertices)]
        found = [
            b
            for b in close
            if cKDTree(a.mesh.vertices).query(b.mesh.vertices)[0].max() <= near
            and cKDTree(b.mesh.vertices).query(a.mesh.vertices)[0].max() <= near
        ]
        assert len(found) == 1
        assert np.bincount(found[0].mesh.kind).tolist()[0] == np.bincount(a.mesh.kind).tolist()[0]
        rest.remove(found[0])


def contact_areas(result: CutResult) -> list[float]:
    return sorted(c.area for c in result.contacts)


@pytest.mark.parametrize("gap", [0.0, 0.01])
def test_joints_that_do_not_cross_in_any_order(gap: float) -> None:
    mesh = rock(3, 8)
    joints: list[Joint] = [Plane((x, 0.0, 0.0), (1.0, 0.05 * x, 0.02)) for x in (-0.8, -0.2, 0.35, 0.9)]
    joints[1] = Profile((-0.2, 0, 0), (0, 0, 1), (1, 0, 0), [(-0.3, 0.05), (-0.05, -0.06), (0.1, 0.05), (0.4, 0.0)])
    first = cut(mesh, joints, gap)
    for order in ((3, 2, 1, 0), (1, 3, 0, 2)):
        other = cut(mesh, [joints[k] for k in order], gap)
        twins(first, other, 1e-14)
        assert sorted(c.area for c in other.contacts) == pytest.approx(
            sorted(c.area for c in first.contacts), rel=1e-13
        )


def test_crossing_planes_in_any_order() -> None:
    mesh = rock(2, 8)
    joints = [Plane((0.1, 0, 0), (1, 0.1, 0)), Plane((0, 0.05, 0), (0, 1, 0.2)), Plane((0, 0, 0.02), (0.1, 0, 1))]
    first = cut(mesh, joints)
    for order in ((1, 0, 2), (2, 1, 0), (2, 0, 1)):
        other = cut(mesh, [joints[k] for k in order])
        assert [p.volume for p in sorted(other.pieces, key=lambda p: p.volume)] == pytest.approx(
            [p.volume for p in sorted(first.pieces, key=lambda p: p.volume)], rel=1e-12
        )
        assert sorted(c.area for c in other.contacts) == pytest.approx(
            sorted(c.area for c in first.contacts), rel=1e-12
        )


@pytest.mark.parametrize("number", [4, 9, 17, 31, 38, 52])
def test_the_same_bytes_again_and_from_saved_joints(number: int) -> None:
    case = make_case(number)
    first = everything(cut(case.mesh, case.joints, case.gap))
    copy = Mesh(case.mesh.vertices.copy(), case.mesh.triangles.copy(), case.mesh.kind.copy())
    assert everything(cut(copy, list(case.joints), case.gap)) == first
    text = joints_json([(str(j), joint) for j, joint in enumerate(case.joints)])
    assert everything(cut(case.mesh, read_joints(text), case.gap)) == first
    assert joints_json([(str(j), joint) for j, joint in enumerate(read_joints(text))]) == text


def test_inputs_are_left_alone() -> None:
    mesh = rock(2)
    before = mesh.vertices.tobytes(), mesh.triangles.tobytes(), mesh.kind.tobytes()
    result = cut(mesh, SETS[3], 0.02)
    assert (mesh.vertices.tobytes(), mesh.triangles.tobytes(), mesh.kind.tobytes()) == before
    for piece in result.pieces:
        with pytest.raises(ValueError, match="read-only"):
            piece.mesh.vertices[0] = 0.0


# Degenerate places -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("off", [10.0**-k for k in range(6, 17)])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_plane_nearly_in_a_face(off: float, side: float) -> None:
    mesh = grid_box((3, 3, 3), (1.2, 0.9, 0.6))
    for normal in ((0.0, 0.0, 1.0), (off, -off, 1.0), (0.0, 2.0 * off, -1.0)):
        plane = Plane((0.0, 0.0, 0.6 + side * off), normal)
        result = cut(mesh, [plane])
        assert all(p.volume > 0.0 for p in result.pieces)
        assert_cut(mesh, [plane], result)
        # What is thinner than the tolerance is not cut off.
        if side > 0.0 and normal[0] == normal[1] == 0.0:
            assert result.missed == (0,)


@pytest.mark.parametrize("off", [1e-6, 1e-8, 1e-10, 1e-12, 1e-14])
def test_planes_nearly_the_same(off: float) -> None:
    mesh = rock(2, 3)
    joints = [PLANES[0], Plane(PLANES[0].point + off * PLANES[0].normal, PLANES[0].normal)]
    joints.append(Plane(PLANES[0].point, PLANES[0].normal + off * np.array([0.0, 1.0, -1.0])))
    result = cut(mesh, joints)
    assert_cut(mesh, joints[:1], cut(mesh, joints[:1]))
    for body in result.pieces:
        assert_closed(body.mesh)
    assert sum(volume_of(b.mesh) for b in result.pieces) == pytest.approx(volume_of(mesh), rel=1e-9)
    big = [p for p in result.pieces if p.volume > 1e-4]
    assert len(big) == len(cut(mesh, joints[:1]).pieces)


@pytest.mark.parametrize("size", [0.1, 1.0, 100.0])
@pytest.mark.parametrize("place", [(0.0, 0.0, 0.0), (6.0e3, -7.0e3, 4.0e3)])
def test_any_size_and_ten_kilometres_away(size: float, place: tuple[float, float, float]) -> None:
    base = rock(2, 5, size=(size, 0.6 * size, 0.5 * size))
    mesh, frame = moved(base, shift=place), np.array(place)
    joints: list[Joint] = [
        Plane(frame + 0.03 * size, (1.0, 0.3, 0.2)),
        Plane(mesh.vertices[7], mesh.vertices[7] - mesh.vertices[90]),
        Profile(
            frame, (0, 1, 0), (0, 0, 1), size * np.array([(-0.3, 0.02), (-0.1, -0.05), (0.05, 0.06), (0.3, -0.03)])
        ),
    ]
    for gap in (0.0, 0.01 * size):
        result = cut(mesh, joints, gap)
        total = sum(volume_of(b.mesh) for b in (*result.pieces, *result.taken))
        assert total == pytest.approx(volume_of(mesh), rel=1e-9)
        for body in (*result.pieces, *result.taken):
            assert_closed(body.mesh)
        # The same cut near the origin, up to the coordinates' rounding.
        near = cut(base, [_shifted(j, -frame) for j in joints], gap)
        rounding = 64.0 * float(np.spacing(np.abs(mesh.vertices).max())) * size**2 + 1e-12 * size**3
        big, there = (sorted(p.volume for p in r.pieces if p.volume > 100.0 * rounding) for r in (result, near))
        assert big == pytest.approx(there, abs=rounding, rel=0.0)


def _shifted(joint: Joint, by: np.ndarray) -> Joint:
    if isinstance(joint, Plane):
        return Plane(joint.point + by, joint.normal)
    return Profile(joint.origin + by, joint.u, joint.w, joint.points)


@pytest.mark.parametrize("squash", [1e-2, 1e-4, 1e-6])
def test_needles(squash: float) -> None:
    # Thin triangles everywhere: a rock pressed flat along a slant, so that no axis helps.
    turn = turned((1.0, 2.0, 0.5), 0.8)
    mesh = rock(2, 7)
    mesh = Mesh(mesh.vertices @ (turn @ np.diag([1.0, 1.0, squash]) @ turn.T).T, mesh.triangles)
    for plane in (PLANES[0], Plane(mesh.vertices[3], turn[:, 2]), Plane(mesh.vertices[11], turn[:, 0])):
        result = cut(mesh, [plane])
        assert_plane_cut(mesh, plane, result, sources=False)


@pytest.mark.parametrize(
    "mesh",
    [grid_box((3, 3, 3), (1.0, 1.0, 1.0)), comb(3), pocketed_box(), torus(12, 8), icosphere(1)],
    ids=["grid", "comb", "pockets", "torus", "ball"],
)
def test_planes_through_all_that_is_there(mesh: Mesh) -> None:
    rng = np.random.default_rng(1)
    v = mesh.vertices
    for _ in range(6):
        a, b, c = rng.choice(len(v), 3, replace=False)
        t = mesh.triangles[rng.integers(len(mesh.triangles))]
        edge = v[t[1]] - v[t[0]]
        for normal, at in (
            (np.cross(v[b] - v[a], v[c] - v[a]), v[a]),  # through three vertices
            (np.cross(edge, v[t[2]] - v[t[0]]), v[t[0]]),  # in a face
            (np.cross(edge, rng.normal(size=3)), v[t[0]]),  # along an edge
            (np.eye(3)[rng.integers(3)], v[b]),  # square to an axis through a vertex
        ):
            if np.linalg.norm(normal) < 1e-9:
                continue
            plane = Plane(at, normal)
            result = cut(mesh, [plane])
            assert_plane_cut(mesh, plane, result)
            known = halves(mesh, plane)
            assert result.missed == (() if known.section > 1e-9 else (0,))


# Bodies that meet or cross ---------------------------------------------------------------------------------------


def test_bodies_that_cross_each_other_still_add_up() -> None:
    # A scan may cross itself: what is closed by index stays so, and signed volumes add up.
    mesh = joined(box(), box(low=(0.5, 0.5, 0.5)))
    v = rock(2).vertices.copy()
    v[::7] *= -0.5
    crossed = Mesh(v, rock(2).triangles)
    wave = Profile((0, 0, 0.7), (1, 0, 0), (0, 0, 1), [(0, 0), (0.3, 0.1), (0.6, -0.2), (1.0, 0.1)])
    for body in (mesh, crossed):
        for joints in ([Plane((0.1, 0.1, 0.75), (0.1, 0, 1)), Plane((0.3, 0, 0), (1, 0.1, 0))], [wave]):
            for gap in (0.0, 0.02):
                result = cut(body, joints, gap)
                for part in (*result.pieces, *result.taken):
                    assert_closed(part.mesh)
                total = sum(volume_of(b.mesh) for b in (*result.pieces, *result.taken))
                assert total == pytest.approx(volume_of(body), rel=1e-9)


def test_bodies_that_touch_in_an_edge_or_a_corner_are_separate() -> None:
    # A cut leaves two blocks that meet in one edge, and two that meet in one corner.
    edge = np.zeros((2, 1, 2), dtype=bool)
    edge[0, 0, 0] = edge[1, 0, 1] = True
    filled = np.ones((2, 2, 2), dtype=bool)
    filled[0, 0, 1] = filled[1, 1, 1] = False  # over z = 1: two columns that touch along one upright edge
    mesh = cells(filled, (2.0, 2.0, 2.0))
    # That edge is shared by four triangles of the carving above; below the joint it is not there.
    result = cut(mesh, [Plane((0, 0, 1.0), (0, 0, 1))])
    assert sorted(p.volume for p in result.pieces) == pytest.approx([1.0, 1.0, 4.0], rel=1e-12)
    for piece in result.pieces:
        assert_closed(piece.mesh)
    two = joined(box(), moved(box(), shift=(1.0, 1.0, 1.0)))
    weld = np.arange(16)
    weld[8] = 7  # the corner at (1, 1, 1)
    corner = Mesh(two.vertices, weld[two.triangles])
    assert len(cut(corner, []).pieces) == 2
    assert len(cut(corner, [Plane((0, 0, 0.5), (0, 0, 1))]).pieces) == 3


# Refusals, progress ----------------------------------------------------------------------------------------------


def test_progress_rises_and_ends_at_one() -> None:
    seen: list[tuple[float, str]] = []
    mesh = rock(2)
    joints = [*PLANES, Plane((0, 0, 0.1), (0, 0, 1), part=cut(mesh, PLANES).pieces[0].mesh.vertices.mean(axis=0))]
    result = cut(mesh, joints, progress=lambda share, text: seen.append((share, text)))
    shares = [share for share, _ in seen]
    assert shares == sorted(shares)
    assert shares[0] == 0.0
    assert shares[-1] == 1.0
    assert all(text for _, text in seen)
    assert everything(result) == everything(cut(mesh, joints))


@pytest.mark.parametrize("limit", [0.0, 1.0])
def test_cancelled_leaves_nothing(limit: float) -> None:
    mesh = rock(2)
    before = mesh.vertices.tobytes()

    def stop(share: float, _: str) -> None:
        if share >= limit:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled, match="stopped"):
        cut(mesh, PLANES, progress=stop)
    assert mesh.vertices.tobytes() == before
    assert len(cut(mesh, PLANES).pieces) > 1


def test_what_is_not_closed_is_refused() -> None:
    mesh = rock(2)
    for row in range(0, len(mesh.triangles), 31):
        with pytest.raises(NotClosedError) as caught:
            cut(Mesh(mesh.vertices, np.delete(mesh.triangles, row, axis=0)), PLANES)
        edges = {tuple(sorted(e)) for e in zip(mesh.triangles[row], np.roll(mesh.triangles[row], -1), strict=True)}
        assert set(map(tuple, caught.value.edges.tolist())) == edges
        turned_over = mesh.triangles.copy()
        turned_over[row] = turned_over[row, ::-1]
        with pytest.raises(NotClosedError) as caught:
            cut(Mesh(mesh.vertices, turned_over), PLANES)
        assert set(map(tuple, caught.value.edges.tolist())) == edges


@pytest.mark.parametrize("rows", [0, 1, 2, 3])
def test_too_few_triangles_are_refused(rows: int) -> None:
    flat = Mesh(box().vertices, np.array([[0, 1, 2], [0, 2, 1], [0, 1, 2]])[:rows])
    with pytest.raises(MeshError, match=f"{rows} triangles"):
        cut(flat, [])


@pytest.mark.parametrize("gap", [-1e-3, np.nan, np.inf, 1e-12])
def test_a_gap_that_is_none_is_refused(gap: float) -> None:
    with pytest.raises(CutError, match="gap"):
        cut(box(), [], gap)


@pytest.mark.parametrize("joint", [None, (0, 0, 1), "plane", {"kind": "plane"}])
def test_what_is_no_joint_is_refused(joint: object) -> None:
    with pytest.raises(CutError, match=r"joint 1.* is a ") as caught:
        cut(box(), [Plane((0.5, 0, 0), (1, 0, 0)), joint])
    assert caught.value.joint == 1


def test_no_joints_at_all() -> None:
    mesh = joined(rock(1), moved(rock(1), shift=(5, 0, 0)))
    result = cut(mesh, [])
    assert [p.volume for p in result.pieces] == pytest.approx([volume_of(rock(1))] * 2, rel=1e-13)
    assert (result.lines, result.contacts, result.missed) == ((), (), ())
    assert np.array_equal(np.sort(np.concatenate([p.source for p in result.pieces])), np.arange(len(mesh.triangles)))


@pytest.mark.parametrize("gap", [0.0, 0.01])
def test_a_joint_that_misses(gap: float) -> None:
    mesh = rock(2)
    joints = [
        Plane((9, 0, 0), (1, 0, 0)),
        PLANES[0],
        Plane((0, 0, -9), (0, 0, 1)),
        wavy(2),
        Plane((0, 9, 0), (0, 1, 0)),
    ]
    result = cut(mesh, joints, gap)
    assert result.missed == (0, 2, 4)
    kept = cut(mesh, [joints[1], joints[3]], gap)
    assert [p.mesh.vertices.tobytes() for p in result.pieces] == [p.mesh.vertices.tobytes() for p in kept.pieces]
    assert [result.lines[j] for j in (0, 2, 4)] == [(), (), ()]
    assert [(c.joint, c.lower, c.upper, c.area) for c in result.contacts] == [
        ((1, 3)[c.joint], c.lower, c.upper, c.area) for c in kept.contacts
    ]


# Crumbs ----------------------------------------------------------------------------------------------------------


def crumbly() -> tuple[Mesh, list[Plane]]:
    """Make a comb whose teeth are topped by a joint just under their ends: five small tops."""
    return comb(5, (9.0, 2.0, 5.0)), [Plane((0, 0, 4.9), (0, 0, 1)), Plane((4.5, 0, 0), (1, 0, 0))]


def assert_bodies_of(mesh: Mesh, result: CutResult, crumb: float) -> None:
    for body in (*result.pieces, *result.crumbs):
        assert_closed(body.mesh)
        assert body.volume == pytest.approx(volume_of(body.mesh), rel=1e-12)
    assert all(p.volume >= crumb for p in result.pieces)
    assert all(c.volume < crumb for c in result.crumbs)
    assert sum(b.volume for b in (*result.pieces, *result.crumbs)) == pytest.approx(volume_of(mesh), rel=1e-9)
    assert_areas(mesh, (*result.pieces, *result.crumbs))


def test_crumbs_are_taken_out() -> None:
    mesh, joints = crumbly()
    whole = cut(mesh, joints)
    result = cut(mesh, joints, crumb=0.15)
    assert_bodies_of(mesh, result, 0.15)
    assert sorted(c.volume for c in result.crumbs) == pytest.approx([0.1, 0.1], rel=1e-12)
    assert sorted(b.volume for b in (*result.pieces, *result.crumbs)) == pytest.approx(
        sorted(p.volume for p in whole.pieces), rel=1e-15
    )
    # A face towards a crumb is no contact of two pieces, but still a line of the joint.
    assert all(0 <= i < len(result.pieces) for c in result.contacts for i in (c.lower, c.upper))
    crumbs = [line.pieces for line in result.lines[0] if (line.pieces == -1).any()]
    assert [(np.unique(p[:, 0] >= 0).tolist(), np.unique(p[:, 1]).tolist()) for p in crumbs] == [([True], [-1])]
    assert sum(c.area for c in whole.contacts) - sum(c.area for c in result.contacts) == pytest.approx(2.2, rel=1e-12)


def test_crumbs_are_glued_back() -> None:
    mesh, joints = crumbly()
    result = cut(mesh, joints, crumb=0.25, glue=True)
    assert result.crumbs == ()
    assert_bodies_of(mesh, result, 0.25)
    # All tops are back where they grew: the upright joint alone is left.
    alone = cut(mesh, joints[1:])
    assert sorted(p.volume for p in result.pieces) == pytest.approx(sorted(p.volume for p in alone.pieces), rel=1e-12)
    assert {c.joint for c in result.contacts} == {1}
    assert sum(c.area for c in result.contacts) == pytest.approx(sum(c.area for c in alone.contacts), rel=1e-12)
    assert result.lines[0] == ()


@pytest.mark.parametrize("number", [1003, 1012, 1020, 1031, 1047, 1060])
@pytest.mark.parametrize("glue", [False, True])
def test_crumbs_of_any_cut(number: int, glue: bool) -> None:
    case = make_case(number)
    crumb = 0.02 * volume_of(case.mesh)
    result = cut(case.mesh, case.joints, crumb=crumb, glue=glue)
    assert_bodies_of(case.mesh, result, crumb)
    whole = cut(case.mesh, case.joints)
    assert any(p.volume < crumb for p in whole.pieces) == bool(result.crumbs) or glue
    if glue and len(cut(case.mesh, []).pieces) == 1:
        assert result.crumbs == ()
        for j in range(len(case.joints)):
            faces = sum(surface(p.mesh)[joint_rows(p, j)].sum() for p in result.pieces)
            assert 2.0 * sum(c.area for c in result.contacts if c.joint == j) == pytest.approx(faces, rel=1e-9)


def test_contacts_where_a_gap_eats_through_a_neck() -> None:
    # Two towers on a slab: 5 mm of the slab are left to the upper piece, and a gap of 20 mm takes them.
    filled = np.zeros((5, 2, 2), dtype=bool)
    filled[:2] = filled[3:] = True
    filled[2, :, 0] = True
    mesh = cells(filled, (5.0, 1.0, 1.0))
    result = cut(mesh, [Plane((0.0, 0.0, 0.75), (0.0, 0.0, 1.0)), Plane((0.0, 0.0, 0.495), (0.0, 0.0, 1.0))], 0.02)
    assert len(result.pieces) == 5
    found = {(c.joint, c.lower, c.upper): (c.area, c.visible_length) for c in result.contacts}
    assert {key: value[0] for key, value in found.items()} == {
        (0, 1, 3): pytest.approx(2.0, abs=1e-9),
        (0, 2, 4): pytest.approx(2.0, abs=1e-9),
        (1, 0, 1): pytest.approx(2.5, abs=1e-9),
        (1, 0, 2): pytest.approx(2.5, abs=1e-9),
    }
    assert found[0, 1, 3][1] == pytest.approx(6.0, abs=1e-9)


def test_needles_on_an_edge_of_four_triangles_leave_no_spike_on_the_body_across() -> None:
    """Part of a planned cut: foam that earlier joints left with needles whose ends lie on this one."""
    held = np.load(Path(__file__).parent / "corpus" / "needles.npz")
    normal, offset = held["normal"], float(held["offset"])
    mesh = Mesh(held["vertices"], held["triangles"])
    result = cut(mesh, [Plane(normal * offset, normal)])
    assert len(result.pieces) == 2
    heights = [piece.mesh.vertices @ normal - offset for piece in result.pieces]
    assert heights[0].max() < 1e-12
    assert heights[1].min() > -1e-12
    assert sum(piece.volume for piece in result.pieces) == pytest.approx(volume_of(mesh), rel=1e-12)
    for piece in result.pieces:
        assert_closed(piece.mesh)
