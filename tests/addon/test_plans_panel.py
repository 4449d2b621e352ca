# SPDX-License-Identifier: GPL-3.0-or-later
"""Plans kept with a job, swapped, saved and undone; shifts that are suggested and made."""

from __future__ import annotations

import json
from pathlib import Path

import bpy
import numpy as np
import panel_job as pj
import pytest
from bar_job import JOB, bar
from seamwright import job_tree, kept_plans
from seamwright.core.plans import PlanMeasures
from seamwright.joint_object import read_joint

pytestmark = list(pj.WITH_EXTENSION)


@pytest.fixture
def job(tmp_path: Path) -> bpy.types.Collection:
    """A bar of 3.0 x 0.6 x 0.6 m with a joint set by hand at 1.3 m."""
    held = pj.start(bar(), parts=1)
    (tmp_path / "JOB.toml").write_text(JOB)
    assert pj.ops.settings_read(filepath=str(tmp_path / "JOB.toml")) == {"FINISHED"}
    bpy.context.scene.cursor.location = (1.3, 0.3, 0.3)
    assert pj.ops.joint_add(shape="PLANE", square_to="X") == {"FINISHED"}
    return held


def places() -> list[float]:
    return [round(float(read_joint(obj, pj.job().seamwright.carving).point[0]), 6) for obj in pj.joints()]


def measures(row: int) -> PlanMeasures:
    found = kept_plans.measures_of(pj.job().seamwright.plans[row].measures)
    assert found is not None
    return found


def stale_plan(job: bpy.types.Collection, plan: object) -> bool:
    return kept_plans.is_stale(job, plan, kept_plans.settings_stamp(job))


def undo() -> None:
    assert bpy.ops.ed.undo() == {"FINISHED"}


def step(message: str) -> None:
    bpy.ops.ed.undo_push(message=message)


def test_two_plans_are_kept_compared_and_swapped(job: bpy.types.Collection) -> None:
    assert pj.ops.plan_keep() == {"FINISHED"}
    assert kept_plans.in_view(job) == 0
    plans = job.seamwright.plans
    assert (plans[0].name, plans[0].wish) == ("plan 1", "by hand")
    # By hand: 1.7 x 0.6 x 0.6 m of foam at 15 kg/m3, and 5 kg/m2 on 2 x 0.36 + 4 x 1.02 m2.
    assert measures(0).heaviest == pytest.approx(0.612 * 15.0 + 5.0 * 4.8, rel=1e-6)
    assert measures(0).area == pytest.approx(0.36, rel=1e-6)
    assert (measures(0).pieces, measures(0).over, measures(0).loads) == (2, 0, 1)
    pj.joints()[0].name = "west"
    assert pj.ops.joints_propose(pieces=3) == {"FINISHED"}
    assert kept_plans.in_view(job) == -1
    assert pj.ops.plan_keep() == {"FINISHED"}
    assert [plan.wish for plan in plans] == ["by hand", "3, hide 0.5"]
    assert (measures(1).pieces, len(pj.joints())) == (3, 2)
    second, reasons = places(), [obj["reason"] for obj in pj.joints()]
    assert pj.ops.plan_take(row=0) == {"FINISHED"}
    assert places() == [1.3]
    assert kept_plans.in_view(job) == 0
    assert len(plans) == 2
    assert "reason" not in pj.joints()[0]
    assert pj.ops.plan_take(row=1) == {"FINISHED"}
    assert places() == second
    assert [obj["reason"] for obj in pj.joints()] == reasons
    assert kept_plans.in_view(job) == 1
    # Keeping it once more weighs it again and adds nothing.
    assert pj.ops.plan_keep() == {"FINISHED"}
    assert len(plans) == 2
    assert pj.ops.plan_drop(row=0) == {"FINISHED"}
    assert [plan.name for plan in plans] == ["plan 2"]
    assert places() == second


def test_joints_that_are_not_kept_are_not_lost_by_taking_another_plan(job: bpy.types.Collection) -> None:
    assert pj.ops.plan_keep() == {"FINISHED"}
    pj.joints()[0].location.x = 1.6
    bpy.context.view_layer.update()
    assert kept_plans.in_view(job) == -1
    assert pj.ops.plan_take(row=0) == {"FINISHED"}
    assert places() == [1.3]
    plans = job.seamwright.plans
    assert [bool(plan.measures) for plan in plans] == [True, False]
    assert pj.ops.plan_take(row=1) == {"FINISHED"}
    assert places() == [1.6]
    assert len(plans) == 2


def test_a_kept_plan_is_cut_like_any_and_the_cut_before_is_out_of_date(job: bpy.types.Collection) -> None:
    assert pj.ops.plan_keep() == {"FINISHED"}
    assert pj.ops.joints_propose(pieces=3) == {"FINISHED"}
    assert pj.ops.cut() == {"FINISHED"}
    assert pj.stale() == []
    assert pj.ops.plan_take(row=0) == {"FINISHED"}
    assert any("Changed since the cut" in text for text in pj.stale())
    assert pj.ops.cut() == {"FINISHED"}
    assert len(pj.pieces()) == 2
    assert max(obj["finished_mass_kg"] for obj in pj.pieces()) == pytest.approx(measures(0).heaviest)
    assert kept_plans.in_view(job) == 0


def test_undo_and_redo_over_keeping_and_taking(job: bpy.types.Collection) -> None:
    step("made")
    assert pj.ops.plan_keep() == {"FINISHED"}
    step("kept")
    assert pj.ops.joints_propose(pieces=3) == {"FINISHED"}
    step("proposed")
    second = places()
    assert pj.ops.plan_take(row=0) == {"FINISHED"}
    step("taken")
    assert places() == [1.3]
    undo()
    assert places() == second
    assert len(pj.job().seamwright.plans) == 1
    undo()
    assert places() == [1.3]
    undo()
    assert len(pj.job().seamwright.plans) == 0
    for _ in range(3):
        assert bpy.ops.ed.redo() == {"FINISHED"}
    assert places() == [1.3]
    assert len(pj.job().seamwright.plans) == 2
    assert kept_plans.in_view(pj.job()) == 0


def test_kept_plans_live_in_the_file(job: bpy.types.Collection, tmp_path: Path) -> None:
    assert pj.ops.plan_keep() == {"FINISHED"}
    kept = job.seamwright.plans[0].measures
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "job.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "job.blend"))
    plans = pj.job().seamwright.plans
    assert [plan.measures for plan in plans] == [kept]
    assert kept_plans.in_view(pj.job()) == 0
    assert pj.ops.joints_clear() == {"FINISHED"}
    assert kept_plans.in_view(pj.job()) == -1
    assert pj.ops.plan_take(row=0) == {"FINISHED"}
    assert places() == [1.3]


def test_other_settings_are_said_and_other_wishes_are_not(job: bpy.types.Collection) -> None:
    assert pj.ops.plan_keep() == {"FINISHED"}
    plan = job.seamwright.plans[0]
    assert not stale_plan(job, plan)
    job.seamwright.hidden, job.seamwright.pieces = 0.9, 4
    assert not stale_plan(job, plan)
    job.seamwright.piece_mass = 30.0
    assert stale_plan(job, plan)
    assert pj.ops.plan_keep() == {"FINISHED"}
    assert not stale_plan(job, plan)
    assert measures(0).over == 1


def test_a_point_in_a_part_goes_with_the_carving_while_its_plan_is_put_by(job: bpy.types.Collection) -> None:
    bpy.context.scene.cursor.location = (0.5, 0.3, 0.3)
    assert pj.ops.joint_add(shape="PLANE", square_to="X") == {"FINISHED"}
    bpy.context.scene.cursor.location = (0.6, 0.3, 0.3)
    assert pj.ops.joint_reach(reach="CURSOR") == {"FINISHED"}
    assert pj.ops.plan_keep() == {"FINISHED"}
    assert pj.ops.joints_clear() == {"FINISHED"}
    job.seamwright.carving.location.x += 0.2
    bpy.context.view_layer.update()
    assert pj.ops.plan_take(row=0) == {"FINISHED"}
    part = read_joint(pj.joints()[1], job.seamwright.carving).part
    assert part == pytest.approx(np.array([0.8, 0.3, 0.3]), abs=1e-6)


def test_nothing_to_keep_and_nothing_kept_are_said(job: bpy.types.Collection) -> None:
    with pytest.raises(RuntimeError, match="No plan is kept yet"):
        pj.ops.plan_take(row=0)
    assert pj.ops.joints_clear() == {"FINISHED"}
    with pytest.raises(RuntimeError, match="no joints to keep"):
        pj.ops.plan_keep()


def test_a_suggested_shift_is_made_and_undone(job: bpy.types.Collection) -> None:
    # A line round the bar 60 mm beside the joint.
    curve = bpy.data.curves.new("crack", "CURVE")
    curve.dimensions = "3D"
    spline = curve.splines.new("POLY")
    ring = [(1.36, y, z) for y, z in ((0.6, 0.0), (0.0, 0.0), (0.0, 0.6), (0.6, 0.6), (0.6, 0.0))]
    spline.points.add(len(ring) - 1)
    spline.points.foreach_set("co", [value for point in ring for value in (*point, 1.0)])
    line = bpy.data.objects.new("crack", curve)
    job_tree.ensure_folder(job, job_tree.SEAM_LINES).objects.link(line)
    bpy.context.view_layer.update()
    assert pj.ops.cut() == {"FINISHED"}
    (joint,) = pj.joints()
    assert joint["on_seam_share"] == 0.0
    assert joint["shift_text"].startswith("Shift joint A by ")
    assert "towards +x" in joint["shift_text"]
    assert joint["shift_m"] == pytest.approx(0.06, abs=0.026)
    step("cut")
    told = joint["shift_m"]
    assert pj.ops.joint_shift(joint=joint.name) == {"FINISHED"}
    step("shifted")
    assert places() == [pytest.approx(1.3 + told, abs=1e-6)]
    assert any("Changed since the cut: joint A" in text for text in pj.stale())
    undo()
    assert places() == [1.3]
    assert "shift_m" in pj.joints()[0]
    assert bpy.ops.ed.redo() == {"FINISHED"}
    assert "shift_m" not in pj.joints()[0]
    assert pj.ops.cut() == {"FINISHED"}
    assert pj.joints()[0]["on_seam_share"] > 0.9
    with pytest.raises(RuntimeError, match="No shift is suggested"):
        pj.ops.joint_shift(joint=pj.joints()[0].name)


def test_what_is_kept_of_a_joint_is_plain_json(job: bpy.types.Collection) -> None:
    pj.joints()[0].name = 'the "west" one'
    assert pj.ops.plan_keep() == {"FINISHED"}
    (entry,) = json.loads(job.seamwright.plans[0].joints)
    assert entry["name"] == 'the "west" one'
    assert pj.ops.joints_clear() == {"FINISHED"}
    assert pj.ops.plan_take(row=0) == {"FINISHED"}
    assert pj.joints()[0].name == 'the "west" one'
