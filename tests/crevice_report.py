# SPDX-License-Identifier: GPL-3.0-or-later
"""Prints how well crevices are found on planted rocks, and how long that takes; run by hand.

`python tests/crevice_report.py --seed 1000 --triangles 200000 1000000 2000000`, or `--dragon`. Each rock has a seed of
its own; the constants of core/seams were chosen on seeds 10 to 67.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent / "outside"))
from datasets import WELSH_DRAGON, path_of
from outcomes import scaled
from planted_rocks import SHAPES, planted_rock, score
from scipy.spatial import cKDTree
from seamwright.core import Mesh, find_crevices
from seamwright.core.intake.mend import Recipe
from seamwright.core.intake.prepare import prepare
from seamwright.core.intake.readers import read_mesh
from seamwright.core.mesh.mass import triangle_areas

STRONGEST = 0.03
NEAR = 0.025

COLUMNS = (
    "shape triangles spacing noise iso seed | precision recall line-recall chance | lines metres planted | cpu wall"
)


def tell(text: str) -> None:
    sys.stdout.write(text)
    sys.stdout.flush()


def dragon() -> int:
    """The strongest 3 % of the mended dragon's surface, 3 m long, and what of it is found again under 1 mm noise."""
    scan = scaled(read_mesh(path_of(WELSH_DRAGON)))
    mesh = prepare(scan, recipe=Recipe()).mesh
    area = np.bincount(mesh.triangles.ravel(), np.repeat(triangle_areas(mesh) / 3.0, 3), minlength=len(mesh.vertices))
    noise = np.random.default_rng(1).normal(0.0, 0.001, mesh.vertices.shape)
    strongest = []
    for vertices in (mesh.vertices, mesh.vertices + noise):
        cpu = time.process_time()
        strength = find_crevices(Mesh(vertices, mesh.triangles)).strength
        cpu = time.process_time() - cpu
        order = np.argsort(-strength, kind="stable")
        chosen = np.zeros(len(vertices), dtype=bool)
        chosen[order[: int(np.searchsorted(np.cumsum(area[order]), STRONGEST * area.sum())) + 1]] = True
        strongest.append(chosen)
        tell(
            f"dragon, {len(mesh.triangles)} triangles: weakest of the strongest {strength[chosen].min():.3f}, "
            f"{cpu:.1f} s\n"
        )
    for word, one, two in (("of the clean", *strongest), ("of the noisy", *strongest[::-1])):
        away = cKDTree(mesh.vertices[two]).query(mesh.vertices[one])[0]
        near = float(area[one][away <= NEAR].sum() / area[one].sum())
        same = float(area[one & two].sum() / area[one].sum())
        tell(f"{word} found in the other: {near:.3f} within {NEAR * 1000.0:g} mm, {same:.3f} vertex by vertex\n")
    return 0


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1000)
    parser.add_argument("--triangles", type=int, nargs="+", default=[200_000, 1_000_000])
    parser.add_argument("--noise", type=float, nargs="+", default=[0.0, 0.001, 0.003], help="metres")
    parser.add_argument("--spacing", type=float, nargs="+", default=[1.0, 0.5], help="metres")
    parser.add_argument("--roughness", type=float, default=1.0)
    parser.add_argument("--dragon", action="store_true", help="the open dragon scan under noise instead")
    options = parser.parse_args()
    if options.dragon:
        return dragon()
    tell(COLUMNS + "\n")
    seed = options.seed
    table: dict[float, list[tuple[float, ...]]] = {}
    for triangles in options.triangles:
        for shape in SHAPES:
            for spacing in options.spacing:
                for noise in options.noise:
                    rock = planted_rock(
                        shape, triangles, seed, spacing, noise, isotropic=seed % 2 == 1, roughness=options.roughness
                    )
                    wall, cpu = time.perf_counter(), time.process_time()
                    found = find_crevices(rock.mesh)
                    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
                    got = score(rock, found.is_crevice)
                    planted = sum(np.linalg.norm(np.diff(g, axis=0), axis=1).sum() for g in rock.grooves)
                    tell(
                        f"{shape:5} {len(rock.mesh.triangles):7} {spacing:g} {noise:g} {seed % 2} {seed} | "
                        f"{got.precision:.3f} {got.recall:.3f} {got.line_recall:.3f} {got.chance:.3f} | "
                        f"{len(found.lines)} {found.lengths.sum():.1f} {planted:.1f} | {cpu:.1f} {wall:.1f}\n"
                    )
                    table.setdefault(noise, []).append((got.precision, got.recall, got.line_recall, cpu, wall))
                    seed += 1
    for noise, rows in table.items():
        values = np.array(rows)
        mean, worst = values.mean(axis=0), values.min(axis=0)
        tell(
            f"noise {noise * 1000.0:g} mm, {len(rows)} rocks: precision {mean[0]:.3f} (worst {worst[0]:.3f}), recall "
            f"{mean[1]:.3f} ({worst[1]:.3f}), line recall {mean[2]:.3f} ({worst[2]:.3f})\n"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
