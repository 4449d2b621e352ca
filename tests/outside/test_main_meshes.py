# SPDX-License-Identifier: GPL-3.0-or-later
"""Two real scans that are closed, cut into pieces and held against trimesh and manifold3d."""

from __future__ import annotations

import numpy as np
import pytest
from datasets import ARMADILLO, BUNNY, Dataset, path_of, read_off
from proof import assert_bodies, assert_closed, assert_cut, cap_overlap, joint_rows
from reference import inside_point, to_trimesh
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.mesh.mass import areas, mass_properties
from seamwright.core.mesh.mesh import Mesh

# Triangles, area, volume, longest side in file units, as measured with trimesh when the files were chosen.
FACTS = {
    BUNNY.name: (75_408, 2.354300, 0.1992056, 0.9982),
    ARMADILLO.name: (52_000, 38_164.904, 237_850.317, 151.3),
}
LONG = 3.0


def load(dataset: Dataset) -> Mesh:
    """The closed scan, known by its facts, scaled to three metres."""
    mesh = read_off(path_of(dataset))
    triangles, area, volume, longest = FACTS[dataset.name]
    assert len(mesh.triangles) == triangles
    assert areas(mesh)[0] == pytest.approx(area, rel=5e-7)
    assert mass_properties(mesh).volume == pytest.approx(volume, rel=5e-7)
    assert mesh.size.max() == pytest.approx(longest, rel=5e-4)
    mesh = Mesh(mesh.vertices * (LONG / mesh.size.max()), mesh.triangles)
    assert_closed(mesh)
    return mesh


@pytest.fixture(scope="module", params=[BUNNY, ARMADILLO], ids=lambda d: d.name)
def scan(request: pytest.FixtureRequest) -> Mesh:
    return load(request.param)


def grid(mesh: Mesh) -> list[Plane]:
    low, size = mesh.vertices.min(axis=0), mesh.size
    shares = ((0.26, 0.52, 0.77), (0.37, 0.68), (0.31, 0.64))
    return [Plane(low + share * size, np.eye(3)[axis]) for axis in range(3) for share in shares[axis]]


def test_mass_as_trimesh_has_it(scan: Mesh) -> None:
    found, other = mass_properties(scan), to_trimesh(scan)
    assert found.volume == pytest.approx(other.volume, rel=1e-12)
    assert found.centroid == pytest.approx(other.center_mass, abs=1e-12)
    assert found.inertia == pytest.approx(other.moment_inertia, rel=1e-10, abs=1e-11)


def test_a_grid_of_planes(scan: Mesh) -> None:
    joints = grid(scan)
    result = cut(scan, joints)
    assert_cut(scan, joints, result)
    assert_bodies(scan, joints, result)
    assert len(result.pieces) > 20
    assert result.missed == ()
    for piece in result.pieces:
        for index, joint in enumerate(joints):
            rows = joint_rows(piece, index)
            assert len(rows) == 0 or cap_overlap(piece.mesh, rows, joint.normal) < 1e-9


def test_each_piece_as_trimesh_has_it(scan: Mesh) -> None:
    for piece in cut(scan, grid(scan)[2:5]).pieces:
        found, other = mass_properties(piece.mesh), to_trimesh(piece.mesh)
        size = float(np.linalg.norm(piece.mesh.size))
        assert other.is_watertight
        assert other.is_winding_consistent
        assert piece.volume == pytest.approx(other.volume, rel=1e-9)
        assert found.centroid == pytest.approx(other.center_mass, abs=1e-9 * size)
        assert areas(piece.mesh).sum() == pytest.approx(other.area, rel=1e-9)


def test_slanted_planes_and_parts(scan: Mesh) -> None:
    middle = scan.vertices.mean(axis=0)
    joints: list[Plane | Profile] = [Plane(middle, (0.3, 0.1, 1.0))]
    rng = np.random.default_rng(11)
    for _ in range(3):
        largest = max(cut(scan, joints).pieces, key=lambda piece: piece.volume)
        inside = inside_point(largest.mesh)
        joints.append(Plane(mass_properties(largest.mesh).centroid, rng.normal(size=3), part=inside))
    result = cut(scan, joints)
    assert_cut(scan, joints, result)
    assert_bodies(scan, joints, result)


def test_profile_and_gap(scan: Mesh) -> None:
    middle = 0.5 * (scan.vertices.min(axis=0) + scan.vertices.max(axis=0))
    u = np.linspace(-1.2, 1.2, 25)
    points = np.column_stack([u, 0.12 * np.sin(4.0 * u) + 0.05 * np.cos(17.0 * u)])
    joints = [Profile(middle, (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), points), Plane(middle, (0.1, 1.0, 0.2))]
    plain = cut(scan, joints)
    assert_cut(scan, joints, plain)
    assert_bodies(scan, joints, plain, share=1e-8)
    gapped = cut(scan, joints, gap=0.02)
    assert_cut(scan, joints, gapped, gap=0.02)
    assert sum(b.volume for b in gapped.taken) > 0.0
