# SPDX-License-Identifier: GPL-3.0-or-later
"""Stances, built-in bodies, distances of triangles, sweeps and carving off, against values worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.clearance.boards import gauge_board
from seamwright.core.clearance.body import Key, make_body, straight_way
from seamwright.core.clearance.carve_off import carve_off, vertex_normals
from seamwright.core.clearance.check import Rule, check_body
from seamwright.core.clearance.envelope import block, box_envelope, hull_envelope, vehicle_envelope, wheel_contacts
from seamwright.core.clearance.job_bodies import place_bodies
from seamwright.core.clearance.job_check import check_keep_clear
from seamwright.core.clearance.stance import RIGID, SPRINGS, THREE, stance
from seamwright.core.clearance.triangles import point_distance, triangle_distance
from seamwright.core.errors import JobError
from seamwright.core.findings import Severity
from seamwright.core.job import Job
from seamwright.core.mesh.mass import volume
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import components, edge_report

# reference/trade-values.md section 7: wheelbase 2.9 m, track 1.5 m, front right pad 0.30 m high, the rest 0.
PADS = wheel_contacts(2.9, 1.5)
HEIGHTS = (0.0, 0.3, 0.0, 0.0)
ANGLE = 5e-5  # degrees


def test_equal_springs() -> None:
    """V-T1."""
    (pose,) = stance(PADS, HEIGHTS).poses
    assert pose.model == SPRINGS
    assert np.degrees(pose.pitch) == pytest.approx(2.96094, abs=ANGLE)
    assert np.degrees(pose.roll) == pytest.approx(-5.70302, abs=ANGLE)
    assert np.tan(pose.pitch) == pytest.approx(0.15 / 2.9, abs=5e-8)
    assert pose.misses == pytest.approx((0.075, -0.075, -0.075, 0.075), abs=1e-9)
    assert np.degrees(np.arccos(pose.turn()[2, 2])) == pytest.approx(6.42360, abs=ANGLE)
    assert pose.height == pytest.approx(0.075)


@pytest.mark.parametrize(
    ("centre", "carrying", "pitch", "roll", "hangs"),
    [((0.1, 0.1, 0.5), (0, 1, 2), 0.0, -11.30993, 3), ((-0.1, -0.1, 0.5), (1, 2, 3), 5.90614, 0.0, 0)],
    ids=["V-T2", "V-T3"],
)
def test_rigid_on_three_points(
    centre: tuple[float, float, float], carrying: tuple[int, ...], pitch: float, roll: float, hangs: int
) -> None:
    found = stance(PADS, HEIGHTS, "rigid", centre)
    (pose,) = found.poses
    assert not found.ambiguous
    assert pose.model == RIGID
    assert pose.carrying == carrying
    assert np.degrees([pose.pitch, pose.roll]) == pytest.approx([pitch, roll], abs=ANGLE)
    assert pose.misses[hangs] == pytest.approx(0.3, abs=1e-9)


def test_three_points_are_exact_and_one_pad_may_lie_over_the_plane() -> None:
    """V-T4: on three of the pads the plane passes 0.30 m below the fourth, so a rigid body never takes that stance."""
    (pose,) = stance([PADS[0], PADS[1], PADS[3]], [0.0, 0.3, 0.0]).poses
    assert pose.model == THREE
    assert np.degrees([pose.pitch, pose.roll]) == pytest.approx([5.90614, -11.25143], abs=ANGLE)
    under = pose.height + np.tan(pose.pitch) * PADS[2][0] + np.tan(pose.roll) / np.cos(pose.pitch) * PADS[2][1]
    assert under == pytest.approx(-0.30, abs=1e-9)
    for centre in ((0.5, 0.2, 0.4), (0.5, -0.2, 0.4), (-0.5, 0.2, 0.4), (-0.5, -0.2, 0.4)):
        assert {p.carrying for p in stance(PADS, HEIGHTS, "rigid", centre).poses} <= {(0, 1, 2), (1, 2, 3)}


@pytest.mark.parametrize("height", [0.0, 0.6])
def test_a_centre_on_the_diagonal_is_said_to_be_ambiguous(height: float) -> None:
    """V-T5. With the centre higher up either stance leans over itself, so both stand."""
    found = stance(PADS, HEIGHTS, "rigid", (0.0, 0.0, height))
    assert found.ambiguous
    assert [pose.carrying for pose in found.poses] == [(0, 1, 2), (1, 2, 3)]
    assert "does not decide" in found.text


def test_pads_in_one_plane_need_no_model() -> None:
    for model in ("springs", "rigid"):
        (pose,) = stance(PADS, [0.3, 0.3, 0.0, 0.0], model).poses
        assert np.degrees([pose.pitch, pose.roll]) == pytest.approx([5.90614, 0.0], abs=ANGLE)


def test_what_does_not_stand_is_refused() -> None:
    with pytest.raises(JobError, match="in one line"):
        stance([(0, 0), (1, 0), (2, 0)], [0, 0, 0])
    with pytest.raises(JobError, match="tips over"):
        stance(PADS, HEIGHTS, "rigid", (3.0, 0.0, 0.5))
    with pytest.raises(JobError, match="centre of gravity"):
        stance(PADS, HEIGHTS, "rigid")
    with pytest.raises(JobError, match="one for each"):
        stance(PADS, HEIGHTS[:3])


def test_corners_of_the_envelope() -> None:
    """V-T7 and V-T8: a box x +2.40/-2.60, y +/-0.90, z 0 to 1.7 on the equal springs of V-T1."""
    pose = stance(PADS, HEIGHTS).poses[0]
    key = Key((0.0, 0.0, pose.height), 0.0, pose.pitch, pose.roll)
    corner = make_body("box", block((-2.6, -0.9, 0.0), (2.4, 0.9, 1.7)), key).standing().vertices
    by_hand = {7: (2.3140, 1.0645, 1.7990), 5: (2.3048, -0.7266, 1.9776), 2: (-2.5919, 0.8955, -0.1486)}
    for k, place in by_hand.items():
        assert corner[k] == pytest.approx(place, abs=5e-5)
    # The other five, worked out with the direction cosines written out.
    p, r = pose.pitch, pose.roll
    for k in range(8):
        x, y, z = (2.4 if k & 1 else -2.6), (0.9 if k & 2 else -0.9), (1.7 if k & 4 else 0.0)
        side, up = y * np.cos(r) - z * np.sin(r), y * np.sin(r) + z * np.cos(r)
        expected = x * np.cos(p) - up * np.sin(p), side, 0.075 + x * np.sin(p) + up * np.cos(p)
        assert corner[k] == pytest.approx(expected, abs=1e-12)
    assert corner.min(axis=0) == pytest.approx([-2.6885, -0.8955, -0.1486], abs=5e-5)
    assert corner.max(axis=0) == pytest.approx([2.4014, 1.0645, 1.9776], abs=5e-5)


def test_built_in_bodies_are_closed_and_as_large_as_stated() -> None:
    hull = hull_envelope((4.0, 1.2, 0.5))
    car = vehicle_envelope((4.6, 1.9, 1.6), 2.9, 1.5, 0.8, 0.2)
    for mesh, size in (
        (box_envelope((2.0, 1.0, 3.0)), (2.0, 1.0, 3.0)),
        (hull, (4.0, 1.2, 0.5)),
        (car, (4.6, 1.9, 1.6)),
    ):
        assert edge_report(mesh.triangles).closed
        assert volume(mesh) > 0.0
        assert mesh.size == pytest.approx(size)
    assert car.vertices[:, 0].max() == pytest.approx(1.45 + 0.8)
    assert len(np.unique(components(car.triangles))) == 5
    # Half an ellipse of beam b f and depth d sqrt f, f = 1 - s^2: pi/4 b d f^1.5 over the length, exactly 3 pi / 8 of
    # half the length; 32 stations and 16 ribs fall short of it by 1.5 % at most.
    exact = np.pi / 4.0 * 1.2 * 0.5 * 2.0 * 3.0 * np.pi / 8.0
    assert volume(hull) == pytest.approx(exact, rel=0.015)
    with pytest.raises(JobError, match="longer together than the vehicle"):
        vehicle_envelope((3.0, 1.9, 1.6), 2.9, 1.5, 0.8, 0.2)


def test_triangles_against_a_dense_grid_of_points() -> None:
    rng = np.random.default_rng(0)
    count = 300
    one, two = rng.normal(size=(2, 3, 3, count))
    two[:, :, : count // 2] += rng.normal(size=(3, 1, count // 2)) * 2.0
    two[:, 2, ::10] = two[:, 1, ::10]  # without area
    apart, here, there = triangle_distance(one, two)
    assert np.linalg.norm(here - there, axis=0) == pytest.approx(apart, abs=1e-12)
    share = np.array([(a, b) for a in range(41) for b in range(41 - a)]).T / 40.0
    weight = np.stack([1.0 - share.sum(axis=0), *share])
    points = np.einsum("xcn,ck->xkn", one, weight)
    dense = np.stack([point_distance(points[:, k], two)[0] for k in range(points.shape[1])]).min(axis=0)
    longest = np.linalg.norm(one - np.roll(one, 1, axis=1), axis=0).max(axis=0)
    assert (dense >= apart - 1e-12).all()
    assert (dense <= apart + longest / 40.0).all()
    assert 0 < (apart == 0.0).sum() < count


def test_points_over_face_edge_and_corner() -> None:
    triangle = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [0.0, 0.0, 0.0]])[:, :, None].repeat(3, axis=2)
    points = np.array([[0.25, 0.5, -3.0], [0.25, -2.0, -4.0], [2.0, 0.0, 0.0]])
    apart, foot = point_distance(points, triangle)
    assert apart == pytest.approx([2.0, 2.0, 5.0])
    assert foot.T == pytest.approx(np.array([[0.25, 0.25, 0.0], [0.5, 0.0, 0.0], [0.0, 0.0, 0.0]]))


def grid_block(low: tuple[float, float, float], high: tuple[float, float, float], step: float) -> Mesh:
    """A closed block of about `step` large triangles."""
    mesh = block(low, high)
    rounds = int(np.ceil(np.log2(max(np.subtract(high, low)) / step)))
    for _ in range(rounds):
        t, v = mesh.triangles, mesh.vertices
        edges = np.sort(np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]]), axis=1)
        unique, row = np.unique(edges, axis=0, return_inverse=True)
        a, b, c = row.reshape(3, -1) + len(v)
        triangles = np.concatenate(
            [np.stack(q, axis=1) for q in ((t[:, 0], a, c), (a, t[:, 1], b), (c, b, t[:, 2]), (a, b, c))]
        )
        mesh = Mesh(np.concatenate([v, v[unique].mean(axis=1)]), triangles)
    return mesh


def test_a_box_between_walls_has_the_room_that_arithmetic_gives() -> None:
    """Corridor 2.1 m wide, a box 1.8 m wide 0.1 m left of its middle: 0.05 m and 0.25 m are left."""
    walls = [("l", block((-1.0, 1.05, 0.0), (9.0, 1.3, 2.0))), ("r", block((-1.0, -1.3, 0.0), (9.0, -1.05, 2.0)))]
    rest = Key((2.0, 0.1, 0.2))
    body = make_body("box", box_envelope((3.0, 1.8, 1.0)), rest, straight_way(rest, -6.0))
    found = check_body(walls, body, Rule(0.05, 0.0, (0.04, 0.06), 0.3))
    left, right = (piece.sweep for piece in found.pieces)
    assert left is not None
    assert right is not None
    assert (left.distance, right.distance) == pytest.approx((0.05, 0.25), abs=1e-12)
    assert found.aside == pytest.approx((0.05, 0.25), abs=0.002)
    assert found.fit_share == pytest.approx(0.5, abs=0.01)
    # Sideways error, bounce and roll: 0.05 - 0.02; a floor of its own; roll 0.01 at 0.9 m and 1 m from the origin.
    strayed = make_body("box", box_envelope((3.0, 1.8, 1.0)), rest, straight_way(rest, -6.0), side=0.02)
    assert check_body(walls, strayed, Rule(), False).pieces[0].sweep.distance == pytest.approx(0.03, abs=1e-9)
    floor = [("f", block((-9.0, -3.0, -0.5), (19.0, 3.0, 0.1)))]
    bounced = make_body("box", box_envelope((3.0, 1.8, 1.0)), rest, bounce=0.03)
    assert check_body(floor, bounced, Rule()).pieces[0].sweep.distance == pytest.approx(0.07, abs=1e-9)
    rolled = make_body("box", box_envelope((3.0, 1.8, 1.0)), rest, roll=0.01)
    expected = 0.1 - 0.9 * np.sin(0.01)
    assert check_body(floor, rolled, Rule()).pieces[0].sweep.distance == pytest.approx(expected, abs=0.001)


def test_the_low_side_is_told() -> None:
    wall = [("w", block((-3.0, 2.0, 0.0), (3.0, 2.2, 2.0)))]
    rest = Key((0.0, 0.0, 0.2), 0.0, 0.0, np.radians(10.0))
    body = make_body("box", box_envelope((2.0, 1.0, 1.0)), rest, straight_way(rest, 2.0))
    found = check_body(wall, body, Rule())
    assert found.downhill == "right"  # the left side is up
    left, right = found.aside
    lean = 0.5 * np.cos(rest.roll)  # the lower left edge is the leftmost
    assert left is None or left == pytest.approx(2.0 - lean, abs=0.002)
    assert right is None


def test_depth_to_carve_off_is_what_stands_too_near() -> None:
    """A wall 0.03 m from a box that wants 0.05 m, and a rib that reaches 0.02 m into the box."""
    wall = grid_block((-0.8, 1.03, 0.0), (0.8, 1.53, 1.0), 0.02)
    body = make_body("box", box_envelope((1.0, 2.0, 0.6)), Key((0.0, 0.0, 0.2)))
    found = carve_off(wall, [body], 0.05)
    assert found.deepest == pytest.approx(0.02, abs=0.001)
    face = np.isclose(wall.vertices[:, 1], 1.03)
    over = np.abs(wall.vertices[:, [0, 2]] - [0.0, 0.5]) - [0.5, 0.3]
    assert found.depth[face & (over < 0.0).all(1)] == pytest.approx(0.02, abs=0.001)
    past = np.linalg.norm(np.maximum(over, 0.0), axis=1)
    assert found.depth[face] == pytest.approx(np.maximum(0.05 - np.hypot(past[face], 0.03), 0.0), abs=0.001)
    assert (found.depth[~face] == 0.0).all()
    assert found.area == pytest.approx(1.0 * 0.6 + 2.0 * 0.04 * 1.6 + np.pi * 0.04**2, rel=0.1)
    carved = Mesh(wall.vertices - vertex_normals(wall) * found.depth[:, None], wall.triangles)
    again = check_body([("1", carved)], body, Rule()).pieces[0].rest
    assert again is not None
    # Between vertices 25 mm apart the surface runs straight past the rounded end of what was taken off.
    assert again.distance == pytest.approx(0.05, abs=0.003)
    body = make_body("box", box_envelope((1.0, 2.0, 3.0)), Key((0.0, 0.0, -1.0)))
    rib = grid_block((-0.1, 0.98, 0.4), (0.1, 1.4, 0.6), 0.03)
    pushed = carve_off(rib, [body], 0.05)
    tip = np.isclose(rib.vertices[:, 1], 0.98) & (np.abs(rib.vertices[:, [0, 2]] - [0.0, 0.5]) < 0.09).all(1)
    assert tip.any()
    assert pushed.depth[tip] == pytest.approx(0.07, abs=0.001)


def test_a_tip_through_a_wall_is_taken_off_with_its_root() -> None:
    """A hollow box 0.02 m thick: the tip is 0.3 m past the wall, farther from anything than asked, and goes as well."""
    outer, inner = block((-1.0, -1.0, 0.0), (1.0, 1.0, 2.0)), block((-0.98, -0.98, 0.02), (0.98, 0.98, 1.98))
    shell = Mesh(
        np.concatenate([outer.vertices, inner.vertices]),
        np.concatenate([outer.triangles, inner.triangles[:, ::-1] + len(outer.vertices)]),
    )
    spike = grid_block((-0.1, 0.68, 0.9), (0.1, 1.6, 1.1), 0.03)
    found = carve_off(spike, [make_body("shell", shell, Key((0.0, 0.0, 0.0)))], 0.05)
    tip = np.isclose(spike.vertices[:, 1], 0.68) & (np.abs(spike.vertices[:, [0, 2]] - [0.0, 1.0]) < 0.09).all(1)
    assert found.depth[tip] == pytest.approx(1.05 - 0.68, abs=0.001)
    assert (found.depth[spike.vertices[:, 1] > 1.1] == 0.0).all()


def test_a_small_place_in_a_large_triangle_is_found() -> None:
    wall = block((-5.0, 1.0, -5.0), (5.0, 2.0, 5.0))
    peg = make_body("peg", block((-0.01, -0.5, -0.01), (0.01, 0.0, 0.01)), Key((0.3, 0.98, 0.2)))
    found = carve_off(wall, [peg], 0.05)
    assert found.deepest == pytest.approx(0.03, abs=0.001)
    assert found.region.any()


def test_the_same_twice() -> None:
    wall = grid_block((-2.0, 1.03, 0.0), (2.0, 1.53, 1.0), 0.3)
    rest = Key((0.0, 0.0, 0.1), 0.1, 0.05, 0.02)
    body = make_body("hull", hull_envelope((3.0, 1.6, 0.6)), rest, straight_way(rest, 4.0), 0.02, 0.01, 0.03)
    assert check_body([("1", wall)], body, Rule()) == check_body([("1", wall)], body, Rule())


def test_a_gauge_board_is_the_section_grown_by_what_is_kept() -> None:
    """A box 0.8 m wide from 0.3 m to 0.8 m over the floor, grown by 50 mm: corners become arcs of 50 mm."""
    rest = Key((0.0, 0.0, 0.3))
    body = make_body("box", box_envelope((1.0, 0.8, 0.5)), rest, straight_way(rest, 2.0))
    for station in (-1.0, 0.1):  # swept on the way in, and where it stands
        board = gauge_board([body], station, 0.05, block((-3.0, 0.41, 0.0), (3.0, 1.0, 1.0)))
        assert board is not None
        (loop,) = board.outlines
        past = np.linalg.norm(np.maximum(np.abs(loop - [0.0, 0.55]) - [0.4, 0.25], 0.0), axis=1)
        assert past == pytest.approx(0.05, abs=0.0007)
        assert loop.max(axis=0) == pytest.approx([0.45, 0.85], abs=0.0006)
        assert board.foot == pytest.approx((station, 0.0))
        assert board.over == pytest.approx(0.04, abs=0.001)  # foam 10 mm from the box, 50 mm asked
        assert len(board.legs) == 2
    # In front of the box it grows round its face: at 30 mm off, 40 mm are left of the 50.
    loop = gauge_board([body], 0.53, 0.05).outlines[0]
    assert np.ptp(loop, axis=0) == pytest.approx([0.88, 0.58], abs=0.0012)
    assert gauge_board([body], 0.6, 0.05) is None


def test_a_board_on_the_floor_ends_at_the_floor() -> None:
    body = make_body("box", box_envelope((1.0, 0.8, 0.5)), Key((0.0, 0.0, 0.0), 0.5))
    (loop,) = gauge_board([body], 0.1, 0.05).outlines
    assert loop[:, 1].min() == 0.0
    assert loop.max(axis=0) == pytest.approx([0.45, 0.55], abs=0.0006)


CAR = """
[keep_clear]
clearance = "60 mm"
boards = "0 mm"
{more}
[[keep_clear.bodies]]
name = "car"
envelope = "vehicle"
size = ["4.6 m", "1.9 m", "1.6 m"]
wheelbase = "2.9 m"
track = "1.5 m"
front_overhang = "0.8 m"
at = ["1 m", "2 m", "0 m"]
heading = "90 deg"
heights = ["0 m", "300 mm", "0 m", "0 m"]
{stance}
[[keep_clear.bodies]]
name = "ramp"
envelope = "box"
size = ["0.8 m", "0.4 m", "0.28 m"]
at = ["1.75 m", "3.4 m", "0 m"]
moves = false
"""


def test_bodies_of_a_job_stand_and_move_as_written() -> None:
    job = Job.from_toml(CAR.format(more='approach = "4 m"', stance='stance = "springs"'))
    assert Job.from_toml(job.to_toml()) == job
    car, ramp = place_bodies(job.keep_clear, {}).bodies
    assert np.degrees([car.rest.pitch, car.rest.roll]) == pytest.approx([2.96094, -5.70302], abs=ANGLE)
    assert car.rest.place == pytest.approx((1.0, 2.0, 0.075))
    assert car.motion.places[0] == pytest.approx([1.0, -2.0, 0.075])
    assert not ramp.moves
    assert "equal springs" in car.stance


def test_heights_on_the_way_give_pitch_and_roll_there() -> None:
    way = 'way_in = [{ at = ["1 m", "-3 m", "0 m"], heights = ["0 m", "0 m", "0 m", "0 m"] }]'
    car, _ = place_bodies(Job.from_toml(CAR.format(more=way, stance='stance = "springs"')).keep_clear, {}).bodies
    first = car.posed([0.0, 0.0, 0.0, 0.0])
    assert first.vertices[:, 2].min() == pytest.approx(0.0, abs=1e-12)
    assert first.vertices.max(axis=0) == pytest.approx([1.95, -3.0 + 2.25, 1.6], abs=1e-12)
    last = car.posed([1.0, 0.0, 0.0, 0.0])
    assert last.vertices == pytest.approx(car.standing().vertices, abs=1e-12)


def test_an_ambiguous_stance_is_a_warning_and_both_are_checked() -> None:
    job = Job.from_toml(CAR.format(more="", stance='stance = "rigid"\ncentre_of_gravity = ["0 m", "0 m", "0.6 m"]'))
    rock = block((4.0, 0.0, 0.0), (5.0, 1.0, 1.0))
    result, findings = check_keep_clear(job, rock, [("1", rock)], {})
    assert result is not None
    assert [body.name for body in result.bodies] == ["car", "car", "ramp"]
    (said,) = [finding for finding in findings if finding.check == "stance"]
    assert said.severity is Severity.WARNING
    assert "does not decide" in said.message


def test_findings_of_contact_and_clearance() -> None:
    """Skin 5 mm: foam 64 mm away is 59 mm clear of a limit of 60; 65 mm would do."""
    toml = """
[skin]
layers = [{ name = "coat", density = "1750 kg/m3", thickness = "5 mm", faces = ["carved"] }]
[keep_clear]
clearance = "60 mm"
boards = "0 mm"
bodies = [{ name = "crate", envelope = "box", size = ["1 m", "1 m", "1 m"] }]
"""
    job = Job.from_toml(toml)
    for gap, check in ((0.065, ""), (0.064, "clearance"), (0.004, "contact"), (-0.01, "contact")):
        wall = grid_block((0.5 + gap, -0.3, 0.1), (1.2, 0.3, 0.7), 0.1)
        result, findings = check_keep_clear(job, wall, [("7", wall)], {})
        errors = [finding for finding in findings if finding.severity is Severity.ERROR]
        assert [finding.check for finding in errors] == ([check] if check else [])
        if errors:
            assert errors[0].piece == "7"
            assert "crate" in errors[0].message
            assert errors[0].measured == pytest.approx(max(gap - 0.005, 0.0), abs=1e-9)
            assert result.carve.deepest == pytest.approx(0.065 - gap, abs=0.001)
        else:
            assert result.carve.deepest == 0.0
    assert check_keep_clear(Job(), wall, [("7", wall)], {}) == (None, [])


def test_a_body_file_that_was_not_given_is_named() -> None:
    job = Job.from_toml('[keep_clear]\nbodies = [{ name = "boat", file = "boat.ply" }]')
    with pytest.raises(JobError, match=r"bodies\[0\].file.*boat.ply"):
        place_bodies(job.keep_clear, {})
    with pytest.raises(JobError, match="either a file or an envelope"):
        Job.from_toml('[keep_clear]\nbodies = [{ name = "boat" }]')
    with pytest.raises(JobError, match="lacks wheelbase and track and front_overhang"):
        Job.from_toml('[keep_clear]\nbodies = [{ name = "car", envelope = "vehicle", size = ["4 m", "2 m", "1 m"] }]')
