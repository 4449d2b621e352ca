# SPDX-License-Identifier: GPL-3.0-or-later
"""Section of the page about the block-up: billets, courses from above, sections, glue."""

from __future__ import annotations

import math

from .blockup_drawings import course_plan, plan_scale, section_drawing
from .page_parts import Column, Markup, facts, number, section, table
from .record import JobResult
from .views import figure

_COVER = "one maker prints 8 to 12 m\u00b2 for a can of 800 ml; the data sheet of the one in hand decides"


def blockup_section(result: JobResult) -> Markup:
    """The block-up; nothing where nothing is known of it."""
    plan = result.blockup
    if plan is None:
        return Markup("")
    job = result.job
    length, width, height = plan.layout.billet
    whole = sum(billet.whole for billet in plan.billets)
    x, y, z = plan.layout.to_job([plan.layout.corner(plan.billets[0].cell)])[0].tolist()
    pairs = [
        (
            "Billets to buy" if plan.built == "planned" else "Billets, as packed",
            str(plan.bought),
            f"at least {plan.fewest_here} at this position, {plan.fewest} at any",
        ),
        ("Places in the stack", str(len(plan.billets)), f"{whole} whole, {len(plan.billets) - whole} part billets"),
        (
            "Glue line",
            f"{plan.glue_area:.1f} m\u00b2",
            f"{plan.cans(job.blockup.can_covers)} cans at {job.blockup.can_covers:.4g} m\u00b2 each",
        ),
    ]
    said = (
        f"Billets of {length:.3f} x {width:.3f} x {height:.3f} m; a whole one in the place of {plan.billets[0].mark} "
        f"has its lowest corner at ({x:.3f}, {y:.3f}, {z:.3f}) m, turned {math.degrees(plan.layout.rotation):.1f} "
        "degrees about z."
    )
    if plan.tried:
        said += f" The position is the best of {plan.tried} tried; it was not proved best."
    scale = plan_scale(plan, (182.0, 105.0))
    pictures = "".join(
        figure(drawing, drawing.title)
        for drawing in (
            *(course_plan(plan, outline, scale) for outline in result.outlines),
            *(section_drawing(plan, result.carving, axis, scale) for axis in (1, 0)),
        )
    )
    key = (
        "Blue: billets and glue lines, whole billets shaded, part billets with their sizes in metres. Full black "
        "line: the carving at a course's lower face; dashed: at its upper face. Right is the billets' length."
    )
    sheets = (
        [
            "Outlines of both faces of each course, at true size and a sheet for each billet, are in blockup/; print "
            "them at 100 % and measure the bar before use."
        ]
        if plan.built == "planned"
        else []
    )
    return section(
        "block-up",
        "Block-up",
        facts(pairs),
        said,
        Markup(f'<p class="key">{key}</p><div class="plans">{pictures}</div>\n'),
        _cutting_list(result),
        *sheets,
        f"Adhesive: {_COVER}. Keep glue some 50 to 100 mm away from where a wire will run and from the finished face "
        "(common practice, no source); hot glue smokes.",
    )


def _cutting_list(result: JobResult) -> Markup:
    """What is cut from each billet that is bought, where it is more than the billet as it is."""
    plan = result.blockup
    if plan is None or all(billet.whole for billet in plan.billets):
        return Markup("")
    columns = [
        Column("billet bought", number=True),
        Column("gives"),
        *(Column(name, "m", True) for name in ("length", "width", "height")),
        Column("from corner", "m"),
    ]
    rows = []
    for billet in sorted(plan.billets, key=lambda b: (b.cutting.billet, not b.cutting.first, b.mark)):
        if not billet.whole:
            cut = billet.cutting
            rows.append(
                [
                    str(cut.billet + 1),
                    billet.mark,
                    *(number(side, 3) for side in cut.size),
                    ", ".join(number(v, 3) for v in cut.place),
                ]
            )
    return table("Part billets and what they are cut from", columns, rows, fit=True)
