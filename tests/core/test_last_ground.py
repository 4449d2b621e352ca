# SPDX-License-Identifier: GPL-3.0-or-later
"""What plans of one carving share is worked out once, and anew when anything that it depends on has changed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bare_skin import BARE_SKIN
from seamwright.core.job import Job
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.plans import Ground, LastGround
from seamwright.core.seams.marks import KEEP_WHOLE, Marks, Viewpoint
from shapes import box

BOX = box((1.0, 0.6, 0.5))
LINE = np.array([[0.0, 0.0, 0.5], [0.5, 0.3, 0.5]])
EYE = Viewpoint("front", np.zeros(3), np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0]), 0.5, 0.4)


def zones(row: int) -> Marks:
    """One triangle to be kept whole."""
    return Marks(zones=np.where(np.arange(len(BOX.triangles)) == row, KEEP_WHOLE, 0))


def with_joints(**values: object) -> Job:
    """The job with other settings of joints."""
    return replace(BARE_SKIN, joints=replace(BARE_SKIN.joints, **values))  # type: ignore[arg-type]


@pytest.mark.parametrize("job", [BARE_SKIN, with_joints(hidden=0.9), with_joints(pieces=3, compare_planes=True)])
def test_wishes_for_a_plan_change_nothing_of_what_plans_share(job: Job) -> None:
    last = LastGround()
    first = last.of(BOX, BARE_SKIN, Marks((LINE,), viewpoints=(EYE,)))
    again = last.of(Mesh(BOX.vertices.copy(), BOX.triangles.copy()), job, Marks((LINE.copy(),), viewpoints=(EYE,)))
    assert again.seams is first.seams
    assert again.solid is first.solid
    assert again.job == job


@pytest.mark.parametrize(
    ("mesh", "job", "marks"),
    [
        (Mesh(BOX.vertices * 1.01, BOX.triangles), BARE_SKIN, zones(3)),
        (Mesh(BOX.vertices, np.roll(BOX.triangles, 1, axis=1)), BARE_SKIN, zones(3)),
        (BOX, with_joints(seam_tolerance=0.03), zones(3)),
        (BOX, replace(BARE_SKIN, limits=replace(BARE_SKIN.limits, piece_mass=7.0)), zones(3)),
        (BOX, BARE_SKIN, zones(4)),
        (BOX, BARE_SKIN, None),
        (BOX, BARE_SKIN, replace(zones(3), lines=(LINE,))),
        (BOX, BARE_SKIN, replace(zones(3), viewpoints=(EYE,))),
    ],
)
def test_anything_else_that_has_changed_is_seen(mesh: Mesh, job: Job, marks: Marks | None) -> None:
    last = LastGround()
    first = last.of(BOX, BARE_SKIN, zones(3))
    other = last.of(mesh, job, marks)
    assert other.seams is not first.seams
    alone = Ground.of(mesh, job, marks)
    assert np.array_equal(other.solid.vertices, alone.solid.vertices)
    assert np.array_equal(other.seams.zones, alone.seams.zones)
    assert len(other.seams.viewpoints) == len(alone.seams.viewpoints)
    assert len(other.seams.index) == len(alone.seams.index)
