# SPDX-License-Identifier: GPL-3.0-or-later
import bpy
import numpy as np
import pytest
from mathutils import Matrix
from seamwright import convert
from seamwright.core.errors import MeshError
from seamwright.core.mesh.mass import mass_properties
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import require_closed
from shapes import box


@pytest.fixture(autouse=True)
def _empty() -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)


def linked(obj: bpy.types.Object) -> bpy.types.Object:
    bpy.context.scene.collection.objects.link(obj)
    bpy.context.view_layer.update()
    return obj


def read(obj: bpy.types.Object, scale_length: float = 1.0) -> Mesh:
    return convert.mesh_from_object(obj, bpy.context.evaluated_depsgraph_get(), scale_length)


def quad_box(size: tuple[float, float, float]) -> bpy.types.Object:
    """A box of six quads about the origin, made by Blender's own bmesh."""
    import bmesh

    data = bpy.data.meshes.new("box")
    bm = bmesh.new()
    bmesh.ops.create_cube(bm, size=1.0, matrix=Matrix.Diagonal((*size, 1.0)))
    bm.to_mesh(data)
    bm.free()
    return linked(bpy.data.objects.new("box", data))


@pytest.mark.parametrize("scale", [(1, 1, 1), (-1, 1, 1), (-2, -1, 3), (-1, -1, -1), (0.5, 2, -4)])
@pytest.mark.parametrize("scale_length", [1.0, 0.01, 0.001])
def test_scale_turn_place_and_winding(scale: tuple[float, float, float], scale_length: float) -> None:
    size = (2.0, 3.0, 5.0)
    obj = quad_box(size)
    obj.scale = scale
    obj.rotation_euler = (0.3, -1.1, 2.0)
    obj.location = (10.0, -20.0, 7.0)
    bpy.context.view_layer.update()
    mesh = read(obj, scale_length)
    require_closed(mesh)
    properties = mass_properties(mesh)
    expected = float(np.prod(size) * abs(np.prod(scale))) * scale_length**3
    assert properties.volume == pytest.approx(expected, rel=1e-6)
    assert properties.centroid == pytest.approx(np.array([10.0, -20.0, 7.0]) * scale_length, rel=1e-6)
    placed = np.array(obj.matrix_world) @ np.column_stack([np.array([v.co for v in obj.data.vertices]), np.ones(8)]).T
    assert mesh.vertices == pytest.approx(placed[:3].T * scale_length, rel=1e-6)


def test_a_parent_counts() -> None:
    parent = linked(bpy.data.objects.new("parent", None))
    parent.scale = (-1.0, 2.0, 1.0)
    obj = quad_box((1.0, 1.0, 1.0))
    obj.parent = parent
    bpy.context.view_layer.update()
    assert mass_properties(read(obj)).volume == pytest.approx(2.0)


def test_modifiers_count_and_the_object_is_not_changed() -> None:
    obj = quad_box((1.0, 1.0, 1.0))
    array = obj.modifiers.new("array", "ARRAY")
    array.count = 3
    array.relative_offset_displace = (2.0, 0.0, 0.0)
    mesh = read(obj)
    assert len(mesh.triangles) == 36
    assert mass_properties(mesh).volume == pytest.approx(3.0)
    assert len(obj.data.vertices) == 8
    assert len(bpy.data.meshes) == 1


def test_faces_of_many_corners_become_triangles_that_carry_their_class() -> None:
    data = bpy.data.meshes.new("prism")
    turn = np.linspace(0.0, 2.0 * np.pi, 7)[:-1]
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    vertices = [(*p, z) for z in (0.0, 2.0) for p in ring]
    sides = [(k, (k + 1) % 6, (k + 1) % 6 + 6, k + 6) for k in range(6)]
    data.from_pydata(vertices, [], [tuple(range(5, -1, -1)), tuple(range(6, 12)), *sides])
    data.attributes.new("kind", "INT", "FACE").data.foreach_set("value", [2, 0, 3, 3, 3, 3, 3, 3])
    mesh = read(linked(bpy.data.objects.new("prism", data)))
    require_closed(mesh)
    assert np.bincount(mesh.kind, minlength=4).tolist() == [4, 0, 4, 12]
    assert mass_properties(mesh).volume == pytest.approx(2.0 * 1.5 * np.sqrt(3.0), rel=1e-6)
    assert (mesh.corners()[mesh.kind == 2][:, :, 2] == 0.0).all()


@pytest.mark.parametrize(("domain", "kind"), [("POINT", "INT"), ("FACE", "FLOAT")])
def test_an_attribute_of_the_same_name_and_another_sort_is_passed_over(domain: str, kind: str) -> None:
    obj = quad_box((1.0, 1.0, 1.0))
    obj.data.attributes.new("kind", kind, domain)
    assert (read(obj).kind == 0).all()


def test_a_class_that_is_none_is_refused_by_name() -> None:
    obj = quad_box((1.0, 1.0, 1.0))
    obj.data.attributes.new("kind", "INT", "FACE").data.foreach_set("value", [9] * 6)
    with pytest.raises(MeshError, match="object 'box'"):
        read(obj)


def test_flattened_and_surfaceless_objects_are_refused_by_name() -> None:
    obj = quad_box((1.0, 1.0, 1.0))
    obj.scale = (1.0, 0.0, 1.0)
    bpy.context.view_layer.update()
    with pytest.raises(MeshError, match="object 'box' is flattened"):
        read(obj)
    with pytest.raises(MeshError, match="object 'nothing' has no surface"):
        read(linked(bpy.data.objects.new("nothing", None)))


@pytest.mark.parametrize("scale_length", [1.0, 0.01])
def test_there_and_back(scale_length: float) -> None:
    kind = np.array([2, 2, 0, 0, 0, 0, 0, 0, 1, 1, 3, 3], dtype=np.uint8)
    solid = box((2.0, 3.0, 0.5), (7.0, -1.0, 0.25))
    mesh = Mesh(solid.vertices, solid.triangles, kind)
    obj = linked(convert.object_from_mesh("piece 1", mesh, np.arange(12) * 11, (8.0, 0.0, 0.5), scale_length))
    back = read(obj, scale_length)
    assert back.triangles.tolist() == mesh.triangles.tolist()
    assert back.kind.tolist() == kind.tolist()
    assert back.vertices == pytest.approx(mesh.vertices, abs=1e-6)
    source = obj.data.attributes["source"]
    assert (source.domain, source.data_type) == ("FACE", "INT")
    assert [item.value for item in source.data] == [11 * k for k in range(12)]
    assert obj.location[:] == pytest.approx(np.array([8.0, 0.0, 0.5]) / scale_length)
    assert not obj.data.validate()


def test_far_from_the_origin_the_shape_is_kept_where_the_origin_of_the_object_is_near() -> None:
    mesh = box((1.0, 1.0, 1.0), (5000.0, 5000.0, 0.0))
    obj = convert.object_from_mesh("far", mesh, at=(5000.5, 5000.5, 0.5))
    local = np.array([v.co for v in obj.data.vertices])
    assert np.ptp(local, axis=0).tolist() == [1.0, 1.0, 1.0]


def test_a_triangle_that_names_a_vertex_twice_is_left_out() -> None:
    solid = box()
    mesh = Mesh(solid.vertices, np.vstack([solid.triangles[:3], [[0, 0, 1]], solid.triangles[3:]]))
    obj = convert.object_from_mesh("piece", mesh, np.arange(13))
    assert [item.value for item in obj.data.attributes["source"].data] == [0, 1, 2, *range(4, 13)]


def test_materials_follow_the_class() -> None:
    solid = box()
    obj = convert.object_from_mesh("piece", Mesh(solid.vertices, solid.triangles, np.repeat([0, 1, 2, 3], 3)))
    convert.set_materials(obj, [bpy.data.materials.new(name) for name in "abcd"])
    assert [p.material_index for p in obj.data.polygons] == np.repeat([0, 1, 2, 3], 3).tolist()
    with pytest.raises(ValueError, match="give 4 materials"):
        convert.set_materials(obj, [])


def test_place_sets_columns_as_axes() -> None:
    obj = linked(bpy.data.objects.new("o", None))
    axes = np.array([[0.0, 0.0, 1.0], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
    convert.place(obj, axes, (1.0, 2.0, 3.0), 0.5)
    assert (obj.matrix_world @ Matrix.Translation((1.0, 0.0, 0.0))).translation[:] == (2.0, 5.0, 6.0)


def test_polylines_open_and_closed() -> None:
    square = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 0)]
    data = convert.polyline("lines", [square, square[:3]])
    assert [(s.type, len(s.points), s.use_cyclic_u) for s in data.splines] == [("POLY", 4, True), ("POLY", 3, False)]
    assert [p.co[:] for p in data.splines[1].points] == [(0, 0, 0, 1), (1, 0, 0, 1), (1, 1, 0, 1)]
