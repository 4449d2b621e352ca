# SPDX-License-Identifier: GPL-3.0-or-later
"""Why a joint runs where it does, in a line."""

from __future__ import annotations

from collections.abc import Sequence

from .carry_out import Made
from .part import trail_lengths
from .trails import Trail


def reason(made: Made, trails: Sequence[Trail]) -> str:
    """A line such as ``follows crevice 4 for 1.9 of 2.3 m; parts 96 kg into 47 and 49``.

    Lengths and masses are those of the samples that the plan was made with, a part in a hundred or so off the cut's.
    """
    part = made.plan.part
    line, found = trail_lengths(part, made.sheet)
    out = []
    if line < 0.05:
        out.append("hardly meets the carved surface")
    elif not found:
        out.append(f"shows {line:.1f} m, none of it on a seam")
    else:
        order = sorted(found, key=lambda k: (-found[k], k))
        total = sum(found.values())
        first = f"follows {trails[order[0]].name} for {found[order[0]]:.1f} of {line:.1f} m"
        if len(order) > 1 and total - found[order[0]] >= 0.1:
            first += f", other seams for {total - found[order[0]]:.1f} m"
        out.append(first)
    masses = sorted((mass for mass in made.parts if mass > 0.0), reverse=True)
    shares = [f"{mass:.0f}" for mass in masses]
    out.append(f"parts {made.mass:.0f} kg into {', '.join(shares[:-1])} and {shares[-1]}" if len(shares) > 1 else "")
    return "; ".join(text for text in out if text)
