# SPDX-License-Identifier: GPL-3.0-or-later
"""The block-up through the whole job: findings, tables, record, drawings, what is bought."""

from __future__ import annotations

import csv
import io
import json
import math
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from seamwright.core.blockup.layout import Layout
from seamwright.core.blockup.plan import plan_blockup, settings_at
from seamwright.core.blockup.report import check_blockup
from seamwright.core.cutting.joint import Plane
from seamwright.core.errors import JobError
from seamwright.core.findings import Severity
from seamwright.core.job import BlockUp, Job, Joints
from seamwright.core.jobpack import pack_files
from seamwright.core.jobpack.blockup_table import BILLET_COLUMNS
from seamwright.core.jobpack.record import JobResult
from seamwright.core.pipeline import run_job
from shapes import box, moved, rock


@lru_cache
def result_of(built: str = "planned", **keys: object) -> JobResult:
    body = moved(rock(4, 7, size=(4.0, 2.2, 1.3)), shift=(2.0, 1.1, 0.65))
    blockup = BlockUp(**{"built": built, "position": "given", "origin": (-0.1, -0.1, 0.0), **keys})
    return run_job(body, replace(Job(), blockup=blockup), [Plane((1.6, 1.0, 0.5), (1.0, 0.1, 0.0))])


def rows_of(files: dict[str, bytes]) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files["billets.csv"].decode())))


def test_unknown_block_up_leaves_no_trace():
    result = result_of("unknown")
    files = pack_files(result)
    assert result.blockup is None
    assert result.outlines == ()
    assert "billets.csv" not in files
    assert not [path for path in files if path.startswith("blockup/")]
    assert json.loads(files["job.json"])["blockup"] is None
    assert "Block-up" not in files["job-pack.html"].decode()
    assert not [f for f in result.findings if f.check.startswith("blockup")]


def test_billets_csv_holds_every_billet_where_it_lies():
    result = result_of()
    rows = rows_of(pack_files(result))
    assert tuple(rows[0]) == BILLET_COLUMNS
    assert len(rows) == len(result.blockup.billets)
    layout = result.blockup.layout
    for row, billet in zip(rows, result.blockup.billets, strict=True):
        at = layout.to_block([[float(row[f"{axis}_m"]) for axis in "xyz"]])[0]
        assert at == pytest.approx(billet.low, abs=1e-7)
        size = [float(row[f"{side}_m"]) for side in ("length", "width", "height")]
        assert sorted(size) == pytest.approx(sorted(float(row[f"cut_{s}_m"]) for s in ("length", "width", "height")))
        assert (row["use"] == "whole") == billet.whole
        assert (
            int(row["place_along"]) - billet.cell[1] == int(rows[0]["place_along"]) - result.blockup.billets[0].cell[1]
        )
    # Numbered for people, wherever the block-up's origin is.
    assert min(int(row["place_along"]) for row in rows) == min(int(row["place_across"]) for row in rows) == 1
    assert len({row["bought_as"] for row in rows}) == result.blockup.bought
    assert sum(row["cut_from"] == "new" for row in rows) == result.blockup.bought


def test_what_is_bought_is_the_block_up():
    result = result_of()
    bought = {line.item: line for line in result.takeoff}
    assert bought["foam billet"].net_quantity == result.blockup.bought
    # In cans of 10 m2: a maker's data sheet prints 8 to 12 m2 for 800 ml (trade-values.md, wire and glue).
    assert bought["adhesive"].net_quantity == pytest.approx(result.blockup.glue_area / 10.0)
    assert bought["adhesive"].order_quantity == result.blockup.cans(10.0) == math.ceil(result.blockup.glue_area / 10.0)
    assert f"{result.blockup.bought} billets" in bought["foam billet"].basis
    other = {line.item: line for line in result_of("unknown").takeoff}
    assert other["foam billet"].basis.startswith("lower bound")
    assert other["foam billet"].net_quantity < bought["foam billet"].net_quantity


def test_findings_are_notes_with_numbers_and_places():
    result = result_of()
    found = [f for f in result.findings if f.check.startswith("blockup")]
    assert {f.severity for f in found} == {Severity.NOTE}
    assert found[0].measured == result.blockup.bought
    assert found[0].limit == result.blockup.fewest_here
    bulges = [f for f in found if f.check == "blockup_bulge"]
    assert all(f.where is not None and f.measured > 0.02 for f in bulges)
    # What is built stands: nothing is said of how to block it out.
    given = [f.check for f in result_of("as-given").findings if f.check.startswith("blockup")]
    assert set(given) <= {"blockup", "blockup_overlap"}


def test_drawings_are_well_formed_and_the_same_again():
    files = pack_files(result_of())
    drawn = [path for path in files if path.startswith("blockup/")]
    courses = len(result_of().blockup.courses)
    assert sorted(drawn) == sorted(
        [f"blockup/course-{k + 1}.svg" for k in range(courses)]
        + [f"blockup/course-{k + 1}-outlines.html" for k in range(courses)]
        + ["blockup/section-along.svg", "blockup/section-across.svg"]
    )
    for path in drawn:
        if path.endswith(".svg"):
            ET.fromstring(files[path])
    assert all(pack_files(result_of())[path] == files[path] for path in drawn)
    assert not [p for p in pack_files(result_of("as-given")) if p.endswith("outlines.html")]


def test_page_and_record_tell_the_same():
    result = result_of()
    files = pack_files(result)
    page = files["job-pack.html"].decode()
    assert '<section id="block-up">' in page
    assert f"<b>{result.blockup.bought}</b>" in page
    record = json.loads(files["job.json"])["blockup"]
    assert record["billets_bought"] == result.blockup.bought
    assert record["glue_area_m2"] == pytest.approx(result.blockup.glue_area)
    assert record["cans"] == math.ceil(result.blockup.glue_area / 10.0)
    assert len(record["glue_lines"]) == len(result.blockup.glue)


def test_glue_lines_are_seams_and_slivers_are_found():
    """A bar of two billets end to end: a joint on the glue line keeps to it; one 30 mm beside it leaves a slab."""
    body = box((4.88, 1.0, 0.6))
    job = replace(
        Job(),
        blockup=BlockUp(built="as-given", stagger=0.0),
        joints=replace(Joints(), seams=("glue line",)),
    )
    on = run_job(body, job, [Plane((2.44, 0.5, 0.3), (1.0, 0.0, 0.0))])
    beside = run_job(body, job, [Plane((2.47, 0.5, 0.3), (1.0, 0.0, 0.0))])
    assert on.joints[0].seams.judged_share == pytest.approx(1.0)
    assert not [f for f in on.findings if f.check in ("sliver", "glue_cut", "seams")]
    assert [f.check for f in beside.findings if f.check == "sliver"] == ["sliver"]
    unknown = run_job(body, replace(job, blockup=BlockUp()), [Plane((2.47, 0.5, 0.3), (1.0, 0.0, 0.0))])
    assert not [f for f in unknown.findings if f.check in ("sliver", "glue_cut")]


def test_a_searched_position_stands_in_the_record():
    body = moved(rock(3, 2, size=(2.0, 1.0, 0.6)), shift=(3.0, 2.0, 0.3))
    result = run_job(body, replace(Job(), blockup=BlockUp(built="planned")), [Plane((3.0, 2.0, 0.3), (1, 0, 0))])
    plan = result.blockup
    assert plan.tried > 100
    assert plan.fewest <= plan.fewest_here <= plan.bought
    # The block-up is planned on the carving as single precision holds it.
    assert plan.layout.origin[2] == float(result.carving.vertices[:, 2].astype(np.float32).min())
    assert isinstance(plan.layout, Layout)
    record = json.loads(pack_files(result)["job.json"])["blockup"]
    assert record["origin_m"] == list(plan.layout.origin)
    assert np.isclose(math.radians(record["rotation_deg"]), plan.layout.rotation)


def test_points_picked_on_two_glue_lines_move_the_block_up():
    """As they stand in a job file: three on a bed at .55 m, three on an upright line at x = .7 m."""
    text = """
[blockup]
built = "as-given"
picked = [
  [["0.2 m", "0.3 m", "550 mm"], ["3 m", "0.4 m", "551 mm"], ["2 m", "1.9 m", "549 mm"]],
  [["0.7 m", "0.2 m", "0.7 m"], ["700 mm", "1.2 m", "0.9 m"], ["0.7 m", "0.8 m", "1.1 m"]],
]
"""
    job = Job.from_toml(text)
    assert Job.from_toml(job.to_toml()) == job
    body = moved(rock(4, 7, size=(4.0, 2.2, 1.3)), shift=(2.0, 1.1, 0.65))
    plan = plan_blockup(body, job)
    assert [fitted.line for fitted in plan.fitted] == ["bed", "end"]
    assert plan.layout.origin[2] % 0.61 == pytest.approx(0.55, abs=1e-12)
    walls = [plan.layout.to_job([plan.layout.corner((course, 0, 0))])[0][0] % 2.44 for course in plan.courses]
    assert min(abs(x - 0.7) for x in walls) < 1e-12
    said = [f for f in check_blockup(plan, (), job) if f.check == "blockup_picked"]
    assert "between two courses that was picked; the points lie up to 1 mm off it" in said[0].message
    assert said[0].measured == pytest.approx(0.001)
    # Where the position is searched or known they count nothing.
    planned = plan_blockup(body, replace(job, blockup=replace(job.blockup, built="planned", position="given")))
    assert planned.fitted == ()
    assert settings_at(job.blockup, plan.layout).picked == ()


def test_picked_points_that_make_no_glue_line_are_named():
    picked = (((0.0, 0.0, 0.5), (1.0, 0.0, 0.5), (0.5, 1.0, 0.5)), ((0.0, 0.0, 0.0), (1.0, 0.0, 0.5), (0.5, 1.0, 1.0)))
    job = replace(Job(), blockup=BlockUp(built="as-given", picked=picked))
    with pytest.raises(JobError, match=r"blockup.picked\[1\]: the points lie on no level and no upright plane"):
        plan_blockup(box((2.0, 1.0, 1.0)), job)
