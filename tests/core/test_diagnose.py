# SPDX-License-Identifier: GPL-3.0-or-later
"""Faults are found, all of them, at their places; clean meshes give none; mending brings the clean solid back."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from planted import FAULTS, Planted, plant
from seamwright.core.errors import Cancelled
from seamwright.core.intake.diagnose import Diagnosis, diagnose
from seamwright.core.intake.mend import Recipe
from seamwright.core.intake.prepare import prepare
from seamwright.core.mesh.mass import areas, volume
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import edge_report
from shapes import (
    bottomless,
    box,
    comb,
    cylinder,
    grid_box,
    hollow_box,
    icosphere,
    inside_out,
    joined,
    moved,
    pocketed_box,
    rock,
    torus,
)

BOULDER = rock(4)
CLEAN = {
    "rock": BOULDER,
    "ball": icosphere(3),
    "torus": torus(rough=0.2),
    "comb": comb(),
    "grid_box": grid_box(),
    "pocketed_box": pocketed_box(),
    "hollow_box": hollow_box(),
    "cylinder": cylinder(),
    "two rocks": joined(BOULDER, moved(rock(3), shift=(4.0, 0.0, 0.0))),
}
SETS = [(name,) for name in FAULTS] + list(combinations(FAULTS, 2))


def assert_told(planted: Planted, found: Diagnosis) -> None:
    """Every planted fault is told at its place, and nothing is told that is not there."""
    told = {fault.kind: fault for fault in found.faults}
    assert set(told) == set(planted.truth)
    for kind, places in planted.truth.items():
        fault = told[kind]
        for place, reach in places:
            away = np.linalg.norm(fault.places - place, axis=1)
            assert away.min() <= reach + 1e-9, (kind, place, fault.places)
        for at in fault.places:
            away = [np.linalg.norm(at - place) - reach for place, reach in places]
            assert min(away) <= 1e-9, (kind, at)


@pytest.mark.parametrize("name", CLEAN)
def test_a_clean_mesh_gives_no_finding(name: str) -> None:
    found = diagnose(CLEAN[name])
    assert found.faults == ()
    assert found.overlap is not None
    assert found.overlap.exact


@pytest.mark.parametrize("names", SETS, ids="+".join)
def test_planted_faults_are_found_and_mended(names: tuple[str, ...]) -> None:
    planted = plant(BOULDER, names)
    before = planted.mesh.vertices.tobytes(), planted.mesh.triangles.tobytes()
    # What passes through itself is looked for where one fault stands alone: it takes as long as all the rest.
    assert_told(planted, diagnose(planted.mesh, overlap=len(names) == 1))
    intake = prepare(planted.mesh, recipe=Recipe(fill=0.6))
    assert edge_report(intake.mesh.triangles).closed
    assert intake.volume == pytest.approx(volume(BOULDER), rel=1e-3)
    assert areas(intake.mesh).sum() == pytest.approx(areas(BOULDER).sum(), rel=1e-3)
    assert intake.notes
    assert (planted.mesh.vertices.tobytes(), planted.mesh.triangles.tobytes()) == before
    # Each triangle that is left lies where its source lay.
    kept = intake.source >= 0
    assert kept.sum() >= len(BOULDER.triangles) - 20
    now = np.sort(intake.mesh.corners()[kept], axis=1)
    then = np.sort(planted.mesh.corners()[intake.source[kept]], axis=1)
    assert np.abs(now - then).max() < 2e-4
    turned = intake.turned[kept]
    p, q = intake.mesh.corners()[kept], planted.mesh.corners()[intake.source[kept]]
    same = (np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]) * np.cross(q[:, 1] - q[:, 0], q[:, 2] - q[:, 0])).sum(axis=1)
    assert ((same < 0.0) == turned).all()


def test_clean_faces_are_not_touched() -> None:
    """On a clean mesh the recipe does nothing at all."""
    for mesh in CLEAN.values():
        intake = prepare(mesh, recipe=Recipe())
        assert intake.notes == ()
        assert intake.mesh.triangles.tolist() == mesh.triangles.tolist()
        assert intake.mesh.vertices.tolist() == mesh.vertices.tolist()


def test_overlap_of_two_bodies_is_told_with_the_volume_counted_twice() -> None:
    found = diagnose(joined(box(), box(low=(0.5, 0.25, 0.25))))
    (fault,) = found.faults
    assert (fault.kind, fault.severity) == ("overlap", "warning")
    assert "foam counts twice" in fault.message
    assert "every pair" in fault.message
    assert np.linalg.norm(fault.places[0] - [0.75, 0.6, 0.6]) < 0.3


def test_bodies_that_only_touch_do_not_overlap() -> None:
    for shift in ((1.0, 0.0, 0.0), (1.0, 1.0, 0.0), (1.0, 1.0, 1.0), (0.0, 0.25, 1.0)):
        assert diagnose(joined(box(), moved(box(), shift=shift))).of("overlap") is None


def test_a_body_within_another_counts_twice_unless_it_is_a_hollow() -> None:
    inner = box((0.2, 0.2, 0.2), (0.4, 0.4, 0.4))
    (fault,) = diagnose(joined(box(), inner)).faults
    assert fault.kind == "nested"
    assert "8 l of foam count twice" in fault.message
    assert fault.places[0] == pytest.approx([0.5, 0.5, 0.5])
    assert diagnose(joined(box(), inside_out(inner))).faults == ()


def test_inside_out_is_told_body_by_body() -> None:
    ball = icosphere(2)
    both = joined(ball, moved(inside_out(ball), shift=(3.0, 0.0, 0.0)))
    (fault,) = diagnose(both).faults
    assert fault.kind == "inside_out"
    assert fault.places == pytest.approx(np.array([[3.0, 0.0, 0.0]]), abs=1e-12)
    intake = prepare(both, recipe=Recipe())
    assert intake.volume == pytest.approx(2.0 * volume(ball))
    assert "1 body inside out turned" in intake.notes


def test_hollow_whose_skin_is_mixed_up_stays_a_hollow() -> None:
    inner = inside_out(box((0.2, 0.2, 0.2), (0.4, 0.4, 0.4)))
    triangles = inner.triangles.copy()
    triangles[:7] = triangles[:7, ::-1]
    intake = prepare(joined(box(), Mesh(inner.vertices, triangles)), recipe=Recipe(crumb=0.0))
    assert intake.volume == pytest.approx(1.0 - 0.008)


def test_open_base_is_a_hole_in_the_diagnosis_and_closed_by_prepare() -> None:
    found = diagnose(bottomless(cylinder()))
    assert [fault.kind for fault in found.faults] == ["open"]
    assert found.holes[0].across == pytest.approx(2.0)
    assert "1 hole 2.00 m across, low in the middle" in found.faults[0].message


def test_the_sentence_is_a_carvers() -> None:
    planted = plant(BOULDER, ("hole", "missing_triangle", "hole"))
    (fault,) = diagnose(planted.mesh).faults
    assert fault.message.startswith("3 holes, the largest ")
    assert " mm across, " in fault.message
    finding = fault.finding()
    assert (finding.check, finding.severity, finding.measured) == ("intake", "error", 3.0)
    assert finding.where == tuple(fault.places[0])


def test_large_meshes_are_sampled_and_it_is_said() -> None:
    pair = joined(rock(4), moved(rock(4, seed=2), shift=(0.4, 0.0, 0.0)))
    exact = diagnose(pair).overlap
    sampled = diagnose(pair, exact_to=1000, sampled=3000).overlap
    assert exact is not None
    assert sampled is not None
    assert exact.exact
    assert 0.1 < sampled.share < 0.9
    known = {tuple(row) for row in exact.pairs.tolist()}
    assert {tuple(row) for row in sampled.pairs.tolist()} < known
    message = diagnose(pair, exact_to=1000, sampled=3000).of("overlap")
    assert message is not None
    assert "tested in " in message.message


def test_progress_can_stop_it() -> None:
    def stop(share: float, text: str) -> None:
        assert 0.0 <= share <= 1.0
        if share > 0.4:
            raise Cancelled

    with pytest.raises(Cancelled):
        diagnose(BOULDER, progress=stop)


def test_nothing_and_only_collapsed_triangles() -> None:
    assert [fault.kind for fault in diagnose(Mesh([], [])).faults] == ["open"]
    only = diagnose(Mesh(np.zeros((2, 3)), [[0, 1, 0]]))
    assert [fault.kind for fault in only.faults] == ["no_area"]
