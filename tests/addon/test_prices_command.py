# SPDX-License-Identifier: GPL-3.0-or-later
"""The command line with a price list: what it writes, says and refuses."""

from __future__ import annotations

import csv
import json
from decimal import Decimal
from pathlib import Path

import pytest
from seamwright import commands, pictures
from seamwright.core.cutting.joint import Plane
from seamwright.core.intake.readers import write_ply
from seamwright.core.jobpack.joints_file import joints_json
from shapes import box

PRICES = """\
item,sold_as,contents,unit,price_EUR
foam billet,billet,1,each,100.00
paint,tin,5,kg,40.10
touch-up,kit,10,m,12.50
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(pictures, "render_pictures", lambda result, progress: {})
    write_ply(tmp_path / "rock.ply", box((3.0, 1.0, 1.0)))
    (tmp_path / "prices.csv").write_text(PRICES)
    for name, places in (("one", (1.5,)), ("two", (1.0, 2.0))):
        joints = [(f"{k}", Plane((x, 0.0, 0.0), (1.0, 0.0, 0.0))) for k, x in enumerate(places)]
        (tmp_path / f"{name}.json").write_text(joints_json(joints))
    return tmp_path


def total(folder: Path) -> Decimal:
    cost = json.loads((folder / "job.json").read_text())["cost"]
    assert cost["currency"] == "EUR"
    rows = csv.DictReader((folder / "costs.csv").read_text().splitlines())
    assert sum(Decimal(row["cost"]) for row in rows) == Decimal(str(cost["total"]))
    return Decimal(str(cost["total"]))


def test_a_priced_run_and_what_other_joints_do_to_it(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    words = ["run", "rock.ply", "--prices", "prices.csv", "--out", "out"]
    assert commands.main([*words, "--joints", "one.json"]) in (0, 1)
    first = total(folder / "out")
    said = capfd.readouterr().out
    assert f"cost: {first:.2f} EUR; without " in said
    assert "resin" in said
    assert commands.main([*words, "--joints", "two.json", "--replace"]) in (0, 1)
    second = total(folder / "out")
    assert f"cost: {second:.2f} EUR, {second - first:+.2f} against the pack before" in capfd.readouterr().out


def test_without_prices_nothing_is_said_of_cost(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    assert commands.main(["run", "rock.ply", "--joints", "one.json", "--out", "out"]) in (0, 1)
    assert "cost" not in capfd.readouterr().out
    assert not (folder / "out" / "costs.csv").exists()
    assert json.loads((folder / "out" / "job.json").read_text())["cost"] is None


@pytest.mark.parametrize(
    ("text", "said"),
    [("item,contents\n", "column unit is missing"), (PRICES.replace("12.50", "12,5 0"), "bad.csv: row 4")],
)
def test_a_bad_list_is_refused_before_anything_is_done(
    folder: Path, capfd: pytest.CaptureFixture[str], text: str, said: str
) -> None:
    (folder / "bad.csv").write_text(text)
    assert commands.main(["run", "rock.ply", "--prices", "bad.csv", "--out", "out"]) == 2
    out, err = capfd.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    assert said in err
    assert not (folder / "out").exists()


def test_a_measure_that_does_not_fit_is_refused(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    (folder / "bad.csv").write_text("item,contents,unit,price\npaint,5,m,40\n")
    assert commands.main(["run", "rock.ply", "--joints", "one.json", "--prices", "bad.csv", "--out", "out"]) == 2
    assert 'bad.csv: "paint" is sold by m' in capfd.readouterr().err
    assert not (folder / "out").exists()


def test_a_list_in_the_pack_to_be_replaced_is_kept(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    words = ["run", "rock.ply", "--joints", "one.json", "--out", "out"]
    assert commands.main(words) in (0, 1)
    (folder / "out" / "prices.csv").write_text(PRICES)
    assert commands.main([*words, "--prices", "out/prices.csv", "--replace"]) == 2
    assert "move it out first" in capfd.readouterr().err
    assert (folder / "out" / "prices.csv").read_text() == PRICES
