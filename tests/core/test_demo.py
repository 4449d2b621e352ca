# SPDX-License-Identifier: GPL-3.0-or-later
"""The demo: a rock that is a sound solid with crevices, a boat that it never touches, and a job that can be read."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys

import manifold3d
import numpy as np
import pytest
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from seamwright.core.demo import demo_boat, demo_carving, demo_cradle, demo_job_toml
from seamwright.core.demo.carving import SEED
from seamwright.core.demo.contour import Grid, contour
from seamwright.core.demo.noise import Facets
from seamwright.core.demo.rock import Outcrop
from seamwright.core.errors import MeshError
from seamwright.core.intake.base import mark_base
from seamwright.core.job import Job
from seamwright.core.mesh.mesh import BASE, Mesh

CLEARANCE = 0.05  # m, what the rock must keep from the boat


@pytest.fixture(scope="module")
def rock() -> Mesh:
    return demo_carving()


@pytest.fixture(scope="module")
def boat() -> Mesh:
    return demo_boat()


def volume(mesh: Mesh) -> float:
    c = mesh.corners()
    return float((c[:, 0] * np.cross(c[:, 1], c[:, 2])).sum() / 6.0)


def half_edges(triangles: np.ndarray) -> np.ndarray:
    return triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)


def assert_closed(triangles: np.ndarray) -> None:
    """Each half-edge occurs once, and so does its opposite."""
    edges = half_edges(triangles)
    count = int(triangles.max()) + 1
    forth, back = edges[:, 0] * count + edges[:, 1], edges[:, 1] * count + edges[:, 0]
    assert (edges[:, 0] != edges[:, 1]).all()
    assert len(np.unique(forth)) == len(forth)
    assert np.array_equal(np.sort(forth), np.sort(back))


def body_of(triangles: np.ndarray) -> np.ndarray:
    """Number of the connected body of each triangle, by the union-find of scipy."""
    edges, count = half_edges(triangles), int(triangles.max()) + 1
    graph = coo_matrix((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(count, count))
    return connected_components(graph, directed=False)[1][triangles[:, 0]]


def six_volumes(p: np.ndarray, a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    return np.einsum("ij,ij->i", a - p, np.cross(b - p, c - p))


def crossings(mesh: Mesh) -> np.ndarray:
    """Pairs of triangles of which an edge of one passes through the other, (k, 2); shared corners do not count."""
    corners, t = mesh.corners(), mesh.triangles
    low, high = corners.min(axis=1), corners.max(axis=1)
    radius = 0.5 * np.linalg.norm(high - low, axis=1)
    middle = 0.5 * (low + high)
    usual = float(min(3.0 * np.median(radius), radius.max()))
    small, large = np.flatnonzero(radius <= usual), np.flatnonzero(radius > usual)
    pairs = [small[cKDTree(middle[small]).query_pairs(2.0 * usual, output_type="ndarray")]]
    for i in large:
        meets = ((low <= high[i]) & (high >= low[i])).all(axis=1)
        meets[i] = False
        other = np.flatnonzero(meets)
        pairs.append(np.stack([np.full(len(other), i), other], axis=1))
    pair = np.concatenate(pairs)
    a, b = pair.T
    for axis in range(3):
        keep = (low[a, axis] <= high[b, axis]) & (low[b, axis] <= high[a, axis])
        a, b = a[keep], b[keep]
    found = []
    for one, two in ((a, b), (b, a)):
        for i in range(3):
            p, q = t[one, i], t[one, (i + 1) % 3]
            free = (t[two] != p[:, None]).all(axis=1) & (t[two] != q[:, None]).all(axis=1)
            m, n, p, q = one[free], two[free], mesh.vertices[p[free]], mesh.vertices[q[free]]
            x, y, z = corners[n, 0], corners[n, 1], corners[n, 2]
            through = six_volumes(p, x, y, z) * six_volumes(q, x, y, z) < 0.0
            m, n, p, q, x, y, z = (v[through] for v in (m, n, p, q, x, y, z))
            s = np.stack([six_volumes(p, q, x, y), six_volumes(p, q, y, z), six_volumes(p, q, z, x)])
            hit = (s > 0.0).all(axis=0) | (s < 0.0).all(axis=0)
            found.append(np.stack([m[hit], n[hit]], axis=1))
    return np.concatenate(found)


def least_angles(mesh: Mesh) -> np.ndarray:
    edge = np.roll(mesh.corners(), -1, axis=1) - mesh.corners()
    edge /= np.linalg.norm(edge, axis=2)[:, :, None]
    return np.degrees(np.arccos(np.clip(-(edge * np.roll(edge, 1, axis=1)).sum(axis=2), -1.0, 1.0)).min(axis=1))


def spread(mesh: Mesh, apart: float) -> np.ndarray:
    """Points on the surface, none of whose places is further than `apart` / sqrt(3) from the nearest of them."""
    corners = mesh.corners()
    parts = np.ceil(np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).max(axis=1) / apart).astype(int)
    points = []
    for n in np.unique(parts):
        c = corners[parts == n]
        points += [
            (i * c[:, 0] + j * c[:, 1] + (n - i - j) * c[:, 2]) / n for i in range(n + 1) for j in range(n + 1 - i)
        ]
    return np.concatenate(points)


def winding_number(mesh: Mesh, point: np.ndarray) -> float:
    """Times that the surface goes round a point: the solid angle formula of van Oosterom and Strackee (1983)."""
    a, b, c = np.moveaxis(mesh.corners() - point, 1, 0)
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    top = np.einsum("ij,ij->i", a, np.cross(b, c))
    bottom = la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
    return float(np.arctan2(top, bottom).sum() / (2.0 * np.pi))


def out_of_reach(mesh: Mesh, low: tuple, high: tuple, radius: float = 0.04) -> tuple[np.ndarray, np.ndarray]:
    """Depth below what a ball can touch from outside, of the vertices within a box: their places, and metres.

    The ball's middle tries a raster of 12 mm, so depths come out up to 10 mm large. It lies 17 mm off the bottom of
    a square corner, and cannot enter a crevice narrower than itself.
    """
    corners = mesh.corners()
    face = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal = np.stack([np.bincount(mesh.triangles.ravel(), np.repeat(face[:, a], 3)) for a in range(3)], axis=1)
    axes = [np.arange(a - 0.15, b + 0.15, 0.012) for a, b in zip(low, high, strict=True)]
    raster = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    v = mesh.vertices
    close = np.flatnonzero(((v > np.array(low) - 0.25) & (v < np.array(high) + 0.25)).all(axis=1))
    away, nearest = cKDTree(v[close]).query(raster, distance_upper_bound=0.1)
    free = np.isfinite(away) & (away >= radius)
    at = close[nearest[free]]
    free[free] = ((raster[free] - v[at]) * normal[at]).sum(axis=1) > 0.0
    within = v[((v > low) & (v < high)).all(axis=1)]
    return within, cKDTree(raster[free]).query(within)[0] - radius


def test_rock_is_one_closed_body(rock: Mesh) -> None:
    assert_closed(rock.triangles)
    assert len(np.unique(rock.triangles)) == len(rock.vertices)
    assert (body_of(rock.triangles) == 0).all()


def test_rock_has_the_size_that_it_should(rock: Mesh) -> None:
    assert 200_000 <= len(rock.triangles) <= 300_000
    assert volume(rock) >= 10.0
    assert np.abs(rock.size - np.array([7.0, 3.5, 1.2])).max() < 0.1


def test_rock_has_no_tunnels_by_manifold3d(rock: Mesh) -> None:
    solid = manifold3d.Manifold(manifold3d.Mesh64(rock.vertices.copy(), rock.triangles.astype(np.uint64)))
    assert solid.status() == manifold3d.Error.NoError
    assert solid.genus() == 0
    assert solid.volume() == pytest.approx(volume(rock), rel=1e-9)


def test_rock_is_a_u_round_a_bay(rock: Mesh) -> None:
    floor = rock.triangles[rock.kind == BASE]
    plan = shapely.union_all(shapely.polygons(rock.vertices[floor][:, :, :2]))
    assert plan.geom_type == "Polygon"
    across = shapely.LineString([(4.5, -1.0), (4.5, 5.0)]).intersection(plan)
    assert len(shapely.get_parts(across)) == 2  # two limbs
    assert len(shapely.get_parts(shapely.LineString([(1.0, -1.0), (1.0, 5.0)]).intersection(plan))) == 1
    assert plan.intersection(shapely.box(2.4, 1.3, 8.0, 2.2)).area == 0.0  # the bay is open to the end


def test_base_is_flat_and_lies_once_on_the_floor(rock: Mesh) -> None:
    floor = rock.triangles[rock.kind == BASE]
    corners = rock.vertices[floor]
    assert (corners[:, :, 2] == 0.0).all()
    assert (rock.vertices[:, 2] >= 0.0).all()
    twice = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2]
    assert (twice < 0.0).all()  # each faces down, so with a simple outline none can lie over another
    edges, count = half_edges(floor), len(rock.vertices)
    rim = edges[~np.isin(edges[:, 0] * count + edges[:, 1], edges[:, 1] * count + edges[:, 0])]
    outline = shapely.get_parts(shapely.polygonize(list(shapely.linestrings(rock.vertices[rim][:, :, :2]))))
    assert len(outline) == 1
    assert outline[0].is_valid
    assert outline[0].area == pytest.approx(-0.5 * twice.sum(), rel=1e-9)


def test_base_class_is_what_intake_gives(rock: Mesh) -> None:
    given = mark_base(Mesh(rock.vertices, rock.triangles))
    assert np.array_equal(given.kind, rock.kind)


def test_rock_does_not_cross_itself(rock: Mesh) -> None:
    assert len(crossings(rock)) == 0


def test_few_slivers(rock: Mesh) -> None:
    angles = least_angles(rock)
    assert (angles < 5.0).mean() < 1e-4
    assert np.median(angles) > 30.0


@pytest.mark.parametrize("sides", [(2.75, 3.7), (-0.2, 0.75)])
def test_upright_crevices_come_often_enough_for_joints(rock: Mesh, sides: tuple[float, float]) -> None:
    """Along the outer face of either limb; without its crevices this rock has gaps of over 3 m."""
    at, depth = out_of_reach(rock, (0.4, sides[0], 0.2), (6.7, sides[1], 0.42))
    assert 0.05 < (depth > 0.02).mean() < 0.25  # valleys, between faces that are none
    assert 0.03 < np.quantile(depth, 0.98) < 0.09
    found, _ = np.histogram(at[depth > 0.03, 0], bins=np.arange(0.4, 6.75, 0.08))
    valleys = 0.4 + 0.08 * np.flatnonzero(found >= 3)
    assert valleys[0] < 1.6
    assert valleys[-1] > 5.5
    assert np.diff(valleys).max() < 1.4


def test_triangles_asked_for() -> None:
    for wanted in (20_000, 60_000):
        mesh = demo_carving(wanted)
        assert len(mesh.triangles) == pytest.approx(wanted, rel=0.15)
        assert_closed(mesh.triangles)
        assert (body_of(mesh.triangles) == 0).all()
    with pytest.raises(MeshError, match="10000"):
        demo_carving(100)


def test_same_bytes_in_another_process(rock: Mesh, boat: Mesh) -> None:
    code = (
        "import hashlib; from seamwright.core.demo import demo_boat, demo_carving\n"
        "for m in (demo_carving(), demo_boat()):\n"
        "    print(hashlib.sha256(m.vertices.tobytes() + m.triangles.tobytes() + m.kind.tobytes()).hexdigest())"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code],
        env=os.environ | {"PYTHONHASHSEED": "7"},
        capture_output=True,
        text=True,
        check=True,
    )
    here = [hashlib.sha256(m.vertices.tobytes() + m.triangles.tobytes() + m.kind.tobytes()) for m in (rock, boat)]
    assert ran.stdout.split() == [h.hexdigest() for h in here]


def test_boat_is_seven_closed_bodies_that_do_not_touch(boat: Mesh) -> None:
    assert_closed(boat.triangles)
    body = body_of(boat.triangles)
    assert len(np.unique(body)) == 7
    for k in np.unique(body):
        assert volume(Mesh(boat.vertices, boat.triangles[body == k])) > 0.0
    assert len(crossings(boat)) == 0
    assert boat.vertices[:, 2].min() == 0.0
    assert len(np.unique(body_of(demo_cradle().triangles))) == 4


def test_boat_is_tilted(boat: Mesh) -> None:
    hull = boat.vertices[np.unique(boat.triangles[body_of(boat.triangles) == 0])]
    centred = hull - hull.mean(axis=0)
    long, wide, _ = np.linalg.svd(centred, full_matrices=False)[2]
    assert 3.0 < np.degrees(np.arcsin(abs(long[2]))) < 12.0
    assert 8.0 < np.degrees(np.arcsin(abs(wide[2]))) < 20.0


def test_boat_stands_clear_of_the_rock(rock: Mesh, boat: Mesh) -> None:
    apart = 0.02
    points, near = spread(boat, apart), spread(rock, apart)
    near = near[((near > points.min(axis=0) - 0.2) & (near < points.max(axis=0) + 0.2)).all(axis=1)]
    away, _ = cKDTree(near).query(points, distance_upper_bound=0.2)
    assert away.min() - 2.0 * apart / np.sqrt(3.0) >= CLEARANCE
    # No surface meets the other, so one point of each body tells on which side of the rock all of it is.
    body = body_of(boat.triangles)
    for k in np.unique(body):
        point = boat.vertices[boat.triangles[body == k][0, 0]]
        assert abs(winding_number(rock, point)) < 0.1
    assert winding_number(rock, np.array([1.0, 1.75, 0.3])) == pytest.approx(1.0, abs=1e-6)


def test_job_can_be_read() -> None:
    job = Job.from_toml(demo_job_toml())
    assert job.title == "Wrenlow Skerry outcrop"
    assert job.foam.density == pytest.approx(15.0)
    assert job.limits.piece_mass == pytest.approx(50.0)


def test_sampling_skips_no_sign() -> None:
    grid = Grid((-0.15, -0.15, -0.025), 0.05, (147, 77, 29))
    field = Outcrop(SEED)
    every = field(grid.points(np.argwhere(np.ones(grid.shape, dtype=bool)))).reshape(grid.shape)
    assert np.array_equal(grid.sample(field) < 0.0, every < 0.0)


@pytest.mark.parametrize("spacing", [0.7, 1.5, 4.0])
def test_contour_of_a_wild_field_is_sound(spacing: float) -> None:
    """A field as rough as the grid: every kind of cell occurs, and still nothing crosses or hangs loose."""
    wild = Facets(np.random.default_rng(5), spacing)
    grid = Grid((0.0, 0.0, -0.5), 1.0, (26, 25, 24))
    mesh = Mesh(*contour(lambda p: wild(p)[:, 0], grid))
    assert len(mesh.triangles) > 3000
    assert_closed(mesh.triangles)
    assert len(crossings(mesh)) == 0
    fans = np.bincount(np.bincount(half_edges(mesh.triangles)[:, 0], minlength=len(mesh.vertices)))
    assert fans[:3].sum() == 0


def test_contour_finds_a_ball_and_keeps_a_box_sharp() -> None:
    grid = Grid((-1.5, -1.5, -1.5), 0.1, (31, 31, 31))
    ball = Mesh(*contour(lambda p: np.linalg.norm(p, axis=1) - 1.0, grid, floor_layer=False))
    assert volume(ball) == pytest.approx(4.0 / 3.0 * np.pi, rel=0.01)
    turn = np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))[0]
    box = Mesh(*contour(lambda p: np.abs(p @ turn).max(axis=1) - 0.75, grid, floor_layer=False))
    assert volume(box) == pytest.approx(1.5**3, rel=0.01)
    assert np.abs(box.vertices @ turn).max() > 0.74  # edges are not worn off
