# SPDX-License-Identifier: GPL-3.0-or-later
"""What is wrong with a scan: each kind of fault counted, measured and placed, in a carver's words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..errors import Progress
from ..findings import Finding, Severity
from ..mesh.mesh import FloatArray, IntArray, Mesh
from ..mesh.winding import crossings
from .cracks import find_joins
from .crumbs import Scraps, find_scraps
from .doubles import double_groups
from .draft import BoolArray
from .floor import Floor, find_floor
from .guess import Guess, likely_up
from .loops import Hole, find_holes
from .overlap import EXACT_TO, SAMPLED, Overlap, find_overlap, overlap_box
from .table import EdgeTable
from .words import coordinates, count, length, place, volume

CRUMB: Final = 1e-3
"""Cubic metres: a body under a litre is a crumb; common practice, no source."""
_LISTED: Final = 1000
"""Places of one kind that are kept; the counts are of all."""
_NESTED: Final = 64
"""Closed bodies that are tried for lying within another, largest first."""


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
    look = _Look(mesh)
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
    look = _Look(mesh)
    faults = (look.nested(mesh, scraps), look.overlap(mesh, find_overlap(mesh, progress=progress), scraps))
    return tuple(fault.finding() for fault in faults if fault is not None)


def _tell(progress: Progress | None, share: float, text: str) -> None:
    if progress:
        progress(share, text)


class _Look:
    """Makes the faults of one mesh; knows the box that places are told by."""

    def __init__(self, mesh: Mesh) -> None:
        self.vertices = mesh.vertices
        self.low = np.array([column.min() for column in mesh.vertices.T])
        self.high = np.array([column.max() for column in mesh.vertices.T])

    def where(self, point: FloatArray) -> str:
        return f"{place(point, self.low, self.high)}, near {coordinates(point)}"

    def open(self, holes: tuple[Hole, ...]) -> Fault | None:
        if not holes:
            return None
        largest = holes[0]
        number = sum(len(hole.edges) for hole in holes)
        which = "" if len(holes) == 1 else ", the largest"
        text = f"{count(len(holes), 'hole')}{which} {length(largest.across)} across, {self.where(largest.middle)}"
        return Fault(
            "open",
            Severity.ERROR,
            f"{text} ({count(number, 'open edge')}).",
            "Holes up to the fill size are filled, and an open base is closed; raise fill for wider ones.",
            len(holes),
            largest.across,
            np.array([hole.middle for hole in holes[:_LISTED]]),
        )

    def cracks(self, edges: IntArray) -> Fault | None:
        if not len(edges):
            return None
        groups = find_holes(self.vertices, edges)
        first = groups[0]
        which = "" if len(groups) == 1 else "the longest "
        return Fault(
            "crack",
            Severity.ERROR,
            f"{count(len(groups), 'crack')} where the surface is not welded ({count(len(edges), 'open edge')}), "
            f"{which}{length(first.across)} across, {self.where(first.middle)}.",
            "The step weld joins them.",
            len(groups),
            first.across,
            np.array([group.middle for group in groups[:_LISTED]]),
        )

    def edges(self, table: EdgeTable, many: bool) -> Fault | None:
        rows = table.non_manifold() if many else table.misoriented()
        if not len(rows):
            return None
        ends = table.ends(rows)
        groups = find_holes(self.vertices, ends)
        first = groups[0]
        places = np.array([group.middle for group in groups[:_LISTED]])
        where = f"{self.where(first.middle)}, {length(first.across)} across"
        if many:
            text = f"At {count(len(rows), 'edge')} in {count(len(groups), 'place')} more than two triangles meet"
            remedy = "The step split parts them."
        else:
            text = (
                f"{count(len(groups), 'patch', 'patches')} of the surface face the other way than what is round them "
                f"({count(len(rows), 'edge')})"
            )
            remedy = "The step orient turns them."
        kind = "non_manifold" if many else "misoriented"
        tail = f", {where}." if len(groups) == 1 else f", the largest {where}."
        return Fault(kind, Severity.ERROR, text + tail, remedy, len(groups), first.across, places)

    def inside_out(self, mesh: Mesh, scraps: Scraps | None) -> Fault | None:
        if scraps is None:
            return None
        wrong = np.flatnonzero(scraps.closed & (scraps.volume < 0.0) & ~scraps.crumb)
        wrong = wrong[[_depth(mesh, scraps, int(row)) % 2 == 0 for row in wrong]] if len(wrong) <= _NESTED else wrong
        if not len(wrong):
            return None
        wrong = wrong[np.argsort(scraps.volume[wrong], kind="stable")]
        middle = 0.5 * (scraps.low + scraps.high)[wrong]
        across = float((scraps.high - scraps.low)[wrong[0]].max())
        return Fault(
            "inside_out",
            Severity.ERROR,
            f"{count(len(wrong), 'body is', 'bodies are')} inside out, {length(across)} long, {self.where(middle[0])}.",
            "The step orient turns them.",
            len(wrong),
            across,
            middle[:_LISTED],
        )

    def double(self, mesh: Mesh) -> Fault | None:
        rows, group = double_groups(mesh.triangles)
        if not len(rows):
            return None
        first = rows[np.searchsorted(group, np.arange(int(group[-1]) + 1))]
        corners = mesh.vertices[mesh.triangles[first]]
        places = corners.mean(axis=1)
        extra = len(rows) - len(first)
        return Fault(
            "double",
            Severity.ERROR,
            f"{count(extra, 'triangle lies', 'triangles lie')} on another with the same corners, "
            f"{self.where(places[0])}.",
            "The step doubles leaves them out.",
            extra,
            0.0,
            places[:_LISTED],
        )

    def flat(self, sound: Mesh, mesh: Mesh, collapsed: BoolArray, scraps: Scraps | None) -> Fault | None:
        flat = np.zeros(0, dtype=bool) if scraps is None else scraps.flat
        number = int(collapsed.sum()) + int(flat.sum())
        if not number:
            return None
        corners = np.concatenate([sound.vertices[sound.triangles[flat]], mesh.vertices[mesh.triangles[collapsed]]])
        places = corners.mean(axis=1)
        return Fault(
            "no_area",
            Severity.NOTE,
            f"{count(number, 'triangle has', 'triangles have')} no area, the first {self.where(places[0])}.",
            "The step doubles leaves them out where they keep the surface from closing; elsewhere they do no harm.",
            number,
            0.0,
            places[:_LISTED],
        )

    def crumbs(self, scraps: Scraps | None) -> Fault | None:
        rows = np.zeros(0, dtype=np.int64) if scraps is None else np.flatnonzero(scraps.crumb)
        if scraps is None or not len(rows):
            return None
        size = (scraps.high - scraps.low)[rows].max(axis=1)
        rows = rows[np.argsort(-size, kind="stable")]
        middle = 0.5 * (scraps.low + scraps.high)[rows]
        across = float(size.max())
        all_bodies = count(len(scraps.volume), "body", "bodies")
        which = "the largest " if len(rows) > 1 else ""
        return Fault(
            "crumb",
            Severity.WARNING,
            f"{count(len(rows), 'loose crumb')} among {all_bodies}, {which}{length(across)} long, "
            f"{self.where(middle[0])}.",
            "The step crumbs leaves them out.",
            len(rows),
            across,
            middle[:_LISTED],
        )

    def floor(self, floor: Floor | None) -> Fault | None:
        if floor is None:
            return None
        return Fault(
            "floor",
            Severity.WARNING,
            f"A scrap of floor was scanned along: {floor.area:.2f} m2, level within "
            f"{math.degrees(floor.tilt):.1f} degrees, rough by {length(floor.rough)}, {self.where(floor.point)}.",
            'Add "floor" to the steps to cut it off there.',
            1,
            math.sqrt(floor.area),
            floor.point[None],
        )

    def up(self, up: Guess | None) -> Fault | None:
        if up is None or up.word == "z":
            return None
        return Fault(
            "up",
            Severity.NOTE,
            f"Most likely {up.word} points up here, not z: {up.reason}.",
            f"Set up to the axis that {up.word} is in the file, or turn the carving.",
            1,
            0.0,
            np.zeros((0, 3)),
        )

    def nested(self, mesh: Mesh, scraps: Scraps | None) -> Fault | None:
        """Closed bodies within others that face outwards as those do."""
        if scraps is None or len(scraps.volume) < 2:
            return None
        rows = np.flatnonzero(scraps.closed & (scraps.volume > 0.0) & ~scraps.crumb)
        rows = rows[np.argsort(-scraps.volume[rows], kind="stable")][: _NESTED + 1]
        inner = [row for row in rows.tolist() if _depth(mesh, scraps, row) % 2 == 1]
        if not inner:
            return None
        middle = 0.5 * (scraps.low + scraps.high)[inner]
        twice = float(scraps.volume[inner].sum())
        return Fault(
            "nested",
            Severity.WARNING,
            f"{count(len(inner), 'body lies', 'bodies lie')} within another, {self.where(middle[0])}: "
            f"{volume(twice)} of foam count twice in volumes and masses.",
            "Take it out, or turn it inside out if it is meant as a hollow.",
            len(inner),
            float((scraps.high - scraps.low)[inner[0]].max()),
            middle,
        )

    def overlap(self, mesh: Mesh, overlap: Overlap, scraps: Scraps | None) -> Fault | None:
        if not len(overlap.pairs):
            return None
        boxes = [overlap_box(mesh, overlap, k) for k in range(min(int(overlap.place.max()) + 1, _LISTED))]
        size = np.array([float(np.linalg.norm(high - low)) for low, high in boxes])
        order = np.argsort(-size, kind="stable")
        places = np.array([0.5 * (low + high) for low, high in boxes])[order]
        number = int(overlap.place.max()) + 1
        which = "" if number == 1 else "the largest "
        how = "every pair of triangles was tested" if overlap.exact else f"tested in {overlap.share:.0%} of the places"
        two = ""
        bodies = np.zeros((0, 2), dtype=np.int64) if scraps is None else scraps.body[overlap.pairs]
        bodies = bodies if scraps is None else bodies[~scraps.crumb[bodies].any(axis=1)]
        if (bodies[:, 0] != bodies[:, 1]).any():
            two = " Where two bodies overlap, foam counts twice in volumes and masses."
        return Fault(
            "overlap",
            Severity.WARNING,
            f"The surface passes through itself in {count(number, 'place')}, {which}{length(float(size.max()))} "
            f"across, {self.where(places[0])} ({how}).{two}",
            "Small ones do no harm to a cut; otherwise mend it in the program that made it, or remesh.",
            number,
            float(size.max()),
            places,
        )


def _depth(mesh: Mesh, scraps: Scraps, row: int) -> int:
    """Within how many closed bodies a body lies, judged at its first corner."""
    around = (scraps.low <= scraps.low[row]).all(axis=1) & (scraps.high >= scraps.high[row]).all(axis=1)
    around &= scraps.closed
    around[row] = False
    if not around.any():
        return 0
    first = int(np.flatnonzero(scraps.body == row)[0])
    rest = np.flatnonzero(around[scraps.body])
    hit, _ = crossings(mesh.vertices, mesh.triangles[rest], mesh.vertices[mesh.triangles[first, 0]])
    return int((np.bincount(scraps.body[rest[hit]], minlength=1) % 2).sum())
