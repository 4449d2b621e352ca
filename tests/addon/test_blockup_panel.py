# SPDX-License-Identifier: GPL-3.0-or-later
"""The block-up by operators: shown, searched, set by points, and taken into the pack."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import bpy
import numpy as np
import panel_job as pj
import pytest
from seamwright import blockup_object, job_tree
from seamwright.core.blockup.layout import Layout
from seamwright.properties import settings_link
from shapes import box, moved, rock, turned

pytestmark = list(pj.WITH_EXTENSION)


def shown() -> bpy.types.Collection:
    held = job_tree.folder(pj.job(), job_tree.BLOCKUP)
    assert held is not None
    return held


def stone() -> object:
    return moved(rock(3, 4, size=(3.0, 1.6, 1.0)), shift=(2.0, 1.0, 0.5))


def test_search_sets_the_position_and_shows_it() -> None:
    job = pj.start(moved(box((4.8, 1.2, 0.6)), turned((0, 0, 1), 0.4), (1.0, 2.0, 0.0)), parts=1)
    assert pj.ops.blockup_search() == {"FINISHED"}
    settings = settings_link.read(job.seamwright).blockup
    assert (settings.built, settings.position) == ("planned", "given")
    assert settings.rotation % math.pi == pytest.approx(0.4, abs=1e-5)
    assert "takes 2 billets" in shown()[blockup_object.SUMMARY]
    boxes = shown().objects["billets"]
    assert len(boxes.data.vertices) == 16
    assert boxes.display_type == "WIRE"
    assert boxes.hide_render
    # One end joint, whose line goes round the bar where it comes to the surface.
    lines = shown().objects["glue lines"]
    length = sum(
        (lines.data.vertices[e.vertices[0]].co - lines.data.vertices[e.vertices[1]].co).length for e in lines.data.edges
    )
    assert length == pytest.approx(2 * (1.2 + 0.6), abs=1e-4)


def test_showing_again_replaces_and_says_what_changed() -> None:
    job = pj.start(stone(), parts=1)
    assert pj.ops.blockup_show() == {"FINISHED"}  # unknown: drawn only
    assert settings_link.read(job.seamwright).blockup.built == "unknown"
    first = shown()[blockup_object.STAMP]
    assert first == blockup_object.stamp(settings_link.read(job.seamwright))
    job.seamwright.block_built = "as-given"
    job.seamwright.block_rotation = 0.3
    assert blockup_object.stamp(settings_link.read(job.seamwright)) != first
    assert pj.ops.blockup_show() == {"FINISHED"}
    assert len([o for o in shown().objects if o.name.startswith("billets")]) == 1


@pytest.mark.parametrize("scale", [1.0, 0.001])
def test_points_on_a_glue_line_move_the_block_up(scale: float) -> None:
    pj.fresh()
    bpy.context.scene.unit_settings.scale_length = scale
    pj.scan(stone())
    assert pj.ops.job_make() == {"FINISHED"}
    job = pj.job()
    truth = Layout((2.44, 1.22, 0.61), (0.3, -0.2, 0.1), 0.25)
    rows = truth.to_job([[2.44, 0.2, 0.1], [2.44, 1.0, 0.3], [2.44, 0.6, 0.5]]) / scale
    names = ("first", "second", "third")
    assert pj.ops.blockup_points(**dict(zip(names, rows.tolist(), strict=True))) == {"FINISHED"}
    found = settings_link.read(job.seamwright).blockup
    assert found.built == "as-given"
    assert found.rotation == pytest.approx(0.25, abs=1e-5)
    layout = Layout((2.44, 1.22, 0.61), found.origin, found.rotation)
    away = layout.to_block(rows * scale)[:, 0] / 2.44
    assert np.abs(away - np.round(away)).max() * 2.44 < 1e-5
    with pytest.raises(RuntimeError, match="further apart"):
        pj.ops.blockup_points(first=(0, 0, 0), second=(0.001, 0, 0), third=(0, 0, 0))


def test_the_pack_has_the_block_up_of_the_panel(tmp_path: Path) -> None:
    pj.start(stone(), parts=2)
    assert pj.ops.blockup_search() == {"FINISHED"}
    assert pj.ops.cut() == {"FINISHED"}
    pj.job().seamwright.pack_pictures = False
    assert pj.ops.pack_export(folder=str(tmp_path / "pack")) == {"FINISHED"}
    rows = list(csv.DictReader(io.StringIO((tmp_path / "pack" / "billets.csv").read_text("utf-8"))))
    assert 8 * len(rows) == len(shown().objects["billets"].data.vertices)
    assert (tmp_path / "pack" / "blockup" / "course-1-outlines.html").is_file()
    assert any(f.check == "blockup" for f in pj.job().seamwright.findings)
