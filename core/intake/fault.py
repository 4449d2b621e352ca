# SPDX-License-Identifier: GPL-3.0-or-later
"""One kind of fault of a scan: how many there are, how large, where, and what helps."""

from __future__ import annotations

from dataclasses import dataclass

from ..findings import Finding, Severity
from ..mesh.mesh import FloatArray


@dataclass(frozen=True, eq=False)
class Fault:
    """All faults of one kind.

    Attributes
    ----------
    kind : ``crack``, ``open``, ``non_manifold``, ``misoriented``, ``inside_out``, ``double``, ``no_area``, ``crumb``,
        ``overlap``, ``nested``, ``floor`` or ``up``.
    severity : error where it keeps the carving from being a solid, or else a warning or note.
    message, remedy : sentences.
    count : how many there are.
    size : metres across the largest; 0 where it has none.
    places : (k, 3) metres, the middle of each, largest first, a thousand at most.
    """

    kind: str
    severity: Severity
    message: str
    remedy: str
    count: int
    size: float
    places: FloatArray

    def finding(self) -> Finding:
        """The same as a finding of the check ``intake``."""
        where = None
        if len(self.places):
            x, y, z = self.places[0].tolist()
            where = (x, y, z)
        return Finding("intake", self.severity, self.message, self.remedy, measured=float(self.count), where=where)
