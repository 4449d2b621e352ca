# SPDX-License-Identifier: GPL-3.0-or-later
"""A drawing on sheets of paper: cut into tiles that are laid edge to edge by their crosses, and printed true."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .drawing import (
    FAINT,
    INK,
    SOFT,
    Drawing,
    Layer,
    Line,
    Place,
    drawing_body,
    escape_text,
    layer_svg,
    mm,
    scale_bar,
    scale_words,
    sheet_size,
    svg_open,
    words_box,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

PAPER: Final = {"A4": (210.0, 297.0), "A3": (297.0, 420.0)}
"""Width and height in mm, upright (ISO 216)."""

LARGEST: Final = 5000.0
"""Millimetres: a PDF page holds 14 400 points, 5080 mm (PDF 1.7, annex C.2); a larger drawing is tiled."""

_BLANK: Final = 8.0
"""Millimetres along each edge that a printer may leave white; common practice, no source."""
_FOOT: Final = 12.0
"""Millimetres at the foot for the sheet's name and its bar."""
_LAP: Final = 10.0
"""Millimetres by which neighbouring sheets show the same; a cross stands in the middle of it."""


@dataclass(frozen=True)
class Sheet:
    """One page: its mark (row letter, column number), size in mm, and the SVG document."""

    mark: str
    width: float
    height: float
    svg: str


def whole_sheet(drawing: Drawing) -> Sheet:
    """The drawing on one page of its own size, for a plotter or for looking at."""
    width, height = sheet_size(drawing)
    return Sheet("", width, height, svg_open(width, height, drawing.title) + drawing_body(drawing) + "</svg>\n")


def tiled_sheets(drawing: Drawing, paper: str = "A4", landscape: bool = False) -> tuple[Sheet, ...]:
    """The drawing on as many pages as it needs, row by row from the top; pages that would be blank are left out.

    Parameters
    ----------
    drawing : at the scale that it names.
    paper : ``A4`` or ``A3``.
    landscape : lay the paper on its long side.

    Returns
    -------
    tuple of Sheet
        Each has crosses at the corners of its cell; laid with crosses on crosses the pages make the whole drawing.
    """
    width, height = PAPER[paper] if not landscape else PAPER[paper][::-1]
    # Cells meet in the crosses; what a page shows goes half a lap further on each side.
    cell = np.array([width - 2.0 * _BLANK - _LAP, height - 2.0 * _BLANK - _FOOT - _LAP])
    low, high = drawing.bounds()
    real = cell * (drawing.scale / 1000.0)
    columns, rows = (max(1, math.ceil((high[k] - low[k]) / real[k] - 1e-9)) for k in range(2))
    # The drawing sits in the middle of the cells.
    spare = np.array([columns, rows]) * real - (high - low)
    corner = np.array([low[0], high[1]]) + 0.5 * np.array([-1.0, 1.0]) * spare
    half = 0.5 * _LAP * drawing.scale / 1000.0
    used = {}
    for row in range(rows):
        for column in range(columns):
            origin = corner + np.array([column, -row]) * real
            window = (origin - np.array([half, real[1] + half]), origin + np.array([real[0] + half, half]))
            part = tuple(_clipped(layer, *window, drawing.scale) for layer in drawing.layers)
            if any(layer.lines or layer.words for layer in part):
                used[row, column] = (origin, part)
    return tuple(
        _tile(drawing, origin, part, (row, column), used, (width, height), cell)
        for (row, column), (origin, part) in used.items()
    )


def window(drawing: Drawing, low: FloatArray, high: FloatArray) -> Drawing:
    """What of a drawing lies in an upright rectangle, (2,) and (2,) metres: lines end at its edge, words come whole."""
    layers = [_clipped(layer, low, high, drawing.scale) for layer in drawing.layers]
    trimmed = [replace(layer, lines=tuple(_trimmed(line, low, high) for line in layer.lines)) for layer in layers]
    return replace(drawing, layers=tuple(trimmed))


def _trimmed(line: Line, low: FloatArray, high: FloatArray) -> Line:
    """A run of segments that all come into a rectangle, cut off at its edge; only its two ends can stand out."""
    points = line.points.copy()
    if line.closed or len(points) < 2:
        return line
    for end, inner in ((0, 1), (-1, -2)):
        along = points[inner] - points[end]
        leave = 0.0
        for k in range(2):
            if along[k] != 0.0:
                leave = max(leave, min((low[k] - points[end, k]) / along[k], (high[k] - points[end, k]) / along[k]))
        points[end] = points[end] + min(leave, 1.0) * along
    return Line(points, line.pen)


def _mark(row: int, column: int) -> str:
    letters = ""
    row += 1
    while row > 0:
        row, rest = divmod(row - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return f"{letters}{column + 1}"


def _tile(
    drawing: Drawing,
    origin: FloatArray,
    part: tuple[Layer, ...],
    at: tuple[int, int],
    used: Collection[tuple[int, int]],
    size: tuple[float, float],
    cell: FloatArray,
) -> Sheet:
    width, height = size
    left, top = _BLANK + 0.5 * _LAP, _BLANK + 0.5 * _LAP
    right, foot = left + float(cell[0]), top + float(cell[1])
    place = Place(origin, (left, top), drawing.scale)
    half = 0.5 * _LAP
    window = f'x="{mm(left - half)}" y="{mm(top - half)}" width="{mm(cell[0] + _LAP)}" height="{mm(cell[1] + _LAP)}"'
    crosses = "".join(
        f'<path d="M{mm(x - half)},{mm(y)}h{mm(_LAP)}M{mm(x)},{mm(y - half)}v{mm(_LAP)}" fill="none" '
        f'stroke="{INK}" stroke-width="0.15"/>\n'
        for y in (top, foot)
        for x in (left, right)
    )
    edges = f'<rect x="{mm(left)}" y="{mm(top)}" width="{mm(cell[0])}" height="{mm(cell[1])}" fill="none" '
    edges += f'stroke="{FAINT}" stroke-width="0.1" stroke-dasharray="1 2"/>\n'
    row, column = at
    mark, count = _mark(row, column), len(used)
    beside = {
        "left": (row, column - 1),
        "right": (row, column + 1),
        "above": (row - 1, column),
        "below": (row + 1, column),
    }
    meets = ", ".join(f"{_mark(*name)} {side}" for side, name in beside.items() if name in used)
    base = height - _BLANK - _FOOT + 4.5
    text = (
        f'<text x="{mm(_BLANK)}" y="{mm(base)}" font-size="4" font-weight="600" fill="{INK}">{mark}</text>\n'
        f'<text x="{mm(_BLANK + 13.0)}" y="{mm(base - 0.7)}" font-size="2.8" fill="{INK}">'
        f"{escape_text(drawing.title)}</text>\n"
        f'<text x="{mm(_BLANK + 13.0)}" y="{mm(base + 3.1)}" font-size="2.4" fill="{SOFT}">'
        f"{escape_text(_words(count, drawing.scale, meets))}</text>\n"
    )
    bar = scale_bar(_BLANK + 0.5, base + 5.2, drawing.scale, 100.0)
    return Sheet(
        mark,
        width,
        height,
        svg_open(width, height, f"{drawing.title}, sheet {mark}")
        + f'<clipPath id="window-{mark}"><rect {window}/></clipPath>\n<g clip-path="url(#window-{mark})">\n'
        + "".join(layer_svg(layer, place) for layer in part)
        + f"</g>\n{edges}{crosses}{text}{bar}</svg>\n",
    )


def _words(count: int, scale: float, meets: str) -> str:
    sheets = f"{count} sheet{'' if count == 1 else 's'} in all, {scale_words(scale)}; print at 100 %"
    return f"{sheets}; lay cross on cross with {meets}" if meets else sheets


def _clipped(layer: Layer, low: FloatArray, high: FloatArray, scale: float) -> Layer:
    """What of a layer touches a window: filled lines whole, others in the runs of segments that come into it."""
    lines: list[Line] = []
    for line in layer.lines:
        points = np.concatenate([line.points, line.points[:1]]) if line.closed else line.points
        if len(points) < 2:
            continue
        inside = _touches(points, low, high)
        if line.pen.fill:
            over = (points.min(axis=0) <= high).all() and (points.max(axis=0) >= low).all()
            lines += [line] if over else []
        elif inside.all():
            lines.append(line)
        elif inside.any():
            change = np.flatnonzero(np.diff(np.concatenate([[False], inside, [False]]).astype(np.int8)))
            runs = zip(change[::2].tolist(), change[1::2].tolist(), strict=True)
            lines += [Line(points[a : b + 1], line.pen) for a, b in runs]
    boxes = [words_box(word, scale) for word in layer.words]
    seen = [bool((start <= high).all() and (end >= low).all()) for start, end in boxes]
    words = tuple(word for word, shown in zip(layer.words, seen, strict=True) if shown)
    return Layer(layer.name, tuple(lines), words)


def _touches(points: FloatArray, low: FloatArray, high: FloatArray) -> BoolArray:
    """Which segments of a polyline come into an upright rectangle: the part of each within both strips is not empty."""
    start, along = points[:-1], np.diff(points, axis=0)
    enter, leave = np.zeros(len(along)), np.ones(len(along))
    apart = np.zeros(len(along), dtype=bool)
    for k in range(2):
        flat = along[:, k] == 0.0
        run = np.where(flat, 1.0, along[:, k])
        a, b = (low[k] - start[:, k]) / run, (high[k] - start[:, k]) / run
        enter = np.where(flat, enter, np.maximum(enter, np.minimum(a, b)))
        leave = np.where(flat, leave, np.minimum(leave, np.maximum(a, b)))
        apart |= flat & ((start[:, k] < low[k]) | (start[:, k] > high[k]))
    inside: BoolArray = (enter <= leave) & ~apart
    return inside


def sheets_html(title: str, sheets: Iterable[Sheet]) -> str:
    """All sheets as one printable page that needs nothing beside it; each is a page of exactly its own size.

    Pages of the same size share one named page rule, so that a browser's print keeps every millimetre.
    """
    pages = list(sheets)
    sizes = sorted({(sheet.width, sheet.height) for sheet in pages})
    rules = "".join(
        f"@page s{k} {{ size: {mm(w)}mm {mm(h)}mm; margin: 0; }}\n"
        f".s{k} {{ page: s{k}; width: {mm(w)}mm; height: {mm(h)}mm; }}\n"
        for k, (w, h) in enumerate(sizes)
    )
    body = "".join(
        f'<div class="sheet s{sizes.index((sheet.width, sheet.height))}">\n{sheet.svg}</div>\n' for sheet in pages
    )
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">\n"
        f"<title>{escape_text(title)}</title>\n<style>\n{rules}"
        "html, body { margin: 0; padding: 0; }\n"
        ".sheet { overflow: hidden; break-after: page; break-inside: avoid; }\n"
        ".sheet:last-child { break-after: auto; }\n"
        ".sheet svg { display: block; }\n"
        "@media screen { body { background: #cfd6da; } .sheet { background: #fff; margin: 8mm auto; } }\n"
        f"</style>\n</head>\n<body>\n{body}</body>\n</html>\n"
    )
