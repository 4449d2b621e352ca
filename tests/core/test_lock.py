# SPDX-License-Identifier: GPL-3.0-or-later
"""The impossible case of a build order: a ring that locks among 60 pieces, named in a counted number of questions."""

from __future__ import annotations

import itertools

import networkx as nx
import numpy as np
import pytest
from replay import collisions
from seamwright.core.logistics import lock
from seamwright.core.logistics.build_order import Assembly, find_order
from seamwright.core.logistics.connection import cut_pieces
from seamwright.core.logistics.directions import move_directions
from seamwright.core.logistics.lock import find_lock
from seamwright.core.mesh.mesh import Mesh
from shapes import box, joined, moved, turned

AXES = (np.eye(3)[0], np.eye(3)[1])
RING, ALL = 20, 60


def link(upright: bool) -> Mesh:
    """A block with a T at one end and a socket for a T at the other; one groove upright, the other level.

    In a ring each is held by both neighbours; without any one of them the next can slide along its groove.
    """

    def bar(x: tuple[float, float], y: tuple[float, float], z: tuple[float, float]) -> Mesh:
        low, high = np.array([x[0], y[0], z[0]]), np.array([x[1], y[1], z[1]])
        return box(tuple(high - low - 0.002), tuple(low + 0.001))

    def part(x: tuple[float, float], across: tuple[float, float], along_z: bool, half: float) -> Mesh:
        return bar(x, across, (0.0, 0.6)) if along_z else bar(x, (-half, half), (across[0] + 0.3, across[1] + 0.3))

    parts = [bar((-0.3, 0.3), (-0.3, 0.3), (0.0, 0.6))]
    parts += [part((0.3, 0.62), (-0.05, 0.05), upright, 0.1), part((0.62, 0.7), (-0.18, 0.18), upright, 0.1)]
    for low, high in ((0.24, 0.3), (-0.3, -0.24)):
        parts.append(part((-0.76, -0.3), (low, high), not upright, 0.3))
    for low, high in ((0.12, 0.24), (-0.24, -0.12)):
        parts.append(part((-0.76, -0.68), (low, high), not upright, 0.3))
    return joined(*parts)


@pytest.fixture(scope="module")
def puzzle() -> tuple[Assembly, list[Mesh]]:
    """A wall of 40 blocks inside a ring of 20 links that hold each other."""
    reach = 1.2 * RING / (2.0 * np.pi)
    pieces, grooves = [], []
    for k in range(RING):
        angle = 2.0 * np.pi * k / RING
        at = (reach * np.cos(angle), reach * np.sin(angle), 0.0)
        middle = angle + np.pi / RING
        grooves.append(np.array([np.cos(middle), np.sin(middle), 0.0]))
        pieces.append(moved(link(k % 2 == 0), turned((0.0, 0.0, 1.0), angle + np.pi / 2.0), at))
    for k in range(ALL - RING):
        pieces.append(box((0.79, 0.79, 0.39), (0.8 * (k % 5) - 2.0, -0.4, 0.4 * (k // 5))))
    touching = {(k, (k + 1) % RING) for k in range(RING)}
    touching |= {(RING + k, RING + k + 5) for k in range(ALL - RING - 5)}
    return Assembly(pieces, move_directions(AXES, grooves), touching=touching), pieces


def holds(assembly: Assembly, pieces: tuple[int, ...]) -> bool:
    ways = range(len(assembly.directions))
    return not any(assembly.free(p, pieces, d) for p in pieces for d in ways)


def comes_apart(assembly: Assembly, pieces: set[int]) -> bool:
    standing = set(pieces)
    while standing:
        free = {p for p in standing if any(assembly.free(p, standing, d) for d in range(len(assembly.directions)))}
        if not free:
            return False
        standing -= free
    return True


def test_a_ring_that_locks_among_60_pieces_is_named(puzzle: tuple[Assembly, list[Mesh]]) -> None:
    assembly, pieces = puzzle
    up = np.array([0.0, 0.0, 1.0])
    assert collisions(pieces, range(ALL), [up] * ALL, step=10.0) == 0, "nothing overlaps where it stands"
    ranks = [list(range(len(assembly.directions)))] * ALL
    found = find_order(assembly, ranks, [(float(k),) for k in range(ALL)])
    assert found.stuck is not None
    assert found.stuck.core == tuple(range(RING))
    assert found.stuck.keys == tuple(sorted((min(k, (k + 1) % RING), max(k, (k + 1) % RING)) for k in range(RING)))
    assert not found.stuck.fixed
    assert sorted(found.order) == list(range(RING, ALL))
    # What was said holds by the definition: all together lock, without any one of them they come apart.
    assert holds(assembly, found.stuck.core)
    assert all(comes_apart(assembly, set(found.stuck.core) - {k}) for k in (0, 1, 7))
    assert comes_apart(assembly, set(range(1, ALL)))
    # The others replay clear of the ring, which stands.
    out = [move.direction for move in found.moves]
    blocks = pieces[RING:]
    assert collisions(blocks, [k - RING for k in found.order], out, pieces[:RING]) == 0


def test_a_lock_is_named_within_a_count_and_the_same_every_time(
    puzzle: tuple[Assembly, list[Mesh]], monkeypatch: pytest.MonkeyPatch
) -> None:
    assembly, _ = puzzle
    asked = []
    stops = assembly.stops
    monkeypatch.setattr(assembly, "stops", lambda *which: asked.append(which) or stops(*which))
    first = find_lock(assembly, range(RING))
    full = len(asked)
    assert 0 < full < 2500
    assert find_lock(assembly, range(RING)) == first
    for count in (0, 50, full // 2):
        asked.clear()
        monkeypatch.setattr(lock, "QUESTIONS", count)
        found = find_lock(assembly, range(RING))
        assert len(asked) == count
        # What is said then is true, if longer than it must be.
        assert holds(assembly, found.core)
        assert set(found.keys) <= assembly.touching


class Table:
    """An assembly that is nothing but who stops whom."""

    def __init__(self, stops: np.ndarray, walled: np.ndarray, touching: set[tuple[int, int]]) -> None:
        self.count = len(stops)
        self.directions = np.zeros((stops.shape[2], 3))
        self.touching = touching
        self._stops, self._walled = stops, walled

    def stops(self, piece: int, other: int, way: int) -> bool:
        return bool(self._stops[piece, other, way])

    def walled(self, piece: int, way: int) -> bool:
        return bool(self._walled[piece, way])

    def left(self, standing: set[int], ignored: tuple[int, int] | None = None, walls: bool = True) -> set[int]:
        while True:
            free = {
                p
                for p in standing
                if any(
                    not (walls and self._walled[p, d])
                    and not any(self._stops[p, o, d] for o in standing if o != p and tuple(sorted((p, o))) != ignored)
                    for d in range(len(self.directions))
                )
            }
            if not free:
                return standing
            standing = standing - free


def test_random_tables_of_who_stops_whom() -> None:
    """Core locked and least, keys and walls right: by brute force."""
    rng = np.random.default_rng(8)
    locked = fixed = spared = 0
    for _ in range(300):
        count, ways = int(rng.integers(3, 9)), int(rng.integers(1, 5))
        stops = rng.random((count, count, ways)) < rng.uniform(0.15, 0.6)
        walled = rng.random((count, ways)) < rng.choice([0.0, 0.3])
        touching = {p for p in itertools.combinations(range(count), 2) if rng.random() < 0.5}
        table = Table(stops, walled, touching)
        left = table.left(set(range(count)))
        if not left:
            continue
        found = find_lock(table, sorted(left))
        core = set(found.core)
        assert core <= left
        assert table.left(core) == core
        locked += 1
        if len(core) == 1:
            assert found.fixed
            assert walled[found.core[0]].all()
            continue
        assert all(not table.left(core - {p}) for p in core)
        assert found.fixed == (not table.left(core, walls=False))
        inside = {pair for pair in touching if set(pair) <= core}
        keys = {pair for pair in inside if not table.left(core, pair)}
        assert set(found.keys) == (keys or inside)
        fixed += found.fixed
        spared += core != left
    assert locked > 100
    assert fixed > 10
    assert spared > 20


def test_what_stands_before_is_part_of_a_lock_with_pieces() -> None:
    """A cube in an open box locks with the box only under a lid that stands there already."""
    walls = [
        box((3.0, 3.0, 0.99), (-1.0, -1.0, -1.0)),
        box((0.99, 3.0, 1.0), (-1.0, -1.0, 0.0)),
        box((1.0, 3.0, 1.0), (1.01, -1.0, 0.0)),
        box((1.0, 0.99, 1.0), (0.005, -1.0, 0.0)),
        box((1.0, 1.0, 1.0), (0.005, 1.01, 0.0)),
    ]
    lid = box((5.0, 5.0, 0.2), (-2.0, -2.0, 1.5))
    assembly = Assembly([box(), joined(*walls)], move_directions(AXES), [lid], [(0, 1)])
    assert holds(assembly, (0, 1))
    found = find_lock(assembly, (0, 1))
    assert (found.core, found.keys, found.fixed) == ((0, 1), ((0, 1),), True)


def test_pieces_that_hold_others_together_against_networkx() -> None:
    rng = np.random.default_rng(3)
    seen = 0
    for _ in range(200):
        count = int(rng.integers(1, 16))
        graph = nx.gnp_random_graph(count, float(rng.uniform(0.05, 0.5)), seed=int(rng.integers(1 << 30)))
        left = [k for k in range(count) if rng.random() < 0.8]
        found = cut_pieces([set(graph[k]) for k in range(count)], left)
        assert found == set(nx.articulation_points(graph.subgraph(left)))
        seen += bool(found)
    assert seen > 30
