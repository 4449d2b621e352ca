# SPDX-License-Identifier: GPL-3.0-or-later
"""What the job costs: materials, labour, overhead and contingency, by line, by stage and by piece, to the cent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np

from ..job import Job
from ..mesh.mesh import FloatArray
from .mass import layer_area
from .needs import Need
from .order import order_lines, to_cent
from .prices import PriceList
from .takeoff import TakeoffLine

LABOUR: Final = "labour"
"""Item of a price list that prices an hour; ``labour: STAGE`` prices that stage alone."""

_OVERHEAD: Final = "overhead"
_CONTINGENCY: Final = "contingency"


@dataclass(frozen=True)
class CostSheet:
    """A job's costs; amounts are exact decimals, rounded line by line, so that what is shown adds up.

    Attributes
    ----------
    currency : as the price list names it; may be empty.
    lines : materials, labour, overhead, contingency; those without a price have no cost.
    total : sum of the lines' costs; None without a price list.
    stages : stage -> cost, in the order in which work goes; adds up to the total.
    pieces : for each piece stage -> cost; adds up to the stages.
    unpriced : items without a price, which the total leaves out.
    unused : items of the price list that the job does not need.
    """

    currency: str
    lines: tuple[TakeoffLine, ...]
    total: Decimal | None
    stages: Mapping[str, Decimal]
    pieces: tuple[Mapping[str, Decimal], ...]
    unpriced: tuple[str, ...] = ()
    unused: tuple[str, ...] = ()


def cost_sheet(
    job: Job,
    whole: Sequence[Need],
    needs: Sequence[Sequence[Need]],
    areas: Sequence[Sequence[float]],
    prices: PriceList | None = None,
) -> CostSheet:
    """Add up a job.

    Parameters
    ----------
    job : its ``cost`` table is read: labour, overhead, contingency.
    whole : what the whole job needs; of an item that is more than its pieces hold, such as the foam that the gap takes,
        the cost is shared out by what they do hold.
    needs : of each piece.
    areas : (4,) of each piece, square metres by class that are covered; labour goes by them.
    prices : the user's own list, or None: quantities alone.

    Raises
    ------
    InputError
        The list sells something by a measure that it cannot be reckoned in.
    """
    lines = list(order_lines(whole, prices))
    weights = [_weights(need, needs) for need in whole]
    for stage, hours in _labour(job, areas):
        lines.append(_labour_line(stage, hours, prices))
        weights.append(hours)
    costs = [None if line.cost is None else Decimal(str(line.cost)) for line in lines]
    subtotal = sum((cost for cost in costs if cost is not None), Decimal(0))
    if prices is not None:
        for name, share, base in (
            (_OVERHEAD, job.cost.overhead, "materials and labour"),
            (_CONTINGENCY, job.cost.contingency, "materials, labour and overhead"),
        ):
            if share > 0.0:
                amount = to_cent(subtotal * Decimal(str(share)))
                basis = f"{100.0 * share:.4g} % of {base}"
                lines.append(TakeoffLine(name, basis, share, "share", 0.0, share, float(subtotal), float(amount), name))
                parts = [
                    _shared_out(cost, weight) for cost, weight in zip(costs, weights, strict=True) if cost is not None
                ]
                weights.append(np.array([float(sum(part[k] for part in parts)) for k in range(len(needs))]))
                costs.append(amount)
                subtotal += amount
    stages: dict[str, Decimal] = {}
    pieces: list[dict[str, Decimal]] = [{} for _ in needs]
    for line, cost, weight in zip(lines, costs, weights, strict=True):
        if cost is None:
            continue
        stages[line.stage] = stages.get(line.stage, Decimal(0)) + cost
        for piece, part in zip(pieces, _shared_out(cost, weight), strict=True):
            piece[line.stage] = piece.get(line.stage, Decimal(0)) + part
    wanted = {line.item.casefold() for line in lines} | {LABOUR}
    return CostSheet(
        "" if prices is None else prices.currency,
        tuple(lines),
        None if prices is None else subtotal,
        stages,
        tuple(pieces),
        tuple(line.item for line in lines if line.cost is None) if prices is not None else (),
        tuple(row.item for key, row in prices.rows.items() if key not in wanted) if prices is not None else (),
    )


def _weights(need: Need, pieces: Sequence[Sequence[Need]]) -> FloatArray:
    """How much of an item each piece needs, in the item's first measure."""
    unit = next(iter(need.measures))
    return np.array([sum(n.measures[unit] for n in own if n.item == need.item) for own in pieces])


def _labour(job: Job, areas: Sequence[Sequence[float]]) -> list[tuple[str, FloatArray]]:
    """Hours of each piece by stage."""
    found: dict[str, FloatArray] = {}
    for row in job.cost.labour:
        hours = np.array([row.hours * layer_area(own, row.faces) for own in areas])
        found[row.stage] = found[row.stage] + hours if row.stage in found else hours
    return list(found.items())


def _labour_line(stage: str, hours: FloatArray, prices: PriceList | None) -> TakeoffLine:
    total = float(hours.sum())
    item = f"{LABOUR}: {stage}"
    row = None if prices is None else prices.get(item) or prices.get(LABOUR)
    rate = None
    if row is not None and row.price is not None:
        rate = row.price / Decimal(str(row.contents))
    # Hours as they are shown, so that hours times rate is the cost on the page.
    shown = round(total, 2)
    return TakeoffLine(
        item,
        "hours a square metre of the job's own table, by area covered",
        total,
        "h",
        0.0,
        shown,
        None if rate is None else float(rate),
        None if rate is None else float(to_cent(rate * Decimal(str(shown)))),
        stage,
    )


def _shared_out(cost: Decimal, weights: FloatArray) -> list[Decimal]:
    """Whole cents in proportion to weights that add up to the cost: what is left goes to the largest remainders."""
    count = len(weights)
    if count == 0:
        return []
    total = float(weights.sum())
    shares = weights / total if total > 0.0 else np.full(count, 1.0 / count)
    cents = int(cost * 100)
    exact = shares * cents
    whole = np.floor(exact).astype(np.int64)
    order = np.argsort(-(exact - whole), kind="stable")
    whole[order[: cents - int(whole.sum())]] += 1
    return [Decimal(value) / 100 for value in whole.tolist()]
