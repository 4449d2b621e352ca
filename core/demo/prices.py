# SPDX-License-Identifier: GPL-3.0-or-later
"""The price list of the demo: every price in it is invented, and each row says so."""

from __future__ import annotations

_PRICES = """\
item,sold_as,contents,unit,price_GBP,waste,width_m,overlap_m,coverage_m2,coats,source
foam billet,billet,1,each,148.00,,,,,,price invented
adhesive,can,10,m2,11.60,,,,,,price invented
barrier foil,roll,50,m2,63.50,0.05,1.0,0.025,,,price invented
laminate: glass,roll,30,kg,96.00,0.15,,,,,price invented
light laminate: glass,roll,30,kg,91.00,0.15,,,,,price invented
resin,drum,25,kg,118.75,,,,,,price invented
catalyst,bottle,1,l,17.20,,,,,,price invented
cement coat,bag,25,kg,23.40,0.1,,,,,price invented
paint,tin,5,l,52.30,0.1,,,5,2,price invented
touch-up,kit,10,m,19.90,,,,,,price invented
labour,hour,1,h,28.00,,,,,,price invented
"""


def demo_prices_csv() -> str:
    """Give the demo's price list as CSV text, to be read by `read_prices`."""
    return _PRICES
