# SPDX-License-Identifier: GPL-3.0-or-later
"""Processes of the benchmark: one for each contender, and one for each measurement of memory."""

from __future__ import annotations

import gc
import multiprocessing
import os
import time
import tracemalloc
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import bench_cases
import bench_peers
import numpy as np

STATUS = "/proc/self/status"


def serve(name: str, pipe: Connection) -> None:
    """Live as one contender: run what is asked, tell the time; ends its process."""
    try:
        runs = getattr(bench_cases if hasattr(bench_cases, name) else bench_peers, name)()
        loaded: dict[str, bench_cases.Arrays] = {}
        while (order := pipe.recv()) is not None:
            job, path, expected = order
            if path not in loaded:
                loaded[path] = (np.load(f"{path}-v.npy"), np.load(f"{path}-t.npy"))
            gc.collect()
            cpu, begin = time.process_time(), time.perf_counter()
            pieces = runs[job](*loaded[path])
            took = (time.perf_counter() - begin, time.process_time() - cpu)
            pipe.send((*took, None if expected is None else check(pieces, expected)))
            del pieces
    except Exception as error:
        pipe.send(f"{type(error).__name__}: {error}")
    pipe.close()
    os._exit(0)  # Blender's module may hang in Python's own ending


def check(pieces: list[bench_cases.Arrays], expected: np.ndarray) -> tuple[int, int, float]:
    """Count pieces and closed ones; the worst relative error of a region's volume (of the whole, where no regions)."""
    closed = sum(bench_cases.is_closed(t) for _, t in pieces)
    volumes = np.array([bench_cases.volume(v, t) for v, t in pieces])
    if len(pieces) != len(expected):
        volumes, expected = volumes.sum(keepdims=True), expected.sum(keepdims=True)
    return len(pieces), closed, float(np.abs(volumes / expected - 1.0).max())


class Contender:
    """A contender's process, seen from here."""

    def __init__(self, name: str) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe, other = context.Pipe()
        self.process = context.Process(target=serve, args=(name, other), daemon=True)
        self.process.start()
        other.close()

    def run(self, job: str, path: str, expected: np.ndarray | None = None) -> Any:
        """Wall and processor seconds, and what the check says; or the text of what went wrong."""
        try:
            self.pipe.send((job, path, expected))
            return self.pipe.recv()
        except (EOFError, BrokenPipeError) as error:
            return f"its process ended ({type(error).__name__})"

    def end(self) -> None:
        """Let it go."""
        try:
            self.pipe.send(None)
        except BrokenPipeError:
            pass
        self.process.join(20.0)
        self.process.kill()


def _resident(word: str) -> int:
    """Bytes of this process that are in memory now (VmRSS) or were at most (VmHWM), as Linux tells."""
    row = next(row for row in Path(STATUS).read_text().splitlines() if row.startswith(word))
    return 1024 * int(row.split()[1])


def measure_memory(pipe: Connection, path: str, gap: float, traced: bool) -> None:
    """Bytes beyond input and results at the peak of twelve joints, in a process of its own."""
    from seamwright.core import Mesh, cut

    v, t = np.load(f"{path}-v.npy"), np.load(f"{path}-t.npy")
    mesh, joints = Mesh(v, t), bench_cases.twelve()
    given = v.nbytes + t.nbytes + mesh.kind.nbytes
    before = 0 if traced else _resident("VmRSS")
    if traced:
        tracemalloc.start()
    result = cut(mesh, joints, gap=gap)
    peak = tracemalloc.get_traced_memory()[1] if traced else _resident("VmHWM") - before
    bodies = (*result.pieces, *result.taken, *result.crumbs)
    made = sum(a.nbytes for b in bodies for a in (b.mesh.vertices, b.mesh.triangles, b.mesh.kind, b.source, b.origin))
    pipe.send((given, made, peak - made, len(bodies)))
