# SPDX-License-Identifier: GPL-3.0-or-later
"""Every open mesh, scaled to three metres: it ends closed with its changes reported, or is refused by the fault.

What is expected of each is written down beside it from what is published of the file or was measured with trimesh
when it was chosen (datasets.py), not from what this project makes of it. The table of outcomes stands at the end of the
test output.
"""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
import trimesh
from datasets import (
    ARMADILLO,
    AWKWARD,
    BUNNY,
    CHEESE,
    ELEPHANT,
    HEAD,
    OPEN_BUNNY,
    SHAKY_BUNNY,
    SKULL,
    TURBINE,
    WELSH_DRAGON,
    Dataset,
    path_of,
)
from outcomes import LONG, Expected, ends_as_expected, expected, read
from reference import to_trimesh
from seamwright.core.intake.diagnose import diagnose
from seamwright.core.intake.prepare import set_upright
from seamwright.core.intake.readers import read_mesh

EVERY: dict[Dataset, Expected] = {
    WELSH_DRAGON: expected("mended", faults="open non_manifold double crumb"),
    OPEN_BUNNY: expected("hole", "mended", "open"),
    SHAKY_BUNNY: expected("hole", "mended", "open non_manifold"),
    SKULL: expected("hole", "mended", "open non_manifold misoriented crumb"),
    HEAD: expected("hole", "mended", "open crumb"),
    ARMADILLO: expected("solid", volume=237850.317),
    BUNNY: expected("solid", volume=0.1992056),
    ELEPHANT: expected("solid", volume=0.04620123),
    CHEESE: expected("solid"),
    TURBINE: expected("solid"),
    AWKWARD["cube.off"]: expected("solid", volume=8.0),
    AWKWARD["cube-meshed.off"]: expected("solid", volume=8.0),
    AWKWARD["cube-shuffled.off"]: expected("mended", faults="misoriented", volume=8.0),
    AWKWARD["reference_tetrahedron.off"]: expected("solid", volume=1.0 / 6.0),
    AWKWARD["tetrahedron.off"]: expected("mended", faults="inside_out", volume=1.0 / 6.0),
    AWKWARD["ellipe0.003.off"]: expected("mended", faults="inside_out", volume=1.474022),
    AWKWARD["blobby.off"]: expected("solid", volume=0.05008247626),
    AWKWARD["blobby-shuffled.off"]: expected("mended", faults="misoriented", volume=0.05008247626),
    AWKWARD["refined_elephant.off"]: expected("solid", volume=0.04559220),
    AWKWARD["elephant-with-holes.off"]: expected("hole", "mended", "open"),
    AWKWARD["knot.off"]: expected("solid"),
    AWKWARD["cow.off"]: expected("solid"),
    AWKWARD["diplodocus.off"]: expected("solid"),
    AWKWARD["bones.off"]: expected("mended", faults="crumb"),
    AWKWARD["pig.stl"]: expected("hole", "mended", "open"),
    # Its rim wanders by more than a twentieth of its height: it was not cut off level.
    AWKWARD["lion-head.off"]: expected("hole", "mended", "open"),
    AWKWARD["mannequin-devil.off"]: expected("mended", faults="open"),
    AWKWARD["man.off"]: expected("solid", volume=0.012537506),
    AWKWARD["camel.off"]: expected("solid", volume=0.046755745),
    # Unwelded plates of an aeroplane that close when welded; the wings are no floor, but they are as flat as one.
    AWKWARD["boeing.off"]: expected("mended", faults="crack misoriented"),
    AWKWARD["b9_mesh.off"]: expected("hole", "hole", "open crumb"),
    # Its open side is y low.
    AWKWARD["open_cube.off"]: expected("hole", "mended", "open", volume=1e6),
}


def test_the_table_names_every_mesh() -> None:
    assert {d.name for d in EVERY} >= {d.name for d in AWKWARD.values()}
    assert len(EVERY) == 32


@pytest.mark.parametrize("dataset", EVERY, ids=lambda d: d.name)
def test_ends_closed_or_refused_by_name(dataset: Dataset, request: pytest.FixtureRequest) -> None:
    ends_as_expected(dataset.name, read(path_of(dataset)), EVERY[dataset], request.config)


def test_the_faults_are_as_many_as_trimesh_counts() -> None:
    """Connected sets of open edges, by trimesh and networkx, of the scan with the most holes."""
    import networkx

    mesh = read(path_of(AWKWARD["elephant-with-holes.off"]))
    other = to_trimesh(mesh)
    edges, counts = np.unique(np.sort(other.edges, axis=1), axis=0, return_counts=True)
    groups = networkx.number_connected_components(networkx.Graph(edges[counts == 1].tolist()))
    found = diagnose(mesh, overlap=False)
    assert groups == 106
    assert len(found.holes) == groups
    assert sum(len(hole.edges) for hole in found.holes) == int((counts == 1).sum()) == 1353


def test_welsh_dragon_goes_through_the_whole_job() -> None:
    """As the command line does it: read, set to metres, mended, joints proposed, cut, measured, checked."""
    from seamwright.core import Job, run_job
    from seamwright.core.jobpack import pack_files

    mesh = read_mesh(path_of(WELSH_DRAGON))
    result = run_job(set_upright(mesh, LONG / float(mesh.size.max())), Job())
    assert result.pieces
    assert [f for f in result.findings if f.check == "volume_balance"] == []
    said = " ".join(f.message for f in result.findings)
    assert "9 crumbs left out" in said
    assert "passes through itself" in said
    assert "foam counts twice" not in said or "Where two bodies" in said
    total = sum(piece.figures.volume for piece in result.pieces) + result.taken_volume
    assert total + sum(body.volume for body in result.crumbs) == pytest.approx(result.carving_volume, rel=1e-9)
    assert result.scan is not None
    kept = result.scan >= 0
    assert kept.sum() > 457_000
    files = pack_files(result)
    pieces = [trimesh.load(io.BytesIO(files[f"pieces/{p.mark}.ply"]), file_type="ply") for p in result.pieces]
    assert all(piece.is_watertight and piece.is_winding_consistent for piece in pieces)
    assert sum(piece.volume for piece in pieces) == pytest.approx(
        sum(p.figures.volume for p in result.pieces), rel=1e-9
    )
    record = json.loads(files["job.json"])
    assert [joint["mark"] for joint in record["joints"]] == [joint.mark for joint in result.joints]
    assert record["joints"]
