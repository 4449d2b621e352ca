# SPDX-License-Identifier: GPL-3.0-or-later
"""Propose joints: sample, search, carry out, weigh, and say how good the plan is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..blockup.glue_lines import GlueRectangles
from ..blockup.layout import Layout
from ..cutting.cut import cut
from ..cutting.joint import Joint
from ..errors import Progress
from ..job import Job
from ..mesh.mass import corner_areas
from ..mesh.mesh import CARVED, Mesh
from .billet_joints import part_by_billets
from .carry_out import Bench, Lump
from .hands import Crew, gathered
from .need import bounds
from .nodes import Plan
from .part import line_kept_whole
from .quality import Quality, plan_words
from .reasons import Reason, reason
from .samples import Samples, take_samples
from .trails import Trail, paint
from .wished import BUDGET, Order, Teller, Wish, plan_all, search_body

FloatArray = NDArray[np.float64]

_AGAIN: Final = 200_000
"""Samples and cells looked at in the search for a piece that is planned anew."""


_STAYS: Final = "stays where you set it"
_MISSES: Final = "stays where you set it, and cuts nothing there"

_CARRIED: Final = 0.8
"""Share of the work done when a plan is cut, where one of planes alone comes after it."""


@dataclass(frozen=True, eq=False)
class Proposal:
    """Joints with what speaks for them.

    Attributes
    ----------
    joints : in the order of cuts. reasons : what speaks for each.
    text : the plan in a few sentences. quality : its measures. wished : number of pieces that was asked for, or None.
    over : a sentence for each piece that could not be brought within the limits.
    complete : False where the user stopped the search; the best plan so far then stands.
    looked : parts that were looked at.
    """

    joints: tuple[Joint, ...]
    reasons: tuple[Reason, ...]
    text: str
    quality: Quality
    over: tuple[str, ...]
    complete: bool
    looked: int
    wished: int | None = None


def propose(
    mesh: Mesh,
    job: Job,
    gap: float,
    *,
    trails: Sequence[Trail] = (),
    wish: Wish | None = None,
    weight: ArrayLike | None = None,
    keep: ArrayLike | None = None,
    shares: FloatArray | None = None,
    locked: Sequence[Joint] = (),
    layout: Layout | None = None,
    glue: GlueRectangles | None = None,
    progress: Progress | None = None,
    crew: Crew | None = None,
) -> Proposal:
    """Propose joints.

    Parameters
    ----------
    mesh : closed carving, metres, z up.
    job : foam, skin, limits and joints are read. gap : metres between joint faces.
    trails : what joints may follow.
    wish : what the user wants; None: what `Wish` has by default.
    weight : (m,) for each triangle, what a metre of joint line off seams costs there: 1 usual, 0 may show, more: must
        hide. keep : (m,) True where no joint may cross.
    shares : (m,) covering share of each triangle, as for `measure_piece`.
    locked : joints that stay, cut first, in order.
    layout : where billets lie, if each piece must come out of one of them: joints along all glue lines come next.
    glue : glue lines; joints follow them or keep away.
    progress : told the share done; may raise `Cancelled`: the best plan so far is handed back and says so.
    crew : that works on it; None: one that ends with it.

    Notes
    -----
    The same input gives the same plan: budgets are counts. Every piece is weighed on the exact cut; one that is over a
    limit is relieved by moving its joint, or planned anew. What cannot be helped is named in `over`.
    """
    wish = wish or Wish()
    crumb = job.carving.crumb
    weights = None if weight is None else np.asarray(weight, dtype=np.float64)
    kept = None if keep is None else np.asarray(keep, dtype=bool)
    teller = Teller(progress)
    with nullcontext(crew) if crew else gathered(len(mesh.triangles)) as crew:
        lumps, missed = _lumps(mesh, locked, gap, crumb)
        along_glue: list[Joint] = []
        if layout is not None:
            lumps, along_glue = _out_of_billets(lumps, layout, gap, crumb, not locked)
        surface = _Surface(job, gap, trails, weights, kept, shares, glue)

        def again(lump: Lump) -> Plan | None:
            plan, _ = search_body(surface.sample(lump), job, wish, _AGAIN, None, must=True)
            return plan if plan.option is not None else None

        part = teller.part(0.65, _CARRIED if wish.compare else 1.0)
        bench = Bench(job, gap, crumb, shares, again, part, crew)
        alone = len(lumps) == 1 and not locked and not along_glue
        # What joints that stay have brought within the limits is not looked at again.
        settled, lumps = bench.settle(lumps) if locked and wish.pieces is None else ([], lumps)
        sampled = [surface.sample(lump) for lump in lumps]
        order = Order(sampled, job, wish, crew)
        plans, complete, looked = plan_all(order, teller)
        bench.expected = len(settled) + sum(plan.pieces for plan in plans)
        for lump, plan in zip(lumps, plans, strict=True):
            bench.run(lump, plan, alone)
        complete &= not bench.stopped
        quality = _quality(bench, sampled, surface, settled)
        if wish.compare:
            quality = _compared(quality, order, len(settled), teller.part(_CARRIED, 1.0))
        crew.known.clear()
    joints = (*locked, *along_glue, *(made.joint for made in bench.outcome.made))
    reasons = (
        *(Reason(_STAYS if j not in missed else _MISSES) for j in range(len(locked))),
        *(Reason("follows a glue line, as each piece must come out of one billet") for _ in along_glue),
        *(reason(made, trails) for made in bench.outcome.made),
    )
    text = plan_words(quality, job.limits.piece_mass, complete, bench.outcome.over, wish.pieces)
    if missed:
        numbers = ", ".join(str(j + 1) for j in missed)
        text += f" Of the joints that were to stay, number {numbers} {'cuts' if len(missed) == 1 else 'cut'} nothing."
    return Proposal(joints, reasons, text, quality, tuple(bench.outcome.over), complete, looked, wish.pieces)


@dataclass(frozen=True, eq=False)
class _Surface:
    """What is known of each of the carving's triangles, and how to sample a body that came of them."""

    job: Job
    gap: float
    trails: Sequence[Trail]
    weight: FloatArray | None
    keep: NDArray[np.bool_] | None
    shares: FloatArray | None
    glue: GlueRectangles | None

    def sample(self, lump: Lump) -> Samples:
        """Samples of a body."""
        own = lump.triangle >= 0
        back = np.where(own, lump.triangle, 0)
        weight = None if self.weight is None else self.weight[back]
        keep = None if self.keep is None else self.keep[back] & own
        shares = None if self.shares is None else np.where(own, self.shares[back], 1.0)
        return take_samples(lump.mesh, self.job, self.gap, self.trails, weight, keep, shares, self.glue)

    def seen(self, lumps: Sequence[Lump]) -> list[tuple[float, float]]:
        """Square metres of each body that count as visible, and of those on seams."""
        if not lumps:
            return []
        corners = [np.take(lump.mesh.vertices, lump.mesh.triangles[lump.mesh.kind == CARVED], axis=0) for lump in lumps]
        areas = [corner_areas(own) for own in corners]
        middles = np.concatenate([(own[:, 0] + own[:, 1] + own[:, 2]) / 3.0 for own in corners])
        # All at once: what lies near the trails is found in a few long runs.
        on_seam, _ = paint(middles, self.trails, self.job.joints.seam_tolerance)
        parts = np.split(on_seam, np.cumsum([len(area) for area in areas])[:-1])
        return [(float(area.sum()), float(area @ part)) for area, part in zip(areas, parts, strict=True)]


def _lumps(mesh: Mesh, locked: Sequence[Joint], gap: float, crumb: float) -> tuple[list[Lump], list[int]]:
    """The bodies of the carving, cut by the locked joints, and which of those cut nothing."""
    result = cut(mesh, locked, gap, crumb=crumb)
    found = result.pieces
    if len(found) == 1 and not locked:
        alone = found[0].one_skin and len(found[0].mesh.triangles) == len(mesh.triangles)
        return [Lump(mesh, np.arange(len(mesh.triangles)), alone)], []
    missed = list(result.missed)
    return [Lump(body.mesh, np.where(body.origin == 0, body.source, -1), body.one_skin) for body in found], missed


def _out_of_billets(
    lumps: Sequence[Lump], layout: Layout, gap: float, crumb: float, alone: bool
) -> tuple[list[Lump], list[Joint]]:
    """The bodies cut along the glue lines that run through them, and the joints that do it."""
    joints: list[Joint] = []
    parts: list[Lump] = []
    for lump in lumps:
        more, made = part_by_billets(lump, layout, gap, crumb, alone and len(lumps) == 1)
        joints, parts = [*joints, *more], [*parts, *made]
    return parts, joints


def _quality(bench: Bench, sampled: Sequence[Samples], surface: _Surface, settled: Sequence[Lump]) -> Quality:
    """Measures of the plan; `settled`: bodies that were pieces before it."""
    options = [made.plan.option for made in bench.outcome.made if made.plan.option is not None]
    line, off, area = (math.fsum(getattr(option, name) for option in options) for name in ("line", "missed", "area"))
    kept = math.fsum(line_kept_whole(made.plan.part, made.sheet) for made in bench.outcome.made)
    found = [bounds(one.whole, bench.job, surface.gap * area) for one in sampled]
    seen = [(float(one.seen.sum()), one.chance * float(one.seen.sum())) for one in sampled]
    whole, on_seam = (math.fsum(part) for part in zip((0.0, 0.0), *seen, *surface.seen(settled), strict=True))
    masses = [piece.finished_mass for piece in bench.outcome.pieces]
    return Quality(
        pieces=len(masses),
        fewest=len(settled) + sum(one.fewest for one in found),
        practical=len(settled) + sum(one.practical for one in found),
        line=line,
        on_seam=1.0 - off / line if line > 0.0 else 1.0,
        chance=on_seam / whole if whole > 0.0 else 0.0,
        area=area,
        heaviest=max(masses, default=0.0),
        lightest=min(masses, default=0.0),
        through_kept=kept,
        nudged=bench.outcome.nudged,
        replanned=bench.outcome.replanned,
    )


def _compared(quality: Quality, order: Order, settled: int, progress: Progress | None) -> Quality:
    """With the best plan of planes alone beside it, by the same search; without where the user stops it."""
    teller = Teller(progress)
    line = off = 0.0
    pieces = settled
    count = len(order.sampled)
    for k, one in enumerate(order.sampled):
        part = teller.part(k / count, (k + 1) / count)
        plan, search = search_body(one, order.job, order.wish, BUDGET // count, part, True, crew=order.crew)
        if search.cancelled:
            return quality
        options = [step.option for step in plan if step.option is not None]
        line += math.fsum(option.line for option in options)
        off += math.fsum(option.missed for option in options)
        pieces += plan.pieces
    return replace(quality, planes_on_seam=1.0 - off / line if line > 0.0 else 1.0, planes_pieces=pieces)
