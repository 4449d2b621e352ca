# SPDX-License-Identifier: GPL-3.0-or-later
"""The panel's way from a scan with faults to a carving: each fault shown, a mended and a scaled copy, all undone."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import bpy
import numpy as np
import pytest
import seamwright

sys.path.insert(0, str(Path(__file__).parent))
import panel_job as pj
from planted import plant
from seamwright.core.job import Job, Taped
from seamwright.core.mesh.mass import volume
from seamwright.operators.mending import _set_tapes
from seamwright.properties import settings_link
from shapes import rock

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")
BOULDER = rock(4)


@pytest.fixture(autouse=True)
def _extension() -> Iterator[None]:
    pj.fresh()
    seamwright.register()
    yield
    seamwright.unregister()


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


def test_places_are_plain_numbers() -> None:
    job = pj.start(plant(BOULDER, ("hole",)).mesh, parts=1)
    pj.ops.carving_check()
    assert np.array(json.loads(job.seamwright.faults[0].places)).shape == (1, 3)
