# SPDX-License-Identifier: GPL-3.0-or-later
"""A keep-clear body chosen in the scene: read, checked, drawn, and carried into the cut."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np
import panel_job as pj
import pytest
from planted import plant
from seamwright import job_tree, keep_clear
from seamwright.core.clearance.envelope import block
from seamwright.core.demo import demo_keep_clear
from seamwright.core.intake.readers import write_ply
from shapes import grid_box, rock

pytestmark = list(pj.WITH_EXTENSION)


def crate(gap: float) -> bpy.types.Object:
    """A crate beside the carving, `gap` metres from its highest x, its own origin in its middle."""
    carving = pj.job().seamwright.carving
    high = np.array([list(corner) for corner in carving.bound_box]).max(axis=0)
    mesh = block((-0.2, -0.2, -0.2), (0.2, 0.2, 0.2))
    obj = pj.convert.object_from_mesh("crate", mesh)
    bpy.context.scene.collection.objects.link(obj)
    obj.location = (float(high[0]) + 0.2 + gap, 0.3, 0.3)
    bpy.context.view_layer.update()
    return obj


def drawn() -> dict[str, bpy.types.Object]:
    folder = job_tree.folder(pj.job(), job_tree.CLEARANCE)
    assert folder is not None
    return {obj.name.split(".")[0]: obj for obj in folder.objects}


def test_a_crate_too_near_is_measured_and_drawn() -> None:
    job = pj.start(grid_box(), parts=1)
    before = pj.corners(job.seamwright.carving).tobytes()
    job.seamwright.keep_clear_body = crate(0.03)
    assert pj.ops.clearance_check() == {"FINISHED"}
    found = drawn()
    assert found["nearest points"]["distance_m"] == pytest.approx(0.03, abs=1e-6)
    region = found["carve off"]
    skin = 0.05 + region["deepest_m"] - 0.05  # clearance 50 mm: what comes off is it and the skin, less 30 mm
    assert skin == pytest.approx(0.05 + 0.00512 - 0.03, abs=0.001)
    depth = np.empty(len(region.data.vertices), dtype=np.float32)
    region.data.attributes[keep_clear.DEPTH].data.foreach_get("value", depth)
    assert depth.max() == pytest.approx(region["deepest_m"], abs=1e-6)
    folder = job_tree.folder(job, job_tree.CLEARANCE)
    assert "crate" in folder[keep_clear.SUMMARY]
    assert "25 mm" in folder[keep_clear.SUMMARY].split("\n")[0]
    assert pj.corners(job.seamwright.carving).tobytes() == before
    assert set(job.seamwright.carving.data.attributes.keys()).isdisjoint({keep_clear.DEPTH})

    job.seamwright.keep_clear_body.location.x += 0.03
    bpy.context.view_layer.update()
    from seamwright.properties import settings_link

    settings = settings_link.read(job.seamwright)
    assert folder[keep_clear.STAMP] != keep_clear.stamp(job, settings)
    assert pj.ops.clearance_check() == {"FINISHED"}
    assert "carve off" not in drawn()
    assert folder[keep_clear.STAMP] == keep_clear.stamp(job, settings)


def test_a_carving_is_mended_before_it_is_checked_as_before_it_is_cut() -> None:
    whole = rock(4)
    job = pj.start(plant(whole, ("missing_triangle", "double")).mesh, parts=1)
    job.seamwright.fill = 0.6
    job.seamwright.keep_clear_body = body = crate(0.0)
    assert pj.ops.clearance_check() == {"FINISHED"}
    away = np.maximum(np.abs(whole.vertices - np.array(body.location)) - 0.2, 0.0)
    nearest = np.linalg.norm(away, axis=1).min()  # of the corners; the surface between them may be a little nearer
    assert drawn()["nearest points"]["distance_m"] == pytest.approx(nearest, abs=0.01)
    job.seamwright.mend = "none"
    with pytest.raises(RuntimeError, match="not closed"):
        pj.ops.clearance_check()


def test_a_curve_is_the_way_in() -> None:
    job = pj.start(grid_box(), parts=1)
    obj = crate(0.2)
    job.seamwright.keep_clear_body = obj
    data = bpy.data.curves.new("way", "CURVE")
    data.dimensions = "3D"
    spline = data.splines.new("POLY")
    spline.points.add(2)
    # Drawn beside and from its end: it is moved to the body and turned about.
    for point, place in zip(spline.points, ((0, 5, 0), (-0.15, 5.5, 0), (2, 7, 0)), strict=True):
        point.co = (*place, 1.0)
    way = bpy.data.objects.new("way", data)
    bpy.context.scene.collection.objects.link(way)
    job.seamwright.keep_clear_way = way
    bpy.context.view_layer.update()
    assert pj.ops.clearance_check() == {"FINISHED"}
    line = drawn()["nearest points"]
    assert line["to_go_m"] > 0.1
    assert line["distance_m"] < 0.2


def test_a_cut_checks_each_piece() -> None:
    job = pj.start(grid_box(), parts=2)
    job.seamwright.keep_clear_body = crate(0.03)
    assert pj.ops.cut() == {"FINISHED"}
    found = [(f.check, f.severity, f.piece) for f in job.seamwright.findings if f.check == "clearance"]
    assert len(found) == 1
    assert found[0][1] == "error"


def test_bodies_of_a_settings_file_are_sought_beside_it(tmp_path: Path) -> None:
    job = pj.start(grid_box(), parts=1)
    text = '[keep_clear]\nbodies = [{ name = "boat", file = "boat.ply", at = ["9 m", "0 m", "0 m"] }]\n'
    (tmp_path / "JOB.toml").write_text(text, encoding="utf-8")
    assert pj.ops.settings_read(filepath=str(tmp_path / "JOB.toml")) == {"FINISHED"}
    assert pj.ops.cut() == {"FINISHED"}
    (said,) = [f for f in job.seamwright.findings if f.check == "clearance"]
    assert said.severity == "warning"
    assert "boat.ply" in said.message
    write_ply(tmp_path / "boat.ply", demo_keep_clear()["boat.ply"])
    assert pj.ops.cut() == {"FINISHED"}
    assert not [f for f in job.seamwright.findings if f.check == "clearance"]


def _from_file(folder: Path) -> None:
    folder.mkdir()
    text = '[keep_clear]\nbodies = [{ name = "boat", file = "boat.ply", at = ["9 m", "0 m", "0 m"] }]\n'
    (folder / "JOB.toml").write_text(text, encoding="utf-8")
    assert pj.ops.settings_read(filepath=str(folder / "JOB.toml")) == {"FINISHED"}


def test_bodies_go_along_when_settings_are_written_elsewhere(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    pj.start(grid_box(), parts=1)
    here, there = tmp_path / "here", tmp_path / "there"
    there.mkdir()
    _from_file(here)
    assert pj.ops.settings_write(filepath=str(there / "JOB.toml")) == {"FINISHED"}
    assert "boat.ply was not found and does not go along" in capfd.readouterr().out
    write_ply(here / "boat.ply", demo_keep_clear()["boat.ply"])
    assert pj.ops.settings_write(filepath=str(there / "JOB.toml")) == {"FINISHED"}
    assert (there / "boat.ply").read_bytes() == (here / "boat.ply").read_bytes()
    assert "JOB.toml written, and boat.ply beside it" in capfd.readouterr().out
    assert pj.ops.settings_read(filepath=str(there / "JOB.toml")) == {"FINISHED"}
    (there / "boat.ply").write_bytes(b"another")
    assert pj.ops.settings_read(filepath=str(here / "JOB.toml")) == {"FINISHED"}
    assert pj.ops.settings_write(filepath=str(there / "JOB.toml")) == {"FINISHED"}
    assert (there / "boat.ply").read_bytes() == b"another"
    assert "another boat.ply is there already" in capfd.readouterr().out


def test_a_chosen_body_is_written_as_a_file_beside_the_settings(tmp_path: Path) -> None:
    job = pj.start(grid_box(), parts=2)
    job.seamwright.keep_clear_body = crate(0.03)
    assert pj.ops.cut() == {"FINISHED"}
    (told,) = [f.message for f in job.seamwright.findings if f.check == "clearance"]
    assert pj.ops.settings_write(filepath=str(tmp_path / "JOB.toml")) == {"FINISHED"}
    assert (tmp_path / "crate.ply").is_file()
    job.seamwright.keep_clear_body = None
    assert pj.ops.settings_read(filepath=str(tmp_path / "JOB.toml")) == {"FINISHED"}
    assert pj.ops.cut() == {"FINISHED"}
    assert [f.message for f in job.seamwright.findings if f.check == "clearance"] == [told]
