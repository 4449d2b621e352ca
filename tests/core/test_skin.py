# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from seamwright.core.job import Job, Layer, Skin
from seamwright.core.skin import gap_width, rim_depth, skin_depth, skin_mass, take_off

FOIL = Layer("foil", mass=0.2, thickness=0.0001, faces=("carved", "joint", "base", "back"))
WRAP = Layer("wrap", density=1500.0, thickness=0.003, faces=("carved",), edge_return=0.05)
INNER = Layer("inner", density=1500.0, thickness=0.001, faces=("joint",))
PAINT = Layer("paint", mass=0.4, faces=("carved",))
MAT = Layer("mat", glass=0.5, resin_ratio=2.0, faces=("back",))


def skinned(*layers: Layer) -> Job:
    return replace(Job(), skin=Skin(layers=layers))


def test_each_layer_weighs_on_its_own_faces_only() -> None:
    job = skinned(FOIL, WRAP, INNER, PAINT, MAT)
    per_face = [skin_mass(row, job) for row in np.eye(4)]
    assert per_face == pytest.approx([0.2 + 4.5 + 0.4, 0.2 + 1.5, 0.2, 0.2 + 1.5], rel=1e-12)
    assert skin_mass((2.0, 3.0, 5.0, 7.0), job) == pytest.approx(float(np.dot(per_face, (2, 3, 5, 7))), rel=1e-12)


def test_no_layers_is_bare_foam() -> None:
    job = skinned()
    assert skin_mass((1.0, 1.0, 1.0, 1.0), job) == 0.0
    assert skin_depth(job, "carved") == 0.0
    assert gap_width(job) == pytest.approx(job.joints.fit, rel=1e-12)


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


def test_take_off_has_foam_then_each_layer_with_glass_and_resin_apart() -> None:
    lines = take_off((10.0, 4.0, 2.0, 3.0), 1.0, skinned(FOIL, WRAP, PAINT, MAT))
    assert [(line.item, line.unit) for line in lines] == [
        ("foam billet", "billet"),
        ("foil", "m2"),
        ("wrap", "kg"),
        ("paint", "kg"),
        ("mat: glass", "kg"),
        ("mat: resin", "kg"),
    ]
    assert [line.net_quantity for line in lines[1:]] == pytest.approx([19.0, 45.0, 4.0, 1.5, 3.0], rel=1e-12)
    for line in lines[1:]:
        assert line.order_quantity == pytest.approx(line.net_quantity * (1.0 + line.waste), rel=1e-12)
    assert all(line.unit_price is None and line.cost is None for line in lines)
    assert "edge return of 50 mm not counted" in lines[2].basis
    assert "no source" in lines[4].basis


def test_skin_of_the_take_off_weighs_what_the_pieces_carry() -> None:
    areas = (10.0, 4.0, 2.0, 3.0)
    job = skinned(WRAP, PAINT, MAT)
    net = sum(line.net_quantity for line in take_off(areas, 1.0, job) if line.unit == "kg")
    assert net == pytest.approx(skin_mass(areas, job), rel=1e-12)


@pytest.mark.parametrize(("share", "order"), [(0.0, 0), (0.2, 1), (1.0, 1), (3.0, 3), (3.0001, 4)])
def test_billets_are_whole_and_said_to_be_a_lower_bound(share: float, order: int) -> None:
    job = Job()
    foam = take_off((0.0, 0.0, 0.0, 0.0), share * float(np.prod(job.foam.billet)), job)[0]
    assert foam.net_quantity == pytest.approx(share, rel=1e-12)
    assert foam.order_quantity == order
    assert "lower bound" in foam.basis
