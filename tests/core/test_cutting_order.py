# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.marking.cutting_order import cutting_order
from seamwright.core.mesh.mass import mass_properties
from seamwright.core.mesh.mesh import BASE, Mesh
from shapes import box


def steps(joints, gap: float = 0.0, size=(3.0, 1.0, 0.8), limit: float = 1.5):
    bar = box(size)
    kind = np.zeros(12, dtype=np.uint8)
    kind[:2] = BASE
    result = cut(Mesh(bar.vertices, bar.triangles, kind), joints, gap)
    meshes = [b.mesh for b in result.pieces]
    solids = [mass_properties(m) for m in meshes]
    return result, cutting_order(
        joints,
        result.lines,
        result.contacts,
        result.pieces,
        [s.volume for s in solids],
        [s.centroid for s in solids],
        15.0,
        gap,
        limit,
    )


def test_each_cut_tells_what_comes_free_and_its_bare_mass() -> None:
    joints = [Plane((2.0, 0, 0), (1, 0, 0)), Plane((0.5, 0, 0), (1, 0, 0))]
    _, found = steps(joints)
    assert [s.joint for s in found] == [0, 1]
    # First the end of 1 m comes off the remaining 2 m; then these fall into 0.5 and 1.5 m.
    assert [p.mass for p in found[0].parts] == pytest.approx([0.8 * 15.0, 2.0 * 0.8 * 15.0])
    assert [p.mass for p in found[1].parts] == pytest.approx([0.5 * 0.8 * 15.0, 1.5 * 0.8 * 15.0])
    assert len(found[0].parts[1].pieces) == 2
    assert all(p.prop == "" for s in found for p in s.parts)


def test_tool_follows_the_span_across_the_wire() -> None:
    joint = [Plane((1.0, 0, 0), (1, 0, 0))]
    _, (step,) = steps(joint)
    assert step.tool == "hot wire"
    assert step.entry.endswith("y side")  # the wire stands upright and travels across
    assert step.wire.stretch == pytest.approx(0.8)
    _, (step,) = steps(joint, limit=0.7)
    assert step.tool == "saw"
    _, (step,) = steps(joint, size=(3.0, 0.6, 0.8))
    assert step.wire.stretch == pytest.approx(0.6)
    assert step.entry == "from above"


def test_a_profile_is_cut_along_its_wire() -> None:
    profile = Profile((1.5, 0, 0), (0, 1, 0), (1, 0, 0), [[0.0, 0.0], [0.5, 0.1], [1.0, 0.0]])
    _, (step,) = steps([profile])
    assert step.wire.stretch == pytest.approx(0.8)
    assert step.entry.endswith("y side")


def test_what_hangs_or_tips_wants_a_prop() -> None:
    _, (step,) = steps([Plane((0, 0, 0.4), (0, 0, 1))])
    props = {p.prop for p in step.parts}
    assert props == {"", "nothing of it stands on the floor"}
    # A slanting end: 0.2 m of footing under 1.8 m of crest.
    _, (step,) = steps([Plane((0.2, 0, 0), (1.0, 0, -2.0))])
    lightest = step.parts[0]
    assert "outside its footing" in lightest.prop


def test_a_joint_that_parts_nothing_is_left_out() -> None:
    _, found = steps([Plane((9.0, 0, 0), (1, 0, 0)), Plane((1.0, 0, 0), (1, 0, 0))])
    assert [s.joint for s in found] == [1]
