# SPDX-License-Identifier: GPL-3.0-or-later
"""How good a plan is, as numbers and in words that a crew leader reads at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

_THROUGH: Final = 0.03
"""Metres through what is to be kept whole from which it is said: samples tell to about so much."""


@dataclass(frozen=True)
class Quality:
    """How good a plan is.

    Attributes
    ----------
    pieces : number of them. fewest, practical : see `Bounds`.
    line : metres of visible joint line. on_seam : share of it on seams. chance : share that joints laid anywhere would
        reach. planes_on_seam, planes_pieces : of the best plan of planes alone, by the samples; None: not asked.
    area : square metres of joint. heaviest, lightest : kg.
    through_kept : metres of line, visible or not, through what is to be kept whole.
    nudged, replanned : joints moved and pieces planned anew after the exact weighing.
    exact : whether line, share and area are those of the cut, and not of samples taken before it.
    """

    pieces: int
    fewest: int
    practical: int
    line: float
    on_seam: float
    chance: float
    area: float
    heaviest: float
    lightest: float
    nudged: int
    replanned: int
    through_kept: float = 0.0
    planes_on_seam: float | None = None
    planes_pieces: int | None = None
    exact: bool = False


def plan_words(quality: Quality, limit: float, complete: bool, over: Sequence[str], wished: int | None) -> str:
    """The plan in a few sentences.

    Parameters
    ----------
    limit : kg, of a piece. complete : whether the search was let run to its end.
    over : a sentence for each piece over a limit. wished : number of pieces that were asked for; None: none.
    """
    out = []
    if quality.pieces == 1 and not over:
        out.append("The carving is within the limits as one piece: no joints.")
    else:
        out += _numbers(quality, limit)
    if quality.through_kept > _THROUGH:
        out.append(
            f"For about {quality.through_kept:.1f} m they run through what is to be kept whole: no plan within the "
            "limits was found that does not."
        )
    if wished is not None and wished != quality.pieces:
        out.append(_not_so_many(quality, wished))
    if not complete:
        out.append("Stopped before the end: this is the best plan so far.")
    if over:
        out.append(f"{counted(len(over), 'piece')} over a limit. {over[0]}.")
    return " ".join(out)


def _numbers(quality: Quality, limit: float) -> list[str]:
    about = "" if quality.exact else "about "
    low, high = (f"{mass:.0f}" if mass >= 9.5 else f"{mass:.1f}" for mass in (quality.lightest, quality.heaviest))
    weigh = f"of {low} to {high} kg" if low != high else f"of {high} kg"
    out = [f"{counted(quality.pieces, 'piece')} {weigh}; a piece may weigh {limit:.4g} kg. {_fewest(quality)}"]
    if quality.line > 0.0:
        out.append(
            f"The joints show for {about}{quality.line:.1f} m, {quality.on_seam:.0%} of it along seams (cuts laid "
            f"anywhere: {quality.chance:.0%}), and have {about}{quality.area:.1f} m2 of face."
        )
    else:
        out.append(f"The joints do not show, and have {about}{quality.area:.1f} m2 of face.")
    if quality.planes_on_seam is not None:
        out.append(
            f"With flat cuts alone, planned the same way: {counted(quality.planes_pieces or 0, 'piece')} and "
            f"about {quality.planes_on_seam:.0%} along seams."
        )
    return out


def _fewest(quality: Quality) -> str:
    """What the number of pieces is held against."""
    blocks = f"ut into plain blocks it would be {quality.practical}."
    if quality.fewest <= 1:
        return f"C{blocks}"
    if quality.pieces == quality.fewest:
        return f"It cannot be done with fewer; c{blocks}"
    return f"With fewer than {quality.fewest} it cannot be done; c{blocks}"


def _not_so_many(quality: Quality, wished: int) -> str:
    """Why it is not the number that was asked for."""
    asked = f"{counted(wished, 'piece')} {'was' if wished == 1 else 'were'} asked for:"
    if wished < quality.fewest:
        return f"{asked} that is impossible within the limits of mass and height."
    if wished < quality.pieces:
        return f"{asked} {quality.pieces} is the fewest found that keep the limits; raise a limit for fewer."
    return f"{asked} no joint was found that cuts one of the {quality.pieces} again."


def counted(count: int, word: str) -> str:
    """A number with its word: ``1 piece``, ``3 pieces``."""
    return f"{count} {word}" if count == 1 else f"{count} {word}s"
