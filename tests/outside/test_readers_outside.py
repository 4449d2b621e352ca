# SPDX-License-Identifier: GPL-3.0-or-later
"""Files written by trimesh read here, and files written here read by trimesh (a general mesh library, trimesh.org)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from seamwright.core.intake.bodies import find_bodies
from seamwright.core.intake.prepare import prepare
from seamwright.core.intake.readers import read_carving, write_ply
from seamwright.core.mesh.mass import areas, volume
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import boundary_loops, components, edge_report
from shapes import comb, hollow_box, icosphere, joined, moved, rock, torus

BODIES = {
    "rock": rock(4),
    "torus": torus(48, 24, rough=0.1),
    "hollow": hollow_box(),
    "several": joined(icosphere(3), moved(rock(3), shift=(9.0, 0.0, 0.0)), moved(comb(), shift=(0.0, 9.0, 0.0))),
}
EXPORTS = {
    "stl": {"file_type": "stl"},
    "text stl": {"file_type": "stl_ascii"},
    "ply": {"file_type": "ply"},
    "text ply": {"file_type": "ply", "encoding": "ascii"},
    "obj": {"file_type": "obj"},
}


@pytest.fixture(params=BODIES)
def body(request: pytest.FixtureRequest) -> Mesh:
    return BODIES[request.param]


def as_trimesh(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)


@pytest.mark.parametrize("form", EXPORTS)
def test_what_trimesh_writes(body: Mesh, form: str, tmp_path: Path) -> None:
    data = as_trimesh(body).export(**EXPORTS[form])
    path = tmp_path / f"a.{form.split()[-1]}"
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    result = read_carving(path)
    # Binary STL and trimesh's PLY hold single precision, its text eight decimals.
    slack = np.abs(body.vertices).max() * 2.0**-23 + 1e-8
    assert result.mesh.corners() == pytest.approx(body.corners(), abs=slack)
    assert edge_report(result.mesh.triangles).closed
    again = trimesh.load(path, process=False, force="mesh")
    assert result.mesh.corners() == pytest.approx(again.triangles, abs=1e-8)
    assert volume(result.mesh) == pytest.approx(again.volume, rel=1e-6)
    assert result.notes == ()


def test_trimesh_reads_own_ply(body: Mesh, tmp_path: Path) -> None:
    source = np.arange(len(body.triangles))[::-1].copy()
    write_ply(tmp_path / "a.ply", body, source, np.ones(len(source), dtype=np.uint8))
    other = trimesh.load(tmp_path / "a.ply", process=False)
    assert np.array_equal(other.vertices, body.vertices)
    assert np.array_equal(other.faces, body.triangles)
    assert other.is_watertight
    assert other.is_winding_consistent
    faces = other.metadata["_ply_raw"]["face"]["data"]
    assert faces["source"].ravel().tolist() == source.tolist()
    assert faces["kind"].ravel().tolist() == body.kind.tolist()
    assert faces["origin"].ravel().tolist() == [1] * len(source)


@pytest.mark.parametrize("seed", range(4))
def test_edges_and_bodies_of_torn_meshes(seed: int) -> None:
    """Triangles taken out, doubled and turned at random, counted by trimesh's own grouping of edges."""
    rng = np.random.default_rng(seed)
    whole = BODIES["several"]
    rows = rng.random(len(whole.triangles)) > (0.002, 0.05, 0.4, 0.7)[seed]
    triangles = whole.triangles[rows]
    triangles = np.concatenate([triangles, triangles[rng.integers(0, len(triangles), seed * 5)]])
    triangles[: seed * 3] = triangles[: seed * 3, ::-1]
    other = trimesh.Trimesh(whole.vertices, triangles, process=False)
    edges, counts = np.unique(np.sort(other.edges, axis=1), axis=0, return_counts=True)
    report = edge_report(triangles)
    assert report.boundary.tolist() == edges[counts == 1].tolist()
    assert report.non_manifold.tolist() == edges[counts > 2].tolist()
    assert (len(report.misoriented) > 0) == (seed > 0)
    if not len(report.non_manifold):  # trimesh joins faces across edges of exactly two
        labels = trimesh.graph.connected_component_labels(other.face_adjacency, node_count=len(triangles))
        ours = components(triangles)
        assert len(np.unique(np.stack([labels, ours]), axis=1).T) == len(np.unique(labels)) == len(np.unique(ours))


def test_loops_as_trimesh_outlines_them() -> None:
    rng = np.random.default_rng(5)
    whole = icosphere(4)
    keep = np.ones(len(whole.triangles), dtype=bool)
    keep[rng.choice(len(keep), 30, replace=False)] = False
    loops = boundary_loops(whole.triangles[keep])
    outline = trimesh.Trimesh(whole.vertices, whole.triangles[keep], process=False).outline()
    length = sum(np.linalg.norm(np.diff(whole.vertices[[*loop, loop[0]]], axis=0), axis=1).sum() for loop in loops)
    assert length == pytest.approx(outline.length, rel=1e-12)


def test_base_that_trimesh_caps_too() -> None:
    """A rock cut off level: our closed base against the solid that trimesh's slice with a cap gives."""
    stone = as_trimesh(rock(4))
    level = stone.bounds[0][2] + 0.4 * np.ptp(stone.bounds[:, 2])
    plane = {"plane_normal": [0.0, 0.0, 1.0], "plane_origin": [0.0, 0.0, level]}
    open_below = stone.slice_plane(**plane)
    open_below.merge_vertices()
    capped = stone.slice_plane(**plane, cap=True, engine="earcut")
    assert capped.is_watertight
    intake = prepare(Mesh(open_below.vertices, open_below.faces))
    assert intake.volume == pytest.approx(capped.volume, rel=1e-9)
    assert intake.base_area == pytest.approx(stone.section(**plane).to_2D()[0].area, rel=1e-9)
    assert areas(intake.mesh).sum() == pytest.approx(capped.area, rel=1e-9)


def test_bodies_as_trimesh_splits_them() -> None:
    mesh = BODIES["several"]
    found = sorted(find_bodies(mesh).volume)
    assert found == pytest.approx(sorted(part.volume for part in as_trimesh(mesh).split()), rel=1e-9)
