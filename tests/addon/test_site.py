# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks as text objects, kept numbers, pins, and the trial assembly."""

from __future__ import annotations

import bpy
import numpy as np
import panel_job
import pytest
from mathutils import Vector
from panel_job import job, ops, pieces
from seamwright import job_tree, results, trial
from seamwright.compat import curves_of

pytestmark = panel_job.DEPRECATED


@pytest.fixture(scope="module")
def _cut(extension_kept: None) -> None:
    panel_job.start(parts=3)
    assert ops.cut() == {"FINISHED"}


def texts() -> list[bpy.types.Object]:
    folder = job_tree.folder(job(), job_tree.MARKS)
    return [] if folder is None else list(folder.objects)


@pytest.mark.usefixtures("_cut")
def test_marks_stand_on_their_faces_and_go_with_their_pieces() -> None:
    bpy.context.view_layer.update()
    (result,) = results._kept.values()
    assert result.site is not None
    assert len(texts()) == 2 * len(result.site.marks) > 0
    numbers = [obj for obj in texts() if not obj.name.endswith(" words")]
    for obj, mark in zip(
        sorted(numbers, key=lambda o: o.name), sorted(result.site.marks, key=name_of(result)), strict=True
    ):
        piece = result.pieces[mark.piece]
        assert obj.data.body == piece.mark
        assert obj.parent is pieces()[mark.piece]
        assert (obj.matrix_world.translation - Vector(mark.centre)).length < mark.height
        axes = np.array(obj.matrix_world.to_3x3()).T
        assert axes == pytest.approx(np.stack((mark.right, mark.up, mark.out)), abs=1e-6)
    piece = pieces()[0]
    child = next(obj for obj in numbers if obj.parent is piece)
    before = child.matrix_world.translation.copy()
    piece.location.x += 1.0
    bpy.context.view_layer.update()
    assert (child.matrix_world.translation - before)[:] == pytest.approx((1.0, 0.0, 0.0), abs=1e-6)
    piece.location.x -= 1.0
    bpy.context.view_layer.update()


def name_of(result):
    def name(mark) -> str:
        where = f"{result.joints[mark.joint].mark} to {result.pieces[mark.other].mark}" if mark.joint >= 0 else "base"
        return f"mark {result.pieces[mark.piece].mark} {where}"

    return name


@pytest.mark.usefixtures("_cut")
def test_pieces_carry_their_places() -> None:
    assert sorted(obj["build_order"] for obj in pieces()) == [1, 2, 3]
    assert sorted(obj["load_order"] for obj in pieces()) == [1, 2, 3]
    for obj in pieces():
        assert np.linalg.norm(obj["way_in"]) == pytest.approx(1.0)
        assert obj["way_in"][2] <= 0.0


@pytest.mark.usefixtures("_cut")
def test_trial_assembly_moves_linked_twins_and_not_the_pieces() -> None:
    home = bpy.context.scene
    places = {obj.name: obj.matrix_world.copy() for obj in pieces()}
    scene = trial.build_trial(job(), home.unit_settings)
    assert trial.trial_scene(job()) is scene
    twins = {obj["mark"]: obj for obj in scene.collection.objects if obj.type == "MESH"}
    assert {mark: twin.data for mark, twin in twins.items()} == {obj["mark"]: obj.data for obj in pieces()}
    for obj in pieces():
        twin, order = twins[obj["mark"]], obj["build_order"]
        start = 1 + (order - 1) * trial.STEP_FRAMES
        assert {curve.data_path for curve in curves_of(twin)} == {"location", "hide_viewport", "hide_render"}
        assert all(
            key.interpolation == "LINEAR"
            for curve in curves_of(twin)
            if curve.data_path == "location"
            for key in curve.keyframe_points
        )
        curves = {(curve.data_path, curve.array_index): curve for curve in curves_of(twin)}
        frames = (start - 1, start, start + 10, start + trial.STEP_FRAMES - 4, scene.frame_end)
        hidden = [curves["hide_render", 0].evaluate(frame) for frame in frames]
        assert hidden == [1.0, 0.0, 0.0, 0.0, 0.0]
        assert hidden == [curves["hide_viewport", 0].evaluate(frame) for frame in frames]
        seen = [Vector([curves["location", axis].evaluate(frame) for axis in range(3)]) for frame in frames]
        way = Vector(obj["way_in"])
        for at in seen[1:3]:
            shift = at - obj.matrix_world.translation
            assert (shift - shift.dot(way) * way).length < 1e-5
            assert shift.dot(way) < -0.1
        assert (seen[3] - obj.matrix_world.translation).length < 1e-5
    assert {obj.name: obj.matrix_world for obj in pieces()} == places
    again = trial.build_trial(job(), home.unit_settings)
    assert [s.name for s in bpy.data.scenes if trial.TRIAL in s] == [again.name]


@pytest.mark.usefixtures("_cut")
def test_one_slider_moves_all_pieces_apart() -> None:
    scene = trial.build_trial(job(), bpy.context.scene.unit_settings)
    twins = [obj for obj in scene.collection.objects if obj.type == "MESH"]
    layer = scene.view_layers[0]

    def places(value: float) -> np.ndarray:
        scene[trial.APART] = value
        scene.update_tag()  # the slider in the sidebar does so by itself
        scene.frame_set(scene.frame_end)
        layer.update()
        graph = layer.depsgraph
        return np.array([obj.evaluated_get(graph).matrix_world.translation for obj in twins])

    together, half, apart = places(0.0), places(0.5), places(1.0)
    assert np.allclose(half - together, (apart - together) / 2.0, atol=1e-5)
    assert (np.linalg.norm(apart - together, axis=1) > 0.05).sum() >= 2
    ui = scene.id_properties_ui(trial.APART).as_dict()
    assert (ui["min"], ui["max"]) == (0.0, 1.0)


@pytest.mark.usefixtures("_cut")
def test_numbers_stay_when_a_joint_moves_and_come_anew_on_request() -> None:
    before = {obj["mark"]: obj.matrix_world.translation.x for obj in pieces()}
    last = max(before, key=lambda mark: before[mark])
    group = job().seamwright
    assert group.is_cut
    bpy.context.view_layer.objects.active = max(pieces(), key=lambda obj: obj.matrix_world.translation.x)
    assert ops.build_pin(place=1) == {"FINISHED"}
    assert ops.cut() == {"FINISHED"}
    pinned = max(pieces(), key=lambda obj: obj.matrix_world.translation.x)
    assert pinned["build_order"] == 1
    assert pinned["mark"] == last
    assert ops.cut(renumber=True) == {"FINISHED"}
    assert max(pieces(), key=lambda obj: obj.matrix_world.translation.x)["mark"] == "1"
    bpy.context.view_layer.objects.active = pinned
    assert ops.build_pin(place=0) == {"FINISHED"}
