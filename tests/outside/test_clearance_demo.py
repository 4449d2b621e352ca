# SPDX-License-Identifier: GPL-3.0-or-later
"""The demo is free of contact; a variant with a peg planted into the boat is not, and says how deep it has to come off.

What has to come off is checked against python-fcl in two ways: the peg, moved straight back by it, keeps the clearance,
and so does the place where it is deepest.
"""

from __future__ import annotations

from dataclasses import replace

import fcl
import numpy as np
import pytest
from collision_peer import apart, model, still
from seamwright.core.clearance.envelope import block
from seamwright.core.clearance.job_bodies import place_bodies
from seamwright.core.clearance.job_check import check_keep_clear, rule_of
from seamwright.core.demo import demo_boat, demo_carving, demo_job_toml, demo_keep_clear
from seamwright.core.findings import Severity
from seamwright.core.job import Job
from seamwright.core.jobpack.drawing import drawing_svg
from seamwright.core.jobpack.gauge_boards import depth_map, gauge_drawing, region_ply
from seamwright.core.mesh.mesh import Mesh
from shapes import in_four

AT = np.array([4.371, 1.0, 0.52])  # m: where the peg stands in the rock, at the origin of the boat
SIDE, TIP = 0.04, 1.33  # m: half its width, and the y that it reaches to; the planking there is at about 1.25


@pytest.fixture(scope="module")
def rock() -> Mesh:
    return demo_carving(60_000)


def fine_block(low: np.ndarray, high: np.ndarray, step: float) -> Mesh:
    """A closed block with a grid of vertices on each face, made from a block by cutting its triangles in four."""
    mesh = block(tuple(low.tolist()), tuple(high.tolist()))
    while np.linalg.norm(mesh.corners()[:, 1] - mesh.corners()[:, 0], axis=1).max() > step:
        mesh = in_four(mesh)
    return mesh


def test_the_boat_stands_as_it_was_built() -> None:
    """The job's three supports give the pose in which the demo's boat is modelled: 6 degrees up, 13 to starboard."""
    job = Job.from_toml(demo_job_toml())
    boat, cradle = place_bodies(job.keep_clear, demo_keep_clear()).bodies
    assert np.degrees([boat.rest.pitch, boat.rest.roll]) == pytest.approx([6.0, 13.0], abs=0.02)
    standing = boat.standing().vertices
    assert np.abs(standing - demo_boat().vertices[: len(standing)]).max() < 0.0005
    assert cradle.motion is boat.motion
    assert cradle.standing().vertices[:, 2].min() == pytest.approx(0.0, abs=1e-12)


def test_the_shipped_demo_keeps_its_clearance(rock: Mesh) -> None:
    job = Job.from_toml(demo_job_toml())
    job = replace(job, keep_clear=replace(job.keep_clear, boards=0.0, stations=(0.0,)))
    result, findings = check_keep_clear(job, rock, [("1", rock)], demo_keep_clear())
    assert [f for f in findings if f.severity is not Severity.NOTE] == []
    assert result is not None
    assert result.nearest is not None
    assert result.nearest[2].distance > job.keep_clear.clearance + result.rule.skin
    (board,) = result.boards
    assert board.over == 0.0
    assert not result.carve.region.any()


def test_a_planted_contact_is_found_with_its_depth_and_shows_on_a_board(rock: Mesh) -> None:
    low, high = AT - [SIDE, 0.2, SIDE], np.array([AT[0] + SIDE, TIP, AT[2] + SIDE])
    peg = fine_block(low, high, 0.02)
    carving = Mesh(
        np.concatenate([rock.vertices, peg.vertices]),
        np.concatenate([rock.triangles, peg.triangles + len(rock.vertices)]),
    )
    job = Job.from_toml(demo_job_toml())
    # At rest alone, so that the other library can be asked for one pose.
    job = replace(job, keep_clear=replace(job.keep_clear, way_in=(), boards=0.0, stations=(0.0,)))
    result, findings = check_keep_clear(job, carving, [("1", carving)], demo_keep_clear())
    assert result is not None
    assert ("contact", "1") in [(f.check, f.piece) for f in findings if f.severity is Severity.ERROR]

    keep = rule_of(job).foam
    one, two = model(peg), still(model(result.bodies[0].standing()))

    def free(back: float) -> bool:
        moved = fcl.CollisionObject(one, fcl.Transform(np.eye(3), np.array([0.0, -back, 0.0])))
        # In the hollow of the hull the peg would be free as well: it has to be on the outer side.
        return apart(moved, two) >= keep and back > 0.05

    near, far = 0.05, 0.3
    assert free(far)
    while far - near > 1e-5:
        middle = 0.5 * (near + far)
        near, far = (near, middle) if free(middle) else (middle, far)
    # The peg's corner goes in deepest; the nearest vertex of its end face is 2.5 mm beside it.
    assert result.carve.deepest == pytest.approx(far, abs=0.002)
    assert result.carve.where is not None
    # At the very place, straight in: the last point that is nearer than what is kept, every 0.1 mm.
    ball = fcl.Sphere(1e-6)
    distances = []
    for back in np.arange(0.0, 0.3, 0.0001).tolist():
        point = fcl.CollisionObject(ball, fcl.Transform(np.eye(3), np.array(result.carve.where) - [0.0, back, 0.0]))
        distances.append(float(fcl.distance(point, two, fcl.DistanceRequest(), fcl.DistanceResult())))
    assert result.carve.deepest == pytest.approx(0.0001 * np.flatnonzero(np.array(distances) < keep).max(), abs=0.001)
    assert result.carve.where[1] == pytest.approx(TIP)
    assert np.abs(np.array(result.carve.where) - [AT[0], TIP, AT[2]]).max() <= SIDE + 1e-9

    (board,) = result.boards
    assert board.over_at is not None
    place = np.array(board.foot) + board.over_at[0] * np.array(board.left)
    assert np.abs(place - AT[:2])[0] < SIDE
    assert board.over > 0.05
    svg = drawing_svg(gauge_drawing(board, "1", "Demo", result))
    assert f"foam over by {1000.0 * board.over:.0f} mm" in svg
    assert "mm at z" in drawing_svg(depth_map(carving, result.carve, "Demo"))
    assert region_ply(carving, result.carve).startswith(b"ply\n")

    # Carved off by the map, the same check lets it pass.
    cut = np.array(peg.vertices)
    cut[:, 1] = np.minimum(cut[:, 1], TIP - result.carve.deepest)
    again, left = check_keep_clear(job, rock, [("1", rock), ("2", Mesh(cut, peg.triangles))], demo_keep_clear())
    assert again is not None
    said = [f for f in left if f.severity is Severity.ERROR and f.piece == "2"]
    assert all(f.limit is not None and f.measured is not None and f.limit - f.measured < 0.002 for f in said)
