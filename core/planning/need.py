# SPDX-License-Identifier: GPL-3.0-or-later
"""How many pieces a body needs: what a plan may hope for, and what none can beat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..handling.checks import size_limits
from ..handling.figures import PieceFigures
from ..handling.one_billet import by_size
from ..job import Job
from ..mesh.mesh import JOINT, KIND_NAMES
from ..skin.mass import mass_per_area
from .worth import Worth

FloatArray = NDArray[np.float64]
Single = NDArray[np.float32]

_MOST: Final = (12, 6, 4)
"""Most parts along length, width and height that are counted; larger bodies go by their volume."""

_HAIR: Final = 0.004
"""Metres by which parts keep under the size limits: samples stand that far from a carving's outermost points."""

_FILL: Final = (0.88, 0.09)
"""Share of the mass limit that pieces reach on average: this much, and so much more where one joint makes them."""

_COUNT: Final = 60
"""Most parts of a grid."""

_CLASSES: Final = ((1.0, 4.0), (2.0, 8.0), (4.0, 12.0))
"""Mass limits up to which a body is compared with grids of so many parts, to begin with."""

_SHOWN: Final = 0.8
"""Share of an average plane's exposed line that a joint not yet planned is hoped to show, before it follows seams."""

_FOLLOWED: Final = 0.3
"""Share of that line that a joint follows where seams abound."""

_EACH: Final = 0.5
"""Metres of seam to a metre of line where a joint finds half as much to follow."""

_DEAR: Final = 1.6
"""Cost of a piece and its joints of a body too large for any grid."""

_ROUND: Final = 1e-6
"""Share of a size that single precision may add."""

_AT_ONCE: Final = 16_384
"""Bodies times grids that are compared at once."""

_HOLLOW: Final = 0.55
"""Share of its box that a body fills under which parts of the box count as empty (a ring, a U)."""


@dataclass(frozen=True)
class Bounds:
    """Numbers of pieces, none fewer.

    Attributes
    ----------
    fewest : proved: no cutting whatever gives fewer pieces within mass and height (see `bounds`).
    practical : pieces as cubes of equal mass: what a good plan comes near to, not a proof.
    """

    fewest: int
    practical: int


def bounds(whole: PieceFigures, job: Job, lost: float = 0.0) -> Bounds:
    """Bounds on the number of pieces.

    Parameters
    ----------
    whole : measures of the carving. job : foam, skin and limits are read.
    lost : cubic metres that gaps take off.

    Notes
    -----
    Fewest. A piece of volume v has at least the area of a ball, (36 pi)^(1/3) v^(2/3) (isoperimetric inequality), and
    each square metre bears at least the lightest class's skin; so it holds at most the v at which that weighs the
    limit, and pieces must hold the carving's foam. The finished mass without joints over the limit, and the height
    over the height limit (where pieces keep their up), are bounds too; the largest counts. Mass per area is that of
    the exact area; where the skin is weighed by another law, the lightest class is scaled by the whole's own ratio.

    Practical. N pieces as equal cubes: N limit = foam + skin on the carving's faces + joint skin on the rest of the
    cubes' area, 6 N^(1/3) V^(2/3).
    """
    limit = job.limits.piece_mass
    mass = np.array([mass_per_area(job, name) for name in KIND_NAMES])
    areas = np.array(whole.areas)
    laid = float(mass @ areas)
    scale = whole.skin_mass / laid if laid > 0.0 else 1.0
    least = float(mass.min()) * min(1.0, scale)
    volume = max(whole.volume - lost, 0.0)
    ball = _largest(job.foam.density, least * (36.0 * math.pi) ** (1.0 / 3.0), limit)
    bare = job.foam.density * volume + whole.skin_mass
    fewest = max(1, _ceil(volume / ball), _ceil(bare / limit))
    if not job.limits.any_pose:
        fewest = max(fewest, _ceil(whole.box[2] / size_limits(job)[2]))
    cube = 1
    while cube < 100_000:
        joint = max(0.0, 6.0 * cube ** (1.0 / 3.0) * volume ** (2.0 / 3.0) - float(areas.sum()))
        if job.foam.density * volume + whole.skin_mass + float(mass[JOINT]) * joint <= cube * limit * (1.0 + 1e-12):
            break
        cube += 1
    return Bounds(fewest, max(cube, fewest))


def _ceil(x: float) -> int:
    return math.ceil(x - 1e-9)


def _largest(density: float, skin: float, limit: float) -> float:
    """Largest v with density v + skin v^(2/3) within the limit."""
    low, high = 0.0, limit / density
    for _ in range(200):
        middle = (low + high) / 2.0
        low, high = (middle, high) if density * middle + skin * middle ** (2.0 / 3.0) <= limit else (low, middle)
    return high


@dataclass(frozen=True, eq=False)
class Need:
    """The law by which parts are judged before they are cut further: see `Need.cost`.

    stock : sides of a billet from large to small, with what the skin adds, where each piece must come out of one.
    """

    grids: FloatArray
    limit: float
    size: tuple[float, float, float]
    face_mass: float
    any_pose: bool
    stock: tuple[float, float, float] | None = None

    @classmethod
    def of(cls, job: Job, face_mass: float, mass_share: float, grow: float = 0.0) -> Need:
        """The law of a job; `mass_share` of the mass limit is planned with; boxes hold `grow` metres of skin."""
        p, q, r = (np.arange(1, most + 1) for most in _MOST)
        grids = np.stack([a.ravel() for a in np.meshgrid(p, q, r, indexing="ij")], axis=1)
        halves = np.array([[n / 2.0, 2.0, k] for n in range(3, 16, 2) for k in (1.0, 2.0)])
        grids = np.concatenate([grids, halves])
        grids = grids[np.prod(grids, axis=1) <= _COUNT]
        length, width, height = size_limits(job)
        long, middle, short = sorted(job.foam.billet, reverse=True)
        return cls(
            grids[np.argsort(np.prod(grids, axis=1), kind="stable")].astype(np.float64),
            job.limits.piece_mass * mass_share,
            (length - _HAIR, width - _HAIR, height - _HAIR),
            face_mass,
            job.limits.any_pose,
            (long - _HAIR + grow, middle - _HAIR + grow, short - _HAIR + grow) if by_size(job) else None,
        )

    def fits(self, mass: float, box: Sequence[float]) -> bool:
        """Whether a part is a piece."""
        turned = sorted(box, reverse=True)
        bars = [(turned if self.any_pose else box, self.size)]
        if self.stock is not None:
            bars.append((turned, self.stock))
        return mass <= self.limit and all(
            side <= most * (1.0 + 1e-9) for sides, limits in bars for side, most in zip(sides, limits, strict=True)
        )

    def leaf(self, mass: float | FloatArray, worth: Worth) -> FloatArray:
        """Cost of a piece: one, and more where it is small."""
        lack = np.clip(worth.light - np.asarray(mass) / self.limit, 0.0, None) / worth.light
        out: FloatArray = 1.0 + worth.small * lack
        return out

    def cost(self, box: FloatArray, volume: FloatArray, mass: FloatArray, line: FloatArray, worth: Worth) -> FloatArray:
        """What bodies come to, in pieces, (n,).

        Parameters
        ----------
        box : (n, 3) metres along two level axes and upwards. volume : (n,) cubic metres.
        mass : (n,) kilograms, with the skin on the faces that they have.
        line : (n, 6) what joints across each axis show, see `Samples.lines`.

        Notes
        -----
        Each body is thought cut into p x q x r equal parts of its box. The joints that this takes add skin and show
        line; of the grids whose parts are within mass and size the cheapest is the answer. Mass alone would call half
        of what is needed.
        """
        swap = box[:, 1] > box[:, 0]
        box, line = box.copy(), line.copy()
        box[swap, :2] = box[swap, 1::-1]
        line[swap, :2] = line[swap, 1::-1]
        line[swap, 3:5] = line[swap, 4:2:-1]
        # Single precision does for what is only an estimate, and is twice as fast; so are long rows.
        bodies = np.concatenate([box, volume[:, None], mass[:, None], line], axis=1).T.astype(np.float32)
        fill = _filled(bodies)
        hollow = np.minimum(1.0, fill / _HOLLOW)
        weighs = mass / self.limit
        most = np.array([parts for _, parts in _CLASSES] + [np.inf])
        cap = most[np.searchsorted([limits for limits, _ in _CLASSES], weighs)]
        out: FloatArray = np.full(len(box), np.inf)
        for low, high, grids in self._groups:
            # No grid of so many parts comes to less than its parts, nor holds more than the limit in each.
            rows = np.flatnonzero((out > (low if low == 1 else np.maximum(low * hollow, 2.0))) & (weighs <= high))
            rows = rows[(cap[rows] >= low) | ~np.isfinite(out[rows])]
            step = max(1, _AT_ONCE // grids.shape[1])
            for begin in range(0, len(rows), step):
                some = rows[begin : begin + step]
                out[some] = np.minimum(out[some], self._least(bodies[:, some], fill[some], worth, grids))
        far = ~np.isfinite(out)
        out[far] = np.maximum(float(_COUNT), weighs[far] * 1.6) * _DEAR
        return out

    @cached_property
    def _groups(self) -> list[tuple[int, int, Single]]:
        """Grids of so many parts, from and to: (3, g, 1)."""
        count = np.prod(self.grids, axis=1)
        ends = [(1, 1), (2, 2), (3, 4), (5, 8), (9, 12), (13, _COUNT)]
        return [
            (low, high, self.grids[(count >= low) & (count <= high)].T[:, :, None].astype(np.float32))
            for low, high in ends
        ]

    def _least(self, bodies: Single, fill: Single, worth: Worth, grids: Single) -> Single:
        """The least that some grids come to, a row for each while they are compared: numpy is quick along long rows."""
        length, width, height, _, mass = bodies[:5]
        p, q, r = grids
        count = p * q * r
        a, b, c = length / p, width / q, height / r
        a, b = np.maximum(a, b), np.minimum(a, b)
        turned = (a, b, c)
        if self.any_pose or self.stock is not None:
            turned = np.maximum(a, c), np.maximum(b, np.minimum(a, c)), np.minimum(b, c)
        ok = np.ones((len(p), len(length)), dtype=bool)
        for sides, limits in ((turned if self.any_pose else (a, b, c), self.size), (turned, self.stock)):
            if limits is not None:
                for side, most in zip(sides, limits, strict=True):
                    ok &= side <= most * (1.0 + _ROUND)
        room = count * np.minimum(1.0, fill / _HOLLOW)
        number = np.maximum(room, 2.0)
        share = _FILL[0] + _FILL[1] * 2.0 / count
        if count[0, 0] <= 1.0:
            room[:], number[:], share[:] = 1.0, 1.0, 1.0
        foam = length * width * height * fill
        added = np.zeros_like(room)
        value = np.zeros_like(room)
        for parts, side, shown, seam in zip(grids, bodies[:3], bodies[5:8], bodies[8:], strict=True):
            side = np.maximum(side, 1e-9)
            added += (parts - 1.0) * (foam / side)
            # Joints that show so much line follow the more of it, the more seam there is for each.
            line = (parts - 1.0) * (shown / side)
            value += (worth.line * _SHOWN) * line * (1.0 - _FOLLOWED * seam / (seam + _EACH * line + 1e-9))
        total = (2.0 * self.face_mass) * added
        total += mass
        ok &= total <= room * (share * self.limit)
        value += worth.area * added
        value += number * self.leaf(total / number, worth) + worth.floor * r * (length * width * fill)
        value[~ok] = np.inf
        out: Single = value.min(axis=0)
        return out


def _filled(bodies: Single) -> Single:
    """Share of its box that each body fills, at least a twentieth."""
    out: Single = np.clip(bodies[3] / np.maximum(bodies[0] * bodies[1] * bodies[2], 1e-12), 0.05, 1.0)
    return out
