# SPDX-License-Identifier: GPL-3.0-or-later
"""Allowance: what the joints are trimmed by, or what the job grows by."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.findings import Severity
from seamwright.core.handling.growing import check_growth, grown, moved
from seamwright.core.job import Job, Layer, Skin
from seamwright.core.mesh.mass import volume
from seamwright.core.pipeline import run_job
from seamwright.core.skin import gap_width, growth
from seamwright.core.skin.shifts import solve_shifts
from shapes import box, cells

COAT = Layer("coat", density=1000.0, thickness=0.004, faces=("carved", "joint"))


def job(allowance: str, kerf: float = 0.003, fit: float = 0.005) -> Job:
    """Skin of 4 mm on each joint face: room of 13 mm at a joint."""
    base = Job()
    return replace(
        base,
        skin=Skin(layers=(COAT,), bridging=0.0),
        foam=replace(base.foam, kerf=kerf),
        joints=replace(base.joints, fit=fit, allowance=allowance),
    )


ROW = [Plane((x, 0.0, 0.0), (1.0, 0.0, 0.0)) for x in (1.0, 2.0, 3.0)]


def test_trimmed_or_grown_a_row_of_boxes_by_hand() -> None:
    bar = box((4.0, 1.0, 1.0))
    trim, grow = (run_job(bar, job(allowance), ROW) for allowance in ("trim", "grow"))
    assert trim.gap == pytest.approx(0.013, rel=1e-12)
    assert grow.gap == pytest.approx(0.003, rel=1e-12)
    for result, lost in ((trim, 0.013), (grow, 0.003)):
        lengths = [float(np.ptp(p.mesh.vertices[:, 0])) for p in result.pieces]
        assert sorted(lengths) == pytest.approx(sorted([1.0 - lost / 2.0] * 2 + [1.0 - lost] * 2), rel=1e-9)
        taken = sum(volume(p.mesh) for p in result.pieces) + result.taken_volume
        assert taken == pytest.approx(4.0, rel=1e-12)
    assert all(p.shift == (0.0, 0.0, 0.0) for p in trim.pieces)
    by_place = sorted(grow.pieces, key=lambda p: p.figures.centroid[0])
    assert np.array([p.shift for p in by_place]) == pytest.approx(
        np.array([[0.01 * k, 0.0, 0.0] for k in range(4)]), abs=1e-12
    )
    # Skinned and put together: each joint face 4 mm out, 5 mm of fit between.
    ends = [(p.mesh.vertices[:, 0].min() + p.shift[0], p.mesh.vertices[:, 0].max() + p.shift[0]) for p in by_place]
    for (_, before), (after, _) in itertools.pairwise(ends):
        assert after - before == pytest.approx(0.005 + 2.0 * 0.004, rel=1e-9)
    said = [f for f in grow.findings if f.check == "growth"]
    assert [f.measured for f in said] == pytest.approx([0.03], rel=1e-9)
    assert "30.0 mm along x, 0.0 mm along y, 0.0 mm along z" in said[0].message
    assert not [f for f in (*trim.findings, *grow.findings) if f.check == "growth_ring"]
    assert not [f for f in trim.findings if f.check == "growth"]


def test_a_kerf_wider_than_the_skin_needs_grows_nothing() -> None:
    wide = job("grow", kerf=0.02)
    assert (gap_width(wide), growth(wide)) == (0.02, 0.0)
    assert growth(job("trim")) == 0.0
    assert growth(job("grow")) == pytest.approx(0.01)
    assert not [f for f in run_job(box((4.0, 1.0, 1.0)), wide, ROW).findings if f.check.startswith("growth")]


def test_a_wall_of_four_parts_both_ways() -> None:
    joints: list[Joint] = [Plane((1.0, 0.0, 0.0), (1.0, 0.0, 0.0)), Plane((0.0, 0.0, 0.5), (0.0, 0.0, 1.0))]
    result = run_job(box((2.0, 0.5, 1.0)), job("grow"), joints)
    for piece in result.pieces:
        x, _, z = piece.figures.centroid
        first = min(result.pieces, key=lambda p: np.linalg.norm(p.shift))
        away = np.subtract(piece.shift, first.shift)
        fx, _, fz = first.figures.centroid
        assert away == pytest.approx(
            [0.01 * np.sign(round(x - fx, 3)), 0.0, 0.01 * np.sign(round(z - fz, 3))], abs=1e-9
        )


def test_along_a_profile_the_steepest_segment_has_its_room() -> None:
    joint = Profile(
        (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [[-1.0, 0.0], [0.5, 0.0], [1.1, 0.8], [2.0, 0.8]]
    )
    body = box((3.0, 1.0, 1.0))
    found = grown(2, [joint], cut(body, [joint], 0.003).contacts, job("grow"))
    away = found.moves[1] - found.moves[0]
    # The slope of 0.8 in 0.6 has its normal at 3/5 of the way.
    assert away == pytest.approx([0.01 * 5.0 / 3.0, 0.0, 0.0], abs=1e-12)


def test_a_ring_that_cannot_close_is_a_finding() -> None:
    """A frame: one side is cut twice, the other once, all level; the frame cannot be two gaps and one gap higher."""
    filled = np.ones((3, 1, 7), dtype=bool)
    filled[1, :, 1:6] = False
    frame = cells(filled, (1.5, 0.4, 3.5))
    left, right = (0.25, 0.2, 1.75), (1.25, 0.2, 1.75)
    joints: list[Joint] = [
        Plane((0.0, 0.0, 1.2), (0.0, 0.0, 1.0), part=left),
        Plane((0.0, 0.0, 2.3), (0.0, 0.0, 1.0), part=(0.25, 0.2, 1.9)),
        Plane((0.0, 0.0, 1.75), (0.0, 0.0, 1.0), part=(right[0], 0.2, 1.7)),
    ]
    result = run_job(frame, job("grow"), joints)
    rings = [f for f in result.findings if f.check == "growth_ring"]
    assert rings
    assert all(f.severity is Severity.WARNING and f.measured and f.measured > 1e-4 for f in rings)
    closed = run_job(frame, job("grow"), [Plane((0.0, 0.0, 1.75), (0.0, 0.0, 1.0))])
    assert not [f for f in closed.findings if f.check == "growth_ring"]


def test_a_round_of_stones_opens_evenly() -> None:
    count = 8
    turns = np.arange(count) * 2.0 * np.pi / count
    pairs = np.stack((np.arange(count), (np.arange(count) + 1) % count), axis=1)
    ways = np.stack((-np.sin(turns), np.cos(turns), np.zeros(count)), axis=1)
    found = solve_shifts(count, pairs, ways, np.full(count, 0.01))
    assert found.misfit == pytest.approx(np.zeros(count), abs=1e-12)
    away = found.moves[pairs[:, 1]] - found.moves[pairs[:, 0]]
    assert np.linalg.norm(away, axis=1) == pytest.approx(np.full(count, 0.01), rel=1e-9)


def test_pieces_stand_where_they_have_moved_to() -> None:
    piece = box()
    assert moved(piece, (0.0, 0.0, 0.0)) is piece
    away = moved(piece, (0.01, 0.0, -0.02))
    assert away.vertices == pytest.approx(piece.vertices + np.array([0.01, 0.0, -0.02]))
    assert (away.kind == piece.kind).all()


def test_pieces_that_nothing_joins_stay() -> None:
    found = solve_shifts(4, np.array([[1, 3]]), np.array([[0.0, 0.0, 1.0]]), np.array([0.01]))
    assert found.moves.tolist() == [[0.0] * 3, [0.0] * 3, [0.0] * 3, pytest.approx([0.0, 0.0, 0.01])]
    empty = solve_shifts(2, np.zeros((0, 2), dtype=np.int64), np.zeros((0, 3)), np.zeros(0))
    assert not empty.moves.any()
    assert check_growth(empty, [], [], [], [], job("trim")) == []
