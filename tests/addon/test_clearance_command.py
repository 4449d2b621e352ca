# SPDX-License-Identifier: GPL-3.0-or-later
"""Keep-clear bodies on the command line: sought beside the job file, an error where they are touched."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from seamwright import commands, picture_scene
from seamwright.core.clearance.envelope import block
from seamwright.core.intake.readers import read_mesh, write_ply
from shapes import box

JOB = """
[keep_clear]
approach = "1 m"
boards = "0 mm"
stations = ["0 m"]
[[keep_clear.bodies]]
name = "crate"
file = "bodies/crate.ply"
unit = "mm"
at = ["1.5 m", "{y} m", "0 m"]
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to start from, and beside it one with the job file and the body."""
    for name, value in (("WIDTH", 96), ("HEIGHT", 60), ("SAMPLES", 1)):
        monkeypatch.setattr(picture_scene, name, value)
    (tmp_path / "start").mkdir()
    (tmp_path / "job" / "bodies").mkdir(parents=True)
    monkeypatch.chdir(tmp_path / "start")
    write_ply(tmp_path / "start" / "rock.ply", box((3.0, 1.0, 1.0)))
    write_ply(tmp_path / "job" / "bodies" / "crate.ply", block((-300.0, -200.0, 0.0), (300.0, 200.0, 500.0)))
    return tmp_path


def run(folder: Path, y: float, out: str) -> int:
    (folder / "job" / "JOB.toml").write_text(JOB.format(y=y), encoding="utf-8")
    return commands.main(["run", "rock.ply", "--job", "../job/JOB.toml", "--out", out])


def test_a_body_too_near_fails_the_job_and_the_pack_shows_it(folder: Path) -> None:
    low = box((3.0, 1.0, 1.0)).vertices.min(axis=0)
    assert run(folder, float(low[1]) - 0.2 - 0.03, "near") == 1
    pack = folder / "start" / "near"
    findings = json.loads((pack / "findings.json").read_text())["findings"]
    errors = [f for f in findings if f["severity"] == "error"]  # every piece that it passes on its way
    assert {f["check"] for f in errors} == {"clearance"}
    assert {f["limit"] for f in errors} == {0.05}
    assert [f["measured"] for f in errors] == pytest.approx([0.03 - 0.00512] * len(errors), abs=1e-5)
    assert len({f["piece"] for f in errors}) == len(errors)
    record = json.loads((pack / "job.json").read_text())["keep_clear"]
    assert record["bodies"][0]["name"] == "crate"
    assert record["bodies"][0]["off_line_left_m"] == pytest.approx(0.025, abs=0.002)
    assert record["carve_off"]["deepest_m"] == pytest.approx(0.0251, abs=0.001)
    assert record["gauge_boards"][0]["over_m"] == pytest.approx(0.0251, abs=0.001)
    assert {"1.svg"} == {path.name for path in (pack / "gauge-boards").iterdir()}
    assert read_mesh(pack / "keep-clear" / "1.ply").size == pytest.approx([0.6, 0.4, 0.5])
    assert (pack / "carve-off.ply").is_file()
    assert "Gauge boards" in (pack / "job-pack.html").read_text()


def test_a_body_far_enough_passes(folder: Path) -> None:
    low = box((3.0, 1.0, 1.0)).vertices.min(axis=0)
    assert run(folder, float(low[1]) - 0.2 - 0.06, "clear") == 0
    assert not (folder / "start" / "clear" / "carve-off.ply").exists()


def test_a_body_that_is_not_there_is_named(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (folder / "job" / "bodies" / "crate.ply").unlink()
    assert run(folder, -1.0, "none") == 2
    assert capfd.readouterr().err.startswith("seamwright: crate.ply: there is no such file")
    assert not (folder / "start" / "none").exists()
