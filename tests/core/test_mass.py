# SPDX-License-Identifier: GPL-3.0-or-later
"""Volume, centroid, inertia and areas against published values, closed forms and trimesh."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
import trimesh
from seamwright.core.mesh.mass import areas, mass_properties, triangle_areas, volume
from seamwright.core.mesh.mesh import Mesh
from shapes import (
    box,
    cylinder,
    grid_box,
    hollow_box,
    icosphere,
    joined,
    moved,
    prism,
    rock,
    tetrahedron,
    torus,
    turned,
)

EXACT = 1e-12


def test_tonon_tetrahedron() -> None:
    # F. Tonon, "Explicit Exact Formulas for the 3-D Tetrahedron Inertia Tensor in Terms of its Vertex Coordinates",
    # Journal of Mathematics and Statistics 1(1):8-11, 2005, worked example. The paper prints its integrals of yz, xz
    # and xy without the minus sign of the tensor's products.
    corners = [[8.33220, -11.86875, 0.93355], [0.75523, 5.0, 16.37072], [52.61236, 5.0, -5.38580], [2.0, 5.0, 3.0]]
    found = mass_properties(Mesh(corners, [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))
    sign = np.sign(found.volume)
    # The printed centroid is 2.75e-5 off the mean of the printed corners in x, so that the mean is the sharper check.
    assert found.centroid == pytest.approx([15.92492, 0.78281, 3.72962], abs=3e-5)
    assert found.centroid == pytest.approx(np.mean(corners, axis=0), rel=EXACT)
    assert sign * np.diag(found.inertia) == pytest.approx([43520.33257, 194711.28938, 191168.76173], rel=1e-7)
    products = -sign * found.inertia[[1, 0, 0], [2, 2, 1]]
    assert products == pytest.approx([4417.66150, -46343.16662, 11996.20119], rel=1e-7)
    # Its volume by the determinant, worked out apart from the code (the paper prints none).
    assert sign * found.volume == pytest.approx(1873.233364216, rel=1e-9)


def test_cube_and_box() -> None:
    # Standard formulae: solid cube m a2 / 6, solid box m (b2 + c2) / 12.
    cube = mass_properties(box())
    assert (cube.volume, cube.centroid.tolist()) == (1.0, [0.5, 0.5, 0.5])
    assert cube.inertia == pytest.approx(np.eye(3) / 6.0, rel=EXACT, abs=1e-16)
    a, b, c = 2.44, 1.22, 0.61
    billet = mass_properties(box((a, b, c), (5.0, -3.0, 2.0)))
    assert billet.volume == pytest.approx(1.815848, rel=EXACT)
    assert billet.centroid == pytest.approx([6.22, -2.39, 2.305], rel=EXACT)
    expected = billet.volume / 12.0 * np.diag([b * b + c * c, a * a + c * c, a * a + b * b])
    assert billet.inertia == pytest.approx(expected, rel=EXACT, abs=1e-15)


def test_regular_tetrahedron() -> None:
    # Standard formulae: V = L3 sqrt2 / 12, I = m L2 / 20 about every axis through the centroid.
    found = mass_properties(moved(tetrahedron(3.0), turned((1.0, 2.0, -0.5), 0.83), (4.0, 5.0, 6.0)))
    assert found.volume == pytest.approx(27.0 * np.sqrt(2.0) / 12.0, rel=EXACT)
    assert found.centroid == pytest.approx([4.0, 5.0, 6.0], rel=EXACT)
    assert found.inertia == pytest.approx(np.eye(3) * found.volume * 9.0 / 20.0, rel=EXACT, abs=1e-13)


@pytest.mark.parametrize("sides", [3, 5, 6, 17, 96])
def test_prism(sides: int) -> None:
    # Regular polygon of circumradius r, d = 2 pi / n: area n r2 sin(d) / 2, polar moment n r4 sin(d) (2 + cos d) / 12.
    radius, height, step = 1.3, 2.2, 2.0 * np.pi / sides
    area = sides * radius**2 * np.sin(step) / 2.0
    polar = sides * radius**4 * np.sin(step) * (2.0 + np.cos(step)) / 12.0 * height
    across = polar / 2.0 + area * height**3 / 12.0
    mesh = prism(sides, radius, height, rings=3)
    found = mass_properties(mesh)
    assert found.volume == pytest.approx(area * height, rel=EXACT)
    assert found.centroid == pytest.approx([0.0, 0.0, 1.1], abs=1e-14)
    assert found.inertia == pytest.approx(np.diag([across, across, polar]), rel=EXACT, abs=1e-14)
    assert areas(mesh).sum() == pytest.approx(2 * area + 2 * sides * radius * np.sin(step / 2) * height, rel=EXACT)


@pytest.mark.parametrize(("count_u", "count_v"), [(5, 4), (24, 12), (61, 30)])
def test_torus_with_flat_sides(count_u: int, count_v: int) -> None:
    # A level section is the ring between two regular n-gons; stacked over the tube's m-gon (Pappus with n sin(2 pi / n)
    # in place of 2 pi), and the same for the polar moment.
    ring, tube = 1.5, 0.45
    d, e = 2.0 * np.pi / count_u, 2.0 * np.pi / count_v
    section = count_v * tube**2 * np.sin(e) / 2.0
    spread = count_v * tube**4 * np.sin(e) * (2.0 + np.cos(e)) / 24.0
    found = mass_properties(torus(count_u, count_v, ring, tube))
    assert found.volume == pytest.approx(count_u * np.sin(d) * ring * section, rel=EXACT)
    polar = count_u * np.sin(d) * (2.0 + np.cos(d)) / 3.0 * (ring**3 * section + 3.0 * ring * spread)
    assert found.inertia[2, 2] == pytest.approx(polar, rel=EXACT)
    assert found.centroid == pytest.approx([0.0, 0.0, 0.0], abs=1e-14)


def test_round_bodies_are_the_limit() -> None:
    # Closed forms of the round bodies; halving the step must quarter the error (within 10 %).
    def errors(sides: int) -> list[float]:
        drum = mass_properties(cylinder(sides, 1.0, 2.0))
        tyre = mass_properties(torus(sides, sides, 1.0, 0.4))
        skin = areas(torus(sides, sides, 1.0, 0.4)).sum()
        return [
            drum.volume / (2.0 * np.pi) - 1.0,
            drum.inertia[2, 2] / np.pi - 1.0,
            tyre.volume / (2.0 * np.pi**2 * 0.16) - 1.0,
            tyre.inertia[2, 2] / (2.0 * np.pi**2 * 0.16 * (1.0 + 0.75 * 0.16)) - 1.0,
            skin / (4.0 * np.pi**2 * 0.4) - 1.0,
        ]

    coarse, fine = np.array(errors(64)), np.array(errors(128))
    assert np.abs(fine).max() < 1.5e-3
    assert coarse / fine == pytest.approx(4.0, rel=0.1)


@pytest.mark.parametrize("level", [2, 4])
def test_sphere_from_within(level: int) -> None:
    found, skin = mass_properties(icosphere(level, 2.0)), areas(icosphere(level, 2.0)).sum()
    assert 0.0 < 1.0 - found.volume / (32.0 * np.pi / 3.0) < 1.0 / 2.0**level * 0.2
    assert 0.0 < 1.0 - skin / (16.0 * np.pi) < 1.0 / 2.0**level * 0.2


@pytest.mark.parametrize("mesh", [rock(4), torus(rough=0.3), grid_box(), hollow_box()])
def test_as_trimesh_has_it(mesh: Mesh) -> None:
    # Reference library: trimesh (mass properties after D. Eberly).
    other = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    found = mass_properties(mesh)
    assert found.volume == pytest.approx(other.volume, rel=EXACT)
    assert volume(mesh) == pytest.approx(found.volume, rel=EXACT)
    assert found.centroid == pytest.approx(other.center_mass, abs=1e-13)
    assert found.inertia == pytest.approx(other.moment_inertia, rel=1e-11, abs=1e-13)
    assert triangle_areas(mesh) == pytest.approx(other.area_faces, rel=1e-11)


def test_areas_by_class() -> None:
    kind = [0, 0, 1, 1, 2, 2, 2, 2, 3, 3, 0, 0]
    mesh = box((2.0, 3.0, 5.0))
    # The sides in order: two of 2 x 3, two of 2 x 5, two of 3 x 5.
    assert areas(Mesh(mesh.vertices, mesh.triangles, kind)).tolist() == [6.0 + 15.0, 6.0, 20.0, 15.0]


def test_far_from_the_origin() -> None:
    near = rock(4)
    # On a grid of 2 ** -20 m both places hold the same body to the last bit.
    near = Mesh(np.round(near.vertices * 2.0**20) / 2.0**20, near.triangles)
    shift = (4.0e6, -3.0e6, 1.0e6)
    a, b = mass_properties(near), mass_properties(moved(near, shift=shift))
    assert (moved(near, shift=shift).vertices - np.array(shift) == near.vertices).all()
    assert b.volume == a.volume
    assert (b.inertia == a.inertia).all()
    assert (b.centroid - np.array(shift)) == pytest.approx(a.centroid, abs=1e-9)


def test_inside_out_is_negative_and_empty_is_nothing() -> None:
    body = rock(3)
    flipped = mass_properties(Mesh(body.vertices, body.triangles[:, ::-1]))
    assert flipped.volume == pytest.approx(-mass_properties(body).volume, rel=EXACT)
    assert flipped.centroid == pytest.approx(mass_properties(body).centroid, abs=1e-13)
    nothing = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int))
    assert mass_properties(nothing).volume == volume(nothing) == 0.0
    assert areas(nothing).tolist() == [0.0, 0.0, 0.0, 0.0]
    flat = mass_properties(Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2], [0, 2, 1]]))
    assert flat.volume == 0.0
    assert np.isfinite(flat.centroid).all()


def test_pieces_add_up() -> None:
    # Two bodies apart: volumes add; the inertia about the common centroid by the parallel axis theorem.
    first, second = rock(3, seed=4), moved(rock(3, seed=9), shift=(40.0, 0.0, 7.0))
    both, a, b = (mass_properties(m) for m in (joined(first, second), first, second))
    assert both.volume == pytest.approx(a.volume + b.volume, rel=EXACT)
    assert both.centroid == pytest.approx((a.volume * a.centroid + b.volume * b.centroid) / both.volume, rel=EXACT)
    expected = a.inertia + b.inertia
    for part in (a, b):
        arm = part.centroid - both.centroid
        expected = expected + part.volume * (arm @ arm * np.eye(3) - np.outer(arm, arm))
    assert both.inertia == pytest.approx(expected, rel=1e-11, abs=1e-9)


def test_memory_does_not_follow_the_triangles() -> None:
    mesh = icosphere(7)
    tracemalloc.start()
    mass_properties(mesh)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    # One copy of the coordinates and the scratch of one chunk; all corners at once would take 24 MB for each array.
    assert peak < mesh.vertices.nbytes + 20_000_000


def test_results_cannot_be_written_to() -> None:
    found = mass_properties(box())
    with pytest.raises(ValueError, match="read-only"):
        found.centroid[0] = 1.0
