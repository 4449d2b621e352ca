# SPDX-License-Identifier: GPL-3.0-or-later
"""Materials and costs of a cut carving: what each piece needs, what none of them holds, and the sum."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..blockup.plan import BlockUpPlan
from ..cutting.result import Contact
from ..findings import Finding, Severity
from ..job import Job
from ..skin.cost import CostSheet, cost_sheet
from ..skin.needs import Need, adhesive_need, billets_need, foam_need, glue_need, skin_needs, touch_up_need
from ..skin.prices import PriceList
from .figures import PieceFigures


def piece_needs(figures: PieceFigures, joint_line: float, job: Job) -> tuple[Need, ...]:
    """Materials of one piece; `joint_line` is its share of the visible joint line, metres."""
    returns = figures.returns or (0.0,) * len(job.skin.layers)
    return (
        foam_need(figures.volume, job),
        adhesive_need(figures.volume, job),
        *skin_needs(figures.covered, returns, job),
        touch_up_need(joint_line),
    )


def price_job(
    figures: Sequence[PieceFigures],
    contacts: Sequence[Contact],
    volume: float,
    job: Job,
    prices: PriceList | None = None,
    blockup: BlockUpPlan | None = None,
) -> CostSheet:
    """Take-off and cost of a job.

    Parameters
    ----------
    figures : of the pieces. contacts : their indices refer to those; each piece has half of a contact's visible line.
    volume : cubic metres of the carving; pieces hold less of it, by the gap and crumbs.
    prices : the user's own list, or None.
    blockup : its billets and glue lines are what is bought; None: both are estimated by volume.

    Raises
    ------
    InputError
        The list sells something by a measure that it cannot be reckoned in.
    """
    lines = np.zeros(len(figures))
    for contact in contacts:
        lines[contact.lower] += 0.5 * contact.visible_length
        lines[contact.upper] += 0.5 * contact.visible_length
    covered = [f.covered for f in figures]
    returns = [f.returns or (0.0,) * len(job.skin.layers) for f in figures]
    if blockup is None:
        foam = (foam_need(volume, job), adhesive_need(volume, job))
    else:
        foam = (
            billets_need(blockup.bought, len(blockup.billets), job),
            glue_need(blockup.glue_area),
        )
    whole = (
        *foam,
        *skin_needs([sum(column) for column in zip(*covered, strict=True)] or [0.0] * 4, _sums(returns, job), job),
        touch_up_need(float(lines.sum())),
    )
    needs = [piece_needs(f, float(line), job) for f, line in zip(figures, lines, strict=True)]
    return cost_sheet(job, whole, needs, covered, prices)


def _sums(returns: Sequence[Sequence[float]], job: Job) -> list[float]:
    return [sum(own[k] for own in returns) for k in range(len(job.skin.layers))]


def check_prices(sheet: CostSheet, prices: PriceList | None) -> list[Finding]:
    """Items without a price (a warning: the total leaves them out), and prices that nothing asks for (a note)."""
    if prices is None:
        return []
    found = []
    if sheet.unpriced:
        found.append(
            Finding(
                "prices",
                Severity.WARNING,
                f"{prices.name} has no price for {', '.join(sheet.unpriced)}: the total leaves "
                f"{'it' if len(sheet.unpriced) == 1 else 'them'} out.",
                "Add a row with each name as it stands here.",
            )
        )
    if sheet.unused:
        found.append(
            Finding(
                "prices",
                Severity.NOTE,
                f"{prices.name} prices what this job does not need: {', '.join(sheet.unused)}.",
                "Nothing, or put right the name if it was meant for an item of the take-off.",
            )
        )
    return found
