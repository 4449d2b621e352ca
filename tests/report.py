# SPDX-License-Identifier: GPL-3.0-or-later
"""The planning tables: how many pieces, how well hidden, how long it took. Run by hand: ``python3 build.py report``.

Rocks with planted grooves (tests/outside/planted_rocks.py) every 0.5 m, and open scans (tests/outside/datasets.py).
Each plan is cut again by all its joints, every piece measured by the checks, every line held against the true grooves.
"""

from __future__ import annotations

import argparse
import itertools
import multiprocessing
import os
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

# As the command line does, before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np

sys.path.append(str(Path(__file__).parent / "outside"))

import pytest
from datasets import ARMADILLO, BUNNY, WELSH_DRAGON, path_of, read_off
from planted_rocks import NEAR, SHAPES, planted_rock
from reference import volume_of
from seamwright.core.blockup.plan import plan_blockup
from seamwright.core.cutting.cut import cut
from seamwright.core.handling.checks import within_limits
from seamwright.core.handling.figures import measure_piece
from seamwright.core.intake.mend import Recipe
from seamwright.core.intake.prepare import prepare
from seamwright.core.intake.readers import read_mesh
from seamwright.core.job import Job
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import edge_report
from seamwright.core.planning.for_job import propose_for_job
from seamwright.core.planning.hands import gathered
from seamwright.core.plans import Ground
from seamwright.core.seams.index import CREVICE, GLUE_LINE, SeamIndex
from seamwright.core.seams.near import segments_of
from seamwright.core.seams.sampling import visible_parts
from seamwright.core.seams.seams import find_seams
from seamwright.core.skin.depth import gap_width
from skirt import rock_skirt

BARE = """
[foam]
kerf = "0 mm"
[skin]
bridging = "0 mm"
layers = [{ name = "skin", mass = "8.3 kg/m2", faces = ["carved", "joint", "base", "back"] }]
[limits]
piece_mass = "50 kg"
piece_size = ["2.4 m", "1.2 m", "1.2 m"]
any_pose = %s
[joints]
fit = "0 mm"
seams = [%s]
kinds = [%s]
hidden = %g
"""

GLUED = """
[blockup]
built = "planned"
"""

SKINNED = """
[limits]
piece_mass = "%g kg"
piece_size = ["2.4 m", "1.2 m", "1.2 m"]
any_pose = %s
[joints]
hidden = %g
"""

BALANCE = 1e-9


@dataclass(frozen=True)
class Row:
    """What one plan came to.

    `on_seam`, `chance` and `planes` are shares of the visible joint line; `seconds` go by the clock to seams with the
    block-up, plan, cut, weighing; `work` is processor time, that of helping processes too.
    """

    name: str
    pieces: int
    practical: int
    fewest: int
    bad: int
    open: int
    lost: float
    on_seam: float
    chance: float
    planes: float | None
    heaviest: float
    lightest: float
    seconds: tuple[float, ...]
    work: float


def measured(name: str, mesh: Mesh, job: Job, truth: Sequence[np.ndarray] | None, planes: Job | None) -> Row:
    """Plan, cut, check; `truth` are courses that a joint may follow, None: the crevices that were found."""
    # As it is where it is sound; a flawed scan is mended as a job mends it.
    ready = prepare(mesh, recipe=None if truth is not None else Recipe.of(job.carving)).mesh
    gap = gap_width(job)
    work, clock = spent(), [time.perf_counter()]
    blockup = plan_blockup(ready, job)
    seams = find_seams(ready, job, None, None if blockup is None else blockup.glue)
    clock.append(time.perf_counter())
    with gathered(len(ready.triangles)) as crew:
        plan = propose_for_job(ready, job, gap, seams, crew=crew)
        clock.append(time.perf_counter())
        found = cut(ready, plan.joints, gap, crumb=job.carving.crumb)
        clock.append(time.perf_counter())
        figures = crew.map([partial(crew.run, measure_piece, body.mesh, job) for body in found.pieces])
        bad = sum(not within_limits(piece, job) for piece in figures)
    clock.append(time.perf_counter())
    work = spent() - work
    index = seams.index
    if truth is not None:
        glued = index.kinds == GLUE_LINE
        known = {CREVICE: segments_of(truth), GLUE_LINE: (index.starts[glued], index.ends[glued])}
        index = SeamIndex(known, NEAR)
    every = (*found.pieces, *found.crumbs, *found.taken)
    share = None
    if planes is not None:
        other = propose_for_job(ready, planes, gap, seams)
        share = on_seam(cut(ready, other.joints, gap, crumb=job.carving.crumb).lines, index)
    return Row(
        name,
        len(found.pieces),
        plan.quality.practical,
        plan.quality.fewest,
        bad,
        sum(not edge_report(body.mesh.triangles).closed for body in every),
        abs(sum(volume_of(body.mesh) for body in every) / volume_of(ready) - 1.0),
        on_seam(found.lines, index),
        index.chance(ready),
        share,
        max(piece.finished_mass for piece in figures),
        min(piece.finished_mass for piece in figures),
        tuple(b - a for a, b in itertools.pairwise(clock)),
        work,
    )


def spent() -> float:
    """Seconds of processor time, those of processes that helped and have ended among them."""
    return float(sum(os.times()[:4]))


def on_seam(lines: Sequence[Sequence[object]], index: SeamIndex) -> float:
    """Share of all visible joint line within the tolerance."""
    total = kept = 0.0
    for own in lines:
        parts = visible_parts(own)  # type: ignore[arg-type]
        on = index.on(parts.point)
        total += float(parts.length.sum())
        kept += float(parts.length[on].sum())
    return kept / total if total > 0.0 else 1.0


def rock_row(shape: str, seed: int, triangles: int, job: Job, planes: Job | None) -> Row:
    """The row of one planted rock."""
    rock = planted_rock(shape, triangles, seed, spacing=0.5)
    return measured(f"{shape} {seed}", rock.mesh, job, [course[::10] for course in rock.grooves], planes)


def rocks(args: argparse.Namespace, job: Job, planes: Job | None) -> Iterator[Row]:
    """Rows of planted rocks, shape by shape; several at a time by ``--at-once``."""
    seeds = range(args.first, args.first + args.seeds)
    tasks = [(shape, seed, args.triangles, job, planes) for shape in args.shapes for seed in seeds]
    if args.at_once == 1:
        yield from itertools.starmap(rock_row, tasks)
        return
    with multiprocessing.get_context("spawn").Pool(args.at_once) as pool:
        waiting = [pool.apply_async(rock_row, task) for task in tasks]
        for one in waiting:
            yield one.get()


def scans(sizes: Sequence[float]) -> Iterator[tuple[str, Mesh]]:
    """Open scans, each with its longest side so many metres."""
    for dataset in (BUNNY, ARMADILLO, WELSH_DRAGON):
        try:
            path = path_of(dataset)
            mesh = read_off(path) if path.suffix == ".off" else read_mesh(path)
        except (OSError, pytest.skip.Exception) as error:
            say(f"{dataset.name}: left out ({error})")
            continue
        for size in sizes:
            factor = size / float(mesh.size.max())
            yield f"{dataset.name.split('.')[0]} {size:g} m", Mesh(mesh.vertices * factor, mesh.triangles)


def say(text: str) -> None:
    """Write a line at once."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def show(row: Row) -> None:
    """One line of the table, as soon as it is known."""
    planes = "    -" if row.planes is None else f"{row.planes:5.2f}"
    say(
        f"{row.name:16} {row.pieces:6d} {row.practical:5d} {row.pieces / row.practical:6.2f} {row.fewest:6d} "
        f"{row.bad:4d} "
        f"{row.open:5d} {row.lost:8.0e} {row.on_seam:7.2f} {planes} {row.chance:7.2f} {row.heaviest:6.1f} "
        f"{row.lightest:6.1f} " + " ".join(f"{part:6.1f}" for part in (*row.seconds, sum(row.seconds), row.work))
    )


def mean(rows: Sequence[Row]) -> None:
    """What the rows come to on average, by the first word of their names."""
    for word in dict.fromkeys(row.name.split()[0] for row in rows):
        mine = [row for row in rows if row.name.startswith(word)]
        ratios = [row.pieces / row.practical for row in mine]
        planes = [row.planes for row in mine if row.planes is not None]
        gain = f", {np.mean([row.on_seam for row in mine]) / np.mean(planes):.1f} times planes alone" if planes else ""
        say(
            f"  {word}: pieces / cubes {np.mean(ratios):.2f} (at most {max(ratios):.2f}), on seams "
            f"{np.mean([row.on_seam for row in mine]):.2f} (least {min(row.on_seam for row in mine):.2f}){gain}, over "
            f"a limit {sum(row.bad for row in mine)}, open {sum(row.open for row in mine)}"
        )


TABLES = ("rocks", "glue", "skin", "heavy", "scans", "skirt")

SKIRT_MASSES = (45.0, 50.0, 55.0, 60.0, 75.0, 100.0)
"""Limits of a piece, kg: four people at 25 kg each lift 100 kg by their sum, and 50 kg at half of it, the share that
the published team rule gives three; it gives none for four."""


def skirts(args: argparse.Namespace) -> None:
    """Skirts round a frame of 5.0 x 1.6 m, the default skin and gap: at which limits one comes out in six pieces.

    A fact of the trade (common practice, no source): such a skirt is a six-piece job for four people and one load space
    of 12 m.
    """
    say(
        f"\nrock skirts round a frame of 5.0 x 1.6 m, inside a back; default skin, gap and load space of 12.0 m\n"
        f"{'':10} {'limit':>6} {'wish':>10} {'pieces':>6} {'over':>4} {'fewest':>6} {'most':>6} {'least':>6} "
        f"{'joints':>6} {'on seam':>7} {'chance':>6} {'loads':>5} {'floor':>6} {'cpu s':>6}"
    )
    for seed in range(args.first, args.first + min(args.seeds, 3)):
        ground = Ground.of(rock_skirt(args.triangles, seed), Job())
        for mass in SKIRT_MASSES:
            job = replace(ground.job, limits=replace(ground.job.limits, piece_mass=mass))
            here = replace(ground, job=job)
            for words, wish in (("few", {"hidden": 0.0}), ("hidden .5", {"hidden": 0.5}), ("six", {"pieces": 6})):
                start = time.process_time()
                plan = here.propose(**wish)
                took = time.process_time() - start
                row, quality = here.weigh(plan.joints), plan.quality
                say(
                    f"skirt {seed:<4} {mass:6.0f} {words:>10} {row.pieces:6d} {row.over:4d} {quality.fewest:6d} "
                    f"{row.heaviest:6.1f} {row.lightest:6.1f} {row.joints:6d} {row.share:7.2f} {quality.chance:6.2f} "
                    f"{row.loads:5d} {row.floor:6.1f} {took:6.1f}"
                )


HEAD = (
    f"{'':16} {'pieces':>6} {'cubes':>5} {'ratio':>6} {'fewest':>6} {'over':>4} {'open':>5} {'lost':>8} {'on seam':>7} "
    f"{'plane':>5} {'chance':>7} {'most':>6} {'least':>6} "
    f"{'seams':>6} {'plan':>6} {'cut':>6} {'weigh':>6} {'all s':>6} {'cpu s':>6}"
)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--triangles", type=int, default=200_000)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--shapes", nargs="*", default=list(SHAPES))
    parser.add_argument("--hidden", type=float, default=0.5)
    parser.add_argument("--pose", choices=("upright", "any"), default="upright")
    parser.add_argument("--at-once", type=int, default=1, help="rocks worked on side by side (times are then too long)")
    parser.add_argument("--no-planes", action="store_true", help="leave the plan of planes alone out")
    parser.add_argument("--only", choices=TABLES, nargs="*", default=None)
    args = parser.parse_args()
    wanted = args.only or list(TABLES)
    pose = "true" if args.pose == "any" else "false"
    both, crevice = '"plane", "profile"', '"crevice"'
    bare = Job.from_toml(BARE % (pose, crevice, both, args.hidden))
    planes = None if args.no_planes else Job.from_toml(BARE % (pose, crevice, '"plane"', args.hidden))
    glued = Job.from_toml(BARE % (pose, crevice + ', "glue line"', both, args.hidden) + GLUED)
    tables = {
        "rocks": ("50 kg, 8.3 kg/m2 on all faces, no gap", bare, planes),
        "glue": ("50 kg, 8.3 kg/m2 on all faces, no gap, glue lines are seams too", glued, None),
        "skin": ("50 kg, the default skin and gap", Job.from_toml(SKINNED % (50, pose, args.hidden)), None),
        "heavy": (
            "100 kg, the default skin and gap; without a bar",
            Job.from_toml(SKINNED % (100, pose, args.hidden)),
            None,
        ),
    }
    for name, (title, job, alone) in tables.items():
        if name in wanted:
            say(f"\n{title}; {args.pose}; {args.triangles} triangles, grooves every 0.5 m\n{HEAD}")
            rows = []
            for row in rocks(args, job, alone):
                rows.append(row)
                show(row)
            mean(rows)
    if "scans" in wanted:
        say(f"\nopen scans, 50 kg, 8.3 kg/m2 on all faces, no gap; {args.pose}\n{HEAD}")
        for scan, mesh in scans((2.0, 3.0, 5.0)):
            show(measured(scan, mesh, bare, None, None))
    if "skirt" in wanted:
        skirts(args)


if __name__ == "__main__":
    main()
