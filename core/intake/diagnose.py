# SPDX-License-Identifier: GPL-3.0-or-later
"""What is wrong with a scan: each kind of fault counted, measured and placed, in a carver's words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..errors import Progress
from ..findings import Finding, Severity
from ..mesh.mesh import IntArray, Mesh
from .cracks import find_joins
from .crumbs import Scraps, find_scraps
from .draft import BoolArray
from .fault import Fault
from .floor import Floor, find_floor
from .guess import Guess, likely_up
from .look import Look
from .loops import Hole, find_holes
from .overlap import EXACT_TO, SAMPLED, Overlap, find_overlap
from .table import EdgeTable

CRUMB: Final = 1e-3
"""Cubic metres: a body under a litre is a crumb; common practice, no source."""


@dataclass(frozen=True, eq=False)
class Diagnosis:
    """A mesh looked at.

    Attributes
    ----------
    faults : by kind, what matters most first; empty for a clean solid.
    holes : sets of open edges, widest first.
    scraps : its bodies.
    floor : a scrap of floor that was scanned along, or None.
    up : the axis that most likely points up, or None where nothing tells.
    overlap : what passes through itself; None where it was not looked for.
    """

    faults: tuple[Fault, ...]
    holes: tuple[Hole, ...]
    scraps: Scraps | None
    floor: Floor | None
    up: Guess | None
    overlap: Overlap | None

    def of(self, kind: str) -> Fault | None:
        """The faults of one kind, or None."""
        return next((fault for fault in self.faults if fault.kind == kind), None)


def diagnose(
    mesh: Mesh,
    crumb: float = CRUMB,
    overlap: bool = True,
    exact_to: int = EXACT_TO,
    sampled: int = SAMPLED,
    progress: Progress | None = None,
) -> Diagnosis:
    """Look for everything that keeps a mesh from being one carving.

    Parameters
    ----------
    mesh : metres, z up; every vertex used. Nothing is changed.
    crumb : cubic metres; a smaller loose body is a crumb.
    overlap : whether to look for surfaces that pass through each other, which takes longest.
    exact_to, sampled : triangles up to which that is done for every pair; of more, in places that hold about so many,
        and it is said.
    progress : told now and then; may raise `Cancelled`.

    Returns
    -------
    Diagnosis
        Bodies, edges, doubles, triangles without area, crumbs and floor are found exactly; the overlap as it says.
    """
    if not len(mesh.triangles):
        fault = Fault(
            "open",
            Severity.ERROR,
            "The mesh has no triangles.",
            "Give a carving with a surface.",
            0,
            0.0,
            np.zeros((0, 3)),
        )
        return Diagnosis((fault,), (), None, None, None, None)
    look = Look(mesh)
    _tell(progress, 0.0, "edges")
    a, b, c = (np.ascontiguousarray(column) for column in mesh.triangles.T)
    collapsed = (a == b) | (b == c) | (c == a)
    sound = mesh if not collapsed.any() else Mesh(mesh.vertices, mesh.triangles[~collapsed], mesh.kind[~collapsed])
    table = EdgeTable.of(sound.triangles)
    number, _ = find_joins(sound, table)
    crack = None
    if number is not None:
        # Welded, then judged: what hangs on a crack is no body of its own.
        ends = table.ends(table.open())
        joined = number[sound.triangles]
        a, b, c = joined.T
        whole = (a != b) & (b != c) & (c != a)
        collapsed[np.flatnonzero(~collapsed)[~whole]] = True
        sound = Mesh(sound.vertices, joined[whole], sound.kind[whole])
        table = EdgeTable.of(sound.triangles)
        crack = look.cracks(ends[~_among(number[ends], table.ends(table.open()), len(number))])
    _tell(progress, 0.25, "bodies")
    scraps = find_scraps(sound, crumb, table) if len(sound.triangles) else None
    holes = find_holes(mesh.vertices, table.open_edges())
    floor = find_floor(sound, table)
    up = likely_up(sound, table)
    _tell(progress, 0.4, "triangles")
    faults = [crack, look.open(holes), look.edges(table, True), look.edges(table, False)]
    faults += [look.inside_out(sound, scraps), look.double(sound), look.flat(sound, mesh, collapsed, scraps)]
    faults += [look.crumbs(scraps), look.floor(floor), look.up(up), look.nested(sound, scraps)]
    _tell(progress, 0.5, "looking for surfaces that pass through each other")
    found = None
    if overlap:
        part = None if progress is None else (lambda share, text: _tell(progress, 0.5 + 0.5 * share, text))
        found = find_overlap(sound, exact_to, sampled, part)
        faults.append(look.overlap(sound, found, scraps))
    order = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}
    told = sorted((fault for fault in faults if fault is not None), key=lambda fault: order[fault.severity])
    return Diagnosis(tuple(told), holes, scraps, floor, up, found)


def _among(edges: IntArray, others: IntArray, base: int) -> BoolArray:
    """Which edges, (k, 2), are also among some others."""
    keys = [np.sort(rows, axis=1) @ np.array([base, 1]) for rows in (edges, others)]
    return np.isin(keys[0], keys[1])


def find_twice(mesh: Mesh, crumb: float = CRUMB, progress: Progress | None = None) -> tuple[Finding, ...]:
    """What a solid counts twice: bodies within others, and surfaces that pass through each other, as findings.

    Parameters
    ----------
    mesh : closed; metres, z up. crumb, progress : as for `diagnose`.
    """
    table = EdgeTable.of(mesh.triangles)
    scraps = find_scraps(mesh, crumb, table)
    look = Look(mesh)
    faults = (look.nested(mesh, scraps), look.overlap(mesh, find_overlap(mesh, progress=progress), scraps))
    return tuple(fault.finding() for fault in faults if fault is not None)


def _tell(progress: Progress | None, share: float, text: str) -> None:
    if progress:
        progress(share, text)
