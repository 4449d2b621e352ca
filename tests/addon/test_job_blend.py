# SPDX-License-Identifier: GPL-3.0-or-later
import json
import re
from pathlib import Path

import bpy
import numpy as np
import pytest
from pack_sample import sample_result
from seamwright import convert
from seamwright.core.job import Job
from seamwright.core.jobpack.joints_file import joint_entry, joints_json, read_joints
from seamwright.job_blend import blend_bytes, write_blend


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The sample job written and opened again; its bytes as they lie on the disk, not compressed."""
    path = tmp_path_factory.mktemp("blend") / "job.blend"
    write_blend(path, sample_result(), compress=False)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.wm.open_mainfile(filepath=str(path))
    return path.read_bytes()


@pytest.mark.usefixtures("opened")
def test_pieces_come_back_with_their_numbers_and_attributes() -> None:
    result = sample_result()
    graph = bpy.context.evaluated_depsgraph_get()
    for piece in result.pieces:
        obj = bpy.data.objects[f"piece {piece.mark}"]
        assert [c.name for c in obj.users_collection] == ["Pieces"]
        mesh = convert.mesh_from_object(obj, graph)
        assert mesh.vertices == pytest.approx(piece.mesh.vertices, abs=1e-6)
        assert mesh.triangles.tolist() == piece.mesh.triangles.tolist()
        assert mesh.kind.tolist() == piece.mesh.kind.tolist()
        assert [item.value for item in obj.data.attributes["source"].data] == piece.source.tolist()
        assert obj["mark"] == piece.mark
        assert obj["joints"].split() == list(piece.joints)
        assert obj["finished_mass_kg"] == piece.figures.finished_mass
        assert list(obj["handling_box_m"]) == list(piece.figures.box)


@pytest.mark.usefixtures("opened")
def test_joints_lie_where_they_cut_and_replay_exactly() -> None:
    result = sample_result()
    low, high = result.carving.vertices.min(axis=0), result.carving.vertices.max(axis=0)
    plane, profile = (bpy.data.objects[f"joint {record.mark}"] for record in result.joints)
    corners = np.array([plane.matrix_world @ v.co for v in plane.data.vertices])
    assert corners[:, 0] == pytest.approx(1.0, abs=1e-6)
    assert (corners[:, 1:].min(axis=0) < low[1:]).all()
    assert (corners[:, 1:].max(axis=0) > high[1:]).all()
    assert (plane.matrix_world.to_3x3() @ plane.data.polygons[0].normal)[:] == pytest.approx((1.0, 0.0, 0.0), abs=1e-6)
    ribbon = profile.to_mesh()
    swept = np.array([profile.matrix_world @ v.co for v in ribbon.vertices])
    assert swept[:, 0] == pytest.approx(3.4, abs=1e-6)
    assert swept[:, 1].min() == pytest.approx(0.0, abs=1e-6)
    assert swept[:, 1].max() == pytest.approx(1.0, abs=1e-6)
    assert swept[:, 2].min() < low[2]
    assert swept[:, 2].max() > high[2]
    for obj, record in ((plane, result.joints[0]), (profile, result.joints[1])):
        assert json.loads(obj["joint"]) == joint_entry(record.mark, record.joint)


@pytest.mark.usefixtures("opened")
def test_settings_and_joints_stand_in_texts() -> None:
    result = sample_result()
    assert Job.from_toml(bpy.data.texts["JOB.toml"].as_string()) == result.job
    text = bpy.data.texts["JOINTS.json"].as_string()
    marked = [(r.mark, r.joint) for r in result.joints]
    assert joints_json(zip("AB", read_joints(text), strict=True)) == joints_json(marked)
    assert bpy.data.collections[result.job.title]["settings"] == result.job.to_toml()
    assert bpy.context.scene.unit_settings.scale_length == 1.0


@pytest.mark.usefixtures("opened")
def test_the_carving_is_there_and_hidden() -> None:
    obj = bpy.data.objects["carving"]
    assert len(obj.data.polygons) == len(sample_result().carving.triangles)
    assert not obj.visible_get()


def test_nothing_of_the_machine_is_in_the_file(opened: bytes) -> None:
    places = {str(Path.home()), str(Path.cwd()), "/tmp", str(Path(bpy.__file__).parent), "job.blend"}
    found = [place for place in sorted(places) if re.search(re.escape(place.encode()) + rb"(/|\\|\0)", opened)]
    assert found == []


def test_blend_bytes_are_compressed_and_say_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    data = blend_bytes(sample_result())
    assert data.startswith(b"\x28\xb5\x2f\xfd")  # Zstandard's magic number, RFC 8878
    assert capfd.readouterr().out == ""
