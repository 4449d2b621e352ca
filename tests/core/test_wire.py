# SPDX-License-Identifier: GPL-3.0-or-later
"""How a straight wire lies in joints as they are cut, against lengths known from elementary geometry."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
import shapely
import shapely.affinity
from grid_plans import blocks, grid
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.cutting.wire import ROOM, Wire, lay_wire, rim_of
from seamwright.core.findings import Severity
from seamwright.core.marking.cutting_order import CutStep, check_wires
from seamwright.core.mesh.mesh import Mesh
from shapes import box, moved, rock, torus, turned


def laid(mesh: Mesh, joint: Joint, gap: float = 0.0, longest: float = 1.5) -> Wire:
    found = cut(mesh, [joint], gap)
    rim = np.concatenate([rim_of(body, joint, 0) for body in found.pieces])
    return lay_wire(joint, rim, [b.mesh for b in found.pieces], gap, longest)


def wall(points: Sequence[tuple[float, float]], limb: tuple[float, float, float] | None = None) -> Profile:
    """A profile across x whose wire lies along y."""
    return Profile((0.0, 0.0, 0.0), (0.0, 0.0, -1.0), (1.0, 0.0, 0.0), points, limb=limb)


@pytest.mark.parametrize("gap", [0.0, 0.01])
def test_the_longest_stretch_of_a_flat_joint_is_in_the_direction_where_it_is_shortest(gap: float) -> None:
    plane = Plane((1.0, 0.0, 0.0), (1.0, 0.0, 0.0))
    assert laid(box((3.0, 1.0, 0.8)), plane, gap).stretch == pytest.approx(0.8, abs=1e-9)
    # A sloping cut through a square bar: its face is as wide as the bar, and longer.
    slope = Plane((1.5, 0.0, 0.0), (1.0, 0.0, 1.0))
    assert laid(box((3.0, 0.5, 0.5)), slope, gap).stretch == pytest.approx(0.5, abs=1e-9)
    # Of a triangle with sides 3, 4 and 5 the longest stretch is least across its least height, 3 x 4 / 5.
    corner = Mesh(
        np.array([[0, 0, 0], [4, 0, 0], [0, 3, 0], [0, 0, 9], [4, 0, 9], [0, 3, 9]], dtype=np.float64) / 4.0,
        np.array([[0, 2, 1], [3, 4, 5], [0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4], [2, 0, 3], [2, 3, 5]]),
    )
    least = laid(corner, Plane((0.0, 0.0, 1.0), (0.0, 0.0, 1.0)), gap).stretch
    # Directions are tried 7.5 degrees apart.
    assert 0.6 <= least <= 0.6 / np.cos(np.radians(3.75))


def test_the_stretch_of_a_profile_is_along_its_wire() -> None:
    # A triangular bar lying along x, 2 m wide at the floor and 0 at 1 m: a wire along y is as long as the bar is wide.
    roof = Mesh(
        np.array([[0, -1, 0], [0, 1, 0], [0, 0, 1], [3, -1, 0], [3, 1, 0], [3, 0, 1]], dtype=np.float64),
        np.array([[0, 2, 1], [3, 4, 5], [0, 1, 4], [0, 4, 3], [1, 2, 5], [1, 5, 4], [2, 0, 3], [2, 3, 5]]),
    )
    straight = wall([(-2.0, 1.5), (2.0, 1.5)])
    assert laid(roof, straight).stretch == pytest.approx(2.0, abs=1e-6)
    # Its wire upright it is as long as the bar is high.
    upright = Profile((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [(-2.0, 1.4), (0.0, 1.6), (2.0, 1.4)])
    assert laid(roof, upright).stretch == pytest.approx(1.0, abs=1e-8)
    # A wave does not change where rulings begin and end, nor does turning it all.
    wave = wall([(-2.0, 1.5), (-0.6, 1.3), (-0.3, 1.7), (1.0, 1.5)])
    assert laid(roof, wave).stretch == pytest.approx(2.0, abs=1e-6)
    turn = turned((0.3, -0.5, 0.8), 1.1)
    other = Profile((0.0, 0.0, 0.0), turn @ wave.u, turn @ wave.w, wave.points)
    assert laid(moved(roof, turn), other).stretch == pytest.approx(2.0, abs=1e-6)


def test_a_round_limb_takes_its_own_thickness() -> None:
    limb = Plane((1.3, 0.0, 0.0), (0.0, 1.0, 0.0), limb=(1.3, 0.0, 0.0))
    wire = laid(torus(96, 48, 1.3, 0.3), limb)
    assert wire.stretch == pytest.approx(0.6, rel=2e-3)
    assert wire.bound == 0.0


def test_air_too_narrow_for_a_holder_counts_as_foam() -> None:
    # A ring of tube 0.6 m thick: through both limbs, 2.6 m from middle to middle.
    ring = torus(96, 48, 1.3, 0.3)
    across = Profile((0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), [(-1.0, 0.0), (1.0, 0.0)])
    assert laid(ring, across).stretch == pytest.approx(0.6, rel=2e-3)
    close = torus(96, 48, 0.3 + 0.49 * ROOM, 0.3)
    assert laid(close, across).stretch == pytest.approx(1.2 + 0.98 * ROOM, rel=2e-3)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_on_a_rugged_face_as_another_library_measures_it(seed: int) -> None:
    """Longest chords of the cut's outline by shapely, every 2 mm, in the same 24 directions."""
    rng = np.random.default_rng(seed)
    normal = rng.normal(size=3)
    plane = Plane(rng.normal(size=3) * 0.1, normal)
    mesh = rock(4, seed)
    found = cut(mesh, [plane])
    rim = np.concatenate([rim_of(body, plane, 0) for body in found.pieces])
    wire = lay_wire(plane, rim, [], 0.0, 1.5)
    first = np.cross(np.eye(3)[int(np.argmin(np.abs(plane.normal)))], plane.normal)
    first /= np.linalg.norm(first)
    flat = np.stack([first, np.cross(plane.normal, first)])
    face = shapely.Polygon()
    for line in found.lines[0]:
        face = face.symmetric_difference(shapely.Polygon(line.points @ flat.T))
    # Air too narrow for a holder counts as foam: taken along each chord.
    best = np.inf
    for turn in np.degrees(np.arange(24) * (np.pi / 24)).tolist():
        turned_face = shapely.affinity.rotate(face, -turn, origin=(0.0, 0.0))
        low, begin, high, end = turned_face.bounds
        at = np.arange(begin + 1e-3, end, 2e-3)
        rays = shapely.linestrings([[(low - 1.0, y), (high + 1.0, y)] for y in at.tolist()])
        longest = 0.0
        for chord in shapely.intersection(rays, turned_face):
            runs = sorted(part.bounds[::2] for part in shapely.get_parts(chord))
            start, stop = runs[0]
            for a, b in runs[1:]:
                start, stop = (start, b) if a - stop < ROOM else (a, b)
                longest = max(longest, stop - start)
            longest = max(longest, runs[0][1] - runs[0][0], stop - start)
        best = min(best, longest)
    assert wire.stretch == pytest.approx(best, rel=3e-3)


def test_where_the_gap_took_a_face_nothing_is_in_the_way() -> None:
    wire = lay_wire(Plane((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), np.zeros((0, 2, 3)), [], 0.01, 1.5)
    assert (wire.stretch, wire.bound, wire.clear) == (0.0, 0.0, np.inf)


def limbs_apart(air: float) -> Mesh:
    """A U lying flat: limbs 0.4 m thick and 0.4 m high along x, with so much air between them along y."""
    mesh = blocks(grid(1, 3, 1) | grid(5, 1, 1) | grid(5, 1, 1, (0, 2, 0)), (0.4, 1.0, 0.4))
    y = np.array([0.0, 0.4, 0.4 + air, 0.8 + air])
    at = mesh.vertices.copy()
    at[:, 1] = y[np.rint(at[:, 1]).astype(int)]
    return Mesh(at, mesh.triangles)


@pytest.mark.parametrize("gap", [0.0, 0.01])
def test_a_wire_that_runs_into_the_next_limb_is_told(gap: float) -> None:
    limb = (1.2, 0.2, 0.2)
    level = wall([(-0.5, 1.2), (-0.2, 1.3), (0.1, 1.2)], limb)
    for air in (0.05, 0.2, 0.29):
        wire = laid(limbs_apart(air), level, gap)
        assert wire.bound == 1.0
        assert wire.clear == pytest.approx(air, abs=1e-9)
        assert wire.stretch == pytest.approx(0.4, abs=1e-9)
    wire = laid(limbs_apart(0.31), level, gap)
    assert (wire.bound, wire.clear) == (0.0, pytest.approx(0.31, abs=1e-9))
    # Upright it comes out above and below.
    upright = Profile(
        (0.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [(-0.5, 1.2), (0.2, 1.3), (0.5, 1.2)], limb=limb
    )
    assert laid(limbs_apart(0.05), upright, gap).bound == 0.0
    # A flat joint's wire may lie any way, and lies where it comes out.
    flat = laid(limbs_apart(0.05), Plane((1.2, 0.0, 0.0), (1.0, 0.0, 0.0), limb=limb), gap)
    assert flat.bound == 0.0
    assert flat.stretch <= 0.4 / np.cos(np.radians(45.0))
    # Through everything the wire runs through both limbs.
    both = laid(limbs_apart(0.05), wall([(-0.5, 1.2), (0.1, 1.2)]), gap)
    assert (both.bound, both.stretch) == (0.0, pytest.approx(0.85, abs=1e-9))


def test_other_foam_part_of_the_way_counts_by_its_share() -> None:
    mesh = limbs_apart(0.2)
    at = mesh.vertices.copy()
    # The other limb is half as high.
    at[(at[:, 1] > 0.5) & (at[:, 2] > 0.3), 2] = 0.2
    wire = laid(Mesh(at, mesh.triangles), wall([(-0.5, 1.2), (0.1, 1.2)], (1.2, 0.2, 0.2)))
    assert wire.bound == pytest.approx(0.5, abs=1.0 / 64.0)


def test_what_no_hot_wire_cuts_is_a_finding() -> None:
    def found(stretch: float, bound: float, clear: float) -> list[str]:
        step = CutStep(1, "saw", Wire(stretch, np.array([1.0, 0.0, 0.0]), bound, clear), "from above", ())
        findings = check_wires([step], ["A", "B"], 1.5)
        assert all(one.joint == "B" and one.severity is Severity.WARNING for one in findings)
        return [f"{one.check}: {one.message}" for one in findings]

    assert found(1.5, 0.05, 0.2) == []
    (long,) = found(1.62, 0.0, np.inf)
    assert long.startswith("wire_length: Joint B takes 1.62 m")
    (bound,) = found(0.4, 0.8, 0.12)
    assert bound.startswith("wire_exit: The wire of joint B cannot leave the foam: over 80% of the joint")
    assert "120 mm" in bound
