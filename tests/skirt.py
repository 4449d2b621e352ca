# SPDX-License-Identifier: GPL-3.0-or-later
"""A rock skirt: a band of rock that stands round a frame, hollow inside; our own invention, sizes as in the trade.

It stands 20 mm off a frame of 5.0 x 1.6 m whose corners are rounded, is 0.6 to 1.0 m high and 0.4 to 0.7 m wide at its
foot, plumb on the inside (a back, against the frame) and falls away outwards like a bank of boulders. V-grooves run
over it about every 0.6 m.
Everything follows from the seed.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from seamwright.core.mesh.mesh import BACK, CARVED, Mesh

FloatArray = NDArray[np.float64]

FRAME = (5.0, 1.6)
ROOM = 0.02
"""Metres between the frame and the foam."""

CORNER = 0.15
"""Metres: radius of the inside's corners."""

HEIGHT, WIDTH = (0.6, 1.0), (0.4, 0.7)
PLUMP = 2.4
"""Exponent of the bank's outline: 2 is a quarter of an ellipse, more is fuller."""

SPACING = 0.6
"""Metres from groove to groove along the inside, about."""

_INSIDE = 0.28
"""Share of a section's points on the plumb inside, and on the base; the rest lie on the bank."""


def rock_skirt(triangles: int = 200_000, seed: int = 1) -> Mesh:
    """A closed mesh, z up, base at z = 0, the frame's middle at the origin, metres."""
    rng = np.random.default_rng(seed)
    around = max(120, int(np.sqrt(triangles / 2.0) * 2.9))
    across = max(24, round(triangles / 2.0 / around))
    path, normal, length = _path(around)
    station = np.arange(around) / around
    height, width = (_between(limits, _waves(rng, station)) for limits in (HEIGHT, WIDTH))
    on_wall = max(4, round(_INSIDE * across / 2.0))
    on_bank = across - 2 * on_wall
    up = np.arange(on_wall) / on_wall
    turn = np.arange(on_bank) / on_bank * (np.pi / 2.0)
    along = np.concatenate([np.zeros(on_wall), np.sin(turn) ** (2.0 / PLUMP), 1.0 - up])
    rise = np.concatenate([up, np.cos(turn) ** (2.0 / PLUMP), np.zeros(on_wall)])
    bank = np.zeros(across)
    bank[on_wall : on_wall + on_bank] = np.sin(2.0 * turn) ** 0.5
    out = along[None, :] * width[:, None]
    z = rise[None, :] * height[:, None]
    # Boulders swell and shrink the bank; where it meets the inside and the floor it stays.
    swell = 0.05 * _rough(rng, station[:, None] * length, z) - _grooves(rng, station * length, length, z)
    out = np.maximum(out + swell * bank[None, :] * 0.7, 0.0)
    z = np.maximum(z + swell * bank[None, :] * 0.7, 0.0)
    points = np.concatenate([path[:, None, :] + normal[:, None, :] * out[:, :, None], z[:, :, None]], axis=2)
    i, j = (grid.ravel() for grid in np.meshgrid(np.arange(around), np.arange(across), indexing="ij"))
    a, b = i * across + j, ((i + 1) % around) * across + j
    c, d = ((i + 1) % around) * across + (j + 1) % across, i * across + (j + 1) % across
    faces = np.concatenate([np.stack([a, c, b], axis=1), np.stack([a, d, c], axis=1)])
    kind = np.where(np.tile(j, 2) < on_wall, BACK, CARVED).astype(np.uint8)
    return Mesh(points.reshape(-1, 3), faces, kind)


def _path(count: int) -> tuple[FloatArray, FloatArray, float]:
    """Points of the inside as seen from above, anticlockwise, outward normals (count, 2), and its length."""
    half = np.array(FRAME) / 2.0 + ROOM - CORNER
    sides = [2.0 * half[1], np.pi / 2.0 * CORNER, 2.0 * half[0], np.pi / 2.0 * CORNER]
    length = 2.0 * sum(sides)
    at = np.arange(count) / count * length
    points, normals = np.empty((count, 2)), np.empty((count, 2))
    begin, corner = 0.0, np.array([half[0], -half[1]])
    for k in range(4):
        face = np.array([np.cos(k * np.pi / 2.0), np.sin(k * np.pi / 2.0)])
        way = np.array([-face[1], face[0]])
        straight, bend = sides[0] if k % 2 == 0 else sides[2], sides[1]
        here = (at >= begin) & (at < begin + straight)
        points[here] = corner + CORNER * face + (at[here] - begin)[:, None] * way
        normals[here] = face
        corner = corner + straight * way
        begin += straight
        here = (at >= begin) & (at < begin + bend)
        turn = (at[here] - begin) / CORNER
        normals[here] = np.cos(turn)[:, None] * face + np.sin(turn)[:, None] * way
        points[here] = corner + CORNER * normals[here]
        begin += bend
    return points, normals, length


def _between(limits: tuple[float, float], share: FloatArray) -> FloatArray:
    low, high = limits
    return low + (high - low) * share


def _waves(rng: np.random.Generator, station: FloatArray) -> FloatArray:
    """Shares from 0 to 1 that go round without a step."""
    total = np.zeros(len(station))
    for times in (1, 2, 3, 5, 7):
        total += rng.normal() / times**0.5 * np.sin(2.0 * np.pi * (times * station + rng.random()))
    return (total - total.min()) / (total.max() - total.min())


def _rough(rng: np.random.Generator, along: FloatArray, z: FloatArray) -> FloatArray:
    """Boulders: waves of 0.3 to 1.5 m, about -1 to 1."""
    total = np.zeros(np.broadcast_shapes(along.shape, z.shape))
    length = float(along.max()) * (1.0 + 1.0 / (along.size - 1))
    for _ in range(12):
        times = int(rng.integers(8, 45))
        total += np.sin(2.0 * np.pi * (times * along / length + rng.uniform(-1.0, 1.0) * z + rng.random())) / 3.0
    return total


def _grooves(rng: np.random.Generator, along: FloatArray, length: float, z: FloatArray) -> FloatArray:
    """Depth of the V-grooves, metres: 20 to 50 mm deep, 50 to 90 mm wide, leaning and waving over the bank."""
    count = round(length / SPACING)
    depth = np.zeros(z.shape)
    for k in range(count):
        middle = (k + rng.uniform(-0.25, 0.25)) / count * length
        course = middle + rng.uniform(-0.15, 0.15) * z + 0.04 * np.sin(2.0 * np.pi * (z / 0.5 + rng.random()))
        away = (along[:, None] - course + length / 2.0) % length - length / 2.0
        deep, wide = rng.uniform(0.02, 0.05), rng.uniform(0.05, 0.09)
        depth = np.maximum(depth, deep * np.clip(1.0 - np.abs(away) / (wide / 2.0), 0.0, None))
    return depth
