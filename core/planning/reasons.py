# SPDX-License-Identifier: GPL-3.0-or-later
"""Why a joint runs where it does, in a line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from ..cutting.result import JointLine
from ..seams.sampling import visible_parts
from .carry_out import Made
from .part import trail_lengths
from .trails import Trail, paint

_HIDDEN: Final = 0.05
"""Metres of line under which a joint hardly shows."""

_WORTH_SAYING: Final = 0.1
"""Metres on further seams from which they are named beside the first."""


@dataclass(frozen=True)
class Reason:
    """What speaks for a joint.

    Attributes
    ----------
    said : a line instead of all else, for a joint that is there for another reason.
    line : metres of it that show. follows : name of each seam that it runs along, and metres, the longest first.
    mass, parts : kg of what it cuts, and of each part; with the skin on their new faces.
    exact : whether `line` and `follows` are those of the cut, and not of samples taken before it.
    """

    said: str = ""
    line: float = 0.0
    follows: tuple[tuple[str, float], ...] = ()
    mass: float = 0.0
    parts: tuple[float, ...] = ()
    exact: bool = False

    @property
    def text(self) -> str:
        """A line such as ``follows crevice 4 for 1.9 of 2.3 m; splits 96 kg into 47 and 49``."""
        if self.said:
            return self.said
        about = "" if self.exact else "about "
        if self.line < _HIDDEN:
            where = "does not show"
        elif not self.follows:
            where = f"shows for {about}{self.line:.1f} m, none of it along a seam"
        else:
            (name, long), *rest = self.follows
            where = f"follows {name} for {about}{long:.1f} of {self.line:.1f} m"
            more = sum(metres for _, metres in rest)
            if more >= _WORTH_SAYING:
                where += f" and other seams for {more:.1f} m"
        shares = [f"{mass:.0f}" for mass in sorted((mass for mass in self.parts if mass > 0.0), reverse=True)]
        if len(shares) < 2:
            return where
        return f"{where}; splits {self.mass:.0f} kg into {', '.join(shares[:-1])} and {shares[-1]}"


def reason(made: Made, trails: Sequence[Trail]) -> Reason:
    """What speaks for a joint that was planned, by the samples: a part in a hundred or so off the cut's figures."""
    line, found = trail_lengths(made.plan.part, made.sheet)
    return Reason("", line, _named(found, trails), made.mass, made.parts)


def exact_reason(of: Reason, lines: Sequence[JointLine], trails: Sequence[Trail], tolerance: float) -> Reason:
    """The same with the lengths of the joint's lines as they were cut; `tolerance`: metres from a seam."""
    if of.said:
        return of
    parts = visible_parts(lines)
    _, trail = paint(parts.point, trails, tolerance)
    found: dict[int, float] = {}
    for k, long in zip(trail.tolist(), parts.length.tolist(), strict=True):
        if k >= 0:
            found[k] = found.get(k, 0.0) + long
    return replace(of, line=float(parts.length.sum()), follows=_named(found, trails), exact=True)


def _named(found: dict[int, float], trails: Sequence[Trail]) -> tuple[tuple[str, float], ...]:
    order = sorted(found, key=lambda k: (-found[k], k))
    return tuple((trails[k].name, found[k]) for k in order)
