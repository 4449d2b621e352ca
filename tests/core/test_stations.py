# SPDX-License-Identifier: GPL-3.0-or-later
"""Equal stations: what is proposed keeps the limits, and the sentence about it is true."""

from __future__ import annotations

import re

import numpy as np
import pytest
from reference import volume_of
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane
from seamwright.core.errors import Cancelled
from seamwright.core.handling.checks import within_limits
from seamwright.core.handling.figures import measure_piece
from seamwright.core.job import Job
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.planning.axis import long_axis
from seamwright.core.planning.stations import Proposal, propose_stations
from seamwright.core.skin.depth import gap_width
from shapes import box, cylinder, joined, moved, rock, torus, turned

CRUMB = 1e-3


def propose(mesh: Mesh, text: str) -> tuple[Proposal, Job, tuple[Mesh, ...]]:
    job = Job.from_toml(text)
    proposal = propose_stations(mesh, job, gap_width(job), CRUMB)
    return proposal, job, tuple(p.mesh for p in cut(mesh, proposal.joints, gap_width(job), crumb=CRUMB).pieces)


def assert_true(proposal: Proposal, job: Job, pieces: tuple[Mesh, ...], mesh: Mesh) -> int:
    """The numbers of the sentence, counted again on the carving cut by the joints; the pieces over a limit."""
    over = sum(not within_limits(measure_piece(p, job), job) for p in pieces)
    found = re.fullmatch(
        r"(\d+) slabs? of (\d+\.\d\d) m along the carving and (\d+) joints? across: (\d+) pieces?"
        r"(?:, all within mass and size|, (\d+) of them over a limit)\.",
        proposal.text,
    )
    assert found, proposal.text
    slabs, wide, across, count = int(found[1]), float(found[2]), int(found[3]), int(found[4])
    assert count == len(pieces)
    assert int(found[5] or 0) == over
    assert across == sum(joint.part is not None for joint in proposal.joints)
    stations = proposal.joints[: len(proposal.joints) - across]
    along = long_axis(mesh)[0]
    reach = mesh.vertices @ along
    assert wide == pytest.approx(np.ptp(reach) / slabs, abs=0.0051)
    # The stations first: square to the long axis, equal, from low to high, through everything.
    places = reach.min() + np.ptp(reach) * np.arange(1, slabs) / slabs
    at = []
    for joint in stations:
        assert isinstance(joint, Plane)
        assert joint.part is None
        assert joint.normal == pytest.approx(along, abs=1e-15)
        at.append(float(joint.point @ along))
    missed = cut(mesh, [Plane(p * along, along) for p in places]).missed
    assert at == pytest.approx(np.delete(places, missed), abs=1e-12)
    return over


POSSIBLE = {
    "long rock": (rock(1, 2, size=(5.0, 1.6, 1.2)), ""),
    "mass": (rock(1, 2, size=(3.0, 1.6, 1.2)), '[limits]\npiece_mass = "30 kg"'),
    "size": (rock(1, 3, size=(1.6, 1.2, 1.0)), '[limits]\npiece_size = ["0.9 m", "0.8 m", "0.7 m"]'),
    "aslant": (moved(box((3.0, 1.0, 0.8)), turned((0, 0, 1), 0.6)), '[limits]\npiece_mass = "30 kg"'),
    "tall": (cylinder(24, 0.4, 5.0), '[limits]\npiece_size = ["2 m", "1 m", "1.3 m"]'),
    "tall in any pose": (
        box((0.6, 0.6, 4.0)),
        '[limits]\nany_pose = true\npiece_size = ["2.4 m", "1.0 m", "1.0 m"]\npiece_mass = "90 kg"',
    ),
    "ring": (torus(20, 10, 1.2, 0.35), '[limits]\npiece_size = ["1.3 m", "1.0 m", "0.8 m"]'),
    "two bodies": (joined(rock(2), moved(rock(2), shift=(4.0, 0, 0))), '[limits]\npiece_mass = "60 kg"'),
}


@pytest.mark.parametrize("name", POSSIBLE)
def test_every_piece_is_within_the_limits(name: str) -> None:
    mesh, text = POSSIBLE[name]
    proposal, job, pieces = propose(mesh, text)
    assert assert_true(proposal, job, pieces, mesh) == 0
    assert proposal.text.endswith("all within mass and size.")
    assert len(pieces) >= 2
    assert proposal.tried >= 1
    # Each joint meets foam.
    assert cut(mesh, proposal.joints, gap_width(job)).missed == ()


def test_what_is_within_the_limits_is_left_whole() -> None:
    proposal, _, pieces = propose(box((1.0, 0.5, 0.5)), "")
    assert proposal.joints == ()
    assert "one piece" in proposal.text
    assert len(pieces) == 1
    # At the limit itself: a box just as heavy as allowed.
    job = Job.from_toml("")
    mass = measure_piece(box((1.0, 0.5, 0.5)), job).finished_mass
    for share, joints in ((1.0, 0), (1.0 - 1e-6, 1)):
        limited = Job.from_toml(f'[limits]\npiece_mass = "{mass * share!r} kg"')
        assert bool(propose_stations(box((1.0, 0.5, 0.5)), limited, 0.01, CRUMB).joints) == bool(joints)


def test_a_box_by_its_length_alone() -> None:
    # 4.9 m in slabs of at most 1.25 m, skin included: four of 1.225 m would stand over it by their own skin.
    proposal, job, pieces = propose(
        box((4.9, 0.5, 0.5)), '[limits]\npiece_size = ["1.25 m", "0.9 m", "0.9 m"]\npiece_mass = "900 kg"'
    )
    lengths = [measure_piece(p, job).box[0] for p in pieces]
    assert max(lengths) <= 1.25
    assert len(proposal.joints) == len(pieces) - 1
    assert len(pieces) in (4, 5)


@pytest.mark.parametrize(
    "text",
    ['[limits]\npiece_mass = "0.3 kg"', '[limits]\npiece_size = ["2 m", "2 m", "0.012 m"]'],
    ids=["mass", "height"],
)
def test_what_cannot_be_kept_is_said(text: str) -> None:
    mesh = box((0.3, 0.2, 0.15))
    proposal, job, pieces = propose(mesh, text)
    over = assert_true(proposal, job, pieces, mesh)
    assert over > 0
    assert f"{over} of them over a limit." in proposal.text
    assert sum(volume_of(p) for p in pieces) <= 0.009


@pytest.mark.parametrize("angle", [0.0, 0.3, 1.0, 1.5, -0.4, -1.2, np.pi / 2, np.pi])
def test_long_axis(angle: float) -> None:
    mesh = moved(box((4.0, 1.0, 2.0)), turned((0, 0, 1), angle))
    along, across = long_axis(mesh)
    known = np.array([np.cos(angle), np.sin(angle), 0.0])
    if known[0] < -1e-9 or (abs(known[0]) <= 1e-9 and known[1] < 0.0):
        known = -known
    assert along == pytest.approx(known, abs=1e-9)
    assert across == pytest.approx((-along[1], along[0], 0.0), abs=0.0)
    assert np.linalg.norm(along) == pytest.approx(1.0, abs=1e-15)
    assert np.ptp(mesh.vertices @ along) == pytest.approx(4.0, rel=1e-9)


def test_the_same_again_and_progress() -> None:
    mesh, text = POSSIBLE["mass"]
    job = Job.from_toml(text)
    seen: list[float] = []
    first = propose_stations(mesh, job, 0.01, CRUMB, lambda share, _: seen.append(share))
    second = propose_stations(mesh, job, 0.01, CRUMB)
    assert seen == sorted(seen)
    assert seen[0] == 0.0
    assert len(set(seen)) > 6
    assert max(seen) < 1.0
    assert first.text == second.text
    for a, b in zip(first.joints, second.joints, strict=True):
        assert isinstance(a, Plane)
        assert isinstance(b, Plane)
        assert (a.point.tobytes(), a.normal.tobytes()) == (b.point.tobytes(), b.normal.tobytes())

    def stop(share: float, _: str) -> None:
        if share > 0.4:
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        propose_stations(mesh, job, 0.01, CRUMB, stop)


def test_a_width_is_kept_by_cuts_along() -> None:
    proposal, job, pieces = propose(rock(1), '[limits]\npiece_size = ["5 m", "0.5 m", "5 m"]\npiece_mass = "900 kg"')
    assert proposal.text.endswith("all within mass and size.")
    assert all(within_limits(measure_piece(piece, job), job) for piece in pieces)
    assert len(pieces) <= 8


@pytest.mark.parametrize(
    "text",
    ['[limits]\npiece_mass = "1 g"', '[limits]\npiece_size = ["9 m", "4 mm", "9 m"]'],
    ids=["mass", "width"],
)
def test_what_no_number_of_parts_would_keep_is_left_whole(text: str) -> None:
    proposal, _, pieces = propose(rock(1), text)
    assert len(pieces) == 1
    assert proposal.text.endswith("1 piece, 1 of them over a limit.")


@pytest.mark.parametrize("seed", range(10))
def test_single_precision_gets_the_same_joints(seed: int) -> None:
    """One slab halved and two slabs are the same cut: seed 5 once changed from one to the other."""
    mesh = rock(2, seed=seed)
    text = '[limits]\npiece_mass = "80 kg"\n'
    exact = propose(mesh, text)[0]
    near = propose(Mesh(mesh.vertices.astype(np.float32).astype(np.float64), mesh.triangles), text)[0]
    assert near.text == exact.text
    assert [joint.part is None for joint in near.joints] == [joint.part is None for joint in exact.joints]
    for one, other in zip(near.joints, exact.joints, strict=True):
        assert isinstance(one, Plane)
        assert isinstance(other, Plane)
        assert one.point == pytest.approx(other.point, abs=1e-5)
        assert one.normal == pytest.approx(other.normal, abs=1e-5)
