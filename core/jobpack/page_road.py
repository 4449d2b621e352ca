# SPDX-License-Identifier: GPL-3.0-or-later
"""Sections of the page for the road: the load plan, and the packing list in the order of dismantling."""

from __future__ import annotations

from ..logistics.load_plan import Stand
from ..logistics.packing import WRAP, packing_list
from ..logistics.site_work import SiteWork, leave_words
from .drawing import BLUE, INK, OCHRE, SOFT, Drawing, Layer, Line, Pen, Words, rectangle
from .page_parts import Column, Markup, number, section, table
from .record import JobResult
from .site_tables import marked_on
from .views import figure, fitting_scale


def load_section(result: JobResult, site: SiteWork) -> Markup:
    """The load space from above with the boxes in it, and the table."""
    space, plan = result.job.load_space, site.load
    parts: list[str] = []
    for load in range(1, plan.loads + 1):
        stands = [s for s in plan.stands if s.load == load]
        length, width = space.size[:2]
        scale = fitting_scale(length, width, (176.0, 80.0))
        lines = [rectangle((0.0, 0.0), (length, width), Pen(0.6, INK))]
        door = (width - space.door[0]) / 2.0
        lines.append(Line([[length, door], [length, width - door]], Pen(1.2, OCHRE)))
        words = [Words((length, width), "door", 2.8, "right", up=1.2, color=OCHRE),
                 Words((0.0, width), "front wall", 2.8, "left", up=1.2, color=SOFT)]  # fmt: skip
        for s in stands:
            low, high = (s.x, width - s.y - s.across), (s.x + s.along, width - s.y)
            lines.append(rectangle(low, high, Pen(0.3, BLUE)))
            at = ((low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0)
            words += _box_words(s, at, scale)
        centre = plan.centres[load - 1]
        lines.append(Line([[centre, 0.0], [centre, width]], Pen(0.25, OCHRE, (2.0, 1.5))))
        title = f"Load {load} from above: {plan.masses[load - 1]:.0f} kg; dashes: centre of mass"
        parts.append(figure(Drawing(title, (Layer("load", tuple(lines), tuple(words)),), scale), title))
    columns = [
        Column("goes in as", number=True),
        Column("piece"),
        Column("from front wall", "m", True),
        Column("from left wall", "m", True),
        Column("along", "m", True),
        Column("across", "m", True),
        Column("height", "m", True),
        Column("mass", "kg", True),
        Column("built as", number=True),
    ]
    piece_at = {p.mark: k for k, p in enumerate(result.pieces)}
    rows = [
        [
            f"{s.place}" if plan.loads < 2 else f"{s.load}.{s.place}",
            s.mark,
            *(number(v, 2) for v in (s.x, s.y, s.along, s.across, s.height)),
            number(s.mass, 1),
            str(site.build_place[piece_at[s.mark]] or "\u2013"),
        ]
        for s in plan.stands
    ]
    if rows:
        parts.append(table("Loading, in the order of going in", columns, rows))
    if plan.left_out:
        parts.append(f"Not in any load: {', '.join(plan.left_out)}; see the findings.")
    said = "Every load comes out in build order. " if plan.reverse else "This load does not come out in build order. "
    parts.append(
        f"{said}Boxes of the finished pieces stand upright side by side, none on another. Axle loads, blocking and "
        "lashing were not worked out: the driver and a competent person decide."
    )
    return section("loading", "Loading", *parts)


def _box_words(stand: Stand, at: tuple[float, float], scale: float) -> list[Words]:
    """Number, place and mass on a box seen from above: one under the other, or in a row where the box is low."""
    wide, tall = (side * 1000.0 / scale for side in (stand.along, stand.across))
    place, mass = f"in as {stand.place}", f"{stand.mass:.0f} kg"
    if tall < 9.0 and wide > 18.0:
        left, right = ((at[0] + (part - 0.2 * wide) * scale / 1000.0, at[1]) for part in (0.0, 0.8))
        return [
            Words(left, stand.mark, 3.4, "right", up=-1.2, bold=True, halo=True),
            Words(right, f"{place}, {mass}", 2.0, "left", up=-0.8, color=SOFT, halo=True),
        ]
    small = 2.2 if wide > 8.0 else 1.7
    return [
        Words(at, stand.mark, min(4.0, 0.55 * wide), "middle", up=0.8, bold=True, halo=True),
        Words(at, place, small, "middle", up=-2.2, color=SOFT, halo=True),
        Words(at, mass, small, "middle", up=-4.8, color=SOFT, halo=True),
    ]


def packing_section(result: JobResult, site: SiteWork) -> Markup:
    """Dismantling: the build order backwards, and all that a loader asks of each piece."""
    names = [p.mark for p in result.pieces]
    lines = packing_list(site, names, [p.figures.box for p in result.pieces])
    if not lines:
        return section("packing", "Packing", "No build order was found, so none for dismantling.")
    marks = marked_on(result)
    several = site.load.loads > 1
    columns = [
        Column("off", number=True),
        Column("piece"),
        Column("leaves"),
        Column("parts joints"),
        Column("mass", "kg", True),
        Column("crew", "people", True),
        Column("wrapped", "m", True),
        Column("number stands on"),
        Column("goes in as", number=True),
        Column("behind"),
        Column("beside"),
        Column("waits for"),
        Column("in"),
    ]
    rows = []
    for line in lines:
        piece = result.pieces[line.piece]
        rows.append(
            [
                str(line.off),
                piece.mark,
                leave_words(line.way_out),
                _list([result.joints[j].mark for j in line.opens], " "),
                number(piece.figures.finished_mass, 1),
                str(piece.figures.crew or f"over {result.job.limits.crew}"),
                " x ".join(number(side, 2) for side in line.wrapped),
                marks[line.piece] or "no hidden face",
                (f"{line.load}.{line.place}" if several else f"{line.place}") if line.place else "no load",
                (_list([names[k] for k in line.before]) if line.before else "front wall") if line.place else "\u2013",
                _list([names[k] for k in line.beside]),
                _list([names[k] for k in line.waits]),
                Markup('<i class="tick"></i>'),
            ]
        )
    total = ["all", "", "", "", number(sum(result.pieces[line.piece].figures.finished_mass for line in lines), 1)]
    held = ", ".join(names[k] for k in site.propped)
    return section(
        "packing",
        "Packing",
        "Dismantling, the build order backwards, and what each piece needs on the road.",
        table("Packing list, in the order of coming off", columns, rows, [*total, *[""] * 8]),
        f"Wrapped: the handling box and {WRAP * 1000.0:.0f} mm of blanket on each side; the load plan leaves "
        f"{2.0 * WRAP * 1000.0:.0f} mm between boxes. Behind: what stands next to it towards the front wall. "
        "Waits for: what goes in ahead of it but comes off later; set it down on the floor, on its base, until then.",
        *([f"Held up in building, and to be held up again before what they rest on leaves: {held}."] if held else []),
        "Masses are reckoned, not weighed: write the mass weighed on each piece before it is carried. Check that every "
        "number can still be read, and renew it where it cannot. One person leads each lift; nobody stands under or "
        "behind a piece that comes free.",
    )


def _list(names: list[str], between: str = ", ") -> str:
    return between.join(names) or "\u2013"
