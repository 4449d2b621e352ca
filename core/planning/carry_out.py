# SPDX-License-Identifier: GPL-3.0-or-later
"""Carry a plan out on the carving itself: cut exactly, weigh exactly, and put right what the samples did not show."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from threading import Lock
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.cut import cut
from ..cutting.joint import Joint
from ..cutting.result import Body, CutResult
from ..errors import Cancelled, CutError, Progress
from ..handling.checks import size_limits, within_limits
from ..handling.figures import PieceFigures, measure_piece
from ..handling.one_billet import fits
from ..job import Job
from ..mesh.mass import mass_properties
from ..mesh.mesh import Mesh
from ..mesh.winding import inner_point
from .hands import Crew
from .limb_split import Limb
from .nodes import Plan
from .options import Option
from .part import Sheet

FloatArray = NDArray[np.float64]

_NUDGES: Final = 3
"""Times that a joint is moved to relieve a piece that is over."""

_ASIDE: Final = (0.01, -0.01, 0.02, -0.02, 0.03, -0.03, 0.045, -0.045)
"""Metres by which a joint is moved, tried one after the other, so that it parts no chip off that the samples did not
show: about what a groove is wide, at most."""

_MORE: Final = 1.25
"""Factor on the way that would just relieve it: its skin gets less with it by a law that is not straight."""

_NEAR: Final = 200
"""Vertices by a joint's face, of some two thousand, by which the side is told on which a body lies."""

_DEEPEST: Final = 6
"""Times that a piece that is over may be planned and cut again."""

_CLEAR: Final = 2.0
"""Times by which one way to match two bodies must be further than the other to be ruled out at a glance."""

Planner = Callable[["Lump"], Plan | None]
"""Plans one body anew; None where it finds no way to cut it."""


@dataclass(frozen=True, eq=False)
class Lump:
    """A body of the carving on its way to pieces.

    Attributes
    ----------
    mesh : closed. triangle : (m,) the carving's triangle that each of its triangles comes from, -1 on joint faces.
    one_skin : see `Body`.
    """

    mesh: Mesh
    triangle: NDArray[np.int64]
    one_skin: bool = False

    def child(self, body: Body) -> Lump:
        """A body that this one was cut into."""
        return Lump(
            body.mesh,
            np.where(body.origin == 0, self.triangle[np.where(body.origin == 0, body.source, 0)], -1),
            body.one_skin,
        )


@dataclass(frozen=True, eq=False)
class Made:
    """A joint that was cut: what it is, of what mass it made what, and what it shows by the samples."""

    joint: Joint
    sheet: Sheet
    plan: Plan
    mass: float
    parts: tuple[float, ...]


@dataclass(eq=False)
class Outcome:
    """What came of a body and of all that it was cut into, in the order of cuts.

    Attributes
    ----------
    made : joints. pieces : measures of the pieces.
    over : sentences on pieces that could not be brought within the limits.
    nudged, replanned : joints that were moved and pieces that were planned again after the exact weighing.
    """

    made: list[Made] = field(default_factory=list)
    pieces: list[PieceFigures] = field(default_factory=list)
    over: list[str] = field(default_factory=list)
    nudged: int = 0
    replanned: int = 0

    def add(self, other: Outcome) -> None:
        """What came of another body after this one."""
        self.made += other.made
        self.pieces += other.pieces
        self.over += other.over
        self.nudged += other.nudged
        self.replanned += other.replanned


@dataclass(eq=False)
class Bench:
    """Where a plan is carried out.

    Attributes
    ----------
    job, gap, crumb : as for the cut.
    shares : (m,) covering share of each of the carving's triangles, or None.
    again : plans a piece anew that is over a limit; never called twice at a time.
    progress : told the share done; may raise `Cancelled`: what is planned is cut to the end, nothing planned again.
    crew : that cuts and weighs. expected : number of pieces by the plans. outcome : what came of the bodies so far.
    """

    job: Job
    gap: float
    crumb: float
    shares: FloatArray | None
    again: Planner
    progress: Progress | None = None
    crew: Crew = field(default_factory=Crew)
    expected: int = 1
    outcome: Outcome = field(default_factory=Outcome)
    stopped: bool = False
    _done: int = 0
    _one: Lock = field(default_factory=Lock)
    _planning: Lock = field(default_factory=Lock)

    def measure(self, lump: Lump) -> PieceFigures:
        """Measures of a body as the checks will see it."""
        share = None
        if self.shares is not None:
            own = lump.triangle >= 0
            share = np.where(own, self.shares[np.where(own, lump.triangle, 0)], 1.0)
        return self.crew.do(_measured, lump.mesh, self.job, share)

    def settle(self, lumps: Sequence[Lump]) -> tuple[list[Lump], list[Lump]]:
        """Note bodies that are within the limits as pieces; which those are, and the others."""
        settled: list[Lump] = []
        others: list[Lump] = []
        for lump in lumps:
            figures = self.measure(lump)
            if within_limits(figures, self.job):
                self._note(self.outcome, figures)
                settled.append(lump)
            else:
                others.append(lump)
        return settled, others

    def run(self, lump: Lump, plan: Plan, alone: bool) -> None:
        """Cut a body by its plan; `alone`: it is all of the carving, so its joint need not name it."""
        self.outcome.add(self._run(lump, plan, alone, 0))

    def _run(self, lump: Lump, plan: Plan, alone: bool, depth: int) -> Outcome:
        self._tell()
        if plan.option is None:
            return self._piece(lump, alone, depth, None)
        limbs = _limbs(plan.option)
        found = self._split(lump, limbs)
        if found is None:
            return self._piece(lump, alone, depth, None)
        out = Outcome()
        pairs = _matched(lump, found, plan)
        pairs, limbs, aside = self._aside(lump, limbs, plan, pairs)
        pairs, limbs, known, nudged = self._nudge(lump, limbs, plan, pairs)
        out.nudged = aside + nudged
        # Of two joints the second must not find its point in the gap of the first.
        part = None if alone else inner_point(lump.mesh if len(limbs) == 1 else pairs[0][0].mesh)
        masses = tuple(child.part.mass if child is not None else 0.0 for _, child in pairs)
        for limb in limbs[:-1]:
            # It only opens a ring; what the two come to is told of the last.
            out.made.append(Made(limb.joint(part), limb.sheet, Plan(plan.part, None), plan.part.mass, ()))
        last = limbs[-1]
        out.made.append(Made(last.joint(part), last.sheet, plan, plan.part.mass, masses))

        # What comes of one body does not depend on the others.
        def task(child: Lump, rest: Plan | None, figures: PieceFigures | None) -> Callable[[], Outcome]:
            if rest is None or rest.option is None:
                return lambda: self._piece(child, False, depth, figures)
            return lambda: self._run(child, rest, False, depth)

        for other in self.crew.map([task(*pair, figures) for pair, figures in zip(pairs, known, strict=True)]):
            out.add(other)
        return out

    def _note(self, outcome: Outcome, figures: PieceFigures) -> None:
        """Add a piece."""
        outcome.pieces.append(figures)
        with self._one:
            self._done += 1

    def _tell(self) -> None:
        with self._one:
            if self.progress and not self.stopped:
                share = self._done / max(self.expected, self._done + 1)
                try:
                    self.progress(share, f"cutting and weighing: {self._done} of {self.expected} pieces")
                except Cancelled:
                    # What is planned is cut to the end: it is nearly done, and half of it would be of no use.
                    self.stopped = True

    def _split(self, lump: Lump, limbs: Sequence[Limb]) -> CutResult | None:
        """The body cut by joints; None where that parts nothing."""
        joints = [limb.joint(None) for limb in limbs]
        return self.crew.do(_cut, lump.mesh, joints, self.gap, self.crumb, lump.one_skin)

    def _aside(
        self, lump: Lump, limbs: tuple[Limb, ...], plan: Plan, pairs: list[tuple[Lump, Plan | None]]
    ) -> tuple[list[tuple[Lump, Plan | None]], tuple[Limb, ...], int]:
        """Move a joint a little where it parts more off than was planned: a bump of the skin, mostly; how often."""
        if all(rest is not None for _, rest in pairs):
            return pairs, limbs, 0
        for way in _ASIDE:
            moved = (*limbs[:-1], limbs[-1].moved(way))
            found = self._split(lump, moved)
            if found is not None and len(found.pieces) == len(plan.plans):
                return _matched(lump, found, plan), moved, 1
        return pairs, limbs, 0

    def _nudge(
        self, lump: Lump, limbs: tuple[Limb, ...], plan: Plan, pairs: list[tuple[Lump, Plan | None]]
    ) -> tuple[list[tuple[Lump, Plan | None]], tuple[Limb, ...], list[PieceFigures | None], int]:
        """Move a joint a little where a piece beside it came out too heavy or too long; and how often it was moved."""
        nudged = 0
        known = [self.measure(lump) if _is_piece(rest) else None for lump, rest in pairs]
        for _ in range(_NUDGES):
            way = self._relief(limbs[-1], pairs, known)
            if way == 0.0:
                break
            moved = (*limbs[:-1], limbs[-1].moved(way))
            found = self._split(lump, moved)
            if found is None:
                break
            fresh = _matched(lump, found, plan)
            if [_is_piece(rest) for _, rest in fresh] != [_is_piece(rest) for _, rest in pairs]:
                break
            pairs, limbs = fresh, moved
            known = [self.measure(lump) if _is_piece(rest) else None for lump, rest in pairs]
            nudged += 1
        return pairs, limbs, known, nudged

    def _relief(
        self, limb: Limb, pairs: Sequence[tuple[Lump, Plan | None]], known: Sequence[PieceFigures | None]
    ) -> float:
        """Metres along w by which moving the joint would relieve the one side that is over; 0: none is, or both are."""
        limits = size_limits(self.job)
        ways = []
        for (lump, _), figures in zip(pairs, known, strict=True):
            if figures is None or within_limits(figures, self.job):
                continue
            points = lump.mesh.vertices[:: max(1, len(lump.mesh.vertices) // 2000)]
            off = limb.sheet.above(points)
            if limb.point is not None:
                # A bent body may lie on both sides of the sheet: it goes by what is near the face.
                near = np.argsort(((points - limb.point) ** 2).sum(axis=1))[:_NEAR]
                off = off[near]
            side = 1.0 if float(np.median(off)) > 0.0 else -1.0
            thick = max(float(np.ptp(off)), 1e-3)
            heavy = figures.finished_mass / self.job.limits.piece_mass - 1.0
            sides = [*zip(figures.box, limits, strict=True)]
            if figures.foam_box:
                sides += zip(figures.foam_box, sorted(self.job.foam.billet, reverse=True), strict=True)
            long = max(a / b - 1.0 for a, b in sides)
            ways.append(side * _MORE * thick * max(heavy, 0.0 if heavy > 0.0 else long) + side * 1e-3)
        if len({np.sign(way) for way in ways}) != 1:
            return 0.0
        return max(ways, key=abs)

    def _piece(self, lump: Lump, alone: bool, depth: int, figures: PieceFigures | None) -> Outcome:
        """Note a piece, or plan it anew where it is over a limit."""
        out = Outcome()
        figures = self.measure(lump) if figures is None else figures
        if within_limits(figures, self.job):
            self._note(out, figures)
            return out
        plan = None
        if depth < _DEEPEST and not self.stopped:
            with self._planning:
                plan = self.again(lump)
        if plan is None or plan.option is None or self._split(lump, _limbs(plan.option)) is None:
            self._note(out, figures)
            out.over.append(_why(figures, self.job))
            return out
        with self._one:
            self.expected += plan.pieces - 1
        out.replanned = 1
        out.add(self._run(lump, plan, alone, depth + 1))
        return out


def _cut(
    known: dict[str, Any], mesh: Mesh, joints: Sequence[Joint], gap: float, crumb: float, one_skin: bool
) -> CutResult | None:
    """A body cut by joints; None where that parts nothing."""
    try:
        found = cut(mesh, joints, gap, crumb=crumb, one_skin=one_skin)
    except CutError:
        return None
    return found if len(found.pieces) > 1 else None


def _measured(known: dict[str, Any], mesh: Mesh, job: Job, share: FloatArray | None) -> PieceFigures:
    """Measures of a body in the first pose found in which it is within the limits, or the smallest."""
    if not job.limits.any_pose:
        return measure_piece(mesh, job, share)
    # A piece that fits as it stands needs no search for a better pose.
    upright = replace(job, limits=replace(job.limits, any_pose=False))
    figures = measure_piece(mesh, upright, share)
    long, middle, short = sorted(figures.box, reverse=True)
    figures = replace(figures, box=(long, middle, short))
    return figures if within_limits(figures, job) else measure_piece(mesh, job, share)


def _limbs(option: Option) -> tuple[Limb, ...]:
    """The joints of a way to cut a body."""
    return option.limbs or (Limb(option.sheet, None),)


def _is_piece(plan: Plan | None) -> bool:
    return plan is None or plan.option is None


def _matched(lump: Lump, found: CutResult, plan: Plan) -> list[tuple[Lump, Plan | None]]:
    """Each piece of a body with the plan made for it: by where its middle lies, each plan once, larger pieces first."""
    bodies = [lump.child(body) for body in found.pieces]
    if len(bodies) == len(plan.plans) == 2:
        pairs = _two(bodies, plan)
        if pairs is not None:
            return pairs
    middles = np.array([mass_properties(body.mesh).centroid for body in bodies])
    size = np.array([len(body.mesh.triangles) for body in bodies])
    left = list(plan.plans)
    out: dict[int, Plan | None] = {}
    away = {
        (i, k): float(np.linalg.norm(middles[i] - left[k].part.middle))
        for i in range(len(bodies))
        for k in range(len(left))
    }
    for i, k in sorted(away, key=lambda pair: (away[pair], -size[pair[0]], pair)):
        if i not in out and not any(left[k] is plan for plan in out.values()):
            out[i] = left[k]
    return [(body, out.get(i)) for i, body in enumerate(bodies)]


def _two(bodies: list[Lump], plan: Plan) -> list[tuple[Lump, Plan | None]] | None:
    """As `_matched`, of two bodies and two plans, by the middles of the bodies' vertices; None if that leaves doubt."""
    one, two = (np.array([lump.mesh.vertices[:, axis].mean() for axis in range(3)]) for lump in bodies)
    first, second = (rest.part.middle for rest in plan.plans)
    straight = float(np.linalg.norm(one - first) + np.linalg.norm(two - second))
    across = float(np.linalg.norm(one - second) + np.linalg.norm(two - first))
    if max(straight, across) < _CLEAR * min(straight, across):
        return None
    rests = plan.plans if straight < across else plan.plans[::-1]
    return list(zip(bodies, rests, strict=True))


def _why(figures: PieceFigures, job: Job) -> str:
    """Which piece is over, by what."""
    x, y, z = figures.centroid
    over = []
    if figures.finished_mass > job.limits.piece_mass:
        over.append(f"weighs {figures.finished_mass:.1f} kg of {job.limits.piece_mass:.4g} kg")
    limits = size_limits(job)
    if any(side > most for side, most in zip(figures.box, limits, strict=True)):
        size, most = (" x ".join(f"{side:.2f}" for side in sides) for sides in (figures.box, limits))
        over.append(f"measures {size} m of {most} m")
    if figures.foam_box and not fits(figures.foam_box, job):
        size = " x ".join(f"{side:.2f}" for side in figures.foam_box)
        over.append(f"needs {size} m of foam, more than one billet")
    return (
        f"The piece at ({x:.2f}, {y:.2f}, {z:.2f}) m {' and '.join(over)}, and no joint was found that parts it: "
        "its skin alone may be too heavy, or it is too small for a joint"
    )
