# SPDX-License-Identifier: GPL-3.0-or-later
"""Carvings for the window: the demo's outcrop, as it is or with faults as scans have them, and a plain rock."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from core.demo import demo_carving, demo_job_toml, demo_keep_clear, demo_prices_csv
from core.intake.ply_write import write_ply
from core.mesh.mesh import Mesh

KINDS = ("demo", "faulty", "rock")


def write_carving(kind: str, triangles: int, path: Path) -> None:
    """The carving to import, as PLY in metres."""
    if kind == "rock":
        write_ply(path, _rock(triangles))
    else:
        whole = demo_carving(triangles)
        write_ply(path, _with_faults(whole) if kind == "faulty" else whole)


def write_job(folder: Path) -> None:
    """The demo's JOB.toml with the bodies that it names, and its price list."""
    folder.mkdir()
    (folder / "JOB.toml").write_text(demo_job_toml(), encoding="utf-8")
    (folder / "prices.csv").write_text(demo_prices_csv(), encoding="utf-8")
    for name, mesh in demo_keep_clear().items():
        write_ply(folder / name, mesh)


def _with_faults(whole: Mesh) -> Mesh:
    """Two holes, one as wide as a hand, and a loose crumb."""
    middle = whole.vertices[whole.triangles].mean(axis=1)
    left = np.ones(len(middle), dtype=bool)
    for x, reach in ((0.3, 0.08), (0.7, 0.0)):
        top = whole.vertices[np.abs(whole.vertices[:, 0] - x * whole.vertices[:, 0].max()) < 0.05]
        place = top[np.argmax(top[:, 2])]
        far = np.linalg.norm(middle - place, axis=1)
        left &= (far > reach) if reach else far > far.min()
    crumb = np.array([(0, 0, 0), (0.05, 0, 0), (0, 0.05, 0), (0, 0, 0.05)]) + whole.vertices.mean(axis=0) + (0, 0, 1.5)
    sides = np.array([(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)]) + len(whole.vertices)
    return Mesh(np.concatenate([whole.vertices, crumb]), np.concatenate([whole.triangles[left], sides]))


def _rock(triangles: int) -> Mesh:
    """A ball with waves."""
    n = int((triangles / 4) ** 0.5)
    u = np.arange(2 * n) * np.pi / n
    v = (np.arange(n) + 0.5) * np.pi / n
    uu, vv = np.meshgrid(u, v)
    ball = np.stack([np.sin(vv) * np.cos(uu), np.sin(vv) * np.sin(uu), np.cos(vv)], axis=-1)
    rough = (
        1.0 + 0.12 * np.sin(5 * ball[..., 0] + 3 * ball[..., 1]) + 0.06 * np.sin(13 * ball[..., 1] - 9 * ball[..., 2])
    )
    points = ball * rough[..., None] * [1.9, 1.1, 0.8]
    poles = [[0, 0, points[0, :, 2].mean()], [0, 0, points[-1, :, 2].mean()]]
    vertices = np.concatenate([points.reshape(-1, 3), poles])
    row = np.arange(2 * n)
    after = np.roll(row, -1)
    sides = []
    for k in range(n - 1):
        a, b, c, d = k * 2 * n + row, k * 2 * n + after, (k + 1) * 2 * n + row, (k + 1) * 2 * n + after
        sides += [np.column_stack([a, c, b]), np.column_stack([b, c, d])]
    last = (n - 1) * 2 * n
    sides += [np.column_stack([np.full(2 * n, len(vertices) - 2), row, after])]
    sides += [np.column_stack([np.full(2 * n, len(vertices) - 1), last + after, last + row])]
    return Mesh(vertices, np.concatenate(sides))
