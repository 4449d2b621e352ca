# SPDX-License-Identifier: GPL-3.0-or-later
"""Bases closed to closed forms, what is refused, and the report of it."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from seamwright.core.errors import InputError, JobError, MeshError, NotClosedError
from seamwright.core.intake.base import close_base, mark_base
from seamwright.core.intake.bodies import find_bodies
from seamwright.core.intake.polygons import split_faces
from seamwright.core.intake.prepare import UP_AXES, Intake, check_size, prepare, set_upright
from seamwright.core.intake.report import describe
from seamwright.core.mesh.mass import areas, volume
from seamwright.core.mesh.mesh import BACK, BASE, CARVED, Mesh
from seamwright.core.mesh.topology import edge_report
from shapes import bottomless, box, cylinder, icosphere, inside_out, joined, moved, rock, tetrahedron, turned, without


def assert_ready(intake: Intake) -> None:
    assert edge_report(intake.mesh.triangles).closed
    assert intake.volume == pytest.approx(volume(intake.mesh), rel=1e-12)
    assert intake.volume > 0.0
    assert intake.base_area == areas(intake.mesh)[BASE]


def bowl_ring(sides: int = 64, outer: float = 1.0, inner: float = 0.5) -> Mesh:
    """A ring-shaped dome without its floor: an outer wall, an inner wall and a flat top between them."""
    angle = 2.0 * np.pi * np.arange(sides) / sides
    circle = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    rings = [(outer, 0.0), (outer, 1.0), (inner, 1.0), (inner, 0.0)]
    vertices = np.concatenate([np.column_stack([r * circle, np.full(sides, z)]) for r, z in rings])
    side, follow = np.arange(sides), (np.arange(sides) + 1) % sides
    rows = []
    for ring in range(3):
        a, b = side + ring * sides, follow + ring * sides
        rows += [np.stack([a, b, b + sides], axis=1), np.stack([a, b + sides, a + sides], axis=1)]
    return Mesh(vertices, np.concatenate(rows))


def test_closed_solid_with_a_floor_comes_back_as_it_was() -> None:
    cube = box((2.0, 1.0, 0.5), (3.0, -4.0, 7.0))
    intake = prepare(cube)
    assert_ready(intake)
    assert intake.mesh.vertices.tobytes() == cube.vertices.tobytes()
    assert intake.mesh.triangles.tobytes() == cube.triangles.tobytes()
    assert intake.mesh.kind.tolist() == [BASE] * 2 + [CARVED] * 10
    assert (intake.volume, intake.base_area) == pytest.approx((1.0, 2.0), rel=1e-12)
    assert (intake.notes, intake.findings) == ((), ())


@pytest.mark.parametrize("flip", [False, True])
@pytest.mark.parametrize("shape", [box((2.0, 1.0, 0.5)), cylinder(96, 1.0, 2.0)], ids=["box", "cylinder"])
def test_flat_open_base_is_capped(shape: Mesh, flip: bool) -> None:
    open_below = bottomless(shape)
    intake = prepare(inside_out(open_below) if flip else open_below)
    assert_ready(intake)
    whole = prepare(shape)
    assert intake.volume == pytest.approx(whole.volume, rel=1e-12)
    assert intake.base_area == pytest.approx(whole.base_area, rel=1e-12)
    assert len(intake.mesh.vertices) == len(open_below.vertices)
    kept = intake.mesh.triangles[: len(open_below.triangles)]
    assert kept.tolist() == open_below.triangles.tolist()
    assert "the open base was closed (1 loop of " in intake.notes[0]
    assert "skirt" not in intake.notes[0]
    assert intake.notes[1:] == (("the surface was inside out and was turned",) if flip else ())
    assert [f.message for f in intake.findings] == [n[0].upper() + n[1:] + "." for n in intake.notes]


def test_base_with_a_hole_is_capped_as_a_ring() -> None:
    intake = prepare(bowl_ring(64, 1.0, 0.5))
    assert_ready(intake)
    polygon = 32.0 * math.sin(2.0 * math.pi / 64.0)  # area of a regular 64-gon of circumradius 1
    assert intake.base_area == pytest.approx(0.75 * polygon, rel=1e-12)
    assert intake.volume == pytest.approx(0.75 * polygon, rel=1e-12)
    assert "(2 loops of 128 open edges)" in intake.notes[0]


def test_several_feet_are_each_capped() -> None:
    feet = joined(bottomless(box()), bottomless(box(low=(3.0, 0.0, 0.0))), bottomless(cylinder(12, 0.5, 1.0)))
    feet = Mesh(
        feet.vertices + np.where(np.arange(len(feet.vertices)) >= 16, 1.0, 0.0)[:, None] * [6, 6, 0], feet.triangles
    )
    intake = prepare(feet)
    assert_ready(intake)
    assert intake.base_area == pytest.approx(2.0 + 0.25 * 6.0 * math.sin(math.pi / 6.0), rel=1e-12)
    assert "(3 loops of " in intake.notes[0]


def ragged(sides: int, rise: np.ndarray) -> Mesh:
    """A bottomless cylinder, radius 1, top at 2, whose rim stands `rise` above 0."""
    tube = bottomless(cylinder(sides, 1.0, 2.0, 4))
    vertices = tube.vertices.copy()
    rim = np.flatnonzero(vertices[:, 2] == 0.0)
    vertices[rim, 2] = rise
    return Mesh(vertices, tube.triangles)


@given(st.lists(st.one_of(st.just(0.0), st.just(5e-5), st.floats(2e-4, 0.08)), min_size=12, max_size=12))
def test_ragged_rim_gets_a_skirt_down_to_the_floor(rise: list[float]) -> None:
    """The wall is upright, so the skirt only restores it: volume and base are the cylinder's, whatever the rim."""
    heights = np.array(rise) - min(rise)
    intake = prepare(ragged(12, heights))
    assert_ready(intake)
    polygon = 6.0 * math.sin(2.0 * math.pi / 12.0)
    low = heights <= 1e-4  # corners within the floor tolerance stay where they are
    slack = polygon * 1e-4 if (low & (heights > 0.0)).any() else 0.0
    assert intake.volume == pytest.approx(2.0 * polygon, rel=1e-9, abs=slack)
    assert intake.base_area == pytest.approx(polygon, rel=1e-6)
    hanging = np.count_nonzero(~low)
    assert len(intake.mesh.vertices) == len(ragged(12, heights).vertices) + hanging
    assert ("skirt" in intake.notes[0]) == bool(hanging)
    skirt = intake.mesh.kind[len(ragged(12, heights).triangles) :]
    assert np.count_nonzero(skirt == BASE) == 10
    if hanging:
        assert f"up to {heights.max() * 1000.0:.3g} mm" in intake.notes[0]


def faces_to_mesh(points: list[tuple[float, float, float]], faces: list[list[int]]) -> Mesh:
    array = np.array(points, dtype=float)
    counts = np.array([len(face) for face in faces])
    return Mesh(array, split_faces(array, counts, np.concatenate(faces)).triangles)


def test_rim_that_stands_upright_in_one_place() -> None:
    """Two rim vertices one above the other share their place on the floor; the skirt fills the notch beside them."""
    top = [(0.0, 0.0, 2.0), (1.0, 0.0, 2.0), (1.0, 1.0, 2.0), (0.0, 1.0, 2.0)]
    rim = [(0.0, 0.0, 0.05), (1.0, 0.0, 0.05), (1.0, 1.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 0.0)]
    walls = [[4, 5, 1, 0], [5, 6, 2, 1], [6, 7, 3, 2], [7, 8, 4, 0, 3]]
    intake = prepare(faces_to_mesh(top + rim, [[0, 1, 2, 3], *walls]))
    assert_ready(intake)
    assert (intake.volume, intake.base_area) == pytest.approx((2.0, 1.0), rel=1e-12)
    assert len(intake.mesh.vertices) == 10


def test_rim_through_level_ground() -> None:
    """Rock scanned with ground round it: the rim undulates and the surface beside it runs level, not up."""
    count = 24
    x, y = np.meshgrid(np.linspace(-1, 1, count + 1), np.linspace(-1, 1, count + 1))
    z = 0.6 * np.exp(-6.0 * (x * x + y * y)) + 0.01 * np.sin(9.0 * x) * np.sin(7.0 * y)
    names = np.arange((count + 1) ** 2).reshape(count + 1, count + 1)
    a, b, c, d = (names[i : i + count, j : j + count].ravel() for i, j in ((0, 0), (0, 1), (1, 1), (1, 0)))
    ground = Mesh(np.stack([x, y, z], axis=-1).reshape(-1, 3), np.concatenate([np.c_[a, b, c], np.c_[a, c, d]]))
    intake = prepare(ground)
    assert_ready(intake)
    assert intake.base_area == pytest.approx(4.0, rel=1e-9)
    corners = ground.corners()
    over = corners[:, :, 2].mean(axis=1) - ground.vertices[:, 2].min()
    assert intake.volume == pytest.approx(float(over.sum()) * 0.5 * (2.0 / count) ** 2, rel=1e-9)


def holed_cylinder(level: float) -> Mesh:
    """A cylinder of many bands, its base open, with one quad of its wall taken out at this height."""
    tube = bottomless(cylinder(48, 1.0, 2.0, 100))
    middle = tube.corners().mean(axis=1)
    side = (np.abs(np.hypot(middle[:, 0], middle[:, 1]) - 1.0) < 0.02) & (np.abs(middle[:, 2] - level) < 0.01)
    near = side & (middle[:, 0] > 0.99)
    assert near.any()
    return without(tube, near)


@pytest.mark.parametrize(
    ("level", "message"),
    [(1.0, r"lie more than 0\.1 m above the lowest point and are no open base"), (0.05, "lies low in a side")],
)
def test_hole_in_a_side_is_refused(level: float, message: str) -> None:
    mesh = holed_cylinder(level)
    with pytest.raises(NotClosedError, match=message) as caught:
        prepare(mesh)
    heights = mesh.vertices[caught.value.edges, 2]
    assert np.abs(heights - level).max() < 0.03
    assert "\n" not in str(caught.value)


def test_rims_that_cross_are_refused() -> None:
    one = bottomless(box())
    with pytest.raises(NotClosedError, match="cross each other seen from above"):
        prepare(joined(one, moved(one, shift=(0.5, 0.3, 0.0))))


def test_upright_slit_is_refused() -> None:
    with pytest.raises(NotClosedError, match="upright slit"):
        prepare(joined(box((1.0, 1.0, 9.0)), Mesh([[2, 2, 0], [2, 2, 0.2], [2, 3, 0.1]], [[0, 1, 2]])))


def test_tilted_rim_is_refused_and_straightened_one_taken() -> None:
    tilt = turned((1.0, 0.0, 0.0), 0.3)
    open_below = bottomless(cylinder(48, 1.0, 2.0))
    with pytest.raises(NotClosedError, match="stand the carving level"):
        prepare(moved(open_below, tilt))
    straight = prepare(moved(moved(open_below, tilt), tilt.T))
    assert straight.volume == pytest.approx(48.0 * math.sin(2.0 * math.pi / 48.0), rel=1e-9)


def test_open_base_as_is_is_refused() -> None:
    with pytest.raises(NotClosedError, match="4 open edges"):
        prepare(bottomless(box()), base="as-is")
    assert prepare(box(), base="as-is").volume == pytest.approx(1.0)


def test_worse_than_open_is_refused() -> None:
    cube = box()
    turned_row = cube.triangles.copy()
    turned_row[5] = turned_row[5, ::-1]
    with pytest.raises(NotClosedError, match="3 misoriented edges"):
        prepare(Mesh(cube.vertices, turned_row))
    with pytest.raises(NotClosedError, match=r"2 open edges.*1 non-manifold edge "):
        prepare(Mesh([*cube.vertices, [0.5, 0.5, -1.0]], [*cube.triangles, [0, 1, 8]]))


def test_closed_body_inside_out_is_turned_and_said() -> None:
    intake = prepare(inside_out(icosphere(2)))
    assert_ready(intake)
    assert intake.notes == ("the surface was inside out and was turned",)
    assert intake.mesh.triangles.tolist() == icosphere(2).triangles.tolist()


def test_hollow_is_kept_and_a_body_inside_out_is_refused() -> None:
    hollow = inside_out(box((0.2, 0.2, 0.2), (0.4, 0.4, 0.4)))
    intake = prepare(joined(box(), hollow))
    assert intake.volume == pytest.approx(1.0 - 0.008, rel=1e-12)
    assert find_bodies(intake.mesh).volume == pytest.approx([1.0, -0.008], rel=1e-12)
    turned_whole = prepare(inside_out(joined(box(), hollow)))
    assert turned_whole.volume == pytest.approx(1.0 - 0.008, rel=1e-12)
    with pytest.raises(MeshError, match=r"body 1 of 2 is inside out: 0\.008 m3 round \(4\.5, 0\.5, 0\.5\)"):
        prepare(joined(box(), moved(hollow, shift=(4.0, 0.0, 0.0))))
    ring = prepare(bowl_ring(64, 1.0, 0.5)).mesh
    with pytest.raises(MeshError, match="body 1 of 2 is inside out"):
        prepare(joined(ring, moved(hollow, shift=(-0.5, -0.5, 0.0))))


def test_nothing_inside_is_refused() -> None:
    sheet = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2], [0, 2, 1]])
    with pytest.raises(MeshError, match="holds no foam"):
        prepare(sheet)
    with pytest.raises(MeshError, match="holds no foam"):
        prepare(Mesh(sheet.vertices, sheet.triangles[:1]))
    with pytest.raises(MeshError, match="lies in one plane"):
        prepare(Mesh(sheet.vertices, sheet.triangles[:1]), base="as-is")
    with pytest.raises(MeshError, match="no triangles"):
        prepare(Mesh([], []))


AXES = {"x": (1, 0, 0), "y": (0, 1, 0), "z": (0, 0, 1), "-x": (-1, 0, 0), "-y": (0, -1, 0), "-z": (0, 0, -1)}


@pytest.mark.parametrize("up", UP_AXES)
def test_up_axis_is_turned_to_z_without_mirroring(up: str) -> None:
    basis = Mesh(np.eye(3), [[0, 1, 2]])
    rotation = set_upright(basis, up=up).vertices.T
    assert (rotation @ np.array(AXES[up])).tolist() == [0.0, 0.0, 1.0]
    assert np.linalg.det(rotation) == 1.0
    assert np.array_equal(rotation @ rotation.T, np.eye(3))
    stone = rock(2)
    intake = prepare(Mesh(stone.vertices @ rotation * 1000.0, stone.triangles), 0.001, up)
    assert intake.mesh.vertices == pytest.approx(stone.vertices, abs=1e-12)
    assert intake.volume == pytest.approx(volume(stone), rel=1e-12)


@pytest.mark.parametrize(
    ("settings", "key"),
    [({"unit": 0.0}, "unit"), ({"unit": math.nan}, "unit"), ({"up": "w"}, "up"), ({"base": "shut"}, "base")],
)
def test_unknown_settings_are_named(settings: dict[str, float | str], key: str) -> None:
    with pytest.raises(JobError, match=key) as caught:
        prepare(box(), **settings)
    assert caught.value.key == f"carving.{key}"


def test_vertices_that_no_triangle_uses_are_left_out() -> None:
    """A stray point far below would otherwise be the floor."""
    cube = box()
    mesh = Mesh([[0.0, 0.0, -50.0], *cube.vertices], cube.triangles + 1)
    intake = prepare(mesh)
    assert intake.mesh.vertices.tolist() == cube.vertices.tolist()
    assert intake.base_area == pytest.approx(1.0)


@pytest.mark.parametrize(("degrees", "depth", "is_base"), [(4.9, 0.0, True), (5.1, 0.0, False), (0.0, 2e-4, False)])
def test_base_is_level_and_low(degrees: float, depth: float, is_base: bool) -> None:
    """Down within 5 degrees and within 0.1 mm of the floor: small tiles under a plate, all tilted or all raised."""
    side = 1e-4 / math.tan(math.radians(6.0))
    drop = side * math.tan(math.radians(degrees))
    low = Mesh([[0, 0, 0], [0, side, drop], [side, 0, 0]], [[0, 1, 2]])
    point = Mesh([[5, 5, -depth], [5, 5.01, -depth], [5, 5, 1 - depth]], [[0, 2, 1]])
    marked = mark_base(joined(low, point))
    assert marked.kind.tolist() == [BASE if is_base else CARVED, CARVED]


def test_classes_that_came_with_the_mesh_stay() -> None:
    cube = box()
    kind = np.zeros(12, dtype=np.uint8)
    kind[[0, 5]] = BACK
    assert prepare(Mesh(cube.vertices, cube.triangles, kind)).mesh.kind.tolist() == [3, 2, 0, 0, 0, 3] + [0] * 6


def test_no_base_is_a_note() -> None:
    intake = prepare(icosphere(2))
    assert intake.base_area == 0.0
    assert [f.severity for f in intake.findings] == ["note"]
    assert "no level base" in intake.findings[0].message


def test_input_is_never_changed() -> None:
    mesh = bottomless(rock(2))
    before = mesh.vertices.tobytes(), mesh.triangles.tobytes(), mesh.kind.tobytes()
    describe(inside_out(mesh), 0.001, "-y")
    assert (mesh.vertices.tobytes(), mesh.triangles.tobytes(), mesh.kind.tobytes()) == before


def test_many_rim_edges_are_tried_in_parts(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("seamwright.core.intake.base._PAIRS", 7)
    assert prepare(bottomless(cylinder(96))).volume > 0.0
    one = bottomless(cylinder(96))
    with pytest.raises(NotClosedError, match="cross"):
        prepare(joined(one, moved(one, shift=(0.9, 0.0, 0.0))))


def test_close_base_tells_the_skirt() -> None:
    mesh = ragged(12, np.where(np.arange(12) == 3, 0.07, 0.0))
    closed = close_base(mesh, edge_report(mesh.triangles))
    assert (closed.loops, closed.turned, closed.drop) == (1, False, 0.07)


@pytest.mark.parametrize(
    ("size", "unit", "proposed"),
    [(0.002, 0.001, ['"in"', '"ft"', '"m"']), (2440.0, 1.0, ['"mm"', '"cm"', '"in"'])],
)
def test_size_that_is_a_mistake_of_the_unit(size: float, unit: float, proposed: list[str]) -> None:
    with pytest.raises(InputError, match=r"^rock\.stl: its longest side would be") as caught:
        check_size(box((size, size / 2, size / 3)), unit, "rock.stl")
    assert all(word in str(caught.value) for word in proposed)
    assert "set unit under [carving]" in str(caught.value)
    with pytest.raises(InputError, match="give --unit"):
        check_size(box((size, size / 2, size / 3)), unit, "rock.stl", "give --unit")


@pytest.mark.parametrize("size", [0.05, 3.0, 200.0])
def test_size_that_can_be(size: float) -> None:
    check_size(box((size, 0.01, 0.01)))


def test_report_of_a_solid() -> None:
    report = describe(box((2000.0, 1000.0, 500.0)), 0.001, name="cube.stl", notes=("read as it was",))
    assert (report.verdict, report.exit_code, report.reason) == ("solid", 0, "")
    assert (report.triangles, report.vertices, report.bodies) == (12, 8, 1)
    assert report.size == pytest.approx([2.0, 1.0, 0.5])
    assert report.volume == pytest.approx(1.0)
    assert report.areas == pytest.approx([5.0, 0.0, 2.0, 0.0])
    text = report.to_text()
    assert text.splitlines()[0] == "cube.stl"
    assert "verdict:       solid" in text
    assert "read as it was" in text


def test_report_of_what_can_be_mended() -> None:
    report = describe(bottomless(box()))
    assert (report.verdict, report.exit_code) == ("can be mended", 1)
    data = json.loads(json.dumps(report.to_dict(), allow_nan=False))
    assert data["schema_version"] == 1
    assert data["edges"]["open"]["count"] == 4
    assert np.array(data["edges"]["open"]["first"]).shape == (4, 2, 3)
    assert data["areas_m2"] == {"carved": 5.0, "joint": 0.0, "base": 1.0, "back": 0.0}
    assert "would mend:    the open base was closed" in report.to_text()


def test_report_of_no_solid() -> None:
    mesh = holed_cylinder(1.0)
    report = describe(mesh)
    assert (report.verdict, report.exit_code, report.volume) == ("not a solid", 2, None)
    assert "no open base" in report.reason
    assert report.areas[CARVED] == pytest.approx(areas(mesh)[CARVED])
    assert json.loads(json.dumps(report.to_dict(), allow_nan=False))["volume_m3"] is None
    assert "wrong:" in report.to_text()
    assert describe(Mesh([], [])).verdict == "not a solid"
    assert describe(joined(tetrahedron(), tetrahedron())).bodies == 2
