# SPDX-License-Identifier: GPL-3.0-or-later
"""Replays a build order by a collision library that this project did not write (FCL), a step at a time.

``.venv/bin/python tests/replay.py`` builds the demo up piece by piece at 1 mm steps and prints what touched.
"""

from __future__ import annotations

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
    Each piece comes from where its box is clear of the other's box, pair by pair.
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
            with np.errstate(divide="ignore", invalid="ignore"):
                exits = np.where(
                    way > 0,
                    (highs[other] - lows[piece]) / way,
                    np.where(way < 0, (lows[other] - highs[piece]) / way, np.inf),
                )
            reach = max(0.0, float(exits.min()))
            for k in range(int(reach / step) + 2):
                bodies[piece].setTranslation(way * (k * step))
                hits += fcl.collide(bodies[piece], bodies[other], fcl.CollisionRequest(), fcl.CollisionResult()) > 0
            bodies[piece].setTranslation(np.zeros(3))
        standing.append(piece)
    return hits


def main() -> None:
    """Replay the demo."""
    from seamwright.core.demo import demo_carving, demo_job_toml
    from seamwright.core.job import Job
    from seamwright.core.pipeline import run_job

    result = run_job(demo_carving(), Job.from_toml(demo_job_toml()))
    if result.site is None:
        raise SystemExit("the demo has no build order")
    start = time.process_time()
    meshes = [p.mesh for p in result.pieces]
    order = [step.piece for step in result.site.build]
    out = [-np.array(step.way_in) for step in result.site.build]
    hits = collisions(meshes, order, out)
    print(f"{len(order)} of {len(meshes)} pieces built at {STEP * 1000:g} mm steps, {hits} steps touch")  # noqa: T201
    back = collisions(meshes, order[::-1], out[::-1])
    print(f"the reverse order, to see that touching is seen: {back} steps touch")  # noqa: T201
    print(f"{time.process_time() - start:.1f} s")  # noqa: T201


if __name__ == "__main__":
    main()
