# SPDX-License-Identifier: GPL-3.0-or-later
"""What a job meets off the straight way: odd transforms, hidden and linked carvings, things changed behind its back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import bpy
import numpy as np
import panel_job
import pytest
from panel_job import corners, fresh, job, joints, ops, pieces, scan, stale, start
from seamwright import convert, job_tree
from seamwright.long_work import Dropped
from seamwright.operators.picking import PicksPoints
from seamwright.operators.seams import SEAMWRIGHT_OT_zone_mark
from seamwright.stamps import stands_as_proposed
from seamwright.surface_marks import ZONE
from shapes import rock

pytestmark = list(panel_job.WITH_EXTENSION)


def in_world(objects: list[bpy.types.Object]) -> np.ndarray:
    rows = [corners(obj) @ np.array(obj.matrix_world)[:3, :3].T + np.array(obj.matrix_world)[:3, 3] for obj in objects]
    return np.concatenate(rows)


@pytest.mark.parametrize("scale", [(1.0, 2.0, 0.5), (-1.0, 1.0, 1.0)])
def test_a_scaled_turned_and_mirrored_carving_is_cut_as_it_is_seen(scale: tuple[float, float, float]) -> None:
    fresh()
    obj = scan(rock(3))
    parent = bpy.data.objects.new("frame", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.location, parent.rotation_euler = (1.0, 2.0, 0.5), (0.0, 0.0, 0.7)
    obj.parent, obj.scale, obj.rotation_euler, obj.location = parent, scale, (0.3, 0.2, 1.0), (5.0, 1.0, 2.0)
    bpy.context.view_layer.update()
    ops.job_make()
    ops.joints_equal(parts=3)
    assert ops.cut() == {"FINISHED"}
    seen, made = in_world([obj]), in_world(pieces())
    assert len(pieces()) == 3
    assert made.min(axis=0) == pytest.approx(seen.min(axis=0), abs=1e-5)
    assert made.max(axis=0) == pytest.approx(seen.max(axis=0), abs=1e-5)
    foam = sum(obj["foam_volume_m3"] for obj in pieces())
    whole = abs(float(np.prod(scale))) * solid_volume(obj)
    # The gap takes a little.
    assert 0.9 * whole < foam < whole


def solid_volume(obj: bpy.types.Object) -> float:
    """Of the mesh by itself: sixths of the triple products of its corners."""
    points = corners(obj).astype(np.float64)
    rows = convert.attribute_values(obj.data, ".corner_vert", 1).reshape(-1, 3)
    a, b, c = (points[rows[:, k]] for k in range(3))
    return abs(float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum())) / 6.0


def hide_in_all_views(obj: bpy.types.Object) -> None:
    obj.hide_viewport = True


def hide_with_its_job(obj: bpy.types.Object) -> None:
    bpy.context.view_layer.layer_collection.children[job().name].exclude = True


@pytest.mark.parametrize("hide", [hide_in_all_views, hide_with_its_job])
def test_a_hidden_carving_is_cut_and_painted(hide: Callable[[bpy.types.Object], None]) -> None:
    """Sculpt Mode refuses what is disabled in views: a traceback came of it."""
    start(rock(3))
    obj = job().seamwright.carving
    hide(obj)
    bpy.context.view_layer.update()
    assert ops.cut() == {"FINISHED"}
    assert ops.zone_paint() == {"FINISHED"}
    assert bpy.context.mode == "SCULPT"
    bpy.ops.object.mode_set(mode="OBJECT")


def test_a_linked_carving_is_cut_and_not_painted(tmp_path: Path) -> None:
    start(rock(3))
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "library.blend"))
    fresh()
    with bpy.data.libraries.load(str(tmp_path / "library.blend"), link=True) as (_, here):
        here.objects = ["scan"]
    obj = here.objects[0]
    bpy.context.scene.collection.objects.link(obj)
    bpy.context.view_layer.objects.active = obj
    bpy.context.view_layer.update()
    assert ops.job_make() == {"FINISHED"}
    ops.joints_equal(parts=3)
    assert ops.cut() == {"FINISHED"}
    assert len(pieces()) == 3
    with pytest.raises(RuntimeError, match="linked from another file; make it local"):
        ops.zone_paint()
    assert bpy.context.mode == "OBJECT"


def test_shape_keys_count_as_they_stand() -> None:
    start(rock(3))
    obj = job().seamwright.carving
    obj.shape_key_add(name="Basis")
    key = obj.shape_key_add(name="larger")
    where = corners(obj)
    key.data.foreach_set("co", (1.5 * where).ravel())
    key.value = 1.0
    bpy.context.view_layer.update()
    assert ops.cut() == {"FINISHED"}
    assert in_world(pieces()).max(axis=0) == pytest.approx(1.5 * where.max(axis=0), abs=1e-5)
    assert stale() == []
    key.value = 0.5
    assert stale() == ["The carving has changed since the cut."]
    key.value = 1.0
    assert stale() == []
    key.data[0].co.z += 0.01
    assert stale() == ["The carving has changed since the cut."]


def test_what_is_set_of_a_modifier_of_nodes_counts() -> None:
    start(rock(3))
    tree = bpy.data.node_groups.new("grow", "GeometryNodeTree")
    tree.interface.new_socket("Geometry", in_out="INPUT", socket_type="NodeSocketGeometry")
    size = tree.interface.new_socket("Size", in_out="INPUT", socket_type="NodeSocketVector")
    tree.interface.new_socket("Geometry", in_out="OUTPUT", socket_type="NodeSocketGeometry")
    begin, end = tree.nodes.new("NodeGroupInput"), tree.nodes.new("NodeGroupOutput")
    turn = tree.nodes.new("GeometryNodeTransform")
    tree.links.new(begin.outputs[0], turn.inputs["Geometry"])
    tree.links.new(begin.outputs[1], turn.inputs["Scale"])
    tree.links.new(turn.outputs[0], end.inputs[0])
    obj = job().seamwright.carving
    modifier = obj.modifiers.new("grow", "NODES")
    modifier.node_group = tree

    def grow(value: float) -> None:
        if bpy.app.version < (5, 2, 0):
            modifier[size.identifier] = (value, value, value)
        else:
            getattr(modifier.properties.inputs, size.identifier).value = (value, value, value)
        obj.update_tag()
        bpy.context.view_layer.update()

    grow(1.5)
    assert ops.cut() == {"FINISHED"}
    assert in_world(pieces()).max(axis=0) == pytest.approx(1.5 * corners(obj).max(axis=0), abs=1e-5)
    assert stale() == []
    grow(1.6)
    assert stale() == ["The carving has changed since the cut."]


def test_a_carving_without_a_surface_is_refused_in_words() -> None:
    fresh()
    obj = bpy.data.objects.new("empty", bpy.data.meshes.new("empty"))
    bpy.context.scene.collection.objects.link(obj)
    bpy.context.view_layer.objects.active = obj
    ops.job_make()
    for call in (ops.joints_equal, ops.joints_propose, ops.cut, ops.carving_mend):
        with pytest.raises(RuntimeError, match=r"^Error: The carving has no surface[^\n]*\n?$"):
            call()


def test_a_carving_too_far_from_the_origin_is_refused() -> None:
    """At a thousand kilometres Blender rounds places of pieces to 6 cm."""
    start(rock(3))
    job().seamwright.carving.location.x = 1e6
    bpy.context.view_layer.update()
    ops.carving_check()
    assert "! It lies 1,000 km from the origin" in job().seamwright.report
    with pytest.raises(RuntimeError, match=r"rounds places to 62\.5 mm; move it near the origin"):
        ops.cut()


def test_what_the_plan_said_of_a_joint_goes_when_it_is_moved() -> None:
    start(rock(3), parts=1)
    ops.joints_propose()
    moved = joints()[0]
    assert all(stands_as_proposed(obj) for obj in joints())
    moved.location.x += 0.05
    bpy.context.view_layer.update()
    assert [stands_as_proposed(obj) for obj in joints()] == [obj != moved for obj in joints()]
    ops.cut()
    assert ["reason" in obj for obj in joints()] == [obj != moved for obj in joints()]
    curves = [obj for obj in joints() if obj.type == "CURVE" and obj != moved]
    for obj in curves[:1]:
        obj.data.splines[0].points[1].co.y += 0.05
        assert not stands_as_proposed(obj)


def test_renamed_moved_and_removed_folders_are_made_again() -> None:
    start(rock(3))
    ops.cut()
    own = job()
    own.name = "Other"
    for child in own.children:
        child.name = f"x {child.name}"
    assert ops.cut() == {"FINISHED"}
    assert len(own.children) == len({child[job_tree.HOLDS] for child in own.children})
    held = job_tree.folder(own, job_tree.PIECES)
    own.children.unlink(held)
    assert ops.cut() == {"FINISHED"}
    assert len(pieces()) == 3
    bpy.data.collections.remove(job_tree.folder(own, job_tree.JOINTS))
    assert ops.cut() == {"FINISHED"}
    assert len(pieces()) == 1
    bpy.data.collections.remove(own)
    assert job_tree.active_job(bpy.context) is None
    with pytest.raises(RuntimeError, match="Make a job first"):
        ops.cut()


def test_joints_and_pieces_copied_by_hand_find_their_place() -> None:
    start(rock(3))
    ops.cut()
    copied = joints()[0].copy()
    job_tree.folder(job(), job_tree.JOINTS).objects.link(copied)
    copied.location.x += 0.3
    again = pieces()[0].copy()
    job_tree.folder(job(), job_tree.PIECES).objects.link(again)
    bpy.context.view_layer.update()
    assert stale() != []
    assert ops.cut() == {"FINISHED"}
    assert [obj["mark"] for obj in joints()] == ["A", "B", "C"]
    assert sorted(obj["mark"] for obj in pieces()) == ["1", "2", "3", "4"]
    # What is no joint is named.
    bpy.ops.mesh.primitive_cube_add()
    job_tree.folder(job(), job_tree.JOINTS).objects.link(bpy.context.object)
    with pytest.raises(RuntimeError, match="Cube: its sheet was changed"):
        ops.cut()


def test_undo_back_and_forth_then_another_way(tmp_path: Path) -> None:
    start(rock(3))
    job().seamwright.pack_pictures = False
    bpy.ops.ed.undo_push(message="joints")
    ops.cut("EXEC_DEFAULT", True)
    bpy.ops.ed.undo()
    assert (len(pieces()), job().seamwright.is_cut) == (0, False)
    bpy.ops.ed.redo()
    assert len(pieces()) == 3
    assert ops.pack_export(folder=str(tmp_path / "first")) == {"FINISHED"}
    bpy.ops.ed.undo()
    assert not job().seamwright.is_cut
    ops.joints_equal("EXEC_DEFAULT", True, parts=4)
    ops.cut("EXEC_DEFAULT", True)
    assert stale() == []
    count = len(pieces())
    assert ops.trial("EXEC_DEFAULT", True) == {"FINISHED"}
    bpy.ops.ed.undo()
    assert (len(bpy.data.scenes), len(pieces())) == (1, count)
    assert ops.pack_export(folder=str(tmp_path / "second")) == {"FINISHED"}


def test_the_trial_assembly_is_lost_with_its_scenes() -> None:
    start(rock(3))
    ops.cut()
    ops.trial()
    bpy.data.scenes.remove(bpy.context.scene)
    assert len(pieces()) == 3
    assert ops.cut() == {"FINISHED"}
    assert ops.trial() == {"FINISHED"}
    home = next(scene for scene in bpy.data.scenes if scene != bpy.context.scene)
    bpy.data.scenes.remove(home)
    assert ops.trial_leave() == {"CANCELLED"}


def test_zones_go_with_a_copy_of_the_whole_scene() -> None:
    start(rock(3))
    obj = job().seamwright.carving
    obj.data.polygons.foreach_set("select", np.arange(len(obj.data.polygons)) < 20)
    ops.zone_mark(zone="KEEP", faces="SELECTED")
    bpy.ops.scene.new(type="FULL_COPY")
    other = job().seamwright.carving
    assert other != obj
    assert ops.cut() == {"FINISHED"}
    assert ZONE in other.data.attributes


@pytest.mark.parametrize("at", range(1, 5))
@pytest.mark.parametrize("gone", [False, True])
def test_a_zone_is_marked_as_a_whole_or_not_at_all(at: int, gone: bool) -> None:
    """Esc, or the carving deleted, after each step: neither zones nor covers are left."""
    start(rock(3), parts=1)
    obj = job().seamwright.carving
    low = in_world([obj])[:, 2] < 0.0
    rows = convert.attribute_values(obj.data, ".corner_vert", 1).reshape(-1, 3)
    obj.data.polygons.foreach_set("select", low[rows].all(axis=1))
    assert ops.zone_mark(zone="SHOW", faces="SELECTED") == {"FINISHED"}
    obj.data.polygons.foreach_set("select", ~low[rows].any(axis=1))
    before = convert.attribute_values(obj.data, ZONE, 1).copy()
    objects = sorted(bpy.data.objects.keys())
    steps = SEAMWRIGHT_OT_zone_mark.steps(SimpleNamespace(zone="KEEP", faces="SELECTED"), bpy.context, False)
    for _ in range(at):
        next(steps)
    if gone:
        objects.remove(obj.name)
        bpy.data.objects.remove(obj)
        with pytest.raises(Dropped):
            list(steps)
    else:
        steps.close()
        assert (convert.attribute_values(obj.data, ZONE, 1) == before).all()
    assert sorted(bpy.data.objects.keys()) == objects


@pytest.mark.parametrize("change", [None, lambda: bpy.data.objects.remove(job().seamwright.carving), fresh])
def test_picking_ends_with_escape_or_with_its_carving(change: Callable[[], None] | None) -> None:
    """A click after the carving had been deleted was a traceback."""
    start(rock(3), parts=1)
    told: list[str | None] = []
    said: list[str] = []
    context = SimpleNamespace(scene=bpy.context.scene, workspace=SimpleNamespace(status_text_set=told.append))

    class Picks(PicksPoints):
        asks = ("click one end", "click the other")

        def report(self, kind: set[str], text: str) -> None:
            said.append(text)

    picks = Picks()
    picks._points = []
    event = SimpleNamespace(type="ESC", value="PRESS")
    if change is not None:
        change()
        context.scene = bpy.context.scene
        event.type = "LEFTMOUSE"
    assert picks.modal(context, event) == {"CANCELLED"}
    assert told == [None]
    assert said == ([] if change is None else ["The carving was removed meanwhile; nothing was picked"])


@pytest.mark.parametrize("name", [" ", "a/b\\c:*?", "<b>&\"'", "Fels 岩"])
def test_any_name_of_an_object_makes_a_job_and_a_pack(tmp_path: Path, name: str) -> None:
    """A name of blanks is no title: a traceback came of it."""
    fresh()
    scan(rock(3), name)
    assert ops.job_make() == {"FINISHED"}
    assert job().seamwright.title.strip()
    job().seamwright.pack_pictures = False
    ops.joints_equal(parts=2)
    ops.cut()
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "job.blend"))
    assert ops.pack_export() == {"FINISHED"}
    assert len(list(tmp_path.glob("*/job.json"))) == 1


def test_a_marked_line_with_a_place_that_is_no_number_is_named() -> None:
    start(rock(3))
    curve = bpy.data.curves.new("crack", "CURVE")
    obj = bpy.data.objects.new("crack", curve)
    job_tree.ensure_folder(job(), job_tree.SEAM_LINES).objects.link(obj)
    line = curve.splines.new("POLY")
    assert ops.cut() == {"FINISHED"}  # a line of one point is none
    line.points.add(1)
    line.points[1].co = (float("nan"), 0.0, 0.0, 1.0)
    with pytest.raises(RuntimeError, match="crack: a point of it has a place that is not a finite number"):
        ops.cut()
    line.points[1].co = (1.0, 0.0, 0.0, 1.0)
    obj.scale = (0.0, 0.0, 0.0)
    bpy.context.view_layer.update()
    assert ops.cut() == {"FINISHED"}


def test_a_tolerance_of_nothing_asks_for_no_more_memory_than_there_is() -> None:
    start(rock(2), parts=2)
    job().seamwright.seam_tolerance = 0.0
    assert ops.cut() == {"FINISHED"}
