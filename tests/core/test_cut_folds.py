# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints through a base that is folded: what closes the fold has no area and makes no body longer than it is."""

from __future__ import annotations

import numpy as np
import pytest
from fuzz_cases import assert_no_fin
from proof import assert_areas, assert_closed
from reference import volume_of
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane
from seamwright.core.mesh import triangulate
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.triangulate import triangulate_loops

WHERE = (
    # Place, corners, reach, size and row of the fold; then side and place of each joint across, in order.
    ((1.41, 7, 0.17, 0.05, -0.27), ((-1, 1.335), (-1, 1.135), (1, 1.253), (1, 1.418))),
    ((1.41, 7, 0.17, 0.05, -0.27), ((1, 1.335), (1, 1.135), (-1, 1.253), (-1, 1.418))),
    ((0.92, 7, 0.14, 0.04, -0.21), ((1, 1.151), (1, 1.351), (-1, 0.976), (-1, 1.325))),
    ((0.98, 7, 0.07, 0.06, -0.13), ((1, 1.22), (1, 1.42), (-1, 1.08), (-1, 1.36))),
    ((0.95, 5, 0.19, 0.05, -0.22), ((1, 1.162), (1, 1.362), (-1, 0.993), (-1, 1.331))),
    ((0.95, 5, 0.19, 0.05, -0.22), ((1, 1.297), (1, 0.959), (-1, 1.026), (-1, 1.162), (-1, 1.365))),
    ((1.4, 7, 0.13, 0.08, -0.36), ((1, 1.309), (1, 1.409), (1, 1.209), (-1, 1.232), (-1, 1.347))),
    ((1.96, 7, 0.15, 0.07, -0.13), ((-1, 2.01), (-1, 1.905), (1, 1.926), (1, 1.968), (1, 2.031))),
)


def folded_box(x: float, corners: int, reach: float, size: float, y: float) -> Mesh:
    """A box of 3 x 2 x 1 m; in its base a ring of vertices round (x, y) and amid them one that lies at (x, reach)."""
    rim = np.array([(0.0, -1.0), (3.0, -1.0), (3.0, 1.0), (0.0, 1.0)])
    turn = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    ring = np.array([x, y]) + size * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    flat = np.concatenate([rim, ring, [(x, reach)]])
    a = 4 + np.arange(corners)
    b = np.roll(a, -1)
    edges = np.concatenate([[(0, 1), (1, 2), (2, 3), (3, 0)], np.stack([b, a], axis=1)])
    base = [triangulate_loops(flat, edges)[:, ::-1], np.stack([b, a, np.full(corners, 4 + corners)], axis=1)]
    top = len(flat) + np.arange(4)
    walls = [w for i, j in ((0, 1), (1, 2), (2, 3), (3, 0)) for w in ((i, j, top[j]), (i, top[j], top[i]))]
    lid = [(top[0], top[1], top[2]), (top[0], top[2], top[3])]
    points = np.concatenate([np.column_stack([flat, np.zeros(len(flat))]), np.column_stack([rim, np.ones(4)])])
    return Mesh(points, np.concatenate([*base, walls, lid]))


@pytest.mark.parametrize("needles", [False, True])
@pytest.mark.parametrize(("fold", "across"), WHERE)
def test_pieces_end_where_their_foam_ends(
    fold: tuple[float, int, float, float, float],
    across: tuple[tuple[int, float], ...],
    needles: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One joint along the box through the fold, then joints across it, each through one of the bodies on one side.

    Whoever closes the fold with needles that reach for other vertices on its line (`needles`): none is left on a body
    beyond the foam.
    """
    if needles:
        whole = np.ones(1000, dtype=bool)
        none = np.zeros((0, 3), dtype=np.int64)
        monkeypatch.setattr(triangulate, "clip_folds", lambda _, edges, __: (none, edges, whole[: len(edges)]))
    mesh = folded_box(*fold)
    assert_closed(mesh)
    joints: list[Joint] = [Plane((0.0, 0.0, 0.0), (0.0, 1.0, 0.0))]
    ends = {-1: [0.0, 3.0], 1: [0.0, 3.0]}
    for side, x in across:
        k = int(np.searchsorted(ends[side], x))
        middle = 0.49 * ends[side][k - 1] + 0.51 * ends[side][k]
        joints.append(Plane((x, 0.0, 0.0), (1.0, 0.0, 0.0), part=(middle, 0.5 * side, 0.5)))
        ends[side].insert(k, x)
    result = cut(mesh, joints)
    boxes = [
        (x, min(side, 0), 0.0, more, max(side, 0), 1.0)
        for side in (-1, 1)
        for x, more in zip(ends[side][:-1], ends[side][1:], strict=True)
    ]
    found = sorted((*p.mesh.vertices.min(axis=0), *p.mesh.vertices.max(axis=0)) for p in result.pieces)
    assert len(found) == len(boxes)
    off = np.abs(np.array(found) - np.array(sorted(boxes)))
    assert off[:, [2, 5]].max() < 1e-12
    # The skin of the fold itself, which has area, may go with either of two bodies where a joint parts it.
    assert off[:, [0, 3]].max() < 2.0 * fold[3]
    assert off[:, [1, 4]].max() < fold[2] + 1e-12
    for piece in result.pieces:
        assert_closed(piece.mesh)
        assert_no_fin(piece, 4.0)
        assert piece.volume == pytest.approx(volume_of(piece.mesh), rel=1e-12)
    assert_areas(mesh, result.pieces)
    volumes = [(more - x) * (high - low) for x, low, _, more, high, _ in boxes]
    assert sorted(p.volume for p in result.pieces) == pytest.approx(sorted(volumes), rel=1e-12)
