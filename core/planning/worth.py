# SPDX-License-Identifier: GPL-3.0-or-later
"""What a plan is worth: the costs between which it weighs, all in pieces."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

_LINE: Final = (0.02, 0.9, 4.0)
"""Pieces that a metre of visible line off seams costs: where few pieces are wanted, between, where hidden joints are.
Between, a joint on no seam across a rock a metre thick, some 3 m of line, costs nearly as much as three."""

_AREA: Final = 0.06
"""Pieces that a square metre of joint costs: it has to be cut, skinned and filled. Common practice, no source."""


@dataclass(frozen=True)
class Worth:
    """Costs in pieces.

    Attributes
    ----------
    line : of a metre of visible line off seams. follow : share of that which a metre on a seam is worth: of plans that
        show as much, the one whose joints lie on seams. area : of a square metre of joint.
    small : of a piece that is next to nothing; less of one up to `light` of the limit.
    tips : of a piece that does not stand. crumb : of a body too small to be a piece.
    wire : of a joint twice as deep as the wire reaches. thin : of a square metre of joint with thin foam behind it, or
        with a glue line close behind that it does not follow.
    saw : of a joint whose wire cannot leave the foam, so that it is sawn: more than a joint on no seam, so that it is
        taken only where nothing else will do.
    floor : of a square metre of load space that a piece stands on.
    """

    line: float
    area: float = _AREA
    follow: float = 0.15
    small: float = 0.8
    light: float = 0.5
    tips: float = 0.15
    crumb: float = 0.3
    wire: float = 0.3
    saw: float = 3.0
    thin: float = 1.0
    floor: float = 0.35

    @classmethod
    def of(cls, hidden: float) -> Worth:
        """Costs by one slider: 0 few pieces, 1 well hidden joints; between, in steps of equal ratio."""
        low, middle, high = _LINE
        if hidden < 0.5:
            return cls(low * (middle / low) ** (hidden / 0.5))
        return cls(middle * (high / middle) ** ((hidden - 0.5) / 0.5))
