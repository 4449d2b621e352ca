# SPDX-License-Identifier: GPL-3.0-or-later
"""Time the cut beside general-purpose mesh libraries: ``python3 build.py bench [--quick]``.

Every contender lives in a process of its own and they take turns, so that what else the machine does meets all alike.
Times are medians of wall time, from numpy arrays to numpy arrays of every piece; the first call of each is a warm-up,
in which its pieces are checked. Bars that are missed are printed; the exit code is 1 only if pieces of ours are wrong.
"""

from __future__ import annotations

import argparse
import importlib.metadata
import multiprocessing
import os
import platform
import statistics
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

import bench_cases
import bench_worker
import numpy as np

OURS, FLOOR, BLENDER = "seamwright", "floor", "bmesh"
PEERS = ("vtk", "trimesh", "manifold3d", BLENDER)
SLOW = 10.0
"""Seconds; a contender that takes longer has its warm-up counted and sits out all but one of the rounds."""

ABOUT = {
    (OURS, "planes"): "seamwright, 5 planes, split=False",
    (OURS, "split"): "seamwright, 5 planes, split=True",
    (OURS, "lines"): "seamwright, 5 planes, with joint lines and contacts",
    (FLOOR, "planes"): "numpy floor (no caps, open)",
    ("vtk", "planes"): "vtk clip, a slab at a time",
    ("vtk", "halved"): "vtk clip, half by half",
    ("trimesh", "planes"): "trimesh slice, earcut caps",
    ("manifold3d", "planes"): "manifold3d split, float64",
    (BLENDER, "planes"): "Blender bisect and fill (bmesh)",
    (OURS, "plane"): "seamwright, 1 oblique plane",
    (OURS, "profile"): "seamwright, profile of 200 segments",
    ("vtk", "plane"): "vtk clip, 1 oblique plane",
    ("trimesh", "plane"): "trimesh slice, 1 oblique plane",
    ("manifold3d", "plane"): "manifold3d split, 1 oblique plane",
}
NOTES = """\
What each does (the tables check closedness and volumes only). seamwright: numpy alone, float64, closed pieces whose
two joint faces are the same to the bit, and for each triangle its class and its source. floor: labels, stable
argsort, row gather, vertex compaction; triangles that a plane crosses are dropped, so its pieces are open: it shows
what moving the rest costs, and is no cut. vtk (vtkClipClosedSurface): float64, closed caps with holes; each half
makes its own cut points, so mates differ in the last bits; one core. trimesh (slice_plane, caps by the compiled
mapbox_earcut): float64, closed; mates differ likewise. manifold3d: float64, compiled, closed, equal mates, both
cores; it also makes a whole solid that later operations can use. Blender's bisect_plane with triangle_fill through
bmesh: float32; fills holes rightly, but some pieces of large carvings stay open, as the table tells. None of the
peers carries a class or a source from triangle to triangle here. Left out as never the fastest: pyvista (vtk within),
pymeshlab, Blender's Boolean modifier; open3d (caps come out inside out).
"""


# ------------------------------------------------------------------------------------------------------ runs


class Bench:
    """All contenders, the carvings they get, and the times they took."""

    def __init__(self, names: tuple[str, ...], folder: str) -> None:
        self.folder = folder
        self.all = {name: bench_worker.Contender(name) for name in names}
        self.times: dict[tuple[str, str, str], list[tuple[float, float]]] = defaultdict(list)
        self.checks: dict[tuple[str, str, str], tuple[int, int, float]] = {}
        self.broken: dict[tuple[str, str, str], str] = {}

    def carving(self, triangles: int, part: str, mixed: bool = False) -> tuple[str, np.ndarray]:
        """Put a carving where the contenders find it; return its path, which times are kept by, and its volumes."""
        arrays = bench_cases.rock(triangles)
        expected = bench_cases.region_volumes(*arrays)
        path = str(Path(self.folder) / f"{part}-{triangles}")
        for letter, array in zip("vt", bench_cases.shuffled(*arrays) if mixed else arrays, strict=True):
            np.save(f"{path}-{letter}.npy", array)
        return path, expected

    def once(self, name: str, job: str, path: str, expected: np.ndarray | None = None) -> None:
        """Run one job of one contender."""
        key = (name, job, path)
        if key in self.broken:
            return
        answer = self.all[name].run(job, path, expected)
        if isinstance(answer, str):
            self.broken[key] = answer
            sys.stderr.write(f"{ABOUT[name, job]}: {answer}\n")
            return
        if answer[2] is not None:
            self.checks[key] = answer[2]
        if answer[2] is None or answer[0] > SLOW:
            self.times[key].append(answer[:2])

    def rounds(self, jobs: list[tuple[str, str]], path: str, expected: np.ndarray, count: int) -> None:
        """Warm all up and check them, then let them take turns."""
        for name, job in jobs:
            self.once(name, job, path, expected)
        for k in range(count):
            sys.stderr.write(f"round {k + 1} of {count}\n")
            for name, job in jobs:
                slow = self.times[name, job, path] and self.times[name, job, path][0][0] > SLOW
                if not slow or k == count // 2:
                    self.once(name, job, path)

    def median(self, name: str, job: str, path: str, which: int = 0) -> float:
        """Median seconds (0 wall, 1 processor); not a number where it did not run."""
        times = self.times[name, job, path]
        return statistics.median(t[which] for t in times) if times else float("nan")

    def table(self, title: str, jobs: list[tuple[str, str]], path: str) -> None:
        """Print what the contenders took."""
        say(f"\n{title}")
        say(f"{'':50s} {'median':>8s} {'least':>8s} {'most':>8s} {'CPU':>8s} {'runs':>4s} {'/ first':>7s}  pieces")
        first = self.median(*jobs[0], path)
        for name, job in jobs:
            key = (name, job, path)
            if not self.times[key]:
                say(f"{ABOUT[name, job]:50s} did not run: {self.broken.get(key, 'no time taken')}")
                continue
            wall = [t[0] for t in self.times[key]]
            median, cpu = self.median(*key), self.median(*key, 1)
            count, closed, error = self.checks[key]
            how = f"{closed} of {count} closed, volume off by {error:.0e}" if name != FLOOR else f"{count} open parts"
            say(
                f"{ABOUT[name, job]:50s} {median:7.3f}s {min(wall):7.3f}s {max(wall):7.3f}s {cpu:7.3f}s"
                f" {len(wall):4d} {median / first:7.2f}  {how}"
            )


def say(text: str) -> None:
    """Print a line now."""
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def bar(text: str, value: float, limit: float, at_least: bool, form: str) -> None:
    """Print a bar and whether it is met."""
    met = value >= limit if at_least else value <= limit
    sign = ">=" if at_least else "<="
    say(f"{'pass' if met else 'MISS'}  {text:72s} {format(value, form):>8s}  ({sign} {format(limit, form)})")


def load() -> str:
    """How busy the machine is."""
    return " ".join(f"{x:.1f}" for x in os.getloadavg()) if hasattr(os, "getloadavg") else "unknown"


def head(options: argparse.Namespace) -> None:
    """Say what runs where."""
    versions = [f"{name} {importlib.metadata.version(name)}" for name in ("numpy", "vtk", "trimesh", "mapbox_earcut")]
    versions += [f"{name} {importlib.metadata.version(name)}" for name in ("manifold3d", "bpy")]
    info = Path("/proc/cpuinfo")
    lines = info.read_text().splitlines() if info.exists() else []
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")] or [platform.machine()]
    say(f"Python {platform.python_version()}, {', '.join(versions)}")
    say(f"{platform.system()}, {os.cpu_count()} x {models[0]}, load before {load()}")
    say(f"{options.triangles} triangles, {options.rounds} rounds; fresh Mesh within the time; wall seconds")


def main() -> int:
    """Run all parts and print tables and bars."""
    parser = argparse.ArgumentParser(prog="bench", description=__doc__)
    parser.add_argument(
        "--quick", action="store_true", help="small carvings, three rounds: shows that it runs, no more"
    )
    parser.add_argument("--triangles", type=int, help="of the main carving (default 2000000, quick 100000)")
    parser.add_argument("--rounds", type=int, help="default 5, quick 3")
    options = parser.parse_args()
    options.triangles = options.triangles or (100_000 if options.quick else 2_000_000)
    options.rounds = options.rounds or (3 if options.quick else 5)
    sizes = [50_000, 100_000, 200_000] if options.quick else [200_000, 500_000, 1_000_000, 2_000_000, 4_000_000]
    head(options)
    with tempfile.TemporaryDirectory(prefix="seamwright-bench-") as folder:
        os.environ["BLENDER_USER_RESOURCES"] = folder  # nobody's own settings are read
        bench = Bench((OURS, FLOOR, *PEERS), folder)
        try:
            return run(bench, options, sizes)
        finally:
            for contender in bench.all.values():
                contender.end()


def run(bench: Bench, options: argparse.Namespace, sizes: list[int]) -> int:
    """All parts in turn."""
    path, expected = bench.carving(options.triangles, "main")
    planes = [key for key in ABOUT if key[1] in {"planes", "split", "lines", "halved"}]
    bench.rounds(planes, path, expected, options.rounds)
    bench.table(f"Five planes, six regions, {options.triangles} triangles in the order they were made", planes, path)

    plane = [key for key in ABOUT if key[1] in {"profile", "plane"}]
    plane.sort(key=lambda key: key[1] != "profile")
    bench.rounds(plane, path, expected, options.rounds)
    bench.table(
        "A profile of 200 segments, and one oblique plane in the same place (volume: of the whole)", plane, path
    )

    mixed, _ = bench.carving(options.triangles, "mixed", mixed=True)
    some = [(OURS, "planes"), (FLOOR, "planes"), ("vtk", "planes"), ("vtk", "halved")]
    bench.rounds(some, mixed, expected, 3)
    bench.table("Five planes, vertices and triangles in random order", some, mixed)

    grown = growth(bench, sizes, options.rounds)
    memory = twelve_joints(path)
    bars(bench, planes, plane, path, mixed, grown, memory)
    say(f"load after {load()}\n\n{NOTES}")
    mine = [check for key, check in bench.checks.items() if key[0] == OURS]
    right = all(count == closed and error < 1e-9 for count, closed, error in mine)
    return 0 if right and not any(key[0] == OURS for key in bench.broken) else 1


def growth(bench: Bench, sizes: list[int], rounds: int) -> dict[str, dict[int, float]]:
    """Time the same rock at several sizes; return seconds for a million triangles, by job and size."""
    made = {size: bench.carving(size, "growth") for size in sizes}
    jobs = ("planes", "split")
    for size in sizes:
        for job in jobs:
            bench.once(OURS, job, *made[size])
            bench.times.pop((OURS, job, made[size][0]), None)
    for _ in range(rounds):
        for size in sizes:
            for job in jobs:
                for _ in range(max(1, round(0.25 * sizes[-1] / size))):
                    bench.once(OURS, job, made[size][0])
    per = {job: {size: bench.median(OURS, job, made[size][0]) / size * 1e6 for size in sizes} for job in jobs}
    say("\nGrowth, five planes: seconds for each million triangles")
    say(f"{'triangles':>12s} {'split=False':>12s} {'split=True':>12s} {'runs':>5s}")
    for size in sizes:
        runs = len(bench.times[OURS, "planes", made[size][0]])
        say(f"{size:12d} {per['planes'][size]:12.3f} {per['split'][size]:12.3f} {runs:5d}")
    return per


def twelve_joints(path: str) -> list[tuple[str, float]]:
    """Memory of twelve joints (ten planes, two profiles), without and with a gap, traced and as the system sees it."""
    context = multiprocessing.get_context("spawn")
    found = []
    say("\nMemory of twelve joints (10 planes, 2 profiles of 200 segments), split=True")
    for gap in (0.0, 0.02):
        for traced in (True, False) if Path(bench_worker.STATUS).exists() else (True,):
            pipe, other = context.Pipe()
            process = context.Process(target=bench_worker.measure_memory, args=(other, path, gap, traced))
            process.start()
            other.close()
            given, made, extra, count = pipe.recv()
            process.join()
            how = "tracemalloc" if traced else "resident"
            what = f"gap {1000.0 * gap:.0f} mm, {how}"
            say(
                f"{what:24s} input {given / 1e6:5.0f} MB, results {made / 1e6:5.0f} MB in {count} bodies,"
                f" peak beyond both {extra / 1e6:5.0f} MB = {extra / given:.2f} times the input"
            )
            found.append((what, extra / given))
    return found


def bars(
    bench: Bench,
    planes: list[tuple[str, str]],
    plane: list[tuple[str, str]],
    path: str,
    mixed: str,
    grown: dict[str, dict[int, float]],
    memory: list[tuple[str, float]],
) -> None:
    """Print the bars."""

    def fastest(jobs: list[tuple[str, str]]) -> tuple[float, str]:
        found = [(bench.median(*key, path), ABOUT[key]) for key in jobs if key[0] in PEERS and bench.times[*key, path]]
        return min(found)

    ours = bench.median(OURS, "planes", path)
    split = bench.median(OURS, "split", path)
    best, name = fastest(planes)
    single, which = fastest(plane)
    floor = bench.median(FLOOR, "planes", path)
    say("\nBars, meant for 2000000 triangles")
    bar(f"5 planes: times faster than the fastest peer ({name})", best / ours, 4.0, True, ".2f")
    blender = bench.median(BLENDER, "planes", path)
    bar("5 planes: times faster than Blender's bisect and fill", blender / ours, 40.0, True, ".1f")
    bar("5 planes: times the numpy floor", ours / floor, 4.0, False, ".2f")
    bar("splitting into connected bodies adds seconds", split - ours, 1.0, False, ".2f")
    for job, text in (("planes", "split=False"), ("split", "split=True")):
        sizes = sorted(grown[job])
        off = 100.0 * (grown[job][sizes[-1]] / grown[job][sizes[0]] - 1.0)
        bar(f"growth {sizes[0]} to {sizes[-1]}, {text}: percent above linear", off, 15.0, False, "+.1f")
    profile = bench.median(OURS, "profile", path)
    bar(f"profile: share of the fastest peer's one plane ({which})", profile / single, 1.0, False, ".2f")
    what, most = max(memory, key=lambda pair: pair[1])
    bar(f"12 joints: peak beyond input and results, times the input ({what})", most, 5.0, False, ".2f")
    random = min(bench.median("vtk", job, mixed) for job in ("planes", "halved"))
    spent = {key: bench.median(*key, path, 1) for key in planes}
    least = min(seconds for key, seconds in spent.items() if key[0] in PEERS and seconds > 0.0)
    say(
        f"      by processor time: {least / spent[OURS, 'planes']:.2f} times less than the thriftiest peer,"
        f" {spent[BLENDER, 'planes'] / spent[OURS, 'planes']:.1f} times less than Blender,"
        f" {spent[OURS, 'planes'] / spent[FLOOR, 'planes']:.2f} times the floor"
    )
    say(
        f"      random order: {random / bench.median(OURS, 'planes', mixed):.2f} times faster than vtk,"
        f" {bench.median(OURS, 'planes', mixed) / bench.median(FLOOR, 'planes', mixed):.2f} times the floor"
    )


if __name__ == "__main__":
    raise SystemExit(main())
