# SPDX-License-Identifier: GPL-3.0-or-later
"""What is expected of an open mesh, what became of it, and the row that says so at the end of the test output."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from datasets import read_off
from outcome_table import tell
from reference import to_trimesh
from seamwright.core.errors import MeshError
from seamwright.core.intake.diagnose import diagnose
from seamwright.core.intake.mend import Recipe
from seamwright.core.intake.prepare import prepare, set_upright
from seamwright.core.intake.readers import read_mesh
from seamwright.core.intake.weld import weld
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import edge_report
from vtp import read_vtk, read_vtp

LONG = 3.0
"""Metres to which each is scaled."""
WIDE = 10.0
"""Metres: a fill size that takes any hole."""
SHOWN = 400


@dataclass(frozen=True)
class Expected:
    """What mesh it is.

    Attributes
    ----------
    default : ``solid`` (nothing to mend), ``mended`` or a word that the refusal must hold, with mend = "small".
    wide : the same with a fill size that takes any hole, where the default refuses; empty otherwise.
    faults : kinds of fault that the diagnosis must tell.
    volume : of the closed mesh in file units cubed, where it is known.
    """

    default: str
    wide: str = ""
    faults: frozenset[str] = frozenset()
    volume: float | None = None


def expected(default: str, wide: str = "", faults: str = "", volume: float | None = None) -> Expected:
    return Expected(default, wide, frozenset(faults.split()), volume)


def read(path: Path) -> Mesh:
    if path.suffix == ".off":
        return read_off(path)
    if path.suffix == ".vtk":
        return read_vtk(path)
    return weld(read_vtp(path)).mesh if path.suffix == ".vtp" else read_mesh(path)


def outcome(mesh: Mesh, recipe: Recipe) -> tuple[str, str, float | None]:
    """Word, what was changed or why it was refused, and volume."""
    try:
        intake = prepare(mesh, recipe=recipe)
    except MeshError as error:
        return "refused", str(error), None
    assert edge_report(intake.mesh.triangles).closed
    other = to_trimesh(intake.mesh)
    assert other.is_watertight
    assert other.is_winding_consistent
    assert other.volume == pytest.approx(intake.volume, rel=1e-9)
    return "mended" if intake.notes else "solid", "; ".join(intake.notes), intake.volume


def scaled(mesh: Mesh) -> Mesh:
    """As long as `LONG`, by what its triangles use."""
    return set_upright(mesh, LONG / longest(mesh))


def longest(mesh: Mesh) -> float:
    """Longest side of the box round its triangles."""
    return float(np.ptp(mesh.vertices[np.unique(mesh.triangles)], axis=0).max())


def ends_as_expected(name: str, read: Mesh, wanted: Expected, config: pytest.Config) -> None:
    """Diagnose and mend a mesh, tell what became of it, and hold that against what is expected."""
    mesh = scaled(read)
    before = mesh.vertices.tobytes(), mesh.triangles.tobytes()
    found = diagnose(mesh, overlap=False)
    assert {fault.kind for fault in found.faults} >= wanted.faults
    word, said, volume = outcome(mesh, Recipe())
    tell_row(config, name, f"{len(mesh.triangles)}", wanted.default, word, said)
    check(wanted.default, word, said)
    if wanted.wide:
        word, said, volume = outcome(mesh, Recipe(fill=WIDE))
        tell_row(config, "", "fill 10 m", wanted.wide, word, said)
        check(wanted.wide, word, said)
    if wanted.volume is not None:
        assert volume is not None
        assert volume * (longest(read) / LONG) ** 3 == pytest.approx(wanted.volume, rel=1e-6)
    assert (mesh.vertices.tobytes(), mesh.triangles.tobytes()) == before


def tell_row(config: pytest.Config, name: str, what: str, wanted: str, word: str, said: str) -> None:
    """A row of the table at the end of the output."""
    row = f"  {name:26} {what:>9}  wanted {wanted:7} got {word}: {said}"
    tell(config, row if len(row) < SHOWN else row[: SHOWN - 3] + "...")


def check(wanted: str, word: str, said: str) -> None:
    if wanted in ("solid", "mended"):
        assert word == wanted, said
        return
    assert word == "refused"
    assert wanted in said
    assert re.search(r"near \(-?\d", said), "the place"
    assert re.search(r"[Rr]aise fill|rims that no patch spans|add \"floor\" to the steps", said), "the remedy"
    assert "\n" not in said
