# SPDX-License-Identifier: GPL-3.0-or-later
"""Vector drawings: well-formed, escaped, the same bytes, and nothing lost between tiles."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from seamwright.core.jobpack.drawing import Drawing, Layer, Line, Pen, Words, drawing_svg, rectangle
from seamwright.core.jobpack.sheets import PAPER, sheets_html, tiled_sheets, whole_sheet

SVG = "{http://www.w3.org/2000/svg}"


def wavy(count: int = 3000, size: float = 0.6) -> np.ndarray:
    t = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    r = size * (1.0 + 0.08 * np.sin(7 * t) + 0.02 * np.sin(41 * t))
    return np.column_stack([1.4 * r * np.cos(t), r * np.sin(t)])


def sample(scale: float = 1.0) -> Drawing:
    lines = (Line(wavy(), Pen(0.5), True), rectangle((-0.3, -0.2), (0.4, 0.3), Pen(0.2, dash=(4.0, 2.0))))
    words = (Words((0.0, 0.0), 'Billet <3> & "4"\x07', 5.0, "middle", turn=0.3),)
    return Drawing("Course 1 <upper> & face", (Layer("outline", lines), Layer("words", (), words)), scale, ("A & B",))


def test_svg_is_well_formed_and_in_millimetres():
    root = ET.fromstring(drawing_svg(sample()))
    width, height = (float(root.get(name)[:-2]) for name in ("width", "height"))
    assert root.get("width").endswith("mm")
    assert [float(v) for v in root.get("viewBox").split()] == [0.0, 0.0, width, height]
    assert root.find(f"{SVG}title").text == "Course 1 <upper> & face"
    texts = [element.text for element in root.iter(f"{SVG}text")]
    assert 'Billet <3> & "4"\ufffd' in texts
    assert "A & B" in texts


def test_lines_come_out_at_the_scale():
    for scale in (1.0, 20.0):
        root = ET.fromstring(drawing_svg(sample(scale)))
        path = next(p for p in root.iter(f"{SVG}path") if p.get("d").count(" ") > 2000)
        points = np.array([[float(v) for v in pair.split(",")] for pair in path.get("d")[1:-1].split(" ")])
        expected = wavy() * 1000.0 / scale * [1.0, -1.0]
        assert np.abs((points - points[0]) - (expected - expected[0])).max() < 0.0011


def test_same_drawing_same_bytes():
    first = sheets_html("t", [whole_sheet(sample()), *tiled_sheets(sample())])
    assert first == sheets_html("t", [whole_sheet(sample()), *tiled_sheets(sample())])
    assert "-0," not in re.sub(r"-0\.", "", first)


@pytest.mark.parametrize(("paper", "landscape"), [("A4", False), ("A4", True), ("A3", False), ("A3", True)])
def test_tiles_show_every_metre_of_line(paper, landscape):
    drawing = sample()
    sheets = tiled_sheets(drawing, paper, landscape)
    size = PAPER[paper][::-1] if landscape else PAPER[paper]
    assert {(s.width, s.height) for s in sheets} == {size}
    assert len({s.mark for s in sheets}) == len(sheets)
    # What every sheet shows within its own cell, put in its place, adds up to the drawing's length.
    total = 0.0
    for sheet in sheets:
        root = ET.fromstring(sheet.svg)
        cell = next(r for r in root.iter(f"{SVG}rect") if r.get("stroke-dasharray"))
        low = np.array([float(cell.get("x")), float(cell.get("y"))])
        high = low + np.array([float(cell.get("width")), float(cell.get("height"))])
        group = next(g for g in root.iter(f"{SVG}g") if g.get("clip-path"))
        for path in group.iter(f"{SVG}path"):
            for run in path.get("d").split("M")[1:]:
                points = np.array([[float(v) for v in pair.split(",")] for pair in run.rstrip("Z").split(" ")])
                if run.endswith("Z"):
                    points = np.concatenate([points, points[:1]])
                total += inside_length(points, low, high)
    lines = [np.concatenate([line.points, line.points[:1]]) for layer in drawing.layers for line in layer.lines]
    real = sum(np.linalg.norm(np.diff(points, axis=0), axis=1).sum() for points in lines) * 1000.0
    assert total == pytest.approx(real, rel=1e-5)


def inside_length(points: np.ndarray, low: np.ndarray, high: np.ndarray) -> float:
    """Length of a polyline within a rectangle, by shapely."""
    shapely = pytest.importorskip("shapely")
    return shapely.intersection(shapely.LineString(points), shapely.box(*low, *high)).length


def test_blank_tiles_are_left_out():
    ring = Drawing("ring", (Layer("ring", (Line(wavy(size=1.0), closed=True),)),))
    full = tiled_sheets(ring)
    marks = {sheet.mark for sheet in full}
    rows = max(ord(mark[0]) - ord("A") for mark in marks) + 1
    columns = max(int(mark[1:]) for mark in marks)
    assert len(full) < rows * columns
    assert f"{len(full)} sheets in all" in full[0].svg


def test_an_empty_drawing_is_still_a_sheet():
    ET.fromstring(drawing_svg(Drawing("nothing", ())))
    assert tiled_sheets(Drawing("nothing", ())) == ()


def test_lines_cannot_be_written_to():
    points = wavy()
    line = Line(points)
    points[:] = 0.0
    assert line.points.any()
    with pytest.raises(ValueError, match="read-only"):
        line.points[0, 0] = 1.0
