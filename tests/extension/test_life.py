# SPDX-License-Identifier: GPL-3.0-or-later
"""From the built zip, in an empty user folder: the extension comes, does the whole job, and goes without a trace."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from launcher import play


@pytest.fixture(scope="module")
def life(zipped: Path, carving: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("life")
    return play("life", folder, zipped, carving, folder)


def test_installs_and_enables_from_its_own_files(life: dict[str, Any]) -> None:
    assert (life["install"], life["enabled by install"], life["enable"]) == ("FINISHED", False, "FINISHED")
    assert life["after install"] == {}
    assert life["from elsewhere"] == []


def test_enabling_adds_only_what_bears_its_name(life: dict[str, Any]) -> None:
    added = life["after enable"]
    assert set(added) == {"types", "properties", "handlers", "timers", "operators", "addons"}
    assert [row for kind in added.values() for row in kind["gone"]] == []
    come = [row.lower() for kind, rows in added.items() if kind != "timers" for row in rows["come"]]
    assert [row for row in come if "seamwright" not in row] == []
    assert added["timers"]["come"] == ["adopt"]
    ours = {row.rpartition(".")[2] for row in added["properties"]["come"] if not row.startswith("SEAMWRIGHT_")}
    assert ours == {"seamwright"}


def test_every_step_of_the_job_is_done_and_does_something(life: dict[str, Any]) -> None:
    assert set(life["went"].values()) == {"FINISHED"}
    assert life["without effect"] == []
    pieces = [row for row in life["last"]["objects"].values() if "finished_mass_kg" in row[3]]
    assert len(pieces) == len(life["pieces cut there"]) > 4


def test_each_step_is_undone_and_redone(life: dict[str, Any]) -> None:
    """Steps of the user's own hand are pushed by the scene; operators push their own."""
    steps = len(life["went"])
    assert steps > 15
    assert life["undone"] == [""] * steps
    assert life["redone"] == [""] * steps


def test_saved_and_loaded_it_is_the_same_job(life: dict[str, Any]) -> None:
    assert life["export"] == life["export of the loaded"] == "FINISHED"
    assert {
        "pieces.csv",
        "joints.csv",
        "takeoff.csv",
        "findings.json",
        "job.json",
        "job-pack.html",
        "job.blend",
    } <= set(life["pack"])
    assert (life["saved"], life["loaded"]) == ("", "")
    assert life["gone from an empty file"]
    assert life["ready to export"]


def test_appended_to_another_file_it_is_the_same_job(life: dict[str, Any]) -> None:
    appended, before = life["appended pieces"]
    assert life["appended"]
    assert appended == pytest.approx(before, rel=1e-6)
    assert life["ready in the other file"]
    assert life["cut in the other file"] == "FINISHED"
    assert life["pieces cut there"] == appended


def test_disabled_it_leaves_nothing_and_enabled_again_the_job_is_there(life: dict[str, Any]) -> None:
    assert life["disable"] == "FINISHED"
    assert life["after disable"] == {}
    assert life["enable again"] == "FINISHED"
    assert life["after second enable"] == {}
    assert life["job after the pause"] == [True, True, True]
    assert life["cut after the pause"] == "FINISHED"


def test_removed_it_leaves_nothing(life: dict[str, Any]) -> None:
    assert (life["disable again"], life["remove"]) == ("FINISHED", "FINISHED")
    assert life["after remove"] == {}
    assert life["files left"] == []


def test_it_never_asked_for_a_network(life: dict[str, Any]) -> None:
    """The scene refuses every connection and every look-up of a name, and notes who asked."""
    assert life["network"] == []
    assert life["online"] is False


def test_it_says_nothing_on_standard_error(life: dict[str, Any]) -> None:
    assert life["stderr"] == ""


@pytest.mark.parametrize("first", ["disable", "remove"])
def test_nobody_holds_anything_of_it_when_it_has_gone(zipped: Path, carving: Path, tmp_path: Path, first: str) -> None:
    """Handlers, timers, draw handlers, classes and commands would each keep a function or a class alive.

    Blender itself keeps the modules of an add-on that was disabled before it was removed; and Blender 4.2 keeps every
    property group, with the functions that its properties call, as a group of the scene's own shows.
    """
    left = play("leave", tmp_path, zipped, carving, tmp_path, first)
    assert left["looks"] == [True] * 5
    assert (left["install"], left["export"], left["remove"]) == ("FINISHED", "FINISHED", "FINISHED")
    assert left["alive before"] > 100
    assert left["after remove"] == {}
    alive = left["alive"]
    if left["groups stay"]:
        modules = ("properties.", "job_tree.", "core.findings.")
        alive = [name for name in alive if not name.split("seamwright.", 1)[1].startswith(modules)]
    assert alive == []
    if first == "remove":
        assert left["modules"] == []
