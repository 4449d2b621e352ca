# SPDX-License-Identifier: GPL-3.0-or-later
"""Edges of triangles."""

from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.mesh.edges import triangle_edges
from seamwright.core.mesh.mesh import Mesh
from shapes import box, cylinder, rock, torus


@pytest.mark.parametrize("mesh", [box(), cylinder(), rock(3), torus()], ids=["box", "cylinder", "rock", "torus"])
def test_every_corner_names_the_edge_to_the_next(mesh: Mesh) -> None:
    edges, begins = triangle_edges(mesh.triangles)
    wanted = {tuple(sorted(pair)) for t in mesh.triangles.tolist() for pair in (t[:2], t[1:], (t[2], t[0]))}
    assert [tuple(edge) for edge in edges.tolist()] == sorted(wanted)
    named = edges[begins]
    pairs = np.stack([mesh.triangles, np.roll(mesh.triangles, -1, axis=1)], axis=2)
    assert np.array_equal(named, np.sort(pairs, axis=2))


def test_an_edge_of_three_triangles_is_there_once() -> None:
    edges, begins = triangle_edges(np.array([[0, 1, 2], [1, 0, 3], [0, 1, 4]]))
    assert len(edges) == 7
    assert len(set(begins[:, 0].tolist())) == 1


def test_nothing_has_no_edges() -> None:
    edges, begins = triangle_edges(np.empty((0, 3), dtype=np.int64))
    assert edges.shape == (0, 2)
    assert begins.shape == (0, 3)
