# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.job import Job
from seamwright.core.marking.face_marks import BLOCK, letter_height, mark_lines, place_marks, renewal
from seamwright.core.marking.free_circle import free_circle
from seamwright.core.marking.numbering import kept_numbers, numbers, round_footprint
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.winding import distance_within, encloses
from shapely.geometry import Polygon
from shapes import box, turned


def flat(polygon: Polygon) -> tuple[np.ndarray, np.ndarray]:
    vertices, faces = trimesh.creation.triangulate_polygon(polygon, engine="earcut")
    return np.asarray(vertices)[:, :2], np.asarray(faces)


def wobbly(seed: int, corners: int = 40, hole: bool = False) -> Polygon:
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0.0, 2.0 * np.pi, corners))
    reach = rng.uniform(0.4, 1.0, corners)
    shape = Polygon(np.column_stack([reach * np.cos(angle), reach * np.sin(angle)])).buffer(0.0)
    return shape.difference(Polygon([(0.0, 0.0), (0.2, 0.0), (0.1, 0.15)])) if hole else shape


@pytest.mark.parametrize("seed", range(12))
def test_free_circle_against_shapely(seed: int) -> None:
    """shapely's maximum_inscribed_circle (GEOS) to a tenth of a millimetre."""
    polygon = wobbly(seed, hole=seed % 2 == 1)
    if polygon.geom_type != "Polygon":
        pytest.skip("the hole cut it apart")
    best = shapely.maximum_inscribed_circle(polygon, tolerance=1e-5).length
    found = free_circle([flat(polygon)])
    assert found is not None
    assert found.radius == pytest.approx(best, abs=2.5e-3)
    assert found.radius <= best + 2e-5
    assert polygon.contains(shapely.Point(found.x, found.y).buffer(found.radius * 0.999))


def test_free_circle_of_a_square_and_of_two_that_overlap() -> None:
    square = flat(Polygon([(0, 0), (1, 0), (1, 1), (0, 1)]))
    shifted = (square[0] + [0.6, 0.0], square[1])
    circle = free_circle([square])
    assert circle is not None
    assert (circle.x, circle.y, circle.radius) == pytest.approx((0.5, 0.5, 0.5), abs=1e-4)
    shared = free_circle([square, shifted])
    assert shared is not None
    assert (shared.x, shared.radius) == pytest.approx((0.8, 0.2), abs=1e-4)
    assert free_circle([square, (square[0] + [3.0, 0.0], square[1])]) is None


def cut_bar(gap: float = 0.01):
    bar = box((3.0, 0.8, 0.8))
    kind = np.zeros(12, dtype=np.uint8)
    kind[:2] = 2
    joints = [
        Plane((1.0, 0.0, 0.0), (1.0, 0.1, 0.2)),
        Profile((2.0, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [[0.0, 0.0], [0.4, 0.1], [0.8, 0.0]]),
    ]
    result = cut(Mesh(bar.vertices, bar.triangles, kind), joints, gap)
    return joints, result


def test_marks_stand_on_their_faces_upright_and_inside() -> None:
    joints, result = cut_bar()
    meshes = [b.mesh for b in result.pieces]
    marks = place_marks(
        meshes, [b.source for b in result.pieces], [b.origin for b in result.pieces], joints, result.contacts, 5.0
    )
    assert sorted((m.face, m.joint) for m in marks) == [("base", -1)] * 3 + [("joint", 0)] * 2 + [("joint", 1)] * 2
    for m in marks:
        frame = np.stack((m.right, m.up, m.out))
        assert np.allclose(frame @ frame.T, np.eye(3), atol=1e-12)
        assert np.linalg.det(frame) == pytest.approx(1.0)
        assert m.up[2] > 0.0 or m.face == "base"
        assert abs(m.right[2]) < 1e-12
        assert distance_within(meshes[m.piece], m.centre, 1.0) < 1e-9
        # A little way out it is clear of the piece, a little way in it is inside.
        assert not encloses(meshes[m.piece], m.centre + 1e-3 * m.out)
        assert encloses(meshes[m.piece], m.centre - 1e-3 * m.out)
        assert m.height == pytest.approx(min(0.025, m.radius / BLOCK))
    flat_marks = [m for m in marks if m.joint == 0]
    assert all(0.4 - 1e-4 < m.radius <= 0.42 for m in flat_marks)  # the joint leans: its face is a little taller


def test_letters_by_reading_distance() -> None:
    assert letter_height(10.0) == pytest.approx(0.05)  # M-T1: 50.0 mm at 10 m by 1/200 (from memory, unverified)


def test_words_of_a_mark() -> None:
    joints, result = cut_bar()
    marks = place_marks(
        [b.mesh for b in result.pieces],
        [b.source for b in result.pieces],
        [b.origin for b in result.pieces],
        joints,
        result.contacts,
        5.0,
    )
    one = next(m for m in marks if m.joint == 0)
    names = ["W1", "W2", "W3"]
    lines = mark_lines(one, names, ["A", "B"], 34.4, 2, 4)
    assert lines == (names[one.piece], "of 3   up ↑", f"joint A to {names[one.other]}", "34 kg, 2 people")
    base = next(m for m in marks if m.face == "base")
    assert "this side down" in mark_lines(base, names, ["A", "B"], 34.4, 0, 4)
    assert mark_lines(base, names, [], 99.0, 0, 4)[-1] == "99 kg, over 4 people"
    assert renewal(Job(), "joint") == ("barrier foil", "light laminate")
    assert renewal(Job(), "base") == ("barrier foil",)


def test_numbers_run_round_the_footprint() -> None:
    ring = [(np.cos(a), np.sin(a), 0.5) for a in np.deg2rad([10, 100, 190, 280])]
    assert round_footprint(ring, "+x", False).tolist() == [0, 1, 2, 3]
    assert round_footprint(ring, "+x", True).tolist() == [3, 2, 1, 0]
    assert round_footprint(ring, "+y", False).tolist() == [1, 2, 3, 0]
    stacked = [*ring, (ring[1][0], ring[1][1], 0.1)]
    assert round_footprint(stacked, "+x", False).tolist() == [0, 4, 1, 2, 3]


def test_numbers_with_prefix_and_kept_ones() -> None:
    assert numbers([2, 0, 1]) == ["2", "3", "1"]
    assert numbers([0, 1, 2], "N-") == ["N-1", "N-2", "N-3"]
    assert numbers([0, 1, 2, 3], "", ["2", None, "7", None]) == ["2", "1", "7", "3"]


def test_a_piece_keeps_its_number_while_it_is_mostly_the_same_body() -> None:
    bar = box((3.0, 0.8, 0.8))

    def pieces(*places: float) -> list[Mesh]:
        return [b.mesh for b in cut(bar, [Plane((x, 0.0, 0.0), (1.0, 0.0, 0.0)) for x in places]).pieces]

    old = pieces(1.0, 2.0)
    marks = ["5", "6", "7"]
    assert kept_numbers(marks, old, old) == marks
    assert kept_numbers(marks, old, pieces(1.2, 2.0)) == marks
    assert kept_numbers(marks, old, pieces(1.45, 2.0)) == ["5", "6", "7"]
    assert kept_numbers(marks, old, pieces(1.55, 2.0)) == ["5", None, "7"]  # under half of the old middle is left
    assert kept_numbers(marks, old, pieces(2.0)) == [None, "7"]
    assert kept_numbers(marks, old, pieces(0.4, 1.0, 2.0)) == [None, "5", "6", "7"]
    spun = [Mesh(m.vertices @ turned((0.2, 0.3, 1.0), 0.7).T, m.triangles) for m in (*old, *pieces(1.2, 2.0))]
    assert kept_numbers(marks, spun[:3], spun[3:]) == marks
    assert kept_numbers([], [], old) == [None] * 3
