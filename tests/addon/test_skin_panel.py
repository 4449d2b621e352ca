# SPDX-License-Identifier: GPL-3.0-or-later
"""Skins as presets, the price list, and what a change of joints does to the cost, by operators."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import bpy
import panel_job as pj
import pytest
from seamwright.core import Job
from seamwright.core.skin.schedules import SCHEDULES
from seamwright.properties import settings_link

pytestmark = list(pj.WITH_EXTENSION)

PRICES = "item,contents,unit,price_GBP\nfoam billet,1,each,100.00\npaint,5,kg,40.10\nlabour,1,h,30\n"


def settings() -> Job:
    return settings_link.read(pj.job().seamwright)


def test_ready_skins_are_taken_over_and_all_else_stays() -> None:
    pj.start()
    pj.ops.limits_preset(preset="two")
    before = settings()
    for key, schedule in SCHEDULES.items():
        assert pj.ops.skin_schedule(schedule=key) == {"FINISHED"}
        assert settings().skin == schedule.skin
        assert settings().limits == before.limits
    assert pj.job().seamwright.place == {"outdoors"}


def test_skin_is_one_text_for_presets() -> None:
    pj.start()
    group = pj.job().seamwright
    pj.ops.skin_schedule(schedule="indoor")
    text = group.skin_text
    assert text.startswith("[skin]\n")
    assert Job.from_toml(text).skin == SCHEDULES["indoor"].skin
    pj.ops.skin_schedule(schedule="bare")
    group.skin_text = text
    assert settings().skin == SCHEDULES["indoor"].skin
    group.skin_text = "no skin = ["
    assert settings().skin == SCHEDULES["indoor"].skin


def test_presets_are_kept_the_way_blender_keeps_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bpy.utils, "user_resource", lambda kind, path="", create=False: _made(tmp_path / path, create))
    pj.start()
    pj.ops.skin_schedule(schedule="indoor")
    assert pj.ops.skin_preset_add(name="My Indoor Skin") == {"FINISHED"}
    (kept,) = (tmp_path / "presets" / "seamwright" / "skin").glob("*.py")
    pj.ops.skin_schedule(schedule="bare")
    exec(compile(kept.read_text(), str(kept), "exec"), {})
    assert settings().skin == SCHEDULES["indoor"].skin


def _made(path: Path, create: bool) -> str:
    if create:
        path.mkdir(parents=True, exist_ok=True)
    return str(path)


def test_switches_of_the_skin_count() -> None:
    pj.start()
    group = pj.job().seamwright
    group.place = {"indoors", "public"}
    group.allowance = "grow"
    group.bridging = 0.05
    job = settings()
    assert job.skin.place == ("indoors", "public")
    assert job.joints.allowance == "grow"
    assert job.skin.bridging == 0.05
    assert Job.from_toml(job.to_toml()) == job


def test_a_price_list_is_kept_and_a_change_of_joints_shows(tmp_path: Path) -> None:
    pj.start()
    group = pj.job().seamwright
    path = tmp_path / "prices.csv"
    path.write_text(PRICES)
    assert pj.ops.cut() == {"FINISHED"}
    assert group.cost_total == ""
    assert pj.ops.prices_read(filepath=str(path)) == {"FINISHED"}
    assert any("Settings have changed" in line for line in pj.stale())
    assert pj.ops.cut() == {"FINISHED"}
    first = Decimal(group.cost_total)
    assert (group.cost_currency, group.cost_change) == ("GBP", "")
    assert sum(Decimal(line.split("\t")[1]) for line in group.cost_stages.splitlines()) == first
    assert {row.check for row in group.findings} >= {"prices"}
    pj.joints()[0].location.x += 0.1
    assert pj.ops.cut() == {"FINISHED"}
    assert group.cost_change == f"{Decimal(group.cost_total) - first:+.2f}"
    assert pj.ops.prices_drop() == {"FINISHED"}
    assert pj.ops.cut() == {"FINISHED"}
    assert (group.cost_total, group.cost_change, group.cost_stages) == ("", "", "")


def test_a_bad_price_list_changes_nothing(tmp_path: Path) -> None:
    pj.start()
    path = tmp_path / "prices.csv"
    path.write_text("item,contents,unit,price\nfoam billet,1,each,10,5\n")
    with pytest.raises(RuntimeError, match=r"prices\.csv"):
        pj.ops.prices_read(filepath=str(path))
    assert pj.job().seamwright.prices_text == ""


def test_pieces_say_what_the_worst_placed_bears() -> None:
    pj.start()
    pj.ops.cut()
    for piece in pj.pieces():
        assert 0.0 < piece["largest_share_kg"] <= piece["finished_mass_kg"]
        assert piece["covering_carved_m2"] > 0.0
        assert "tilt_rad" in piece
