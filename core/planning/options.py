# SPDX-License-Identifier: GPL-3.0-or-later
"""Ways to cut one part: planes and profiles in many directions, the likeliest of them really split."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..job import Job
from .image import COLUMN, RISE, ROW, Image, Slab, below, make_image, whole_slab
from .need import Need
from .part import Part, Sheet, shown, split
from .path import Band, best_paths, knots, plain
from .sweep import Sweep, sweep
from .worth import Worth

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_AROUND: Final = 6
"""Level directions, 30 degrees apart; a profile bends further than half of that, and its wire is turned later."""

_WIRES: Final = (0.0, 60.0, 120.0)
"""Degrees from upright at which the wire is tried, before it is turned further."""

_BAND: Final = 15
"""Rows to either side of a plane that a profile may stray."""

_STEP: Final = 8
"""Rows from one band's middle to the next: bands overlap, so that no way between two seams is missed."""

_BANDS: Final = 10
"""Most bands in one direction that profiles are sought in."""

_BENT: Final = 2
"""Directions in which profiles are sought: those whose planes promise most."""

_PROMISE: Final = 0.45
"""Share of a plane's exposed line that a profile near it is hoped to show, when directions are compared."""

_SHOWN: Final = 2.0
"""Metres of line off seams that a joint yet to come shows, for each metre of its width. Rather much: a search that
hopes for too much stays at the first cuts."""

_POLISHED: Final = 1
"""Profiles of a part whose wire is turned further."""

_TURNS: Final = (18.0, 8.0)
"""Degrees by which the wire is turned, step by step, each way about both axes of the profile."""

_GAIN: Final = 0.02
"""Metres of line that a turn of the wire must save."""

_NEAR: Final = 0.35
"""Metres to either side of a profile that are looked at while its wire is turned: its band, and what turns bring in."""

_TRIED: Final = 6
"""Ways that are really split."""

_APART: Final = 0.1
"""Metres: two ways of one kind and direction closer than this are one."""

_ROWS: Final = 100
"""About as many planes of a direction that are weighed by what their sides come to."""

_LEAST: Final = 0.04
"""Share of the part, on the smaller side, under which a way is not looked at."""


@dataclass(frozen=True, eq=False)
class Option:
    """A way to cut a part.

    Attributes
    ----------
    sheet : the joint. parts : what it makes. cost : of the joint itself, in pieces.
    line, missed, off : metres of visible line, metres of it off seams, and those weighted by what they cost.
    area : square metres.
    """

    sheet: Sheet
    parts: tuple[Part, ...]
    cost: float
    line: float
    missed: float
    off: float
    area: float


@dataclass(frozen=True, eq=False)
class _Way:
    sheet: Sheet
    score: float
    reach: float


@dataclass(frozen=True, eq=False)
class Rules:
    """What options are judged by.

    Attributes
    ----------
    need, worth : laws of pieces and costs. profiles : whether profiles are sought. planes : whether planes are.
    wire : longest stretch of wire in foam, metres. thin : least thickness, metres.
    crumb : cubic metres under which a body is no piece.
    """

    need: Need
    worth: Worth
    planes: bool
    profiles: bool
    wire: float
    thin: float
    crumb: float

    @classmethod
    def of(cls, job: Job, need: Need, worth: Worth, crumb: float) -> Rules:
        """Rules of a job."""
        kinds = job.joints.kinds
        limits = job.limits
        return cls(need, worth, "plane" in kinds, "profile" in kinds, limits.wire_length, limits.min_thickness, crumb)

    def leaf(self, mass: float | FloatArray) -> FloatArray:
        """Cost of a piece: one, and more where it is small."""
        lack = np.clip(self.worth.light - np.asarray(mass) / self.need.limit, 0.0, None) / self.worth.light
        out: FloatArray = 1.0 + self.worth.small * lack
        return out

    def estimate(self, box: FloatArray, volume: FloatArray, mass: FloatArray) -> FloatArray:
        """Cost that parts come to, (n,): pieces, and the joints between them."""
        pieces = self.need.pieces(box, volume, mass)
        # A joint between pieces of this limit is about as large as the face of a cube of the mean piece.
        face = (np.maximum(volume, 1e-9) / np.maximum(pieces, 1.0)) ** (2.0 / 3.0)
        each = self.worth.area * face + self.worth.line * _SHOWN * np.sqrt(face)
        return np.where(pieces <= 1.0, self.leaf(mass), pieces + (pieces - 1.0) * each)


def options(part: Part, rules: Rules) -> list[Option]:
    """Ways to cut a part, the best first by what its parts seem to come to; none where nothing can be cut."""
    slab = whole_slab(part)
    sweeps = [sweep(part, w) for w in _directions(part)]
    ways: list[_Way] = []
    hopes = []
    for one in sweeps:
        rest, ok = _rest(one, part, rules)
        flat = rest + rules.worth.line * one.cost + rules.worth.area * one.area
        hopes.append((float((flat - (1.0 - _PROMISE) * rules.worth.line * one.cost).min(initial=np.inf)), rest, ok))
        if rules.planes or not rules.profiles:
            ways += _planes(one, flat)
    if rules.profiles:
        order = sorted(range(len(sweeps)), key=lambda k: hopes[k][0])
        for k in order[:_BENT]:
            if np.isfinite(hopes[k][0]):
                ways += _profiles(part, slab, sweeps[k], *hopes[k][1:], rules)
    found = [pair for way in _chosen(ways) if (pair := _try(part, way, rules)) is not None]
    found.sort(key=lambda pair: _total(pair[0], rules))
    bent = [pair for pair in found if not pair[0].sheet.flat][:_POLISHED]
    for option, made in bent:
        way = _polished(slab, option.sheet, made, rules)
        pair = None if way is None else _try(part, way, rules)
        if pair is not None:
            found.append(pair)
    return [option for option, _ in found]


def _total(option: Option, rules: Rules) -> float:
    """What a way comes to as far as one can tell."""
    box = np.array([p.box for p in option.parts])
    volume, mass = (np.array([getattr(p, name) for p in option.parts]) for name in ("volume", "mass"))
    return option.cost + float(rules.estimate(box, volume, mass).sum())


def _directions(part: Part) -> list[FloatArray]:
    turn = round(np.degrees(part.turn))
    angle = np.radians((turn + np.arange(_AROUND) * (180.0 / _AROUND)) % 180.0)
    level = [np.array([np.cos(a), np.sin(a), 0.0]) for a in angle]
    for w in level:
        w[np.abs(w) < 1e-12] = 0.0
    return [*level, np.array([0.0, 0.0, 1.0])]


def _rest(one: Sweep, part: Part, rules: Rules) -> tuple[FloatArray, NDArray[np.bool_]]:
    """What the two sides of each plane come to, and which planes are worth a look."""
    volume, mass = part.foam, float(one.mass[-1])
    share = one.volume / volume
    # Every row only where the part is small: then a centimetre decides whether a side is a piece.
    rows = np.flatnonzero((share > _LEAST) & (share < 1.0 - _LEAST))
    rows = rows[:: max(1, len(rows) // _ROWS)]
    rest, ok = np.full(len(share), np.inf), np.zeros(len(share), dtype=bool)
    own = (part.of.face_mass - part.of.density * part.of.gap / 2.0) * one.area[rows]
    below = rules.estimate(one.low[rows], one.volume[rows], one.mass[rows] + own)
    above = rules.estimate(one.high[rows], volume - one.volume[rows], mass - one.mass[rows] + own)
    rest[rows] = below + above
    ok[rows] = True
    return rest, ok


def _planes(one: Sweep, flat: FloatArray) -> list[_Way]:
    """The best planes of a direction, apart from each other."""
    out: list[_Way] = []
    far = int(_APART / ROW)
    flat = flat.copy()
    u = _across(one.w, 0.0)
    for _ in range(3):
        k = int(np.argmin(flat))
        if not np.isfinite(flat[k]):
            break
        points = np.array([[0.0, one.at(k)]])
        out.append(_Way(Sheet(u, one.w, points, True), float(flat[k]), 0.0))
        flat[max(0, k - far) : k + far + 1] = np.inf
    return out


def _across(w: FloatArray, degrees: float) -> FloatArray:
    """U for a wire square to w, so many degrees from upright (from +x where w is upright)."""
    up = np.array([0.0, 0.0, 1.0]) if abs(w[2]) < 0.5 else np.array([1.0, 0.0, 0.0])
    side = np.cross(up, w)
    turn = np.radians(degrees)
    wire = np.cos(turn) * up + np.sin(turn) * side
    wire[np.abs(wire) < 1e-12] = 0.0
    u: FloatArray = np.cross(w, wire)
    return u / np.linalg.norm(u)


def _profiles(part: Part, slab: Slab, one: Sweep, rest: FloatArray, ok: NDArray[np.bool_], rules: Rules) -> list[_Way]:
    """The best profiles about planes of one direction, for each direction of the wire."""
    hope = np.where(ok, rest + rules.worth.area * one.area + _PROMISE * rules.worth.line * one.cost, np.inf)
    # The best place in each stretch of _STEP rows, then the best stretches.
    stretches = [hope[k : k + _STEP] for k in range(0, len(hope), _STEP)]
    borders = np.array([k * _STEP + int(np.argmin(s)) for k, s in enumerate(stretches)])
    order = np.argsort(hope[borders], kind="stable")[:_BANDS]
    borders = np.sort(borders[order][np.isfinite(hope[borders[order]])])
    if len(borders) == 0:
        return []
    out: list[_Way] = []
    mass, volume = float(one.mass[-1]), part.foam
    of = part.of
    for degrees in _WIRES:
        u = _across(one.w, degrees)
        image = make_image(slab, u, one.w)
        centres = (borders + one.first_row - image.first_row).tolist()
        found = best_paths([Band(image, c) for c in centres], _BAND, rules.worth.area / rules.worth.line)
        rows = np.stack([path for _, path in found])
        off, area, reach = _along(image, rows)
        held, laid = below(part, image, u, one.w)
        at = (np.arange(rows.shape[1] - 1)[None, :], rows[:, :-1])
        foam, skin = held[at].sum(axis=1), laid[at].sum(axis=1)
        own = (of.face_mass - of.density * of.gap / 2.0) * area
        lower = rules.estimate(one.low[borders], foam, of.density * foam + skin + own)
        upper = rules.estimate(one.high[borders], volume - foam, mass - of.density * foam - skin + own)
        score = lower + upper + rules.worth.line * off + rules.worth.area * area
        score += rules.worth.wire * np.maximum(reach / rules.wire - 1.0, 0.0)
        taken: list[int] = []
        for k in np.argsort(score, kind="stable").tolist():
            if len(taken) == 3:
                break
            if any(np.abs(rows[k] - rows[t]).mean() * ROW < _APART for t in taken):
                continue
            taken.append(k)
            sheet = Sheet(u, one.w, knots(image, rows[k]), False)
            out.append(_Way(sheet, float(score[k]), float(reach[k])))
    return out


def _along(image: Image, rows: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """What paths show and part: weighted line off seams, area, longest wire; each (b,)."""
    columns = np.arange(image.depth.shape[0])[None, :]
    rise = np.diff(rows, axis=1)
    at = np.clip(rows[:, :-1] + (rise / 2.0).astype(np.int64), 0, image.depth.shape[1] - 1)
    slope = np.abs(rise) / RISE
    steep = image.cost[np.where(rise < 0, 0, 2), columns, at]
    off = (image.cost[1][columns, at] * (1.0 - slope) + steep * slope).sum(axis=1)
    depth = image.depth[columns, at]
    return off, (depth * np.hypot(1.0, slope)).sum(axis=1) * COLUMN, depth.max(axis=1)


def _polished(slab: Slab, sheet: Sheet, made: FloatArray, rules: Rules) -> _Way | None:
    """A profile near another, its wire turned so that it follows seams on more sides; None if none shows less."""
    middle = (made[:, :3] * made[:, 3:]).sum(axis=0) / made[:, 3].sum()
    price = rules.worth.area / rules.worth.line
    near = slab.near(middle, sheet.w, _NEAR)

    def look(axes: list[tuple[FloatArray, FloatArray]]) -> list[tuple[float, Image, IntArray]]:
        images = [make_image(near, u, w) for u, w in axes]
        bands = [
            Band(image, int(np.floor(middle @ w / ROW)) - image.first_row)
            for image, (_, w) in zip(images, axes, strict=True)
        ]
        return [
            (cost, band.image, rows) for band, (cost, rows) in zip(bands, best_paths(bands, _BAND, price), strict=True)
        ]

    u, w = sheet.u, sheet.w
    best = None
    for degrees in _TURNS:
        turn = np.radians(degrees)
        tried = [] if best is not None else [(u, w)]
        for angle in (turn, -turn):
            wire = np.cross(u, w)
            c, s = np.cos(angle), np.sin(angle)
            tried += [(c * u + s * wire, w), (u, c * w + s * wire)]
        found = look(tried)
        if best is None:
            best = found[0]
            first = best
        k = min(range(len(found)), key=lambda k: found[k][0])
        if found[k][0] < best[0] - _GAIN:
            best, (u, w) = found[k], tried[k]
    if best is None or best is first:
        return None
    reach = _along(best[1], best[2][None])[2]
    return _Way(Sheet(u, w, knots(best[1], best[2]), False), 0.0, float(reach[0]))


def _chosen(ways: list[_Way]) -> list[_Way]:
    """The likeliest ways, of which no two are nearly the same."""
    out: list[_Way] = []
    for way in sorted(ways, key=lambda way: way.score):
        if len(out) == _TRIED or not np.isfinite(way.score):
            break
        if not any(_alike(way.sheet, other.sheet) for other in out):
            out.append(way)
    return out


def _alike(a: Sheet, b: Sheet) -> bool:
    if a.flat != b.flat or abs(float(a.w @ b.w)) < 0.999 or abs(float(a.u @ b.u)) < 0.999:
        return False
    if a.flat:
        return abs(float(a.points[0, 1] - b.points[0, 1])) < _APART / 2.0
    at = np.linspace(a.points[0, 0], a.points[-1, 0], 50)
    return float(np.abs(a.height(at) - b.height(at)).mean()) < _APART / 4.0


def _try(part: Part, way: _Way, rules: Rules) -> tuple[Option, FloatArray] | None:
    """Split the part, and samples of the joint; None where nothing is parted but a crumb."""
    sheet = way.sheet if way.sheet.flat else Sheet(way.sheet.u, way.sheet.w, plain(way.sheet.points), False)
    bodies, made = split(part, sheet)
    area = float(made[:, 3].sum())
    parts = [p for p in bodies if p.volume >= rules.crumb]
    if len(parts) < 2:
        return None
    line, missed, off = shown(part, sheet)
    cost = rules.worth.line * off + rules.worth.area * area
    cost += rules.worth.crumb * (len(bodies) - len(parts))
    cost += rules.worth.wire * max(0.0, way.reach / rules.wire - 1.0)
    cost += rules.worth.thin * _thin(parts, sheet, area, rules.thin)
    return Option(sheet, tuple(parts), cost, line, missed, off, area), made


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
