# SPDX-License-Identifier: GPL-3.0-or-later
"""Cuts of cubes, prisms, cylinders and tori against closed forms, also through vertices, along edges and in faces."""

from __future__ import annotations

import numpy as np
import pytest
from proof import assert_bodies, assert_cut, assert_plane_cut, joint_rows, surface
from reference import halves
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.cutting.result import CutResult
from seamwright.core.errors import CutError, NotClosedError
from seamwright.core.mesh.mesh import Mesh
from shapes import (
    box,
    cells,
    comb,
    cylinder,
    grid_box,
    icosphere,
    joined,
    moved,
    pocketed_box,
    prism,
    rock,
    torus,
    turned,
)

EXACT = 1e-12


def one(mesh: Mesh, point: tuple[float, float, float], normal: tuple[float, float, float]) -> CutResult:
    """Cut by one plane and prove all of it."""
    plane = Plane(point, normal)
    result = cut(mesh, [plane])
    assert_plane_cut(mesh, plane, result)
    assert_cut(mesh, [plane], result)
    if not halves(mesh, plane).flat:
        assert_bodies(mesh, [plane], result)
    return result


def volumes(result: CutResult) -> list[float]:
    return sorted(piece.volume for piece in result.pieces)


def contact_area(result: CutResult, joint: int = 0) -> float:
    return sum(c.area for c in result.contacts if c.joint == joint)


def line_length(result: CutResult, joint: int = 0) -> float:
    return sum(float(line.lengths.sum()) for line in result.lines[joint])


CUBE = [
    # point, normal, volumes, area of the section, its outline
    ((0.5, 0.5, 0.5), (0, 0, 1), [0.5, 0.5], 1.0, 4.0),
    ((0.0, 0.0, 0.25), (0, 0, 1), [0.25, 0.75], 1.0, 4.0),
    ((0, 0, 0), (1, -1, 0), [0.5, 0.5], np.sqrt(2.0), 2.0 + 2.0 * np.sqrt(2.0)),  # along two edges
    ((1, 0, 0), (1, 1, 0), [0.5, 0.5], np.sqrt(2.0), 2.0 + 2.0 * np.sqrt(2.0)),  # the other pair
    ((1, 0, 0), (1, 1, 1), [1 / 6, 5 / 6], np.sqrt(3.0) / 2.0, 3.0 * np.sqrt(2.0)),  # through three vertices
    ((0.5, 0.5, 0.5), (1, 1, 1), [0.5, 0.5], 0.75 * np.sqrt(3.0), 3.0 * np.sqrt(2.0)),  # regular hexagon
    ((0.25, 0, 0), (1, 1, 1), [1 / 384, 383 / 384], np.sqrt(3.0) / 32.0, 0.75 * np.sqrt(2.0)),  # off a corner
    ((0, 0, 0), (1, 0, -2), [0.25, 0.75], np.sqrt(1.25), 2.0 + 2.0 * np.sqrt(1.25)),  # along one edge
    ((0, 0, 0), (1, 1, -1), [1 / 6, 5 / 6], np.sqrt(3.0) / 2.0, 3.0 * np.sqrt(2.0)),  # three vertices
]


@pytest.mark.parametrize(("point", "normal", "sizes", "area", "outline"), CUBE)
@pytest.mark.parametrize("cells", [1, 4])
def test_cube(point, normal, sizes, area, outline, cells) -> None:
    mesh = box() if cells == 1 else grid_box((cells, cells, cells), (1.0, 1.0, 1.0))
    result = one(mesh, point, normal)
    assert volumes(result) == pytest.approx(sizes, rel=EXACT)
    assert contact_area(result) == pytest.approx(area, rel=EXACT)
    assert line_length(result) == pytest.approx(outline, rel=EXACT)
    assert [line.closed for line in result.lines[0]] == [True]
    assert sum(c.visible_length for c in result.contacts) == pytest.approx(outline, rel=EXACT)


@pytest.mark.parametrize("angle", [0.0, 0.7])
@pytest.mark.parametrize(
    ("point", "normal"),
    [
        ((0, 0, 1), (0, 0, 1)),  # in a face
        ((0, 0, 1), (0, 0, -1)),
        ((0, 0, 0), (1, 0, 0)),
        ((0, 0, 0), (1, 1, 0)),  # along an edge
        ((1, 1, 1), (1, 1, 1)),  # at a corner
        ((3, 0, 0), (1, 0, 0)),  # past it
    ],
)
def test_a_plane_that_only_touches_misses(point, normal, angle) -> None:
    rotation = turned((0.3, -1.0, 0.8), angle)
    mesh = moved(grid_box((2, 3, 2), (1.0, 1.0, 1.0)), rotation)
    plane = Plane(rotation @ np.array(point, dtype=float), rotation @ np.array(normal, dtype=float))
    result = cut(mesh, [plane])
    assert_plane_cut(mesh, plane, result)
    assert result.missed == (0,)
    assert volumes(result) == pytest.approx([1.0], rel=EXACT)
    assert not joint_rows(result.pieces[0], 0).size
    assert result.contacts == ()


@pytest.mark.parametrize("sides", [3, 6, 9])
def test_prism_level_oblique_and_through_edges(sides: int) -> None:
    radius, height, step = 1.3, 2.0, 2.0 * np.pi / sides
    area = sides * radius**2 * np.sin(step) / 2.0
    mesh = prism(sides, radius, height, rings=3)
    level = one(mesh, (0, 0, 0.9), (0, 0, 1))
    assert volumes(level) == pytest.approx([0.9 * area, 1.1 * area], rel=EXACT)
    assert contact_area(level) == pytest.approx(area, rel=EXACT)
    # z = 1 + x / 4 leaves through the sides alone: the volume is that at the centroid, the section is stretched.
    tilted = one(mesh, (0, 0, 1), (-0.25, 0, 1))
    assert volumes(tilted) == pytest.approx([area, area], rel=EXACT)
    assert contact_area(tilted) == pytest.approx(area * np.sqrt(1.0625), rel=EXACT)
    # Upright through the first edge and the axis.
    upright = one(mesh, (0, 0, 0), (0, 1, 0))
    assert volumes(upright) == pytest.approx([area, area], rel=EXACT)
    width = 2.0 * radius if sides % 2 == 0 else radius * (1.0 + np.cos(np.pi / sides))
    assert contact_area(upright) == pytest.approx(width * height, rel=EXACT)
    # In one side: nothing to cut.
    side = one(mesh, (radius * np.cos(step), radius * np.sin(step), 0), (np.cos(step / 2), np.sin(step / 2), 0))
    assert side.missed == (0,)


def test_cylinder_wedge_converges() -> None:
    # The classic hoof: a cylinder of radius r cut through a diameter of its base at height h over the rim has the
    # volume 2 h r2 / 3 (Archimedes, "The Method", proposition 11: one sixth of the prism about it).
    found = []
    for sides in (64, 128):
        mesh = cylinder(sides, 1.0, 2.0)
        result = one(mesh, (0, 0, 0), (-1.5, 0, 1))
        found.append(min(volumes(result)) - 1.0)
    assert abs(found[1]) < 2e-3
    assert found[0] / found[1] == pytest.approx(4.0, rel=0.1)


@pytest.mark.parametrize(("count_u", "count_v"), [(16, 12), (40, 20)])
def test_torus(count_u: int, count_v: int) -> None:
    ring, tube = 1.0, 0.4
    mesh = torus(count_u, count_v, ring, tube)
    d, e = 2.0 * np.pi / count_u, 2.0 * np.pi / count_v
    disc = count_v * tube**2 * np.sin(e) / 2.0
    whole = count_u * np.sin(d) * ring * disc
    # Level through its vertices: a ring with a hole.
    level = one(mesh, (0, 0, 0), (0, 0, 1))
    assert volumes(level) == pytest.approx([whole / 2, whole / 2], rel=EXACT)
    outer, inner = ring + tube, ring - tube
    assert contact_area(level) == pytest.approx(count_u * np.sin(d) * (outer**2 - inner**2) / 2.0, rel=EXACT)
    assert line_length(level) == pytest.approx(2.0 * count_u * np.sin(d / 2.0) * (outer + inner), rel=EXACT)
    assert len(level.lines[0]) == 2
    # Upright through the axis and whole rings of vertices: two discs.
    upright = one(mesh, (0, 0, 0), (0, 1, 0))
    assert volumes(upright) == pytest.approx([whole / 2, whole / 2], rel=EXACT)
    assert contact_area(upright) == pytest.approx(2.0 * disc, rel=EXACT)
    assert len(upright.contacts) == 1
    # Past the hole's rim two islands, before it one section; by the clipped triangles only.
    for x in (0.1, 0.55, 0.65, 1.2):
        one(mesh, (x, 0, 0), (1, 0.01, 0.02))


def test_sphere_cap_converges() -> None:
    # A cap of height h of a sphere of radius r: pi h2 (3 r - h) / 3.
    errors = []
    for level in (3, 4):
        result = one(icosphere(level), (0, 0, 0.3), (0.02, 0.01, 1.0))
        height = 1.0 - 0.3 / np.linalg.norm([0.02, 0.01, 1.0])
        errors.append(min(volumes(result)) / (np.pi * height**2 * (3.0 - height) / 3.0) - 1.0)
    assert abs(errors[1]) < 4e-3
    assert errors[0] / errors[1] == pytest.approx(4.0, rel=0.1)


def test_comb_falls_into_teeth() -> None:
    result = one(comb(5, (9.0, 2.0, 5.0)), (0, 0, 2.5), (0, 0, 1))
    assert volumes(result) == pytest.approx([5.0] * 5 + [33.0], rel=EXACT)
    assert [c.area for c in result.contacts] == pytest.approx([2.0] * 5, rel=EXACT)
    assert len(result.lines[0]) == 5
    # At the step itself: what is open there stays as it was, the feet of the teeth are cut.
    step = one(comb(5, (9.0, 2.0, 5.0)), (0, 0, 1), (0, 0, 1))
    assert volumes(step) == pytest.approx([8.0] * 5 + [18.0], rel=EXACT)
    assert contact_area(step) == pytest.approx(10.0, rel=EXACT)
    regions = cut(comb(5, (9.0, 2.0, 5.0)), [Plane((0, 0, 2.5), (0, 0, 1))], split=False)
    assert volumes(regions) == pytest.approx([25.0, 33.0], rel=EXACT)


@pytest.mark.parametrize("depth", [1, 2, 3])
@pytest.mark.parametrize("slope", [1.0, 1.5])
@pytest.mark.parametrize("sense", [1.0, -1.0])
def test_wedges_that_touch_along_a_line_are_two(depth: int, slope: float, sense: float) -> None:
    # An L of three squares of 1 m, 1 m deep, cut through its inner edge: the two wedges above share that line alone.
    filled = np.ones((2, depth, 2), dtype=bool)
    filled[1, :, 1] = False
    mesh = cells(filled, (2.0, 1.0, 2.0))
    plane = Plane((1.0, 0.0, 1.0), (sense, 0.0, sense * slope))
    result = cut(mesh, [plane])
    assert_plane_cut(mesh, plane, result)
    assert volumes(result) == pytest.approx([0.5 / slope, 1.0 - 0.5 / slope, 2.0], rel=EXACT)


def test_section_with_holes_and_an_island() -> None:
    # Cells of 0.2 m: at z = 0.9 the moat parts an island from the rest.
    result = one(pocketed_box(), (0, 0, 0.9), (0, 0, 1))
    solid = 77 - 2 - 4 - (25 - 9) - 1
    assert contact_area(result) == pytest.approx(0.04 * solid, rel=EXACT)
    assert len(result.pieces) == 3
    one(pocketed_box(), (0, 0.7, 0), (0, 1, 0))
    one(pocketed_box(), (1.3, 0.7, 0.5), (0.3, 1, 0.2))


@pytest.mark.parametrize("mesh", [box((3.0, 2.0, 1.0)), grid_box((6, 4, 2), (3.0, 2.0, 1.0))])
def test_grid_of_planes(mesh: Mesh) -> None:
    # Some of the planes run in the grid's own lines.
    joints = [Plane((x, 0, 0), (1, 0, 0)) for x in (0.7, 1.0, 2.5)] + [
        Plane((0, y, 0), (0, -1, 0)) for y in (0.5, 1.25)
    ]
    joints.append(Plane((0, 0, 0.5), (0, 0, 1)))
    result = cut(mesh, joints)
    assert_cut(mesh, joints, result)
    assert_bodies(mesh, joints, result)
    expected = [a * b * 0.5 for a in (0.7, 0.3, 1.5, 0.5) for b in (0.5, 0.75, 0.75) for _ in range(2)]
    assert volumes(result) == pytest.approx(sorted(expected), rel=EXACT)
    assert [contact_area(result, j) for j in range(6)] == pytest.approx([2.0] * 3 + [3.0] * 2 + [6.0], rel=EXACT)
    # Each rectangle of each plane lies between two pieces.
    assert len(result.contacts) == 3 * 3 * 2 + 2 * 4 * 2 + 4 * 3


def test_part_cuts_one_body() -> None:
    mesh = grid_box((4, 2, 2), (2.0, 1.0, 1.0))
    first, second = Plane((1, 0, 0), (1, 0, 0)), Plane((0, 0, 0.5), (0, 0.2, 1), part=(0.3, 0.4, 0.8))
    result = cut(mesh, [first, second])
    assert_cut(mesh, [first, second], result)
    assert_bodies(mesh, [first, second], result)
    assert volumes(result) == pytest.approx([0.4, 0.6, 1.0], rel=EXACT)
    assert {(c.joint, round(c.area, 12)) for c in result.contacts} == {
        (0, 0.4),
        (0, 0.6),
        (1, round(float(np.sqrt(1.04)), 12)),
    }
    with pytest.raises(CutError) as caught:
        cut(mesh, [first, Plane((0, 0, 0.5), (0, 0, 1), part=(5.0, 0.4, 0.8))])
    assert caught.value.joint == 1


def test_two_bodies_in_one_mesh() -> None:
    mesh = joined(box(), box(low=(3.0, 0.0, 0.0)), rock(2))
    plane = Plane((0, 0, 0.4), (0, 0, 1))
    result = cut(mesh, [plane])
    assert_plane_cut(mesh, plane, result)
    single = Plane((0, 0, 0.4), (0, 0, 1), part=(3.5, 0.5, 0.5))
    apart = cut(mesh, [single])
    assert_cut(mesh, [single], apart)
    assert len(apart.pieces) == 4
    assert contact_area(apart) == pytest.approx(1.0, rel=EXACT)


def test_gap_between_planes() -> None:
    mesh = grid_box((4, 2, 2), (2.0, 1.0, 1.0))
    plane = Plane((0.75, 0, 0), (1, 0, 0))
    result = cut(mesh, [plane], gap=0.02)
    assert_cut(mesh, [plane], result, gap=0.02)
    assert volumes(result) == pytest.approx([0.74, 1.24], rel=EXACT)
    assert sum(body.volume for body in result.taken) == pytest.approx(0.02, rel=1e-10)
    assert contact_area(result) == pytest.approx(1.0, rel=EXACT)
    assert line_length(result) == pytest.approx(4.0, rel=EXACT)
    assert [surface(p.mesh)[joint_rows(p, 0)].sum() for p in result.pieces] == pytest.approx([1.0, 1.0], rel=EXACT)


def test_gaps_that_cross() -> None:
    mesh = grid_box((4, 4, 2), (2.0, 2.0, 1.0))
    joints = [Plane((1, 0, 0), (1, 0, 0)), Plane((0, 1, 0), (0, 1, 0)), Plane((0, 0, 0.5), (0, 0, 1))]
    result = cut(mesh, joints, gap=0.1)
    assert_cut(mesh, joints, result, gap=0.1)
    assert volumes(result) == pytest.approx([0.95 * 0.95 * 0.45] * 8, rel=EXACT)
    assert sum(body.volume for body in result.taken) == pytest.approx(4.0 - 8 * 0.95 * 0.95 * 0.45, rel=1e-10)


def test_a_straight_profile_is_a_plane() -> None:
    mesh = rock(3)
    turn = turned((0.2, 1.0, -0.4), 0.6)
    u, w = turn[:, 0], turn[:, 2]
    points = [(-0.5, 0.02), (-0.1, 0.02), (0.3, 0.02), (0.9, 0.02)]
    profile, plane = Profile((0.1, 0.0, 0.05), u, w, points), Plane(np.array([0.1, 0.0, 0.05]) + 0.02 * w, w)
    for gap in (0.0, 0.03):
        a, b = cut(mesh, [profile], gap=gap), cut(mesh, [plane], gap=gap)
        assert_cut(mesh, [profile], a, gap=gap)
        assert_cut(mesh, [plane], b, gap=gap)
        assert [p.volume for p in a.pieces] == pytest.approx([p.volume for p in b.pieces], rel=1e-10)
        assert contact_area(a) == pytest.approx(contact_area(b), rel=1e-10)
        assert line_length(a) == pytest.approx(line_length(b), rel=1e-10)


def test_profile_over_a_cube() -> None:
    # A roof of two slopes 1 : 2 with its ridge at the middle, over the unit cube and pushed through along y.
    roof = Profile((0, 0, 0), (1, 0, 0), (0, 0, 1), [(0.0, 0.5), (0.5, 0.75), (1.0, 0.5)])
    for mesh in (box(), grid_box((4, 4, 4), (1.0, 1.0, 1.0))):
        result = cut(mesh, [roof])
        assert_cut(mesh, [roof], result)
        assert_bodies(mesh, [roof], result)
        assert [p.volume for p in result.pieces] == pytest.approx([0.625, 0.375], rel=EXACT)
        slope = 2.0 * np.sqrt(0.3125)
        assert contact_area(result) == pytest.approx(slope, rel=EXACT)
        assert line_length(result) == pytest.approx(2.0 * slope + 2.0, rel=EXACT)


def test_gap_along_a_profile() -> None:
    # Each slope is moved square to itself by half the gap and the ridge mitred: upright that is gap / cos of the slope.
    roof = Profile((0, 0, 0), (1, 0, 0), (0, 0, 1), [(-0.5, 0.25), (0.5, 0.75), (1.5, 0.25)])
    mesh = grid_box((4, 4, 4), (1.0, 1.0, 1.0))
    result = cut(mesh, [roof], gap=0.04)
    assert_cut(mesh, [roof], result, gap=0.04)
    taken = 0.04 * np.sqrt(1.25)
    assert sum(b.volume for b in result.taken) == pytest.approx(taken, rel=1e-10)
    assert volumes(result) == pytest.approx([0.375 - taken / 2.0, 0.625 - taken / 2.0], rel=1e-10)


@pytest.mark.parametrize("seed", range(4))
def test_profiles_through_a_rock(seed: int) -> None:
    rng = np.random.default_rng(seed)
    turn = turned(tuple(rng.normal(size=3)), rng.uniform(0.0, 3.0))
    u = np.linspace(-1.5, 1.5, 12)
    profile = Profile((0.0, 0.0, 0.0), turn[:, 0], turn[:, 2], np.column_stack([u, 0.15 * rng.normal(size=12)]))
    mesh = rock(3, seed)
    joints = [profile, Plane(rng.normal(size=3) * 0.1, rng.normal(size=3))]
    result = cut(mesh, joints)
    assert_cut(mesh, joints, result)
    assert_bodies(mesh, joints, result, share=1e-8)


def test_classes_are_inherited() -> None:
    mesh = grid_box((4, 4, 4), (1.0, 1.0, 1.0))
    middle = mesh.corners().mean(axis=1)
    kind = np.where(middle[:, 2] < 1e-9, 2, np.where(middle[:, 0] > 1.0 - 1e-9, 3, 0))
    mesh = Mesh(mesh.vertices, mesh.triangles, kind)
    plane = Plane((0.5, 0.5, 0.4), (0.1, 0.2, 1.0))
    joints = [plane, Plane((0.3, 0, 0), (1, 0, 0))]
    result = cut(mesh, joints)
    assert_cut(mesh, joints, result)
    # Cut again: faces that joints made before count as the carving's own, with their class.
    for piece in result.pieces:
        again = Plane(piece.mesh.vertices.mean(axis=0), (1.0, 1.0, 0.3))
        second = cut(piece.mesh, [again])
        assert_cut(piece.mesh, [again], second)
        assert any(((p.mesh.kind == 1) & (p.origin == 0)).any() for p in second.pieces)


def test_far_from_the_origin() -> None:
    mesh = moved(grid_box((4, 4, 4), (1.0, 1.0, 1.0)), shift=(4096.0, -8192.0, 1024.0))
    result = cut(mesh, [Plane((4096.25, 0, 0), (1, 0, 0)), Plane((4096.0, -8192.0, 1024.5), (0.0, 0.1, 1.0))])
    assert volumes(result) == pytest.approx(sorted([0.25 * 0.45, 0.25 * 0.55, 0.75 * 0.45, 0.75 * 0.55]), rel=1e-9)


def test_an_open_mesh_is_refused() -> None:
    mesh = box()
    with pytest.raises(NotClosedError) as caught:
        cut(Mesh(mesh.vertices, mesh.triangles[1:]), [Plane((0.5, 0.5, 0.5), (0, 0, 1))])
    assert sorted(map(tuple, caught.value.edges.tolist())) == sorted(
        {tuple(sorted(e)) for e in ((0, 2), (2, 3), (0, 3))}
    )


def test_same_bytes_again() -> None:
    mesh, joints = rock(3), [Plane((0.1, 0, 0), (1, 0.2, 0.1)), Plane((0, 0, 0.1), (0, 0.1, 1))]
    first, second = cut(mesh, joints), cut(mesh, joints)
    for a, b in zip(first.pieces, second.pieces, strict=True):
        assert a.mesh.vertices.tobytes() == b.mesh.vertices.tobytes()
        assert a.mesh.triangles.tobytes() == b.mesh.triangles.tobytes()
        assert a.source.tobytes() == b.source.tobytes()
