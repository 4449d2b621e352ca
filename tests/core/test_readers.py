# SPDX-License-Identifier: GPL-3.0-or-later
"""Every format back as it was written, and every bad file refused in one line that begins with its name."""

from __future__ import annotations

import struct
from pathlib import Path

import mesh_files
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from seamwright.core.errors import InputError, MeshError
from seamwright.core.intake.polygons import split_faces
from seamwright.core.intake.readers import ReadResult, ply_bytes, read_carving, read_mesh, write_ply
from seamwright.core.intake.weld import weld, weld_points
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.topology import edge_report
from shapes import box, icosphere, joined, tetrahedron

LAYOUTS = ("ascii", "binary_little_endian", "binary_big_endian")


@st.composite
def meshes(draw: st.DrawFn, width: int = 64) -> Mesh:
    """Vertices that all differ and triangles with three corners; every vertex is used, in order of first use."""
    value = st.floats(-1e6, 1e6, width=width).map(lambda x: x + 0.0)
    points = draw(st.lists(st.tuples(value, value, value), min_size=3, max_size=12, unique=True))
    corner = st.integers(0, len(points) - 1)
    corners = st.lists(corner, min_size=3, max_size=3, unique=True)
    rows = np.array(draw(st.lists(corners, min_size=1, max_size=12)))
    used, first = np.unique(rows, return_index=True)
    order = used[np.argsort(first)]
    rank = np.zeros(len(points), dtype=int)
    rank[order] = np.arange(len(order))
    return Mesh(np.array(points)[order], rank[rows])


def read(data: bytes, name: str, folder: Path) -> ReadResult:
    path = folder / name
    path.write_bytes(data)
    return read_carving(path)


def assert_same(found: Mesh, wanted: Mesh) -> None:
    assert found.vertices.tobytes() == (wanted.vertices + 0.0).tobytes()
    assert found.triangles.tolist() == wanted.triangles.tolist()
    assert found.kind.tolist() == wanted.kind.tolist()


shared_folder = settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])


@shared_folder
@given(mesh=meshes(width=32))
def test_stl_binary_round_trip(mesh: Mesh, tmp_path: Path) -> None:
    assert_same(read(mesh_files.stl_binary(mesh), "a.stl", tmp_path).mesh, mesh)


@shared_folder
@given(mesh=meshes(), newline=st.sampled_from(["\n", "\r\n"]))
def test_stl_text_round_trip(mesh: Mesh, newline: str, tmp_path: Path) -> None:
    assert_same(read(mesh_files.stl_text(mesh, newline=newline), "a.STL", tmp_path).mesh, mesh)


@shared_folder
@given(
    mesh=meshes(width=32),
    layout=st.sampled_from(LAYOUTS),
    number=st.sampled_from(["float", "double", "float32", "float64"]),
    count=st.sampled_from(["uchar", "char", "ushort", "int", "uint32"]),
    index=st.sampled_from(["uchar", "short", "int", "uint", "int8", "uint16"]),
    newline=st.sampled_from(["\n", "\r\n", "\r"]),
    face_first=st.booleans(),
)
def test_ply_round_trip(
    mesh: Mesh,
    layout: str,
    number: str,
    count: str,
    index: str,
    newline: str,
    face_first: bool,
    tmp_path: Path,
) -> None:
    extra = [("float", "quality", [0.5] * len(mesh.triangles))]
    data = mesh_files.ply(
        mesh.vertices, mesh.triangles.tolist(), layout, number, count, index, extra, newline, face_first
    )
    assert_same(read(data, "a.ply", tmp_path).mesh, mesh)


@shared_folder
@given(mesh=meshes(), corner=st.sampled_from(["{0}", "{0}/1", "{0}//1", "{0}/1/1"]), relative=st.booleans())
def test_obj_round_trip(mesh: Mesh, corner: str, relative: bool, tmp_path: Path) -> None:
    data = mesh_files.obj(mesh.vertices, mesh.triangles.tolist(), corner, relative)
    assert_same(read(data, "a.obj", tmp_path).mesh, mesh)


@shared_folder
@given(mesh=meshes(), data=st.data())
def test_own_ply_round_trip(mesh: Mesh, data: st.DataObject, tmp_path: Path) -> None:
    count = len(mesh.triangles)
    kind = data.draw(st.lists(st.integers(0, 3), min_size=count, max_size=count))
    mesh = Mesh(mesh.vertices, mesh.triangles, kind)
    source = np.arange(count) * 7
    write_ply(tmp_path / "own.ply", mesh, source, np.ones(count, dtype=np.uint8))
    written = (tmp_path / "own.ply").read_bytes()
    assert written == ply_bytes(mesh, source, np.ones(count, dtype=np.uint8))
    assert_same(read_mesh(tmp_path / "own.ply"), mesh)
    # Byte for byte what the header says: 3 doubles a vertex; a count, 3 ints, kind, source, origin a face.
    body = written.index(b"end_header\n") + len(b"end_header\n")
    face = struct.Struct("<BiiiBiB")
    assert len(written) == body + 24 * len(mesh.vertices) + face.size * count
    rows = list(face.iter_unpack(written[body + 24 * len(mesh.vertices) :]))
    assert rows == [(3, *t, k, s, 1) for t, k, s in zip(mesh.triangles.tolist(), kind, source.tolist(), strict=True)]


def test_own_ply_refuses_what_it_cannot_hold() -> None:
    with pytest.raises(MeshError, match=r"source has shape \(11,\)"):
        ply_bytes(box(), np.arange(11))
    with pytest.raises(MeshError, match="source holds numbers beyond"):
        ply_bytes(box(), np.full(12, 1 << 31))


def test_own_ply_to_no_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"^a\.ply: the file cannot be written"):
        write_ply(tmp_path / "none" / "a.ply", box())


def test_stl_is_welded_and_its_collapsed_triangles_counted(tmp_path: Path) -> None:
    cube = box((2.0, 1.0, 0.5))
    loose = joined(cube, Mesh([[0, 0, 0], [-0.0, 0, 0], [9, 9, 9]], [[0, 1, 2]]))
    result = read(mesh_files.stl_binary(loose), "a.stl", tmp_path)
    assert edge_report(result.mesh.triangles).closed
    assert (len(result.mesh.vertices), len(result.mesh.triangles)) == (9, 12)
    assert result.notes == ("1 of 13 triangles without area (two corners in one place) were left out",)
    assert not np.signbit(result.mesh.vertices[result.mesh.vertices == 0.0]).any()


@pytest.mark.parametrize("name", ["solid", "vertex facet endsolid", "a solid rock", ""])
def test_stl_text_with_any_name_and_several_solids(name: str, tmp_path: Path) -> None:
    two = mesh_files.stl_text(box(), name) + mesh_files.stl_text(box(low=(5.0, 0.0, 0.0)), name).upper()
    mesh = read(two, "a.stl", tmp_path).mesh
    assert len(mesh.triangles) == 24
    assert mesh.size.tolist() == [6.0, 1.0, 1.0]


def test_stl_binary_whose_text_begins_with_solid(tmp_path: Path) -> None:
    assert len(read(mesh_files.stl_binary(box(), b"solid rock facet"), "a.stl", tmp_path).mesh.triangles) == 12


def test_stl_with_bytes_after_its_end(tmp_path: Path) -> None:
    result = read(mesh_files.stl_binary(box()) + b"\1\2\3", "a.stl", tmp_path)
    assert len(result.mesh.triangles) == 12
    assert result.notes == ("3 bytes after the last triangle were not read",)


def test_stl_text_in_blocks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("seamwright.core.intake.stl._BLOCK", 1000)
    ball = icosphere(2)
    mesh = read(mesh_files.stl_text(ball), "a.stl", tmp_path).mesh
    assert np.array_equal(mesh.corners(), ball.corners() + 0.0)


def test_ply_by_the_name_of_stl(tmp_path: Path) -> None:
    result = read(ply_bytes(box()), "a.stl", tmp_path)
    assert_same(result.mesh, box())
    assert result.notes == ("the file is named .stl but holds PLY, and was read as that",)


@pytest.mark.parametrize("layout", LAYOUTS)
def test_ply_with_faces_of_mixed_size_and_class(layout: str, tmp_path: Path) -> None:
    """A box of quads, one of them split: list lengths vary, classes follow their triangles."""
    points = box().vertices
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5), (0, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    kinds = [2, 0, 3, 3, 0, 0, 1]
    for count in ("uchar", "int"):
        data = mesh_files.ply(points, faces, layout, count=count, extra=[("uchar", "kind", kinds)])
        result = read(data, "a.ply", tmp_path)
        assert edge_report(result.mesh.triangles).closed
        assert result.mesh.kind.tolist() == [2, 2, 0, 0, 3, 3, 0, 0, 0, 0, 1, 1]
        assert result.notes == ("5 faces with four or more corners were split into triangles",)


def test_ply_with_other_elements_and_lists_before_the_corners(tmp_path: Path) -> None:
    head = (
        b"ply\nformat binary_little_endian 1.0\nelement camera 2\nproperty float focus\nelement vertex 4\n"
        b"property float x\nproperty uchar red\nproperty float y\nproperty float z\nelement face 4\n"
        b"property list uchar float texcoord\nproperty list uchar int vertex_index\nelement empty 3\nend_header\n"
    )
    solid = tetrahedron()
    body = struct.pack("<2f", 1.0, 2.0)
    body += b"".join(struct.pack("<fBff", x, 200, y, z) for x, y, z in solid.vertices.tolist())
    for row, t in enumerate(solid.triangles.tolist()):
        body += struct.pack(f"<B{row}fB3i", row, *range(row), 3, *t)
    result = read(head + body + b"??", "a.ply", tmp_path)
    assert np.array_equal(result.mesh.vertices, solid.vertices.astype(np.float32))
    assert result.mesh.triangles.tolist() == solid.triangles.tolist()
    assert result.notes == ("2 bytes after the last element were not read",)


def test_obj_with_all_that_may_stand_in_it(tmp_path: Path) -> None:
    text = (
        b"# rock\r\nmtllib gone.mtl\r\nv 0 0 0 1.0\r\n  v\t1 0 0 0.5 0.5 0.5\r\nv 0 1 0\r\nvt 0 0\r\nvn 0 0 1\r\n"
        b"g one two\r\nusemtl none\r\nf 1/1/1 3/1/1 2/1/1 # down\r\nv 0 0 1\r\nf -4//1 \\\r\n -3//1 -1//1\r\n"
        b"f 1 4 3\r\n\tf 2/1 3/1 4/1\r\nl 1 2\r\np 1\r\n"
    )
    mesh = read(text, "a.obj", tmp_path).mesh
    assert mesh.vertices.tolist() == [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    assert mesh.triangles.tolist() == [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]


def test_shared_vertices_stay_unless_that_leaves_edges_open(tmp_path: Path) -> None:
    two = joined(box(), box())  # the same box twice: welding would spoil both
    assert_same(read(ply_bytes(two), "a.ply", tmp_path).mesh, two)
    loose = Mesh(box().corners().reshape(-1, 3), np.arange(36).reshape(-1, 3), [2] * 2 + [0] * 10)
    for result in (
        read(ply_bytes(loose), "a.ply", tmp_path),
        read(mesh_files.obj(loose.vertices, loose.triangles.tolist()), "a.obj", tmp_path),
    ):
        assert edge_report(result.mesh.triangles).closed
        assert len(result.mesh.vertices) == 8
        assert result.notes == (
            "28 vertices with the same coordinates as another were joined, which closed 36 of 36 open edges",
        )
    assert read(ply_bytes(loose), "a.ply", tmp_path).mesh.kind.tolist() == loose.kind.tolist()


@given(st.lists(st.tuples(*[st.sampled_from([0.0, -0.0, 1.0, 1.0 + 2**-52, -3.5])] * 3), max_size=60))
def test_weld_joins_equal_points_and_no_others(points: list[tuple[float, float, float]]) -> None:
    array = np.array(points, dtype=np.float64).reshape(-1, 3)
    for values in (array, array.astype(np.float32)):
        first, number = weld_points(values)
        rows = [tuple(row) for row in values.tolist()]
        firsts = list(dict.fromkeys(rows))
        assert [rows[at] for at in first] == firsts
        assert [firsts[n] for n in number] == rows
        assert first.tolist() == [rows.index(row) for row in firsts]


def test_weld_ends_when_every_point_has_the_same_hash(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "seamwright.core.intake.weld._hash", lambda rows, turn, width: np.zeros(len(rows), dtype=np.int64)
    )
    first, number = weld_points(np.repeat(np.arange(20.0), 2)[:, None] * np.ones(3))
    assert first.tolist() == list(range(0, 40, 2))
    assert number.tolist() == np.repeat(np.arange(20), 2).tolist()


def test_weld_counts_what_collapses() -> None:
    mesh = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 0, 0]], [[0, 1, 2], [1, 3, 2]], [1, 2])
    welded = weld(mesh)
    assert (welded.merged, welded.dropped) == (1, 1)
    assert welded.mesh.triangles.tolist() == [[0, 1, 2]]
    assert welded.mesh.kind.tolist() == [1]


def plan_areas(points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    a, b, c = (points[triangles[:, k], :2] for k in range(3))
    return 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])


@pytest.mark.parametrize("start", range(4))
def test_concave_quad_is_split_inside(start: int) -> None:
    arrow = np.array([[0, 0, 0], [2, 1, 0], [0, 2, 0], [0.5, 1, 0]], dtype=float)
    fans = split_faces(arrow, np.array([4]), np.roll(np.arange(4), start))
    areas = plan_areas(arrow, fans.triangles)
    assert areas.min() > 0.4
    assert areas.sum() == pytest.approx(1.5)
    assert (fans.split, fans.concave, fans.folded) == (1, 0, 0)


@pytest.mark.parametrize(("tilt", "drop"), [(0.0, 1.0), (0.0, -1.0), (2.5, 1.0), (2.5, -1.0)])
def test_face_that_no_corner_sees_is_laid_flat(tilt: float, drop: float) -> None:
    """A comb: no fan covers it, so it is triangulated; either way up, level or tilted."""
    outline = [(0, 0), (5, 0), (5, 3), (4, 3), (4, 1), (3, 1), (3, 3), (2, 3), (2, 1), (1, 1), (1, 3), (0, 3)]
    points = np.array([(x, drop * y, tilt * x) for x, y in outline], dtype=float)
    fans = split_faces(points, np.array([12]), np.arange(12))
    areas = plan_areas(points, fans.triangles) * drop
    assert areas.min() > 0.0
    assert areas.sum() == pytest.approx(11.0)
    assert fans.notes() == (
        "1 faces with four or more corners were split into triangles; 1 of them are concave or strongly bent",
    )


@given(st.lists(st.integers(3, 7), min_size=1, max_size=8), st.integers(0, 1000))
def test_split_faces_keep_borders_and_order(counts: list[int], seed: int) -> None:
    """Whatever the shape: n - 2 triangles a face, its border the face's own edges."""
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(sum(counts), 3))
    corners = rng.permutation(sum(counts))
    fans = split_faces(points, np.array(counts), corners)
    assert fans.face.tolist() == np.repeat(np.arange(len(counts)), np.array(counts) - 2).tolist()
    for face, loop in enumerate(np.split(corners, np.cumsum(counts)[:-1])):
        rows = fans.triangles[fans.face == face]
        sides = {(t[i], t[(i + 1) % 3]) for t in rows.tolist() for i in range(3)}
        border = {side for side in sides if side[::-1] not in sides}
        assert border == set(zip(loop.tolist(), np.roll(loop, -1).tolist(), strict=True))


CUBE_STL, CUBE_PLY = mesh_files.stl_binary(box()), ply_bytes(box())
TEXT_STL = mesh_files.stl_text(box())
PLAIN_PLY = mesh_files.ply(box().vertices, box().triangles.tolist())
PLAIN_OBJ = mesh_files.obj(box().vertices, box().triangles.tolist())
PLY_START = b"ply\nformat ascii 1.0\n"
PLY_XYZ = b"property float x\nproperty float y\nproperty float z\n"
NAN, INF = struct.pack("<f", float("nan")), struct.pack("<f", float("inf"))
BAD = {
    "empty": ("a.stl", b"", "empty"),
    "letter": ("a.stl", b"Dear all,\nplease find the scan attached.\n", "this is not an STL file"),
    "long letter": ("a.stl", b"Dear all, the scan is attached. " * 40, "this is not an STL file"),
    "solid letter": (
        "a.stl",
        b"solid foam is what we need here\nand soon\n",
        "not as it should be: 'and' stands where 'facet'",
    ),
    "no facets": ("a.stl", b"solid rock\nendsolid rock\n", "holds no triangles"),
    "no triangles": ("a.stl", b"\1" * 80 + bytes(4), "holds no triangles"),
    "only head": ("a.stl", b"\1" * 60, "this is not an STL file"),
    "cut off": ("a.stl", CUBE_STL[:-1], r"cut off.*promises 12 triangles .*enough for 11"),
    "huge count": ("a.stl", CUBE_STL[:80] + b"\xff" * 4 + CUBE_STL[84:], "promises 4294967295 triangles"),
    "nan": (
        "a.stl",
        CUBE_STL[:96] + NAN + CUBE_STL[100:],
        r"triangle 1 \(the first is 1\) is not a finite number \(nan",
    ),
    "inf": ("a.stl", CUBE_STL[:150] + INF + CUBE_STL[154:], r"triangle 2 .*\(inf\)"),
    "collapsed": (
        "a.stl",
        mesh_files.stl_binary(Mesh([[0, 0, 0], [1, 1, 1]], [[0, 1, 1]])),
        "two corners in one place",
    ),
    "text cut off": ("a.stl", TEXT_STL[: TEXT_STL.rindex(b"endloop")], r"cut off within triangle 12"),
    "text word": ("a.stl", TEXT_STL.replace(b"1.0", b"one", 1), r"'one' in triangle 1 .*not a number"),
    "text nan": ("a.stl", TEXT_STL.replace(b"1.0", b"nan", 1), r"triangle 1 .*not a finite number"),
    "text far": ("a.stl", TEXT_STL.replace(b"1.0", b"1e200", 1), r"triangle 1 .*too large for a length"),
    "quad": ("a.stl", TEXT_STL.replace(b"endloop", b"vertex 0 0 0 endloop", 1), "triangle 1 .*'vertex' stands where"),
    "no ply": ("a.ply", TEXT_STL, "this is not a PLY file"),
    "no end": ("a.ply", b"ply\nformat ascii 1.0\nelement vertex 3\n", "no end"),
    "no format": ("a.ply", b"ply\nelement vertex 0\nend_header\n", "no 'format' line"),
    "odd line": (
        "a.ply",
        b"ply\nformat ascii 1.0\nelement vertex many\nend_header\n",
        "line 3 .*'element vertex many'",
    ),
    "odd type": ("a.ply", CUBE_PLY.replace(b"property double x", b"property decimal x"), "'property decimal x'"),
    "points only": ("a.ply", PLY_START + b"element vertex 1\n" + PLY_XYZ + b"end_header\n0 0 0\n", "points only"),
    "no vertices": ("a.ply", PLY_START + b"end_header\n", "no vertices"),
    "no z": ("a.ply", CUBE_PLY.replace(b"property double z", b"property double w"), "no property 'z'"),
    "no list": ("a.ply", CUBE_PLY.replace(b"vertex_indices", b"corner_numbers"), "no list 'vertex_indices'"),
    "ply cut off": ("a.ply", CUBE_PLY[:-1], "cut off: it promises 12 of element 'face'"),
    "ply vertices cut off": ("a.ply", CUBE_PLY[: CUBE_PLY.index(b"end_header") + 50], "promises 8 of element 'vertex'"),
    "ply huge count": (
        "a.ply",
        CUBE_PLY.replace(b"face 12", b"face 99999999999999999999"),
        "cut off: it promises 99999",
    ),
    "ply text cut off": ("a.ply", PLAIN_PLY[:-8], "cut off"),
    "ply text huge": ("a.ply", PLAIN_PLY.replace(b"vertex 8", b"vertex 888888888888"), "cut off"),
    "ply list length": ("a.ply", PLAIN_PLY.replace(b"\n3 ", b"\n-3 ", 1), "promises -3 values"),
    "ply list huge": ("a.ply", PLAIN_PLY.replace(b"\n3 ", b"\n1e18 ", 1), r"promises 1e\+18 values"),
    "ply two corners": ("a.ply", mesh_files.ply(box().vertices, [(0, 1, 2), (0, 1)]), "face 1 has 2 corners"),
    "ply index": ("a.ply", mesh_files.ply(box().vertices, [(0, 1, 2), (0, 1, 2, 8)]), "face 1 names vertex 8"),
    "ply below": ("a.ply", mesh_files.ply(box().vertices, [(0, -1, 2)], LAYOUTS[1]), "face 0 names vertex -1"),
    "ply half": ("a.ply", PLAIN_PLY.replace(b"\n3 0 2", b"\n3 0.5 2", 1), "not whole"),
    "ply nan": ("a.ply", PLAIN_PLY.replace(b"1.0 0.0 0.0", b"nan 0.0 0.0"), "vertex 1 is not a finite number"),
    "ply word": ("a.ply", PLAIN_PLY.replace(b"1.0 0.0 0.0", b"1.0 0.x 0.0"), r"line 12: '0\.x' is not a number"),
    "ply kind": (
        "a.ply",
        mesh_files.ply(box().vertices, [(0, 1, 2)], extra=[("int", "kind", [7])]),
        "face 0 has kind 7",
    ),
    "strips": (
        "a.ply",
        PLY_START + b"element vertex 1\n" + PLY_XYZ + b"element tristrips 1\nproperty list int int vertex_indices\n"
        b"end_header\n0 0 0\n3 0 0 0\n",
        "triangle strips",
    ),
    "obj letter": ("a.obj", b"Dear all,\nno scan today.\n", "holds no vertices"),
    "obj bytes": ("a.obj", CUBE_STL, "this is not an OBJ file"),
    "obj points": ("a.obj", b"v 0 0 0\nv 1 0 0\n", "holds no faces"),
    "obj two corners": ("a.obj", PLAIN_OBJ + b"f 1 2\n", "line 28: a face needs three corners"),
    "obj index": ("a.obj", PLAIN_OBJ + b"f 1 2 9\n", "line 28: the face names vertex 9, but there are 8"),
    "obj zero": ("a.obj", PLAIN_OBJ + b"f 1 2 0\n", "line 28: the face names vertex 0"),
    "obj back": ("a.obj", PLAIN_OBJ + b"f 1 2 -9\n", "line 28: the face names vertex -9"),
    "obj above": ("a.obj", b"v 0 0 0\nv 1 0 0\nf 1 2 -3\nv 0 1 0\n", "line 3: the face names vertex -3"),
    "obj word": ("a.obj", PLAIN_OBJ + b"f 1 2 x3\n", "line 28: 'x3' is not a number"),
    "obj half": ("a.obj", PLAIN_OBJ + b"f 1 2 3.5\n", r"line 28: '3\.5' is not a number"),
    "obj nan": ("a.obj", PLAIN_OBJ.replace(b"v 1.0 0.0 0.0", b"v 1.0 nan 0.0"), "line 5: a coordinate is not a finite"),
    "obj comma": ("a.obj", PLAIN_OBJ.replace(b"v 1.0 0.0 0.0", b"v 1,0 0,0 0,0"), "line 5: '1,0' is not a number"),
    "obj short": ("a.obj", PLAIN_OBJ.replace(b"v 1.0 0.0 0.0", b"v 1.0 0.0"), "line 5: a vertex needs three"),
    "unknown ending": ("a.xyz", CUBE_PLY, r"files with '\.xyz' are not read here; export .* as STL, PLY or OBJ"),
    "no ending": ("scan", CUBE_PLY, "files with no ending are not read"),
}


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("case", BAD)
def test_bad_file_is_refused_in_one_line(case: str, tmp_path: Path) -> None:
    name, data, message = BAD[case]
    with pytest.raises(InputError, match=message) as caught:
        read(data, name, tmp_path)
    text = str(caught.value)
    assert text.startswith(f"{name}: ")
    assert "\n" not in text
    assert len(text) < 300
    assert str(tmp_path) not in text


def test_missing_file_and_folder(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"^a\.stl: there is no such file"):
        read_mesh(tmp_path / "a.stl")
    (tmp_path / "b.ply").mkdir()
    with pytest.raises(InputError, match=r"^b\.ply: this is a folder"):
        read_mesh(tmp_path / "b.ply")


@shared_folder
@given(data=st.data())
def test_damaged_files_never_fail_otherwise(data: st.DataObject, tmp_path: Path) -> None:
    """Bytes changed or cut off anywhere: a mesh or an InputError, nothing else."""
    name, good = data.draw(
        st.sampled_from(
            [("a.stl", CUBE_STL), ("a.stl", TEXT_STL), ("a.ply", CUBE_PLY), ("a.ply", PLAIN_PLY), ("a.obj", PLAIN_OBJ)]
        )
    )
    bad = bytearray(good)
    for at, byte in data.draw(st.lists(st.tuples(st.integers(0, len(bad) - 1), st.integers(0, 255)), max_size=4)):
        bad[at] = byte
    bad = bad[: data.draw(st.integers(0, len(bad)))] if data.draw(st.booleans()) else bad
    message = None
    try:
        mesh = read(bytes(bad), name, tmp_path).mesh
    except InputError as error:
        message = str(error)
    if message is None:
        assert len(mesh.triangles) > 0
    else:
        assert message.startswith(f"{name}: ")
        assert "\n" not in message
