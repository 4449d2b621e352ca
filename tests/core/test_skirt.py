# SPDX-License-Identifier: GPL-3.0-or-later
"""The rock skirt that the planning report plans is what it says: a closed ring round its frame."""

from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.mesh.mass import volume
from seamwright.core.mesh.mesh import BACK, CARVED
from seamwright.core.mesh.topology import edge_report
from skirt import CORNER, FRAME, HEIGHT, ROOM, WIDTH, rock_skirt


@pytest.mark.parametrize("seed", [1, 2])
def test_a_rock_skirt_stands_round_its_frame(seed: int) -> None:
    mesh = rock_skirt(20_000, seed)
    assert edge_report(mesh.triangles).closed
    # One ring: as many vertices and triangles as edges.
    assert len(mesh.vertices) - len(mesh.triangles) // 2 == 0
    x, y, z = np.abs(mesh.vertices).T
    # Distance from the frame, whose corners have a radius of their own.
    bend = CORNER - ROOM
    beyond = np.stack([x - FRAME[0] / 2.0, y - FRAME[1] / 2.0]) + bend
    away = np.hypot(*np.maximum(beyond, 0.0)) + np.minimum(beyond.max(axis=0), 0.0) - bend
    assert away.min() == pytest.approx(ROOM, abs=1e-9)
    assert (z.min(), z.max()) == (0.0, pytest.approx(HEIGHT[1], abs=0.1))
    for axis, frame in enumerate(FRAME):
        assert frame + 2.0 * WIDTH[0] < mesh.size[axis] < frame + 2.0 * WIDTH[1] + 0.3
    back = mesh.kind == BACK
    assert set(np.unique(mesh.kind)) == {BACK, CARVED}
    assert np.abs(mesh.corners()[back].mean(axis=1)[:, 0]).max() < FRAME[0] / 2.0 + 2.0 * ROOM
    assert 2.0 < volume(mesh) < 9.0
