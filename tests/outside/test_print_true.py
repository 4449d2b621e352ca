# SPDX-License-Identifier: GPL-3.0-or-later
"""A drawing that says it is true size measures so in a printed PDF: within 0.2 mm over 1 m."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from printing import pdf_lines, print_to_pdf
from seamwright.core.blockup.outlines import course_outlines
from seamwright.core.blockup.plan import plan_blockup
from seamwright.core.job import BlockUp, Job
from seamwright.core.jobpack.blockup_drawings import outline_sheets
from seamwright.core.jobpack.drawing import Drawing, Layer, Line, Pen, Words
from seamwright.core.jobpack.sheets import sheets_html, tiled_sheets, whole_sheet
from shapes import moved, rock

CORNERS = np.array([[0.0, 0.0], [1.3071, 0.0213], [1.2519, 0.7317], [0.6111, 0.4441], [0.0457, 0.8013]])
TRUE = 0.2 / 1000.0
"""Millimetres off in a millimetre: the bar is 0.2 mm over 1 m."""


def outline(scale: float = 1.0) -> Drawing:
    words = Words((0.6, 0.2), 'Outline <1> & "margin"', 6.0, "middle")
    return Drawing("Course 1, lower face", (Layer("outline", (Line(CORNERS, Pen(0.3), True),), (words,)),), scale)


def outline_of(lines: list[np.ndarray], length: float) -> np.ndarray:
    """Corners of the printed outline: the one line longer than `length` mm that is no upright rectangle."""
    found = [line for line in lines if len(line) >= len(CORNERS) and np.ptp(line[:, 0]) > length]
    (line,) = [line for line in found if len(np.unique(np.round(line[:, 0], 1))) == len(CORNERS)]
    return line[: len(CORNERS)]


def worst_over_length(printed: np.ndarray, real: np.ndarray) -> float:
    """Largest error of the distance of two points, as a share of that distance."""
    pairs = list(itertools.combinations(range(len(real)), 2))
    true = np.array([np.linalg.norm(real[a] - real[b]) for a, b in pairs])
    got = np.array([np.linalg.norm(printed[a] - printed[b]) for a, b in pairs])
    return float((np.abs(got - true) / true).max())


def test_whole_sheet_prints_true(tmp_path):
    pages = pdf_lines(print_to_pdf(sheets_html("outline", [whole_sheet(outline())]), tmp_path))
    assert len(pages) == 1
    line = outline_of(pages[0][1], 1000.0)
    assert worst_over_length(line, 1000.0 * CORNERS) < TRUE
    assert worst_over_length(line, 0.999 * 1000.0 * CORNERS) > TRUE, "a tenth of a percent must show"


def test_scale_of_a_plan_is_kept(tmp_path):
    pages = pdf_lines(print_to_pdf(sheets_html("plan", [whole_sheet(outline(10.0))]), tmp_path))
    line = outline_of(pages[0][1], 100.0)
    assert worst_over_length(line, 100.0 * CORNERS) < TRUE


def test_tiles_laid_cross_on_cross_are_true(tmp_path):
    """Corners of the outline, put together from the A4 pages that show them, are true within 0.2 mm over a metre."""
    sheets = tiled_sheets(outline())
    pages = pdf_lines(print_to_pdf(sheets_html("outline", sheets), tmp_path))
    assert len(pages) == len(sheets) > 20
    cells, places = [], []
    for sheet, (size, lines) in zip(sheets, pages, strict=True):
        assert np.allclose(size, (210.0, 297.0), atol=0.27)  # a browser rounds pages to its own pixel, 0.2646 mm
        row, column = ord(sheet.mark[0]) - ord("A"), int(sheet.mark[1:]) - 1
        # A cross is two strokes of 10 mm that halve each other.
        strokes = [line for line in lines if len(line) == 2 and abs(np.abs(line[1] - line[0]).sum() - 10.0) < 0.01]
        middles = np.unique(np.round([line.mean(axis=0) for line in strokes], 2), axis=0)
        assert len(middles) == 4
        low, high = middles.min(axis=0), middles.max(axis=0)
        cells.append(high - low)
        points = np.concatenate(lines)
        near = points[((points > low - 5.0) & (points < high + 5.0)).all(axis=1)]
        places.append(near - low + np.array([column, row]) * (high - low))
    assert np.ptp(cells, axis=0).max() < 0.02
    everything = np.concatenate(places)
    # The drawing lies in the middle of the cells; a corner is the printed point nearest to where it should be.
    count = np.array([max(int(s.mark[1:]) for s in sheets), max(ord(s.mark[0]) for s in sheets) - ord("A") + 1])
    real = np.array([1000.0, -1000.0]) * CORNERS
    should = real - 0.5 * (real.min(axis=0) + real.max(axis=0)) + 0.5 * count * cells[0]
    found = np.array([everything[np.linalg.norm(everything - place, axis=1).argmin()] for place in should])
    assert np.linalg.norm(found - should, axis=1).max() < 2.0
    assert worst_over_length(found, 1000.0 * CORNERS) < TRUE


def test_outlines_of_a_course_print_true(tmp_path):
    """Each sheet of a course's outlines, read back from the PDF, lies on the outline itself by one shift."""
    shapely = pytest.importorskip("shapely")
    body = moved(rock(4, 3, size=(2.6, 1.7, 1.0)), shift=(1.4, 0.9, 0.5))
    job = replace(Job(), blockup=BlockUp(built="planned", position="given", stagger=0.0))
    plan = plan_blockup(body, job)
    (outline,) = course_outlines(body, plan.layout, (plan.courses[1],), 0.02)
    pages = pdf_lines(print_to_pdf(outline_sheets(plan, outline, "rock"), tmp_path))
    assert len(pages) == 2 * sum(b.cell[0] == outline.course for b in plan.billets)
    grown = {
        face: shapely.MultiLineString([np.vstack([loop, loop[:1]]) * 1000.0 for loop in loops])
        for face, loops in (("lower", outline.lower_grown), ("upper", outline.upper_grown))
    }
    seen = 0
    for page, (_, lines) in enumerate(pages):
        billet = [b for b in plan.billets if b.cell[0] == outline.course][page // 2]
        # Corner crosses: strokes of 30 mm; the lowest, leftmost one stands at the billet's corner.
        strokes = [line for line in lines if len(line) == 2 and abs(np.abs(line[1] - line[0]).sum() - 30.0) < 0.02]
        middles = np.unique(np.round([line.mean(axis=0) for line in strokes], 2), axis=0)
        corner = np.array([middles[:, 0].min(), middles[:, 1].max()])
        shift = np.array(billet.low[:2]) * 1000.0
        # Solid runs of many points; those of the bold line lie on the grown outline, end to end.
        longest = max((line for line in lines if len(line) > 30), key=len, default=None)
        if longest is None:
            continue
        real = (longest - corner) * [1.0, -1.0] + shift
        away = shapely.distance(grown["upper" if page % 2 else "lower"], shapely.points(real))
        if np.median(away) > 5.0:
            continue  # the carving's own line, twenty millimetres further in
        reach = max(1000.0, float(np.linalg.norm(real - shift, axis=1).max()))
        assert away.max() < TRUE * reach
        seen += 1
    assert seen >= 4
