# SPDX-License-Identifier: GPL-3.0-or-later
"""How materials are sold: rolls, bags, tins; what one holds, and what is lost."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

MEASURES: Final = ("m2", "m", "kg", "l", "h", "each")
"""What a sold unit may hold: its contents are a number of one of these."""


@dataclass(frozen=True)
class Stock:
    """One thing as it is sold.

    Attributes
    ----------
    item : name of the take-off's item that it serves.
    sold_as : word for one sold unit, such as ``roll``.
    contents : how much one holds, in `unit`.
    unit : one of `MEASURES`.
    waste : share added for what is cut off, spilt or left in the tin.
    width, overlap : metres, of a roll; what laps is added on top of the waste. None: no laps.
    coverage : square metres that one `unit` covers in one coat; None: by the mass of the layer.
    coats : number of coats.
    price : of one sold unit; None where it is not known.
    source : where the figures come from, in words; empty for the user's own.
    """

    item: str
    sold_as: str
    contents: float
    unit: str
    waste: float = 0.0
    width: float | None = None
    overlap: float | None = None
    coverage: float | None = None
    coats: int = 1
    price: Decimal | None = None
    source: str = ""

    @property
    def lap(self) -> float:
        """What is bought for each square metre laid, laps included: width / (width - overlap)."""
        if self.width is None or self.overlap is None:
            return 1.0
        return self.width / (self.width - self.overlap)


_USUAL: Final = "common practice, no source"

USUAL: Final = {
    "billet": Stock("", "billet", 1.0, "each", source=""),
    "sheet": Stock("", "roll", 50.0, "m2", 0.0, 1.0, 0.025, source=_USUAL),
    "glass": Stock("", "roll", 30.0, "kg", 0.15, source=_USUAL),
    "resin": Stock("", "drum", 25.0, "kg", source=_USUAL),
    "catalyst": Stock("", "bottle", 1.0, "l", source=_USUAL),
    "coat": Stock("", "bag", 25.0, "kg", 0.10, source=_USUAL),
    "paint": Stock(
        "",
        "tin",
        5.0,
        "l",
        0.10,
        coverage=5.0,
        coats=2,
        source="5 m2 a litre on rough ground in two coats and 10 % "
        "over, as a trade page prints for render; size of tin: common practice, no source",
    ),
    "adhesive": Stock("", "can", 10.0, "m2", source="one 800 ml can bonds 8 to 12 m2, by a maker's data sheet"),
    "touch-up": Stock("", "kit", 10.0, "m", source=_USUAL),
}
"""What stands in for the user's own price list, by kind of material. Foil: wide roll of 1.0 x 50 m with a lap of 25 mm.
Waste of glass 15 %; resin and catalyst follow from the glass, so that waste counts once."""
