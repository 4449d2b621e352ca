# SPDX-License-Identifier: GPL-3.0-or-later
"""The command line on scans with faults: inspect tells them, run mends small ones, tapes set the scale."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from planted import plant
from seamwright import commands
from seamwright.core.intake.draft import Draft
from seamwright.core.intake.floor import clip_above
from seamwright.core.intake.prepare import prepare
from seamwright.core.intake.readers import write_ply
from seamwright.core.mesh.mesh import Mesh
from shapes import bottomless, rock

Output = pytest.CaptureFixture[str]
BOULDER = rock(3)
JOB = '[carving]\nfill = "600 mm"\n[limits]\npiece_mass = "500 kg"\ndoorway = ["9 m", "9 m"]\n'


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("seamwright.pictures.render_pictures", lambda result, progress: {})
    return tmp_path


def test_inspect_prints_the_diagnosis(folder: Path, capfd: Output) -> None:
    write_ply(folder / "rock.ply", plant(rock(4), ("hole", "flipped_patch")).mesh)
    assert commands.main(["inspect", "rock.ply"]) == 2
    text = capfd.readouterr().out
    assert "1 hole " in text
    assert "1 patch of the surface face" in text
    assert "wrong:" in text
    assert commands.main(["inspect", "rock.ply", "--json"]) == 2
    data = json.loads(capfd.readouterr().out)
    assert [fault["kind"] for fault in data["faults"]] == ["open", "misoriented"]
    assert data["overlap_tested_share"] == 1.0
    assert np.array(data["faults"][0]["places"]).shape == (1, 3)


@pytest.mark.parametrize("up", ["y", "-y"])
def test_inspect_takes_the_up_axis(up: str, folder: Path, capfd: Output) -> None:
    stone = bottomless(prepare(clip_above(Draft.of(rock(4)), -0.2).mesh).mesh)
    sign = 1.0 if up == "y" else -1.0
    lying = Mesh(stone.vertices[:, [0, 2, 1]] * [1.0, sign, -sign], stone.triangles)
    write_ply(folder / "stone.ply", lying)
    assert commands.main(["inspect", "stone.ply"]) == 2
    assert f"likely up:     {up}: " in capfd.readouterr().out
    assert commands.main(["inspect", "stone.ply", "--up", up]) == 1
    text = capfd.readouterr().out
    assert f"likely up:     {up}: " in text
    assert f"turned so that the file's {up} points up" in text
    assert commands.main(["inspect", "stone.ply", "--up", "w"]) == 2


def test_a_unit_that_is_wrong_is_told_by_what_the_verb_knows(folder: Path, capfd: Output) -> None:
    write_ply(folder / "rock.ply", Mesh(BOULDER.vertices * 1000.0, BOULDER.triangles))
    assert commands.main(["inspect", "rock.ply"]) == 2
    assert "give --unit, such as" in capfd.readouterr().err
    assert commands.main(["run", "rock.ply", "--out", "pack"]) == 2
    error = capfd.readouterr().err
    assert "set unit under [carving] in the job file, such as" in error
    assert "--unit" not in error
    assert not (folder / "pack").exists()


def test_run_mends_and_says_so_or_refuses(folder: Path, capfd: Output) -> None:
    write_ply(folder / "rock.ply", plant(BOULDER, ("missing_triangle", "double")).mesh)
    (folder / "job.toml").write_text(JOB)
    assert commands.main(["run", "rock.ply", "--job", "job.toml", "--out", "pack"]) in (0, 1), capfd.readouterr().err
    said = [f["message"] for f in json.loads((folder / "pack" / "findings.json").read_text())["findings"]]
    assert any("1 hole filled" in message for message in said)
    assert any("lay on another left out" in message for message in said)
    (folder / "none.toml").write_text(JOB.replace("[carving]", '[carving]\nmend = "none"'))
    assert commands.main(["run", "rock.ply", "--job", "none.toml", "--out", "other"]) == 2
    assert "is not closed" in capfd.readouterr().err
    assert not (folder / "other").exists()


def test_run_scales_by_tapes(folder: Path, capfd: Output) -> None:
    write_ply(folder / "rock.ply", BOULDER)
    taped = '{ a = ["0 m", "0 m", "0 m"], b = ["1 m", "0 m", "0 m"], length = "900 mm" }'
    other = '{ a = ["0 m", "0 m", "0 m"], b = ["0 m", "1 m", "0 m"], length = "950 mm" }'
    (folder / "job.toml").write_text(JOB.replace("[carving]", f"[carving]\ntaped = [{taped}, {other}]"))
    assert commands.main(["run", "rock.ply", "--job", "job.toml", "--out", "pack"]) in (0, 1), capfd.readouterr().err
    found = json.loads((folder / "pack" / "findings.json").read_text())["findings"]
    tapes = [f for f in found if f["check"] == "taped_scale"]
    assert [f["severity"] for f in tapes] == ["note", "warning", "warning"]
    assert tapes[0]["measured"] == pytest.approx(0.924, abs=0.001)


def test_inspect_shows_what_a_job_would_mend(folder: Path, capfd: Output) -> None:
    """The same file, by the job's unit, up, tapes and recipe; a word on the command line goes before the job's."""
    holed = plant(rock(4), ("hole",)).mesh
    write_ply(folder / "rock.ply", Mesh(holed.vertices[:, [0, 2, 1]] * (1000.0, 1000.0, -1000.0), holed.triangles))
    job = '[carving]\nunit = "mm"\nup = "y"\nfill = "600 mm"\n'
    (folder / "JOB.toml").write_text(job)
    assert commands.main(["inspect", "rock.ply", "--job", "JOB.toml"]) == 1
    said = capfd.readouterr().out
    assert "would mend:    1 hole filled" in said
    x, y, z = holed.size.tolist()
    assert f"size:          {x:.6g} x {y:.6g} x {z:.6g} m" in said
    tape = '{ a = ["-1 m", "0 m", "0 m"], b = ["1 m", "0 m", "0 m"], length = "4 m" }'
    (folder / "JOB.toml").write_text(f"{job}taped = [{tape}]\n")
    assert commands.main(["inspect", "rock.ply", "--job", "JOB.toml"]) == 1
    said = capfd.readouterr().out
    assert "reading:       The scan was scaled by 2 after 1 taped distance" in said
    assert f"size:          {2 * x:.6g} x {2 * y:.6g} x {2 * z:.6g} m" in said
    assert commands.main(["inspect", "rock.ply", "--job", "JOB.toml", "--unit", "cm"]) == 2  # the hole is wider then
    assert f"size:          {20 * x:.6g} x {20 * y:.6g} x {20 * z:.6g} m" in capfd.readouterr().out
    (folder / "JOB.toml").write_text('[carving]\nunit = "mm"\nmend = "none"\n')
    assert commands.main(["inspect", "rock.ply", "--job", "JOB.toml"]) == 2
    (folder / "JOB.toml").write_text('[carving]\nunits = "mm"\n')
    assert commands.main(["inspect", "rock.ply", "--job", "JOB.toml"]) == 2
    assert 'JOB.toml: carving.units: unknown key "units"' in capfd.readouterr().err


def test_inspect_shows_how_far_a_new_skin_would_lie(folder: Path, capfd: Output) -> None:
    write_ply(folder / "rock.ply", plant(rock(4), ("hole",)).mesh)
    steps = '["weld", "orient", "fill", "remesh"]'
    (folder / "JOB.toml").write_text(f'[carving]\nmend = "steps"\nsteps = {steps}\ndeviation = "50 mm"\n')
    assert commands.main(["inspect", "rock.ply", "--job", "JOB.toml"]) == 1
    said = capfd.readouterr().out
    assert "a new skin was laid over it with voxels of" in said
    assert "the new skin up to" in said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '[carving]\ntaped = [{ a = ["0 m", "0 m", "0 m"], b = ["0 m", "0 m", "0 m"], length = "1 m" }]\n',
            "JOB.toml: taped distance 1: its points are 0 apart",
        ),
        (
            '[carving]\ntaped = [{ a = ["-1 m", "0 m", "0 m"], b = ["1 m", "0 m", "0 m"], length = "2 mm" }]\n',
            "rock.ply: its longest side would be 0.00338 m, outside 0.05 m to 200 m: most likely the unit is wrong; "
            "check unit and the taped distances",
        ),
        (
            '[blockup]\nbuilt = "as-given"\npicked = [[["0 m", "0 m", "0 m"]]]\n',
            "JOB.toml: blockup.picked[0]: 1 points are too few",
        ),
    ],
)
def test_run_names_the_job_file_at_fault(text: str, said: str, folder: Path, capfd: Output) -> None:
    write_ply(folder / "rock.ply", BOULDER)
    (folder / "JOB.toml").write_text(text)
    assert commands.main(["run", "rock.ply", "--job", "JOB.toml", "--out", "out"]) == 2
    assert capfd.readouterr().err.strip().splitlines()[-1].startswith(f"seamwright: {said}")
    assert not (folder / "out").exists()
