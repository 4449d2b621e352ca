# SPDX-License-Identifier: GPL-3.0-or-later
"""Marked lines, zones and viewpoints in Blender, and what the cut makes of them."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
import panel_job as pj
import pytest
import seamwright
from seamwright import job_tree, surface_marks
from seamwright.core.mesh.mesh import BACK
from seamwright.core.seams.marks import KEEP_WHOLE, MUST_HIDE, polylines
from seamwright.core.seams.sampling import dashes
from seamwright.properties import settings_link
from shapes import grid_box

pytestmark = list(pj.WITH_EXTENSION)
MARK: Any = bpy.ops.seamwright


def marks_of(job: Any) -> Any:
    obj = job.seamwright.carving
    with seamwright.world.shown(bpy.context, obj) as depsgraph:
        return surface_marks.read_marks(job, obj, depsgraph, 1.0)


def line(job: Any, points: list[tuple[float, float, float]]) -> Any:
    """What the pen leaves behind."""
    assert MARK.seam_line_draw() == {"FINISHED"}
    obj: Any = surface_marks.marked_curves(job)[-1]
    spline = obj.data.splines.new("POLY")
    spline.points.add(len(points) - 1)
    for place, point in zip(spline.points, points, strict=True):
        place.co = (*point, 1.0)
    return obj


def test_a_drawn_line_is_read_where_it_stands() -> None:
    job = pj.start(grid_box(), parts=1)
    obj = line(job, [(0.0, 0.0, 1.0), (0.0, 0.6, 1.0), (0.0, 1.2, 1.0)])
    obj.location.x = 0.8
    obj.data.bevel_depth = 0.01
    (got,) = marks_of(job).lines
    assert np.allclose(got, [(0.8, 0.0, 1.0), (0.8, 0.6, 1.0), (0.8, 1.2, 1.0)], atol=1e-6)
    assert not any(o.name.endswith(".001") for o in bpy.data.objects)


def test_a_line_that_was_begun_and_not_drawn_is_no_line() -> None:
    job = pj.start(grid_box(), parts=2)
    assert MARK.seam_line_draw() == {"FINISHED"}
    assert marks_of(job).lines == ()
    assert pj.ops.cut() == {"FINISHED"}


def test_own_edges_count_and_uv_seams_only_when_asked() -> None:
    job = pj.start(grid_box(), parts=1)
    data: Any = job.seamwright.carving.data
    own = data.attributes.new(surface_marks.SEAM, "BOOLEAN", "EDGE")
    own.data[3].value = True
    data.edges[10].use_seam = True
    assert len(marks_of(job).lines) == 1
    job.seamwright.use_uv_seams = True
    assert len(marks_of(job).lines) == 2


def test_zones_from_selection_face_sets_and_mask() -> None:
    job = pj.start(grid_box(), parts=1)
    obj: Any = job.seamwright.carving
    data = obj.data
    top = [face.center.z > 0.99 for face in data.polygons]
    data.polygons.foreach_set("select", top)
    before = pj.corners(obj).tobytes()
    assert MARK.zone_mark(zone="KEEP", faces="SELECTED") == {"FINISHED"}
    assert pj.corners(obj).tobytes() == before
    zones = marks_of(job).zones
    assert (zones == KEEP_WHOLE).sum() == sum(top)

    sets = data.attributes.new(".sculpt_face_set", "INT", "FACE")
    front = np.array([face.center.y < 0.01 for face in data.polygons])
    sets.data.foreach_set("value", np.where(front, 7, 1).astype(np.int32))
    bpy.context.scene.cursor.location = (0.8, 0.0, 0.4)
    assert MARK.zone_mark(zone="HIDE", faces="SET") == {"FINISHED"}
    assert (marks_of(job).zones == MUST_HIDE).sum() == front.sum()

    mask = data.attributes.new(".sculpt_mask", "FLOAT", "POINT")
    mask.data.foreach_set("value", np.array([float(v.co.y > 1.19) for v in data.vertices], dtype=np.float32))
    assert MARK.zone_mark(zone="BACK", faces="MASK") == {"FINISHED"}
    rear = sum(face.center.y > 1.19 for face in data.polygons)
    kinds = np.empty(len(data.polygons), dtype=np.int32)
    data.attributes["kind"].data.foreach_get("value", kinds)
    assert (kinds == BACK).sum() == rear
    assert MARK.zone_mark(zone="PLAIN", faces="MASK") == {"FINISHED"}
    data.attributes["kind"].data.foreach_get("value", kinds)
    assert (kinds == BACK).sum() == 0


def _mask_the_top(data: Any) -> None:
    """What the mask brush leaves behind."""
    mask = data.attributes.get(".sculpt_mask") or data.attributes.new(".sculpt_mask", "FLOAT", "POINT")
    mask.data.foreach_set("value", np.array([float(v.co.z > 0.99) for v in data.vertices], dtype=np.float32))


@pytest.mark.parametrize("masked_before", [False, True])
def test_a_zone_is_painted_without_edit_mode_and_shown(masked_before: bool) -> None:
    job = pj.start(grid_box(), parts=1)
    obj: Any = job.seamwright.carving
    before = pj.corners(obj).tobytes()
    if masked_before:
        _mask_the_top(obj.data)
    assert MARK.zone_paint() == {"FINISHED"}
    assert bpy.context.mode == "SCULPT"
    assert not MARK.cut.poll()
    _mask_the_top(obj.data)
    assert MARK.zone_mark(zone="KEEP", faces="MASK") == {"FINISHED"}
    assert bpy.context.mode == "OBJECT"
    assert (".sculpt_mask" in obj.data.attributes) is masked_before
    assert pj.corners(obj).tobytes() == before
    folder = job_tree.folder(job, job_tree.ZONES)
    (cover,) = folder.objects
    assert cover.name == "zone keep whole"
    assert cover.dimensions.z < 1e-3
    assert cover.matrix_world.translation.z + max(v.co.z for v in cover.data.vertices) > 1.0
    assert folder["zones_said"] == "Zones: keep whole 1.92 m²."
    obj.data.polygons.foreach_set("select", [True] * len(obj.data.polygons))
    assert MARK.zone_mark(zone="PLAIN", faces="SELECTED") == {"FINISHED"}
    assert list(folder.objects) == []
    assert folder["zones_said"] == ""


def test_a_painted_zone_is_undone_and_redone() -> None:
    pj.start(grid_box(), parts=1)
    bpy.ops.ed.undo_push(message="start")
    assert MARK.zone_paint("EXEC_DEFAULT", True) == {"FINISHED"}
    _mask_the_top(pj.job().seamwright.carving.data)
    assert MARK.zone_mark("EXEC_DEFAULT", True, zone="KEEP", faces="MASK") == {"FINISHED"}

    def seen() -> tuple[bool, bool, int, str]:
        data = pj.job().seamwright.carving.data
        covers = job_tree.folder(pj.job(), job_tree.ZONES).objects
        return surface_marks.ZONE in data.attributes, ".sculpt_mask" in data.attributes, len(covers), bpy.context.mode

    assert seen() == (True, False, 1, "OBJECT")
    bpy.ops.ed.undo()
    assert seen() == (False, True, 0, "OBJECT")
    bpy.ops.ed.redo()
    assert seen() == (True, False, 1, "OBJECT")


def test_nothing_to_mark_is_said() -> None:
    job = pj.start(grid_box(), parts=1)
    data: Any = job.seamwright.carving.data
    data.polygons.foreach_set("select", [False] * len(data.polygons))
    for faces, word in (("SELECTED", "no face is selected"), ("SET", "no face sets"), ("MASK", "nothing is masked")):
        with pytest.raises(RuntimeError, match=f"(?i){word}"):
            MARK.zone_mark(zone="KEEP", faces=faces)


def test_cut_tells_what_it_keeps_to() -> None:
    job = pj.start(grid_box(), parts=2)
    (joint,) = job_tree.joints(job)
    at = joint.matrix_world.translation.x
    line(job, [(at, 0.0, 0.0), (at, 0.0, 1.0), (at, 1.2, 1.0), (at, 1.2, 0.0)])
    assert MARK.viewpoint_add() == {"FINISHED"}
    (camera,) = surface_marks.viewpoints(job)
    assert camera.location.z == pytest.approx(1.6)
    assert pj.ops.cut() == {"FINISHED"}
    assert joint["on_seam_share"] == pytest.approx(1.0)
    # From the front one sees the front edge of the cut, and not the back.
    assert 0.9 < joint["seen_length_m"] < joint["visible_length_m"] - 0.9
    folder = job_tree.folder(job, job_tree.LINES)
    assert [obj["on_seam"] for obj in folder.objects] == [True]
    assert "marked lines" in job.seamwright.seams_text
    assert pj.stale() == []
    surface_marks.marked_curves(job)[0].location.x += 0.2
    assert pj.stale() == ["Settings have changed since the cut."]
    assert pj.ops.cut() == {"FINISHED"}
    assert joint["on_seam_share"] == 0.0
    assert [obj["on_seam"] for obj in folder.objects] == [False]
    assert joint["status"] == "warning"


def test_a_zone_that_is_to_keep_whole_is_told() -> None:
    job = pj.start(grid_box(), parts=2)
    data: Any = job.seamwright.carving.data
    data.polygons.foreach_set("select", [face.center.z > 0.99 for face in data.polygons])
    assert MARK.zone_mark(zone="KEEP", faces="SELECTED") == {"FINISHED"}
    assert pj.ops.cut() == {"FINISHED"}
    found = [f for f in job.seamwright.findings if f.check == "keep_whole"]
    assert [f.joint for f in found] == ["A"]
    assert "1.20 m" in found[0].message
    assert found[0].has_place


def test_settings_of_seams_go_both_ways() -> None:
    job = pj.start(grid_box(), parts=1)
    group = job.seamwright
    assert group.seams == {"crevice", "marked", "glue line"}
    group.seams = {"marked"}
    group.seam_tolerance = 0.04
    group.on_seam_note = 0.75
    read = settings_link.read(group).joints
    assert (read.seams, read.seam_tolerance, read.on_seam_note) == (("marked",), 0.04, 0.75)


def test_dashes_cover_half() -> None:
    straight = np.array([[0.0, 0.0, 0.0], [0.31, 0.0, 0.0], [1.2, 0.0, 0.0]])
    parts = dashes(straight, 0.06)
    assert len(parts) == 10
    assert sum(np.linalg.norm(np.diff(part, axis=0), axis=1).sum() for part in parts) == pytest.approx(0.6)


def test_edges_become_lines() -> None:
    points = np.arange(24.0).reshape(8, 3)
    ring = np.array([(0, 1), (1, 2), (2, 0)])
    (loop,) = polylines(points, ring)
    assert len(loop) == 4
    assert (loop[0] == loop[-1]).all()
    fork = np.array([(3, 4), (4, 5), (4, 6), (6, 7)])
    lines = polylines(points, fork)
    assert sorted(len(each) for each in lines) == [2, 2, 3]
