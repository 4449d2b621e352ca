# SPDX-License-Identifier: GPL-3.0-or-later
"""What must hold of every cut, checked without the code under test."""

from __future__ import annotations

from collections.abc import Sequence

import manifold3d
import numpy as np
import pytest
import shapely
from reference import basis, body_labels, cross, halves, reference_bodies, to_manifold, to_trimesh, volume_of
from seamwright.core.cutting.joint import Joint, Plane
from seamwright.core.cutting.result import FROM_CARVING, FROM_JOINT, Body, CutResult
from seamwright.core.mesh.mesh import JOINT, Mesh

SUM = 1e-9
"""Relative, of the whole: how nearly volumes and areas must add up."""


def assert_closed(mesh: Mesh) -> None:
    """Every edge in exactly two triangles, which run it in opposite ways, by index; every vertex used."""
    t, n = mesh.triangles, len(mesh.vertices)
    assert len(t) >= 4
    start, end = t.ravel(), t[:, [1, 2, 0]].ravel()
    assert (start != end).all(), "a triangle names a vertex twice"
    ways = np.sort(start * n + end)
    assert (ways[1:] != ways[:-1]).all(), "an edge is run twice the same way"
    assert (ways == np.sort(end * n + start)).all(), "an edge is not run both ways"
    assert len(np.unique(t)) == n, "a vertex is in no triangle"


def surface(mesh: Mesh) -> np.ndarray:
    """Area of each triangle."""
    a, b, c = (mesh.vertices[mesh.triangles[:, k]] for k in range(3))
    return 0.5 * np.linalg.norm(cross(b - a, c - a), axis=1)


def assert_same_solid(mesh: Mesh, other: Mesh | manifold3d.Manifold, share: float = SUM) -> None:
    """Volume, area and centroid as trimesh has them of `other`, and nothing in one solid that is not in the other."""
    mine, theirs = to_trimesh(mesh), to_trimesh(other)
    size = float(np.linalg.norm(mesh.size))
    assert mine.volume == pytest.approx(theirs.volume, rel=share)
    assert mine.area == pytest.approx(theirs.area, rel=share)
    assert mine.center_mass == pytest.approx(theirs.center_mass, abs=share * size)
    a, b = to_manifold(mesh), other if isinstance(other, manifold3d.Manifold) else to_manifold(other)
    assert abs((a - b).volume()) + abs((b - a).volume()) <= share * mine.area * size


def as_bytes(points: np.ndarray) -> np.ndarray:
    """Each row of coordinates as one value that is equal only bit for bit, (n,)."""
    return np.ascontiguousarray(points).view("S24").ravel()


def joint_rows(body: Body, joint: int) -> np.ndarray:
    """Triangles of the body that this joint made."""
    return np.flatnonzero((body.origin == FROM_JOINT) & (body.source == joint))


def side_of(body: Body, joint: int, up: np.ndarray) -> int:
    """On which side of a joint the body lies: 0 below, 1 above (its joint faces look down), by their area; -1: none."""
    rows = joint_rows(body, joint)
    if len(rows) == 0:
        return -1
    a, b, c = (body.mesh.vertices[body.mesh.triangles[rows, k]] for k in range(3))
    return int((cross(b - a, c - a) @ up).sum() < 0.0)


def cap_area(mesh: Mesh, rows: np.ndarray, outward: np.ndarray) -> float:
    """Area of flat faces, none of which may be turned over against the outward normal.

    A triangle that rounding leaves without height counts as turned only beyond that rounding.
    """
    p = np.stack([mesh.vertices @ axis for axis in basis(outward)], axis=1)
    p = p - p.mean(axis=0)
    a, b, c = (p[mesh.triangles[rows, k]] for k in range(3))
    ab, ac = b - a, c - a
    twice = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    longest = np.maximum(np.abs(ab).max(axis=1), np.abs(ac).max(axis=1))
    rounding = 1e-14 * (np.linalg.norm(mesh.size) + np.abs(mesh.vertices).max())
    assert (twice >= -longest * rounding).all(), "a cap triangle is turned over"
    return 0.5 * float(np.abs(twice).sum())


def cap_overlap(mesh: Mesh, rows: np.ndarray, outward: np.ndarray) -> float:
    """Area that the flat faces cover more than once, by shapely, as a share of their area."""
    p = np.stack([mesh.vertices @ axis for axis in basis(outward)], axis=1)
    flat = shapely.polygons(p[mesh.triangles[rows]])
    flat = flat[shapely.area(flat) > 0.0]
    tree = shapely.STRtree(flat)
    pairs = np.concatenate([tree.query(flat, predicate=word) for word in ("overlaps", "contains")], axis=1)
    first, second = np.unique(np.sort(pairs[:, pairs[0] != pairs[1]], axis=0), axis=1)
    common = shapely.area(shapely.intersection(flat[first], flat[second])).sum()
    return float(common / shapely.area(flat).sum())


def assert_sources(carving: Mesh, body: Body, joints: Sequence[Joint]) -> None:
    """Each carved triangle lies in its source, faces its way and has its class; each joint face names a joint."""
    mesh = body.mesh
    assert body.source.shape == body.origin.shape == (len(mesh.triangles),)
    assert np.isin(body.origin, (FROM_CARVING, FROM_JOINT)).all()
    made = body.origin == FROM_JOINT
    assert (mesh.kind[made] == JOINT).all()
    assert ((body.source[made] >= 0) & (body.source[made] < len(joints))).all()
    rows = np.flatnonzero(~made)
    source = body.source[rows]
    assert ((source >= 0) & (source < len(carving.triangles))).all()
    assert (mesh.kind[rows] == carving.kind[source]).all()
    outer, inner = carving.vertices[carving.triangles[source]], mesh.vertices[mesh.triangles[rows]]
    normal = cross(outer[:, 1] - outer[:, 0], outer[:, 2] - outer[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    unit = normal / np.where(length > 0.0, length, 1.0)
    near = 1e-10 * (np.linalg.norm(carving.size) + np.abs(carving.vertices).max())
    assert np.abs(np.einsum("tkx,tx->tk", inner - outer[:, :1], unit)).max(initial=0.0) <= near
    for k in range(3):
        edge = outer[:, (k + 1) % 3] - outer[:, k]
        length = np.linalg.norm(edge, axis=1, keepdims=True)
        inward = cross(unit, edge / np.where(length > 0.0, length, 1.0))
        assert np.einsum("tkx,tx->tk", inner - outer[:, k : k + 1], inward).min(initial=0.0) >= -near
    if all(isinstance(joint, Plane) for joint in joints):
        # Away from the joints nothing has moved or come in: the very same coordinates.
        away = np.setdiff1d(mesh.triangles[rows], mesh.triangles[made])
        assert np.isin(as_bytes(mesh.vertices[away]), as_bytes(carving.vertices)).all()
    across = np.einsum("ij,ij->i", cross(inner[:, 1] - inner[:, 0], inner[:, 2] - inner[:, 0]), unit)
    assert across.min(initial=0.0) >= -near * np.linalg.norm(carving.size)


def assert_mates(bodies: Sequence[Body], joint: int, same_triangles: bool, up: np.ndarray) -> None:
    """Both faces of a joint have the same vertices, bit for bit; if asked the same triangles, the other way round."""
    rows = [joint_rows(b, joint) for b in bodies]
    corners = np.concatenate([b.mesh.vertices[b.mesh.triangles[r]] for b, r in zip(bodies, rows, strict=True)])
    sides = np.concatenate([np.full(len(r), side_of(b, joint, up)) for b, r in zip(bodies, rows, strict=True)])
    ids = np.unique(as_bytes(corners.reshape(-1, 3)), return_inverse=True)[1].reshape(-1, 3)
    below, above = np.unique(ids[sides == 0]), np.unique(ids[sides == 1])
    assert len(below) == len(above)
    assert (below == above).all(), "the two faces of a joint differ in a vertex"
    if same_triangles:
        # Each triangle as one number, whichever corner it begins with.
        n = int(ids.max(initial=0)) + 1
        below, above = ids[sides == 0], ids[sides == 1][:, ::-1]
        one, two = (
            np.sort(np.min([(t[:, k] * n + t[:, (k + 1) % 3]) * n + t[:, (k + 2) % 3] for k in range(3)], axis=0))
            for t in (below, above)
        )
        assert np.array_equal(one, two), "the two faces of a joint differ in a triangle"


def assert_on_joint(body: Body, joint: Joint, index: int, gap: float) -> None:
    """Joint faces lie on the joint's surface, moved out of the way by half the gap; and none of them is turned over."""
    rows = joint_rows(body, index)
    if len(rows) == 0:
        return
    near = 1e-10 * (np.linalg.norm(body.mesh.size) + np.abs(body.mesh.vertices).max())
    corners = body.mesh.vertices[body.mesh.triangles[rows]]
    if isinstance(joint, Plane):
        side = side_of(body, index, joint.normal)
        away = (corners - joint.point) @ joint.normal
        assert np.abs(away - gap * (side - 0.5)).max() <= near
        cap_area(body.mesh, rows, joint.normal * (1 - 2 * side))
    elif gap == 0.0:
        side = side_of(body, index, joint.w)
        knots = joint.points
        # Each face lies on one segment of the profile: the one its middle is over.
        at = np.clip(
            np.searchsorted(knots[:, 0], (corners - joint.origin).mean(axis=1) @ joint.u) - 1, 0, len(knots) - 2
        )
        run = knots[at + 1] - knots[at]
        run = run / np.linalg.norm(run, axis=1, keepdims=True)
        square = -run[:, 1:] * joint.u + run[:, :1] * joint.w
        start = joint.origin + knots[at, :1] * joint.u + knots[at, 1:] * joint.w
        assert np.abs(np.einsum("tkx,tx->tk", corners - start[:, None], square)).max() <= near
        faces = cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        across = np.einsum("tx,tx->t", faces, square) * (1 - 2 * side)
        assert across.min() >= -near * np.linalg.norm(body.mesh.size)


def assert_cut(carving: Mesh, joints: Sequence[Joint], result: CutResult, gap: float = 0.0, split: bool = True) -> None:
    """All that every cut promises, apart from where the bodies are (see `assert_bodies`)."""
    bodies = [*result.pieces, *result.taken, *result.crumbs]
    assert gap > 0.0 or not result.taken
    for body in bodies:
        assert_closed(body.mesh)
        assert_sources(carving, body, joints)
        volume = to_trimesh(body.mesh).volume
        assert volume > 0.0
        assert body.volume == pytest.approx(volume, rel=SUM, abs=1e-15 * np.prod(carving.size))
    if split:
        for piece in result.pieces:
            assert body_labels(piece.mesh.triangles).max() == 0, "a piece is more than one body"
    whole = to_trimesh(carving).volume
    assert sum(to_trimesh(b.mesh).volume for b in bodies) == pytest.approx(whole, rel=SUM)
    assert_areas(carving, bodies)
    for index, joint in enumerate(joints):
        up = joint.normal if isinstance(joint, Plane) else joint.w
        for piece in result.pieces:
            assert_on_joint(piece, joint, index, gap)
        if gap == 0.0:
            faces = [surface(b.mesh)[joint_rows(b, index)].sum() for b in bodies]
            sides = [side_of(b, index, up) for b in bodies]
            below, above = (sum(f for f, s in zip(faces, sides, strict=True) if s == k) for k in (0, 1))
            assert below == pytest.approx(above, rel=SUM)
            assert sum(c.area for c in result.contacts if c.joint == index) == pytest.approx(below, rel=SUM)
            if all(later.part is None for later in joints[index + 1 :]):
                assert_mates(bodies, index, index == len(joints) - 1, up)


def assert_plane_cut(carving: Mesh, plane: Plane, result: CutResult, sources: bool = True) -> None:
    """All of one plane without a gap, fast: for thousands of small cuts. The carving's triangles are one class.

    Whether each triangle lies in its source can be left out: it takes half of the time.
    """
    known = halves(carving, plane)
    size = float(np.linalg.norm(carving.size))
    flat, solid = 1e-10 * size**2, 1e-10 * size**3
    assert not result.taken
    assert not result.crumbs
    volume, area, caps = np.zeros(2), np.zeros(2), np.zeros(2)
    for piece in result.pieces:
        assert_closed(piece.mesh)
        assert body_labels(piece.mesh.triangles).max() == 0, "a piece is more than one body"
        if sources:
            assert_sources(carving, piece, [plane])
        away = (piece.mesh.vertices - plane.point) @ plane.normal
        side = int(away[np.abs(away).argmax()] > 0.0)
        assert (away * (1 - 2 * side)).max() <= 1e-10 * size, "a piece reaches over the plane"
        own = volume_of(piece.mesh)
        assert own > 0.0
        assert abs(piece.volume - own) <= 1e-12 * size**3
        volume[side] += own
        area[side] += surface(piece.mesh)[piece.origin == FROM_CARVING].sum()
        rows = joint_rows(piece, 0)
        assert (np.abs(away[piece.mesh.triangles[rows]]) <= 1e-10 * size).all()
        caps[side] += cap_area(piece.mesh, rows, plane.normal * (1 - 2 * side))
    assert np.abs(volume - known.volume).max() <= solid
    assert np.abs(area - known.area).max() <= flat
    assert np.abs(caps - known.section).max() <= flat
    if sources:
        assert_areas(carving, result.pieces)
    assert_mates(result.pieces, 0, True, plane.normal)
    assert abs(sum(c.area for c in result.contacts) - known.section) <= flat
    assert result.missed == (() if known.section > flat else (0,))
    if not known.touched:
        seen = sum(line.lengths.sum() for line in result.lines[0])
        assert seen == pytest.approx(known.outline, abs=1e-9 * size)
        assert sum(c.visible_length for c in result.contacts) == pytest.approx(known.outline, abs=1e-9 * size)
        assert all(line.closed and (line.kind == 0).all() for line in result.lines[0])


def assert_areas(carving: Mesh, bodies: Sequence[Body]) -> None:
    """Inherited area adds up: of each class, and of each single triangle of the carving."""
    whole, found = surface(carving), np.zeros(len(carving.triangles))
    kinds = np.zeros(4)
    for body in bodies:
        old = body.origin == FROM_CARVING
        area = surface(body.mesh)[old]
        np.add.at(found, body.source[old], area)
        kinds += np.bincount(body.mesh.kind[old], weights=area, minlength=4)
    assert kinds == pytest.approx(np.bincount(carving.kind, weights=whole, minlength=4), rel=SUM, abs=0.0)
    # A single small triangle: as exactly as its corners are known.
    assert np.abs(found - whole).max() <= 1e-10 * float(np.linalg.norm(carving.size)) ** 2


def assert_bodies(carving: Mesh, joints: Sequence[Joint], result: CutResult, share: float = SUM) -> None:
    """Pieces and crumbs are the bodies that manifold3d makes, one for one; without a gap.

    Not for a plane that faces lie in: there the library may leave bodies linked by faces without thickness.
    What is smaller than `share` of the carving need not be there: at that size the two may differ by rounding.
    """
    whole = abs(to_trimesh(carving).volume)
    size = float(np.linalg.norm(carving.size))
    theirs = [to_trimesh(b) for b in reference_bodies(carving, list(joints)) if abs(b.volume()) > share * whole]
    mine = [to_trimesh(b.mesh) for b in (*result.pieces, *result.crumbs) if volume_of(b.mesh) > share * whole]
    assert len(mine) == len(theirs)
    centres = np.array([b.center_mass for b in theirs])
    for body in mine:
        nearest = int(((centres - body.center_mass) ** 2).sum(axis=1).argmin())
        other = theirs[nearest]
        assert body.volume == pytest.approx(other.volume, rel=0.0, abs=share * whole)
        # The lever of a small body's centre grows as its volume falls.
        assert np.abs(body.center_mass - other.center_mass).max() <= share * size * whole / body.volume
        assert body.area == pytest.approx(other.area, rel=0.0, abs=share * size**2)
        centres[nearest] = np.inf
