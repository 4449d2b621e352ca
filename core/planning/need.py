# SPDX-License-Identifier: GPL-3.0-or-later
"""How many pieces a body needs: what a plan may hope for, and what none can beat."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..handling.checks import size_limits
from ..handling.figures import PieceFigures
from ..job import Job
from ..mesh.mesh import JOINT, KIND_NAMES
from ..skin.mass import mass_per_area

FloatArray = NDArray[np.float64]

_MOST: Final = (12, 6, 4)
"""Most parts along length, width and height that are counted; larger bodies go by their volume."""

_HAIR: Final = 0.004
"""Metres by which parts keep under the size limits: samples stand that far from a carving's outermost points."""

_FILL: Final = (0.88, 0.09)
"""Share of the mass limit that pieces reach on average: this much, and so much more where one joint makes them."""

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
    """The law by which parts are judged before they are cut further: see `Need.pieces`."""

    grids: FloatArray
    limit: float
    size: tuple[float, float, float]
    face_mass: float
    any_pose: bool

    @classmethod
    def of(cls, job: Job, face_mass: float, mass_share: float) -> Need:
        """The law of a job; `mass_share` of the mass limit is planned with."""
        p, q, r = (np.arange(1, most + 1) for most in _MOST)
        grids = np.stack([a.ravel() for a in np.meshgrid(p, q, r, indexing="ij")], axis=1)
        halves = np.array([[n / 2.0, 2.0, k] for n in range(3, 16, 2) for k in (1.0, 2.0)])
        grids = np.concatenate([grids, halves])
        grids = grids[np.prod(grids, axis=1) <= 36]
        length, width, height = size_limits(job)
        return cls(
            grids[np.argsort(np.prod(grids, axis=1), kind="stable")].astype(np.float64),
            job.limits.piece_mass * mass_share,
            (length - _HAIR, width - _HAIR, height - _HAIR),
            face_mass,
            job.limits.any_pose,
        )

    def fits(self, mass: float, box: Sequence[float]) -> bool:
        """Whether a part is a piece."""
        sides = sorted(box, reverse=True) if self.any_pose else box
        return mass <= self.limit and all(
            side <= most * (1.0 + 1e-9) for side, most in zip(sides, self.size, strict=True)
        )

    def pieces(self, box: FloatArray, volume: FloatArray, mass: FloatArray) -> FloatArray:
        """Pieces that bodies come to, (n,).

        Parameters
        ----------
        box : (n, 3) length, width, height, metres, length at least width. volume : (n,) cubic metres.
        mass : (n,) kilograms, with the skin on the faces that they have.

        Notes
        -----
        Each body is thought cut into p x q x r equal parts of its box. The joints that this takes add skin; the least
        p q r whose parts are within mass and size is the answer. Mass alone would call half of what is needed.
        """
        length, width, height = (box[:, k : k + 1] for k in range(3))
        p, q, r = self.grids.T
        fill = np.clip(volume / np.maximum(np.prod(box, axis=1), 1e-12), 0.05, 1.0)[:, None]
        added = (p - 1.0) * width * height + (q - 1.0) * length * height + (r - 1.0) * length * width
        count = p * q * r
        room = np.where(count <= 1.0, count, count * np.minimum(1.0, fill / _HOLLOW))
        share = np.where(count <= 1.0, 1.0, _FILL[0] + _FILL[1] * 2.0 / count)
        ok = mass[:, None] + 2.0 * self.face_mass * fill * added <= room * share * self.limit
        a, b, c = length / p, width / q, height / r
        if self.any_pose:
            a, b, c = np.sort(np.broadcast_arrays(c, b, a), axis=0)[::-1]
        else:
            a, b = np.maximum(a, b), np.minimum(a, b)
        for side, most in zip((a, b, c), self.size, strict=True):
            ok &= side <= most * (1.0 + 1e-9)
        some = ok.any(axis=1)
        first = np.argmax(ok, axis=1)
        hollow = np.minimum(1.0, fill[:, 0] / _HOLLOW)
        out: FloatArray = np.where(some, np.where(first > 0, np.maximum(2.0, count[first] * hollow), 1.0), 0.0)
        far = ~some
        if far.any():
            out[far] = np.maximum(36.0, mass[far] / self.limit * 1.6)
        return out
