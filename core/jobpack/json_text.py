# SPDX-License-Identifier: GPL-3.0-or-later
"""JSON of the job pack: sorted keys, shortest numbers that read back exactly."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any, Final

from ..findings import Finding

SCHEMA_VERSION: Final = 1


def json_text(value: Any) -> str:
    """Value as JSON text with sorted keys and a newline at the end.

    Raises
    ------
    ValueError
        A number that is not finite: JSON has no word for it.
    """
    return json.dumps(value, ensure_ascii=False, allow_nan=False, indent=1, sort_keys=True) + "\n"


def finding_entry(finding: Finding) -> dict[str, Any]:
    """A finding as a plain object; `where` is [x, y, z] in metres or null."""
    return {
        "check": finding.check,
        "severity": finding.severity.value,
        "piece": finding.piece,
        "joint": finding.joint,
        "measured": finding.measured,
        "limit": finding.limit,
        "unit": finding.unit,
        "where": None if finding.where is None else [float(v) for v in finding.where],
        "message": finding.message,
        "remedy": finding.remedy,
    }


def findings_json(findings: Iterable[Finding]) -> str:
    """``findings.json``."""
    return json_text({"schema_version": SCHEMA_VERSION, "findings": [finding_entry(f) for f in findings]})
