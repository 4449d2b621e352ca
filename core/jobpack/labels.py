# SPDX-License-Identifier: GPL-3.0-or-later
"""Labels at true size: for each mark on a hidden face what is written there, as large as it is written."""

from __future__ import annotations

from typing import Final

import numpy as np

from ..marking.face_marks import SMALL, FaceMark, mark_lines, renewal
from .drawing import INK, SOFT, Layer, Line, Pen, Place, Words, escape_text, layer_svg, mm, scale_bar, svg_open
from .page_parts import Markup
from .record import JobResult

WIDTH: Final = 88.0
HEIGHT: Final = 62.0
"""Millimetres of a label: two stand side by side on A4 upright."""

_GAP: Final = 4.0
_PAGE: Final = 190.0
"""Millimetres that two labels and the gap fill at most, of the 210 of A4."""

_LARGEST: Final = 20.0
"""Millimetres of the number's digits on a label; marks with larger digits are written on the foam by hand."""

_FOOT: Final = 12.0
"""Millimetres under the labels for the scale bar."""


def label_svg(result: JobResult, mark: FaceMark, at: tuple[float, float]) -> str:
    """One label as an SVG group with its upper left corner at `at`, mm."""
    names = [p.mark for p in result.pieces]
    letters = [j.mark for j in result.joints]
    figures = result.pieces[mark.piece].figures
    lines = mark_lines(mark, names, letters, figures.finished_mass, figures.crew, result.job.limits.crew)
    digits = min(mark.height * 1000.0, _LARGEST)
    # A prefix or a large number must not run over the label's edge.
    digits = min(digits, (WIDTH - 8.0) / (0.62 * max(len(lines[0]), 1)))
    small = max(0.9 * SMALL * digits, 3.0)
    # Digits stand 0.72 of their letter size high.
    y = 4.0 + 0.76 * digits
    words = [Words((0.0, 0.0), lines[0], digits, "middle", up=-y, bold=True)]
    for line in lines[1:]:
        y += small * 1.45
        size = min(small, (WIDTH - 8.0) / (0.55 * max(len(line), 1)))
        words.append(Words((0.0, 0.0), line, size, "middle", up=-y))
    covered = renewal(result.job, mark.face)
    after = f"renew after {', '.join(covered)}" if covered else "no layer covers it"
    words.append(Words((0.0, 0.0), _short(after, 62), 2.4, "middle", up=-(HEIGHT - 6.2), color=SOFT))
    told = f"written {mark.height * 1000.0:.0f} mm high, circle {2000.0 * mark.radius:.0f} mm, {_spot(mark)}"
    words.append(Words((0.0, 0.0), told, 2.4, "middle", up=-(HEIGHT - 2.8), color=SOFT))
    frame = Line([[-WIDTH / 2000.0, 0.0], [WIDTH / 2000.0, 0.0], [WIDTH / 2000.0, -HEIGHT / 1000.0],
                  [-WIDTH / 2000.0, -HEIGHT / 1000.0]], Pen(0.25, INK, (2.0, 1.0)), True)  # fmt: skip
    place = Place(np.zeros(2), (at[0] + WIDTH / 2.0, at[1]), 1.0)
    return layer_svg(Layer(f"label-{mark.piece}-{mark.joint}-{mark.other}", (frame,), tuple(words)), place)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 4].rstrip(", ") + " ..."


def _spot(mark: FaceMark) -> str:
    x, y, z = mark.centre.tolist()
    return f"centre at {x:.2f}, {y:.2f}, {z:.2f} m"


def labels_svg(result: JobResult) -> str:
    """``labels.svg``: all labels at true size, two abreast, with a bar to check the print by."""
    marks = result.site.marks if result.site is not None else ()
    rows = -(-len(marks) // 2)
    height = max(rows * (HEIGHT + _GAP) - _GAP, 0.0) + _FOOT
    width = 2.0 * WIDTH + _GAP
    title = f"{result.job.title}: labels at true size"
    body = "".join(
        label_svg(result, mark, ((k % 2) * (WIDTH + _GAP), (k // 2) * (HEIGHT + _GAP))) for k, mark in enumerate(marks)
    )
    return svg_open(width, height, title) + body + scale_bar(0.5, height - 8.0, 1.0, 100.0) + "</svg>\n"


def label_cards(result: JobResult) -> Markup:
    """All labels as parts of a page, each of which stays whole in print."""
    marks = result.site.marks if result.site is not None else ()
    cards = []
    for mark in marks:
        words = escape_text(f"Label of piece {result.pieces[mark.piece].mark}")
        body = label_svg(result, mark, (0.0, 0.0)).split(">", 1)[1].rsplit("</g>", 1)[0]
        cards.append(
            f'<svg class="label" role="img" aria-label="{words}" width="{mm(WIDTH)}mm" height="{mm(HEIGHT)}mm" '
            f'viewBox="-0.5 -0.5 {mm(WIDTH + 1.0)} {mm(HEIGHT + 1.0)}"><g>{body}</g></svg>'
        )
    return Markup(f'<div class="labels">{"".join(cards)}</div>\n')
