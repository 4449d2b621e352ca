# SPDX-License-Identifier: GPL-3.0-or-later
"""Site work through the whole job: numbers, pins, tables, findings."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import numpy as np
import pytest
from seamwright.core.cutting.joint import Plane
from seamwright.core.findings import Severity
from seamwright.core.job import Build, Datum, Job, LoadSpace, Marking, Pin, SettingOut
from seamwright.core.jobpack.piece_files import piece_files
from seamwright.core.jobpack.record import JobResult
from seamwright.core.jobpack.site_tables import build_order_csv, loading_csv, setout_csv
from seamwright.core.jobpack.tables import pieces_csv
from seamwright.core.logistics.site_work import way_words
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.pipeline import run_job
from shapes import box

TABLES = {
    "pieces.csv": pieces_csv,
    "build_order.csv": build_order_csv,
    "loading.csv": loading_csv,
    "setout.csv": setout_csv,
}
BAR = box((4.0, 1.0, 0.8))


def cuts(*places: float) -> list[Plane]:
    return [Plane((x, 0.0, 0.0), (1.0, 0.0, 0.0)) for x in places]


def run(job: Job | None = None, joints: list[Plane] | None = None, mesh: Mesh = BAR, **more) -> JobResult:
    return run_job(mesh, job or Job(), cuts(1.0, 2.0, 3.0) if joints is None else joints, **more)


def rows(result: JobResult, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(TABLES[name](result), newline=""), strict=True))


def middles(result: JobResult) -> dict[str, float]:
    return {p.mark: round(p.figures.centroid[0], 1) for p in result.pieces}


def test_numbers_are_the_build_order_and_the_tables_agree() -> None:
    result = run()
    assert result.site is not None
    pieces, build = rows(result, "pieces.csv"), rows(result, "build_order.csv")
    assert [p["mark"] for p in pieces] == [p["build_order"] for p in pieces] == ["1", "2", "3", "4"]
    assert [b["piece"] for b in build] == ["1", "2", "3", "4"]
    loading = rows(result, "loading.csv")
    assert [r["piece"] for r in loading] == ["4", "3", "2", "1"]
    assert {p["mark"]: p["load_order"] for p in pieces} == {r["piece"]: r["load_order"] for r in loading}
    for step in build:
        way = np.array([float(step[f"way_in_{axis}"]) for axis in "xyz"])
        assert np.linalg.norm(way) == pytest.approx(1.0, abs=1e-8)
        assert way[2] <= 0.0
    joints = {r["joint"] for r in rows(result, "setout.csv")}
    assert joints == {"A", "B", "C"}
    for r in rows(result, "setout.csv"):
        assert 0.0 <= float(r["worst_off_m"]) <= 0.005


def test_prefix_and_footprint() -> None:
    result = run(Job(marking=Marking(numbering="footprint", start="-x", prefix="W-")))
    assert [p.mark for p in result.pieces] == ["W-1", "W-2", "W-3", "W-4"]
    assert middles(result)["W-1"] == 0.5
    assert "pieces/W-3.ply" in piece_files(result)


def test_a_piece_keeps_its_number_when_a_joint_moves() -> None:
    first = run(Job(marking=Marking(numbering="footprint", start="+x")))
    before = middles(first)
    kept = [(p.mark, p.mesh) for p in first.pieces]
    moved = run(joints=cuts(1.1, 2.0, 3.0), kept=kept)
    assert {mark: x for mark, x in middles(moved).items() if x > 1.6} == {m: x for m, x in before.items() if x > 1.6}
    assert sorted(p.mark for p in moved.pieces) == ["1", "2", "3", "4"]
    fewer = run(joints=cuts(1.0, 3.0), kept=kept)
    assert len({p.mark for p in fewer.pieces}) == 3
    fresh = run(joints=cuts(1.1, 2.0, 3.0))
    assert middles(fresh)["1"] == pytest.approx(0.5, abs=0.1)


def test_pins_move_a_piece_and_lost_pins_are_told() -> None:
    pinned = run(Job(build=Build((Pin((3.5, 0.5, 0.4), 1),))))
    assert middles(pinned)["1"] == 3.5
    lost = run(Job(build=Build((Pin((9.0, 0.5, 0.4), 1),))))
    (finding,) = [f for f in lost.findings if f.check == "build_order"]
    assert finding.severity is Severity.ERROR
    assert "no piece is there" in finding.message


def test_a_lower_piece_is_built_before_the_one_on_it() -> None:
    result = run(joints=[Plane((0.0, 0.0, 0.4), (0.0, 0.0, 1.0))])
    assert result.site is not None
    assert result.site.build[1].rests_on == (0,)
    assert result.site.build[1].comes == "straight down"
    assert [round(p.figures.centroid[2], 1) for p in result.pieces] == [0.2, 0.6]


def test_what_stands_before_bars_the_way() -> None:
    """A ring of walls round the bar, and a lid: first the lid must not be there."""
    walls = [
        box((6.0, 0.5, 12.0), (-1.0, -0.6, 0.0)),
        box((6.0, 0.5, 12.0), (-1.0, 1.1, 0.0)),
        box((0.5, 3.0, 12.0), (-0.6, -1.0, 0.0)),
        box((0.5, 3.0, 12.0), (4.1, -1.0, 0.0)),
    ]
    open_above = run(standing=walls)
    assert open_above.site is not None
    assert {step.comes for step in open_above.site.build} == {"straight down"}
    closed = run(standing=[*walls, box((6.0, 3.0, 0.2), (-1.0, -1.0, 1.0))])
    found = [f for f in closed.findings if f.check == "build_order"]
    assert [f.severity for f in found] == [Severity.ERROR]
    assert "what stands there before" in found[0].message


def test_load_space_exceeded_is_an_error() -> None:
    result = run(Job(load_space=LoadSpace((2.0, 2.0, 2.0), (2.0, 2.0), 1000.0)))
    found = [f for f in result.findings if f.check == "load_space"]
    assert found[0].severity is Severity.ERROR
    assert found[0].message.startswith("Load space exceeded")


def test_datum_marks_are_fitted_and_told() -> None:
    scan = [(0.0, -1.0, 0.0), (4.0, -1.0, 0.0), (4.0, 2.0, 0.0), (0.0, 2.0, 0.0)]
    site = [(10.0 - y, 20.0 + x, 0.1) for x, y, _ in scan]
    marks = tuple(Datum(f"F{k}", s, t) for k, (s, t) in enumerate(zip(scan, site, strict=True)))
    result = run(Job(setting_out=SettingOut(marks=marks)))
    (note,) = [f for f in result.findings if f.check == "datum"]
    assert note.severity is Severity.NOTE
    assert "0.0 mm (root mean square)" in note.message
    bent = replace(marks[1], site=(site[1][0] + 0.05, *site[1][1:]))
    off = run(Job(setting_out=SettingOut(marks=(marks[0], bent, *marks[2:]))))
    (warning,) = [f for f in off.findings if f.check == "datum"]
    assert warning.severity is Severity.WARNING
    for r in rows(result, "setout.csv"):
        point = np.array([float(r[f"{axis}_m"]) for axis in "xyz"])
        mark = np.array(scan[int(r["mark_a"][1])])
        off_site = point - mark if r["way"] == "tape" else (point - mark)[:2]
        assert float(r["distance_a_m"]) == pytest.approx(np.linalg.norm(off_site), abs=1e-8)


@pytest.mark.parametrize(
    ("way", "words"),
    [
        ((0.0, 0.0, -1.0), "straight down"),
        ((1.0, 0.0, 0.0), "level from -x"),
        ((0.0, -1.0, 0.0), "level from +y"),
        ((-0.5, -0.5, -(0.5**0.5)), "45 degrees down from between +x and +y"),
        ((0.0, 0.0, 0.0), "no straight way"),
    ],
)
def test_ways_in_words(way, words: str) -> None:
    assert way_words(way) == words
