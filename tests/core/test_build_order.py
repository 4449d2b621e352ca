# SPDX-License-Identifier: GPL-3.0-or-later
"""Orders of puzzles, replayed by a collision library that this project did not write (FCL, 1 mm steps)."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from replay import collisions
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.demo import demo_carving
from seamwright.core.errors import Cancelled, JobError
from seamwright.core.logistics.build_order import STANDING, Assembly, BuildOrder, find_order
from seamwright.core.logistics.directions import move_directions
from seamwright.core.logistics.plan_build import assembly_of, plan_build
from seamwright.core.mesh.mesh import Mesh
from shapes import box, joined, moved, torus, turned

AXES = (np.eye(3)[0], np.eye(3)[1])


def ranks(assembly: Assembly) -> list[list[int]]:
    return [list(range(len(assembly.directions)))] * assembly.count


def ways_out(found: BuildOrder) -> list[np.ndarray]:
    return [move.direction for move in found.moves]


def plain(count: int) -> list[tuple[float, ...]]:
    return [(float(k),) for k in range(count)]


def wall(columns: int = 12, courses: int = 5, gap: float = 0.004) -> tuple[list[Mesh], set, set]:
    """A stagger-bonded wall of 60 bricks."""
    bricks, spans = [], []
    for course in range(courses):
        shift = 0.0 if course % 2 == 0 else -0.2
        for column in range(columns):
            x0, x1 = column * 0.4 + shift, (column + 1) * 0.4 + shift
            size = (x1 - x0 - gap, 0.3, 0.25 - gap)
            bricks.append(box(size, (x0, 0.0, course * 0.25)))
            spans.append((course, x0, x1))
    touching, rests = set(), set()
    for (i, (c, a, b)), (j, (d, e, f)) in itertools.combinations(enumerate(spans), 2):
        if c == d and min(abs(a - f), abs(b - e)) < 1e-9:
            touching.add((i, j))
        if d == c + 1 and min(b, f) - max(a, e) > 1e-9:
            touching.add((i, j))
            rests.add((j, i))
    return bricks, touching, rests


def test_wall_of_60_goes_up_course_by_course_and_replays_clear() -> None:
    bricks, touching, rests = wall()
    assert len(bricks) == 60
    assembly = Assembly(bricks, move_directions(AXES), touching=touching, rests=rests)
    rng = np.random.default_rng(0)
    keys = [(float(k),) for k in rng.permutation(60)]
    found = find_order(assembly, ranks(assembly), keys)
    assert sorted(found.order) == list(range(60))
    assert found.stuck is None
    assert found.propped == found.broken == ()
    place = {piece: k for k, piece in enumerate(found.order)}
    assert all(place[lower] < place[upper] for upper, lower in rests)
    assert collisions(bricks, found.order, ways_out(found)) == 0


def test_the_replay_sees_a_wrong_order() -> None:
    bricks, _, _ = wall(3, 2)
    up = np.array([0.0, 0.0, 1.0])

    assert collisions(bricks, range(6), [up] * 6) == 0
    assert collisions(bricks, [3, 4, 5, 0, 1, 2], [up] * 6) > 0


def cage() -> tuple[Mesh, Mesh]:
    walls = [
        box((3.0, 3.0, 0.99), (-1.0, -1.0, -1.0)),
        box((0.99, 3.0, 1.0), (-1.0, -1.0, 0.0)),
        box((1.0, 3.0, 1.0), (1.01, -1.0, 0.0)),
        box((1.0, 0.99, 1.0), (0.005, -1.0, 0.0)),
        box((1.0, 1.0, 1.0), (0.005, 1.01, 0.0)),
    ]
    return joined(*walls), joined(*walls, box((3.0, 3.0, 1.0), (-1.0, -1.0, 1.01)))


def test_cube_in_an_open_box_comes_last_and_from_above() -> None:
    pieces = [box(), cage()[0]]
    assembly = Assembly(pieces, move_directions(AXES), touching=[(0, 1)])
    found = find_order(assembly, ranks(assembly), plain(2))
    assert found.order == (1, 0)
    assert found.moves[1].direction.tolist() == [0.0, 0.0, 1.0]
    assert collisions(pieces, found.order, ways_out(found)) == 0


def test_closed_box_and_rings_lock_and_are_named() -> None:
    ring = torus(40, 16, 1.0, 0.2)
    rings = [ring, moved(ring, turned((1.0, 0.0, 0.0), np.pi / 2.0), (1.0, 0.0, 0.0)), box((1, 1, 1), (6.0, 0.0, 0.0))]
    for pieces, core in (([box(), cage()[1]], (0, 1)), (rings, (0, 1))):
        assembly = Assembly(pieces, move_directions(AXES), touching=[(0, 1)])
        found = find_order(assembly, ranks(assembly), plain(len(pieces)))
        assert found.stuck is not None
        assert found.stuck.core == core
        assert found.stuck.keys == ((0, 1),)
        assert not found.stuck.fixed
        assert set(found.order) == set(range(len(pieces))) - set(core)


def test_lock_by_a_keep_clear_body_is_told_apart() -> None:
    cube, lid = box(), cage()[1]
    assembly = Assembly([cube], move_directions(AXES), fixed=[lid])
    found = find_order(assembly, ranks(assembly), plain(1))
    assert found.stuck is not None
    assert found.stuck.fixed
    assert assembly.in_the_way(0, [0]) == (STANDING,)


def test_keep_clear_body_leaves_the_way_that_it_leaves() -> None:
    post = box((0.2, 0.2, 3.0), (1.2, 0.4, 0.0))
    roof = box((1.0, 1.0, 0.2), (0.0, 0.0, 1.3))
    assembly = Assembly([box()], move_directions(AXES), fixed=[joined(post, roof)])
    found = find_order(assembly, ranks(assembly), plain(1))
    assert found.stuck is None
    out = found.moves[0].direction
    assert out[2] >= 0.0
    assert collisions([box()], found.order, ways_out(found), [post, roof]) == 0


def test_no_piece_goes_through_the_floor() -> None:
    assert (move_directions([np.array([0.6, 0.0, -0.8]), np.array([0.0, 0.0, 1.0])])[:, 2] >= 0.0).all()


def test_pins_are_kept_where_the_shapes_allow_and_named_where_not() -> None:
    bricks, touching, rests = wall(4, 1)
    assembly = Assembly(bricks, move_directions(AXES), touching=touching, rests=rests)
    kept = find_order(assembly, ranks(assembly), plain(4), {3: 0, 0: 3})
    assert (kept.order[0], kept.order[3], kept.broken) == (3, 0, ())
    inside = Assembly([box(), cage()[0]], move_directions(AXES))
    broken = find_order(inside, ranks(inside), plain(2), {0: 0})
    assert broken.order == (1, 0)
    assert [(piece, place) for piece, place, _ in broken.broken] == [(0, 0)]
    for pins, words in (({0: 7}, "counted from 0"), ({0: 1, 1: 1}, "same place")):
        with pytest.raises(JobError, match=words):
            find_order(inside, ranks(inside), plain(2), pins)


def test_a_given_order_is_checked() -> None:
    """Every piece pinned: the order is the user's, and where it cannot be it says which pieces are in the way."""
    pieces = [box(), cage()[0]]
    assembly = Assembly(pieces, move_directions(AXES), rests=[(0, 1)])
    good = find_order(assembly, ranks(assembly), plain(2), {1: 0, 0: 1})
    assert good.order == (1, 0)
    assert good.broken == good.propped == ()
    # First the cube, then the box over it: the box would have to come from below.
    bad = find_order(assembly, ranks(assembly), plain(2), {0: 0, 1: 1})
    assert [(piece, place, way) for piece, place, way in bad.broken] == [(1, 1, (0,)), (0, 0, ())]
    # Where the shapes allow it and the user wants it, a piece comes before what carries it, and is propped.
    stack = [box(), box((1.0, 1.0, 1.0), (0.0, 0.0, 1.01))]
    carried = Assembly(stack, move_directions(AXES), rests=[(1, 0)])
    found = find_order(carried, ranks(carried), plain(2), {1: 0, 0: 1})
    assert (found.order, found.broken, found.propped) == ((1, 0), (), (1,))


def test_search_can_be_stopped() -> None:
    def stop(share: float, text: str) -> None:
        raise Cancelled

    assembly = Assembly([box()], move_directions(AXES))
    with pytest.raises(Cancelled):
        find_order(assembly, ranks(assembly), plain(1), progress=stop)


def test_a_rock_cut_every_way_goes_up_and_replays_clear() -> None:
    """Level, slanting and profile joints with the usual gap through a rock with overhangs."""
    carving = demo_carving(12_000)
    joints = [
        Plane((2.4, 0.0, 0.0), (1.0, 0.2, 0.25)),
        Profile((4.4, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [[0.0, 0.0], [0.8, 0.2], [1.6, -0.1], [3.4, 0.1]]),
        Plane((0.0, 0.0, 0.5), (0.1, 0.0, 1.0)),
        Plane((0.0, 1.75, 0.0), (0.1, 1.0, -0.3)),
    ]
    result = cut(carving, joints, 0.0135, crumb=1e-3)
    meshes = [b.mesh for b in result.pieces]
    assert len(meshes) >= 8
    assembly = assembly_of(meshes, joints, result.contacts)
    found = plan_build(assembly, meshes, np.arange(len(meshes)))
    assert found.stuck is None
    assert sorted(found.order) == list(range(len(meshes)))
    assert collisions(meshes, found.order, ways_out(found)) == 0
    place = {piece: k for k, piece in enumerate(found.order)}
    assert all(place[lower] < place[upper] for upper, lower in assembly.rests if upper not in found.propped)
