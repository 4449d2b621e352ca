# SPDX-License-Identifier: GPL-3.0-or-later
"""A finished job in a few lines for the command line."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from .core.findings import Severity

if TYPE_CHECKING:
    from .core.jobpack.record import JobResult

MOST = 12
"""Findings that are shown; the pack has all of them."""


def count(number: int, one: str, many: str = "") -> str:
    """A number with its word, such as ``1 piece`` or ``3 pieces``."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def summary(result: JobResult, before: tuple[str, Decimal] | None = None) -> str:
    """Pieces, the heaviest, the cost and the worst findings; ends with a line break.

    Parameters
    ----------
    before : currency and total of the pack that this one replaces.
    """
    lines = [
        f"{result.job.title}: {count(len(result.pieces), 'piece')}, {count(len(result.joints), 'joint')}, "
        f"gap {result.gap * 1000.0:.3g} mm"
    ]
    if result.pieces:
        heaviest = max(result.pieces, key=lambda piece: piece.figures.finished_mass)
        lines.append(
            f"heaviest: piece {heaviest.mark}, {heaviest.figures.finished_mass:.1f} kg "
            f"(limit {result.job.limits.piece_mass:g} kg)"
        )
    if result.cost is not None and result.cost.total is not None:
        total, currency = result.cost.total, result.cost.currency
        line = f"cost: {total:.2f} {currency}".rstrip()
        if before is not None and before[0] == currency:
            line += f", {total - before[1]:+.2f} against the pack before"
        lines.append(line + (f"; without {', '.join(result.cost.unpriced)}" if result.cost.unpriced else ""))
    by_severity = {severity: [f for f in result.findings if f.severity is severity] for severity in Severity}
    lines.append("findings: " + ", ".join(count(len(found), str(word)) for word, found in by_severity.items()))
    serious = [*by_severity[Severity.ERROR], *by_severity[Severity.WARNING]]
    lines += [f"{finding.severity}: {' '.join(finding.message.split())}" for finding in serious[:MOST]]
    if len(serious) > MOST:
        lines.append(f"and {len(serious) - MOST} more in findings.json")
    return "\n".join(lines) + "\n"
