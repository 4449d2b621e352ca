# SPDX-License-Identifier: GPL-3.0-or-later
"""Values on corners follow the carving through a cut."""

from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.cutting.carry import carry, corner_shares
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.errors import MeshError
from seamwright.core.mesh.mesh import Mesh
from shapes import grid_box, rock

JOINTS = (
    Plane((0.1, 0.05, 0.0), (1.0, 0.3, 0.2)),
    Profile((0.0, 0.0, 0.1), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), [(-1.0, 0.0), (-0.2, 0.2), (0.1, -0.1), (1.0, 0.1)]),
)


@pytest.mark.parametrize("mesh", [rock(3), grid_box((4, 3, 3))], ids=["rock", "gridded box"])
@pytest.mark.parametrize("gap", [0.0, 0.02])
def test_a_linear_field_stays_what_it_is(mesh: Mesh, gap: float) -> None:
    # A value that is linear in place, and breaks from triangle to triangle, is had back exactly at every new corner.
    rng = np.random.default_rng(3)
    slope, jump = rng.normal(size=(3, 2)), rng.normal(size=(len(mesh.triangles), 1, 2))
    result = cut(mesh, JOINTS, gap)
    for body in (*result.pieces, *result.taken):
        found = carry(mesh, body, mesh.corners() @ slope + jump, fill=-7.0)
        old = body.origin == 0
        expected = body.mesh.corners()[old] @ slope + jump[body.source[old]]
        assert np.abs(found[old] - expected).max() <= 1e-11
        assert (found[~old] == -7.0).all()


def test_corners_that_have_not_moved_keep_their_value_bit_for_bit() -> None:
    mesh = rock(2)
    values = np.random.default_rng(4).normal(size=(len(mesh.triangles), 3))
    known = {}
    for t, (corners, row) in enumerate(zip(mesh.corners(), values, strict=True)):
        known |= {(t, place.tobytes()): value for place, value in zip(corners, row, strict=True)}
    kept = 0
    for body in cut(mesh, JOINTS).pieces:
        found, corners = carry(mesh, body, values), body.mesh.corners()
        for row in np.flatnonzero(body.origin == 0):
            for k in range(3):
                key = (int(body.source[row]), corners[row, k].tobytes())
                if key in known:
                    assert found[row, k] == known[key]
                    kept += 1
    assert kept > 2 * len(mesh.triangles)


def test_shares_are_shares_also_in_a_triangle_without_area() -> None:
    # A box with a needle on one edge: three corners in a row.
    box = grid_box((1, 1, 1), (1.0, 1.0, 1.0))
    v, t = box.vertices, box.triangles
    edge = t[0][:2]
    middle = len(v)
    other = next(i for i, row in enumerate(t) if i and set(edge) <= set(row))
    third = next(x for x in t[other] if x not in edge)
    parts = [(edge[1], edge[0], middle), (edge[0], third, middle), (third, edge[1], middle)]
    needle = Mesh(np.vstack([v, v[edge].mean(axis=0)]), np.vstack([np.delete(t, other, axis=0), parts]))
    for body in cut(needle, [Plane(v[edge].mean(axis=0) + 0.1, v[edge[1]] - v[edge[0]])]).pieces:
        share = corner_shares(needle, body)[body.origin == 0]
        assert (share >= 0.0).all()
        assert np.abs(share.sum(axis=2) - 1.0).max() <= 1e-15


def test_values_that_do_not_fit_are_refused() -> None:
    mesh = rock(1)
    piece = cut(mesh, []).pieces[0]
    with pytest.raises(MeshError, match="one for each corner"):
        carry(mesh, piece, np.zeros((3, 3)))
