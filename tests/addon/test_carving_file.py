# SPDX-License-Identifier: GPL-3.0-or-later
from collections.abc import Sequence
from pathlib import Path

import bpy
import numpy as np
import pytest
from seamwright.carving_file import read_file
from seamwright.convert import object_from_mesh
from seamwright.core.errors import InputError
from seamwright.core.intake.readers import write_ply
from seamwright.core.mesh.mass import mass_properties
from seamwright.core.mesh.topology import require_closed
from shapes import box

SIZE = (2.0, 3.0, 0.5)


def scene(names: Sequence[str], scale_length: float = 1.0) -> list[bpy.types.Object]:
    """An open file with a box for each name."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.context.scene.unit_settings.scale_length = scale_length
    objects = [object_from_mesh(name, box(SIZE)) for name in names]
    for obj in objects:
        bpy.context.scene.collection.objects.link(obj)
    return objects


def saved(folder: Path) -> str:
    path = str(folder / "rock.blend")
    bpy.ops.wm.save_as_mainfile(filepath=path)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return path


def test_the_one_mesh_object_in_metres(tmp_path: Path) -> None:
    obj = scene(["rock"], scale_length=0.01)[0]
    obj.scale = (-1.0, 1.0, 1.0)
    bpy.context.scene.collection.objects.link(bpy.data.objects.new("empty", None))
    carving = read_file(saved(tmp_path))
    require_closed(carving.mesh)
    assert carving.says_unit
    assert carving.name == "rock.blend"
    assert mass_properties(carving.mesh).volume == pytest.approx(3e-6)
    assert carving.mesh.vertices[:, 0].min() == pytest.approx(-0.02)


def test_several_are_listed_and_one_is_taken_by_name(tmp_path: Path) -> None:
    objects = scene(["rock", "plinth", "cutter"])
    objects[1].scale = (2.0, 2.0, 2.0)
    path = saved(tmp_path)
    with pytest.raises(InputError, match=r"^rock\.blend: give --object NAME; .* 'cutter', 'plinth', 'rock'$"):
        read_file(path)
    assert mass_properties(read_file(path, "plinth").mesh).volume == pytest.approx(24.0)
    with pytest.raises(InputError, match="there is no object 'boulder'; its mesh objects are 'cutter'"):
        read_file(path, "boulder")


def test_a_hidden_object_is_read_with_its_modifiers(tmp_path: Path) -> None:
    rock = scene(["rock"])[0]
    rock.modifiers.new("array", "ARRAY").count = 2
    rock.hide_viewport = True
    away = bpy.data.collections.new("away")
    bpy.context.scene.collection.children.link(away)
    away.objects.link(rock)
    bpy.context.scene.collection.objects.unlink(rock)
    bpy.context.view_layer.layer_collection.children["away"].exclude = True
    assert len(read_file(saved(tmp_path)).mesh.triangles) == 24


def test_an_object_of_another_scene_in_that_scenes_units(tmp_path: Path) -> None:
    scene(["rock"])
    other = bpy.data.scenes.new("workshop")
    other.unit_settings.scale_length = 0.1
    other.collection.objects.link(object_from_mesh("figure", box(SIZE)))
    path = saved(tmp_path)
    assert mass_properties(read_file(path, "figure").mesh).volume == pytest.approx(3e-3)


EXPORTER = pytest.mark.filterwarnings("ignore:Setting the shape on a NumPy array:DeprecationWarning")
"""Blender 5.2's own FBX exporter does what numpy 2.5 warns of."""


@pytest.mark.parametrize(
    ("suffix", "up"), [(".glb", 2), pytest.param(".fbx", 2, marks=EXPORTER, id=".fbx-2"), (".usdc", 2)]
)
def test_other_formats_come_closed_upright_and_in_metres(tmp_path: Path, suffix: str, up: int) -> None:
    scene(["rock"])
    path = str(tmp_path / f"rock{suffix}")
    if suffix == ".glb":
        bpy.ops.export_scene.gltf(filepath=path)
    elif suffix == ".fbx":
        bpy.ops.export_scene.fbx(filepath=path)
    else:
        bpy.ops.wm.usd_export(filepath=path)
    carving = read_file(path)
    require_closed(carving.mesh)
    assert carving.says_unit
    assert carving.mesh.size == pytest.approx(np.array(SIZE), abs=1e-5)
    assert mass_properties(carving.mesh).volume == pytest.approx(3.0, rel=1e-5)


def test_own_readers_are_used_for_their_formats(tmp_path: Path) -> None:
    write_ply(tmp_path / "rock.ply", box(SIZE))
    carving = read_file(str(tmp_path / "rock.ply"))
    assert not carving.says_unit
    assert carving.mesh.vertices.tolist() == box(SIZE).vertices.tolist()
    with pytest.raises(InputError, match=r"^rock\.ply: PLY files hold no named objects; leave --object out$"):
        read_file(str(tmp_path / "rock.ply"), "rock")


@pytest.mark.parametrize("suffix", [".blend", ".glb", ".gltf", ".fbx", ".usdc"])
@pytest.mark.parametrize("contents", [b"", b"not what its name says" * 9])
def test_a_file_that_is_not_what_its_name_says(
    tmp_path: Path, suffix: str, contents: bytes, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"bad{suffix}"
    path.write_bytes(contents)
    with pytest.raises(InputError, match=rf"^bad\{suffix}: ") as caught:
        read_file(str(path))
    assert "\n" not in str(caught.value)
    assert "Traceback" not in str(caught.value)
    assert capfd.readouterr().out == ""


def test_missing_files_folders_and_unknown_endings(tmp_path: Path) -> None:
    (tmp_path / "folder.glb").mkdir()
    (tmp_path / "rock.xyz").write_text("1 2 3")
    for name, word in (
        ("no.blend", "there is no such file"),
        ("no.stl", "there is no such file"),
        ("folder.glb", "this is a folder"),
        ("rock.xyz", "are not read here"),
    ):
        with pytest.raises(InputError, match=word) as caught:
            read_file(str(tmp_path / name))
        assert str(caught.value).startswith(f"{name}: ")


def test_a_file_without_a_mesh(tmp_path: Path) -> None:
    scene([])
    with pytest.raises(InputError, match=r"^rock\.blend: there is no mesh object in it"):
        read_file(saved(tmp_path))
