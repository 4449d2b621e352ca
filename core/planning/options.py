# SPDX-License-Identifier: GPL-3.0-or-later
"""Ways to cut one part: series of planes and profiles in many directions, the likeliest of them really split."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..job import Job
from ..seams.glue import beside
from ..seams.seams import FOLLOWED
from .chain import best_chain, best_single, slabs
from .image import ROW, Slab, whole_slab
from .limb_split import Limb, split_limbs
from .limbs import Series, series
from .need import Need
from .part import Part, Sheet, shown, split
from .path import plain
from .pool import STEP, WIRES, Pool, across, planes, profiles, pruned, turned
from .sweep import Sweep, sweep
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_AROUND: Final = (6, 4)
"""Level directions, 30 degrees apart (45 for a part of few pieces); a profile bends further than half of that, and its
wire is turned later."""

_MANY: Final = (7, 2, 3)
"""Directions in which profiles are looked for at a glance, those then looked at closely, and ways really split."""

_FEW: Final = (2, 1, 2)
"""The same for a part of few pieces."""

_FLAT: Final = 2
"""Single planes that are split beside them: what their sides come to is told less well than that of a series."""

_FEW_PIECES: Final = 4.5
"""Cost under which a part is one of few pieces."""

_LIMBS: Final = 12.0
"""Cost from which a part is looked at for limbs that are cut one by one: for a shorter one any direction will do."""

_MORE: Final = 0.5
"""Pieces by which a closer look is hoped to better a direction."""

_GLANCE: Final = 24
"""Planes of a direction by which it is compared with others."""

_FINE: Final = 72
"""The same where planes alone are wanted."""

_SINGLES: Final = 2
"""Single joints of a direction that are tried beside its best series."""

_APART: Final = 0.1
"""Metres: two ways of one kind and direction closer than this are one."""

_ROWS: Final = 60
"""About as many planes of a direction that are weighed by what their sides come to."""

_LEAST: Final = 0.03
"""Share of the part, on the smaller side, under which a joint is not looked at."""


@dataclass(frozen=True, eq=False)
class Option:
    """A way to cut a part.

    Attributes
    ----------
    sheet : the joint. parts : what it makes. then : for each part, how the same series cuts it further, or None.
    cost : of the joint itself, in pieces.
    line, missed, off : metres of visible line, metres of it off seams, and those weighted by what they cost.
    area : square metres.
    limbs : where it is cut through one limb only: its joints, two of them through a ring; none: the sheet cuts it all.
    """

    sheet: Sheet
    parts: tuple[Part, ...]
    then: tuple[Option | None, ...]
    cost: float
    line: float
    missed: float
    off: float
    area: float
    limbs: tuple[Limb, ...] = ()


@dataclass(frozen=True, eq=False)
class _Way:
    sheets: tuple[Sheet, ...]
    reach: tuple[float, ...]
    score: float


@dataclass(frozen=True, eq=False)
class Rules:
    """What options are judged by.

    Attributes
    ----------
    need, worth : laws of pieces and costs. profiles : whether profiles are sought. planes : whether planes are.
    wire : longest stretch of wire in foam, metres. thin : least thickness, metres.
    sliver : metres by which a joint keeps away from a glue line that it runs along and does not follow.
    crumb : cubic metres under which a body is no piece. limbs : whether joints through one limb only are sought.
    """

    need: Need
    worth: Worth
    planes: bool
    profiles: bool
    wire: float
    thin: float
    crumb: float
    sliver: float
    limbs: bool = False

    @classmethod
    def of(cls, job: Job, need: Need, worth: Worth, crumb: float) -> Rules:
        """Rules of a job."""
        kinds = job.joints.kinds
        limits = job.limits
        wire, thin, sliver = limits.wire_length, limits.min_thickness, job.joints.sliver
        return cls(need, worth, "plane" in kinds, "profile" in kinds, wire, thin, crumb, sliver)

    def estimate(self, part: Part) -> float:
        """Cost that a part comes to: pieces, and the joints between them."""
        box, line = np.array([part.box]), part.lines[None]
        return float(self.need.cost(box, np.array([part.volume]), np.array([part.mass]), line, self.worth)[0])


def options(part: Part, rules: Rules) -> list[Option]:
    """Ways to cut a part, the best first by what its parts seem to come to; none where nothing can be cut."""
    many = rules.estimate(part)
    glances, bent, tried = _FEW if many < _FEW_PIECES else _MANY
    sweeps = [sweep(part, w) for w in _directions(part, _AROUND[many < _FEW_PIECES])]
    sheets: list[tuple[Sheet, float]] = []
    ways: list[_Way] = []
    hopes = []
    for k, one in enumerate(sweeps):
        flat, hope, spared = _planes(part, one, rules)
        ways += flat if rules.planes or not rules.profiles else []
        # Each of the joints that a part of many pieces takes may follow seams.
        hopes.append((hope - max(1.0, 0.5 * many) * spared, k))
    if rules.profiles:
        near = [sweeps[k] for hope, k in sorted(hopes)[:glances] if np.isfinite(hope)]
        ways = [*_chosen(_bent(part, near, bent, rules, sheets), tried), *_chosen(ways, _FLAT)]
    else:
        for one in sweeps:
            pool = planes(part, one, _borders(one, part, _FINE))
            cost, chain = best_chain(*slabs(part, one, pool, rules.need, rules.worth))
            ways += [_way(pool, chain, cost)] if chain else []
            sheets += [(pool.sheet(k), 0.0) for k in range(len(pool))] if rules.limbs else []
    found = [
        option
        for way in _chosen(ways, tried + _FLAT)
        if (option := _cut(part, way.sheets, way.reach, rules)) is not None
    ]
    if rules.limbs and many >= _LIMBS:
        along = series(part, sheets, rules.need, rules.worth, rules.wire)
        option = None if along is None else _cut_limbs(part, along, rules)
        found += [] if option is None else [option]
    found.sort(key=lambda option: _total(option, rules))
    return found


def _bent(part: Part, sweeps: list[Sweep], most: int, rules: Rules, sheets: list[tuple[Sheet, float]]) -> list[_Way]:
    """Series and single joints with profiles in the directions that promise most at a glance."""
    slab = whole_slab(part)
    glances: list[tuple[float, Sweep, Pool]] = []
    for one, found in zip(sweeps, profiles(part, slab, sweeps, _LEAST, rules.worth, WIRES[:1], 2 * STEP), strict=True):
        pool = _charged(found, one, rules)
        if rules.planes:
            pool = pool.joined(planes(part, one, _borders(one, part, _GLANCE)))
        cost, _ = best_chain(*slabs(part, one, pool, rules.need, rules.worth))
        glances.append((cost, one, pool))
        sheets += [(pool.sheet(k), float(pool.reach[k])) for k in range(len(pool))] if rules.limbs else []
    glances.sort(key=lambda row: row[0])
    out: list[_Way] = []
    for cost, one, pool in glances[:most]:
        # A direction that promises no more than what is found already is not looked at.
        if cost - _MORE < min((way.score for way in out), default=np.inf):
            out += _profiles(part, slab, one, pool, rules)
    return out


def _total(option: Option, rules: Rules) -> float:
    """What a way comes to as far as one can tell."""
    return option.cost + sum(
        rules.estimate(part) if then is None else _total(then, rules)
        for part, then in zip(option.parts, option.then, strict=True)
    )


def _directions(part: Part, around: int) -> list[FloatArray]:
    turn = round(np.degrees(part.turn))
    angle = np.radians((turn + np.arange(around) * (180.0 / around)) % 180.0)
    level = [np.array([np.cos(a), np.sin(a), 0.0]) for a in angle]
    for w in level:
        w[np.abs(w) < 1e-12] = 0.0
    return [*level, np.array([0.0, 0.0, 1.0])]


def _borders(one: Sweep, part: Part, most: int) -> IntArray:
    """Borders of a sweep between which there is something, at most so many."""
    share = one.volume / part.foam
    rows = np.flatnonzero((share > _LEAST) & (share < 1.0 - _LEAST))
    return rows[:: max(1, -(-len(rows) // most))]


def _planes(part: Part, one: Sweep, rules: Rules) -> tuple[list[_Way], float, float]:
    """The best single planes of a direction, apart from each other; what the best comes to; what a profile may save."""
    # Every row only where the part is small: then a centimetre decides whether a side is a piece.
    rows = _borders(one, part, _ROWS)
    if len(rows) == 0:
        return [], np.inf, 0.0
    volume, mass = part.foam, float(one.mass[-1])
    own = (part.of.face_mass - part.of.density * part.of.gap / 2.0) * one.area[rows]
    need, worth = rules.need, rules.worth
    low = need.cost(one.low[rows], one.volume[rows], one.mass[rows] + own, one.line[rows], worth)
    high = need.cost(
        one.high[rows], volume - one.volume[rows], mass - one.mass[rows] + own, one.line[-1] - one.line[rows], worth
    )
    score = low + high + worth.line * one.cost[rows] + worth.area * one.area[rows]
    hope, most = float(score.min()), worth.line * float(one.spared[rows].max())
    out: list[_Way] = []
    u = across(one.w, 0.0)
    for _ in range(3):
        k = int(np.argmin(score))
        if not np.isfinite(score[k]):
            break
        points = np.array([[0.0, one.at(int(rows[k]))]])
        out.append(_Way((Sheet(u, one.w, points, True),), (0.0,), float(score[k])))
        score[np.abs(rows - rows[k]) * ROW <= _APART] = np.inf
    return out, hope, most


def _profiles(part: Part, slab: Slab, one: Sweep, pool: Pool, rules: Rules) -> list[_Way]:
    """The best series of profiles across one direction, and the best single ones."""
    worth = rules.worth
    (more,) = profiles(part, slab, [one], _LEAST, worth, WIRES, STEP)
    pool = pruned([pool, _charged(more, one, rules)], worth)
    matrix = slabs(part, one, pool, rules.need, worth)
    _, chain = best_chain(*matrix)
    singles = best_single(*matrix)[:1]
    chosen = dict.fromkeys([*chain, *(row for _, rows in singles for row in rows)])
    bent = turned(part, slab, one, pool, [k for k in chosen if not pool.sheet(k).flat], worth)
    for _, found in bent:
        pool = pool.joined(_charged(found, one, rules))
    if bent:
        matrix = slabs(part, one, pool, rules.need, worth)
    cost, chain = best_chain(*matrix)
    out = [_way(pool, chain, cost)] if chain else []
    for cost, rows in best_single(*matrix):
        way = _way(pool, rows, cost)
        if not any(_alike(way, other) for other in out):
            out.append(way)
        if len(out) > _SINGLES:
            break
    return out


def _charged(pool: Pool, one: Sweep, rules: Rules) -> Pool:
    """With what a wire that does not reach costs, and what lying on seams is worth, put on the line."""
    dear = rules.worth.wire / rules.worth.line * np.maximum(pool.reach / rules.wire - 1.0, 0.0)
    # Metres on seams: about what a plane there shows, less what is off them.
    dear -= rules.worth.follow * np.maximum(one.total[(pool.low + pool.high) // 2] - pool.off, 0.0)
    return Pool(
        pool.sheets,
        pool.off + dear,
        pool.area,
        pool.reach,
        pool.volume,
        pool.mass,
        pool.line,
        pool.low,
        pool.high,
        pool.over,
    )


def _way(pool: Pool, rows: list[int], score: float) -> _Way:
    return _Way(tuple(pool.sheet(k) for k in rows), tuple(float(pool.reach[k]) for k in rows), score)


def _chosen(ways: list[_Way], most: int) -> list[_Way]:
    """The likeliest ways, of which no two are nearly the same."""
    out: list[_Way] = []
    for way in sorted(ways, key=lambda way: way.score):
        if len(out) == most or not np.isfinite(way.score):
            break
        if not any(_alike(way, other) for other in out):
            out.append(way)
    return out


def _alike(one: _Way, other: _Way) -> bool:
    return len(one.sheets) == len(other.sheets) and all(
        _near(a, b) for a, b in zip(one.sheets, other.sheets, strict=True)
    )


def _near(a: Sheet, b: Sheet) -> bool:
    if a.flat != b.flat or abs(float(a.w @ b.w)) < 0.999 or abs(float(a.u @ b.u)) < 0.999:
        return False
    if a.flat:
        return abs(float(a.points[0, 1] - b.points[0, 1])) < _APART / 2.0
    at = np.linspace(a.points[0, 0], a.points[-1, 0], 50)
    return float(np.abs(a.height(at) - b.height(at)).mean()) < _APART / 4.0


def _cut(part: Part, sheets: tuple[Sheet, ...], reach: tuple[float, ...], rules: Rules) -> Option | None:
    """The part split by the middle one of a series, its parts by the others; None where nothing is parted."""
    if not sheets:
        return None
    k = len(sheets) // 2
    sheet = sheets[k] if sheets[k].flat else Sheet(sheets[k].u, sheets[k].w, plain(sheets[k].points), False)
    rest, left = (*sheets[:k], *sheets[k + 1 :]), (*reach[:k], *reach[k + 1 :])
    bodies, made = split(part, sheet)
    parts = [p for p in bodies if p.volume >= rules.crumb]
    if len(parts) < 2:
        return _cut(part, rest, left, rules)
    then = []
    for body in parts:
        mine = [n for n, one in enumerate(rest) if _parts(one, body)]
        fits = rules.need.fits(body.mass, body.box)
        then.append(None if fits else _cut(body, tuple(rest[n] for n in mine), tuple(left[n] for n in mine), rules))
    area = float(made[:, 3].sum())
    line, missed, off = shown(part, sheet)
    cost = rules.worth.line * (off - rules.worth.follow * (line - missed)) + rules.worth.area * area
    cost += rules.worth.crumb * (len(bodies) - len(parts))
    cost += rules.worth.wire * max(0.0, reach[k] / rules.wire - 1.0)
    cost += rules.worth.thin * (_thin(parts, sheet, area, rules.thin) + _sliver(part, sheet, made, rules.sliver))
    return Option(sheet, tuple(parts), tuple(then), cost, line, missed, off, area)


def _cut_limbs(part: Part, along: Series, rules: Rules) -> Option | None:
    """The part split by the middle one of a series of joints through one limb each, a ring by two of them."""
    limbs, reach = along.limbs, along.reach
    if len(limbs) < 1 + along.ring:
        return None
    k = len(limbs) // 2
    mine = (0, k) if along.ring else (k,)
    made = split_limbs(part, [limbs[n] for n in mine])
    parts = [p for p in made.parts if p.volume >= rules.crumb]
    rest = [n for n in range(len(limbs)) if n not in mine]
    if len(parts) != 2:
        left = Series(tuple(limbs[n] for n in rest), tuple(reach[n] for n in rest), along.cost, False)
        return None if along.ring else _cut_limbs(part, left, rules)
    then = []
    for body in parts:
        inside = [n for n in rest if _holds(body, limbs[n])]
        own = Series(tuple(limbs[n] for n in inside), tuple(reach[n] for n in inside), 0.0, False)
        then.append(None if rules.need.fits(body.mass, body.box) else _cut_limbs(body, own, rules))
    worth = rules.worth
    cost = worth.line * (made.off - worth.follow * (made.line - made.missed)) + worth.area * made.area
    cost += worth.wire * sum(max(0.0, reach[n] / rules.wire - 1.0) for n in mine)
    cost += worth.thin * sum(
        _sliver(part, limb.sheet, face, rules.sliver) for limb, face in zip(made.limbs, made.faces, strict=True)
    )
    return Option(
        made.limbs[0].sheet,
        tuple(parts),
        tuple(then),
        cost,
        made.line,
        made.missed,
        made.off,
        made.area,
        made.limbs,
    )


def _holds(part: Part, limb: Limb) -> bool:
    """Whether a joint's face is in a part."""
    return limb.point is not None and bool((part.cells == part.of.cells.at(limb.point[None])[0]).any())


def _parts(sheet: Sheet, part: Part) -> bool:
    """Whether a sheet goes through the middle of a part and not past it."""
    over = float((sheet.above(part.of.cells.middles[part.few[2]]) >= 0.0).mean())
    return _LEAST < over < 1.0 - _LEAST


def _thin(parts: list[Part], sheet: Sheet, area: float, least: float) -> float:
    """Square metres of the joint with less than `least` of foam behind them, on the thinner side of it.

    Taken from how much less foam lies within that depth than the joint's area would fill; rims that run out to nothing
    count little, being narrow.
    """
    if least <= 0.0:
        return 0.0
    near = [0.0, 0.0]
    for part in parts:
        away = sheet.above(part.of.cells.middles[part.cells])
        close = np.abs(away) < least
        near[int(away[0] >= 0.0)] += float(part.of.cells.foam[part.cells[close]].sum())
    return max(0.0, area - min(near) / least - 0.25 * area)


def _sliver(part: Part, sheet: Sheet, made: FloatArray, least: float) -> float:
    """Square metres of a joint, of samples as `split` gives them, that leave a thin slab beside a glue line."""
    of = part.of
    if least <= 0.0 or len(of.glue) == 0:
        return 0.0
    normal = sheet.w - sheet.slope(made[:, :3] @ sheet.u)[:, None] * sheet.u
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    away = beside(of.glue, made[:, :3], normal, max(of.gap, FOLLOWED))
    return float(made[away < least, 3].sum())
