# SPDX-License-Identifier: GPL-3.0-or-later
from __future__ import annotations

import numpy as np
import pytest
from seamwright.core.jobpack.outline import NOBODY, arcs, look_at, patches, view_axes, without_slits
from seamwright.core.mesh.polyline import simplified
from seamwright.core.mesh.raster import flat_corners, fragments, front
from shapely.geometry import LineString, Polygon
from shapes import box, cylinder


def body(mesh, label: int):
    return mesh.vertices, mesh.triangles, np.full(len(mesh.triangles), label)


def area(loops) -> float:
    return sum(0.5 * float((p[:, 0] * np.roll(p[:, 1], -1) - np.roll(p[:, 0], -1) * p[:, 1]).sum()) for p in loops)


def test_two_boxes_from_the_front() -> None:
    near, far = box((1.0, 1.0, 1.0)), box((2.0, 1.0, 1.0), (0.5, 2.0, 0.0))
    seen = look_at([body(near, 0), body(far, 1)], view_axes("-y"), 250)
    assert area(patches(seen, 0)) == pytest.approx(1.0, abs=0.03)
    assert area(patches(seen, 1)) == pytest.approx(1.5, abs=0.03)
    between = [a for a in arcs(seen) if (a.one, a.two) == (0, 1)]
    assert len(between) == 1
    assert np.allclose(between[0].points[:, 0], 1.0, atol=0.02)
    outside = [a for a in arcs(seen) if a.one == NOBODY]
    assert sum(LineString(a.points).length for a in outside) == pytest.approx(2 * 2.5 + 2 * 1.0, abs=0.1)


@pytest.mark.parametrize(
    ("name", "right", "up", "back"),
    [
        ("from above", (1, 0, 0), (0, 1, 0), (0, 0, 1)),
        ("-y", (1, 0, 0), (0, 0, 1), (0, -1, 0)),
        ("+x", (0, 1, 0), (0, 0, 1), (1, 0, 0)),
        ("+y", (-1, 0, 0), (0, 0, 1), (0, 1, 0)),
        ("-x", (0, -1, 0), (0, 0, 1), (-1, 0, 0)),
    ],
)
def test_views_are_what_one_sees_from_there(name: str, right, up, back) -> None:
    assert view_axes(name).T.tolist() == [list(map(float, row)) for row in (right, up, back)]


def test_a_round_outline_is_round() -> None:
    seen = look_at([body(cylinder(200, 1.0, 1.0), 3)], view_axes("from above"), 400)
    (loop,) = patches(seen, 3)
    assert area([loop]) == pytest.approx(np.pi, rel=0.01)
    assert len(loop) < 150
    (ring,) = arcs(seen)
    assert (ring.points[0] == ring.points[-1]).all()


def test_a_hole_runs_the_other_way() -> None:
    ring = Polygon([(0, 0), (3, 0), (3, 3), (0, 3)], [[(1, 1), (2, 1), (2, 2), (1, 2)]])
    cells = [box((1, 1, 1), (x, y, 0)) for x in range(3) for y in range(3) if (x, y) != (1, 1)]
    seen = look_at([body(c, 0) for c in cells], view_axes("from above"), 300)
    loops = patches(seen, 0)
    assert len(loops) == 2
    assert area(loops) == pytest.approx(ring.area, abs=0.1)


def test_simplified_stays_near_and_keeps_the_ends() -> None:
    rng = np.random.default_rng(2)
    line = np.cumsum(rng.normal(size=(400, 2)), axis=0)
    fewer = simplified(line, 2.0)
    assert len(fewer) < 200
    assert (fewer[[0, -1]] == line[[0, -1]]).all()
    assert LineString(line).hausdorff_distance(LineString(fewer)) <= 4.0
    shape = LineString(fewer)
    assert max(shape.distance(LineString([p, p + 1e-9])) for p in line) <= 2.0 + 1e-9


def test_front_is_the_nearest_triangle_and_fragments_touch_what_they_touch() -> None:
    """Cells that a triangle touches, against polygons of shapely."""
    rng = np.random.default_rng(5)
    for _ in range(30):
        corners = np.column_stack([rng.uniform(0.0, 6.0, (3, 2)), rng.normal(size=3)])
        shape = Polygon(corners[:, :2])
        if shape.area < 0.05:
            continue
        parts = list(fragments(flat_corners(corners, np.array([[0, 1, 2]])), touched=True))
        got = {(int(c), int(r)) for p in parts for c, r in zip(p.column, p.row, strict=True)}
        cells = {
            (c, r): Polygon([(c, r), (c + 1, r), (c + 1, r + 1), (c, r + 1)]).intersection(shape)
            for c in range(7)
            for r in range(7)
        }
        assert {k for k, v in cells.items() if v.area > 1e-9} <= got
        assert got <= {k for k, v in cells.items() if not v.is_empty} | {
            k for k, v in cells.items() if v.distance(shape) < 1e-9
        }
        system = np.linalg.solve(np.column_stack([corners[:, :2], np.ones(3)]), corners[:, 2])
        for p in parts:
            for c, r, low, high in zip(p.column, p.row, p.low, p.high, strict=True):
                shared = cells[int(c), int(r)]
                if shared.area > 1e-9:
                    z = (
                        np.column_stack([np.array(shared.exterior.coords), np.ones(len(shared.exterior.coords))])
                        @ system
                    )
                    assert low <= z.min() + 1e-9
                    assert high >= z.max() - 1e-9
    near = np.array([[0, 0, 1.0], [4, 0, 1.0], [0, 4, 1.0]])
    far = near - [0.0, 0.0, 0.5]
    index, height = front(flat_corners(np.vstack([far, near]), np.array([[0, 1, 2], [3, 4, 5]])), (4, 4))
    assert index[0, 0] == 1
    assert height[0, 0] == 1.0
    assert index[3, 3] == -1


def test_a_gap_that_one_looks_through_closes_and_a_bay_does_not() -> None:
    bodies = [body(box((1.0, 1.0, 1.0)), 0), body(box((1.0, 1.0, 1.0), (1.015, 0.0, 0.0)), 1)]
    bodies.append(body(box((1.0, 1.0, 1.0), (2.4, 0.0, 0.0)), 2))
    seen = look_at(bodies, view_axes("from above"), 700)
    closed = without_slits(seen, 0.015)
    assert not [a for a in arcs(seen) if (a.one, a.two) == (0, 1)]
    (joint,) = [a for a in arcs(closed) if (a.one, a.two) == (0, 1)]
    assert np.allclose(joint.points[:, 0], 1.0075, atol=0.012)
    assert not [a for a in arcs(closed) if (a.one, a.two) == (1, 2)]
    assert ((closed.label == NOBODY) == ((seen.label == NOBODY) & (closed.label == seen.label))).all()
