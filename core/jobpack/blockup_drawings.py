# SPDX-License-Identifier: GPL-3.0-or-later
"""Drawings of a block-up: each course from above, sections, and outlines at true size to block out by."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..blockup.billets import Billet
from ..blockup.outlines import CourseOutline
from ..blockup.plan import BlockUpPlan
from ..mesh.mesh import Mesh
from ..mesh.section import cross_sections
from .drawing import (
    BLUE,
    BLUE_WASH,
    INK,
    OCHRE,
    OCHRE_WASH,
    SOFT,
    Drawing,
    Layer,
    Line,
    Pen,
    Words,
    drawing_svg,
    rectangle,
)
from .record import JobResult
from .sheets import sheets_html, whole_sheet, window
from .views import fitting_scale

FloatArray = NDArray[np.float64]

CARVED: Final = Pen(0.45, INK, (), OCHRE_WASH)
"""The carving at a course's lower face."""
UPPER: Final = Pen(0.45, INK, (3.0, 1.2))
"""The carving at a course's upper face."""
EDGE: Final = Pen(0.35, BLUE)
WHOLE: Final = Pen(0.0, BLUE, (), BLUE_WASH)
PAPER: Final = 900.0
"""Millimetres: the longest plan as a file of its own."""

_REACH: Final = 0.04
"""Metres that a true-size sheet shows beyond its billet, so that outlines run on to the next."""


def plan_scale(plan: BlockUpPlan, paper: tuple[float, float]) -> float:
    """Scale at which every course fits the paper, mm."""
    low, high = _extent(plan.billets)
    return fitting_scale(float(high[0] - low[0]), float(high[1] - low[1]), paper)


def _extent(billets: Iterable[Billet]) -> tuple[FloatArray, FloatArray]:
    rows = list(billets)
    return np.min([b.low for b in rows], axis=0), np.max([b.high for b in rows], axis=0)


def course_name(plan: BlockUpPlan, course: int) -> str:
    """Name of a course: the lowest is course 1."""
    return f"course {course - plan.courses[0] + 1}"


def course_plan(plan: BlockUpPlan, outline: CourseOutline, scale: float) -> Drawing:
    """A course from above: its billets with marks and sizes, and the carving's outline at both its faces.

    Block frame: the drawing's right is the billets' length.
    """
    billets = [billet for billet in plan.billets if billet.cell[0] == outline.course]
    wash = [rectangle(b.low[:2], b.high[:2], WHOLE) for b in billets if b.whole]
    edges = [rectangle(b.low[:2], b.high[:2], EDGE) for b in billets]
    words = []
    for b in billets:
        middle = ((b.low[0] + b.high[0]) / 2.0, (b.low[1] + b.high[1]) / 2.0)
        # Letters stand upright in narrow parts.
        narrow = b.size[0] * 1000.0 / scale < 16.0 and b.size[1] > b.size[0]
        turn = np.pi / 2.0 if narrow else 0.0
        words.append(Words(middle, b.mark, 3.4, "middle", turn, 0.4, BLUE, True))
        length, width, height = b.size
        said = "whole" if b.whole else f"{length:.2f} x {width:.2f} x {height:.2f}"
        if (b.size[1] if narrow else b.size[0]) * 1000.0 / scale > 1.25 * len(said):
            words.append(Words(middle, said, 2.2, "middle", turn, -2.8, SOFT))
    lines = [Line(loop, CARVED, True) for loop in outline.lower] + [Line(loop, UPPER, True) for loop in outline.upper]
    # All courses are drawn in one place, so that they can be laid over each other.
    low, high = _extent(plan.billets)
    frame = rectangle(low[:2].tolist(), high[:2].tolist(), Pen(0.0))
    name = course_name(plan, outline.course)
    return Drawing(
        f"{name.capitalize()} from above",
        (
            Layer("frame", (frame,)),
            Layer("whole-billets", tuple(wash)),
            Layer("carving", tuple(lines)),
            Layer("billets", tuple(edges), tuple(words)),
        ),
        scale,
    )


def section_drawing(plan: BlockUpPlan, carving: Mesh, axis: int, scale: float) -> Drawing:
    """A section along the billets (axis 1) or across them (axis 0), through the middle of the block-up."""
    low, high = _extent(plan.billets)
    level = 0.5 * float(low[axis] + high[axis])
    normal = np.zeros(3)
    normal[axis] = 1.0
    block = Mesh(plan.layout.to_block(carving.vertices), carving.triangles)
    (section,) = cross_sections(block, [level], normal)
    shown = [1 - axis, 2]
    loops = [loop[:, shown] for loop in section.loops]
    met = [b for b in plan.billets if b.low[axis] < level < b.high[axis]]
    boxes = [([b.low[k] for k in shown], [b.high[k] for k in shown], b) for b in met]
    wash = [rectangle(a, c, WHOLE) for a, c, b in boxes if b.whole]
    edges = [rectangle(a, c, EDGE) for a, c, _ in boxes]
    words = [
        Words(((a[0] + c[0]) / 2.0, (a[1] + c[1]) / 2.0), b.mark, 2.8, "middle", 0.0, -1.0, BLUE, True)
        for a, c, b in boxes
    ]
    solid = [Line(loop, CARVED, True) for loop in loops]
    way = "along" if axis == 1 else "across"
    return Drawing(
        f"Section {way} the billets",
        (
            Layer("whole-billets", tuple(wash)),
            Layer("carving", tuple(solid)),
            Layer("billets", tuple(edges), tuple(words)),
        ),
        scale,
    )


def outline_drawing(plan: BlockUpPlan, outline: CourseOutline, upper: bool) -> Drawing:
    """Outlines of one face of a course at true size; block frame.

    Bold: what the wire follows, the margin left outside the carving. Thin: the carving. Dashes: the other face, to know
    where the wire's other end is. Dots: all that the course holds, with the margin.
    """
    own, own_grown = (outline.upper, outline.upper_grown) if upper else (outline.lower, outline.lower_grown)
    other = outline.lower_grown if upper else outline.upper_grown
    billets = [b for b in plan.billets if b.cell[0] == outline.course]
    face = "upper" if upper else "lower"
    layers = (
        Layer("billets", tuple(rectangle(b.low[:2], b.high[:2], Pen(0.35, BLUE, (8.0, 2.0))) for b in billets)),
        Layer("shadow", tuple(Line(loop, Pen(0.35, OCHRE, (0.6, 1.8)), True) for loop in outline.shadow_grown)),
        Layer("other-face", tuple(Line(loop, Pen(0.25, SOFT, (5.0, 3.0)), True) for loop in other)),
        Layer("carving", tuple(Line(loop, Pen(0.2, SOFT), True) for loop in own)),
        Layer(
            "follow",
            tuple(Line(loop, Pen(0.8, INK), True) for loop in own_grown),
            tuple(_billet_words(b) for b in billets),
        ),
    )
    name = course_name(plan, outline.course)
    notes = (
        f"Bold: follow this line, {plan.margin * 1000.0:.4g} mm outside the carving (thin line). "
        "Long dashes: the other face.",
        "Dots: outside them this course holds no carving; cut upright along them where the note on the course says so.",
        f"Blue dashes: billets. Face at {outline.high if upper else outline.low:.3f} m over the block-up's origin.",
    )
    return Drawing(f"{name.capitalize()}, {face} face", layers, 1.0, notes)


def _billet_words(billet: Billet) -> Words:
    middle = ((billet.low[0] + billet.high[0]) / 2.0, (billet.low[1] + billet.high[1]) / 2.0)
    return Words(middle, billet.mark, 14.0, "middle", 0.0, -5.0, BLUE, True)


def blockup_files(result: JobResult) -> dict[str, bytes]:
    """Drawings of the block-up: path in the pack -> contents; none where nothing is known of it.

    ``blockup/course-N.svg`` and ``blockup/section-along.svg``, ``-across.svg`` at a scale; of a planned block-up also
    ``blockup/course-N-outlines.html``: for each billet both faces on a sheet of its own, at true size.
    """
    plan, files = result.blockup, {}
    if plan is None:
        return {}
    scale = plan_scale(plan, (PAPER, PAPER))
    for outline in result.outlines:
        name = course_name(plan, outline.course).replace(" ", "-")
        files[f"blockup/{name}.svg"] = drawing_svg(course_plan(plan, outline, scale)).encode()
        if plan.built == "planned":
            files[f"blockup/{name}-outlines.html"] = outline_sheets(plan, outline, result.job.title).encode()
    for axis, way in ((1, "along"), (0, "across")):
        drawing = section_drawing(plan, result.carving, axis, scale)
        files[f"blockup/section-{way}.svg"] = drawing_svg(drawing).encode()
    return files


def outline_sheets(plan: BlockUpPlan, outline: CourseOutline, title: str) -> str:
    """Both faces of a course at true size, a sheet for each billet and face that an outline comes into."""
    sheets = []
    drawings = [outline_drawing(plan, outline, upper) for upper in (False, True)]
    for billet in plan.billets:
        if billet.cell[0] != outline.course:
            continue
        low, high = np.array(billet.low[:2]) - _REACH, np.array(billet.high[:2]) + _REACH
        for drawing in drawings:
            part = window(drawing, low, high)
            if not any(layer.lines for layer in part.layers if layer.name in ("follow", "shadow")):
                continue
            marked = _corner_marks(billet)
            named = Drawing(f"{title}: {part.title}, billet {billet.mark}", (*part.layers, marked), 1.0, part.notes)
            sheets.append(whole_sheet(named))
    return sheets_html(f"{title}: outlines of {course_name(plan, outline.course)}", sheets)


def _corner_marks(billet: Billet) -> Layer:
    """Crosses at the billet's corners with its sizes, to lay the sheet onto the foam by."""
    low, high = billet.low, billet.high
    corners: Sequence[tuple[float, float]] = [(x, y) for x in (low[0], high[0]) for y in (low[1], high[1])]
    arm = 0.015
    lines = [Line([[x - arm, y], [x + arm, y]], Pen(0.3, INK)) for x, y in corners]
    lines += [Line([[x, y - arm], [x, y + arm]], Pen(0.3, INK)) for x, y in corners]
    length, width, _ = billet.size
    words = (
        Words(((low[0] + high[0]) / 2.0, low[1]), f"{length * 1000.0:.0f} mm", 6.0, "middle", 0.0, 3.0, BLUE),
        Words((low[0], (low[1] + high[1]) / 2.0), f"{width * 1000.0:.0f} mm", 6.0, "middle", np.pi / 2.0, -8.0, BLUE),
    )
    return Layer("corners", tuple(lines), words)
