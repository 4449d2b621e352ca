# SPDX-License-Identifier: GPL-3.0-or-later
"""Plans side by side on the command line: what is weighed is what the job then finds, and what is refused."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from bar_job import JOB, bar
from seamwright import commands, pictures
from seamwright.core.cutting.joint import Plane
from seamwright.core.intake.readers import write_ply
from seamwright.core.jobpack.joints_file import joints_json, read_marked_joints

LINES = [[[1.5, y, z] for y, z in ((0.6, 0.0), (0.0, 0.0), (0.0, 0.6), (0.6, 0.6), (0.6, 0.0))]]


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(pictures, "render_pictures", lambda result, progress: {})
    write_ply(tmp_path / "bar.ply", bar())
    (tmp_path / "JOB.toml").write_text(JOB)
    (tmp_path / "MARKS.json").write_text(json.dumps({"schema_version": 1, "lines": LINES}))
    (tmp_path / "MINE.json").write_text(joints_json([("M", Plane((1.3, 0.0, 0.0), (1.0, 0.0, 0.0)))]))
    return tmp_path


def main(verb: str, *words: str) -> int:
    return commands.main([verb, "bar.ply", "--job", "JOB.toml", "--marks", "MARKS.json", *words])


def test_plans_are_weighed_as_the_job_weighs_them(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert main("plans", "--joints", "MINE.json", "--wish", "hidden=1", "--wish", "pieces=3", "--out", "plans") == 0
    said = capfd.readouterr().out
    rows = list(csv.DictReader((folder / "plans" / "plans.csv").read_text().splitlines()))
    assert [row["wish"] for row in rows] == ["MINE.json", "hidden 1", "3 pieces"]
    assert [row["pieces"] for row in rows] == ["2", "2", "3"]
    # By hand: 1.7 x 0.6 x 0.6 m of foam at 15 kg/m3, and 5 kg/m2 on 2 x 0.36 + 4 x 1.02 m2.
    assert float(rows[0]["heaviest_kg"]) == pytest.approx(0.612 * 15.0 + 5.0 * 4.8)
    assert float(rows[0]["joint_area_m2"]) == pytest.approx(0.36)
    # The base is not seen: front, top and back of the joint are, 0.6 m each. The line is 0.2 m off.
    assert float(rows[0]["visible_length_m"]) == pytest.approx(1.8)
    assert float(rows[0]["on_seam_share"]) == 0.0
    assert float(rows[1]["on_seam_share"]) == pytest.approx(1.0)
    assert (rows[0]["loads"], rows[0]["left_out"], rows[0]["over_limit"]) == ("1", "0", "0")
    heads = [line for line in said.splitlines() if line.startswith(("pieces", "wish", "along seams"))]
    assert [" ".join(line.split()) for line in heads] == [
        "wish MINE.json hidden 1 3 pieces",
        "pieces 2 2 3",
        f"along seams 0% 100% {float(rows[2]['on_seam_share']):.0%}",
    ]
    assert {path.name for path in (folder / "plans").iterdir()} == {
        *(f"plan-{k}.json" for k in (1, 2, 3)),
        "plans.csv",
        "plans.json",
    }
    # The one that is chosen is cut to the same figures.
    assert main("run", "--joints", "plans/plan-2.json", "--out", "pack") == 0
    pieces = list(csv.DictReader((folder / "pack" / "pieces.csv").read_text().splitlines()))
    assert max(float(row["finished_mass_kg"]) for row in pieces) == float(rows[1]["heaviest_kg"])
    joints = list(csv.DictReader((folder / "pack" / "joints.csv").read_text().splitlines()))
    assert sum(float(row["visible_length_m"]) for row in joints) == pytest.approx(float(rows[1]["visible_length_m"]))


def test_joints_that_are_kept_stay_and_the_rest_goes_round_them(folder: Path) -> None:
    (folder / "KEEP.json").write_text(joints_json([("K", Plane((0.4, 0.0, 0.0), (1.0, 0.0, 0.0)))]))
    assert main("plans", "--keep", "KEEP.json", "--wish", "hidden=0.5", "--out", "plans") == 0
    marks, joints = read_marked_joints((folder / "plans" / "plan-1.json").read_text())
    # 0.4 m on one side; the other 2.6 m are over 1.8 m and are cut once more.
    assert len(joints) == 2
    assert marks == ("K", "A")
    assert joints[0].point[0] == 0.4
    assert main("run", "--keep", "KEEP.json", "--out", "pack") == 0
    record = json.loads((folder / "pack" / "job.json").read_text())
    assert [joint["mark"] for joint in record["joints"]] == ["K", "A"]
    assert record["plan"]["reasons"]["K"] == "stays where you set it"


def test_what_is_over_a_limit_is_told_and_what_is_wrong_is_one_line(
    folder: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    (folder / "OFF.json").write_text(joints_json([("A", Plane((0.1, 0.0, 0.0), (1.0, 0.0, 0.0)))]))
    assert main("plans", "--joints", "OFF.json", "--out", "off") == 1
    row = next(line for line in capfd.readouterr().out.splitlines() if line.startswith("over a limit"))
    assert row.split()[-1] == "1"
    for words, said in (
        (("--wish", "hidden=2"), "--wish hidden=2: joints.hidden: 2.0 is out of range"),
        (("--wish", "pieces=many"), "'many' is no number; write for example pieces=1"),
        (("--wish", "pretty"), "'pretty' is no wish; write hidden=0.8, pieces=14, or both"),
        (("--joints", "GONE.json"), "GONE.json: the file cannot be read"),
    ):
        assert main("plans", *words, "--out", "out") == 2
        assert said in capfd.readouterr().err
        assert not (folder / "out").exists()
    assert main("run", "--joints", "MINE.json", "--keep", "MINE.json", "--out", "out") == 2
    assert "--joints and --keep do not go together" in capfd.readouterr().err
