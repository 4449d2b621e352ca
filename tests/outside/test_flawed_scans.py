# SPDX-License-Identifier: GPL-3.0-or-later
"""Two real scans with small flaws: read as they are, counted as trimesh counts them, refused with their edges."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import trimesh
from datasets import OPEN_BUNNY, WELSH_DRAGON, Dataset, path_of
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane
from seamwright.core.errors import NotClosedError
from seamwright.core.intake.prepare import prepare
from seamwright.core.intake.readers import read_mesh
from seamwright.core.mesh.mass import areas
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import edge_report


@dataclass(frozen=True)
class Facts:
    """As measured with trimesh, apart from this project, when the files were chosen."""

    triangles: int
    vertices: int
    used: int
    extent: tuple[float, float, float]
    boundary: int
    non_manifold: int
    area: float


# The bunny's 35,947 vertices and 69,451 faces are the published counts of the Stanford 3D scanning repository.
SCANS = {
    WELSH_DRAGON: Facts(457_345, 228_687, 228_687, (68.45, 155.1, 124.4), 2, 1, 52_849.0),
    OPEN_BUNNY: Facts(69_451, 35_947, 34_834, (0.1557, 0.1543, 0.1207), 223, 0, 0.0571288),
}


@pytest.fixture(scope="module", params=SCANS, ids=lambda d: d.name)
def scan(request: pytest.FixtureRequest) -> tuple[Path, Mesh, Facts]:
    dataset: Dataset = request.param
    path = path_of(dataset)
    return path, read_mesh(path), SCANS[dataset]


def edge_counts(mesh: trimesh.Trimesh) -> tuple[np.ndarray, np.ndarray]:
    """Edges of a trimesh, lowest vertex first, and in how many faces each is."""
    edges, counts = np.unique(np.sort(mesh.edges, axis=1), axis=0, return_counts=True)
    return edges, counts


def test_read_as_it_is(scan: tuple[Path, Mesh, Facts]) -> None:
    path, mesh, facts = scan
    assert (len(mesh.triangles), len(mesh.vertices)) == (facts.triangles, facts.vertices)
    assert len(np.unique(mesh.triangles)) == facts.used
    assert mesh.size == pytest.approx(facts.extent, rel=5e-4)
    assert areas(mesh).sum() == pytest.approx(facts.area, rel=1e-5)
    other = trimesh.load(path, process=False)
    assert areas(mesh).sum() == pytest.approx(other.area, rel=1e-6)
    assert mesh.size == pytest.approx(other.extents, rel=1e-7)


def test_edges_as_trimesh_counts_them(scan: tuple[Path, Mesh, Facts]) -> None:
    _, mesh, facts = scan
    report = edge_report(mesh.triangles)
    assert (len(report.boundary), len(report.non_manifold), len(report.misoriented)) == (
        facts.boundary,
        facts.non_manifold,
        0,
    )
    edges, counts = edge_counts(trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False))
    assert report.boundary.tolist() == edges[counts == 1].tolist()
    assert report.non_manifold.tolist() == edges[counts > 2].tolist()


def test_refused_with_its_edges(scan: tuple[Path, Mesh, Facts]) -> None:
    _, mesh, _ = scan
    mesh = Mesh(mesh.vertices * (3.0 / mesh.size.max()), mesh.triangles)
    report = edge_report(mesh.triangles)
    expected = {tuple(e) for e in np.concatenate([report.boundary, report.non_manifold]).tolist()}
    with pytest.raises(NotClosedError) as caught:
        cut(mesh, [Plane(mesh.vertices.mean(axis=0), (0.0, 0.0, 1.0))])
    assert {tuple(e) for e in caught.value.edges.tolist()} == expected
    # Intake leaves out vertices that no triangle uses, and numbers the rest anew in their order.
    used = np.unique(mesh.triangles)
    expected = {tuple(np.searchsorted(used, edge).tolist()) for edge in expected}
    for base in ("close", "as-is"):
        with pytest.raises(NotClosedError, match=r"open edge.*\(-?\d") as caught:
            prepare(mesh, base=base)
        assert {tuple(e) for e in caught.value.edges.tolist()} == expected
