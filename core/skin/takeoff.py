# SPDX-License-Identifier: GPL-3.0-or-later
"""A line of the take-off: a material to buy, or work to do."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TakeoffLine:
    """One thing to buy, or one kind of work.

    Attributes
    ----------
    item : what it is.
    basis : how the quantity was reckoned, in words.
    net_quantity : what ends up in the work, in `unit`.
    unit : as it is sold: ``roll``, ``bag``, ``billet``; ``h`` for labour.
    waste : share added for waste and laps.
    order_quantity : what to buy, in `unit`; whole sold units.
    unit_price, cost : None where no price is known; cost is rounded to the cent.
    stage : stage of the work that it belongs to.
    """

    item: str
    basis: str
    net_quantity: float
    unit: str
    waste: float
    order_quantity: float
    unit_price: float | None = None
    cost: float | None = None
    stage: str = ""
