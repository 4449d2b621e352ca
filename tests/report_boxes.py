# SPDX-License-Identifier: GPL-3.0-or-later
"""Handling boxes beside other libraries' on many pieces: ``.venv/bin/python tests/report_boxes.py [--pieces N]``.

Open scans, scaled to three metres, turned at random and cut by random planes. In any pose: trimesh's oriented box,
which searches too. Upright: the height times trimesh's least rectangle, exact over the sides of the outline (shapely's
collapses to a line on one of these pieces). Never smaller than the true extent: a box holds no body that is longer than
its diagonal or larger than its volume.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import trimesh

sys.path.append(str(Path(__file__).parent / "outside"))

from datasets import ARMADILLO, BUNNY, CHEESE, ELEPHANT, TURBINE, path_of, read_off
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane
from seamwright.core.handling import measure_finished
from seamwright.core.job import Job, Skin
from seamwright.core.mesh.mesh import Mesh

BAR = 1.005
UPRIGHT = replace(Job(), skin=Skin(layers=()))
ANY = replace(UPRIGHT, limits=replace(Job().limits, any_pose=True))


def pieces() -> Iterator[tuple[str, Mesh]]:
    """Pieces without end, scan after scan."""
    scans = [(d.name, read_off(path_of(d))) for d in (BUNNY, ARMADILLO, ELEPHANT, CHEESE, TURBINE)]
    rng = np.random.default_rng(10)
    while True:
        for name, scan in scans:
            turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
            turn *= np.sign(np.linalg.det(turn))
            points = scan.vertices @ turn.T
            points *= 3.0 / np.ptp(points, axis=0).max()
            mesh = Mesh(points, scan.triangles)
            middle = points.mean(axis=0)
            joints = [Plane(middle + rng.normal(size=3) * 0.3, rng.normal(size=3)) for _ in range(4)]
            for body in cut(mesh, joints, 0.005).pieces:
                if body.volume > 1e-3:
                    yield name, body.mesh


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--pieces", type=int, default=300)
    count = parser.parse_args().pieces
    ratios: dict[str, list[float]] = {}
    upright, small, ours, theirs = [], 0, 0.0, 0.0
    for number, (name, mesh) in enumerate(pieces()):
        if number == count:
            break
        start = time.process_time()
        box = measure_finished(mesh, ANY).box
        ours += time.process_time() - start
        start = time.process_time()
        peer = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
        volume = peer.bounding_box_oriented.volume
        theirs += time.process_time() - start
        ratios.setdefault(name, []).append(float(np.prod(box) / volume))
        hull = peer.convex_hull
        farthest = max(float(np.linalg.norm(hull.vertices - v, axis=1).max()) for v in hull.vertices)
        small += bool(np.linalg.norm(box) < farthest * (1.0 - 1e-12) or np.prod(box) < hull.volume * (1.0 - 1e-9))
        length, width, height = measure_finished(mesh, UPRIGHT).box
        _, flat = trimesh.bounds.oriented_bounds_2D(mesh.vertices[:, :2])
        upright.append(length * width * height / (float(np.prod(flat)) * float(np.ptp(mesh.vertices[:, 2]))))
    say = sys.stdout.write
    say(f"{'scan':<22}{'pieces':>8}{'least':>9}{'median':>9}{'largest':>9}{'over 1.005':>12}\n")
    every = [r for row in ratios.values() for r in row]
    for name, row in [*ratios.items(), ("all", every)]:
        over = sum(r > BAR for r in row)
        say(f"{name:<22}{len(row):>8}{min(row):>9.4f}{np.median(row):>9.4f}{max(row):>9.4f}{over:>12}\n")
    say(f"upright, over trimesh's: {min(upright):.12f} to {max(upright):.12f}\n")
    say(f"smaller than the true extent: {small} of {len(every)}\n")
    say(f"processor seconds: ours {ours:.1f} (areas, masses and crew with it), trimesh {theirs:.1f}\n")
    return int(max(every) > BAR or small > 0 or not np.allclose(upright, 1.0, rtol=1e-9, atol=0.0))


if __name__ == "__main__":
    sys.exit(main())
