# SPDX-License-Identifier: GPL-3.0-or-later
"""Distances of open meshes and of bodies on their way, against the Flexible Collision Library (python-fcl)."""

from __future__ import annotations

import numpy as np
import pytest
from collision_peer import model, peer_distance, still
from datasets import ARMADILLO, BUNNY, CHEESE, ELEPHANT, TURBINE, path_of, read_off
from seamwright.core.clearance.body import Body, Key, headings_along, make_body
from seamwright.core.clearance.check import Rule, check_body
from seamwright.core.clearance.motion import Motion
from seamwright.core.clearance.search import least_distance
from seamwright.core.clearance.tree import mesh_forest
from seamwright.core.clearance.turning import turn_about
from seamwright.core.demo import demo_carving
from seamwright.core.demo.boat import MIDDLE, demo_boat
from seamwright.core.mesh.mesh import FloatArray, Mesh

AHEAD = np.array([1.0, 0.0, 0.0])
PAIRS = 200


def random_turn(rng: np.random.Generator) -> FloatArray:
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    result: FloatArray = turn * np.sign(np.linalg.det(turn))
    return result


@pytest.fixture(scope="module")
def shapes() -> list[Mesh]:
    """Open meshes, centred, of radius 1."""
    made = []
    for dataset in (BUNNY, ELEPHANT, CHEESE, TURBINE, ARMADILLO):
        mesh = read_off(path_of(dataset))
        centred = mesh.vertices - mesh.vertices.mean(axis=0)
        made.append(Mesh(centred / np.linalg.norm(centred, axis=1).max(), mesh.triangles))
    return made


def test_200_random_pairs(shapes: list[Mesh]) -> None:
    """Relative 1e-6 where apart, and every crossing found: peer python-fcl 0.7.0 (BSD), distance of BVH models."""
    peers, trees = [model(mesh) for mesh in shapes], [mesh_forest([mesh]) for mesh in shapes]
    rng = np.random.default_rng(3)
    crossing, worst = 0, 0.0
    for _ in range(PAIRS):
        i, j = rng.integers(0, len(shapes), 2)
        turn, place = random_turn(rng), rng.normal(size=3)
        place *= rng.uniform(0.3, 2.2) / np.linalg.norm(place)
        ours = least_distance(trees[i], trees[j], Motion(place[None], turn[None], AHEAD))
        theirs = peer_distance(still(peers[i]), peers[j], turn, place)
        if theirs == 0.0:
            crossing += 1
            assert ours.distance[0] == 0.0
            continue
        worst = max(worst, abs(float(ours.distance[0]) - theirs) / theirs)
        assert np.linalg.norm(ours.here[0] - ours.there[0]) == pytest.approx(float(ours.distance[0]), rel=1e-12)
    assert worst < 1e-6
    assert 50 < crossing < 150  # both kinds have their share


def test_one_wholly_inside_the_other_is_a_contact(shapes: list[Mesh]) -> None:
    """Their surfaces never meet, and still it is no clearance; told by the other library's surfaces being apart."""
    bunny = shapes[0]
    inner = Mesh(0.02 * bunny.vertices, bunny.triangles)
    at = (0.0, 0.0, 0.0)
    assert peer_distance(still(model(bunny)), model(inner), np.eye(3), np.array(at)) > 0.0
    for outer, body in ((bunny, inner), (inner, bunny)):
        found = (
            check_body([("1", outer)], make_body("b", body, Key(at)), Rule(fit=(0.01, 0.02), facing=0.05))
            .pieces[0]
            .rest
        )
        assert found is not None
        assert found.distance == 0.0
        assert found.inside


def dense(rock: Mesh, body: Body, poses: FloatArray) -> float:
    """Least distance over many poses, one by one, by the other library."""
    one, two = still(model(rock)), model(body.mesh)
    turns, places = body.motion.at(poses)
    return min(peer_distance(one, two, turn, place) for turn, place in zip(turns, places, strict=True))


@pytest.fixture(scope="module")
def rock() -> Mesh:
    return demo_carving(60_000)


@pytest.fixture(scope="module")
def hull() -> Mesh:
    return Mesh(demo_boat().vertices - np.array(MIDDLE), demo_boat().triangles)


def test_a_straight_way_in(rock: Mesh, hull: Mesh) -> None:
    x, y, z = MIDDLE
    body = make_body("boat", hull, Key(MIDDLE), (Key((x + 6.0, y, z)),))
    found = check_body([("1", rock)], body, Rule(), off_line=False).pieces[0].sweep
    assert found is not None
    poses = np.zeros((3001, 4))
    poses[:, 0] = np.linspace(0.0, 1.0, len(poses))  # 2 mm apart: the true least is smaller by 1 mm at most
    assert found.distance == pytest.approx(dense(rock, body, poses), abs=0.001)
    assert found.distance == pytest.approx(dense(rock, body, np.array([found.pose])), rel=1e-6)
    assert found.to_go == pytest.approx(6.0 * (1.0 - found.pose[0]))


def test_a_curved_way_in_with_roll_and_bounce(rock: Mesh, hull: Mesh) -> None:
    x, y, z = MIDDLE
    share = np.linspace(1.0, 0.0, 9)[:, None]
    places = np.array([x, y, z]) + share * [4.0, 0.0, 0.35] + share**2 * [0.0, 0.6, 0.0]
    heading = headings_along(places[::-1], 0.0)[::-1] * 0.0 + 0.25 * share[:, 0]
    way = [
        Key((p[0], p[1], p[2]), float(h), 0.02 * float(s[0]), -0.03 * float(s[0]))
        for p, h, s in zip(places.tolist(), heading, share, strict=True)
    ]
    body = make_body("boat", hull, Key(MIDDLE), way[:-1], roll=0.01, bounce=0.02, side=0.015)
    found = check_body([("1", rock)], body, Rule(tolerance=0.001), off_line=False).pieces[0].sweep
    assert found is not None
    assert 0.0 < found.distance
    assert found.distance == pytest.approx(dense(rock, body, np.array([found.pose])), rel=1e-6)
    # Poses at random and on the faces of what may happen: none comes nearer than the tolerance allows.
    rng = np.random.default_rng(5)
    poses = np.column_stack([rng.uniform(0.0, 8.0, 3000), rng.uniform(-1.0, 1.0, (3000, 3))])
    poses[:, 1:] = np.where(rng.random((3000, 3)) < 0.7, np.sign(poses[:, 1:]), poses[:, 1:]) * [0.01, 0.02, 0.015]
    poses[1500:, 0] = np.clip(found.pose[0] + rng.normal(size=1500) * 0.05, 0.0, 8.0)
    assert dense(rock, body, poses) >= found.distance - 0.001


def test_turning_on_the_spot(shapes: list[Mesh]) -> None:
    """Half a turn about the upright: what turning alone takes, with nothing that slides."""
    bunny, elephant = shapes[0], shapes[1]
    tree, peer, body = mesh_forest([bunny]), still(model(bunny)), mesh_forest([elephant])
    places = np.tile([1.75, 0.2, 0.1], (5, 1))
    turns = turn_about(np.array([0.0, 0.0, 1.0]), np.linspace(0.0, 3.0, 5))
    motion = Motion(places, turns, AHEAD)
    ours = least_distance(tree, body, motion, tolerance=0.002)
    poses = np.zeros((2001, 4))
    poses[:, 0] = np.linspace(0.0, 4.0, len(poses))
    theirs = min(
        peer_distance(peer, model_of, turn, place)
        for model_of in (model(elephant),)
        for turn, place in zip(*motion.at(poses), strict=True)
    )
    assert 0.0 < theirs
    assert ours.distance[0] == pytest.approx(theirs, abs=0.002)
