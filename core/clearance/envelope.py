# SPDX-License-Identifier: GPL-3.0-or-later
"""Built-in keep-clear bodies from a few dimensions: a vehicle, a hull, a box; as long, wide and high as stated.

Body axes: x forward, y left, z up; z = 0 is the plane of the contact points. Metres.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import JobError
from ..mesh.mesh import Mesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_STATIONS, _RIBS = 32, 16
"""Of a hull: sections along it, and points from rail to rail."""

_BOX: Final = np.array(
    [
        *([0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4]),
        *([2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]),
    ],
    dtype=np.int64,
)
"""Triangles of a box whose corner k is high in x for bit 0, in y for bit 1, in z for bit 2."""


def block(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    """Closed box along the axes, metres."""
    corners = np.array([[(high if k >> axis & 1 else low)[axis] for axis in range(3)] for k in range(8)])
    return Mesh(corners, _BOX)


def box_envelope(size: tuple[float, float, float]) -> Mesh:
    """Box of (length, width, height), its origin in the middle of its underside."""
    length, width, height = size
    return block((-0.5 * length, -0.5 * width, 0.0), (0.5 * length, 0.5 * width, height))


def vehicle_envelope(
    size: tuple[float, float, float],
    wheelbase: float,
    track: float,
    front_overhang: float,
    ground_clearance: float,
    wheel: tuple[float, float] = (0.7, 0.3),
) -> Mesh:
    """Vehicle: a box over its ground clearance, and a block down to the ground at each wheel; five closed bodies.

    Parameters
    ----------
    size : (length, width with mirrors, height).
    wheelbase, track : between the wheels' middles. front_overhang : from the front axle to the foremost point.
    ground_clearance : under the lowest part between the axles.
    wheel : (diameter, width) of the blocks that stand for wheels; from memory, unverified.

    Raises
    ------
    JobError
        Dimensions that leave no vehicle.
    """
    length, width, height = size
    rear = length - wheelbase - front_overhang
    if rear < 0.0:
        raise JobError(
            f"wheelbase {wheelbase:g} m and front overhang {front_overhang:g} m are longer together than the vehicle, "
            f"{length:g} m"
        )
    if ground_clearance >= height:
        raise JobError(f"ground clearance {ground_clearance:g} m is not under the height {height:g} m")
    parts = [
        block(
            (-0.5 * wheelbase - rear, -0.5 * width, ground_clearance),
            (0.5 * wheelbase + front_overhang, 0.5 * width, height),
        )
    ]
    if ground_clearance > 0.0:
        for x in (0.5 * wheelbase, -0.5 * wheelbase):
            for y in (0.5 * track, -0.5 * track):
                parts.append(
                    block(
                        (x - 0.5 * wheel[0], y - 0.5 * wheel[1], 0.0),
                        (x + 0.5 * wheel[0], y + 0.5 * wheel[1], ground_clearance),
                    )
                )
    return merged(parts)


def wheel_contacts(wheelbase: float, track: float) -> tuple[tuple[float, float], ...]:
    """Contact points in plan: front left, front right, rear left, rear right."""
    x, y = 0.5 * wheelbase, 0.5 * track
    return (x, y), (x, -y), (-x, y), (-x, -y)


def hull_envelope(size: tuple[float, float, float]) -> Mesh:
    """Hull of (length, beam, depth), pointed at both ends, decked over at its rail; origin under its middle.

    Sections are half ellipses; beam and depth fall off as a parabola in plan and as its square root in side view.
    """
    length, beam, depth = size
    s = np.linspace(-1.0, 1.0, _STATIONS + 1)[1:-1]
    fullness = 1.0 - s**2
    angle = np.linspace(0.0, np.pi, _RIBS + 1)
    y = 0.5 * beam * fullness[:, None] * np.cos(angle)
    z = depth - depth * np.sqrt(fullness)[:, None] * np.sin(angle)
    x = np.broadcast_to(0.5 * length * s[:, None], y.shape)
    rows = np.stack([x, y, z], axis=-1)
    count, around = len(s), _RIBS + 1
    number = np.arange(count * around).reshape(count, around)
    after = np.roll(np.arange(around), -1)  # the last step of each ring is the deck
    a, b, c, d = number[:-1], number[1:], number[1:, after], number[:-1, after]
    skin = [np.stack([a, d, b], axis=-1).reshape(-1, 3), np.stack([b, d, c], axis=-1).reshape(-1, 3)]
    stern, stem = count * around, count * around + 1
    ring = np.arange(around)
    tips = np.array([[-0.5 * length, 0.0, depth], [0.5 * length, 0.0, depth]])
    first, last = number[0], number[-1]
    skin.append(np.stack([first[after], first[ring], np.full(around, stern)], axis=1))
    skin.append(np.stack([last[ring], last[after], np.full(around, stem)], axis=1))
    return Mesh(np.concatenate([rows.reshape(-1, 3), tips]), np.concatenate(skin)[:, ::-1])


def merged(parts: list[Mesh]) -> Mesh:
    """Several bodies as one mesh."""
    starts = np.cumsum([0, *(len(part.vertices) for part in parts[:-1])])
    triangles = np.concatenate([part.triangles + start for part, start in zip(parts, starts, strict=True)])
    return Mesh(np.concatenate([part.vertices for part in parts]), triangles)
