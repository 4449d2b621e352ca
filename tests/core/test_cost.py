# SPDX-License-Identifier: GPL-3.0-or-later
"""One job priced by hand, line by line, and what every price sheet must do. All prices are invented."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pack_sample import sample_result
from seamwright.core.cutting.joint import Plane
from seamwright.core.handling.pricing import check_prices, piece_needs
from seamwright.core.job import Cost, Job, Labour, Layer, Skin
from seamwright.core.jobpack import pack_files
from seamwright.core.pipeline import run_job
from seamwright.core.skin import read_prices
from shapes import box, rock

PRICES = """\
item,sold_as,contents,unit,price_GBP,waste,width_m,overlap_m,coverage_m2,coats
foam billet,billet,1,each,180.50,,,,,
adhesive,can,10,m2,9.95,,,,,
barrier foil,roll,50,m2,38.40,,1.0,0.025,,
laminate: glass,roll,10,kg,41.30,0.15,,,,
resin,drum,25,kg,110.25,,,,,
catalyst,bottle,1,l,14.99,,,,,
cement coat,bag,25,kg,21.35,0.1,,,,
paint,tin,5,l,47.10,0.1,,,5,2
touch-up,kit,10,m,12.00,,,,,
labour,hour,1,h,32.15,,,,,
labour: paint,day,8,h,200.00,,,,,
"""

LAYERS = (
    Layer("barrier foil", mass=0.17, thickness=0.0001, faces=("carved", "joint", "base", "back")),
    Layer("laminate", glass=1.0, resin_ratio=2.5, faces=("carved",), edge_return=0.05),
    Layer("cement coat", density=1750.0, thickness=0.002, faces=("carved",)),
    Layer("paint", mass=0.4, faces=("carved",)),
)

JOB = replace(
    Job(),
    skin=Skin(layers=LAYERS, bridging=0.0),
    foam=replace(Job().foam, kerf=0.0),
    joints=replace(Job().joints, fit=0.0),
    cost=Cost(
        labour=(Labour("laminate", 0.75), Labour("paint", 0.2), Labour("cutting", 0.5, ("joint",))),
        overhead=0.15,
        contingency=0.1,
    ),
)


def test_a_job_priced_by_hand() -> None:
    """The sample bar: 4.2 x 1 x 1 m in three, standing on its base, cut twice, skinned as above.

    Carved 3 x 4.2 + 2 = 14.6 m2; joints 4 x 1 = 4; base 4.2. Edge returns of 50 mm: each joint face 1 - 0.9 x 0.95 =
    0.145, four of them 0.58; base, whose strips lie along both sides, and along the two ends of the bar:
    1.0 m: 1 x 1 - 0.95 x 0.9 = 0.145; 2.4 m: 0.24; 0.8 m: 0.8 - 0.75 x 0.9 = 0.125; together 0.51. In all 1.09 m2.
    """
    sheet = sample_result(JOB, read_prices(PRICES)).cost
    assert sheet is not None
    laid = 14.6 + 1.09
    by_hand = {
        # item: (net in sold units, order, cost)
        "foam billet": (4.2 / (2.44 * 1.22 * 0.61), 3, "541.50"),  # 2.313: 3 x 180.50
        "adhesive": (4.2 / 0.61 / 10.0, 1, "9.95"),  # 6.885 m2
        "barrier foil": (22.8 / 50.0, 1, "38.40"),  # 23.4 m2 with laps
        "laminate: glass": (laid / 10.0, 2, "82.60"),  # 18.04 kg with waste: 2 x 41.30
        "resin": (2.5 * laid / 25.0, 2, "220.50"),  # 45.11 kg: 2 x 110.25
        "catalyst": (0.02 * 2.5 * laid, 1, "14.99"),  # 0.902 l
        "cement coat": (3.5 * 14.6 / 25.0, 3, "64.05"),  # 56.21 kg: 3 x 21.35
        "paint": (14.6 * 2 / 5.0 / 5.0, 2, "94.20"),  # 6.424 l: 2 x 47.10
        "touch-up": (0.6, 1, "12.00"),  # 6 m
        "labour: laminate": (10.95, 10.95, "352.04"),  # 14.6 x 0.75 h x 32.15 = 352.0425
        "labour: paint": (2.92, 2.92, "73.00"),  # 14.6 x 0.2 h x 25.00
        "labour: cutting": (2.0, 2.0, "64.30"),  # 4 x 0.5 h x 32.15
        "overhead": (0.15, 0.15, "235.13"),  # 15 % of 1567.53 = 235.1295
        "contingency": (0.1, 0.1, "180.27"),  # 10 % of 1802.66 = 180.266
    }
    assert [line.item for line in sheet.lines] == list(by_hand)
    for line in sheet.lines:
        net, order, cost = by_hand[line.item]
        assert line.net_quantity == pytest.approx(net, rel=1e-4), line.item
        assert line.order_quantity == pytest.approx(order, rel=1e-12), line.item
        assert f"{line.cost:.2f}" == cost, line.item
    assert sheet.total == Decimal("1982.93")
    assert sheet.currency == "GBP"
    assert (sheet.unpriced, sheet.unused) == ((), ())
    assert sheet.stages == {
        "foam": Decimal("541.50"),
        "adhesive": Decimal("9.95"),
        "barrier foil": Decimal("38.40"),
        "laminate": Decimal("434.64"),  # 82.60 + 352.04
        "resin": Decimal("235.49"),
        "cement coat": Decimal("64.05"),
        "paint": Decimal("167.20"),
        "touch-up": Decimal("12.00"),
        "cutting": Decimal("64.30"),
        "overhead": Decimal("235.13"),
        "contingency": Decimal("180.27"),
    }
    # Cutting by joint area 1 : 2 : 1; foam by volume 1 : 2.4 : 0.8, 541.50 x 10 / 42 = 128.93, 309.43, 103.14.
    assert [piece["cutting"] for piece in sheet.pieces] == [Decimal("16.08"), Decimal("32.15"), Decimal("16.07")]
    assert [piece["foam"] for piece in sheet.pieces] == [Decimal("128.93"), Decimal("309.43"), Decimal("103.14")]


def adds_up(files: dict[str, bytes]) -> Decimal:
    """Assert that all that is shown adds up to the cent; returns the total."""
    takeoff = csv.DictReader(io.StringIO(files["takeoff.csv"].decode(), newline=""))
    lines = [row for row in takeoff if row["cost"]]
    for row in lines:
        exact = Decimal(row["unit_price"]) * Decimal(row["order_quantity"])
        assert abs(exact - Decimal(row["cost"])) <= Decimal("0.005") + Decimal("1e-6") * exact
    record = json.loads(files["job.json"])["cost"]
    total = Decimal(str(record["total"]))
    assert sum(Decimal(row["cost"]) for row in lines) == total
    assert sum(Decimal(str(cost)) for cost in record["stages"].values()) == total
    rows = list(csv.DictReader(io.StringIO(files["costs.csv"].decode(), newline="")))
    assert sum(Decimal(row["cost"]) for row in rows) == total
    for stage, cost in record["stages"].items():
        assert sum(Decimal(row["cost"]) for row in rows if row["stage"] == stage) == Decimal(str(cost))
    page = files["job-pack.html"].decode()
    assert f"{total:.2f}" in page
    return total


def test_what_is_shown_adds_up() -> None:
    assert adds_up(pack_files(sample_result(JOB, read_prices(PRICES)))) == Decimal("1982.93")


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.integers(0, 99_999), min_size=9, max_size=9),
    st.floats(0.0, 0.9),
    st.floats(0.0, 0.9),
    st.floats(0.0, 3.0),
)
def test_whatever_the_prices_it_adds_up(cents: list[int], overhead: float, contingency: float, hours: float) -> None:
    items = [row.split(",")[0] for row in PRICES.splitlines()[1:10]]
    units = [row.split(",")[2:4] for row in PRICES.splitlines()[1:10]]
    text = "item,contents,unit,price\n" + "".join(
        f"{item},{contents},{unit},{price / 100:.2f}\n"
        for item, (contents, unit), price in zip(items, units, cents, strict=True)
        if item != "paint"
    )
    job = replace(JOB, cost=Cost((Labour("laminate", hours),), overhead, contingency))
    sheet = sample_result(job, read_prices(text + "labour,1,h,31.07\n")).cost
    assert sheet is not None
    assert sheet.total == sum(Decimal(str(line.cost)) for line in sheet.lines if line.cost is not None)
    assert sum(sheet.stages.values()) == sheet.total
    for stage, cost in sheet.stages.items():
        assert sum(piece[stage] for piece in sheet.pieces) == cost
    assert sheet.unpriced == ("paint",)


def test_names_that_match_nothing_and_items_without_price_are_said() -> None:
    prices = read_prices("item,contents,unit,price\npaint,5,kg,40\ngold leaf,1,m2,3\n", "mine.csv")
    sheet = sample_result(JOB, prices).cost
    assert sheet is not None
    assert sheet.unused == ("gold leaf",)
    assert "resin" in sheet.unpriced
    assert "labour: cutting" in sheet.unpriced
    warning, note = check_prices(sheet, prices)
    assert (warning.severity.value, note.severity.value) == ("warning", "note")
    assert "resin" in warning.message
    assert "gold leaf" in note.message
    assert check_prices(sheet, None) == []


def test_without_prices_there_are_quantities_and_no_cost() -> None:
    result = sample_result(JOB)
    assert result.cost is not None
    assert result.cost.total is None
    assert all(line.cost is None for line in result.takeoff)
    files = pack_files(result)
    assert "costs.csv" not in files
    assert json.loads(files["job.json"])["cost"] is None
    assert "No prices are known" in files["job-pack.html"].decode()


def test_the_take_off_is_the_sum_of_its_pieces_before_rounding() -> None:
    result = run_job(rock(4, 2), Job(), [Plane((0.1, 0.0, 0.0), (1.0, 0.2, 0.1)), Plane((0.0, 0.0, 0.1), (0, 0.1, 1))])
    half = dict.fromkeys([p.mark for p in result.pieces], 0.0)
    for contact in result.contacts:
        half[contact.piece_a] += contact.visible_length / 2.0
        half[contact.piece_b] += contact.visible_length / 2.0
    assert result.cost is not None
    sums: dict[str, float] = {}
    for piece in result.pieces:
        for need in piece_needs(piece.figures, half[piece.mark], result.job):
            sums[need.item] = sums.get(need.item, 0.0) + next(iter(need.measures.values()))
    rest = result.carving_volume - sum(p.figures.volume for p in result.pieces)
    sums["foam billet"] += rest / float(np.prod(result.job.foam.billet))
    sums["adhesive"] += rest / result.job.foam.billet[2]
    from seamwright.core.skin.stock import USUAL

    contents = {"foam billet": 1.0, "adhesive": USUAL["adhesive"].contents, "touch-up": USUAL["touch-up"].contents}
    for line in result.takeoff:
        if line.item in contents:
            assert line.net_quantity * contents[line.item] == pytest.approx(sums[line.item], rel=1e-9)
        elif line.item not in ("paint", "barrier foil"):
            kind = {"resin": "resin", "catalyst": "catalyst", "cement coat": "coat"}.get(line.item, "glass")
            assert line.net_quantity * USUAL[kind].contents == pytest.approx(sums[line.item], rel=1e-9)


def test_a_change_of_joints_shows_in_the_cost() -> None:
    prices = read_prices(PRICES)
    one, two = (
        run_job(box((2.0, 1.0, 1.0)), JOB, [Plane((x, 0.0, 0.0), (1.0, 0.0, 0.0)) for x in places], prices=prices)
        for places in ((1.0,), (0.7, 1.4))
    )
    assert one.cost is not None
    assert two.cost is not None
    # One joint more: 2 m2 of joint face to cut, 0.5 h each at 32.15.
    assert two.cost.stages["cutting"] - one.cost.stages["cutting"] == Decimal("32.15")
    assert two.cost.total is not None
    assert one.cost.total is not None
    assert two.cost.total > one.cost.total
