# SPDX-License-Identifier: GPL-3.0-or-later
"""Dismantling and packing: the build order backwards, in step with the load plan."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest
from seamwright.core.cutting.joint import Plane
from seamwright.core.job import Job, LoadSpace
from seamwright.core.jobpack.job_json import job_json
from seamwright.core.jobpack.page_road import load_section, packing_section
from seamwright.core.jobpack.record import JobResult
from seamwright.core.jobpack.site_tables import packing_csv
from seamwright.core.logistics.packing import WRAP, packing_list
from seamwright.core.logistics.site_work import leave_words, way_words
from seamwright.core.pipeline import run_job
from shapes import box

SPACE = LoadSpace((6.0, 2.4, 2.4), (2.3, 2.3), 3500.0)


@pytest.fixture(scope="module")
def result() -> JobResult:
    """A bar in six pieces side by side and two on top, for a lorry that takes them two abreast."""
    joints = [Plane((0.0, 0.0, 0.6), (0.0, 0.0, 1.0))]
    joints += [Plane((x, 0.0, 0.0), (1.0, 0.0, 0.0), (x + 0.1, 0.5, 0.1)) for x in (1.0, 2.0, 3.0)]
    joints += [Plane((2.2, 0.0, 0.0), (1.0, 0.0, 0.0), (1.0, 0.5, 0.9))]
    return run_job(box((4.0, 1.0, 1.2)), replace(Job(), load_space=SPACE), joints)


def rows(result: JobResult) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(packing_csv(result), newline=""), strict=True))


def test_list_is_the_build_order_backwards_and_agrees_with_the_load_plan(result: JobResult) -> None:
    site = result.site
    assert site is not None
    assert len(site.build) == len(result.pieces) == 6
    table = rows(result)
    names = [p.mark for p in result.pieces]
    assert [r["piece"] for r in table] == [names[step.piece] for step in reversed(site.build)]
    assert [r["off_order"] for r in table] == [str(k + 1) for k in range(6)]
    for r, step in zip(table, reversed(site.build), strict=True):
        assert np.allclose([float(r[f"way_out_{a}"]) for a in "xyz"], -np.array(step.way_in), atol=1e-8)
        piece = result.pieces[step.piece]
        assert r["crew"] == str(piece.figures.crew)
        assert float(r["finished_mass_kg"]) == pytest.approx(piece.figures.finished_mass)
        sides = [float(r[f"wrapped_{name}_m"]) for name in ("length", "width", "height")]
        assert np.allclose(sides, np.array(piece.figures.box) + 2.0 * WRAP)
        letters = [j for j in piece.joints if any(result.joints[m.joint].mark == j for m in site.marks if m.joint >= 0)]
        said = r["number_stands_on"].removesuffix(", base").removeprefix("joints ").removeprefix("joint ")
        assert sorted(said.split()) == sorted(letters)
        assert r["number_stands_on"].endswith("base") == any(m.piece == step.piece and m.joint < 0 for m in site.marks)
    record = json.loads(job_json(result))["packing"]
    assert [(str(r["off_order"]), r["piece"], str(r["load_order"]), r["beside"]) for r in record] == [
        (r["off_order"], r["piece"], r["load_order"], r["beside"]) for r in table
    ]
    # Loads go in as pieces come off: nothing waits, and the two orders are one.
    assert site.load.reverse
    assert [r["waits_for"] for r in table] == [""] * 6
    for load in range(1, site.load.loads + 1):
        places = [int(r["load_order"]) for r in table if r["load"] == str(load)]
        assert places == sorted(places)


def test_neighbours_in_the_lorry_are_those_of_the_drawing(result: JobResult) -> None:
    """Grown by a little, two boxes side by side or one behind the other meet; wrapped they never overlap."""
    site = result.site
    assert site is not None
    names = [p.mark for p in result.pieces]
    stands = {s.mark: s for s in site.load.stands}
    lines = packing_list(site, names, [p.figures.box for p in result.pieces])
    assert any(line.beside for line in lines)
    assert any(line.before for line in lines)
    for line in lines:
        one = stands[names[line.piece]]
        for k, name in enumerate(names):
            two = stands[name]
            if k == line.piece or two.load != one.load:
                assert k not in line.beside + line.before
                continue
            x = min(one.x + one.along, two.x + two.along) - max(one.x, two.x)
            y = min(one.y + one.across, two.y + two.across) - max(one.y, two.y)
            assert x <= -2.0 * WRAP + 1e-9 or y <= -2.0 * WRAP + 1e-9
            assert (k in line.beside) == (x > 0.05)
            if k in line.before:
                assert y > 0.05
                assert two.x + two.along <= one.x
        at = names.index(one.mark)
        assert all(at in other.beside for other in lines if other.piece in line.beside)


def test_what_goes_in_out_of_turn_is_waited_for(result: JobResult) -> None:
    """A load in the build order itself: every piece but the last waits for all that come off after it."""
    site = result.site
    assert site is not None
    names = [p.mark for p in result.pieces]
    at = {name: k for k, name in enumerate(names)}
    built = [names[step.piece] for step in site.build]
    stands = [
        replace(s, load=1, place=k + 1)
        for k, s in enumerate(sorted(site.load.stands, key=lambda s: built.index(s.mark)))
    ]
    wrong = replace(site, load=replace(site.load, stands=tuple(stands), loads=1))
    lines = packing_list(wrong, names, [p.figures.box for p in result.pieces])
    for k, line in enumerate(lines):
        assert set(line.waits) == {other.piece for other in lines[k + 1 :]}
        assert [names[p] for p in line.waits] == [name for name in built if at[name] in line.waits]
    none = replace(site, load=replace(site.load, stands=()))
    for line in packing_list(none, names, [p.figures.box for p in result.pieces]):
        assert (line.load, line.place, line.beside, line.before, line.waits) == (0, 0, (), (), ())


def test_page_says_what_a_loader_asks(result: JobResult) -> None:
    assert result.site is not None
    page = packing_section(result, result.site)
    for words in ("wrapped", "waits for", "goes in as", "10 mm of blanket", "weighed", "One person leads each lift"):
        assert words in page
    assert page.count('class="tick"') == len(result.pieces)
    total = sum(p.figures.finished_mass for p in result.pieces)
    assert f">{total:.1f}<" in page
    assert "competent person" in load_section(result, result.site)
    stuck = replace(result.site, build=())
    assert "No build order was found" in packing_section(result, stuck)


@pytest.mark.parametrize(
    ("way", "words"),
    [
        ((0.0, 0.0, 1.0), "straight up"),
        ((1.0, 0.0, 0.0), "level to +x"),
        ((0.0, -1.0, 0.0), "level to -y"),
        ((0.5, 0.5, 0.5**0.5), "45 degrees up to between +x and +y"),
        ((0.0, 0.0, 0.0), "no straight way"),
    ],
)
def test_ways_out_in_words(way: tuple[float, float, float], words: str) -> None:
    assert leave_words(way) == words
    # It leaves to where it came from.
    came = way_words(tuple(-v for v in way))
    for side in ("+x", "-y", "between +x and +y"):
        assert came.endswith(f"from {side}") == words.endswith(f"to {side}")
