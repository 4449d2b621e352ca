# SPDX-License-Identifier: GPL-3.0-or-later
"""Who may import whom: the core runs on numpy alone, and its folders know only those above them."""

from __future__ import annotations

import ast
import json
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
CORE = ROOT / "core"
ADDON = ROOT / "blender_addon"

EVERYONE = (
    "errors",
    "findings",
    "tolerance",
    "units",
    "json_input",
    "settings",
    "job_text",
    "job_template",
    "job_skin",
    "job_site",
    "job",
)
"""Modules at the top of the core that every folder may use; each uses those before it only."""

ORDER = (
    "mesh",
    "intake",
    "skin",
    "cutting",
    "blockup",
    "seams",
    "handling",
    "planning",
    "clearance",
    "marking",
    "logistics",
    "jobpack",
    "demo",
    "plans",
    "pipeline",
)
"""A folder may import those before it."""

STDLIB = frozenset(sys.stdlib_module_names)
CORE_MAY = STDLIB | {"numpy"}
ADDON_MAY = CORE_MAY | {
    "bpy",
    "bmesh",
    "mathutils",
    "gpu",
    "gpu_extras",
    "blf",
    "bl_operators",
    "bl_ui",
    "bpy_extras",
    "addon_utils",
    "idprop",
}

FOREIGN = ("bpy", "bmesh", "mathutils", "gpu", "blf", "scipy", "trimesh", "manifold3d", "shapely", "networkx")


def sources(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*.py") if "__pycache__" not in path.parts)


def imports(source: str, package: tuple[str, ...]) -> Iterator[tuple[int, bool, tuple[str, ...]]]:
    """Every import anywhere in a module of `package`: line, whether relative, the name asked for in parts.

    A relative name is given from the top of the tree; one that climbs out of it begins with "..". Names that
    `import_module` and `__import__` are called with count too; a computed one shows as "?".
    """
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, False, tuple(alias.name.split("."))) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            yield node.lineno, False, tuple((node.module or "").split("."))
        elif isinstance(node, ast.ImportFrom):
            up = node.level - 1
            base = package[: len(package) - up] if up <= len(package) else ("..",)
            named = tuple(node.module.split(".")) if node.module else ()
            yield from ((node.lineno, True, (*base, *named, alias.name)) for alias in node.names)
        elif isinstance(node, ast.Call):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in {"import_module", "__import__"}:
                first = node.args[0] if node.args else None
                known = isinstance(first, ast.Constant) and isinstance(first.value, str)
                yield node.lineno, False, tuple(first.value.split(".")) if known else ("?",)


def offences(source: str, module: tuple[str, ...], is_package: bool = False) -> list[str]:
    """What a module of the core, such as ("mesh", "mass"), imports against the law."""
    package = module if is_package else module[:-1]
    own = module[0] if module else ""
    found = []
    for line, relative, name in imports(source, package):
        if not relative:
            if name[0] not in CORE_MAY:
                found.append(f"line {line}: {'.'.join(name)} is neither numpy nor the standard library")
            continue
        top = name[0]
        if top == "..":
            found.append(f"line {line}: climbs out of the core")
        elif not own or top == own:
            continue
        elif top in EVERYONE:
            if own in EVERYONE and EVERYONE.index(top) >= EVERYONE.index(own):
                found.append(f"line {line}: {own} imports {top}, which comes after it")
        elif own in EVERYONE or top not in ORDER or ORDER.index(top) >= ORDER.index(own):
            found.append(f"line {line}: {own} imports {top}, which does not come before it")
    return found


def module_of(path: Path, root: Path) -> tuple[tuple[str, ...], bool]:
    parts = path.relative_to(root).with_suffix("").parts
    return (parts[:-1], True) if parts[-1] == "__init__" else (parts, False)


@pytest.mark.parametrize(
    ("source", "module", "count"),
    [
        ("import numpy as np\nimport json\nfrom ..errors import MeshError", ("mesh", "mass"), 0),
        ("from . import mass\nfrom .mass import volume", ("mesh", "topology"), 0),
        ("from ..mesh.mesh import Mesh", ("cutting", "cut"), 0),
        ("from .. import mesh", ("cutting", "cut"), 0),
        ("import bpy", ("mesh", "mass"), 1),
        ("def f():\n    import bmesh", ("mesh", "mass"), 1),
        ("def f():\n    from scipy.spatial import KDTree", ("mesh", "mass"), 1),
        ("import importlib\nimportlib.import_module('gpu')", ("mesh", "mass"), 1),
        ("x = 'bpy'\n__import__(x)", ("mesh", "mass"), 1),
        ("from seamwright.core.mesh.mesh import Mesh", ("cutting", "cut"), 1),
        ("from ..cutting.cut import cut", ("mesh", "mass"), 1),
        ("from .. import cutting", ("mesh", "mass"), 1),
        ("from ..pipeline import run_job", ("jobpack", "json"), 1),
        ("from ... import convert", ("mesh", "mass"), 1),
        ("from ...convert import x", ("mesh", "mass"), 1),
        ("from .mesh import Mesh", ("tolerance",), 1),
        ("from .job import Job", ("units",), 1),
        ("from ..brushes import x", ("mesh", "mass"), 1),
    ],
)
def test_the_law_tells_right_from_wrong(source: str, module: tuple[str, ...], count: int) -> None:
    assert len(offences(source, module)) == count


@pytest.mark.parametrize("path", sources(CORE), ids=lambda path: path.relative_to(ROOT).as_posix())
def test_core_keeps_the_law(path: Path) -> None:
    module, is_package = module_of(path, CORE)
    assert not module or module[0] in {*EVERYONE, *ORDER}, "a new folder of the core needs its place in ORDER"
    assert offences(path.read_text("utf-8"), module, is_package) == []


@pytest.mark.parametrize("path", sources(ADDON), ids=lambda path: path.relative_to(ROOT).as_posix())
def test_addon_imports_relatively_and_nothing_from_elsewhere(path: Path) -> None:
    module, is_package = module_of(path, ADDON)
    found = imports(path.read_text("utf-8"), module if is_package else module[:-1])
    assert [(line, name) for line, relative, name in found if not relative and name[0] not in ADDON_MAY] == []


def test_addon_package_imports_nothing_when_loaded() -> None:
    tree = ast.parse((ADDON / "__init__.py").read_text("utf-8"))
    loaded = [node for node in tree.body if not isinstance(node, ast.FunctionDef | ast.ClassDef)]
    names = [
        name[0] if not relative else "." + ".".join(name)
        for statement in loaded
        for _, relative, name in imports(ast.unparse(statement), ())
    ]
    assert [name for name in names if name not in STDLIB] == []


LOADER = """
import importlib, json, sys

class Blocked:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in blocked:
            raise ImportError(f"{name} is not to be had")

blocked, names = json.loads(sys.argv[1])
sys.meta_path.insert(0, Blocked())
before = set(sys.modules)
for name in names:
    importlib.import_module(name)
print(json.dumps(sorted({name.partition(".")[0] for name in set(sys.modules) - before})))
"""


def load(names: list[str]) -> set[str]:
    """Top-level names that a fresh Python has loaded after importing these, Blender and helpers not to be had."""
    command = [sys.executable, "-I", "-c", LOADER, json.dumps([FOREIGN, names])]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return set(json.loads(done.stdout))


def test_every_core_module_loads_with_numpy_alone() -> None:
    names = [".".join(("seamwright", "core", *module_of(path, CORE)[0])) for path in sources(CORE)]
    of_numpy = load(["numpy.random"])
    assert "numpy" in of_numpy
    assert load(names) - STDLIB - of_numpy == {"seamwright"}


def test_package_loads_in_a_plain_python() -> None:
    assert load(["seamwright"]) - STDLIB == {"seamwright"}


def test_blocking_works() -> None:
    command = [sys.executable, "-I", "-c", LOADER, json.dumps([["wave"], ["wave"]])]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode != 0
    assert "wave is not to be had" in done.stderr


def test_package_list_is_the_folders() -> None:
    setuptools = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    roots = {"seamwright": ADDON, "seamwright.core": CORE}
    assert setuptools["package-dir"] == {name: path.name for name, path in roots.items()}
    folders = {
        ".".join((name, *path.parent.relative_to(root).parts)) for name, root in roots.items() for path in sources(root)
    }
    assert setuptools["packages"] == sorted(folders)


def test_every_package_has_an_init() -> None:
    folders = {path.parent for root in (ADDON, CORE) for path in sources(root)}
    assert [folder.relative_to(ROOT).as_posix() for folder in folders if not (folder / "__init__.py").is_file()] == []


def test_manifest_says_what_the_project_says() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    manifest = tomllib.loads((ADDON / "blender_manifest.toml").read_text("utf-8"))
    assert manifest["id"] == project["name"]
    assert manifest["version"] == project["version"]
    assert manifest["license"] == [f"SPDX:{project['license']}"]
