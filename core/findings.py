# SPDX-License-Identifier: GPL-3.0-or-later
"""A finding: one result of a check, as a sentence with its numbers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding matters: an error fails the job, a warning wants a look, a note informs."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True)
class Finding:
    """One result of a check.

    Attributes
    ----------
    check : name of the check, such as ``piece_mass``.
    severity : how much it matters.
    message : a sentence for people, with size and place.
    remedy : what to do about it.
    piece, joint : the marks concerned; empty where none is.
    measured, limit : in `unit`; None where the check has no number.
    unit : SI symbol, empty for shares and counts.
    where : a point in job coordinates, metres, or None.
    """

    check: str
    severity: Severity
    message: str
    remedy: str = ""
    piece: str = ""
    joint: str = ""
    measured: float | None = None
    limit: float | None = None
    unit: str = ""
    where: tuple[float, float, float] | None = None


def worst(findings: Iterable[Finding]) -> str:
    """Status word of a set of findings: ``error``, ``warning`` or ``ok`` (notes do not count)."""
    found = {f.severity for f in findings}
    if Severity.ERROR in found:
        return "error"
    return "warning" if Severity.WARNING in found else "ok"
