# SPDX-License-Identifier: GPL-3.0-or-later
"""What is needed as it is sold: whole rolls, bags, tins, and what they cost."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal
from typing import Final

from ..errors import InputError
from .needs import Need
from .prices import PriceList
from .stock import USUAL, Stock
from .takeoff import TakeoffLine

CENT: Final = Decimal("0.01")


def order_lines(needs: Sequence[Need], prices: PriceList | None = None) -> tuple[TakeoffLine, ...]:
    """Lines of a take-off, one to a need.

    Parameters
    ----------
    needs : of the whole job.
    prices : the user's own list; it also says how things are sold. Without it, and for items that it does not have,
        `stock.USUAL` does, and there is no price.

    Raises
    ------
    InputError
        The list sells an item by a measure that it cannot be reckoned in.

    Notes
    -----
    Net and order are in sold units. Order is net with waste and laps, rounded up to whole units.
    Resin and catalyst carry the waste of their glass.
    """
    stocks = [_stock(need, prices) for need in needs]
    own = {need.item: (1.0 + stock.waste) * stock.lap for need, stock in zip(needs, stocks, strict=True)}
    return tuple(
        _line(need, stock, own[need.item] * _carried(need, own) - 1.0, prices)
        for need, stock in zip(needs, stocks, strict=True)
    )


def _stock(need: Need, prices: PriceList | None) -> Stock:
    listed = prices.get(need.item) if prices is not None else None
    return replace(USUAL[need.kind], item=need.item) if listed is None else listed


def _carried(need: Need, own: Mapping[str, float]) -> float:
    """How much more is needed because what it goes with is wasted."""
    whole = sum(amount for _, amount in need.follows)
    return sum(amount * own[item] for item, amount in need.follows) / whole if whole > 0.0 else 1.0


def sold_quantity(need: Need, stock: Stock, name: str = "price list") -> float:
    """Net amount of a need in sold units.

    Raises
    ------
    InputError
        It cannot be reckoned in what the stock holds.
    """
    if stock.coverage is not None and stock.unit != "m2" and "m2" in need.measures:
        return need.measures["m2"] * stock.coats / stock.coverage / stock.contents
    if stock.unit not in need.measures:
        known = ", ".join(need.measures)
        also = f", or give a coverage_m2 of one {stock.unit}" if "m2" in need.measures else ""
        raise InputError(f'{name}: "{need.item}" is sold by {stock.unit}, and is reckoned in {known}; write that{also}')
    return need.measures[stock.unit] / stock.contents


def round_up(quantity: float) -> float:
    """Whole units for a quantity; exactly n must not need one more by rounding."""
    return float(math.ceil(quantity * (1.0 - 1e-12)))


def _line(need: Need, stock: Stock, waste: float, prices: PriceList | None) -> TakeoffLine:
    net = sold_quantity(need, stock, prices.name if prices is not None else "price list")
    order = round_up(net * (1.0 + waste))
    basis = need.basis
    if not (stock.unit == "each" and stock.contents == 1.0):
        basis += f"; sold by the {stock.sold_as} of {stock.contents:.4g} {stock.unit}"
    if stock.coverage is not None and stock.unit != "m2":
        basis += f", {stock.coverage:.4g} m2 a {stock.unit} and coat, {stock.coats} coat{'s' * (stock.coats > 1)}"
    if stock.lap > 1.0 and stock.width is not None and stock.overlap is not None:
        basis += f", {stock.width:.4g} m wide with laps of {stock.overlap * 1000.0:.4g} mm"
    if stock.source:
        basis += f" ({stock.source})"
    price = stock.price
    cost = None if price is None else to_cent(price * Decimal(order))
    return TakeoffLine(
        need.item,
        basis,
        net,
        stock.sold_as,
        waste,
        order,
        None if price is None else float(price),
        None if cost is None else float(cost),
        need.stage,
    )


def to_cent(amount: Decimal) -> Decimal:
    """Round half up to the cent."""
    return amount.quantize(CENT, ROUND_HALF_UP)
