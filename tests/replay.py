# SPDX-License-Identifier: GPL-3.0-or-later
"""Replays a build order by a collision library that this project did not write (FCL), a step at a time.

``.venv/bin/python tests/replay.py`` builds the demo up piece by piece at 1 mm steps and prints what touched.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence

import fcl
import numpy as np
from seamwright.core.mesh.mesh import Mesh

STEP = 1e-3


def collision_object(mesh: Mesh) -> fcl.CollisionObject:
    """A body of triangles; touching counts as collision."""
    model = fcl.BVHModel()
    model.beginModel(len(mesh.vertices), len(mesh.triangles))
    model.addSubModel(np.array(mesh.vertices), np.array(mesh.triangles))
    model.endModel()
    return fcl.CollisionObject(model, fcl.Transform())


def collisions(meshes: Sequence[Mesh], order, ways_out, fixed: Sequence[Mesh] = (), step: float = STEP) -> int:
    """Steps of the whole building at which a coming piece touches one that stands, tried every `step`.

    Parameters
    ----------
    meshes : pieces where they stand in the end; they need a gap, as touching counts.
    order, ways_out : pieces in build order, and of each the unit vector (3,) along which it leaves.
    fixed : what stands before the first piece.

    Notes
    -----
    Each piece comes from where its box is clear of the other's box, pair by pair; it is looked at in every place of its
    way, its last one first, in which the two boxes meet, but for steps that the distance found shows to be clear.
    """
    everything = [*meshes, *fixed]
    bodies = [collision_object(m) for m in everything]
    lows = [m.vertices.min(axis=0) for m in everything]
    highs = [m.vertices.max(axis=0) for m in everything]
    standing = list(range(len(meshes), len(everything)))
    hits = 0
    for piece, way in zip(order, ways_out, strict=True):
        way = np.asarray(way, dtype=np.float64)
        for other in standing:
            steps = _steps(lows[piece], highs[piece], lows[other], highs[other], way, step)
            k = steps.start
            while k < steps.stop:
                bodies[piece].setTranslation(way * (k * step))
                apart = fcl.distance(bodies[piece], bodies[other], fcl.DistanceRequest(), fcl.DistanceResult())
                hits += apart <= 0.0
                # A step moves the piece by no more than its length: those within the distance cannot touch.
                k += max(1, int(apart / step))
            bodies[piece].setTranslation(np.zeros(3))
        standing.append(piece)
    return hits


def _steps(
    low: np.ndarray, high: np.ndarray, other_low: np.ndarray, other_high: np.ndarray, way: np.ndarray, step: float
) -> range:
    """Steps along a way, from 0, at which two boxes meet; one more on either side."""
    start, end = 0.0, np.inf
    for axis in range(3):
        near, far = other_low[axis] - high[axis], other_high[axis] - low[axis]
        if abs(way[axis]) < 1e-12:
            if near > 0.0 or far < 0.0:
                return range(0)
            continue
        enters, leaves = sorted((near / way[axis], far / way[axis]))
        start, end = max(start, enters), min(end, leaves)
    return range(max(int(start / step) - 1, 0), int(end / step) + 2) if start <= end else range(0)


def main() -> None:
    """Replay the demo round its boat and cradle, which stand there already."""
    from seamwright.core.demo import demo_carving, demo_job_toml, demo_keep_clear
    from seamwright.core.job import Job
    from seamwright.core.pipeline import run_job

    result = run_job(demo_carving(), Job.from_toml(demo_job_toml()), keep_clear=demo_keep_clear())
    if result.site is None or result.clearance is None:
        raise SystemExit("the demo has no build order or nothing to keep clear")
    start = time.process_time()
    meshes = [p.mesh for p in result.pieces]
    fixed = [body.standing() for body in result.clearance.bodies]
    order = [step.piece for step in result.site.build]
    out = [-np.array(step.way_in) for step in result.site.build]
    say = sys.stdout.write
    hits = collisions(meshes, order, out, fixed)
    said = f"{len(order)} of {len(meshes)} pieces built past {len(fixed)} bodies"
    say(f"{said} at {STEP * 1000:g} mm steps: {hits} steps touch\n")
    back = collisions(meshes, order[::-1], out[::-1], fixed)
    say(f"the reverse order, to see that touching is seen: {back} steps touch\n")
    say(f"{time.process_time() - start:.1f} s\n")


if __name__ == "__main__":
    main()
