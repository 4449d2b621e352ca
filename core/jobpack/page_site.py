# SPDX-License-Identifier: GPL-3.0-or-later
"""Sections of the page for the site: key plan, build order, setting-out, cutting order, labels, sign-off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..cutting.wire import ROOM
from ..logistics.site_work import SiteWork
from ..marking.datum import tape_checks
from .drawing import OCHRE, Drawing, Layer, Line, Pen, Words, rectangle
from .labels import label_cards
from .outline import NOBODY, arcs
from .page_parts import Column, Markup, escape, number, section, table
from .record import JobResult
from .shots import viewpoints
from .views import CARVING, JOINT_LINE, OUTLINE, figure, fitting_scale, key_plan, plan_view, step_pictures

_SIDES = ("-y", "+y", "-x", "+x")


def key_plan_section(result: JobResult) -> Markup:
    """From above and from four sides, with numbers and joint letters."""
    return section(
        "key-plan",
        "Key plan",
        "Numbers of pieces stand on the pieces, letters of joints on their lines. x, y and z are those of the job; "
        "z is up.",
        Markup(f'<div class="plans">{key_plan(result, "from above", (178.0, 82.0))}'),
        Markup("".join(key_plan(result, name, (178.0, 32.0)) for name in _SIDES) + "</div>\n"),
    )


def build_section(result: JobResult, site: SiteWork) -> Markup:
    """Build order with a picture of each step, and dismantling."""
    names = [p.mark for p in result.pieces]
    columns = [
        Column("step", number=True),
        Column("piece"),
        Column("comes"),
        Column("rests on"),
        Column("closes joints"),
        Column("mass", "kg", True),
        Column("crew", "people", True),
        Column("loaded as", number=True),
    ]
    rows = [
        [
            str(k + 1),
            names[step.piece],
            step.comes + (" (hold up until its support is there)" if step.piece in site.propped else ""),
            ", ".join(names[p] for p in step.rests_on) or "floor",
            " ".join(result.joints[j].mark for j in step.meets) or "\u2013",
            number(result.pieces[step.piece].figures.finished_mass, 1),
            str(result.pieces[step.piece].figures.crew or f"over {result.job.limits.crew}"),
            str(site.load_place[step.piece] or "\u2013"),
        ]
        for k, step in enumerate(site.build)
    ]
    parts: list[str] = ["No order was found."] if not rows else [table("Build order", columns, rows)]
    if len(site.build) < len(result.pieces):
        left = [names[k] for k in range(len(names)) if site.build_place[k] == 0]
        parts.append(f"No straight way in was found for {', '.join(left)}; see the findings.")
    pictures = "".join(step_pictures(result))
    parts.append(Markup(f'<div class="steps">{pictures}</div>\n'))
    parts += [
        "Each piece was checked to come in by one straight move, past all that stands by then, what stood there before "
        "and the floor, on its bare foam and to a millionth of a metre; the gap leaves room for the skin on joints. "
        "Shaded: the piece that comes; the arrow shows its way where that is seen. What must be kept clear stands "
        "there already and is not drawn.",
        "Dismantling is the reverse: the last piece leaves first, by the way that it came; see Packing.",
    ]
    return section("build-order", "Build order", *parts)


def setting_out_section(result: JobResult, site: SiteWork) -> Markup:
    """Datum marks and their fit, the plan of points, laser lines, and the points of each joint."""
    parts: list[str] = [_datum_words(site), _datum_table(site), _setting_plan(result, site)]
    checks = [[a, b, number(d, 3)] for a, b, d in tape_checks(site.datum, site.fit)]
    half = -(-len(checks) // 2)
    columns = (Column("from"), Column("to"), Column("straight", "m", True))
    halves = [
        table(f"Check tapes between datum marks{more}", columns, part)
        for more, part in (("", checks[:half]), (", continued", checks[half:]))
        if part
    ]
    parts.append(Markup(f'<div class="columns">{"".join(halves)}</div>\n'))
    parts += [_laser_table(result, site)]
    parts.append(Markup(f'<div class="columns">{"".join(_joint_tables(result, site))}</div>\n'))
    worst = max((s.worst for s in site.settings), default=0.0)
    parts.append(
        "Height is over the floor. Held tape: straight from the mark to the point, with no foam between as scanned. "
        "Held level: the tape is held level, over the top of the foam where that stands between, and mark and point "
        "are plumbed up to it. "
        f"With each tape and height off by 2 mm a joint lands {worst * 1000.0:.1f} mm wrong at most by these rows. "
        "Lines are the middle of the joint, before the gap."
    )
    return section("setting-out", "Setting-out", *parts)


def _datum_words(site: SiteWork) -> str:
    if not site.measured:
        return (
            "No datum marks were measured. The marks below are proposed: F on the floor, C on the carving, at places "
            "of the scan. Set out from them only after three or more were measured on site and fitted."
        )
    return (
        f"The scan was fitted to {len(site.datum)} measured marks without scaling; it misses them by "
        f"{site.fit.rms * 1000.0:.1f} mm (root mean square). Distances below are those on site."
    )


def _datum_table(site: SiteWork) -> Markup:
    columns = [
        Column("mark"),
        Column("on"),
        *(Column(f"scan {axis}", "m", True) for axis in "xyz"),
        *((Column(f"site {axis}", "m", True) for axis in "xyz") if site.measured else ()),
        *((Column("misses by", "mm", True),) if site.measured else ()),
    ]
    rows = []
    for k, mark in enumerate(site.datum):
        row = [mark.name, "floor" if mark.on_floor else "carving", *(number(v, 3) for v in mark.scan)]
        if site.measured and mark.site is not None:
            row += [*(number(v, 3) for v in mark.site), number(float(site.fit.residuals[k]) * 1000.0, 1)]
        rows.append(row)
    return table("Datum marks", columns, rows, fit=True)


def _setting_plan(result: JobResult, site: SiteWork) -> Markup:
    """Plan of datum marks, laser points and joint lines."""
    # The carving's own outline, faint, so that the eye finds its place.
    lines = [Line(arc.points, CARVING) for arc in arcs(plan_view(result, "from above")) if arc.one == NOBODY]
    words = []
    everything = [np.array([m.scan[:2] for m in site.datum]).reshape(-1, 2)]
    taken = [np.array(mark.scan[:2]) for mark in site.datum]
    for record in result.joints:
        for line in record.lines:
            shown = line.points[:: max(1, len(line.points) // 200)]
            lines.append(Line(np.vstack([shown, line.points[-1:]])[:, :2], JOINT_LINE))
        if record.lines:
            # Where the letter stands clear of marks and of other letters.
            places = np.concatenate([line.points for line in record.lines])[:, :2]
            places = places[:: max(1, len(places) // 200)]
            room = np.min([np.linalg.norm(places - other, axis=1) for other in taken], axis=0) if taken else np.zeros(1)
            taken.append(places[int(np.argmax(room))])
            x, y = taken[-1].tolist()
            words.append(Words((x, y), record.mark, 3.4, "middle", up=-1.2, color=OCHRE, bold=True, halo=True))
    for s in site.settings:
        if s.where == "laser":
            everything.append(s.point[None, :2])
    points = np.vstack(everything)
    size = np.ptp(points, axis=0) if len(points) else np.ones(2)
    scale = fitting_scale(float(size[0]), float(size[1]), (168.0, 110.0))
    arm = 1.6 * scale / 1000.0
    for mark in site.datum:
        x, y = mark.scan[:2]
        lines += [Line([[x - arm, y], [x + arm, y]], OUTLINE), Line([[x, y - arm], [x, y + arm]], OUTLINE)]
        words.append(Words((x, y), mark.name, 2.8, "left", up=1.2, halo=True))
    for s in site.settings:
        if s.where == "laser":
            x, y = s.point[:2].tolist()
            lines.append(rectangle((x - arm / 2, y - arm / 2), (x + arm / 2, y + arm / 2), Pen(0.35, OCHRE)))
            words.append(Words((x, y), result.joints[s.joint].mark, 2.4, "left", up=-3.0, color=OCHRE, halo=True))
    title = "From above: datum marks (crosses), joint lines with letters, laser points (squares); faint: outline"
    return figure(Drawing(title, (Layer("plan", tuple(lines), tuple(words)),), scale), title)


def _laser_table(result: JobResult, site: SiteWork) -> Markup:
    rows = []
    for laser in site.lasers:
        mark = result.joints[laser.joint].mark
        if laser.level:
            rows.append(
                [mark, "level line, or too near to level for a line on the floor: use the heights of its points"]
            )
            continue
        lean = float(np.rad2deg(laser.tilt))
        if lean < 0.05:
            how = "plumb"
        else:
            x, y = laser.towards.tolist()
            axis = 0 if abs(x) >= abs(y) else 1
            side = f"{'+' if laser.towards[axis] > 0 else '-'}{'xy'[axis]}"
            how = f"{lean:.1f} degrees off plumb, its top leaning towards {side}"
        rows.append([mark, f"through its two laser points on the floor, {how}"])
    if not rows:
        return Markup("")
    return table("Laser lines of flat joints", (Column("joint"), Column("set-up")), rows)


def _joint_tables(result: JobResult, site: SiteWork) -> list[Markup]:
    columns = [
        Column("point", number=True),
        Column("where"),
        Column("height", "m", True),
        Column("from"),
        Column("tape", "m", True),
        Column("and from"),
        Column("tape", "m", True),
        Column("held"),
    ]
    out = []
    for j, record in enumerate(result.joints):
        rows = [
            [
                str(s.number),
                s.where,
                number(s.height, 3),
                site.datum[s.marks[0]].name,
                number(s.distances[0], 3),
                site.datum[s.marks[1]].name,
                number(s.distances[1], 3),
                s.way,
            ]
            for s in site.settings
            if s.joint == j
        ]
        if rows:
            out.append(table(f"Joint {record.mark} ({record.joint.kind})", columns, rows, fit=True, cards=False))
    return out


def cutting_section(result: JobResult, site: SiteWork) -> Markup:
    """Cutting order: tool, entry, what comes free, what to prop."""
    names = [p.mark for p in result.pieces]
    columns = [
        Column("cut", number=True),
        Column("joint"),
        Column("tool"),
        Column("wire in foam", "m", True),
        Column("enters"),
        Column("comes free, as bare foam"),
        Column("prop"),
    ]
    rows = []
    for k, step in enumerate(site.cuts):
        # A joint through one limb may leave a part in one, only opened.
        free = "; ".join(f"{_pieces(part.pieces, names)}: {part.mass:.1f} kg" for part in step.parts[:-1])
        props = [f"{_pieces(part.pieces, names)}: {part.prop}" for part in step.parts if part.prop]
        rows.append(
            [
                str(k + 1),
                result.joints[step.joint].mark,
                step.tool,
                number(step.wire.stretch, 2),
                step.entry,
                free or f"nothing: {_pieces(step.parts[0].pieces, names)} opened, in one still",
                "; ".join(props) or "stands by itself",
            ]
        )
    if not rows:
        return section("cutting-order", "Cutting order", "There is nothing to cut.")
    limit = result.job.limits.wire_length
    return section(
        "cutting-order",
        "Cutting order",
        table("Cuts in order", columns, rows),
        f"A hot wire where at most {limit:.2f} m of it are in foam at once and its ends come out of the foam, else a "
        f"saw; air of less than {ROOM * 1000.0:.0f} mm between foam and foam counts as foam. A part whose centre of "
        "mass lies less than 50 mm inside its footing is to be propped (both common practice, no source); whether a "
        "prop holds is for a competent person to say. Profile joints have templates beside this page, in templates/. "
        "Fumes, a glue film in the wire's way, parts that come free: see Cautions; nobody stands under or behind what "
        "is cut.",
    )


def _pieces(parts: Sequence[int], names: Sequence[str]) -> str:
    return f"piece{'s' if len(parts) > 1 else ''} {', '.join(names[p] for p in parts)}"


def labels_section(result: JobResult, site: SiteWork) -> Markup:
    """Labels at true size."""
    if not site.marks:
        return section("labels", "Labels", "There are no hidden faces to mark.")
    height = result.job.marking.reading / 200.0 * 1000.0
    return section(
        "labels",
        "Labels",
        f"What is written on each hidden face, true size when printed at 100 %. Digits for reading from "
        f"{result.job.marking.reading:.4g} m are {height:.0f} mm high (1/200 of the distance, from memory, "
        "unverified), smaller where the face has less room; on paper 20 mm at most. Marks stand at the centre of the "
        "largest free circle; up is up. They are covered and renewed as the skin goes on.",
        label_cards(result),
    )


def sign_off_section(result: JobResult, pictures: dict[str, Markup]) -> Markup:
    """Views with and without joints for the client to sign."""
    shown = "".join(pictures[name] for name in sorted(pictures))
    body = Markup(f'<div class="pictures">{shown}</div>\n') if shown else "No pictures were made for this pack."
    lines = "".join(
        f'<div class="sign"><span>{escape(word)}</span></div>'
        for word in ("Seen and agreed (name)", "Date", "Signature")
    )
    every = () if result.seams is None else result.seams.viewpoints
    left = ", ".join(view.name for view in every[len(viewpoints(result)) :])
    return section(
        "sign-off",
        "Sign-off",
        "The carving as it will be seen, with its joints marked and without: "
        + ("from the viewpoints of the job." if every else "from the front and from behind, as no viewpoint is set.")
        + (f" Without a picture here: {left}." if left else ""),
        body,
        Markup(f'<div class="signs">{lines}</div>\n'),
    )
