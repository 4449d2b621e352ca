# SPDX-License-Identifier: GPL-3.0-or-later
"""Operators and command line give the same tables; single precision in a .blend changes no mark and no joint."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from launcher import play
from seamwright.core.intake.readers import read_mesh

NEAR = 1e-5
"""What a number may differ by between single and double precision, absolute below 1 and relative above."""

NOT_TABLES = ("job.blend", "job-pack.html")
"""A Blender file, and a page with pictures in it."""


HOPS = {"part", "footprint_m"}
"""Keys of a piece in job.json whose values may hop by a tiny change of its shape."""


@pytest.fixture(scope="module")
def folder(zipped: Path, carving: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Packs of the same carving and joints: by operators, by the command line, and from double precision."""
    folder = tmp_path_factory.mktemp("tables")
    seen = play("panel", folder, zipped, carving, folder)
    assert set(seen["kinds"]) == {"MESH", "CURVE"}
    for body in sorted(carving.glob("*.ply")):  # keep-clear bodies are sought beside the job file
        shutil.copy(body, folder / body.name)
    job, joints = ("--job", folder / "JOB.toml"), ("--joints", folder / "JOINTS.json")
    blend, plain = (folder / "file.blend", "--object", seen["carving"]), (carving / "outcrop.ply",)
    for name, words in (
        ("own-line", (*blend, *job, *joints)),
        ("own-double", (*plain, *job, *joints)),
        ("proposed-line", (folder / "carving.blend", *job)),
        ("proposed-double", (*plain, *job)),
    ):
        done = play("command", folder, zipped, "run", *words, "--out", folder / name)
        assert done["commands"] == ["seamwright"]
        assert done["code"] in (0, 1), done["stderr"]
        assert done["network"] == []
    return folder


def pack(folder: Path) -> dict[str, bytes]:
    files = (path for path in sorted(folder.rglob("*")) if path.is_file() and path.name not in NOT_TABLES)
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


def leaves(value: Any, at: str = "") -> Iterator[tuple[str, Any]]:
    if isinstance(value, dict):
        for key, item in value.items():
            yield from leaves(item, f"{at}.{key}")
    elif isinstance(value, list):
        for number, item in enumerate(value):
            yield from leaves(item, f"{at}.{number}")
    else:
        yield at, value


def number(text: Any) -> float | None:
    if isinstance(text, bool) or text is None:
        return None
    try:
        return float(text)
    except ValueError:
        return None


def far(pairs: Iterator[tuple[str, Any, Any]]) -> list[tuple[str, Any, Any]]:
    """Where two values differ: words at all, numbers by more than `NEAR`."""
    out = []
    for at, one, other in pairs:
        a, b = number(one), number(other)
        if one != other and (a is None or b is None or abs(a - b) > NEAR * max(1.0, abs(b))):
            out.append((at, one, other))
    return out


def winding(corners: np.ndarray) -> float:
    """How often triangles (m, 3, 3) wind round the origin, by the solid angle of each.

    A. van Oosterom and J. Strackee, "The solid angle of a plane triangle", IEEE Trans. Biomed. Eng. 30 (1983) 125-126.
    """
    a, b, c = np.moveaxis(corners, 1, 0)
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    above = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = la * lb * lc
    for x, y, length in ((a, b, lc), (b, c, la), (c, a, lb)):
        below += np.einsum("ij,ij->i", x, y) * length
    return float(2.0 * np.arctan2(above, below).sum() / (4.0 * np.pi))


def rows(path: Path) -> list[list[str]]:
    return list(csv.reader(path.read_text("utf-8").splitlines()))


def test_the_carving_in_blender_is_not_the_one_in_the_file(folder: Path, carving: Path) -> None:
    """Else the comparison below would compare a thing with itself."""
    exact = read_mesh(carving / "outcrop.ply").vertices
    assert (np.abs(exact - exact.astype(np.float32)) > 0.0).mean() > 0.9
    assert pack(folder / "own-double") != pack(folder / "own-line")


def test_own_joints_give_the_same_bytes_by_operators_and_by_command(folder: Path) -> None:
    panel, line = pack(folder / "own-panel"), pack(folder / "own-line")
    assert {"pieces.csv", "joints.csv", "takeoff.csv", "findings.json", "job.json", "pieces/1.ply"} <= set(panel)
    assert panel == line


def test_proposed_joints_give_the_same_bytes_by_operators_and_by_command(folder: Path) -> None:
    """All but what job.json says of the plan: in the panel the joints that were proposed are the user's by then."""
    panel, line = pack(folder / "proposed-panel"), pack(folder / "proposed-line")
    one, other = (json.loads(held.pop("job.json")) for held in (panel, line))
    assert panel == line
    assert (one.pop("plan")["kind"], other.pop("plan")["kind"]) == ("given", "planned")
    assert one == other


def test_double_precision_gives_the_same_marks_and_joints_and_near_numbers(folder: Path) -> None:
    single, double = folder / "own-panel", folder / "own-double"
    assert set(pack(single)) == set(pack(double))
    for name in ("pieces.csv", "joints.csv", "takeoff.csv"):
        one, other = rows(single / name), rows(double / name)
        assert [len(row) for row in one] == [len(row) for row in other]
        assert one[0] == other[0]
        for a, b in zip(one, other, strict=True):
            cells = zip(one[0], a, b, strict=True)
            assert far((f"{name} {a[0]} {column}", x, y) for column, x, y in cells) == []
    one, other = (json.loads((path / "job.json").read_text("utf-8")) for path in (single, double))
    for key in ("pieces", "joints", "contacts", "totals"):
        # A piece's inner point is any point inside it: which one is taken may hop, and is looked at below. So may the
        # corners of the outline it stands on, where several lie nearly in a line.
        a, b = (
            {at: value for at, value in leaves(held[key]) if key != "pieces" or not (HOPS & set(at.split(".")))}
            for held in (one, other)
        )
        assert set(a) == set(b)
        assert len(a) > 0
        assert far((f"{key}{at}", a[at], b[at]) for at in a) == []
    assert len(one["pieces"]) >= 5
    for piece in one["pieces"]:
        exact = read_mesh(double / "pieces" / f"{piece['mark']}.ply")
        assert winding(exact.corners() - np.array(piece["part"])) == pytest.approx(1.0, abs=1e-6)
    findings = [json.loads((path / "findings.json").read_text("utf-8"))["findings"] for path in (single, double)]
    keys = ("check", "severity", "piece", "joint", "unit")
    assert [[f[k] for k in keys] for f in findings[0]] == [[f[k] for k in keys] for f in findings[1]]


def test_proposals_in_double_precision_are_the_same_joints(folder: Path) -> None:
    """A plan looks at the carving as single precision holds it, so that it decides alike."""
    single, double = (
        json.loads((folder / f"proposed-{way}" / "job.json").read_text("utf-8")) for way in ("line", "double")
    )
    assert len(single["joints"]) >= 4
    assert single["joints"] == double["joints"]
    assert single["plan"] == double["plan"]
    volumes = [[piece["foam_volume_m3"] for piece in held["pieces"]] for held in (single, double)]
    assert volumes[0] == pytest.approx(volumes[1], rel=NEAR)
