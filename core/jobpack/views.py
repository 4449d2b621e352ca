# SPDX-License-Identifier: GPL-3.0-or-later
"""Line drawings of a finished job: key plans, views of one piece with its sizes, pictures of each step."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..handling.carry import CarryPlan
from ..mesh.mesh import BASE, JOINT
from .drawing import (
    BLUE,
    BLUE_WASH,
    FAINT,
    INK,
    OCHRE,
    SOFT,
    Drawing,
    Layer,
    Line,
    Pen,
    Place,
    Words,
    escape_text,
    layer_svg,
    mm,
    scale_bar,
)
from .label_places import room
from .outline import NOBODY, Seen, arcs, look_at, patches, view_axes, without_slits
from .page_parts import Markup
from .record import JobResult, PieceRecord

FloatArray = NDArray[np.float64]

SCALES: Final = (1.0, 2.0, 5.0, 10.0, 20.0, 25.0, 50.0, 75.0, 100.0, 200.0, 500.0)
"""Scales that a rule has, ISO 5455 and 1:25, 1:75 besides (from memory, unverified)."""

OUTLINE: Final = Pen(0.5, INK)
JOINT_LINE: Final = Pen(0.35, BLUE)
CARVING: Final = Pen(0.25, FAINT)
HIDDEN: Final = Pen(0.2, FAINT)
SIZE_LINE: Final = Pen(0.18, SOFT)
NEW: Final = Pen(0.0, BLUE, (), BLUE_WASH)

FRONT_EYE: Final = np.array([0.42, -0.74, 0.52])
"""Towards the viewer in pictures of steps: from the front, a little from the right and from above."""

_PIECE_PAPER: Final = (58.0, 44.0)
"""Millimetres of a piece seen from one side: with all five its sheet stays one page."""

_SIDES_PAPER: Final = 122.0
"""Millimetres that the four sides together may take, so that with margins and sizes they stand in one row."""

_STEP_PAPER: Final = (80.0, 56.0)
"""Millimetres of a step's picture: two stand side by side on A4."""

_ARROW: Final = 14.0
"""Millimetres of an arrow that shows a way in."""

_PIECE_COLUMNS: Final = 220
_PLAN_COLUMNS: Final = 420
_STEP_COLUMNS: Final = 260


def figure(drawing: Drawing, words: str, bar: bool = True) -> Markup:
    """A drawing as part of a page, at its own scale in print, never wider than the screen."""
    low, high = drawing.bounds()
    margin, foot = 4.0, 8.0 if bar else 1.0
    size = (high - low) * (1000.0 / drawing.scale)
    width, height = float(size[0]) + 2.0 * margin, float(size[1]) + 2.0 * margin + foot
    if bar:
        width = max(width, 82.0)
    place = Place(np.array([low[0], high[1]]), (margin, margin), drawing.scale)
    body = "".join(layer_svg(layer, place) for layer in drawing.layers)
    if bar:
        body += scale_bar(margin, height - 5.0, drawing.scale, 0.3 * width)
    # Names of groups would stand on the page many times.
    body = re.sub(r'<g id="[^"]*">', "<g>", body)
    return Markup(
        f'<figure class="drawn"><svg role="img" aria-label="{escape_text(words)}" width="{mm(width)}mm" '
        f'height="{mm(height)}mm" viewBox="0 0 {mm(width)} {mm(height)}" stroke-linejoin="round" '
        f'fill-rule="evenodd">{body}</svg><figcaption>{escape_text(words)}</figcaption></figure>\n'
    )


def fitting_scale(width: float, height: float, paper: tuple[float, float]) -> float:
    """The largest scale at which metres fit into millimetres of paper."""
    need = max(width * 1000.0 / paper[0], height * 1000.0 / paper[1])
    return next((s for s in SCALES if s >= need), SCALES[-1] * np.ceil(need / SCALES[-1]))


def key_plan(result: JobResult, name: str, paper: tuple[float, float] = (182.0, 95.0)) -> Markup:
    """All pieces from one side, outlines with numbers and letters of joints."""
    seen = plan_view(result, name)
    return _plan(result, seen, fitting_scale(*_size(seen), paper), view_words(name))


def plan_view(result: JobResult, name: str) -> Seen:
    """All pieces from one side, labels by their place in the record."""
    return without_slits(look_at(_bodies(result), view_axes(name), _PLAN_COLUMNS), result.gap)


def small_plan(result: JobResult, seen: Seen, mark: str, paper: tuple[float, float]) -> Markup:
    """The key plan from above with one piece shaded; `seen` from `plan_view`."""
    return _plan(result, seen, fitting_scale(*_size(seen), paper), "Where it stands, from above", mark)


def view_words(name: str) -> str:
    """Words for a view."""
    return "From above" if name == "from above" else f"From {name}"


def _bodies(result: JobResult) -> list[tuple[FloatArray, NDArray[np.int64], NDArray[np.int64]]]:
    return [(p.mesh.vertices, p.mesh.triangles, np.full(len(p.mesh.triangles), k)) for k, p in enumerate(result.pieces)]


def _size(seen: Seen) -> tuple[float, float]:
    return seen.label.shape[1] * seen.cell, seen.label.shape[0] * seen.cell


def _plan(result: JobResult, seen: Seen, scale: float, words: str, mark: str = "") -> Markup:
    names = [p.mark for p in result.pieces]
    lines, letters = [], []
    between: dict[tuple[int, int], str] = {}
    at = {m: k for k, m in enumerate(names)}
    for c in result.contacts:
        pair = tuple(sorted((at.get(c.piece_a, -2), at.get(c.piece_b, -2))))
        between.setdefault((pair[0], pair[1]), c.mark)
    longest: dict[str, tuple[float, FloatArray]] = {}
    for arc in arcs(seen):
        outer = arc.one == NOBODY
        joint = between.get((arc.one, arc.two), "")
        lines.append(Line(arc.points, OUTLINE if outer else JOINT_LINE if joint else SIZE_LINE))
        steps = np.hypot(*np.diff(arc.points, axis=0).T)
        length = float(steps.sum())
        if joint and length > longest.get(joint, (0.0, arc.points))[0]:
            half = int(np.searchsorted(np.cumsum(steps), 0.5 * length))
            longest[joint] = (length, (arc.points[half] + arc.points[min(half + 1, len(arc.points) - 1)]) / 2.0)
    for joint, (length, place) in sorted(longest.items()):
        if length * 1000.0 / scale > 6.0:
            letters.append(
                Words(
                    (float(place[0]), float(place[1])), joint, 2.8, "middle", up=-1.0, color=OCHRE, bold=True, halo=True
                )
            )
    fills = tuple(Line(loop, NEW, True) for loop in patches(seen, at[mark])) if mark in at else ()
    numbers = tuple(
        Words(place, names[k], 4.2, "middle", up=-1.5, bold=True, halo=True)
        for k, place in _number_places(seen, len(names), scale)
    )
    layers = (Layer("shade", fills), Layer("lines", tuple(lines), tuple(letters)), Layer("numbers", (), numbers))
    return figure(Drawing(words, layers, scale), words)


def _number_places(seen: Seen, count: int, scale: float) -> list[tuple[int, tuple[float, float]]]:
    """Where each piece's number has most room, metres; pieces that show too little of themselves are left out."""
    out = []
    for k in range(count):
        rows, columns = np.nonzero(seen.label == k)
        if len(rows) == 0:
            continue
        top, left = int(rows.min()), int(columns.min())
        steps = room(seen.label[top : rows.max() + 1, left : columns.max() + 1] == k)
        best = int(steps.max())
        if best * seen.cell * 1000.0 / scale < 2.2:
            continue
        y, x = np.nonzero(steps == best)
        pick = int(np.argmin((y - y.mean()) ** 2 + (x - x.mean()) ** 2))
        place = seen.corner + (np.array([left + x[pick], top + y[pick]]) + 0.5) * seen.cell
        out.append((k, (float(place[0]), float(place[1]))))
    return out


def piece_views(result: JobResult, piece: PieceRecord) -> tuple[Markup, Markup]:
    """A piece from four sides, and from above: with its sizes, joint faces shaded and lettered, hand places ringed."""
    extent = piece.mesh.size
    # One scale for all, so that they compare.
    scale = max(
        fitting_scale(2.0 * float(extent[0] + extent[1]), float(extent[2]), (_SIDES_PAPER, _PIECE_PAPER[1])),
        fitting_scale(float(extent[0]), float(extent[2]), _PIECE_PAPER),
        fitting_scale(float(extent[1]), float(extent[2]), _PIECE_PAPER),
        fitting_scale(float(extent[0]), float(extent[1]), _PIECE_PAPER),
    )
    letters = [record.mark for record in result.joints]
    labels = np.zeros(len(piece.mesh.triangles), dtype=np.int64)
    cut = (piece.mesh.kind == JOINT) & (piece.origin == 1)
    labels[cut] = piece.source[cut] + 2
    labels[piece.mesh.kind == BASE] = 1
    body = [(piece.mesh.vertices, piece.mesh.triangles, labels)]
    views = [
        _piece_view(look_at(body, view_axes(n), _PIECE_COLUMNS), letters, scale, n, piece if n == _SIDES[-1] else None)
        for n in _SIDES
    ]
    return Markup(f'<div class="views">{"".join(views[:-1])}</div>\n'), views[-1]


_SIDES: Final = ("-y", "+x", "+y", "-x", "from above")


def _piece_view(seen: Seen, letters: Sequence[str], scale: float, name: str, held: PieceRecord | None) -> Markup:
    words = view_words(name)
    lines = [Line(a.points, OUTLINE if a.one == NOBODY else JOINT_LINE) for a in arcs(seen)]
    fills, names = [], []
    for label in np.unique(seen.label[seen.label >= 2]).tolist():
        fills += [Line(loop, NEW, True) for loop in patches(seen, label)]
        spot = _number_places(
            Seen(np.where(seen.label == label, 0, NOBODY), seen.corner, seen.cell, seen.depth), 1, scale
        )
        if spot and label - 2 < len(letters):
            names.append(Words(spot[0][1], letters[label - 2], 3.2, "middle", up=-1.1, color=BLUE, bold=True))
    rows, columns = np.nonzero(seen.label != NOBODY)
    low = seen.corner + np.array([columns.min(), rows.min()]) * seen.cell
    high = seen.corner + (np.array([columns.max(), rows.max()]) + 1.0) * seen.cell
    sizes, said = _sizes(low, high, scale)
    layers = [Layer("faces", tuple(fills)), Layer("lines", tuple(lines), tuple(names)), Layer("sizes", sizes, said)]
    if held is not None and held.handled is not None:
        layers.append(_hands(held, held.handled.carry, scale))
        words += "; rings: hands, with the share that each bears; cross: balance"
    # All five have one scale: a single bar serves.
    return figure(Drawing(words, tuple(layers), scale), words, bar=name == _SIDES[-1])


def _hands(piece: PieceRecord, carry: CarryPlan, scale: float) -> Layer:
    """Hand places seen from above, and the point over which the piece balances."""
    pen = Pen(0.4, OCHRE, (), "#fff")
    turn = np.arange(16) * (np.pi / 8.0)
    ring = np.stack((np.cos(turn), np.sin(turn)), axis=1) * (1.5 * scale / 1000.0)
    x, y, _ = piece.figures.balance
    arm = 1.5 * scale / 1000.0
    lines = [Line([[x - arm, y], [x + arm, y]], Pen(0.4, OCHRE)), Line([[x, y - arm], [x, y + arm]], Pen(0.4, OCHRE))]
    lines += [Line(place + ring, pen, True) for place in carry.places]
    words = []
    for (a, b), share in zip(carry.places.tolist(), carry.shares.tolist(), strict=True):
        # Towards the balance, where the piece itself leaves paper free.
        side, up = ("left" if a < x else "right"), -1.0
        at = (a + (2.2 if a < x else -2.2) * scale / 1000.0, b)
        words.append(Words(at, f"{share:.0f} kg", 2.6, side, up=up, color=OCHRE, halo=True))
    return Layer("hands", tuple(lines), tuple(words))


def _sizes(low: FloatArray, high: FloatArray, scale: float) -> tuple[tuple[Line, ...], tuple[Words, ...]]:
    """Size lines under and left of a box, metres."""
    away, tick = 5.0 * scale / 1000.0, 1.2 * scale / 1000.0
    (x0, y0), (x1, y1) = low, high
    y, x = y0 - away, x0 - away
    lines = [
        Line([[x0, y], [x1, y]], SIZE_LINE),
        Line([[x, y0], [x, y1]], SIZE_LINE),
        *(Line([[px, y - tick], [px, y + tick]], SIZE_LINE) for px in (x0, x1)),
        *(Line([[x - tick, py], [x + tick, py]], SIZE_LINE) for py in (y0, y1)),
    ]
    words = (
        Words(((x0 + x1) / 2.0, y), f"{x1 - x0:.2f} m", 2.6, "middle", up=0.8, color=SOFT),
        Words((x, (y0 + y1) / 2.0), f"{y1 - y0:.2f} m", 2.6, "middle", float(np.pi / 2.0), up=0.8, color=SOFT),
    )
    return tuple(lines), words


def step_pictures(result: JobResult) -> list[Markup]:
    """A picture of each step of the build order: what stands, the piece that comes (shaded), and its way in."""
    site = result.site
    if site is None or not site.build:
        return []
    back = FRONT_EYE / np.linalg.norm(FRONT_EYE)
    right = np.cross([0.0, 0.0, 1.0], back)
    right /= np.linalg.norm(right)
    axes = np.stack((right, np.cross(back, right), back), axis=1)
    bodies = _bodies(result)
    corners = np.concatenate([v @ axes for v, _, _ in bodies])[:, :2]
    box = np.array([corners.min(axis=0), corners.max(axis=0)])
    # Not to be measured from: as large as the paper allows, two abreast.
    size = (box[1] - box[0]) * 1000.0
    scale = max(float(size[0]) / (_STEP_PAPER[0] - _ARROW), float(size[1]) / (_STEP_PAPER[1] - _ARROW))
    box = box + np.array([[-0.5, -0.5], [0.5, 0.5]]) * (_ARROW * scale / 1000.0)
    views = [look_at([bodies[step.piece]], axes, _STEP_COLUMNS, box) for step in site.build]
    label = np.full(views[0].label.shape, NOBODY, dtype=np.int64)
    depth = np.full(label.shape, -np.inf)
    out = []
    for number, (step, view) in enumerate(zip(site.build, views, strict=True)):
        nearer = view.depth > depth
        label, depth = np.where(nearer, view.label, label), np.where(nearer, view.depth, depth)
        whole = without_slits(Seen(label, view.corner, view.cell, depth), result.gap)
        piece = result.pieces[step.piece]
        words = f"{number + 1}: piece {piece.mark}, {step.comes}"
        out.append(_step_picture(whole, step.piece, piece, np.array(step.way_in) @ axes, box, scale, words))
    return out


def _step_picture(
    seen: Seen, piece: int, record: PieceRecord, way: FloatArray, box: FloatArray, scale: float, words: str
) -> Markup:
    lines = [Line(a.points, OUTLINE if a.one == NOBODY else HIDDEN if piece not in (a.one, a.two) else JOINT_LINE)
             for a in arcs(seen)]  # fmt: skip
    fills = tuple(Line(loop, NEW, True) for loop in patches(seen, piece))
    spot = _number_places(Seen(np.where(seen.label == piece, 0, NOBODY), seen.corner, seen.cell, seen.depth), 1, scale)
    names = tuple(Words(place, record.mark, 4.2, "middle", up=-1.5, bold=True) for _, place in spot)
    frame = (Line([box[0], [box[1][0], box[0][1]], box[1], [box[0][0], box[1][1]]], Pen(0.0), True),)
    rows, columns = np.nonzero(seen.label == piece)
    arrow: tuple[Line, ...] = ()
    flat = float(np.hypot(way[0], way[1]))
    if len(rows) and flat > 0.15:
        centre = seen.corner + (np.array([columns.mean(), rows.mean()]) + 0.5) * seen.cell
        arrow = _arrow(centre, way[:2] / flat, _ARROW * scale / 1000.0, scale)
    layers = (Layer("frame", frame), Layer("new", fills), Layer("lines", tuple(lines), names), Layer("way", arrow))
    return figure(Drawing(words, layers, scale), words, bar=False)


def _arrow(tip: FloatArray, way: FloatArray, length: float, scale: float) -> tuple[Line, ...]:
    """An arrow that ends short of a place."""
    pen = Pen(0.7, OCHRE)
    head = 2.4 * scale / 1000.0
    tip = tip - way * 4.0 * scale / 1000.0
    side = np.array([-way[1], way[0]])
    start = tip - way * length
    return (
        Line([start, tip], pen),
        Line([tip - way * head + side * head * 0.5, tip, tip - way * head - side * head * 0.5], pen),
    )
