# SPDX-License-Identifier: GPL-3.0-or-later
"""Time the clearance check beside python-fcl: ``.venv/bin/python tests/bench_clearance.py [--triangles N]``.

The demo rock of two million triangles and its boat, refined to a hundred thousand. Times are wall and processor seconds
of this process, from numpy arrays to the answer; building the trees is told apart from the query. python-fcl
(compiled; Flexible Collision Library) gets the same meshes in the same run. For the sweep it is asked for the
distance every millimetre, which bounds the true least distance as tightly as the tolerance does.
"""

from __future__ import annotations

import argparse
import importlib.metadata
import os
import platform
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numpy as np

sys.path.append(str(Path(__file__).parent / "outside"))

from collision_peer import model, peer_distance, still
from seamwright.core.clearance.body import Body, Key, make_body
from seamwright.core.clearance.check import Rule, swept_box
from seamwright.core.clearance.motion import Motion
from seamwright.core.clearance.search import least_distance
from seamwright.core.clearance.tree import mesh_forest
from seamwright.core.demo import demo_carving
from seamwright.core.demo.boat import MIDDLE, demo_boat
from seamwright.core.mesh.mesh import FloatArray, Mesh
from shapes import in_four

WAY = 6.0
POSE_BAR, SWEEP_BAR = 3.0, 60.0
T = TypeVar("T")


def timed(name: str, work: Callable[[], T]) -> tuple[T, float, float]:
    wall, processor = time.perf_counter(), time.process_time()
    result = work()
    wall, processor = time.perf_counter() - wall, time.process_time() - processor
    say(f"  {name:<58}{wall:9.3f} s wall {processor:9.3f} s processor")
    return result, wall, processor


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def bar(name: str, wall: float, processor: float, limit: float) -> None:
    """A machine that does other work as well shows in the wall time: where only that is over the bar, it is said."""
    said = "reached" if wall < limit else "reached by processor time alone" if processor < limit else "MISSED"
    say(f"  {name}: {wall:.2f} s wall, {processor:.2f} s processor, bar {limit:g} s: {said}")


def refined(mesh: Mesh, least: int) -> Mesh:
    """Every triangle into four until there are `least`."""
    while len(mesh.triangles) < least:
        mesh = in_four(mesh)
    return mesh


def ways(body: Mesh) -> list[tuple[str, Body]]:
    x, y, z = MIDDLE
    hull = Mesh(body.vertices - np.array(MIDDLE), body.triangles)
    curve = [Key((x + WAY * s, y + 0.5 * s * s, z + 0.25 * s), 0.15 * s, -0.02 * s) for s in np.linspace(1.0, 0.1, 10)]
    return [
        ("straight", make_body("boat", hull, Key(MIDDLE), (Key((x + WAY, y, z + 0.1)),))),
        ("curved, turning", make_body("boat", hull, Key(MIDDLE), curve)),
        (
            "straight, roll 0.5 deg, bounce 5 mm, 10 mm off line",
            make_body("boat", hull, Key(MIDDLE), (Key((x + WAY, y, z + 0.1)),), float(np.radians(0.5)), 0.005, 0.01),
        ),
    ]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--triangles", type=int, default=2_000_000)
    parser.add_argument("--body", type=int, default=100_000)
    options = parser.parse_args()
    rock, boat = demo_carving(options.triangles), refined(demo_boat(), options.body)
    say(
        f"carving {len(rock.triangles)} triangles, body {len(boat.triangles)}; numpy {np.__version__}, python-fcl "
        f"{importlib.metadata.version('python-fcl')}, {platform.machine()}, {os.cpu_count()} cores"
    )
    made = ways(boat)
    rule = Rule(tolerance=0.001)
    body = made[0][1]

    say("pose check")
    (forest, tree), built, built_cpu = timed(
        "ours: trees of both, whole", lambda: (mesh_forest([rock]), mesh_forest([body.mesh]))
    )
    ours, asked, asked_cpu = timed("ours: distance", lambda: least_distance(forest, tree, body.motion.rest()))
    (stone, other), peer_built, _ = timed("python-fcl: trees of both", lambda: (model(rock), model(body.mesh)))
    standing = still(stone)
    turn, place = body.motion.rest().at(np.zeros((1, 4)))
    theirs, peer_asked, _ = timed("python-fcl: distance", lambda: peer_distance(standing, other, turn[0], place[0]))
    same = abs(float(ours.distance[0]) - theirs) <= 1e-6 * theirs
    say(f"  {float(ours.distance[0]):.9f} m and {theirs:.9f} m: {'the same' if same else 'DIFFERENT'}")
    say(
        f"  ours / python-fcl: {(built + asked) / (peer_built + peer_asked):.2f} in all, {asked / peer_asked:.2f} query"
    )
    bar("pose check", built + asked, built_cpu + asked_cpu, POSE_BAR)

    for name, body in made:
        say(f"sweep of {body.motion.length:.2f} m at {1000 * rule.tolerance:g} mm: {name}")

        def search(body: Body = body) -> float:
            own = mesh_forest([body.mesh])
            low, high = swept_box(own, body.motion)
            near = mesh_forest([rock], low - 0.5, high + 0.5)
            return float(least_distance(near, own, body.motion, 0.5, rule.tolerance).distance[0])

        found, wall, cpu = timed("ours, trees included", search)
        count = int(body.motion.length / 0.001) + 2
        poses = np.zeros((count, 4))
        poses[:, 0] = np.linspace(0.0, len(body.motion.places) - 1.0, count)

        def dense(motion: Motion = body.motion, poses: FloatArray = poses) -> float:
            turns, places = motion.at(poses)
            return min(peer_distance(standing, other, turn, place) for turn, place in zip(turns, places, strict=True))

        least, peer_wall, _ = timed(f"python-fcl, {count} poses without roll, bounce, error", dense)
        say(f"  least {found:.6f} m and {least:.6f} m; ours / python-fcl: {wall / (peer_built + peer_wall):.2f}")
        bar("sweep", wall, cpu, SWEEP_BAR)
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main())
