# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from seamwright.core.errors import InputError
from seamwright.core.job import Job, Layer, Skin
from seamwright.core.skin import gap_width, order_lines, read_prices, rim_depth, skin_depth, skin_mass, skin_needs
from seamwright.core.skin.fire import fire_questions
from seamwright.core.skin.needs import adhesive_need, foam_need, touch_up_need
from seamwright.core.skin.schedules import SCHEDULES
from seamwright.core.skin.stock import Stock

FOIL = Layer("foil", mass=0.2, thickness=0.0001, faces=("carved", "joint", "base", "back"))
WRAP = Layer("wrap", density=1500.0, thickness=0.003, faces=("carved",), edge_return=0.05)
INNER = Layer("inner", density=1500.0, thickness=0.001, faces=("joint",))
PAINT = Layer("paint", mass=0.4, faces=("carved",))
MAT = Layer("mat", glass=0.5, resin_ratio=2.0, faces=("back",))
CLOTH = Layer("cloth", glass=0.2, resin_ratio=1.5, faces=("carved",))

AREAS = (10.0, 4.0, 2.0, 3.0)


def skinned(*layers: Layer) -> Job:
    return replace(Job(), skin=Skin(layers=layers))


def test_each_layer_weighs_on_its_own_faces_only() -> None:
    job = skinned(FOIL, WRAP, INNER, PAINT, MAT)
    per_face = [skin_mass(row, job) for row in np.eye(4)]
    assert per_face == pytest.approx([0.2 + 4.5 + 0.4, 0.2 + 1.5, 0.2, 0.2 + 1.5], rel=1e-12)
    assert skin_mass((2.0, 3.0, 5.0, 7.0), job) == pytest.approx(float(np.dot(per_face, (2, 3, 5, 7))), rel=1e-12)


def test_edge_returns_weigh_what_their_layer_weighs() -> None:
    job = skinned(FOIL, WRAP, PAINT)
    bare = skin_mass(AREAS, job)
    assert skin_mass(AREAS, job, (0.0, 0.7, 0.0)) == pytest.approx(bare + 0.7 * 4.5, rel=1e-12)


def test_no_layers_is_bare_foam() -> None:
    job = skinned()
    assert skin_mass((1.0, 1.0, 1.0, 1.0), job) == 0.0
    assert skin_depth(job, "carved") == 0.0
    assert gap_width(job) == pytest.approx(job.joints.fit, rel=1e-12)
    assert skin_needs(AREAS, (), job) == ()


def test_depth_adds_layers_of_that_face() -> None:
    job = skinned(FOIL, WRAP, INNER, PAINT)
    assert skin_depth(job, "carved") == pytest.approx(0.0031, rel=1e-12)
    assert skin_depth(job, "joint") == pytest.approx(0.0011, rel=1e-12)
    assert skin_depth(job, "base") == pytest.approx(0.0001, rel=1e-12)


def test_rim_counts_edge_returns_once() -> None:
    assert rim_depth(skinned(FOIL, WRAP, INNER)) == pytest.approx(0.0001 + 0.003 + 0.001, rel=1e-12)
    both = replace(WRAP, faces=("carved", "joint"))
    assert rim_depth(skinned(both)) == pytest.approx(0.003, rel=1e-12)
    flat = replace(WRAP, edge_return=0.0)
    assert rim_depth(skinned(FOIL, flat, INNER)) == pytest.approx(0.0011, rel=1e-12)


@pytest.mark.parametrize(("kerf", "expected"), [(0.003, 0.0132), (0.0131, 0.0132), (0.02, 0.02)])
def test_gap_is_the_larger_of_kerf_and_fit_with_skin(kerf: float, expected: float) -> None:
    job = replace(skinned(FOIL, WRAP, INNER), foam=replace(Job().foam, kerf=kerf))
    assert gap_width(job) == pytest.approx(expected, rel=1e-12)
    growing = replace(job, joints=replace(job.joints, allowance="grow"))
    assert gap_width(growing) == kerf


def test_needs_by_layer_with_resin_and_catalyst_once() -> None:
    job = skinned(FOIL, WRAP, CLOTH, PAINT, MAT)
    needs = skin_needs(AREAS, (0.0, 1.0, 0.0, 0.0, 0.0), job)
    assert [need.item for need in needs] == [
        "foil",
        "wrap",
        "cloth: glass",
        "paint",
        "mat: glass",
        "resin",
        "catalyst",
    ]
    kg = [need.measures["kg"] for need in needs]
    assert kg == pytest.approx([3.8, 49.5, 2.0, 4.0, 1.5, 2.0 * 1.5 + 1.5 * 2.0, 0.02 * 6.0], rel=1e-12)
    assert "1 m2 of it edge return of 50 mm" in needs[1].basis
    assert "16 to 20 C" in needs[-1].basis


def test_needs_weigh_what_the_skin_weighs() -> None:
    job, returns = skinned(FOIL, WRAP, PAINT, MAT), (0.0, 1.3, 0.0, 0.0)
    kg = sum(need.measures["kg"] for need in skin_needs(AREAS, returns, job) if need.kind != "catalyst")
    assert kg == pytest.approx(skin_mass(AREAS, job, returns), rel=1e-12)


def test_without_a_list_things_are_sold_as_is_usual_and_have_no_price() -> None:
    lines = order_lines(skin_needs(AREAS, (0.0,) * 5, skinned(FOIL, WRAP, CLOTH, PAINT, MAT)))
    assert [(line.unit, line.order_quantity) for line in lines] == [
        ("roll", 1.0),
        ("bag", 2.0),
        ("roll", 1.0),
        ("tin", 1.0),
        ("roll", 1.0),
        ("drum", 1.0),
        ("bottle", 1.0),
    ]
    assert all(line.unit_price is None and line.cost is None for line in lines)
    assert all("no source" in line.basis for line in lines)


def test_resin_is_wasted_with_its_glass_each_by_its_share() -> None:
    prices = read_prices(
        "item,contents,unit,price,waste\ncloth: glass,1,kg,1,0.1\nmat: glass,1,kg,1,0.4\nresin,1,kg,1,0\n"
    )
    lines = order_lines(skin_needs(AREAS, (0.0, 0.0), skinned(CLOTH, MAT)), prices)
    resin = next(line for line in lines if line.item == "resin")
    assert resin.waste == pytest.approx((3.0 * 0.1 + 3.0 * 0.4) / 6.0, rel=1e-12)
    assert resin.order_quantity == 8.0  # 7.5


def test_rolls_lap_and_paint_covers() -> None:
    prices = read_prices(
        "item;sold_as;contents;unit;price_EUR;waste;width_m;overlap_m;coverage_m2;coats\r\n"
        "foil;roll;10;m2;5.50;0.1;1;0.2;;\r\n"
        "Paint ;tin;5;l;9;0;;;4;3\r\n"
    )
    assert prices.currency == "EUR"
    foil, paint = order_lines(skin_needs(AREAS, (0.0, 0.0), skinned(FOIL, PAINT)), prices)
    assert foil.net_quantity == pytest.approx(1.9, rel=1e-12)
    assert foil.waste == pytest.approx(1.1 / 0.8 - 1.0, rel=1e-12)
    assert (foil.order_quantity, foil.cost) == (3.0, 16.5)
    assert paint.net_quantity == pytest.approx(10.0 * 3 / 4.0 / 5.0, rel=1e-12)
    assert (paint.order_quantity, paint.cost) == (2.0, 18.0)


@pytest.mark.parametrize(("share", "order"), [(0.0, 0), (0.2, 1), (1.0, 1), (3.0, 3), (3.0001, 4)])
def test_billets_are_whole_and_said_to_be_a_lower_bound(share: float, order: int) -> None:
    job = Job()
    (foam,) = order_lines([foam_need(share * float(np.prod(job.foam.billet)), job)])
    assert foam.net_quantity == pytest.approx(share, rel=1e-12)
    assert (foam.order_quantity, foam.unit) == (order, "billet")
    assert "lower bound" in foam.basis


def test_adhesive_and_touch_up() -> None:
    glue, kit = order_lines([adhesive_need(6.1, Job()), touch_up_need(23.0)])
    assert (glue.net_quantity, glue.order_quantity, glue.unit) == (pytest.approx(1.0), 1.0, "can")
    assert (kit.net_quantity, kit.order_quantity, kit.unit) == (pytest.approx(2.3), 3.0, "kit")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("item,price\n", "contents is missing"),
        ("item,contents,unit,price,colour\n", 'unknown column "colour"'),
        ("item,contents,unit,price,price_EUR\n", "stands there twice"),
        ("item,contents,unit,price\nfoil,50,m2,abc\n", 'row 2: price is "abc"'),
        ("item;contents;unit;price\nfoil;50;m2;12,50\n", "the decimal sign is a dot"),
        ("item,contents,unit,price\nfoil,50,m2,-3\n", 'price is "-3"'),
        ("item,contents,unit,price\nfoil,50,m2,nan\n", 'price is "nan"'),
        ("item,contents,unit,price\nfoil,0,m2,3\n", "has no contents"),
        ("item,contents,unit,price\nfoil,50,furlong,3\n", 'has the unit "furlong"'),
        ("item,contents,unit,price\n,50,m2,3\n", "has no item's name"),
        ("item,contents,unit,price\nfoil,50,m2,3\n FOIL ,50,m2,3\n", "row 3"),
        ("item,contents,unit,price\nfoil,50,m2,3,4\n", "5 cells under 4 columns"),
        ("item,contents,unit,price,width_m,overlap_m\nfoil,50,m2,3,1,1\n", "needs a width_m above"),
        ("item,contents,unit,price,coats\nfoil,50,m2,3,1.5\n", "whole number of coats"),
    ],
)
def test_a_bad_price_list_is_refused_with_its_place(text: str, said: str) -> None:
    with pytest.raises(InputError, match=r"mine\.csv") as error:
        read_prices(text, "mine.csv")
    assert said in str(error.value)


def test_what_cannot_be_reckoned_in_the_unit_sold_is_refused() -> None:
    prices = read_prices("item,contents,unit,price\nfoil,50,l,3\n", "mine.csv")
    with pytest.raises(InputError, match='"foil" is sold by l, and is reckoned in kg, m2'):
        order_lines(skin_needs(AREAS, (0.0,), skinned(FOIL)), prices)


def test_an_empty_price_is_not_known() -> None:
    prices = read_prices("item,contents,unit,price\nfoil,50,m2,\n")
    (line,) = order_lines(skin_needs(AREAS, (0.0,), skinned(FOIL)), prices)
    assert (line.unit_price, line.cost) == (None, None)
    assert "no source" not in line.basis


def test_stock_without_laps_has_none() -> None:
    assert Stock("x", "roll", 1.0, "m2", width=1.0).lap == 1.0


def test_fire_is_asked_about_indoors_and_in_public_places_only() -> None:
    def placed(*where: str) -> Job:
        return replace(Job(), skin=replace(Job().skin, place=where))

    assert fire_questions(placed("outdoors"), 150.0) == []
    for where in (("indoors",), ("outdoors", "public"), ("indoors", "public")):
        found = fire_questions(placed(*where), 150.0)
        assert len(found) == 4
        assert {f.check for f in found} == {"fire_rating"}
        assert {f.severity.value for f in found} == {"note"}
        text = " ".join(f.message + f.remedy for f in found)
        assert "No fire class was checked" in text
        assert "paint" in text
        assert "150 kg, holds about 6,000 MJ" in text
        assert not any(word in text.lower() for word in ("passes", "complies", "safe", "is fire"))


def test_ready_schedules_are_skins_of_jobs() -> None:
    assert list(SCHEDULES) == ["outdoor", "indoor", "bare"]
    for schedule in SCHEDULES.values():
        job = replace(Job(), skin=schedule.skin)
        assert Job.from_toml(job.to_toml()) == job
    assert SCHEDULES["outdoor"].skin == Job().skin
    assert SCHEDULES["bare"].skin.layers == ()
    assert fire_questions(replace(Job(), skin=SCHEDULES["indoor"].skin), 150.0)
