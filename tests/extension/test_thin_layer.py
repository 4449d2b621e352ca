# SPDX-License-Identifier: GPL-3.0-or-later
"""`blender_addon` holds no algorithm, as far as its source can show it: read here, nothing is run.

What counts as one: a module that computes on arrays and knows nothing of Blender (it belongs in the core); numpy beyond
moving arrays in and out where it is not listed; sorting, grouping, searching or solving on arrays; long functions.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
ADDON = ROOT / "blender_addon"

NUMPY = {
    "blockup_object.py": "billets and glue lines as edges",
    "carving_source.py": "rows of triangles between the scan and the carving",
    "convert.py": "meshes there and back",
    "corner_layers.py": "UV maps and colours there and back",
    "job_blend.py": "a type for numbers in attributes",
    "joint_object.py": "an object's matrix to a joint and back",
    "keep_clear.py": "bodies, ways and depths there and back",
    "operators/blockup.py": "three clicked points to metres",
    "operators/carving.py": "counts the faces at each edge, to select the open ones",
    "operators/common.py": "an object's box",
    "operators/mending.py": "picked vertices and taped distances",
    "operators/joints.py": "a direction from the cursor, the view or an object",
    "piece_object.py": "a number type of an attribute",
    "picture_scene.py": "floor, scale bar, lights and labels of a picture",
    "properties/settings_link.py": "numbers as Blender keeps them, in single precision",
    "site_objects.py": "a mark's place on its face",
    "stamps.py": "fingerprints of arrays",
    "surface_marks.py": "lines, zones and cameras to arrays",
    "voxel_skin.py": "classes of a new skin's triangles",
    "mended.py": "rows of triangles between the mended copy and the scan",
    "zones.py": "which faces are chosen, and their numbers there and back",
    "trial.py": "from where pieces come in, and how far apart they go",
}
"""Modules that may use numpy, and what for. A new one needs its line, and a reason why it is not the core's."""

PLAIN = set(
    "abs add.at append arange array array_equal asarray ascontiguousarray bool_ column_stack concatenate empty eye "
    "flatnonzero float32 float64 full int32 int64 isfinite linspace max minimum ones ptp tile uint8 where zeros".split()
)
"""numpy that makes, fills, stacks and looks up arrays."""

VECTORS = {
    "convert.py": {"linalg.det"},
    "corner_layers.py": {"einsum"},
    "joint_object.py": {"cross", "linalg.det", "linalg.inv", "linalg.norm"},
    "operators/joints.py": {"argmax", "cross", "linalg.norm"},
    "site_objects.py": {"block", "stack"},
    "trial.py": {"linalg.norm"},
    "picture_scene.py": {"cos", "cross", "linalg.norm", "sin"},
}
"""And what computes: directions, lengths, turns, and values mixed at a triangle's corners."""

NO_NETWORK = set("ftplib http multiprocessing requests smtplib socket ssl urllib urllib3 xmlrpc".split())

LONGEST = 45
"""Lines that a function of the layer may take, its docstring aside."""


def files(folder: Path = ADDON) -> list[Path]:
    return sorted(path for path in folder.rglob("*.py") if "__pycache__" not in path.parts)


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


def name_of(path: Path) -> str:
    return path.relative_to(ADDON).as_posix()


def imported(module: ast.AST) -> Iterator[tuple[int, str]]:
    """Level of the import and first part of each name."""
    for node in ast.walk(module):
        if isinstance(node, ast.Import):
            yield from ((0, alias.name.partition(".")[0]) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.level, (node.module or "").partition(".")[0]


def numpy_used(module: ast.AST) -> set[str]:
    """Names below `np.`, the longest path of each."""
    found = set()
    for node in ast.walk(module):
        words: list[str] = []
        at: ast.AST = node
        while isinstance(at, ast.Attribute):
            words.insert(0, at.attr)
            at = at.value
        if words and isinstance(at, ast.Name) and at.id == "np":
            found.add(".".join(words))
    return {name for name in found if not any(other.startswith(f"{name}.") for other in found)}


def test_the_reading_finds_what_it_looks_for() -> None:
    module = ast.parse("import numpy as np\nfrom . import convert\nnp.linalg.svd(np.unique(np.add.at))\nimport socket")
    assert numpy_used(module) == {"linalg.svd", "unique", "add.at"}
    assert set(imported(module)) == {(0, "numpy"), (1, ""), (0, "socket")}


def test_numpy_is_used_where_it_is_listed() -> None:
    assert {name_of(path) for path in files() if (0, "numpy") in set(imported(tree(path)))} == set(NUMPY)


def test_numpy_is_always_np() -> None:
    """Else the reading above would miss what is used."""
    aliases = {
        (alias.name, alias.asname)
        for path in files()
        for node in ast.walk(tree(path))
        if isinstance(node, ast.Import)
        for alias in node.names
        if alias.name.startswith("numpy")
    }
    froms = {
        node.module
        for path in files()
        for node in ast.walk(tree(path))
        if isinstance(node, ast.ImportFrom) and node.level == 0 and (node.module or "").startswith("numpy")
    }
    assert aliases == {("numpy", "np")}
    assert froms == {"numpy.typing"}


@pytest.mark.parametrize("name", sorted(NUMPY))
def test_numpy_moves_arrays_and_little_else(name: str) -> None:
    assert numpy_used(tree(ADDON / name)) - PLAIN == VECTORS.get(name, set())


def test_what_computes_on_arrays_knows_blender() -> None:
    """A module that uses numpy and nothing of Blender's could stand in the core, so it has to."""
    assert [
        name
        for name in sorted(NUMPY)
        if not {(0, "bpy"), (0, "bmesh")} & set(imported(tree(ADDON / name))) and name != "properties/settings_link.py"
    ] == []


@pytest.mark.parametrize("path", files(), ids=name_of)
def test_functions_are_short(path: Path) -> None:
    long = []
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.FunctionDef):
            body = node.body[1:] if ast.get_docstring(node) is not None else node.body
            lines = body[-1].end_lineno - body[0].lineno + 1 if body else 0
            if lines > LONGEST:
                long.append((node.name, lines))
    assert long == []


@pytest.mark.parametrize("path", [*files(), *files(ROOT / "core")], ids=lambda path: path.relative_to(ROOT).as_posix())
def test_nothing_asks_for_a_network(path: Path) -> None:
    assert {name for level, name in imported(tree(path)) if level == 0} & NO_NETWORK == set()
