# SPDX-License-Identifier: GPL-3.0-or-later
"""The clearance between pieces and keep-clear bodies: at rest, on the way in, how close the fit, how far off line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import CARVED, Mesh, bounds
from ..mesh.topology import components
from ..mesh.winding import encloses
from .body import Body
from .motion import Cells, Motion
from .search import Nearest, least_distance
from .tree import Forest, mesh_forest, point_forest, sources

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Point = tuple[float, float, float]
Heed = Callable[[], None]

_SAMPLES: Final = 20_000
"""Triangles at which the fit is measured at most; their share is then good to about half a percent."""

_TURNED: Final = 0.5
"""Cosine: carved surface whose outside looks towards the body within 60 degrees faces it."""

_ASIDE: Final = 1.0
"""Metres off line past which is not looked; no driver or crew is as far off."""

_STRIDE: Final = 0.2
"""Share of the distance by which a step aside may fall short: a rough distance is found many times as fast."""

_BODIES: Final = 64
"""Bodies of one mesh that are asked for being inside another, the largest first: the rest are crumbs of a scan."""


@dataclass(frozen=True)
class Rule:
    """What is asked of the clearance, metres.

    Attributes
    ----------
    clearance : least distance from the finished surface.
    skin : thickness that comes on the foam, taken off every distance.
    fit : band of distances from the finished surface that count as a close fit.
    facing : surface farther than this does not face the body, and nothing farther is looked for.
    tolerance : by which a least distance on the way may be too large.
    """

    clearance: float = 0.05
    skin: float = 0.0
    fit: tuple[float, float] = (0.05, 0.12)
    facing: float = 0.3
    tolerance: float = 0.001

    @property
    def reach(self) -> float:
        """Metres of foam distance that are looked for."""
        return max(self.facing, self.clearance, self.fit[1]) + self.skin

    @property
    def foam(self) -> float:
        """Metres that the foam must keep, before it is skinned."""
        return self.clearance + self.skin


@dataclass(frozen=True)
class Closest:
    """Where a piece and a body come nearest.

    Attributes
    ----------
    distance : from the foam, metres; 0 where they touch or cross.
    here, there : the two points, job coordinates, metres.
    triangle : of the piece's mesh.
    pose : of the body (`Motion.at`). to_go : metres of its way left before it stands.
    inside : one lies wholly in the other; the distance is then 0 whatever the surfaces say.
    """

    distance: float
    here: Point
    there: Point
    triangle: int
    pose: tuple[float, float, float, float]
    to_go: float
    inside: bool = False


@dataclass(frozen=True)
class PieceClearance:
    """A piece against a body: None where it is farther than the rule's reach."""

    mark: str
    rest: Closest | None
    sweep: Closest | None


@dataclass(frozen=True)
class BodyClearance:
    """A body against all pieces.

    Attributes
    ----------
    name, stance : of the body.
    pieces : in the order given.
    facing_area : square metres of carved surface that face the body at rest; fit_share : share of it in the close-fit
        band, None where nothing faces it. samples : triangles at which this was measured.
    aside : metres off line to the (left, right) before it touches; None: not within a metre, or nothing stands still.
    downhill : which of these is the low side, ``left`` or ``right``; empty where the body stands level across.
    """

    name: str
    stance: str
    pieces: tuple[PieceClearance, ...]
    facing_area: float
    fit_share: float | None
    samples: int
    aside: tuple[float | None, float | None] | None
    downhill: str


def check_body(
    parts: Sequence[tuple[str, Mesh]], body: Body, rule: Rule, off_line: bool = True, heed: Heed | None = None
) -> BodyClearance:
    """Measure one body against the pieces.

    Parameters
    ----------
    parts : mark and closed mesh of each piece, metres, job coordinates.
    body : posed, with its way in.
    rule : what is asked.
    off_line : whether to look how far off line it may be.
    heed : called often; may raise `Cancelled`.

    Returns
    -------
    BodyClearance
        At rest exact; on the way the true least distance is smaller by the rule's tolerance at most.
    """
    meshes = [mesh for _, mesh in parts]
    tree = mesh_forest([body.mesh])
    low, high = swept_box(tree, body.motion)
    near = rule.reach + (_ASIDE if off_line and body.moves else 0.0)
    forest, numbers = mesh_forest(meshes, low - near, high + near), sources(meshes, low - near, high + near)
    rest = least_distance(forest, tree, body.motion.rest(), rule.reach, heed=heed)
    last = (float(len(body.motion.places) - 1), 0.0, 0.0, 0.0)
    at_rest = [_closest(rest, g, numbers, body, None, last) for g in range(len(parts))]
    on_way = at_rest
    if body.moves:
        sweep = least_distance(forest, tree, body.motion, rest.distance, rule.tolerance, heed=heed)
        on_way = [_closest(sweep, g, numbers, body, at_rest[g]) for g in range(len(parts))]
    for g, mesh in enumerate(meshes):
        found = _swallowed(mesh, body)
        if found is not None:
            at_rest[g] = on_way[g] = found
    facing, share, samples = _fit(meshes, body, tree, rule, heed)
    aside = _off_line(forest, tree, body, rule, heed) if off_line and body.moves else None
    marks = [mark for mark, _ in parts]
    left_up = body.rest.roll
    return BodyClearance(
        name=body.name,
        stance=body.stance,
        pieces=tuple(map(PieceClearance, marks, at_rest, on_way)),
        facing_area=facing,
        fit_share=share,
        samples=samples,
        aside=aside,
        downhill="" if abs(left_up) < 1e-6 else "right" if left_up > 0.0 else "left",
    )


def swept_box(tree: Forest, motion: Motion) -> tuple[FloatArray, FloatArray]:
    """Box (3,), (3,) that holds the body in all its poses, metres."""
    reach = np.linalg.norm(tree.vertices, axis=1).max(initial=0.0)
    cells = Cells(motion, float(reach), float(reach))
    middle, half = tree.boxes[0, :3], tree.boxes[0, 3:]
    at = cells.turn @ middle + cells.place
    grow = np.abs(cells.turn) @ half + cells.travel + (cells.spin * reach + cells.stray)[:, None]
    return (at - grow).min(axis=0), (at + grow).max(axis=0)


def _closest(
    found: Nearest,
    group: int,
    numbers: Sequence[IntArray],
    body: Body,
    otherwise: Closest | None,
    pose: tuple[float, float, float, float] | None = None,
) -> Closest | None:
    if found.shape[group] < 0:
        return otherwise
    start = sum(len(rows) for rows in numbers[:group])
    if pose is None:
        way, roll, bounce, side = found.pose[group].tolist()
        pose = way, roll, bounce, side
    return Closest(
        distance=float(found.distance[group]),
        here=_point(found.here[group]),
        there=_point(found.there[group]),
        triangle=int(numbers[group][found.shape[group] - start]),
        pose=pose,
        to_go=body.still_to_go(pose),
    )


def _point(row: FloatArray) -> Point:
    x, y, z = row.tolist()
    return x, y, z


def _swallowed(mesh: Mesh, body: Body) -> Closest | None:
    """A part of one that lies inside the other while their surfaces keep apart (or the surfaces touch anyway)."""
    standing = body.standing()
    pose = (float(len(body.motion.places) - 1), 0.0, 0.0, 0.0)
    low, high = bounds(mesh.vertices)
    for one, other, holds in ((standing, mesh, True), (mesh, standing, body.closed)):
        if not holds:
            continue
        least, most = (low, high) if other is mesh else bounds(standing.vertices)
        for triangle in _largest_bodies(one):
            point = one.vertices[one.triangles[triangle, 0]]
            if (point > least).all() and (point < most).all() and encloses(other, point):
                at = _point(point)
                return Closest(0.0, at, at, 0 if other is mesh else int(triangle), pose, 0.0, True)
    return None


def _largest_bodies(mesh: Mesh) -> IntArray:
    """First triangle of each connected body, those with most triangles first."""
    label = components(mesh.triangles)
    _, first, count = np.unique(label, return_index=True, return_counts=True)
    return first[np.argsort(-count, kind="stable")][:_BODIES]


def _fit(
    meshes: Sequence[Mesh], body: Body, tree: Forest, rule: Rule, heed: Heed | None
) -> tuple[float, float | None, int]:
    """Carved area that faces the body at rest, the share of it that fits closely, and how many triangles were asked."""
    standing = body.standing().vertices
    low, high = standing.min(axis=0) - rule.reach, standing.max(axis=0) + rule.reach
    middles, normals = [], []
    for mesh in meshes:
        rows = sources([mesh], low, high)[0]
        rows = rows[mesh.kind[rows] == CARVED]
        corner = mesh.vertices[mesh.triangles[rows]]
        middles.append(corner.mean(axis=1))
        normals.append(0.5 * np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]))
    at, normal = np.concatenate(middles), np.concatenate(normals)
    step = max(1, -(-len(at) // _SAMPLES))
    at, normal = at[step // 2 :: step], normal[step // 2 :: step]
    if len(at) == 0:
        return 0.0, None, 0
    area = np.linalg.norm(normal, axis=1)
    found = least_distance(point_forest(at), tree, body.motion.rest(), rule.reach, heed=heed)
    towards = ((found.there - at) * normal).sum(axis=1)
    faces = (found.shape >= 0) & (towards >= _TURNED * found.distance * area)
    gap = found.distance - rule.skin
    fits = faces & (gap >= rule.fit[0]) & (gap <= rule.fit[1])
    total = float(area[faces].sum())
    return total * step, (float(area[fits].sum()) / total if total > 0.0 else None), len(at)


def _off_line(
    forest: Forest, tree: Forest, body: Body, rule: Rule, heed: Heed | None
) -> tuple[float | None, float | None]:
    """Metres to the left and to the right by which the whole way may be off before the finished surface is touched."""
    way = Motion(body.motion.places, body.motion.turns, body.motion.ahead, body.motion.roll, body.motion.bounce)
    sides: list[float | None] = []
    for sign in (1.0, -1.0):
        aside = 0.0
        while True:
            found = least_distance(
                forest, tree, way.shifted(sign * aside), _ASIDE, rule.tolerance, share=_STRIDE, heed=heed
            )
            room = float(found.distance.min()) - rule.skin
            if room <= rule.tolerance:
                sides.append(aside)
                break
            # What is surely free: the distance is this much too large at most.
            aside += max(room - max(_STRIDE * (room + rule.skin), rule.tolerance), rule.tolerance)
            if aside >= _ASIDE:
                sides.append(None)
                break
    return sides[0], sides[1]
