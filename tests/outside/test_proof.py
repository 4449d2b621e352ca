# SPDX-License-Identifier: GPL-3.0-or-later
"""The checks that judge the cuts are judged here: they agree with closed forms and each fault makes them fail."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from proof import (
    assert_bodies,
    assert_closed,
    assert_cut,
    assert_plane_cut,
    assert_same_solid,
    cap_area,
    cap_overlap,
    joint_rows,
)
from reference import above_profile, body_labels, halves, reference_bodies, section_polygon, to_manifold, winding
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.cutting.result import Body, CutResult
from seamwright.core.mesh.mesh import Mesh
from shapes import (
    box,
    comb,
    cylinder,
    grid_box,
    hollow_box,
    icosphere,
    joined,
    moved,
    pocketed_box,
    rock,
    torus,
    turned,
)

BODIES = {
    "box": box(),
    "grid box": grid_box(),
    "comb": comb(),
    "pocketed box": pocketed_box(),
    "hollow box": hollow_box(),
    "cylinder": cylinder(24),
    "torus": torus(16, 9),
    "icosphere": icosphere(2),
    "rock": rock(2),
}


@pytest.mark.parametrize("mesh", BODIES.values(), ids=BODIES.keys())
def test_the_shapes_are_closed(mesh: Mesh) -> None:
    assert_closed(mesh)
    assert to_manifold(mesh).volume() > 0.0
    assert_same_solid(mesh, moved(mesh))


def test_a_fault_is_not_closed() -> None:
    mesh = grid_box((2, 2, 2))
    t = mesh.triangles
    turned_over = t.copy()
    turned_over[3] = turned_over[3, ::-1]
    apart = t.copy()
    apart[5, 0] = len(mesh.vertices)
    vertices = np.concatenate([mesh.vertices, mesh.vertices[t[5, :1]]])
    touching = joined(box(), box(low=(1.0, 1.0, 0.0)))
    welded, inverse = np.unique(touching.vertices, axis=0, return_inverse=True)
    faulty = (
        Mesh(mesh.vertices, t[1:]),
        Mesh(mesh.vertices, turned_over),
        Mesh(vertices, apart),
        Mesh(vertices, t),
        Mesh(mesh.vertices, np.concatenate([t, t[:1]])),
        Mesh(welded, inverse.reshape(-1)[touching.triangles]),
    )
    for one in faulty:
        with pytest.raises(AssertionError):
            assert_closed(one)


def test_another_solid_is_told_apart() -> None:
    with pytest.raises(AssertionError):
        assert_same_solid(rock(2), rock(2, seed=2))
    # As long, wide and high, as heavy, as large and about the same centre: only the space taken tells.
    cross = moved(box((1.0, 2.0, 3.0), (-0.5, -1.0, -1.5)), turned((0.0, 0.0, 1.0), np.pi / 2.0))
    with pytest.raises(AssertionError):
        assert_same_solid(cross, box((1.0, 2.0, 3.0), (-0.5, -1.0, -1.5)))


def test_a_bad_cap_is_told() -> None:
    up = np.array([0.0, 0.0, 1.0])
    square = [[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]
    good = Mesh(square, [[0, 1, 2], [0, 2, 3]])
    both = np.array([0, 1])
    assert cap_area(good, both, up) == pytest.approx(1.0, rel=1e-15)
    assert cap_overlap(good, both, up) == 0.0
    with pytest.raises(AssertionError):
        cap_area(Mesh(square, [[0, 1, 2], [0, 3, 2]]), both, up)
    folded = Mesh(square, [[0, 1, 2], [0, 1, 3]])
    assert cap_area(folded, both, up) == pytest.approx(1.0, rel=1e-15)
    assert cap_overlap(folded, both, up) == pytest.approx(0.25)
    assert cap_overlap(Mesh(square, [[0, 1, 2], [0, 1, 2]]), both, up) == pytest.approx(0.5)
    within = Mesh([*square, [0.6, 0.2, 0], [0.8, 0.2, 0], [0.8, 0.4, 0]], [[0, 1, 2], [4, 5, 6]])
    assert cap_overlap(within, both, up) == pytest.approx(0.02 / 0.52)


def test_halves_of_a_box() -> None:
    # Closed forms: a 2 x 3 x 5 box at z = 1; and through opposite edges of the unit cube (area sqrt 2).
    level = halves(box((2.0, 3.0, 5.0)), Plane((9.0, 9.0, 1.0), (0.0, 0.0, 1.0)))
    assert level.volume == pytest.approx([6.0, 24.0], rel=1e-14)
    assert level.area == pytest.approx([16.0, 46.0], rel=1e-14)
    assert (level.section, level.outline) == pytest.approx((6.0, 10.0), rel=1e-14)
    edges = halves(box(), Plane((0.0, 0.0, 0.0), (1.0, -1.0, 0.0)))
    assert edges.volume == pytest.approx([0.5, 0.5], rel=1e-14)
    assert edges.section == pytest.approx(np.sqrt(2.0), rel=1e-14)
    # In the faces themselves, and at a step: the plane passes only where there is material on both sides.
    for plane in (Plane((0, 0, 0), (0, 0, 1)), Plane((0, 0, 1), (0, 0, 1)), Plane((0, 0, 1), (0, 0, -1))):
        assert halves(box(), plane).section == pytest.approx(0.0, abs=1e-15)
    step = halves(comb(5, (9.0, 2.0, 5.0)), Plane((0, 0, 1), (0, 0, 1)))
    assert step.section == pytest.approx(10.0, rel=1e-14)


@pytest.mark.parametrize("mesh", BODIES.values(), ids=BODIES.keys())
def test_halves_against_two_libraries(mesh: Mesh) -> None:
    # Half-space volumes by manifold3d, section areas by shapely.
    rng = np.random.default_rng(20)
    centre = mesh.vertices.mean(axis=0)
    for k in range(6):
        plane = Plane(centre + 0.2 * rng.normal(size=3) * mesh.size, np.eye(3)[k] if k < 3 else rng.normal(size=3))
        found = halves(mesh, plane)
        above, below = to_manifold(mesh).split_by_plane(plane.normal.tolist(), float(plane.point @ plane.normal))
        assert found.volume == pytest.approx([below.volume(), above.volume()], rel=1e-10, abs=1e-12)
        assert found.area + found.section == pytest.approx([below.surface_area(), above.surface_area()], rel=1e-9)
        assert found.section == pytest.approx(shapely.area(section_polygon(mesh, plane)), rel=1e-8, abs=1e-12)


def test_bodies_of_the_reference() -> None:
    # A comb cut above its back: as many teeth as it has, and the back.
    teeth = reference_bodies(comb(5, (9.0, 2.0, 5.0)), [Plane((0, 0, 2.5), (0, 0, 1))])
    assert sorted(b.volume() for b in teeth) == pytest.approx([5.0] * 5 + [18.0 + 15.0], rel=1e-12)
    # With a part only that body is cut further.
    part = reference_bodies(
        box((2.0, 1.0, 1.0)), [Plane((1, 0, 0), (1, 0, 0)), Plane((0, 0, 0.25), (0, 0, 1), part=(0.5, 0.5, 0.5))]
    )
    assert sorted(b.volume() for b in part) == pytest.approx([0.25, 0.75, 1.0], rel=1e-12)
    # A profile with one kink over a unit cube: the area under it is 0.5 + 0.125.
    roof = Profile((0, 0, 0), (1, 0, 0), (0, 0, 1), [(0.0, 0.5), (0.5, 0.75), (1.0, 0.5)])
    assert sorted(b.volume() for b in reference_bodies(box(), [roof])) == pytest.approx([0.375, 0.625], rel=1e-9)
    assert winding(above_profile(roof, 2.0), np.array([0.5, 0.0, 0.8])) == pytest.approx(1.0)
    assert winding(above_profile(roof, 2.0), np.array([0.5, 0.0, 0.7])) == pytest.approx(0.0, abs=1e-12)
    assert body_labels(joined(box(), box(low=(1.0, 1.0, 0.0))).triangles).tolist() == [0] * 12 + [1] * 12


def _turn_cap(body: Body) -> Body:
    """Turn the shared edge of two cap triangles, so that they fold over each other: still closed, same volume."""
    t = body.mesh.triangles.copy()
    rows = joint_rows(body, 0)
    for i in rows:
        for k in range(3):
            a, b, c = np.roll(t[i], -k)
            for j in rows:
                if j != i and {a, b} <= set(t[j].tolist()):
                    (d,) = set(t[j].tolist()) - {a, b}
                    p, q = body.mesh.vertices[d] - body.mesh.vertices[a], body.mesh.vertices[b] - body.mesh.vertices[d]
                    r = body.mesh.vertices[c] - body.mesh.vertices[a]
                    if np.dot(np.cross(r, p), np.cross(body.mesh.vertices[c] - body.mesh.vertices[b], q)) > 1e-9:
                        t[i], t[j] = (c, a, d), (c, d, b)
                        return replace(body, mesh=Mesh(body.mesh.vertices, t, body.mesh.kind))
    raise AssertionError("no pair of cap triangles would fold")


def _move_vertex(body: Body) -> Body:
    vertices = body.mesh.vertices.copy()
    vertices[body.mesh.triangles[0, 0]] += 1e-7
    return replace(body, mesh=Mesh(vertices, body.mesh.triangles, body.mesh.kind))


def _nudge_cap(body: Body) -> Body:
    vertices = body.mesh.vertices.copy()
    row = body.mesh.triangles[joint_rows(body, 0)[0], 0]
    vertices[row] = np.nextafter(vertices[row], np.inf)
    return replace(body, mesh=Mesh(vertices, body.mesh.triangles, body.mesh.kind))


def _drop_triangle(body: Body) -> Body:
    return replace(
        body,
        mesh=Mesh(body.mesh.vertices, body.mesh.triangles[:-1], body.mesh.kind[:-1]),
        source=body.source[:-1],
        origin=body.origin[:-1],
    )


def _swap_sources(body: Body) -> Body:
    source = body.source.copy()
    first, second = np.flatnonzero(body.origin == 0)[[0, 30]]
    source[first], source[second] = source[second], source[first]
    return replace(body, source=source)


def _wrong_class(body: Body) -> Body:
    kind = body.mesh.kind.copy()
    kind[np.flatnonzero(body.origin == 0)[0]] = 2
    return replace(body, mesh=Mesh(body.mesh.vertices, body.mesh.triangles, kind))


FAULTS = (_turn_cap, _move_vertex, _nudge_cap, _drop_triangle, _swap_sources, _wrong_class)


@pytest.mark.parametrize("mesh", [rock(2, seed=5), moved(rock(2, seed=5), turned((1.0, 2.0, 0.5), 0.8))])
@pytest.mark.parametrize(
    "fault",
    [_turn_cap, _move_vertex, _nudge_cap, _drop_triangle, _swap_sources, _wrong_class],
    ids=lambda f: f.__name__,
)
def test_each_fault_of_a_cut_is_told(mesh: Mesh, fault: Callable[[Body], Body]) -> None:
    plane = Plane((0.05, 0.02, 0.01), (1.0, 0.3, 0.2))
    good = cut(mesh, [plane])
    assert len(good.pieces) > 1
    assert_plane_cut(mesh, plane, good)
    assert_cut(mesh, [plane], good)
    bad = CutResult((fault(good.pieces[0]), *good.pieces[1:]), (), (), (), lambda: good._traced)
    with pytest.raises(AssertionError):
        assert_plane_cut(mesh, plane, bad)
    with pytest.raises(AssertionError):
        assert_cut(mesh, [plane], bad)


def test_a_piece_too_few_or_joined_is_told() -> None:
    mesh, plane = comb(3), Plane((0.0, 0.0, 0.7), (0.0, 0.0, 1.0))
    good = cut(mesh, [plane])
    assert_bodies(mesh, [plane], good)
    joined_up = cut(mesh, [plane], split=False)
    with pytest.raises(AssertionError):
        assert_bodies(mesh, [plane], joined_up)
    with pytest.raises(AssertionError):
        assert_plane_cut(mesh, plane, joined_up)
    lost = CutResult(good.pieces[:-1], (), (), (), lambda: good._traced)
    for proof in (assert_cut, assert_bodies):
        with pytest.raises(AssertionError):
            proof(mesh, [plane], lost)
