# SPDX-License-Identifier: GPL-3.0-or-later
"""Random fields over space: smooth swells, and flat facets with creases. Seeded, the same on every run."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

PERIOD = 32  # lattice points per axis before facets repeat: a power of 2, and more than the demo is long
WAVES = 7  # waves that make the swells; fewer show as ripples, more cost time


class Swells:
    """`count` fields of long smooth swells: waves in random directions, mixed differently for each field.

    Parameters
    ----------
    rng : source of directions, lengths and mixtures.
    length : about how far it is from crest to crest, metres.
    """

    def __init__(self, rng: np.random.Generator, length: float, count: int) -> None:
        way = rng.normal(size=(3, WAVES))
        way /= np.linalg.norm(way, axis=0)
        self._way = way * (2.0 * np.pi / (length * rng.uniform(0.7, 1.4, WAVES)))
        self._phase = rng.uniform(0.0, 2.0 * np.pi, WAVES)
        mix = rng.normal(size=(WAVES, count))
        self._mix = mix / np.linalg.norm(mix, axis=0)

    def __call__(self, points: FloatArray) -> FloatArray:
        """Heights at points (k, 3) metres; (k, count), mostly within -1..1."""
        result: FloatArray = np.sin(points @ self._way + self._phase) @ self._mix
        return result


class Facets:
    """`count` fields of flat facets meeting in creases: random values on a turned lattice, linear on its tetrahedra.

    Parameters
    ----------
    rng : source of the values.
    spacing : lattice spacing, metres: about the size of a facet.
    """

    def __init__(self, rng: np.random.Generator, spacing: float, count: int = 1) -> None:
        self._table = rng.uniform(-1.0, 1.0, (PERIOD**3, count))
        # A random turn: lattice planes then run along no axis of the work, nor along those of another field.
        turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
        self._matrix = turn / spacing
        # Far from 0, so that rounding towards 0 rounds down within 1000 spacings.
        self._shift = rng.uniform(0.0, PERIOD, 3) + 1024.0

    def __call__(self, points: FloatArray) -> FloatArray:
        """Heights at points (k, 3) metres; (k, count), -1..1."""
        place = points @ self._matrix + self._shift
        cell = place.astype(np.int64)
        place -= cell
        cell &= PERIOD - 1
        step = ((cell + 1) & (PERIOD - 1)) - cell  # to the next lattice point, back to the first at the end
        scale = np.array([PERIOD * PERIOD, PERIOD, 1])
        at, step = cell @ scale, (step * scale).T
        fx, fy, fz = place.T
        top = np.maximum(np.maximum(fx, fy), fz)
        low = np.minimum(np.minimum(fx, fy), fz)
        mid = fx + fy + fz - top - low
        first = at + np.where(top == fx, step[0], np.where(top == fy, step[1], step[2]))
        end = at + step[0] + step[1] + step[2]
        last = end - np.where(low == fz, step[2], np.where(low == fy, step[1], step[0]))
        result: FloatArray = self._table[at] * (1.0 - top)[:, None]
        result += self._table[first] * (top - mid)[:, None]
        result += self._table[last] * (mid - low)[:, None]
        result += self._table[end] * low[:, None]
        return result
