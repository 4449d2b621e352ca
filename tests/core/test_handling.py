# SPDX-License-Identifier: GPL-3.0-or-later
"""Carrying, standing, wind and turning over, on pieces whose answers are plain."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pack_sample import bar
from seamwright.core.handling import check_handling, handle, measure_finished, measure_piece
from seamwright.core.handling.carry import ELBOW_ROOM, plan_carry, turn_over
from seamwright.core.handling.standing import FRICTION, GRAVITY, stand, wind_force
from seamwright.core.job import Job, Layer, Skin
from seamwright.core.mesh.mesh import Mesh
from shapes import box, icosphere, moved, rock, turned

OBLONG = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 0.8], [0.0, 0.8]])


def on_base(mesh: Mesh) -> Mesh:
    low = mesh.vertices[:, 2].min()
    return Mesh(mesh.vertices, mesh.triangles, np.where((mesh.corners()[:, :, 2] == low).all(axis=1), 2, 0))


def limited(**changes: object) -> Job:
    return replace(Job(), limits=replace(Job().limits, **changes))


def test_one_bears_it_all_and_nobody_nothing() -> None:
    one = plan_carry(OBLONG, (1.0, 0.4, 0.3), 20.0, 1)
    assert (one.people, one.worst, one.apart) == (1, 20.0, math.inf)
    none = plan_carry(OBLONG, (1.0, 0.4, 0.3), 20.0, 0)
    assert (none.people, none.worst, len(none.places)) == (0, 0.0, 0)


@pytest.mark.parametrize("people", [2, 3, 4])
def test_a_piece_that_balances_in_its_middle_is_borne_alike(people: int) -> None:
    plan = plan_carry(OBLONG, (1.0, 0.4, 0.3), 36.0, people)
    assert plan.shares == pytest.approx(np.full(people, 36.0 / people), rel=0.02)
    assert plan.apart >= ELBOW_ROOM - 1e-9


def test_two_bear_by_the_lever() -> None:
    plan = plan_carry(OBLONG, (0.5, 0.4, 0.3), 40.0, 2)
    (a, b), c = plan.places, np.array([0.5, 0.4])
    assert abs(np.cross(a - c, b - c)) < 1e-9  # on a line through the balance
    first = 40.0 * np.linalg.norm(b - c) / np.linalg.norm(a - b)
    assert plan.shares == pytest.approx([first, 40.0 - first], rel=1e-9)


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.tuples(st.floats(0.0, 3.0), st.floats(0.0, 2.0)), min_size=4, max_size=20),
    st.floats(0.05, 0.95),
    st.floats(0.05, 0.95),
    st.integers(1, 4),
)
def test_forces_and_moments_balance(rows: list[tuple[float, float]], u: float, v: float, people: int) -> None:
    points = np.array([*rows, (0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (0.0, 2.0)])
    centre = (3.0 * u, 2.0 * v, 0.5)
    plan = plan_carry(points, centre, 30.0, people)
    assert plan.shares.sum() == pytest.approx(30.0, rel=1e-9)
    assert plan.shares @ plan.places == pytest.approx(30.0 * np.array(centre[:2]), abs=1e-7)
    assert plan.apart >= ELBOW_ROOM - 1e-9
    # On the outline seen from above.
    x, y = plan.places.T
    if people > 1:
        assert np.minimum.reduce([x, 3.0 - x, y, 2.0 - y]) == pytest.approx(np.zeros(people), abs=1e-9)


def test_no_elbow_room_is_said() -> None:
    small = on_base(box((0.3, 0.3, 2.0)))
    heavy = replace(limited(), foam=replace(Job().foam, density=150.0), skin=Skin(layers=()))
    figures = measure_finished(small, heavy)
    handled = handle(small, figures, heavy)
    assert figures.crew == 2
    assert handled.carry.apart < ELBOW_ROOM
    found = {f.check: f for f in check_handling("4", figures, handled, heavy)}
    assert found["hands"].measured == handled.carry.apart
    assert found["hands"].severity.value == "note"


def test_a_box_tilts_by_half_its_width_over_half_its_height() -> None:
    standing = stand(on_base(box((2.0, 0.5, 1.2))), (1.0, 0.25, 0.6), 30.0)
    assert standing.on_base
    assert standing.tilt == pytest.approx(math.atan2(0.25, 0.6), rel=1e-12)
    assert sorted(standing.footprint.tolist()) == [[0.0, 0.0], [0.0, 0.5], [2.0, 0.0], [2.0, 0.5]]
    assert standing.floor == 0.0
    nearer = stand(on_base(box((2.0, 0.5, 1.2))), (1.0, 0.4, 0.6), 30.0)
    assert nearer.tilt == pytest.approx(math.atan2(0.1, 0.6), rel=1e-12)
    assert nearer.edge[:, 1].tolist() == [0.5, 0.5]


def test_what_leans_over_its_base_falls_by_itself() -> None:
    standing = stand(on_base(box((1.0, 1.0, 1.0))), (1.2, 0.5, 0.5), 10.0)
    assert standing.tilt == pytest.approx(math.atan2(-0.2, 0.5), rel=1e-9)
    assert standing.tips == 0.0


@pytest.mark.parametrize("mesh", [icosphere(3, 0.5), moved(box(), turned((1.0, 0.0, 0.0), math.pi / 4.0))])
def test_on_a_point_or_an_edge_nothing_stands(mesh: Mesh) -> None:
    standing = stand(mesh, (0.0, 0.0, 0.0), 10.0)
    assert not standing.on_base
    assert len(standing.footprint) < 3
    assert standing.tilt <= 0.0
    assert standing.tips == 0.0


def test_wind_on_a_board_by_the_plain_formula() -> None:
    """A board of 2.0 x 0.5 x 1.2 m, 30 kg: tips over its long side, slides the way that shows it broadest."""
    board = on_base(box((2.0, 0.5, 1.2)))
    standing = stand(board, (1.0, 0.25, 0.6), 30.0)
    tips = math.sqrt(30.0 * GRAVITY * 0.25 / (wind_force(2.0 * 1.2, 1.0) * 0.6))
    assert standing.tips == pytest.approx(tips, rel=1e-9)
    broadest = math.hypot(2.0, 0.5) * 1.2
    slides = math.sqrt(FRICTION * 30.0 * GRAVITY / wind_force(broadest, 1.0))
    assert standing.slides == pytest.approx(slides, rel=2e-3)
    assert standing.slides >= slides * (1.0 - 1e-9)
    heavier = stand(board, (1.0, 0.25, 0.6), 120.0)
    assert heavier.tips == pytest.approx(2.0 * standing.tips, rel=1e-12)


def test_turning_over_needs_its_diagonal() -> None:
    turning = turn_over(OBLONG, (1.0, 0.3, 0.5), 40.0, np.array([0.8, 1.0, 0.0]))
    assert turning.headroom == pytest.approx(math.hypot(0.8, 1.0))
    assert turning.lift == pytest.approx(40.0 * 0.3 / 0.8)


def test_balance_counts_the_skin() -> None:
    """A cube whose top alone is coated as heavily as its foam: it balances half way between middle and top."""
    mesh = box()
    kind = np.full(12, 3)
    kind[2:4] = 0  # the top
    coat = Layer("coat", mass=15.0, faces=("carved",))
    job = replace(Job(), skin=Skin(layers=(coat,), bridging=0.0))
    figures = measure_finished(Mesh(mesh.vertices, mesh.triangles, kind), job)
    assert figures.centroid == pytest.approx((0.5, 0.5, 0.5))
    assert figures.balance == pytest.approx((0.5, 0.5, 0.75), rel=1e-12)
    turned_in = replace(job, skin=Skin(layers=(replace(coat, edge_return=0.1),), bridging=0.0))
    lower = measure_finished(Mesh(mesh.vertices, mesh.triangles, kind), turned_in)
    assert lower.returns == pytest.approx((0.4,), rel=1e-3)
    assert lower.skin_mass == pytest.approx(15.0 * 1.4, rel=1e-3)
    assert lower.balance == pytest.approx((0.5, 0.5, (0.5 + 1.4) / 2.4), rel=1e-3)


def test_quick_and_exact_figures_agree_but_for_corners() -> None:
    piece = bar(2.4, 1.0, (True, True))
    quick, exact = measure_piece(piece, Job()), measure_finished(piece, Job())
    assert quick.returns[1] == pytest.approx(2.0 * 3.0 * 0.05 + 2.0 * 2.4 * 0.05)
    assert exact.returns[1] == pytest.approx(2.0 * 0.145 + 0.24, rel=1e-4)
    assert exact.finished_mass < quick.finished_mass < exact.finished_mass * 1.005
    assert quick.areas == exact.areas
    assert quick.centre == ()
    assert quick.balance == quick.centroid


def test_shares_of_the_covering_area_weigh() -> None:
    piece = bar(2.0, 0.0, (False, False))
    shares = np.where(piece.kind == 0, 0.5, 1.0)
    job = replace(Job(), skin=Skin(layers=(Layer("coat", mass=2.0, faces=("carved", "base")),)))
    figures = measure_finished(piece, job, shares)
    assert figures.covered == pytest.approx((0.5 * 8.0, 0.0, 2.0, 0.0))
    assert figures.skin_mass == pytest.approx(2.0 * 6.0)
    assert measure_piece(piece, job).covered == pytest.approx((8.0, 0.0, 2.0, 0.0))


def checks(mesh: Mesh, job: Job) -> dict[str, str]:
    figures = measure_finished(mesh, job)
    found = check_handling("9", figures, handle(mesh, figures, job), job)
    assert len({f.check for f in found}) == len(found)
    assert all(f.piece == "9" and f.remedy and f.measured is not None for f in found)
    return {f.check: f.severity.value for f in found}


def test_checks_say_which_rule() -> None:
    bare = replace(limited(), skin=Skin(layers=(), place=("indoors",)))
    assert checks(on_base(box((0.8, 0.6, 0.5))), bare) == {}
    thin = on_base(box((0.9, 0.1, 1.8)))
    assert checks(thin, bare) == {"tipping": "warning"}
    assert checks(icosphere(3, 0.3), bare) == {"tipping": "note"}
    outdoors = replace(bare, skin=Skin(layers=(), place=("outdoors",)))
    assert checks(on_base(box((0.8, 0.6, 0.5))), outdoors) == {"wind": "note"}
    heavy = replace(bare, foam=replace(Job().foam, density=100.0))
    assert checks(on_base(box((0.8, 0.5, 0.5))), heavy) == {"weight_filter": "note", "lifting": "note"}
    four = replace(bare, foam=replace(Job().foam, density=60.0))
    figures = measure_finished(on_base(box((1.5, 0.7, 0.7))), four)
    handled = handle(on_base(box((1.5, 0.7, 0.7))), figures, four)
    assert figures.crew == 4
    filtered = next(f for f in check_handling("9", figures, handled, four) if f.check == "weight_filter")
    assert "no published factor: it stops at 3" in filtered.message
    over = replace(bare, foam=replace(Job().foam, density=180.0))
    assert checks(on_base(box((1.5, 0.7, 0.7))), over)["person_lift"] == "note"


def test_handling_of_a_rock_is_repeatable_and_in_plain_numbers() -> None:
    piece = rock(4, 3)
    figures = measure_finished(piece, Job())
    first, second = (handle(piece, figures, Job()) for _ in range(2))
    assert first.carry.places.tobytes() == second.carry.places.tobytes()
    assert first.standing.tilt == second.standing.tilt
    assert type(first.standing.tips) is float
    assert type(first.turning.lift) is float
