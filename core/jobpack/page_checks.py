# SPDX-License-Identifier: GPL-3.0-or-later
"""Sections of the page about checks: findings, and cautions with the rules that were checked."""

from __future__ import annotations

from collections.abc import Sequence

from ..findings import Finding, Severity
from ..job import Job
from .cautions import CAUTIONS, DEFER, checked_rules
from .page_parts import Column, Markup, escape, powers, section, status, table
from .record import JobResult

_COLUMNS = (Column("severity"), Column("check"), Column("where"), Column("what was found, and what to do"))

_KEY = Markup(
    '<p class="key">Key: <span class="status error">error</span> dark hatching, the job fails a limit; '
    '<span class="status warning">warning</span> light hatching, wants a look; '
    '<span class="status note">note</span> plain, informs; ok: no error and no warning.</p>\n'
)


def findings_section(result: JobResult) -> Markup:
    """Errors and warnings one by one, notes gathered by check."""
    groups = {
        severity: [f for f in result.findings if f.severity == severity]
        for severity in (Severity.ERROR, Severity.WARNING, Severity.NOTE)
    }
    if not result.findings:
        return section("findings", "Findings", "No check found anything. What was checked stands under Cautions.", _KEY)
    said = ", ".join(
        f"{len(found)} {severity.value}{'' if len(found) == 1 else 's'}" for severity, found in groups.items()
    )
    rows = [_row([f]) for severity in (Severity.ERROR, Severity.WARNING) for f in groups[severity]]
    by_check: dict[str, list[Finding]] = {}
    for finding in groups[Severity.NOTE]:
        by_check.setdefault(finding.check, []).append(finding)
    rows += [_row(found) for found in by_check.values()]
    gathered = any(len(found) > 1 for found in by_check.values())
    more = ["Notes of one check are gathered; findings.json has each."] if gathered else []
    return section("findings", "Findings", f"{said}.", table("Findings", _COLUMNS, rows), *more, _KEY)


def _row(found: Sequence[Finding]) -> list[str]:
    first = found[0]
    message = first.message if len(found) == 1 else f"{_spread(found)} For example: {first.message}"
    words = escape(powers(message))
    if len(found) == 1 and first.where is not None:
        place = ", ".join(f"{v:.2f}" for v in first.where)
        words = Markup(f'{words} <span class="place">At {place} m.</span>')
    if first.remedy:
        words = Markup(f'{words} <span class="remedy">{escape(powers(first.remedy))}</span>')
    return [status(first.severity.value), _unbroken(first.check), _marks(found), words]


def _unbroken(check: str) -> str:
    """Name of a check in words that stay on one line."""
    return check.replace("_", "\u00a0")


def _marks(found: Sequence[Finding]) -> str:
    """Pieces and joints concerned, each once, in order."""
    said = []
    for word, marks in (("piece", [f.piece for f in found]), ("joint", [f.joint for f in found])):
        once = list(dict.fromkeys(mark for mark in marks if mark))
        if once:
            said.append(f"{word}{'s' if len(once) > 1 else ''} {', '.join(once)}")
    return "; ".join(said) or "job"


def _spread(found: Sequence[Finding]) -> str:
    """How many, and from what to what was measured."""
    values = [f.measured for f in found if f.measured is not None]
    count = f"{len(found)} times"
    if not values:
        return f"{count}."
    unit = f" {found[0].unit}" if found[0].unit else ""
    return f"{count}, measured {min(values):.3g} to {max(values):.3g}{unit}."


def cautions_section(job: Job) -> Markup:
    """Usual cautions for the work, who decides, and which rules single pieces were checked against."""
    blocks = "".join(
        f'<div class="caution"><h3>{escape(title)}</h3><p>{escape(words)}</p></div>\n' for title, words in CAUTIONS
    )
    rules = [[_unbroken(check), powers(words)] for check, words in checked_rules(job)]
    checked = table("What each piece was checked against", (Column("check"), Column("rule")), rules)
    closing = "Passing a check means that the rule below was met with the figures of this pack, and nothing more."
    return section("cautions", "Cautions", DEFER, Markup(f'<div class="cautions">{blocks}</div>\n'), closing, checked)
