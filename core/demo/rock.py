# SPDX-License-Identifier: GPL-3.0-or-later
"""The rock of the demo, 'Wrenlow Skerry', as a field: below 0 in the rock, above 0 in the air.

It is made as such rock is: dipping beds of uneven thickness, two sets of steep joints across them, and blocks between
these that stand proud or lie back, each with a lean of its own. Along joints and beds the sea has worn crevices, and
at the foot lie boulders. In plan a U: two limbs and one end round a bay, open towards +x, in which a boat stands.
All of it is invented.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .noise import Facets, Swells

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Strip = tuple[FloatArray, IntArray]

LENGTH, WIDTH, HEIGHT = 7.0, 3.5, 1.2  # m, the box that the outcrop about fills
MIDDLE = 1.75  # m, y of the bay's middle
DIP = (0.105, -0.07)  # rise of the beds per metre of x and of y
CHUNK = 16_384  # points worked on at a time: small enough for the processor's cache

# Where the joints run, metres: across the limbs (in x) and with them (in y). Placed by hand so that none comes to lie
# just under a face, where it would leave a thin flake. Their depth is that of the valley which they make.
ACROSS = (-0.5, 0.74, 1.34, 2.42, 3.05, 4.02, 4.66, 5.62, 6.2, 7.6)
ALONG = (-0.7, 0.54, 1.28, 2.15, 2.97, 4.2)
# Boulders at the foot: x, y, z of the middle and radius, metres.
BOULDERS = (
    (0.35, 0.30, 0.05, 0.26),
    (2.72, 0.16, 0.06, 0.21),
    (3.12, 0.20, 0.03, 0.17),
    (5.20, 3.2, 0.04, 0.22),
    (1.55, 3.2, 0.08, 0.24),
    (6.72, 3.05, 0.05, 0.22),
    (6.76, 0.62, 0.02, 0.20),
)


def _strip(lines: FloatArray, x: FloatArray) -> Strip:
    """Signed distance to the nearest of the rising `lines`, metres, and which one that is."""
    line = np.searchsorted(0.5 * (lines[1:] + lines[:-1]), x)
    return x - lines[line], line


def _blend(table: FloatArray, strips: list[Strip], width: float, factors: FloatArray | None = None) -> FloatArray:
    """Value of each point's block, eased over `width` metres to either side of the block's bounds.

    table : one axis for each strip; with `factors` (k, c), a last axis of c numbers by which the factors are weighed.
    """
    near = np.zeros(len(strips[0][0]), dtype=bool)
    for away, _ in strips:
        near |= np.abs(away) < width
    result = _weighed(table[tuple(line + (away > 0.0) for away, line in strips)], factors)
    rows = np.flatnonzero(near)
    if len(rows) == 0:
        return result
    parts = []
    for away, line in strips:
        share = np.clip(0.5 + 0.5 * away[rows] / width, 0.0, 1.0)
        parts.append(((line[rows], 1.0 - share), (line[rows] + 1, share)))
    total = np.zeros(len(rows))
    for pick in np.ndindex(*(2,) * len(parts)):
        chosen = [part[k] for part, k in zip(parts, pick, strict=True)]
        weight = chosen[0][1]
        for _, share in chosen[1:]:
            weight = weight * share
        total += weight * _weighed(
            table[tuple(block for block, _ in chosen)], None if factors is None else factors[rows]
        )
    result[rows] = total
    return result


def _weighed(values: FloatArray, factors: FloatArray | None) -> FloatArray:
    result: FloatArray = values if factors is None else np.einsum("ij,ij->i", values, factors)
    return result


def _box(x: FloatArray, y: FloatArray, low: tuple[float, float], high: tuple[float, float], r: float) -> FloatArray:
    """Distance in plan to a box with corners rounded by r, below 0 within."""
    qx = np.abs(x - 0.5 * (low[0] + high[0])) - 0.5 * (high[0] - low[0]) + r
    qy = np.abs(y - 0.5 * (low[1] + high[1])) - 0.5 * (high[1] - low[1]) + r
    outside = np.sqrt(np.maximum(qx, 0.0) ** 2 + np.maximum(qy, 0.0) ** 2)
    result: FloatArray = outside + np.minimum(np.maximum(qx, qy), 0.0) - r
    return result


def _soft_max(a: FloatArray, b: FloatArray, radius: float) -> FloatArray:
    """Larger of two fields, with the edge between them worn off over `radius`."""
    near = np.maximum(radius - np.abs(a - b), 0.0)
    result: FloatArray = np.maximum(a, b) + near * near / (4.0 * radius)
    return result


def _rising(rng: np.random.Generator, low: float, high: float, least: float, most: float) -> FloatArray:
    """Rising places from low to high, `least` to `most` metres apart."""
    places = [low]
    while places[-1] < high:
        places.append(places[-1] + rng.uniform(least, most))
    return np.array(places)


def _middles(lines: FloatArray) -> FloatArray:
    """Middle of each strip between lines, and a place past either end."""
    return np.concatenate([lines[:1] - 0.3, 0.5 * (lines[1:] + lines[:-1]), lines[-1:] + 0.3])


def _boulder(points: FloatArray, x: float, y: float, z: float, size: float) -> FloatArray:
    """A tumbled block, half way from a cube to a ball, turned by an angle that follows from its place."""
    c, s = np.cos(5.0 * x + 3.0 * y), np.sin(5.0 * x + 3.0 * y)
    turned = (points - np.array([x, y, z])) @ np.array([[c, -s, 0.25], [s, c, -0.2], [0.0, 0.3, 1.1]])
    ball = np.sqrt((turned**2).sum(axis=1))
    result: FloatArray = 0.4 * ball + 0.66 * np.abs(turned).max(axis=1) - size
    return result


class Outcrop:
    """The field of the rock, about metres near the surface. The floor is not part of it: the rock goes on below 0."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.swells, self.wear = Swells(rng, 2.2, 4), Swells(rng, 1.2, 3)
        self.kinks = Facets(rng, 0.38, 3)
        self.slabs, self.chips, self.splits = Facets(rng, 0.62), Facets(rng, 0.27), Facets(rng, 0.12)
        self.beds = _rising(rng, -1.1, 1.9, 0.11, 0.36)
        self.laminae = _rising(rng, -1.1, 1.9, 0.05, 0.11)
        self.across, self.along = np.array(ACROSS), np.array(ALONG)
        shape = (len(self.beds) + 1, len(self.across) + 1, len(self.along) + 1)
        soft = rng.random(shape[0]) < 0.35  # soft beds: worn back under the bed above
        proud = rng.uniform(-0.075, 0.075, shape) + np.where(soft, 0.05, -0.035)[:, None, None]
        lean = rng.uniform(-1.0, 1.0, (*shape, 3)) * np.array([0.16, 0.16, 0.25])
        middle = np.stack(np.meshgrid(*map(_middles, (self.across, self.along, self.beds)), indexing="ij"), axis=-1)
        middle = np.moveaxis(middle, 2, 0)
        self.block = np.concatenate([(proud - (lean * middle).sum(axis=-1))[..., None], lean], axis=-1)
        self.rib = rng.uniform(-0.013, 0.013, len(self.laminae) + 1)
        self.top = self._tops(rng)
        self.depths = (
            rng.uniform(0.01, 0.07, len(self.beds)),
            rng.uniform(0.09, 0.13, len(self.across)),
            rng.uniform(0.07, 0.1, len(self.along)),
        )

    def _tops(self, rng: np.random.Generator) -> FloatArray:
        """Bed height at which each column of blocks ends: the bed nearest below the wanted skyline there."""
        x, y = np.meshgrid(_middles(self.across), _middles(self.along), indexing="ij")
        north = 1.24 - 0.10 * np.maximum(x - 1.6, 0.0)
        south = 1.08 - 0.13 * np.maximum(x - 0.9, 0.0) + 0.42 * np.exp(-(((x - 5.1) / 0.55) ** 2))
        height = np.where(y > MIDDLE + 0.6, north, np.where(y < MIDDLE - 0.6, south, 0.5 * (north + south)))
        height += rng.uniform(-0.14, 0.1, x.shape)
        height[1, [1, -2]] -= 0.6  # the two corners away from the bay: small blocks, that would stand up as spikes
        bedded = np.minimum(height, HEIGHT - 0.15) - DIP[0] * (x - 3.5) - DIP[1] * (y - MIDDLE)
        top: FloatArray = self.beds[np.searchsorted(self.beds, bedded + 0.04) - 1]
        return top

    def __call__(self, points: FloatArray) -> FloatArray:
        """Field at points (k, 3), metres; (k,)."""
        result = np.empty(len(points))
        for start in range(0, len(points), CHUNK):
            result[start : start + CHUNK] = self._field(points[start : start + CHUNK])
        return result

    def _field(self, points: FloatArray) -> FloatArray:
        x, y, z = points.T
        swells = self.swells(points)
        px, py = x + 0.09 * swells[:, 1], y + 0.09 * swells[:, 0]
        outer = _box(px, py, (0.19, 0.21), (LENGTH - 0.17, WIDTH - 0.25), 0.45)
        bay = _box(px, py, (2.05, 0.98), (LENGTH + 2.0, 2.52), 0.45)
        outer += 0.13 * (z - 0.25) + 0.03 * swells[:, 3]  # faces lean back as they rise
        bay -= 0.13 * (z - 0.45) + 0.03 * swells[:, 3]
        side = np.maximum(outer, -bay)
        # Far from the surface the rest changes no sign: detail takes off or adds 0.3 m at most.
        rows = np.flatnonzero((side < 0.3) & (z < HEIGHT + 0.1))
        result = np.maximum(side, z - HEIGHT)
        if len(rows):
            result[rows] = self._detail(points[rows], side[rows], swells[rows])
        return result

    def _detail(self, points: FloatArray, side: FloatArray, swells: FloatArray) -> FloatArray:
        x, y, z = points.T
        kinks = self.kinks(points)
        # Coordinates square to the joints and beds; bent, kinked and fanned, so that no crevice runs straight.
        u = x + (y - MIDDLE) * 0.22 * np.sin(1.1 * x + 0.6) + 0.16 * (z - 0.5) * np.sin(2.3 * x)
        u += 0.07 * swells[:, 0] + 0.04 * kinks[:, 0]
        v = y + 0.05 * np.sin(1.4 * x + 2.0) + 0.10 * (z - 0.5) * np.sin(1.7 * x)
        v += 0.06 * swells[:, 1] + 0.04 * kinks[:, 1]
        w = z - DIP[0] * (x - 3.5) - DIP[1] * (y - MIDDLE) + 0.03 * swells[:, 2] + 0.014 * kinks[:, 2]
        strips = [_strip(self.beds, w), _strip(self.across, u), _strip(self.along, v)]

        factors = np.stack([np.ones(len(u)), u, v, w], axis=1)
        worn = (0.05 * self.slabs(points) + 0.026 * self.chips(points) + 0.008 * self.splits(points))[:, 0]
        side = side + worn + _blend(self.block, strips, 0.02, factors)
        side += _blend(self.rib, [_strip(self.laminae, w)], 0.01)
        side += 0.4 * np.maximum(0.14 - z, 0.0)  # undercut by the waves at the foot; it also leaves no thin edge there
        top = w - _blend(self.top, strips[1:], 0.03) + 0.55 * worn + 0.02 * swells[:, 3]
        rock = _soft_max(side, top, 0.025)

        # Crevices: V-shaped valleys along beds and joints; how deep comes and goes along their run. A bed's valley
        # fades out close under the top, where it would run along the surface and pit it.
        covered = np.clip(-top / 0.08 - 0.5, 0.0, 1.0)
        worn_out = np.zeros(len(rock))
        for axis, width in enumerate((0.026, 0.042, 0.038)):
            away, line = strips[axis]
            rows = np.flatnonzero(np.abs(away) < width)
            wear = np.clip(0.85 + 0.4 * self.wear(points[rows])[:, axis], 0.4, 1.2)
            if axis == 0:
                wear *= covered[rows]
            valley = self.depths[axis][line[rows]] * wear * (1.0 - np.abs(away[rows]) / width)
            worn_out[rows] = np.maximum(worn_out[rows], valley)
        rock += worn_out
        for boulder in BOULDERS:
            rows = np.flatnonzero((np.abs(x - boulder[0]) < 0.4) & (np.abs(y - boulder[1]) < 0.4) & (z < 0.5))
            if len(rows):
                rock[rows] = np.minimum(rock[rows], _boulder(points[rows], *boulder) + 0.8 * worn[rows])
        return rock
