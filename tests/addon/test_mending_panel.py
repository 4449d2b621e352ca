# SPDX-License-Identifier: GPL-3.0-or-later
"""The panel's way from a scan with faults to a carving: each fault shown, a mended and a scaled copy, all undone."""

from __future__ import annotations

import hashlib
import json

import bpy
import numpy as np
import panel_job as pj
import pytest
from planted import plant
from seamwright import convert
from seamwright.core.job import Job, Taped
from seamwright.core.mesh.mass import volume
from seamwright.operators.mending import _set_tapes
from seamwright.properties import settings_link
from seamwright.surface_marks import ZONE
from shapes import rock

pytestmark = list(pj.WITH_EXTENSION)
BOULDER = rock(4)


def test_each_fault_takes_the_view_to_its_place() -> None:
    planted = plant(BOULDER, ("hole", "flipped_patch"))
    job = pj.start(planted.mesh, parts=1)
    assert pj.ops.carving_check() == {"FINISHED"}
    faults = {row.name: at for at, row in enumerate(job.seamwright.faults)}
    assert set(faults) == {"open", "misoriented"}
    for kind, at in faults.items():
        assert pj.ops.fault_show(row=at) == {"FINISHED"}
        (place, reach), *_ = planted.truth[kind]
        assert np.linalg.norm(np.array(bpy.context.scene.cursor.location) - place) <= reach + 1e-5
    assert pj.ops.fault_show(row=99) == {"CANCELLED"}


def test_a_mended_copy_is_cut_and_the_scan_stays() -> None:
    planted = plant(BOULDER, ("hole", "double"))
    job = pj.start(planted.mesh, parts=1)
    scan = job.seamwright.carving
    before = pj.corners(scan).tobytes()
    job.seamwright.fill = 0.6
    assert pj.ops.carving_mend() == {"FINISHED"}
    mended = job.seamwright.carving
    assert mended != scan
    assert mended.name == "scan mended"
    assert scan.name in bpy.context.scene.collection.objects
    assert scan.hide_get()
    assert pj.corners(scan).tobytes() == before
    assert pj.ops.carving_check() == {"FINISHED"}
    assert job.seamwright.verdict == "solid"
    assert list(job.seamwright.faults) == []
    assert pj.ops.carving_mend() == {"FINISHED"}
    assert job.seamwright.carving == mended


def test_a_scan_is_mended_while_it_is_cut() -> None:
    """Without a copy: triangles that mending turned or left out find their way back to the scan."""
    planted = plant(BOULDER, ("flipped_patch", "double", "missing_triangle"))
    job = pj.start(planted.mesh, parts=1)
    job.seamwright.fill = 0.6
    assert pj.ops.joints_equal(parts=2) == {"FINISHED"}
    assert pj.ops.cut() == {"FINISHED"}
    assert len(pj.pieces()) == 2
    assert any("hole filled" in row.message for row in job.seamwright.findings)
    job.seamwright.mend = "none"
    with pytest.raises(RuntimeError, match="not closed"):
        pj.ops.cut()


def test_a_scaled_copy_keeps_its_mesh_and_the_tapes_agree() -> None:
    job = pj.start(BOULDER, parts=1)
    scan = job.seamwright.carving
    with pytest.raises(RuntimeError, match="No taped distance"):
        pj.ops.carving_scale()
    _set_tapes(bpy.context, job, (Taped((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 2.0), Taped((0, 0, 0), (0, 2, 0), 4.0)))
    assert pj.ops.carving_scale() == {"FINISHED"}
    copy = job.seamwright.carving
    assert copy != scan
    assert copy.data == scan.data
    bpy.context.view_layer.update()
    assert list(copy.dimensions) == pytest.approx((np.array(scan.dimensions) * 2.0).tolist(), rel=1e-6)
    taped = settings_link.read(job.seamwright).carving.taped
    assert taped[0].b == pytest.approx((2.0, 0.0, 0.0))
    assert Job.from_toml(job.seamwright.text).carving.taped == taped
    assert pj.ops.tape_remove(row=1) == {"FINISHED"}
    assert len(settings_link.read(job.seamwright).carving.taped) == 1


def test_a_taped_distance_is_picked_in_edit_mode() -> None:
    import bmesh  # after bpy, which brings it

    job = pj.start(BOULDER, parts=1)
    scan = job.seamwright.carving
    bpy.context.tool_settings.mesh_select_mode = (True, False, False)
    bpy.ops.object.mode_set(mode="EDIT")
    bm = bmesh.from_edit_mesh(scan.data)
    for vertex in bm.verts:
        vertex.select_set(vertex.index in (3, 900))
    bm.select_flush(False)
    bmesh.update_edit_mesh(scan.data)
    assert pj.ops.tape_add(length=2.5) == {"FINISHED"}
    bpy.ops.object.mode_set(mode="OBJECT")
    (one,) = settings_link.read(job.seamwright).carving.taped
    assert one.a == pytest.approx(tuple(BOULDER.vertices[3]), abs=1e-6)
    assert one.length == pytest.approx(2.5)


def test_a_new_skin_goes_round_what_cannot_be_mended() -> None:
    planted = plant(BOULDER, ("hole",))
    job = pj.start(planted.mesh, parts=1)
    job.seamwright.deviation = 0.05
    assert pj.ops.carving_mend(skin=True) == {"FINISHED"}
    mesh = job.seamwright.carving.data
    assert len(mesh.polygons) > 1000
    assert pj.ops.carving_check() == {"FINISHED"}
    assert job.seamwright.verdict == "solid"
    held = float(next(row for row in job.seamwright.report.split("\n") if "m³" in row).split()[0])
    assert held == pytest.approx(volume(BOULDER), rel=0.02)


def _dressed(obj: bpy.types.Object) -> None:
    """What scans carry: a UV map of x and y, a colour of x, y and z, two materials by side, smooth shading, a zone."""
    data = obj.data
    where = pj.corners(obj)
    vertex = np.empty(len(data.loops), dtype=np.int32)
    data.loops.foreach_get("vertex_index", vertex)
    data.uv_layers.new(name="plan").uv.foreach_set("vector", where[vertex][:, :2].ravel())
    colours = np.column_stack([where / 10.0 + 0.5, np.ones(len(where))]).astype(np.float32)
    data.color_attributes.new("paint", "FLOAT_COLOR", "POINT").data.foreach_set("color", colours.ravel())
    for name in ("rock", "moss"):
        data.materials.append(bpy.data.materials.new(name))
    middle = where[vertex].reshape(-1, 3, 3).mean(axis=1)
    for name in ("material_index", ZONE):
        convert.face_numbers(data, name, (middle[:, 0] > 0.0).astype(np.int32))
    obj[ZONE] = 1


def _carried(obj: bpy.types.Object) -> dict[str, np.ndarray]:
    """By face: the middle of its corners, of its UV places and of its colours; its material and its zone."""
    data = obj.data
    count = len(data.polygons)
    vertex = np.empty(3 * count, dtype=np.int32)
    data.loops.foreach_get("vertex_index", vertex)
    out = {"middle": pj.corners(obj)[vertex].reshape(count, 3, 3).mean(axis=1)}
    uv, colour = np.empty(6 * count, dtype=np.float32), np.empty(12 * count, dtype=np.float32)
    data.uv_layers["plan"].uv.foreach_get("vector", uv)
    paint = data.color_attributes["paint"]
    if paint.domain == "POINT":
        by_point = np.empty(4 * len(data.vertices), dtype=np.float32)
        paint.data.foreach_get("color", by_point)
        colour = by_point.reshape(-1, 4)[vertex].ravel()
    else:
        paint.data.foreach_get("color", colour)
    out["uv"], out["paint"] = uv.reshape(count, 3, 2).mean(axis=1), colour.reshape(count, 3, 4).mean(axis=1)
    for name in ("material_index", ZONE):
        out[name] = np.empty(count, dtype=np.int32)
        data.attributes[name].data.foreach_get("value", out[name])
    return out


def test_a_mended_copy_carries_what_the_scan_carries() -> None:
    planted = plant(BOULDER, ("hole", "flipped_patch"))
    job = pj.start(planted.mesh, parts=1)
    scan = job.seamwright.carving
    _dressed(scan)
    job.seamwright.fill = 0.6
    assert pj.ops.carving_mend() == {"FINISHED"}
    mended = job.seamwright.carving
    assert [material.name for material in mended.data.materials[:2]] == ["rock", "moss"]
    assert mended.data.uv_layers.active.name == "plan"
    there = {tuple(row) for row in np.round(_carried(scan)["middle"], 4).tolist()}
    found = _carried(mended)
    kept = np.array([tuple(row) in there for row in np.round(found["middle"], 4).tolist()])
    assert kept.sum() > 0.95 * len(scan.data.polygons)
    assert 0 < (~kept).sum() < 0.05 * len(kept)
    x = found["middle"][kept]
    np.testing.assert_allclose(found["uv"][kept], x[:, :2], atol=1e-5)
    np.testing.assert_allclose(found["paint"][kept][:, :3], x / 10.0 + 0.5, atol=1e-5)
    for name in ("material_index", ZONE):
        np.testing.assert_array_equal(found[name][kept], x[:, 0] > 0.0)
    assert not found["uv"][~kept].any()
    assert not found[ZONE][~kept].any()


def test_mending_a_new_skin_and_scaling_are_undone_and_redone() -> None:
    job = pj.start(plant(BOULDER, ("hole",)).mesh, parts=1)
    _dressed(job.seamwright.carving)
    job.seamwright.fill, job.seamwright.deviation = 0.6, 0.05
    _set_tapes(bpy.context, job, (Taped((0.0, 0.0, 0.0), (1.0, 0.0, 0.0), 2.0),))
    bpy.ops.ed.undo_push(message="start")
    bpy.context.scene.cursor.location.x = 0.1
    bpy.ops.ed.undo_push(message="cursor")
    own = _bytes("scan")
    steps = (
        lambda: pj.ops.carving_check("EXEC_DEFAULT", True),
        lambda: pj.ops.carving_mend("EXEC_DEFAULT", True),
        lambda: pj.ops.carving_scale("EXEC_DEFAULT", True),
        lambda: pj.ops.tape_remove("EXEC_DEFAULT", True, row=0),
        lambda: pj.ops.tape_add("EXEC_DEFAULT", True, first=(0, 0, 0), second=(1, 0, 0), length=1.5),
        lambda: pj.ops.carving_mend("EXEC_DEFAULT", True, skin=True),
    )
    seen = [_everything()]
    for step in steps:
        assert step() == {"FINISHED"}
        seen.append(_everything())
        assert _bytes("scan") == own
    assert len({repr(state) for state in seen}) == len(seen)
    for state in reversed(seen[:-1]):
        bpy.ops.ed.undo()
        assert _everything() == state
    for state in seen[1:]:
        bpy.ops.ed.redo()
        assert _everything() == state
    assert _bytes("scan") == own


def _bytes(name: str) -> dict[str, bytes]:
    """All of a mesh object: every attribute, place, materials, and what is noted on it."""
    obj = bpy.data.objects[name]
    out = {"place": bytes(np.array(obj.matrix_world, dtype=np.float32))}
    for attribute in obj.data.attributes:
        if attribute.name.startswith(".select"):
            continue
        field = {"FLOAT_VECTOR": "vector", "FLOAT2": "vector", "FLOAT_COLOR": "color"}.get(attribute.data_type, "value")
        width = {"FLOAT_VECTOR": 3, "FLOAT2": 2, "FLOAT_COLOR": 4, "INT32_2D": 2}.get(attribute.data_type, 1)
        values = np.empty(
            len(attribute.data) * width,
            dtype={"INT": np.int32, "INT32_2D": np.int32, "BOOLEAN": bool}.get(attribute.data_type, np.float32),
        )
        attribute.data.foreach_get(field, values)
        out[f"{attribute.name} {attribute.domain}"] = values.tobytes()
    out["rest"] = repr(([m.name for m in obj.data.materials], obj.modifiers.keys(), obj.get(ZONE))).encode()
    return out


def _everything() -> object:
    """What the file holds and what is shown, fetched anew."""
    job = pj.job()
    group = job.seamwright
    return (
        sorted((obj.name, obj.hide_get(), len(obj.data.polygons)) for obj in bpy.data.objects),
        {obj.name: hashlib.sha1(repr(_bytes(obj.name)).encode()).hexdigest() for obj in bpy.data.objects},
        sorted(obj.name for obj in bpy.context.scene.collection.objects),
        group.carving.name,
        group.verdict,
        group.text,
        group.report,
        [row.message for row in group.faults],
        settings_link.read(group).carving.taped,
    )


def test_places_are_plain_numbers() -> None:
    job = pj.start(plant(BOULDER, ("hole",)).mesh, parts=1)
    pj.ops.carving_check()
    assert np.array(json.loads(job.seamwright.faults[0].places)).shape == (1, 3)
