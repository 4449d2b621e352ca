# SPDX-License-Identifier: GPL-3.0-or-later
"""The command line with a file of marks: what it writes, says and refuses."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from seamwright import commands, pictures
from seamwright.core.cutting.joint import Plane
from seamwright.core.intake.readers import write_ply
from seamwright.core.jobpack.joints_file import joints_json
from shapes import box

MARKS = {
    "schema_version": 1,
    "lines": [[[1.5, y, z] for y, z in ((1.0, 0.0), (0.0, 0.0), (0.0, 1.0), (1.0, 1.0), (1.0, 0.0))]],
    "zones": [{"zone": "back", "low": [-1.0, 0.99, -1.0], "high": [4.0, 1.01, 2.0]}],
    "viewpoints": [{"name": "gate", "eye": [1.5, -4.0, 0.5], "look_at": [1.5, 0.5, 0.5]}],
}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(pictures, "render_pictures", lambda result, progress: {})
    # In millimetres, so that marks are seen to be metres.
    write_ply(tmp_path / "rock.ply", box((3000.0, 1000.0, 1000.0)))
    (tmp_path / "JOB.toml").write_text(
        '[carving]\nunit = "mm"\n[joints]\nseams = ["marked"]\n[limits]\npiece_mass = "90 kg"\n'
    )
    (tmp_path / "JOINTS.json").write_text(joints_json([("A", Plane((1.5, 0.0, 0.0), (1.0, 0.0, 0.0)))]))
    return tmp_path


def run(*words: str) -> int:
    return commands.main(["run", "rock.ply", "--job", "JOB.toml", "--joints", "JOINTS.json", "--out", "out", *words])


def row(folder: Path) -> dict[str, Any]:
    (only,) = csv.DictReader((folder / "out" / "joints.csv").read_text().splitlines())
    return only


def test_marks_bear_on_the_job(folder: Path) -> None:
    (folder / "MARKS.json").write_text(json.dumps(MARKS))
    assert run("--marks", "MARKS.json") == 0
    found = row(folder)
    # Up the front and over the top; behind is the back, below the base.
    assert float(found["visible_length_m"]) == pytest.approx(2.0, abs=1e-6)
    assert float(found["on_seam_share"]) == pytest.approx(1.0)
    # From half way up only the front is seen.
    assert float(found["seen_length_m"]) == pytest.approx(1.0, abs=0.03)
    assert run("--replace") == 0
    found = row(folder)
    assert float(found["visible_length_m"]) == pytest.approx(3.0, abs=1e-6)
    assert float(found["on_seam_share"]) == 0.0


def test_what_is_wrong_is_one_line(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert run("--marks", "MARKS.json") == 2
    assert "MARKS.json: the file cannot be read" in capfd.readouterr().err
    (folder / "MARKS.json").write_text(json.dumps({**MARKS, "lines": [[[1500, 0, 0], [1500, 0, 1000]]]}))
    assert run("--marks", "MARKS.json") == 2
    said = capfd.readouterr().err.strip().splitlines()[-1]
    assert said.startswith("seamwright: MARKS.json: line 1: its point 1, (1500.00, 0.00, 0.00) m, lies off the carving")
    assert not (folder / "out").exists()


def test_marks_inside_the_replaced_folder_are_kept_out(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (folder / "MARKS.json").write_text(json.dumps(MARKS))
    assert run() == 0
    (folder / "out" / "MARKS.json").write_text(json.dumps(MARKS))
    assert run("--marks", "out/MARKS.json", "--replace") == 2
    assert "would be replaced" in capfd.readouterr().err
    assert (folder / "out" / "MARKS.json").exists()
