# SPDX-License-Identifier: GPL-3.0-or-later
"""A vector drawing at a true scale: layers of lines and words, written as SVG in millimetres of paper.

Lines are given in metres of the thing drawn, x to the right and y up; widths, dashes and letters in millimetres of
paper, so that they look the same at any scale. `scale` is the thing over its drawing: 1 is true size, 20 is 1:20.
"""

from __future__ import annotations

import html
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

INK: Final = "#1d2429"
SOFT: Final = "#5b666e"
FAINT: Final = "#aab4ba"
BLUE: Final = "#234f68"
OCHRE: Final = "#9a5b12"
BLUE_WASH: Final = "#dce6ec"
OCHRE_WASH: Final = "#f3e7d6"
"""Two hues, their washes and greys: those of the printed page. A line's kind shows by width and dash as well."""

FONT: Final = "Helvetica, Arial, 'Liberation Sans', sans-serif"

_DIGITS: Final = 3
"""Decimals of a millimetre: a thousandth, two hundred times finer than a printer's dot."""

_MARGIN: Final = 6.0
"""Millimetres of white round a drawing that is a sheet of its own."""


@dataclass(frozen=True)
class Pen:
    """How a line looks: width and dashes (on, off, ...) in mm of paper, colour, and a fill for closed lines."""

    width: float = 0.35
    color: str = INK
    dash: tuple[float, ...] = ()
    fill: str = ""


@dataclass(frozen=True, eq=False)
class Line:
    """A polyline.

    Attributes
    ----------
    points : (k, 2) metres; a copy that cannot be written to.
    pen : how it looks.
    closed : whether the last point is joined to the first.
    """

    points: FloatArray
    pen: Pen
    closed: bool

    def __init__(self, points: ArrayLike, pen: Pen = Pen(), closed: bool = False) -> None:
        rows = np.array(points, dtype=np.float64).reshape(-1, 2)
        rows.flags.writeable = False
        object.__setattr__(self, "points", rows)
        object.__setattr__(self, "pen", pen)
        object.__setattr__(self, "closed", closed)


@dataclass(frozen=True)
class Words:
    """A line of text: where (metres), letter height in mm of paper, which point is held, and its turn in radians.

    `across` is left, middle or right; `up` moves the text square to its line, in mm of paper. `halo`: paper shows round
    the letters where lines run under them.
    """

    at: tuple[float, float]
    text: str
    size: float = 3.0
    across: str = "left"
    turn: float = 0.0
    up: float = 0.0
    color: str = INK
    bold: bool = False
    halo: bool = False


@dataclass(frozen=True, eq=False)
class Layer:
    """Lines and words that belong together; drawn in the order given, words last."""

    name: str
    lines: tuple[Line, ...] = ()
    words: tuple[Words, ...] = ()


@dataclass(frozen=True, eq=False)
class Drawing:
    """Layers from the lowest up, at a scale; `notes` are lines of text under a drawing that is a sheet of its own."""

    title: str
    layers: tuple[Layer, ...]
    scale: float = 1.0
    notes: tuple[str, ...] = field(default=())

    def bounds(self) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest x and y of all lines and places of words, (2,) and (2,) metres; zeros where nothing is."""
        rows = [line.points for layer in self.layers for line in layer.lines if len(line.points)]
        rows += [np.array([word.at]) for layer in self.layers for word in layer.words]
        if not rows:
            return np.zeros(2), np.zeros(2)
        return np.min([r.min(axis=0) for r in rows], axis=0), np.max([r.max(axis=0) for r in rows], axis=0)


def escape_text(text: str) -> str:
    """Text for any place in SVG or HTML; characters that XML forbids become U+FFFD."""
    return html.escape(clean_text(text), quote=True)


def clean_text(text: str) -> str:
    """Text without characters that XML forbids; those become U+FFFD."""
    return "".join("\ufffd" if _forbidden(character) else character for character in text)


def _forbidden(character: str) -> bool:
    return unicodedata.category(character) in ("Cc", "Cs") or character in "\ufffe\uffff"


def mm(value: float) -> str:
    """Millimetres as text, without needless zeros and never ``-0``."""
    text = f"{value:.{_DIGITS}f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


@dataclass(frozen=True, eq=False)
class Place:
    """From metres of the thing to mm on the sheet: y turns over, as SVG counts it downwards."""

    corner: FloatArray
    """(2,) metres: what comes to lie at `at`."""
    at: tuple[float, float]
    """(x, y) mm from the sheet's upper left corner."""
    scale: float

    def __call__(self, points: FloatArray) -> FloatArray:
        """Places on the sheet, (k, 2) mm."""
        paper: FloatArray = (np.asarray(points).reshape(-1, 2) - self.corner) * (1000.0 / self.scale)
        return np.stack([self.at[0] + paper[:, 0], self.at[1] - paper[:, 1]], axis=1)


def path_data(places: FloatArray, closed: bool) -> str:
    """Path data of a polyline, (k, 2) mm."""
    # Adding 0 makes -0 of a rounded number plain 0.
    rounded = np.round(places, _DIGITS) + 0.0
    pairs = [f"{x:.{_DIGITS}f},{y:.{_DIGITS}f}" for x, y in rounded.tolist()]
    return f"M{' '.join(pairs)}{'Z' if closed else ''}"


def pen_attributes(pen: Pen) -> str:
    """Presentation attributes of a pen."""
    dash = f' stroke-dasharray="{" ".join(mm(d) for d in pen.dash)}"' if pen.dash else ""
    fill = escape_text(pen.fill) if pen.fill else "none"
    line = f'stroke="{escape_text(pen.color)}" stroke-width="{mm(pen.width)}"' if pen.width > 0.0 else 'stroke="none"'
    return f'fill="{fill}" {line}{dash}'


def words_svg(word: Words, place: Place) -> str:
    """A line of text as an SVG element."""
    x, y = place(np.array(word.at))[0].tolist()
    anchor = {"left": "start", "middle": "middle", "right": "end"}[word.across]
    turn = f' transform="rotate({mm(-np.degrees(word.turn))} {mm(x)} {mm(y)})"' if word.turn else ""
    weight = ' font-weight="600"' if word.bold else ""
    halo = f' stroke="#fff" stroke-width="{mm(0.35 * word.size)}" paint-order="stroke"' if word.halo else ""
    return (
        f'<text x="{mm(x)}" y="{mm(y - word.up)}" font-size="{mm(word.size)}" text-anchor="{anchor}" '
        f'fill="{escape_text(word.color)}"{weight}{halo}{turn}>{escape_text(word.text)}</text>'
    )


def layer_svg(layer: Layer, place: Place) -> str:
    """A layer as an SVG group; lines of one pen stand together in one path, in the order of their first."""
    groups: dict[Pen, list[str]] = {}
    for line in layer.lines:
        if len(line.points):
            groups.setdefault(line.pen, []).append(path_data(place(line.points), line.closed))
    paths = [f'<path d="{"".join(data)}" {pen_attributes(pen)}/>\n' for pen, data in groups.items()]
    texts = [f"{words_svg(word, place)}\n" for word in layer.words]
    return f'<g id="{escape_text(layer.name)}">\n{"".join(paths)}{"".join(texts)}</g>\n'


def svg_open(width: float, height: float, title: str) -> str:
    """Opening of a document whose user unit is one millimetre."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{mm(width)}mm" height="{mm(height)}mm" '
        f'viewBox="0 0 {mm(width)} {mm(height)}" font-family="{FONT}" stroke-linejoin="round" '
        f'fill-rule="evenodd">\n<title>{escape_text(title)}</title>\n'
    )


def words_box(word: Words, scale: float) -> tuple[FloatArray, FloatArray]:
    """About where a line of text lies, lowest and highest x and y in metres: letters are 0.6 of their height wide."""
    long = 0.6 * word.size * len(word.text)
    start = {"left": 0.0, "middle": -0.5 * long, "right": -long}[word.across]
    box = np.array([[x, y] for x in (start, start + long) for y in (word.up - 0.3 * word.size, word.up + word.size)])
    c, s = np.cos(word.turn), np.sin(word.turn)
    rows = np.array(word.at) + (box @ np.array([[c, s], [-s, c]])) * (scale / 1000.0)
    return rows.min(axis=0), rows.max(axis=0)


def scale_bar(x: float, y: float, scale: float, room: float = 80.0) -> str:
    """A bar of a round length, within `room` mm, its left end at (x, y) mm on the sheet: checks a print's scale."""
    step = 10.0 ** np.floor(np.log10(room * scale))
    length = next(step * f for f in (5.0, 2.0, 1.0) if step * f <= room * scale)
    long = length / scale
    parts = [
        f'<path d="M{mm(x + long * k / 5)},{mm(y)}h{mm(long / 5)}v1.6h{mm(-long / 5)}Z" '
        f'fill="{INK if k % 2 == 0 else "#fff"}" stroke="{INK}" stroke-width="0.2"/>\n'
        for k in range(5)
    ]
    said = f"{length / 1000.0:g} m" if length >= 1000.0 else f"{length:g} mm"
    words = f"{said} at {scale_words(scale)}: measure it on the print"
    return (
        f'<g id="scale-bar">\n{"".join(parts)}<text x="{mm(x + long + 2)}" y="{mm(y + 1.7)}" font-size="2.6" '
        f'fill="{SOFT}">{words}</text>\n</g>\n'
    )


def scale_words(scale: float) -> str:
    """Name of a scale: ``true size`` or ``1:20``."""
    return "true size" if scale == 1.0 else f"1:{scale:g}"


def drawing_svg(drawing: Drawing) -> str:
    """The whole drawing as one SVG document, as large as it needs, with title, notes and scale bar.

    Same drawing, same bytes.
    """
    width, height = sheet_size(drawing)
    return svg_open(width, height, drawing.title) + drawing_body(drawing) + "</svg>\n"


def sheet_size(drawing: Drawing) -> tuple[float, float]:
    """Width and height in mm of paper of a drawing that is a sheet of its own."""
    low, high = drawing.bounds()
    size = (high - low) * (1000.0 / drawing.scale)
    letters = [2.7 * len(drawing.title), *(1.45 * len(note) for note in drawing.notes), 140.0]
    width = float(max(size[0], *letters)) + 2.0 * _MARGIN
    return width, float(size[1]) + 2.0 * _MARGIN + 9.0 + 4.2 * len(drawing.notes) + 8.0


def drawing_body(drawing: Drawing) -> str:
    """What stands between the opening and the end of the document."""
    low, high = drawing.bounds()
    tall = float(high[1] - low[1]) * (1000.0 / drawing.scale)
    top = _MARGIN + 9.0
    place = Place(np.array([low[0], high[1]]), (_MARGIN, top), drawing.scale)
    title = _line(drawing.title, _MARGIN + 4.5, 5.0, INK, True)
    notes = [_line(note, top + tall + 6.0 + 4.2 * k, 2.9, SOFT, False) for k, note in enumerate(drawing.notes)]
    room = min(max(80.0, 0.25 * sheet_size(drawing)[0]), 600.0)
    bar = scale_bar(_MARGIN, top + tall + 4.5 + 4.2 * len(drawing.notes), drawing.scale, room)
    return title + "".join(layer_svg(layer, place) for layer in drawing.layers) + "".join(notes) + bar


def _line(text: str, y: float, size: float, color: str, bold: bool) -> str:
    weight = ' font-weight="600"' if bold else ""
    place = f'x="{mm(_MARGIN)}" y="{mm(y)}" font-size="{mm(size)}"'
    return f'<text {place} fill="{color}"{weight}>{escape_text(text)}</text>\n'


def rectangle(low: Sequence[float], high: Sequence[float], pen: Pen = Pen()) -> Line:
    """An upright rectangle as a closed line, corners in metres."""
    (x0, y0), (x1, y1) = low, high
    return Line([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], pen, closed=True)
