# SPDX-License-Identifier: GPL-3.0-or-later
"""Edge returns on pieces whose strips can be reckoned by hand."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from pack_sample import bar
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.job import Job, Layer, Skin
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.skin.returns import curved_strip_area, return_areas, rough_return_areas
from seamwright.core.skin.rims import find_faces, find_rims, rim_lengths
from seamwright.core.skin.strip import strip_area
from shapes import box, grid_box, moved, rock, turned

WRAP = Layer("wrap", mass=1.0, faces=("carved",), edge_return=0.05)


def skinned(*layers: Layer) -> Job:
    return replace(Job(), skin=Skin(layers=layers))


def edges(corners: list[tuple[float, float]]) -> np.ndarray:
    points = np.array(corners)
    return np.stack((points, np.roll(points, -1, axis=0)), axis=1)


SQUARE = edges([(0, 0), (1, 0), (1, 1), (0, 1)])


@pytest.mark.parametrize(
    ("rows", "width", "area"),
    [
        ((0,), 0.05, 0.05),
        ((0, 1), 0.05, 0.0975),
        ((0, 1, 2, 3), 0.05, 0.19),
        ((0, 2), 0.6, 1.0),
        ((0,), 5.0, 1.0),
        ((), 0.05, 0.0),
    ],
)
def test_strips_of_a_square_by_hand(rows: tuple[int, ...], width: float, area: float) -> None:
    for turn in (0.0, 0.3, np.pi / 2.0):
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        rim = SQUARE[list(rows)] @ spin.T
        assert strip_area(SQUARE @ spin.T, rim, width) == pytest.approx(area, rel=1e-4, abs=1e-9)


def test_round_an_inner_corner_the_strip_is_round() -> None:
    """An L of three unit squares: at its inner corner a quarter disc joins the two strips."""
    ell = edges([(0, 0), (2, 0), (2, 1), (1, 1), (1, 2), (0, 2)])
    inner = ell[[2, 3]]
    assert strip_area(ell, inner, 0.2) == pytest.approx(2.0 * 0.2 + np.pi * 0.04 / 4.0, rel=2e-4)


def test_a_hole_is_no_part_of_the_strip() -> None:
    hole = edges([(0.4, 0.02), (0.6, 0.02), (0.6, 0.04), (0.4, 0.04)])
    assert strip_area(np.concatenate((SQUARE, hole)), SQUARE[:1], 0.05) == pytest.approx(0.05 - 0.2 * 0.02, rel=1e-4)


def test_returns_of_a_bar_by_hand() -> None:
    """Joint ends of 1 x 1 m whose lower edge meets the base: strips of 50 mm along three edges; the base along two."""
    piece = bar(2.0, 0.0, (True, True))
    exact = return_areas(piece, skinned(WRAP))
    assert exact == pytest.approx(np.array([[0.0, 2.0 * (1.0 - 0.9 * 0.95), 2.0 * 2.0 * 0.05, 0.0]]), rel=1e-4)
    rough = rough_return_areas(piece, skinned(WRAP))
    assert rough == pytest.approx(np.array([[0.0, 2.0 * 3.0 * 0.05, 2.0 * 2.0 * 0.05, 0.0]]), rel=1e-12)


def test_a_strip_is_clipped_to_its_face() -> None:
    wide = replace(WRAP, edge_return=3.0)
    for found in (return_areas, rough_return_areas):
        assert found(bar(2.0, 0.0, (True, False)), skinned(wide))[0] == pytest.approx([0.0, 1.0, 2.0, 0.0], rel=2e-4)


def test_no_return_on_faces_that_the_layer_covers_anyway_and_none_on_carved() -> None:
    piece = bar(2.0, 0.0, (True, True))
    all_faces = replace(WRAP, faces=("carved", "joint", "base", "back"))
    on_joints = replace(WRAP, faces=("joint",))
    found = return_areas(piece, skinned(all_faces, on_joints, replace(WRAP, edge_return=0.0)))
    assert found[0].tolist() == [0.0] * 4
    assert found[1] == pytest.approx([0.0, 0.0, 2.0 * 0.05, 0.0], rel=1e-4)
    assert found[2].tolist() == [0.0] * 4


def test_rims_are_where_classes_meet() -> None:
    lengths = rim_lengths(bar(2.0, 0.0, (True, False)))
    assert lengths == pytest.approx(lengths.T)
    assert lengths[1, 0] == pytest.approx(3.0)
    assert lengths[1, 2] == pytest.approx(1.0)
    assert lengths[2, 0] == pytest.approx(2.0 * 2.0 + 1.0)
    assert len(find_rims(box()).triangle) == 0
    assert find_faces(box()) == []


@pytest.mark.parametrize("turn", [0.0, 0.8])
def test_a_profile_is_unrolled(turn: float) -> None:
    """A block cut along a zigzag: the face unrolled is a rectangle whose rim is all round."""
    rotation = turned((0.3, 0.5, 0.8), turn)
    points = [[-0.6, 0.0], [-0.2, 0.15], [0.1, -0.1], [0.6, 0.05]]
    joint = Profile((0.0, 0.0, 0.0), rotation @ (0.0, 1.0, 0.0), rotation @ (1.0, 0.0, 0.0), points)
    block = moved(box((1.0, 1.0, 0.8), (-0.5, -0.5, -0.4)), rotation)
    steps = np.diff(np.array(points), axis=0)
    slopes = steps[:, 1] / steps[:, 0]
    inside = np.array([0.3, 0.3, 0.4])  # of the block along u, between the kinks
    length = float((inside * np.sqrt(1.0 + slopes**2)).sum())
    for body in cut(block, [joint]).pieces:
        assert [face.flat for face in find_faces(body.mesh, body.source)] == [True]
        strip = return_areas(body.mesh, skinned(WRAP), body.source)[0, 1]
        assert strip == pytest.approx(length * 0.8 - (length - 0.1) * 0.7, rel=2e-4)


def test_faces_of_two_joints_are_two_faces() -> None:
    corner = box((1.0, 1.0, 1.0))
    joints = [Plane((0.5, 0.0, 0.0), (1.0, 0.0, 0.0)), Plane((0.0, 0.4, 0.0), (0.0, 1.0, 0.0))]
    body = cut(corner, joints).pieces[0]
    for numbers in (body.source, None):
        faces = find_faces(body.mesh, numbers)
        assert len(faces) == 2
        strip = return_areas(body.mesh, skinned(WRAP), numbers)[0, 1]
        # On each the edge between the two joints is no rim.
        assert strip == pytest.approx(sum(w * 1.0 - (w - 0.05) * 0.9 for w in (0.4, 0.5)), rel=1e-4)


def test_a_back_face_that_is_flat_is_as_a_joint_face() -> None:
    mesh = grid_box((20, 10, 10), (2.0, 1.0, 1.0))
    kind = np.where((mesh.corners()[:, :, 0] == 0.0).all(axis=1), 3, 0)
    found = return_areas(Mesh(mesh.vertices, mesh.triangles, kind), skinned(WRAP))
    assert found[0] == pytest.approx([0.0, 0.0, 0.0, 0.19], rel=1e-4)


def test_a_curved_strip_is_measured_on_the_surface() -> None:
    """A half pipe of radius 1 m, its lower rim the edge: within 0.1 m lies an arc of 2 asin(0.05)."""
    turn = np.linspace(0.0, np.pi, 241)
    line = np.stack([np.cos(turn), np.zeros_like(turn), np.sin(turn)], axis=1)
    rows = []
    along = np.array([0.0, 0.4, 0.0])
    for a, b in itertools.pairwise(line):
        c, d = a + along, b + along
        rows += [(a, b, c), (b, d, c)]
    rim = np.array([[line[0], line[0] + along]])
    assert curved_strip_area(np.array(rows), rim, 0.1) == pytest.approx(0.4 * 2.0 * np.arcsin(0.05), rel=2e-3)
    assert curved_strip_area(np.array(rows), rim + 9.0, 0.1) == 0.0


@pytest.mark.parametrize("shape", ["plane", "profile", "curved"])
def test_single_precision_moves_a_strip_no_more_than_itself(shape: str) -> None:
    """Of a face in a plane any two axes could be taken, and lines or parts laid otherwise: then it moved by 3e-4."""
    scan = rock(4)
    joint: Plane | Profile = Plane((0.01, 0.02, 0.03), (1.0, 0.0175, 0.0))
    if shape == "profile":
        joint = Profile(
            (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 1.0, 0.0), [[-2.0, 0.0], [-0.2, 0.02], [0.1, -0.1], [2.0, 0.0]]
        )
    strips = []
    for vertices in (scan.vertices, scan.vertices.astype(np.float32).astype(np.float64)):
        body = cut(Mesh(vertices, scan.triangles), [joint]).pieces[0]
        if shape == "curved":
            face = find_faces(body.mesh, body.source)[0]
            strips.append(curved_strip_area(body.mesh.corners()[face.triangles], face.edges, 0.05))
        else:
            strips.append(return_areas(body.mesh, skinned(WRAP), body.source)[0, 1])
    assert strips[0] > 0.2
    assert strips[0] != strips[1]
    assert strips[0] == pytest.approx(strips[1], abs=2e-7)
