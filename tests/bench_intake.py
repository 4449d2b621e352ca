# SPDX-License-Identifier: GPL-3.0-or-later
"""How long the diagnosis of five million triangles takes and how much memory, beside trimesh for what that does too.

``.venv/bin/python tests/bench_intake.py`` prints a table. Each row is a process of its own, so that its peak memory is
its own; processor time stands beside the wall's, which a busy machine draws out.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

SHARED = Path(__file__).parent
LIMIT_SECONDS, LIMIT_GIGABYTES = 20.0, 6.0


def boulder(level: int) -> tuple[np.ndarray, np.ndarray]:
    """A boulder of 20 * 4 ** level triangles in shuffled order, with a hole, a flipped patch and a crumb."""
    sys.path.insert(0, str(SHARED))
    from shapes import icosphere

    ball = icosphere(level)
    wave = 1.0 + 0.1 * np.sin(ball.vertices @ np.array([5.0, 3.0, 2.0]))
    triangles = ball.triangles[np.random.default_rng(1).permutation(len(ball.triangles))]
    middle = ball.vertices[triangles].mean(axis=1)
    triangles = triangles[np.linalg.norm(middle - [0.0, 0.0, 1.0], axis=1) > 0.02]
    flip = np.linalg.norm(ball.vertices[triangles].mean(axis=1) - [1.0, 0.0, 0.0], axis=1) < 0.02
    triangles[flip] = triangles[flip, ::-1]
    crumb = icosphere(2, 0.04)
    vertices = np.concatenate([ball.vertices * wave[:, None] * 1.5, crumb.vertices + np.array([0.0, 2.5, 0.0])])
    return vertices, np.concatenate([triangles, crumb.triangles + len(ball.vertices)])


def our_diagnosis(vertices: np.ndarray, triangles: np.ndarray, overlap: bool = True) -> Callable[[], object]:
    from seamwright.core.intake.diagnose import diagnose
    from seamwright.core.mesh.mesh import Mesh

    mesh = Mesh(vertices, triangles)

    def work() -> object:
        found = diagnose(mesh, overlap=overlap)
        share = None if found.overlap is None else round(found.overlap.share, 3)
        return {"told": {fault.kind: fault.count for fault in found.faults}, "overlap share": share}

    return work


def our_edges(vertices: np.ndarray, triangles: np.ndarray) -> Callable[[], object]:
    """Open, non-manifold and misoriented edges, and bodies: what trimesh is asked for too."""
    from seamwright.core.intake.table import EdgeTable

    def work() -> object:
        table = EdgeTable.of(triangles)
        bodies = int(table.bodies().max()) + 1
        return len(table.open()), len(table.non_manifold()), len(table.misoriented()), bodies

    return work


def their_edges(vertices: np.ndarray, triangles: np.ndarray) -> Callable[[], object]:
    import trimesh

    def work() -> object:
        mesh = trimesh.Trimesh(vertices, triangles, process=False)
        edges = mesh.edges_sorted
        groups = trimesh.grouping.group_rows(edges, require_count=1)
        consistent = mesh.is_winding_consistent
        bodies = trimesh.graph.connected_component_labels(mesh.face_adjacency, node_count=len(mesh.faces))
        return len(groups), bool(mesh.is_watertight), bool(consistent), int(bodies.max()) + 1

    return work


TASKS = {
    "diagnosis": our_diagnosis,
    "diagnosis but overlap": lambda v, t: our_diagnosis(v, t, overlap=False),
    "edges and bodies": our_edges,
    "edges and bodies, trimesh": their_edges,
}


def one(task: str, level: int) -> None:
    vertices, triangles = boulder(level)
    work = TASKS[task](vertices, triangles)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    wall, busy = time.perf_counter(), time.process_time()
    result = work()
    wall, busy = time.perf_counter() - wall, time.process_time() - busy
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    row = {"triangles": len(triangles), "wall": wall, "busy": busy, "gb": peak / 1e6, "before": before / 1e6}
    sys.stdout.write(json.dumps(row | {"result": str(result)}) + "\n")


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--level", type=int, default=9, help="9: 5.2 million triangles; each less is a quarter")
    parser.add_argument("--one", help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one:
        one(options.one, options.level)
        return 0
    rows = {}
    for task in TASKS:
        command = [sys.executable, __file__, "--one", task, "--level", str(options.level)]
        done = subprocess.run(command, capture_output=True, text=True, check=False)
        if done.returncode:
            sys.stdout.write(f"{task}: failed: {done.stderr.strip().splitlines()[-1:]}\n")
            continue
        row = rows[task] = json.loads(done.stdout)
        sys.stdout.write(
            f"{task:28} {row['triangles']:>9,} triangles  processor {row['busy']:6.1f} s  wall {row['wall']:6.1f} s  "
            f"peak {row['gb']:5.2f} GB  {row['result']}\n"
        )
    if {"edges and bodies", "edges and bodies, trimesh"} <= set(rows):
        ours, theirs = rows["edges and bodies"], rows["edges and bodies, trimesh"]
        sys.stdout.write(
            f"edges and bodies, trimesh to ours: processor {theirs['busy'] / ours['busy']:.2f}, "
            f"peak memory {theirs['gb'] / ours['gb']:.2f}\n"
        )
    if "diagnosis" not in rows:
        return 1
    row = rows["diagnosis"]
    kept = row["busy"] < LIMIT_SECONDS and row["gb"] < LIMIT_GIGABYTES
    sys.stdout.write(
        f"limits {LIMIT_SECONDS:g} s of processor and {LIMIT_GIGABYTES:g} GB: {'kept' if kept else 'not kept'}\n"
    )
    return 0 if kept else 1


if __name__ == "__main__":
    sys.exit(main())
