# SPDX-License-Identifier: GPL-3.0-or-later
"""The faults of a scan told in a carver's words, each kind from what was found of it."""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from ..findings import Severity
from ..mesh.mesh import FloatArray, IntArray, Mesh
from ..mesh.winding import crossings
from .crumbs import Scraps, to_drop
from .doubles import double_groups
from .draft import BoolArray
from .fault import Fault
from .floor import Floor
from .guess import Guess
from .loops import Hole, find_holes
from .overlap import Overlap, overlap_box
from .table import EdgeTable
from .words import coordinates, count, length, place, volume

_LISTED: Final = 1000
"""Places of one kind that are kept; the counts are of all."""
_NESTED: Final = 64
"""Closed bodies that are tried for lying within another, largest first."""


class Look:
    """Makes the faults of one mesh, or None where there is nothing of a kind; knows the box that places are told by."""

    def __init__(self, mesh: Mesh) -> None:
        self.vertices = mesh.vertices
        self.low = np.array([column.min() for column in mesh.vertices.T])
        self.high = np.array([column.max() for column in mesh.vertices.T])

    def where(self, point: FloatArray) -> str:
        """Place of a point (3,) m in words: in which part of the mesh's box, and near which coordinates."""
        return f"{place(point, self.low, self.high)}, near {coordinates(point)}"

    def open(self, holes: tuple[Hole, ...]) -> Fault | None:
        """Holes, widest first, as `find_holes` gives them."""
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
        """Open edges, (k, 2) vertices, that lie on others and are not welded to them."""
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
        """Edges where more than two triangles meet (`many`), or where two face opposite ways."""
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
        """Closed bodies, crumbs apart, that face inwards and are no hollow of another."""
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
        """Triangles on others with the same corners."""
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
        """Triangles without area: those of `mesh` that `collapsed` tells, and what is flat of the `sound` rest."""
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
        """Loose bodies under the crumb size."""
        rows = np.zeros(0, dtype=np.int64) if scraps is None else np.flatnonzero(scraps.crumb)
        if scraps is None or not len(rows):
            return None
        size = (scraps.high - scraps.low)[rows].max(axis=1)
        rows = rows[np.argsort(-size, kind="stable")]
        middle = 0.5 * (scraps.low + scraps.high)[rows]
        across = float(size.max())
        all_bodies = count(len(scraps.volume), "body", "bodies")
        which = "the largest " if len(rows) > 1 else ""
        stay = int((scraps.crumb & ~to_drop(scraps)).sum())
        remedy = "The step crumbs leaves them out."
        if stay:
            remedy = (
                f"{'They are' if stay == len(rows) else f'{stay:,} of them are'} too much of the carving to be left "
                "out; check its unit, and the crumb size."
            )
        return Fault(
            "crumb",
            Severity.WARNING,
            f"{count(len(rows), 'loose crumb')} among {all_bodies}, {which}{length(across)} long, "
            f"{self.where(middle[0])}.",
            remedy,
            len(rows),
            across,
            middle[:_LISTED],
        )

    def floor(self, floor: Floor | None) -> Fault | None:
        """A scrap of floor that was scanned along."""
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
        """An axis other than z that most likely points up."""
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
        """Places where the surface passes through itself."""
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
