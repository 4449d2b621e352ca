# SPDX-License-Identifier: GPL-3.0-or-later
"""The whole job by operators, and what must hold after each of them."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np
import panel_job as pj
import pytest
import seamwright
from mathutils import Matrix
from seamwright import job_setup, job_tree, results, stamps, watch
from seamwright.commands import main
from seamwright.core import Job
from seamwright.core.jobpack.joints_file import read_joints
from seamwright.joint_object import read_joint
from seamwright.operators.common import read_joints as joints_of
from seamwright.operators.common import select_only
from seamwright.properties import settings_link
from shapes import grid_box, joined, moved, rock, torus

pytestmark = list(pj.WITH_EXTENSION)


def test_whole_job_gives_pieces_with_numbers() -> None:
    job = pj.start()
    assert pj.ops.carving_check() == {"FINISHED"}
    assert job.seamwright.verdict == "solid"
    before = pj.corners(job.seamwright.carving).tobytes()
    assert pj.ops.cut() == {"FINISHED"}
    pieces = pj.pieces()
    assert [p["mark"] for p in pieces] == ["1", "2", "3"]
    for piece in pieces:
        assert piece["finished_mass_kg"] == piece["foam_mass_kg"] + piece["skin_mass_kg"]
        assert {"kind", "source", "origin"} <= set(piece.data.attributes.keys())
        assert piece["status"] in ("ok", "warning", "error")
        assert len(piece["handling_box_m"]) == 3
    assert pj.corners(job.seamwright.carving).tobytes() == before
    assert job.seamwright.carving.hide_get()
    assert pj.stale() == []


def test_check_names_what_is_wrong() -> None:
    mesh = grid_box()
    pj.start(type(mesh)(mesh.vertices, mesh.triangles[: -len(mesh.triangles) // 3]), parts=1)
    assert pj.ops.carving_check() == {"FINISHED"}
    assert pj.job().seamwright.verdict == "not a solid"
    assert [row.name for row in pj.job().seamwright.faults if row.severity == "error"] == ["open"]
    assert pj.job().seamwright.report.count("\n> ") == 1
    assert pj.ops.carving_faults() == {"FINISHED"}
    assert bpy.context.mode == "EDIT_MESH"
    with pytest.raises(RuntimeError, match="Object Mode"):
        pj.ops.cut()


def test_same_tables_as_the_command_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("seamwright.pictures.render_pictures", lambda result, progress: {})
    pj.start()
    pj.ops.limits_preset(preset="two")
    assert pj.ops.joints_propose() == {"FINISHED"}
    pj.joints()[0].location.x += 0.05
    assert pj.ops.cut() == {"FINISHED"}
    pj.job().seamwright.pack_pictures = False
    assert pj.ops.pack_export(folder=str(tmp_path / "panel")) == {"FINISHED"}
    assert pj.ops.settings_write(filepath=str(tmp_path / "JOB.toml")) == {"FINISHED"}
    assert pj.ops.joints_write(filepath=str(tmp_path / "JOINTS.json")) == {"FINISHED"}
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "file.blend"))
    seamwright.unregister()
    code = main(
        [
            *f"run {tmp_path}/file.blend --object scan --job {tmp_path}/JOB.toml".split(),
            *f"--joints {tmp_path}/JOINTS.json --out {tmp_path}/line".split(),
        ]
    )
    seamwright.register()
    assert code in (0, 1)
    panel, line = pj.tables(tmp_path / "panel"), pj.tables(tmp_path / "line")
    assert "pieces.csv" in panel
    assert panel == line


def test_pack_is_the_same_from_a_file_opened_again(tmp_path: Path) -> None:
    pj.start()
    pj.joints()[1].rotation_euler.x += 0.3
    pj.ops.cut()
    pj.job().seamwright.pack_pictures = False
    pj.ops.pack_export(folder=str(tmp_path / "first"))
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "file.blend"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "file.blend"))
    assert pj.stale() == []
    assert results.kept("") is None
    assert pj.ops.pack_export(folder=str(tmp_path / "second")) == {"FINISHED"}
    assert pj.tables(tmp_path / "first") == pj.tables(tmp_path / "second")
    # The pack's own file goes on with the same job.
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "first" / "job.blend"))
    assert [p["mark"] for p in pj.pieces()] == ["1", "2", "3"]
    assert pj.ops.cut() == {"FINISHED"}


def test_out_of_date_says_what_changed() -> None:
    job = pj.start()
    assert pj.stale() == []
    pj.ops.cut()
    joint = pj.joints()[1]
    joint.location.x += 0.02
    assert pj.stale() == [f"Changed since the cut: {joint.name}."]
    with pytest.raises(RuntimeError, match="cut again"):
        pj.ops.pack_export(folder="//nowhere")
    joint.location.x -= 0.02
    assert pj.stale() == []
    job.seamwright.kerf = 0.004
    assert pj.stale() == ["Settings have changed since the cut."]
    pj.ops.cut()
    job.seamwright.carving.data.vertices[5].co.z += 0.01
    assert pj.stale() == ["The carving has changed since the cut."]
    pj.ops.cut()
    job_tree.remove_object(pj.joints()[0])
    assert pj.stale()[-1] == "1 joint has been taken away since the cut."


def test_a_change_of_the_carving_is_noticed_without_being_asked() -> None:
    job = pj.start()
    pj.ops.cut()
    assert watch.surface_now(job) == job.seamwright.cut_surface
    carving = job.seamwright.carving
    carving.hide_set(False)
    carving.data.vertices[5].co.z += 0.01
    carving.data.update()
    bpy.context.view_layer.update()
    assert bpy.app.timers.is_registered(watch._look)
    watch._look()
    assert watch.surface_now(job) != job.seamwright.cut_surface


def test_cutting_again_keeps_each_object() -> None:
    pj.start()
    pj.ops.cut()
    before = {obj.session_uid if hasattr(obj, "session_uid") else obj.name: obj["mark"] for obj in pj.pieces()}
    own = pj.pieces()[1]
    own.name = "the bow"
    own["note"] = "carry first"
    pj.joints()[0].location.x -= 0.1
    pj.ops.cut()
    after = {obj.session_uid if hasattr(obj, "session_uid") else obj.name: obj["mark"] for obj in pj.pieces()}
    assert after == before
    assert pj.pieces()[1].name == "the bow"
    assert pj.pieces()[1]["note"] == "carry first"
    middle = (pj.joints()[0].location + pj.joints()[1].location) / 2.0
    bpy.context.scene.cursor.location = middle
    pj.ops.joint_add(shape="PLANE", square_to="X")
    pj.ops.cut()
    assert len(pj.pieces()) == 4
    kept = {obj.session_uid if hasattr(obj, "session_uid") else obj.name for obj in pj.pieces()}
    assert set(before) <= kept
    assert not [mesh for mesh in bpy.data.meshes if not mesh.users]


def test_pieces_carry_uv_colours_and_materials() -> None:
    pj.fresh()
    obj = pj.scan(rock(3))
    data = obj.data
    where = pj.corners(obj)
    vertex = np.empty(len(data.loops), dtype=np.int32)
    data.loops.foreach_get("vertex_index", vertex)
    # Values that are linear in place: what is carried must be what the place says, wherever a triangle was cut.
    data.uv_layers.new(name="plan").uv.foreach_set("vector", where[vertex][:, :2].ravel())
    for name, kind, domain, at in (
        ("paint", "FLOAT_COLOR", "POINT", where),
        ("dye", "BYTE_COLOR", "CORNER", where[vertex]),
    ):
        colour = np.column_stack([(at + 2.0) / 4.0, np.ones(len(at))]).astype(np.float32)
        field = "color_srgb" if kind == "BYTE_COLOR" else "color"
        data.color_attributes.new(name, kind, domain).data.foreach_set(field, colour.ravel())
    for name in ("rock", "moss"):
        data.materials.append(bpy.data.materials.new(name))
    data.polygons.foreach_set("material_index", (where[vertex[::3], 2] > 0).astype(np.int32))
    wanted = [p.material_index for p in data.polygons]
    pj.ops.job_make()
    pj.ops.joints_equal(parts=3)
    pj.ops.cut()
    pj.ops.cut()
    for piece in pj.pieces():
        mesh = piece.data
        at = pj.corners(piece) + np.array(piece.location)
        vertex = np.array([loop.vertex_index for loop in mesh.loops])
        carved = np.repeat([a.value == 0 for a in mesh.attributes["origin"].data], 3)
        uv = np.array([item.vector[:] for item in mesh.uv_layers["plan"].uv])
        assert uv[carved] == pytest.approx(at[vertex][carved, :2], abs=2e-6)
        assert (uv[~carved] == 0.0).all()
        # A byte is rounded in the scan and again in the piece: half a step each.
        for name, near in (("paint", 2e-6), ("dye", 1.0 / 255.0 + 1e-6)):
            attribute = mesh.color_attributes[name]
            field = "color_srgb" if attribute.data_type == "BYTE_COLOR" else "color"
            colour = np.array([getattr(item, field)[:] for item in attribute.data])
            assert colour[carved, :3] == pytest.approx((at[vertex][carved] + 2.0) / 4.0, abs=near)
        assert [m.name for m in mesh.materials] == ["rock", "moss", "Seamwright joint face"]
        source = [a.value for a in mesh.attributes["source"].data]
        for face, triangle, ours in zip(mesh.polygons, source, carved[::3], strict=True):
            assert face.material_index == (wanted[triangle] if ours else 2)
            assert face.use_smooth or not ours


def test_mirrored_scan_carries_the_right_values() -> None:
    pj.fresh()
    obj = pj.scan(rock(3))
    obj.scale.x = -1.0
    vertex = np.empty(len(obj.data.loops), dtype=np.int32)
    obj.data.loops.foreach_get("vertex_index", vertex)
    obj.data.uv_layers.new(name="plan").uv.foreach_set("vector", pj.corners(obj)[vertex][:, :2].ravel())
    pj.ops.job_make()
    pj.ops.joints_equal(parts=2)
    pj.ops.cut()
    for piece in pj.pieces():
        at = (pj.corners(piece) + np.array(piece.location)) * [-1.0, 1.0, 1.0]
        vertex = np.array([loop.vertex_index for loop in piece.data.loops])
        carved = np.repeat([a.value == 0 for a in piece.data.attributes["origin"].data], 3)
        uv = np.array([item.vector[:] for item in piece.data.uv_layers["plan"].uv])
        assert uv[carved] == pytest.approx(at[vertex][carved, :2], abs=2e-6)


def test_joint_is_read_where_it_stands() -> None:
    job = pj.start()
    joint = pj.joints()[0]
    carving = job.seamwright.carving
    exact = read_joint(joint, carving)
    assert read_joint(joint, carving).point.tolist() == exact.point.tolist()
    turn = Matrix.Rotation(0.4, 4, "Z") @ Matrix.Rotation(0.2, 4, "Y")
    joint.matrix_world = Matrix.Translation((0.3, -0.2, 0.1)) @ turn @ joint.matrix_world
    bpy.context.view_layer.update()
    moved = read_joint(joint, carving)
    matrix = np.array(joint.matrix_world)
    assert moved.point == pytest.approx(matrix[:3, 3], abs=0)
    assert moved.normal == pytest.approx(matrix[:3, 2], abs=1e-6)
    joint.hide_viewport = True
    bpy.context.view_layer.update()
    assert read_joint(joint, carving).point.tolist() == moved.point.tolist()
    joint.data.vertices[0].co.z += 0.1
    with pytest.raises(RuntimeError, match="Edit Mode"):
        pj.ops.cut()


def test_part_of_a_joint_moves_with_the_carving() -> None:
    job = pj.start(parts=2)
    bpy.context.scene.cursor.location = pj.joints()[0].location
    bpy.context.scene.cursor.location.x -= 0.5
    pj.ops.joint_add(shape="PLANE", square_to="Y")
    pj.ops.joint_reach(reach="CURSOR")
    pj.ops.cut()
    assert len(pj.pieces()) == 3
    numbers = sorted(p["foam_volume_m3"] for p in pj.pieces())
    for obj in (job.seamwright.carving, *pj.joints()):
        obj.location += Matrix.Translation((5.0, 3.0, 0.0)).translation
    assert pj.ops.cut() == {"FINISHED"}
    assert sorted(p["foam_volume_m3"] for p in pj.pieces()) == pytest.approx(numbers, rel=1e-5)
    pj.joints()[1].location.x += 0.01
    assert pj.ops.cut() == {"FINISHED"}
    pj.ops.joint_reach(reach="ALL")
    pj.ops.cut()
    assert len(pj.pieces()) == 4


def test_a_ring_is_cut_on_one_limb_and_parted_by_two() -> None:
    job = pj.start(torus(48, 24, 1.5, 0.4), parts=1)
    for side in (1.0, -1.0):
        bpy.context.scene.cursor.location = (0.2 * side, 0.1 * side, 0.0)
        pj.ops.joint_add(shape="PLANE", square_to="Y")
        bpy.context.view_layer.update()
        bpy.context.scene.cursor.location = (1.5 * side, 0.0, 0.1)
        pj.ops.joint_reach(reach="LIMB")
        assert pj.ops.cut() == {"FINISHED"}
        assert len(pj.pieces()) == (1 if side > 0.0 else 2)
        assert pj.stale() == []
    first = pj.joints()[0]
    bpy.context.view_layer.update()
    assert first.dimensions.length < 2.0, "its sheet is drawn through the other limb too"
    # The point stays with the carving; a joint that is shifted along the limb still finds it.
    first.location.y += 0.2
    for obj in (job.seamwright.carving, *pj.joints()):
        obj.location.z += 3.0
    assert pj.ops.cut() == {"FINISHED"}
    assert len(pj.pieces()) == 2
    bpy.context.scene.cursor.location = (9.0, 9.0, 9.0)
    select_only(bpy.context, [first])
    pj.ops.joint_reach(reach="LIMB")
    with pytest.raises(RuntimeError, match="from the nearest face of the joint"):
        pj.ops.cut()
    pj.ops.joint_reach(reach="ALL")
    assert pj.ops.cut() == {"FINISHED"}
    assert len(pj.pieces()) == 3


def test_profile_is_bent_by_its_points() -> None:
    pj.start(parts=1)
    pj.ops.joint_add(shape="PROFILE", square_to="X")
    pj.ops.cut()
    even = [p["foam_volume_m3"] for p in pj.pieces()]
    line = pj.joints()[0].data.splines[0]
    for k, point in enumerate(line.points):
        point.co.y = 0.2 if k % 2 else 0.1
    assert pj.stale() == ["Changed since the cut: joint A."]
    pj.ops.cut()
    bent = [p["foam_volume_m3"] for p in pj.pieces()]
    assert len(bent) == 2
    assert bent != pytest.approx(even, rel=1e-3)
    exact = read_joints(
        (pj_text := str(pj.joints()[0]["joint"])) and '{"schema_version":1,"joints":[' + pj_text + "]}"
    )[0]
    assert exact.points[1::2, 1] == pytest.approx(0.2, abs=1e-6)


def test_order_and_removal_keep_the_letters_right() -> None:
    pj.start(parts=4)
    first, second, third = pj.joints()
    bpy.context.view_layer.objects.active = third
    pj.ops.joint_order(way="EARLIER")
    assert [obj["mark"] for obj in (first, third, second)] == ["A", "B", "C"]
    assert [obj.name for obj in pj.joints()] == ["joint A", "joint B", "joint C"]
    pj.ops.joint_remove()
    assert [obj.name for obj in pj.joints()] == ["joint A", "joint B"]
    copy = second.copy()
    second.users_collection[0].objects.link(copy)
    copy.location.x += 0.2
    pj.ops.cut()
    assert [obj["mark"] for obj in pj.joints()] == ["A", "B", "C"]


def test_settings_go_there_and_back_to_the_last_digit() -> None:
    pj.start(parts=1)
    group = pj.job().seamwright
    text = Job().to_toml().replace('"2.44 m"', '"2.4412345678901 m"').replace('"paint"', '"matt paint"')
    job = Job.from_toml(text)
    for scale in (1.0, 0.001, 0.01):
        settings_link.load(group, job, scale)
        assert settings_link.read(group) == job
        group.kerf = 0.0042 / scale
        changed = settings_link.read(group)
        assert changed.foam.kerf == 0.0042
        assert changed.foam.billet == job.foam.billet
    group.use_piece_size = True
    assert settings_link.read(group).limits.piece_size == job.size_limit


def test_settings_file_there_and_back(tmp_path: Path) -> None:
    pj.start(parts=1)
    path = tmp_path / "JOB.toml"
    path.write_text('title = "Wrenlow Skerry"\n[carving]\nunit = "mm"\nup = "y"\n[limits]\npiece_mass = "33 kg"\n')
    assert pj.ops.settings_read(filepath=str(path)) == {"FINISHED"}
    assert pj.job().seamwright.piece_mass == 33.0
    path.write_text("[limits]\npiece_mas = 3\n")
    with pytest.raises(RuntimeError, match="piece_mass"):
        pj.ops.settings_read(filepath=str(path))
    assert pj.job().seamwright.piece_mass == 33.0


def test_import_makes_a_job(tmp_path: Path) -> None:
    from seamwright.core.intake.readers import write_ply

    mesh = rock(3)
    write_ply(tmp_path / "skerry.ply", type(mesh)(mesh.vertices * 1000.0, mesh.triangles))
    with pytest.raises(RuntimeError, match="outside"):
        pj.ops.carving_import(filepath=str(tmp_path / "skerry.ply"))
    assert pj.ops.carving_import(filepath=str(tmp_path / "skerry.ply"), unit="1 mm") == {"FINISHED"}
    carving = pj.job().seamwright.carving
    assert list(carving.dimensions) == pytest.approx(mesh.size.tolist(), rel=1e-5)


@pytest.mark.parametrize("scale", [0.001, 0.01])
def test_unit_scale_of_the_scene(scale: float) -> None:
    masses = []
    for unit in (1.0, scale):
        pj.fresh()
        bpy.context.scene.unit_settings.scale_length = unit
        pj.scan(rock(3))
        pj.ops.job_make()
        pj.ops.joints_equal(parts=3)
        pj.joints()[0].location.x += 0.1 / unit
        pj.ops.cut()
        masses.append([p["finished_mass_kg"] for p in pj.pieces()])
    assert masses[0] == pytest.approx(masses[1], rel=1e-5)
    bpy.context.scene.unit_settings.scale_length = 1.0
    with pytest.raises(RuntimeError, match="unit scale"):
        pj.ops.cut()
    assert pj.ops.lengths_keep() == {"FINISHED"}
    assert settings_link.read(pj.job().seamwright) == settings_link.read(pj.job().seamwright)
    assert pj.job().seamwright.hand_room == pytest.approx(0.05)


def test_two_jobs_do_not_disturb_each_other() -> None:
    first = pj.start()
    pj.ops.cut()
    held = {obj.name for obj in pj.pieces()}
    pj.scan(rock(3, seed=4), "other")
    pj.ops.job_make()
    assert pj.job() != first
    pj.ops.joints_equal(parts=2)
    pj.ops.cut()
    assert len(pj.pieces()) == 2
    bpy.context.scene.seamwright.job = first
    assert {obj.name for obj in pj.pieces()} == held
    assert pj.stale() == []


def test_append_carries_the_whole_job(tmp_path: Path) -> None:
    job = pj.start()
    pj.ops.cut()
    name = job.name
    volumes = [p["foam_volume_m3"] for p in pj.pieces()]
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "job.blend"))
    pj.fresh()
    with bpy.data.libraries.load(str(tmp_path / "job.blend"), link=False) as (there, here):
        here.collections = [c for c in there.collections if c == name]
    bpy.context.scene.collection.children.link(here.collections[0])
    assert [p["foam_volume_m3"] for p in pj.pieces()] == volumes
    assert pj.stale() == []
    assert pj.ops.cut() == {"FINISHED"}
    assert [p["foam_volume_m3"] for p in pj.pieces()] == pytest.approx(volumes, rel=1e-9)


@pytest.mark.parametrize("shape", ["PLANE", "PROFILE"])
def test_a_cut_draws_its_joints_no_larger_than_they_cut(shape: str) -> None:
    """A joint through one of two blocks ends up as wide as that block, and is the same joint to the last digit."""
    both = joined(grid_box(), moved(grid_box(), shift=(0.0, 5.0, 0.0)))
    job = pj.start(both, parts=1)
    bpy.context.scene.cursor.location = (0.7, 0.6, 0.5)
    assert pj.ops.joint_add(shape=shape, square_to="X" if shape == "PLANE" else "Z") == {"FINISHED"}
    assert pj.ops.joint_reach(reach="CURSOR") == {"FINISHED"}
    (obj,) = pj.joints()
    bpy.context.view_layer.update()
    assert obj.dimensions.length > 5.0
    (before,) = joints_of(job, 1.0)
    assert pj.ops.cut() == {"FINISHED"}
    assert len(pj.pieces()) == 3
    bpy.context.view_layer.update()
    assert pj.stale() == []
    after = read_joint(obj, job.seamwright.carving)
    assert repr(after) == repr(before)
    if shape == "PLANE":
        corners = np.array([obj.matrix_world @ vertex.co for vertex in obj.data.vertices])
        assert np.abs((corners - after.point) @ after.normal).max() < 1e-6
        # Of a block 1.2 m deep and 1 m high, with a rim of 4 % all round.
        assert corners.min(axis=0)[1:].tolist() == pytest.approx([-0.048, -0.04], abs=1e-5)
        assert corners.max(axis=0)[1:].tolist() == pytest.approx([1.248, 1.04], abs=1e-5)
    else:
        assert obj.data.extrude == pytest.approx(0.6 * 1.08, abs=1e-5)
        assert obj.matrix_world.translation.y == pytest.approx(0.6, abs=1e-5)


def test_each_step_is_undone_and_redone() -> None:
    pj.fresh()
    pj.scan(rock(3))
    bpy.ops.ed.undo_push(message="start")
    bpy.context.scene.cursor.location.x = 0.1
    bpy.ops.ed.undo_push(message="cursor")
    steps = [
        lambda: pj.ops.job_make("EXEC_DEFAULT", True),
        lambda: pj.ops.carving_check("EXEC_DEFAULT", True),
        lambda: pj.ops.limits_preset("EXEC_DEFAULT", True, preset="two"),
        lambda: pj.ops.joints_equal("EXEC_DEFAULT", True, parts=3),
        lambda: pj.ops.joint_add("EXEC_DEFAULT", True),
        lambda: pj.ops.cut("EXEC_DEFAULT", True),
        lambda: pj.ops.joints_propose("EXEC_DEFAULT", True),
        lambda: pj.ops.cut("EXEC_DEFAULT", True),
        lambda: pj.ops.joints_clear("EXEC_DEFAULT", True),
    ]
    seen = [_picture()]
    for step in steps:
        assert step() == {"FINISHED"}
        seen.append(_picture())
    assert len({str(s) for s in seen}) == len(seen)
    for state in reversed(seen[:-1]):
        bpy.ops.ed.undo()
        assert _picture() == state
    for state in seen[1:]:
        bpy.ops.ed.redo()
        assert _picture() == state


def _picture() -> object:
    """What the job looks like in data, fetched anew."""
    job = job_tree.active_job(bpy.context)
    if job is None:
        return None
    return (
        job.seamwright.verdict,
        settings_link.read(job.seamwright),
        [(o.name, o["order"], [round(v, 5) for row in o.matrix_basis for v in row]) for o in job_tree.joints(job)],
        [(o.name, len(o.data.polygons), o["finished_mass_kg"]) for o in job_tree.pieces(job)],
        len(job.seamwright.findings),
        stamps.out_of_date(job, 1.0, watch.take(job)),
    )


def test_file_of_the_command_line_becomes_a_job(tmp_path: Path) -> None:
    from pack_sample import sample_result
    from seamwright.job_blend import write_blend

    result = sample_result()
    write_blend(tmp_path / "job.blend", result)
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "job.blend"))
    job_setup.adopt()
    assert settings_link.read(pj.job().seamwright) == result.job
    read = joints_of(pj.job(), 1.0)
    for joint, record in zip(read, result.joints, strict=True):
        assert joint.kind == record.joint.kind
        assert (joint.part is None) == (record.joint.part is None)
    assert read[0].point.tolist() == result.joints[0].joint.point.tolist()
    assert pj.ops.cut() == {"FINISHED"}
    assert len(pj.pieces()) == 3


def test_drawing_needs_no_time_to_speak_of() -> None:
    import time

    pj.start(rock(6), parts=20)
    pj.ops.cut()
    job = pj.job()
    start = time.perf_counter()
    for _ in range(20):
        stamps.out_of_date(job, 1.0, watch.surface_now(job))
    assert (time.perf_counter() - start) / 20 < 0.02


def test_unregister_leaves_nothing() -> None:
    def held() -> tuple[object, ...]:
        handlers = {
            # A set: Blender's own add-ons add theirs again with every factory reset.
            name: {(getattr(h, "__module__", ""), getattr(h, "__name__", "")) for h in getattr(bpy.app.handlers, name)}
            for name in dir(bpy.app.handlers)
            if isinstance(getattr(bpy.app.handlers, name), list)
        }
        classes = sorted(n for n in dir(bpy.types) if "seamwright" in n.lower())
        ours = [
            kind for kind in (bpy.types.Scene, bpy.types.Collection, bpy.types.Object) if hasattr(kind, "seamwright")
        ]
        return handlers, classes, ours, bpy.app.timers.is_registered(watch._look), dir(bpy.ops.seamwright)

    pj.fresh()
    seamwright.unregister()
    before = held()
    seamwright.register()
    pj.start()
    pj.ops.cut()
    pj.fresh()
    seamwright.unregister()
    assert held() == before
    assert before[1:3] == ([], [])
    seamwright.register()
