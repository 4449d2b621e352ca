# SPDX-License-Identifier: GPL-3.0-or-later
"""Edges, bodies and loops against a slow count over dictionaries, and against closed forms."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from seamwright.core.errors import MeshError, NotClosedError
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import (
    boundary_loops,
    closed_components,
    components,
    edge_loops,
    edge_report,
    require_closed,
)
from shapes import box, hollow_box, icosphere, joined, moved, rock, tetrahedron, torus

any_triangles = hnp.arrays(np.int64, st.tuples(st.integers(0, 12), st.just(3)), elements=st.integers(0, 6))


def slow_edges(triangles: np.ndarray) -> dict[tuple[int, int], list[tuple[int, bool]]]:
    """Each edge with the triangles that run it, and whether they run it upwards."""
    found = defaultdict(list)
    for row, t in enumerate(triangles.tolist()):
        for a, b in ((t[0], t[1]), (t[1], t[2]), (t[2], t[0])):
            found[min(a, b), max(a, b)].append((row, a <= b))
    return found


@given(any_triangles)
def test_edges_as_counted_one_by_one(triangles: np.ndarray) -> None:
    report = edge_report(triangles)
    edges = sorted(slow_edges(triangles).items())
    assert report.boundary.tolist() == [list(e) for e, use in edges if len(use) == 1 or e[0] == e[1]]
    assert report.non_manifold.tolist() == [list(e) for e, use in edges if len(use) > 2 and e[0] != e[1]]
    assert report.misoriented.tolist() == [
        list(e) for e, use in edges if len(use) == 2 and use[0][1] == use[1][1] and e[0] != e[1]
    ]
    assert report.closed == (report.faults == 0)


def slow_components(triangles: np.ndarray) -> list[int]:
    label = list(range(len(triangles)))
    for use in slow_edges(triangles).values():
        rows = {row for row, _ in use}
        names = {label[row] for row in rows}
        label = [min(names) if name in names else name for name in label]
    order = {name: number for number, name in enumerate(dict.fromkeys(label))}
    return [order[name] for name in label]


@given(any_triangles)
def test_components_as_joined_one_by_one(triangles: np.ndarray) -> None:
    assert components(triangles).tolist() == slow_components(triangles)


@pytest.mark.parametrize("seed", range(3))
def test_components_of_shuffled_bodies(seed: int) -> None:
    """Many bodies, triangles and vertices in any order: the labels follow each body's first triangle."""
    mesh = joined(*[icosphere(2) for _ in range(7)], box(), torus())
    rng = np.random.default_rng(seed)
    rows, names = rng.permutation(len(mesh.triangles)), rng.permutation(len(mesh.vertices))
    sizes = [len(icosphere(2).triangles)] * 7 + [12, len(torus().triangles)]
    body = np.repeat(np.arange(9), sizes)[rows]
    _, first = np.unique(body, return_index=True)
    rank = np.empty(9, dtype=int)
    rank[np.argsort(first)] = np.arange(9)
    assert components(names[mesh.triangles[rows]]).tolist() == rank[body].tolist()


def test_components_where_edge_and_place_do_not_fit_one_key() -> None:
    """High vertex numbers take the other way of sorting; same result."""
    mesh = joined(icosphere(2), box(), icosphere(1))
    assert components(mesh.triangles + (1 << 30)).tolist() == components(mesh.triangles).tolist()


def test_components_long_strip_worst_order() -> None:
    """A strip whose neighbours are far apart in the list needs many rounds, and they end."""
    count = 4096
    strip = np.stack([np.arange(count), np.arange(count) + 1, np.arange(count) + 2], axis=1)
    order = np.argsort([int(f"{row:012b}"[::-1], 2) for row in range(count)])
    assert not components(strip[order]).any()


def test_touching_in_a_vertex_or_an_edge() -> None:
    one, two = tetrahedron(), tetrahedron()
    at_vertex = np.concatenate([one.triangles, np.where(two.triangles == 0, 0, two.triangles + 3)])
    assert components(at_vertex).tolist() == [0] * 4 + [1] * 4
    at_edge = np.concatenate([one.triangles, np.where(two.triangles < 2, two.triangles, two.triangles + 2)])
    assert edge_report(at_edge).non_manifold.tolist() == [[0, 1]]
    assert not components(at_edge).any()


def test_no_triangles() -> None:
    nothing = np.zeros((0, 3), dtype=np.int64)
    assert edge_report(nothing).closed
    assert len(components(nothing)) == 0
    assert boundary_loops(nothing) == ()


@pytest.mark.parametrize("mesh", [box(), tetrahedron(), icosphere(2), torus()], ids=["box", "tetra", "sphere", "torus"])
def test_closed_bodies_pass(mesh: Mesh) -> None:
    require_closed(mesh)
    assert boundary_loops(mesh.triangles) == ()


def test_open_misoriented_and_non_manifold_are_named() -> None:
    cube = box()
    with pytest.raises(NotClosedError, match=r"3 open edges .*\(0, 0, 0\) to .*Close the holes") as caught:
        require_closed(Mesh(cube.vertices, cube.triangles[1:]))
    assert caught.value.edges.tolist() == sorted(map(sorted, ((0, 2), (2, 3), (0, 3))))
    turned = cube.triangles.copy()
    turned[0] = turned[0, ::-1]
    with pytest.raises(NotClosedError, match="3 misoriented edges"):
        require_closed(Mesh(cube.vertices, turned))
    doubled = np.concatenate([cube.triangles, cube.triangles[:1]])
    with pytest.raises(NotClosedError, match="3 non-manifold edges"):
        require_closed(Mesh(cube.vertices, doubled))
    message = str(caught.value)
    assert "\n" not in message


def test_loops_run_as_the_triangles_do() -> None:
    cube = box()
    open_below = cube.triangles[2:]  # the first two triangles of `box` face down
    (loop,) = boundary_loops(open_below)
    edges = {(t[i], t[(i + 1) % 3]) for t in open_below.tolist() for i in range(3)}
    assert all((a, b) in edges and (b, a) not in edges for a, b in zip(loop, np.roll(loop, -1), strict=True))
    assert loop[0] == 0
    assert sorted(loop.tolist()) == [0, 1, 2, 3]


def test_loops_that_touch_in_a_vertex_are_kept_apart() -> None:
    edges = np.array([[0, 1], [1, 2], [2, 0], [0, 3], [3, 4], [4, 0]])
    assert [loop.tolist() for loop in edge_loops(edges)] == [[0, 1, 2], [0, 3, 4]]


@given(st.permutations(range(9)), st.permutations(range(9)))
def test_loops_use_every_edge_once(one: list[int], two: list[int]) -> None:
    """Two closed walks through the same vertices, tangled at will."""
    edges = np.array([*zip(one, one[1:] + one[:1], strict=True), *zip(two, two[1:] + two[:1], strict=True)])
    loops = edge_loops(edges)
    again = [pair for loop in loops for pair in zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True)]
    assert sorted(again) == sorted(map(tuple, edges.tolist()))
    assert all(len(set(loop.tolist())) == len(loop) for loop in loops)


def test_edges_that_do_not_close() -> None:
    with pytest.raises(MeshError, match="end at vertex 2"):
        edge_loops(np.array([[0, 1], [1, 2]]))


def test_vertex_number_too_high() -> None:
    with pytest.raises(MeshError, match="too high"):
        edge_report(np.array([[0, 1, 1 << 31]]))


@pytest.mark.parametrize("mesh", [rock(3), joined(rock(2), moved(rock(2), shift=(5.0, 0.0, 0.0))), hollow_box()])
def test_the_quick_labels_of_closed_bodies_are_the_labels(mesh: Mesh) -> None:
    turned = np.random.default_rng(5).permutation(len(mesh.triangles))
    for triangles in (mesh.triangles, mesh.triangles[turned], mesh.triangles[:-1]):
        assert (closed_components(triangles) == components(triangles)).all()


def test_bodies_that_touch_along_an_edge_are_told_apart_by_fans() -> None:
    one = rock(2)
    a, b = (int(v) for v in np.sort(one.triangles[0])[:2])
    other = one.triangles + len(one.vertices)
    for vertex in (a, b):
        other[other == vertex + len(one.vertices)] = vertex
    both, count = np.concatenate([one.triangles, other]), len(one.triangles)
    seen = []

    def fans(low: int, high: int, rows: list[int]) -> list[tuple[int, int]]:
        seen.append((low, high))
        assert len(rows) == 4
        first, second = [row for row in rows if row < count], [row for row in rows if row >= count]
        return [(first[0], first[1]), (second[0], second[1])]

    assert closed_components(both).max() == 0
    assert (closed_components(both) == components(both)).all()
    assert (closed_components(both, fans) == np.repeat([0, 1], count)).all()
    far = both + (1 << 30)
    assert (closed_components(far, fans) == np.repeat([0, 1], count)).all()
    assert seen == [(a, b), (a + (1 << 30), b + (1 << 30))]
