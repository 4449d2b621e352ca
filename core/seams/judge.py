# SPDX-License-Identifier: GPL-3.0-or-later
"""Hold joints against the seams: how much of each visible line keeps to one, and what is wrong with the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..blockup.glue_lines import GlueRectangles
from ..cutting.joint import Joint
from ..cutting.result import Body, JointLine
from ..mesh.mesh import CARVED, JOINT, Mesh
from .glue import Sliver, glue_cut, sliver
from .index import SEAM_NAMES, SeamIndex
from .marks import KEEP_WHOLE, MAY_SHOW, MUST_HIDE, ZONE_NAMES, Viewpoint
from .near import Segments
from .sampling import LineParts, longest_run, visible_parts
from .view import seen_from

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Place = tuple[float, float, float]

OFF: Final = -1
"""Kind of a stretch that keeps to no seam."""

_BESIDE: Final = 0.002
"""Metres beyond half the gap within which the rim of a piece lies from the joint's line: zones are read from it."""


@dataclass(frozen=True)
class ContactSeams:
    """Metres of the visible line between two pieces, on a seam, seen, and seen on a seam; and the worst distance."""

    on_seam: float
    furthest: float
    seen: float
    seen_on_seam: float


@dataclass(frozen=True, eq=False)
class JointSeams:
    """How one joint keeps to the seams.

    Attributes
    ----------
    visible, on_seam : metres of visible line between two pieces, and of that on a seam.
    by_kind : metres on crevices, marked lines, glue lines: of the nearest seam.
    furthest, furthest_at : metres from the nearest seam at the worst place; inf and None where there is no seam.
    run, run_at : metres of the longest unbroken stretch off any seam, and its middle.
    judged, judged_on : as `visible` and `on_seam`, without what lies in zones that may show.
    zones : metres of visible line in each zone, by its number; zone_at : a place in each.
    hide_off : metres off any seam in zones that must hide; hide_at : a place there.
    seen, seen_on_seam : metres seen from a viewpoint; None where there is none.
    glue_cut : metres of glue that the wire meets. slab : a thin slab beside a glue line, or None.
    contacts : for each pair of pieces (below, above).
    stretches : polylines (k, 3) of the visible line and the kind of seam that each keeps to, `OFF` for none.
    """

    visible: float
    on_seam: float
    by_kind: tuple[float, ...]
    furthest: float
    furthest_at: Place | None
    run: float
    run_at: Place | None
    judged: float
    judged_on: float
    zones: tuple[float, ...]
    zone_at: tuple[Place | None, ...]
    hide_off: float
    hide_at: Place | None
    seen: float | None
    seen_on_seam: float | None
    glue_cut: float
    slab: Sliver | None
    contacts: Mapping[tuple[int, int], ContactSeams] = field(default_factory=dict)
    stretches: tuple[tuple[FloatArray, int], ...] = ()

    @property
    def share(self) -> float:
        """Share of the visible line on a seam; 1 where nothing is visible."""
        return self.on_seam / self.visible if self.visible > 0.0 else 1.0

    @property
    def judged_share(self) -> float:
        """As `share`, without what lies in zones that may show."""
        return self.judged_on / self.judged if self.judged > 0.0 else 1.0


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What all joints of a carving are held against.

    Attributes
    ----------
    carving : as it was cut.
    index : all seams that count.
    glue : glue lines that bind; none where nothing is known of the block-up.
    zones : (m,) uint8 zone of each triangle of the carving.
    viewpoints : from where it is looked at.
    followed : metres; nearer than this a joint follows a glue line.
    least : metres; the thinnest slab beside a glue line that is let pass; 0: not looked for.
    gap : metres between joint faces.
    """

    carving: Mesh
    index: SeamIndex
    glue: GlueRectangles
    zones: NDArray[np.uint8]
    viewpoints: tuple[Viewpoint, ...]
    followed: float
    least: float
    gap: float


def judge_joints(
    around: Surroundings, joints: Sequence[Joint], lines: Sequence[Sequence[JointLine]], pieces: Sequence[Body]
) -> tuple[JointSeams, ...]:
    """Hold each joint against the seams.

    Parameters
    ----------
    lines : for each joint its lines on the surface, as `CutResult.lines` gives them.
    pieces : the bodies that the joints made, with the gap.
    """
    parts = [_between_pieces(visible_parts(own)) for own in lines]
    every = np.concatenate([part.point for part in parts]) if parts else np.zeros((0, 3))
    away, kind = around.index.nearest(every)
    zone = _zones(around, pieces, every)
    seen = np.zeros(len(every), dtype=bool)
    for view in around.viewpoints:
        seen |= seen_from(view, around.carving, every)
    out = []
    first = 0
    for j, part in enumerate(parts):
        rows = slice(first, first + len(part.point))
        first += len(part.point)
        out.append(_judged(around, joints, j, part, away[rows], kind[rows], zone[rows], seen[rows], pieces))
    return tuple(out)


def _between_pieces(parts: LineParts) -> LineParts:
    """Parts with a piece on both sides: the rest is a crumb's or goes in a gap."""
    keep = (parts.pieces >= 0).all(axis=1)
    if keep.all():
        return parts
    after_gap = np.append(False, ~keep[:-1])
    return LineParts(
        parts.point[keep],
        parts.length[keep],
        parts.pieces[keep],
        parts.line[keep],
        (parts.fresh | after_gap)[keep],
        tuple(whole and bool(keep[parts.line == number].all()) for number, whole in enumerate(parts.closed)),
    )


def _zones(around: Surroundings, pieces: Sequence[Body], points: FloatArray) -> IntArray:
    """Zone at each point of a joint's line, read from the carved triangles at the rims of the pieces."""
    zone = np.zeros(len(points), dtype=np.int64)
    if not around.zones.any() or len(points) == 0:
        return zone
    starts, ends, zones = [np.zeros((0, 3))], [np.zeros((0, 3))], [np.zeros(0, dtype=np.int64)]
    for body in pieces:
        at_joint = np.zeros(len(body.mesh.vertices), dtype=bool)
        at_joint[body.mesh.triangles[body.mesh.kind == JOINT]] = True
        rows = np.flatnonzero((body.mesh.kind == CARVED) & (at_joint[body.mesh.triangles].sum(axis=1) >= 2))
        triangles = body.mesh.triangles[rows]
        for k in range(3):
            p, q = triangles[:, k], triangles[:, (k + 1) % 3]
            use = at_joint[p] & at_joint[q]
            starts.append(body.mesh.vertices[p[use]])
            ends.append(body.mesh.vertices[q[use]])
            zones.append(around.zones[body.source[rows[use]]].astype(np.int64))
    rim = Segments(np.concatenate(starts), np.concatenate(ends), around.gap + _BESIDE)
    _, which = rim.nearest(points)
    of_rim = np.concatenate(zones)
    zone[which >= 0] = of_rim[which[which >= 0]]
    return zone


def _judged(
    around: Surroundings,
    joints: Sequence[Joint],
    joint: int,
    parts: LineParts,
    away: FloatArray,
    kind: IntArray,
    zone: IntArray,
    seen: NDArray[np.bool_],
    pieces: Sequence[Body],
) -> JointSeams:
    on = away <= around.index.tolerance
    length = parts.length
    run, run_at = longest_run(parts, ~on)
    worst = int(np.argmax(away)) if len(away) else -1
    known = worst >= 0 and bool(np.isfinite(away[worst]))
    counted = zone != MAY_SHOW
    hidden = (zone == MUST_HIDE) & ~on
    contacts = {}
    for pair in sorted({(int(a), int(b)) for a, b in np.unique(parts.pieces, axis=0)}) if len(length) else []:
        own = (parts.pieces == pair).all(axis=1)
        contacts[pair] = ContactSeams(
            float(length[own & on].sum()),
            float(away[own].max()),
            float(length[own & seen].sum()),
            float(length[own & seen & on].sum()),
        )
    looked = bool(around.viewpoints)
    slab = None
    if around.least > 0.0 and len(around.glue):
        slab = sliver(around.glue, pieces, joints, joint, around.followed, around.least)
    return JointSeams(
        float(length.sum()),
        float(length[on].sum()),
        tuple(float(length[on & (kind == k)].sum()) for k in range(len(SEAM_NAMES))),
        float(away[worst]) if worst >= 0 else 0.0,
        _place(parts.point[worst]) if known else None,
        run,
        _place(run_at) if run > 0.0 else None,
        float(length[counted].sum()),
        float(length[counted & on].sum()),
        tuple(float(length[zone == k].sum()) for k in range(len(ZONE_NAMES))),
        tuple(_first(parts.point, zone == k) for k in range(len(ZONE_NAMES))),
        float(length[hidden].sum()),
        _first(parts.point, hidden),
        float(length[seen].sum()) if looked else None,
        float(length[seen & on].sum()) if looked else None,
        glue_cut(around.glue, pieces, joint) if len(around.glue) else 0.0,
        slab,
        contacts,
        _stretches(parts, np.where(on, kind, OFF)),
    )


def _stretches(parts: LineParts, state: IntArray) -> tuple[tuple[FloatArray, int], ...]:
    """Runs of parts of one state, each as the polyline through their middles and on to the next run's first."""
    if len(state) == 0:
        return ()
    start = np.flatnonzero(
        np.append(True, (state[1:] != state[:-1]) | parts.fresh[1:] | (parts.line[1:] != parts.line[:-1]))
    )
    stop = np.append(start[1:], len(state))
    out = []
    for first, last in zip(start.tolist(), stop.tolist(), strict=True):
        onward = last < len(state) and not parts.fresh[last] and parts.line[last] == parts.line[first]
        out.append((parts.point[first : last + (1 if onward else 0)], int(state[first])))
    return tuple(out)


def _place(point: FloatArray) -> Place:
    x, y, z = point.tolist()
    return x, y, z


def _first(points: FloatArray, rows: NDArray[np.bool_]) -> Place | None:
    """The middle one of the chosen points."""
    at = np.flatnonzero(rows)
    return _place(points[at[len(at) // 2]]) if len(at) else None


__all__ = ["KEEP_WHOLE", "OFF", "ContactSeams", "JointSeams", "Surroundings", "judge_joints"]
