# SPDX-License-Identifier: GPL-3.0-or-later
import io
import json
import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import bpy
import numpy as np
import pytest
import seamwright
from seamwright import commands, picture_scene, registration
from seamwright.core.demo import demo_carving
from seamwright.core.intake.readers import write_ply
from seamwright.core.job import Job
from seamwright.core.mesh.mesh import Mesh
from seamwright.pack_folder import is_ours
from seamwright.progress_bar import ProgressBar, stretch
from shapes import box

Output = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def _small_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, value in (("WIDTH", 96), ("HEIGHT", 60), ("SAMPLES", 1)):
        monkeypatch.setattr(picture_scene, name, value)


@pytest.fixture(autouse=True)
def _patient_log(monkeypatch: pytest.MonkeyPatch) -> None:
    """On a slow machine a refusal can outlast the log's patience."""
    monkeypatch.setattr(commands, "ProgressBar", lambda stream: ProgressBar(stream, patience=1e9))


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in that holds rock.ply, a block of 3 x 1 x 1 m."""
    monkeypatch.chdir(tmp_path)
    write_ply(tmp_path / "rock.ply", box((3.0, 1.0, 1.0)))
    return tmp_path


def refused(argv: list[str], output: Output) -> str:
    """Run a command that must be refused; its one line."""
    before = {str(p): p.stat().st_mtime_ns for p in Path.cwd().rglob("*")}
    assert commands.main(argv) == 2
    out, err = output.readouterr()
    assert out == ""
    assert err.endswith("\n")
    assert err.count("\n") == 1
    assert err.startswith("seamwright: ")
    assert {str(p): p.stat().st_mtime_ns for p in Path.cwd().rglob("*")} == before
    return err.removeprefix("seamwright: ")


def test_run_writes_the_pack_and_says_so_on_standard_output(
    folder: Path, capfd: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    # A run may be quicker than the log's patience: here every stage is told, on any machine.
    monkeypatch.setattr(commands, "ProgressBar", lambda stream: ProgressBar(stream, patience=0.0))
    assert commands.main(["run", "rock.ply", "--out", "out"]) == 0
    out, err = capfd.readouterr()
    record = json.loads((folder / "out" / "job.json").read_text())
    assert re.fullmatch(
        r"Wrenlow Skerry outcrop: (\d+) pieces, (\d+) joints?, gap [\d.]+ mm\n"
        r"heaviest: piece \d+, [\d.]+ kg \(limit 50 kg\)\n"
        r"findings: 0 errors, \d+ warnings?, \d+ notes?\n"
        r"(warning: .+\n)*written: out\n",
        out,
    )
    assert out.startswith(f"{record['title']}: {len(record['pieces'])} pieces, {len(record['joints'])} joint")
    assert f"{record['totals']['heaviest_kg']:.1f} kg (limit" in out
    assert "\r" not in err
    assert {"intake", "cut", "picture: the carving from above", "writing the job pack"} <= set(err.splitlines())
    assert is_ours(folder / "out")
    page = (folder / "out" / "job-pack.html").read_text()
    assert page.count("data:image/png;base64,") == 7
    names = {p.relative_to(folder / "out").as_posix() for p in (folder / "out").rglob("*") if p.is_file()}
    tables = {"pieces.csv", "joints.csv", "takeoff.csv", "findings.json", "job.json", "job-pack.html", "job.blend"}
    assert tables | {f"pieces/{piece['mark']}.ply" for piece in record["pieces"]} <= names
    assert sorted(os.listdir(folder)) == ["out", "rock.ply"]


def test_the_same_run_gives_the_same_tables_and_meshes(folder: Path) -> None:
    for name in ("a", "b"):
        assert commands.main(["run", "rock.ply", "--out", name]) == 0
    for path in sorted((folder / "a").rglob("*")):
        if path.suffix in (".csv", ".json", ".ply"):
            assert path.read_bytes() == (folder / "b" / path.relative_to(folder / "a")).read_bytes()


def test_joints_of_a_job_json_are_cut_again_and_replace_keeps_to_packs(folder: Path, capfd: Output) -> None:
    assert commands.main(["run", "rock.ply", "--out", "out"]) == 0
    first = {p.name: p.read_bytes() for p in (folder / "out" / "pieces").iterdir()}
    capfd.readouterr()
    assert "is not empty" in refused(["run", "rock.ply", "--out", "out"], capfd)
    argv = ["run", "rock.ply", "--joints", "out/job.json", "--out", "out", "--replace"]
    assert commands.main(argv) == 0
    assert {p.name: p.read_bytes() for p in (folder / "out" / "pieces").iterdir()} == first
    assert json.loads((folder / "out" / "job.json").read_text())["plan"]["kind"] == "given"
    (folder / "other").mkdir()
    (folder / "other" / "mine.txt").write_text("mine")
    capfd.readouterr()
    assert "is not replaced" in refused(["run", "rock.ply", "--out", "other", "--replace"], capfd)


def test_an_error_among_the_findings_is_exit_code_1(folder: Path, capfd: Output) -> None:
    """A joint of one's own that leaves two pieces of some 60 kg, where 50 kg is the limit."""
    joints = [{"mark": "K", "kind": "plane", "part": None, "point": [1.5, 0, 0], "normal": [1, 0, 0]}]
    (folder / "JOINTS.json").write_text(json.dumps({"schema_version": 1, "joints": joints}))
    assert commands.main(["run", "rock.ply", "--joints", "JOINTS.json", "--out", "out"]) == 1
    out = capfd.readouterr().out
    assert re.search(r"^findings: [1-9]\d* errors?, ", out, re.MULTILINE)
    assert re.search(r"^error: .*kg", out, re.MULTILINE)
    assert is_ours(folder / "out")
    # Foam may be marked already: a joint keeps its letter.
    record = json.loads((folder / "out" / "job.json").read_text())
    assert [entry["mark"] for entry in record["joints"]] == ["K"]
    assert {row["mark"] for row in record["contacts"]} == {"K"}


def test_the_job_file_counts(folder: Path) -> None:
    write_ply(folder / "mm.ply", Mesh(box((3000.0, 1000.0, 1000.0)).vertices[:, [1, 2, 0]], box().triangles))
    toml = '[carving]\nunit = "mm"\nup = "y"\n[limits]\npiece_mass = "90 kg"\n'
    (folder / "JOB.toml").write_text("\ufeff" + toml, encoding="utf-8")
    assert commands.main(["run", "mm.ply", "--job", "JOB.toml", "--out", "out"]) == 0
    record = json.loads((folder / "out" / "job.json").read_text())
    assert record["totals"]["carving_volume_m3"] == pytest.approx(3.0)
    assert Job.from_toml(record["settings_toml"]) == Job.from_toml(toml)


def test_bad_input_is_one_line_that_names_the_file_or_key(folder: Path, capfd: Output) -> None:
    solid = box((3.0, 1.0, 1.0))
    write_ply(folder / "open.ply", Mesh(solid.vertices, solid.triangles[:-1]))
    write_ply(folder / "tiny.ply", box((0.003, 0.001, 0.001)))
    write_ply(folder / "crumb.ply", box((0.09, 0.09, 0.09)))
    (folder / "nogap.toml").write_text('[foam]\nkerf = "1e-12 m"\n[joints]\nfit = "0 m"\n[skin]\nlayers = []\n')
    (folder / "broken.stl").write_text("solid x\n facet")
    (folder / "key.toml").write_text('[limits]\npeice_mass = "5 kg"\n')
    (folder / "unit.toml").write_text('[foam]\nkerf = "3"\n')
    (folder / "latin.toml").write_bytes(b'title = "caf\xe9"\n')
    (folder / "nothing.json").write_text("{}")
    (folder / "part.json").write_text(
        json.dumps(
            {
                "schema_version": 1,
                "joints": [{"kind": "plane", "part": [9, 9, 9], "point": [1, 0, 0], "normal": [1, 0, 0]}],
            }
        )
    )
    for words, name, about in (
        (["none.ply"], "none.ply: ", "no such file"),
        (["open.ply"], "open.ply: ", "edge"),
        (["tiny.ply"], "tiny.ply: ", "unit"),
        (["broken.stl"], "broken.stl: ", ""),
        (["rock.ply", "--job", "none.toml"], "none.toml: ", "cannot be read"),
        (["rock.ply", "--job", "key.toml"], "key.toml: ", "piece_mass"),
        (["rock.ply", "--job", "unit.toml"], "unit.toml: ", "foam.kerf"),
        (["rock.ply", "--job", "latin.toml"], "latin.toml: ", "UTF-8"),
        (["rock.ply", "--joints", "nothing.json"], "nothing.json: ", "joints"),
        (["rock.ply", "--joints", "part.json"], "part.json: joint 1: its part (9, 9, 9)", ""),
        (["crumb.ply"], "crumb.ply: no piece is left", ""),
        (["rock.ply", "--job", "nogap.toml", "--joints", "part.json"], "rock.ply: the gap", ""),
        (["rock.ply", "--object", "x"], "rock.ply: ", "--object"),
    ):
        line = refused(["run", *words, "--out", "out"], capfd)
        assert line.startswith(name)
        assert about in line
    assert not (folder / "out").exists()


def test_inputs_inside_the_pack_to_be_replaced_are_not_lost(folder: Path, capfd: Output) -> None:
    assert commands.main(["run", "rock.ply", "--out", "out"]) == 0
    (folder / "rock.ply").rename(folder / "out" / "rock.ply")
    (folder / "out" / "JOB.toml").write_text("")
    capfd.readouterr()
    line = refused(["run", "out/rock.ply", "--out", "out", "--replace"], capfd)
    assert line.startswith("out/rock.ply: lies in out")
    write_ply(folder / "rock.ply", box((3.0, 1.0, 1.0)))
    line = refused(["run", "rock.ply", "--job", "out/JOB.toml", "--out", "out", "--replace"], capfd)
    assert line.startswith("out/JOB.toml: lies in out")
    (folder / "out" / "JOINTS.json").write_text('{"schema_version": 1, "joints": []}')
    line = refused(["run", "rock.ply", "--joints", "out/JOINTS.json", "--out", "out", "--replace"], capfd)
    assert line.startswith("out/JOINTS.json: lies in out")


@pytest.mark.parametrize(
    "argv",
    [
        [],
        ["carve"],
        ["run"],
        ["run", "rock.ply"],
        ["run", "rock.ply", "--ou", "out"],
        ["demo"],
        ["demo", "extra", "--out", "out"],
        ["inspect", "rock.ply", "--wat"],
        ["job-template", "extra"],
    ],
)
def test_wrong_usage_shows_the_usage_line(argv: list[str], capfd: Output) -> None:
    assert commands.main(argv) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert err.startswith("usage: seamwright")
    assert "seamwright" in err.splitlines()[-1]
    assert "error: " in err.splitlines()[-1]


def test_job_template_reads_back_as_the_defaults(capfd: Output) -> None:
    assert commands.main(["job-template"]) == 0
    out, err = capfd.readouterr()
    assert Job.from_toml(out) == Job()
    assert err == ""


def test_inspect_tells_solid_mendable_and_neither_apart(folder: Path, capfd: Output) -> None:
    solid = box((3.0, 1.0, 1.0))
    base = (solid.corners()[:, :, 2] == 0.0).all(axis=1)
    write_ply(folder / "no-base.ply", Mesh(solid.vertices, solid.triangles[~base]))
    write_ply(folder / "holed.ply", Mesh(solid.vertices, solid.triangles[1:]))
    write_ply(folder / "top.ply", Mesh(solid.vertices, solid.triangles[[*range(2), *range(3, 12)]]))
    for name, code, verdict in (
        ("rock.ply", 0, "solid"),
        ("no-base.ply", 1, "can be mended"),
        ("top.ply", 2, "not a solid"),
    ):
        assert commands.main(["inspect", name]) == code
        out, err = capfd.readouterr()
        assert re.search(rf"^verdict: +{verdict}$", out, re.MULTILINE)
        assert err == ""
        assert commands.main(["inspect", name, "--json"]) == code
        report = json.loads(capfd.readouterr().out)
        assert (report["name"], report["verdict"]) == (name, verdict)
        assert report["size_m"] == [3.0, 1.0, 1.0]
    assert commands.main(["inspect", "rock.ply", "--json", "--unit", "ft"]) == 0
    assert json.loads(capfd.readouterr().out)["size_m"] == pytest.approx(np.array([3.0, 1.0, 1.0]) * 0.3048)
    assert commands.main(["inspect", "rock.ply", "--json", "--unit", "0.5 m"]) == 0
    assert json.loads(capfd.readouterr().out)["size_m"] == [1.5, 0.5, 0.5]


def test_inspect_refuses_what_it_cannot_take(folder: Path, capfd: Output) -> None:
    assert refused(["inspect", "none.obj"], capfd).startswith("none.obj: ")
    assert refused(["inspect", "rock.ply", "--unit", "furlong"], capfd).startswith("--unit: ")
    # The surface is looked at all the same; the word about the unit goes to standard error.
    assert commands.main(["inspect", "rock.ply", "--unit", "mm"]) == 2
    out, err = capfd.readouterr()
    assert "verdict:       solid" in out
    assert err.startswith("seamwright: rock.ply: ")
    assert err.count("\n") == 1


def test_demo_is_a_job_of_its_own_kind(folder: Path, capfd: Output, monkeypatch: pytest.MonkeyPatch) -> None:
    """The demo in small: 40 000 triangles instead of 250 000, everything else as it is."""
    import seamwright.core.demo

    monkeypatch.setattr(seamwright.core.demo, "demo_carving", lambda: demo_carving(40_000))
    assert commands.main(["demo", "--out", "out"]) == 0
    record = json.loads((folder / "out" / "job.json").read_text())
    assert "errors" in capfd.readouterr().out
    assert not [f for f in record["findings"] if f["severity"] == "error"]
    assert commands.main(["demo", "--out", "out"]) == 2


def ours(*argv: str, **options: object) -> subprocess.Popen[str]:
    """Start the program as a user does."""
    return subprocess.Popen(
        [sys.executable, "-m", "seamwright", *argv],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **options,  # type: ignore[call-overload]
    )


def test_as_a_module_without_blender_where_none_is_needed(folder: Path) -> None:
    """A bpy that cannot be loaded stands in the way: whoever imports it fails."""
    (folder / "blocked").mkdir()
    (folder / "blocked" / "bpy.py").write_text("raise ImportError('blocked here')\n")
    environ = {**os.environ, "PYTHONPATH": str(folder / "blocked")}
    for argv, code in ((["inspect", "rock.ply"], 0), (["job-template"], 0), (["--help"], 0), (["wat"], 2)):
        done = ours(*argv, env=environ)
        out, err = done.communicate(timeout=60)
        assert done.returncode == code, err
        assert bool(out) is (code == 0)
    done = ours("run", "rock.ply", "--out", "out", env=environ)
    out, err = done.communicate(timeout=60)
    assert done.returncode == 2
    assert out == ""
    assert err.startswith("seamwright: Blender's module bpy is needed")
    assert err.count("\n") == 1


@pytest.mark.skipif(os.name == "nt", reason="Windows sends Ctrl-C to the whole console")
def test_ctrl_c_ends_with_130_and_leaves_nothing(folder: Path) -> None:
    write_ply(folder / "demo.ply", demo_carving(60_000))
    before = sorted(os.listdir(folder))
    process = ours("run", "demo.ply", "--out", "out")
    assert process.stderr is not None
    for line in process.stderr:
        assert not line.startswith("picture")
        process.send_signal(signal.SIGINT)
        break
    out, err = process.communicate(timeout=120)
    assert process.returncode == 130
    assert out == ""
    assert err.splitlines()[-1] == "seamwright: stopped; nothing was written"
    assert "Traceback" not in err
    assert sorted(os.listdir(folder)) == before


@pytest.mark.skipif(os.name == "nt", reason="Windows has no kill of this sort")
def test_ctrl_c_inside_a_render_is_not_lost(folder: Path, capfd: Output) -> None:
    """Blender drops what is raised in its callbacks; this one is called in the middle of a render."""

    @bpy.app.handlers.persistent
    def interrupt(*_: object) -> None:
        os.kill(os.getpid(), signal.SIGINT)
        signal.getsignal(signal.SIGINT)  # gives Python the chance to run its handler here

    before = sorted(os.listdir(folder))
    given = signal.signal(signal.SIGINT, signal.default_int_handler)  # a test run in the background ignores it
    bpy.app.handlers.render_init.append(interrupt)
    try:
        assert commands.main(["run", "rock.ply", "--out", "out"]) == 130
    finally:
        bpy.app.handlers.render_init.remove(interrupt)
    out, err = capfd.readouterr()
    assert out == ""
    assert err.endswith("seamwright: stopped; nothing was written\n")
    assert "Traceback" not in err
    assert sorted(os.listdir(folder)) == before
    assert signal.signal(signal.SIGINT, given) is signal.default_int_handler


@pytest.mark.skipif(os.name == "nt", reason="pipes end otherwise on Windows")
def test_a_reader_that_goes_away_is_no_fault(folder: Path) -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    process = subprocess.run(
        [sys.executable, "-m", "seamwright", "job-template"],
        stdout=write_end,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    os.close(write_end)
    assert "Traceback" not in process.stderr
    assert process.returncode == 0


def test_a_fault_of_our_own_shows_and_has_its_own_code(monkeypatch: pytest.MonkeyPatch, capfd: Output) -> None:
    from seamwright import command_entry

    def broken() -> str:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr(commands, "job_template", broken)
    assert command_entry.run(["job-template"]) == command_entry.OUR_FAULT
    assert "ZeroDivisionError: a bug" in capfd.readouterr().err


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_the_bar_on_a_terminal_grows_and_goes() -> None:
    stream = Terminal()
    bar = ProgressBar(stream)
    part = stretch(bar, 0.5, 1.0)
    bar(0.0, "reading")
    part(0.0, "cutting the rock")
    part(1.0, "done")
    bar.close()
    shown = stream.getvalue().split("\r")
    assert [line.count("#") for line in shown[1:4]] == [0, 12, 24]
    assert [re.search(r"\d+%", line)[0] for line in shown[1:4]] == ["0%", "50%", "100%"]  # type: ignore[index]
    assert shown[3].rstrip().endswith("done")
    assert len(shown[3]) == len(shown[2])  # covers what stood there
    assert shown[4].strip() == ""
    assert shown[-1] == ""
    assert "\n" not in stream.getvalue()


def test_elsewhere_each_stage_is_told_once() -> None:
    stream = io.StringIO()
    bar = ProgressBar(stream, patience=0.0)
    for share, text in ((0.0, "reading"), (0.1, "cutting"), (0.2, "cutting"), (0.3, "cutting"), (0.9, "writing")):
        bar(share, text)
    bar.close()
    assert stream.getvalue() == "reading\ncutting\nwriting\n"


def test_a_log_hears_nothing_of_quick_work() -> None:
    stream = io.StringIO()
    bar = ProgressBar(stream, patience=60.0)
    bar(0.5, "cutting")
    bar.close()
    assert stream.getvalue() == ""


def test_the_command_is_registered_with_blender_and_taken_back(monkeypatch: pytest.MonkeyPatch) -> None:
    held: dict[object, str] = {}

    def add(name: str, execute: object) -> object:
        assert callable(execute)
        handle = object()
        held[handle] = name
        return handle

    monkeypatch.setattr(bpy.utils, "register_cli_command", add)
    monkeypatch.setattr(bpy.utils, "unregister_cli_command", held.pop)
    for _ in range(2):
        seamwright.register()
        assert list(held.values()) == ["seamwright"]
        seamwright.unregister()
        assert held == {}
    assert registration.COMMAND == "seamwright"
