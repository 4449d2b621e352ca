# SPDX-License-Identifier: GPL-3.0-or-later
"""The skin over the foam: layers, areas that they cover, mass, thickness, gap, take-off, cost."""

from .cost import CostSheet, cost_sheet
from .covering import covering_shares
from .depth import gap_width, growth, rim_depth, skin_depth
from .mass import skin_mass
from .needs import Need, skin_needs
from .order import order_lines
from .prices import PriceList, read_prices
from .returns import return_areas
from .takeoff import TakeoffLine

__all__ = [
    "CostSheet",
    "Need",
    "PriceList",
    "TakeoffLine",
    "cost_sheet",
    "covering_shares",
    "gap_width",
    "growth",
    "order_lines",
    "read_prices",
    "return_areas",
    "rim_depth",
    "skin_depth",
    "skin_mass",
    "skin_needs",
]
