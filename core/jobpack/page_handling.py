# SPDX-License-Identifier: GPL-3.0-or-later
"""Section of the page on handling: who carries what where, how pieces stand, turning them over."""

from __future__ import annotations

import math

from ..handling.carry import ELBOW_ROOM
from ..handling.crew import LARGEST_TEAM
from ..handling.handled_checks import LEAST_TILT
from ..handling.standing import AIR, DRAG, FRICTION
from .page_parts import Column, Markup, number, section, table
from .record import JobResult


def handling_section(result: JobResult) -> Markup:
    """One row a piece; nothing where handling was not worked out."""
    known = [(piece, piece.handled) for piece in result.pieces if piece.handled is not None]
    if not known:
        return Markup("")
    drawn = result.site is not None  # on each piece's own sheet
    outdoors = "outdoors" in result.job.skin.place
    columns = [
        Column("piece"),
        Column("people", number=True),
        *([] if drawn else [Column("hands at", "x y, m from its balance")]),
        Column("largest share", "kg", True),
        Column("apart", "m", True),
        Column("stands on"),
        Column("tilts before it falls", "degrees", True),
        *([Column("wind that slides it", "m/s", True), Column("that tips it", "m/s", True)] if outdoors else []),
        Column("headroom to turn over", "m", True),
        Column("far side bears", "kg", True),
    ]
    rows = []
    for piece, handled in known:
        carry, standing, turning = handled.carry, handled.standing, handled.turning
        x, y, _ = piece.figures.balance
        wind = [number(v if math.isfinite(v) else None, 1) for v in (standing.slides, standing.tips)]
        rows.append(
            [
                piece.mark,
                str(carry.people) if piece.figures.crew else f"{carry.people}, too few",
                *(
                    []
                    if drawn
                    else ["; ".join(f"{number(a - x, 2)} {number(b - y, 2)}" for a, b in carry.places.tolist())]
                ),
                number(carry.worst, 1),
                number(carry.apart if math.isfinite(carry.apart) else None, 2),
                "base" if standing.on_base else "lowest points",
                number(math.degrees(standing.tilt), 0),
                *(wind if outdoors else []),
                number(turning.headroom, 2),
                number(turning.lift, 1),
            ]
        )
    words = [
        f"People: by the published team rule up to {LARGEST_TEAM}, which has no factor for more; beyond that the "
        f"workshop's own crew and limit. Hands stand on the outline seen from above{', see each sheet' * drawn}, "
        f"{ELBOW_ROOM:.2f} m apart or more where that can be; two and three bear by balance, more as if all lifted "
        "alike.",
        f"Tilt: of the finished piece set down upright by itself; {math.degrees(LEAST_TILT):.0f} degrees are asked "
        "for. Turning over: about the longer lower side, hands at the other.",
        *(
            [
                f"Wind: half of {AIR:g} kg/m\u00b3 times drag {DRAG:g}, outline and speed squared, against friction "
                f"{FRICTION:g} or the footprint; drag and friction are assumed, gusts and lift are not in it."
            ]
            if outdoors
            else []
        ),
        "Indications from figures that were reckoned, not weighed: a competent person judges each carry and stand.",
    ]
    return section("handling", "Handling", table("Carrying, standing, turning over", columns, rows), *words)
