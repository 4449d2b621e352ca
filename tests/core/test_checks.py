# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

from dataclasses import replace

import pytest
from seamwright.core.findings import Finding, Severity
from seamwright.core.handling import PieceFigures, check_piece
from seamwright.core.job import Job

SMALL = PieceFigures(0.2, (1.0, 2.0, 3.0), (1.0, 0.5, 0.0, 0.0), 3.0, 9.0, 12.0, (0.7, 0.6, 0.5), 1)


def limited(**changes: object) -> Job:
    return replace(Job(), limits=replace(Job().limits, **changes))


def found(figures: PieceFigures, job: Job | None = None) -> dict[str, Finding]:
    findings = check_piece("7", figures, job or Job())
    assert len({f.check for f in findings}) == len(findings)
    return {f.check: f for f in findings}


def test_a_small_light_piece_has_no_finding() -> None:
    assert check_piece("7", SMALL, Job()) == []


def test_too_heavy_is_an_error_with_its_numbers() -> None:
    finding = found(replace(SMALL, foam_mass=20.0, skin_mass=33.5, finished_mass=53.5))["piece_mass"]
    assert finding.severity is Severity.ERROR
    assert (finding.piece, finding.measured, finding.limit, finding.unit) == ("7", 53.5, 50.0, "kg")
    assert finding.where == (1.0, 2.0, 3.0)
    for words in ("Piece 7", "53.5 kg", "20.0 kg foam", "33.5 kg skin", "3.5 kg over", "50 kg"):
        assert words in finding.message
    assert finding.remedy


@pytest.mark.parametrize(("mass", "fails"), [(50.0, False), (50.0 * (1 + 1e-12), False), (50.001, True)])
def test_the_limit_itself_passes(mass: float, fails: bool) -> None:
    assert ("piece_mass" in found(replace(SMALL, finished_mass=mass))) is fails


@pytest.mark.parametrize(
    ("box", "any_pose", "measured"),
    [
        ((2.4, 1.2, 0.9), False, None),
        ((2.5, 1.2, 0.9), False, 2.5),
        ((2.4, 1.3, 0.9), False, 1.3),
        ((1.2, 1.2, 1.0), False, 1.0),
        ((2.6, 1.21, 0.9), False, 2.6),
        ((1.1, 0.9, 1.2), False, 1.2),
        ((1.2, 1.1, 0.9), True, None),
        ((2.4, 1.2, 0.95), True, 0.95),
    ],
)
def test_size_compares_heights_with_heights(
    box: tuple[float, float, float], any_pose: bool, measured: float | None
) -> None:
    # Length and width of the limit in either order: a piece may be turned about its up.
    for size in ((2.4, 1.2, 0.9), (1.2, 2.4, 0.9)):
        finding = found(replace(SMALL, box=box), limited(piece_size=size, any_pose=any_pose)).get("piece_size")
        if measured is None:
            assert finding is None
        else:
            assert finding is not None
            assert finding.severity is Severity.ERROR
            assert finding.measured == measured
            assert finding.limit in (2.4, 1.2, 0.9)
            assert f"{measured:.3f} m over {finding.limit:.3f} m" in finding.message


def test_size_names_every_side_that_is_over() -> None:
    message = found(replace(SMALL, box=(2.5, 1.3, 0.5)), limited(piece_size=(2.4, 1.2, 0.9)))["piece_size"].message
    assert "length 2.500 m over 2.400 m by 100 mm; width 1.300 m over 1.200 m by 100 mm" in message
    assert "height" not in message


@pytest.mark.parametrize(
    ("box", "any_pose", "warned"),
    [
        ((3.0, 0.9, 1.9), False, None),
        ((3.0, 0.91, 1.9), False, (0.91, 0.9)),
        ((3.0, 0.9, 2.0), False, (2.0, 1.9)),
        ((3.0, 1.5, 0.8), False, (1.5, 0.9)),
        ((3.0, 1.5, 0.8), True, None),
        ((3.0, 1.5, 1.0), True, (1.0, 0.9)),
    ],
)
def test_doorway_takes_the_piece_end_on(
    box: tuple[float, float, float], any_pose: bool, warned: tuple[float, float] | None
) -> None:
    job = limited(doorway=(1.0, 2.0), hand_room=0.05, any_pose=any_pose, piece_size=(9.0, 9.0, 9.0))
    finding = found(replace(SMALL, box=box), job).get("doorway")
    if warned is None:
        assert finding is None
    else:
        assert finding is not None
        assert finding.severity is Severity.WARNING
        assert (finding.measured, finding.limit) == pytest.approx(warned)


def test_no_crew_is_a_note_with_the_team_limit() -> None:
    finding = found(replace(SMALL, finished_mass=40.0), limited(crew=3))["crew"]
    assert finding.severity is Severity.NOTE
    assert (finding.measured, finding.limit) == (40.0, 37.5)
    assert "3 people" in finding.message
    assert "37.5 kg" in finding.message
    alone = found(replace(SMALL, finished_mass=40.0), limited(crew=1))["crew"]
    assert "1 person" in alone.message


@pytest.mark.parametrize(("depth", "limit"), [(0.76, None), (0.77, 0.76), (0.86, 0.76), (0.87, 0.86)])
def test_reach_notes_a_deep_piece(depth: float, limit: float | None) -> None:
    finding = found(replace(SMALL, box=(1.0, depth, 0.5))).get("reach")
    if limit is None:
        assert finding is None
    else:
        assert finding is not None
        assert finding.severity is Severity.NOTE
        assert finding.limit == pytest.approx(limit)
        assert ("from below 0.25 m" in finding.message) is (limit == 0.76)


def test_errors_come_first_and_nothing_is_called_safe() -> None:
    heavy = replace(SMALL, finished_mass=90.0, box=(14.0, 3.0, 3.0))
    findings = check_piece("7", heavy, Job())
    assert [f.check for f in findings] == ["piece_mass", "piece_size", "doorway", "crew", "reach"]
    for finding in findings:
        assert "safe" not in (finding.message + finding.remedy).lower()
        assert finding.remedy
