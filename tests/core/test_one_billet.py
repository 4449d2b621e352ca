# SPDX-License-Identifier: GPL-3.0-or-later
"""Pieces that must come out of one billet: checked and planned, with a block-up and without; numbers by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from seamwright.core.blockup.layout import Layout
from seamwright.core.cutting.joint import Plane
from seamwright.core.findings import Finding, Severity
from seamwright.core.handling.checks import check_piece, within_limits
from seamwright.core.handling.figures import measure_piece
from seamwright.core.handling.one_billet import billets_of
from seamwright.core.job import Job
from seamwright.core.jobpack.record import JobResult
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.pipeline import run_job
from seamwright.core.planning.need import Need
from shapes import box, moved, rock

BARE = (
    '[skin]\nlayers = []\nbridging = "0 mm"\n[foam]\nkerf = "0 mm"\n[joints]\nfit = "0 mm"\nseams = []\n'
    '[limits]\npiece_mass = "500 kg"\npiece_size = ["9 m", "9 m", "9 m"]\nwithin_billet = true\n'
)
"""No skin, no gap: what a piece measures is its foam. Billets of 2440 x 1220 x 610 mm, as the template has them."""

PLANNED = BARE + '[blockup]\nbuilt = "planned"\nposition = "given"\n'


def billet_findings(result: JobResult) -> list[Finding]:
    return [f for f in result.findings if f.check == "within_billet"]


def tilted(mesh: Mesh, degrees: float) -> Mesh:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return Mesh(mesh.vertices @ np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]]), mesh.triangles)


@pytest.mark.parametrize(
    ("size", "over"),
    [
        ((2.44, 1.22, 0.61), None),
        ((0.61, 1.22, 2.44), None),  # on end: the billet is turned, not the piece
        ((2.45, 0.5, 0.5), (2.45, 2.44)),
        ((1.3, 1.3, 0.5), (1.3, 1.22)),
        ((1.0, 1.0, 1.0), (1.0, 0.61)),  # 1.0 goes into 2.44 and 1.22, and not into 0.61
    ],
)
def test_a_box_and_a_billet(size: tuple[float, float, float], over: tuple[float, float] | None) -> None:
    job = Job.from_toml(BARE)
    figures = measure_piece(box(size), job)
    assert within_limits(figures, job) is (over is None)
    found = [f for f in check_piece("4", figures, job) if f.check == "within_billet"]
    assert [(f.severity, f.measured, f.limit) for f in found] == (
        [] if over is None else [(Severity.ERROR, pytest.approx(over[0]), pytest.approx(over[1]))]
    )
    loose = replace(job, limits=replace(job.limits, within_billet=False))
    assert within_limits(measure_piece(box(size), loose), loose)


def test_the_skin_does_not_count_and_the_sentence_has_the_numbers() -> None:
    skinned = Job.from_toml('[limits]\nwithin_billet = true\npiece_mass = "500 kg"')
    figures = measure_piece(box((2.44, 1.22, 0.61)), skinned)
    assert figures.box[0] > 2.44
    assert within_limits(figures, skinned)
    (found,) = (
        f for f in check_piece("4", measure_piece(box((1.0, 1.0, 0.7)), skinned), skinned) if f.check == "within_billet"
    )
    for words in ("Piece 4", "1.000 x 1.000 x 0.700 m", "2.440 x 1.220 x 0.610 m", "90 mm", "Only its size"):
        assert words in found.message
    assert "limits.within_billet" in found.remedy


def test_a_slab_that_was_cut_askew_is_tilted_in_its_billet() -> None:
    # As it stands: 2.0 cos 30 + 0.4 sin 30 = 1.93, 2.0 sin 30 + 0.4 cos 30 = 1.35 and 1.0 m: 1.0 is over 0.61.
    job = Job.from_toml(BARE)
    figures = measure_piece(tilted(box((2.0, 1.0, 0.4)), 30.0), job)
    assert figures.box == pytest.approx((1.932, 1.0, 1.346), abs=1e-3)
    assert figures.foam_box == pytest.approx((2.0, 1.0, 0.4), abs=5e-3)
    assert within_limits(figures, job)


def test_planned_without_a_block_up_each_piece_goes_into_a_billet() -> None:
    # A grid would take four: 3.0 over 2.44 m and 1.0 over 0.61 m. Three do: an end of 0.61 m or less, which comes out
    # of a billet on its side, and the rest of 2.44 m or less, halved in height. 3.6 m3 are more than one billet's 1.82.
    result = run_job(box((3.0, 1.2, 1.0)), Job.from_toml(BARE))
    assert len(result.pieces) == 3
    assert billet_findings(result) == []
    # The same by hand with one joint: both halves are 1.0 m high and neither goes.
    half = run_job(box((3.0, 1.2, 1.0)), Job.from_toml(BARE), joints=[Plane((1.5, 0.0, 0.0), (1.0, 0.0, 0.0))])
    assert [f.measured for f in billet_findings(half)] == pytest.approx([1.0, 1.0])


def test_of_a_planned_block_up_each_piece_lies_in_one_billet() -> None:
    # First course, to 0.61 m: a glue line at 2.44 m. Second, shifted by half a billet: at 1.22 m.
    result = run_job(box((3.0, 1.0, 1.0)), Job.from_toml(PLANNED))
    assert sorted(piece.figures.volume for piece in result.pieces) == pytest.approx(
        sorted([2.44 * 0.61, 0.56 * 0.61, 1.22 * 0.39, 1.78 * 0.39]), rel=1e-9
    )
    assert billet_findings(result) == []
    assert all("glue line" in reason for reason in result.plan.reasons)
    layout = Layout((2.44, 1.22, 0.61))
    assert {len(billets_of(piece.mesh, layout)[0]) for piece in result.pieces} == {1}


def test_of_a_known_block_up_the_place_counts_and_not_the_size() -> None:
    job = Job.from_toml(PLANNED)
    # A block of 0.6 m either way is smaller than any billet, and its middle is on the first course's glue line.
    small = moved(box((0.6, 0.6, 0.6)), shift=(2.14, 0.0, 0.005))
    (found,) = billet_findings(run_job(small, job, joints=[]))
    assert found.severity is Severity.ERROR
    assert (found.measured, found.limit) == (2.0, 1.0)
    assert "1-01, 1-02" in found.message
    assert "300 mm" in found.message
    # 4 mm beyond the glue line are shaved off.
    assert billet_findings(run_job(moved(box((0.6, 0.6, 0.6)), shift=(1.844, 0.0, 0.0)), job, joints=[])) == []
    assert len(billet_findings(run_job(moved(box((0.6, 0.6, 0.6)), shift=(1.846, 0.0, 0.0)), job, joints=[]))) == 1


def test_a_rock_with_its_skin_is_planned_out_of_the_billets_of_its_block_up() -> None:
    job = Job.from_toml('[limits]\npiece_mass = "30 kg"\nwithin_billet = true\n[blockup]\nbuilt = "planned"\n')
    result = run_job(rock(4, 2, size=(1.9, 1.3, 0.9)), job)
    assert [f for f in result.findings if f.severity is Severity.ERROR] == []
    assert result.blockup is not None
    for piece in result.pieces:
        assert len(billets_of(piece.mesh, result.blockup.layout)[0]) == 1
    assert len(result.pieces) + len(result.crumbs) >= len(result.blockup.billets)


def test_the_planners_law_knows_the_billet() -> None:
    job = Job.from_toml(BARE)
    need = Need.of(job, 0.0, 1.0, 0.01)
    assert need.fits(1.0, (1.2, 0.6, 2.4))
    assert need.fits(1.0, (1.2, 0.61, 2.4))  # 10 mm of it are skin
    assert not need.fits(1.0, (1.2, 0.7, 2.4))
    known = Job.from_toml(PLANNED)
    assert Need.of(known, 0.0, 1.0).fits(1.0, (1.2, 0.7, 2.4))
