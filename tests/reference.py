# SPDX-License-Identifier: GPL-3.0-or-later
"""What a cut must give, worked out without cutting: sections, half-space volumes, and bodies by manifold3d.

Nothing here uses the code under test, apart from the values Mesh, Plane and Profile.
"""

from __future__ import annotations

from dataclasses import dataclass

import manifold3d
import numpy as np
import shapely
import trimesh
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.mesh.mesh import Mesh


def cross(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Cross product of rows: as np.cross, with a third of its overhead on small arrays."""
    (ax, ay, az), (bx, by, bz) = np.moveaxis(a, -1, 0), np.moveaxis(b, -1, 0)
    return np.stack([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx], axis=-1)


def heights(mesh: Mesh, plane: Plane) -> np.ndarray:
    """Signed distance of each vertex from the plane, exactly 0 where it is within rounding of it."""
    s = (mesh.vertices - plane.point) @ plane.normal
    size = np.linalg.norm(mesh.size)
    reach = np.abs(mesh.vertices).max() + np.abs(plane.point).max()
    return np.where(np.abs(s) <= 1e-11 * size + 8.0 * np.spacing(reach), 0.0, s)


@dataclass(frozen=True)
class Halves:
    """Figures of a solid below and above a plane.

    volume, area : (2,) below, above; the area is that of the given surface without the section, a face in the plane
    on the side where its material is. `section` is the area of material that the plane passes through, `outline` the
    length of the given surface's crossing (meaningful where no face lies in the plane). `touched`, `along`,
    `flat`: a vertex, an edge, a face lies in it.
    """

    volume: np.ndarray
    area: np.ndarray
    section: float
    outline: float
    touched: bool
    along: bool
    flat: bool


def halves(mesh: Mesh, plane: Plane) -> Halves:
    """Figures on both sides of a plane from the clipped triangles alone.

    Volumes by the divergence theorem with the apex in the plane, to which a section adds nothing; the section by
    Green's theorem over its directed edges. Vertices in the plane count as above, which makes the section the one just
    below; faces in the plane that look up close it there already and are taken off.
    """
    s, x = heights(mesh, plane)[mesh.triangles], mesh.vertices[mesh.triangles] - plane.point
    # One corner alone on its side (turned to the front) cuts off a triangle; the rest is what remains.
    low = s < 0.0
    count = low.sum(axis=1)
    normal = cross(x[:, 1] - x[:, 0], x[:, 2] - x[:, 0])
    whole, cone = 0.5 * np.linalg.norm(normal, axis=1), np.einsum("ij,ij->i", x[:, 0], normal) / 6.0
    mixed = np.flatnonzero((count == 1) | (count == 2))
    lone = np.where((count[mixed] == 1)[:, None], low[mixed], ~low[mixed]).argmax(axis=1)
    order = (lone[:, None] + np.arange(3)) % 3
    t, y = s[mixed[:, None], order], x[mixed[:, None], order]
    share = t[:, :1] / (t[:, :1] - t[:, 1:])
    ends = y[:, :1] + share[:, :, None] * (y[:, 1:] - y[:, :1])
    tip = share.prod(axis=1)
    tip_low = count[mixed] == 1
    area, volume = np.zeros(2), np.zeros(2)
    for side, inside in enumerate((count == 3, count == 0)):
        part = np.where(tip_low == (side == 0), tip, 1.0 - tip)
        area[side] = whole[inside].sum() + (whole[mixed] * part).sum()
        # Both parts of a clipped triangle lie in one plane: the same height over the apex, so cones go by area too.
        volume[side] = cone[inside].sum() + (cone[mixed] * part).sum()
    # Direction of the section's edge: the material on its left, seen from above.
    first, last = (np.where(tip_low[:, None], ends[:, i], ends[:, 1 - i]) for i in (1, 0))
    section = 0.5 * (cross(first, last) @ plane.normal).sum()
    flat = (s == 0.0).all(axis=1)
    facing = normal[flat] @ plane.normal
    under = 0.5 * facing[facing > 0.0].sum()
    area += (under, -under)
    outline = float(np.linalg.norm(last - first, axis=1).sum())
    on = (s == 0.0).sum(axis=1).max(initial=0)
    return Halves(volume, area, float(section - under), outline, *(bool(on >= k) for k in (1, 2, 3)))


def volume_of(mesh: Mesh) -> float:
    """Signed volume by tetrahedra about the first vertex."""
    a, b, c = (mesh.vertices[mesh.triangles[:, k]] - mesh.vertices[0] for k in range(3))
    return float(np.einsum("ij,ij->i", a, cross(b, c)).sum()) / 6.0


def inside_point(mesh: Mesh) -> np.ndarray:
    """Find a point well within a solid: a little under the middle of its largest triangle, by the winding number."""
    a, b, c = (mesh.vertices[mesh.triangles[:, k]] for k in range(3))
    normal = cross(b - a, c - a)
    length = np.linalg.norm(normal, axis=1)
    row = int(length.argmax())
    middle = (a[row] + b[row] + c[row]) / 3.0
    for part in (0.1, 0.03, 0.01, 1e-3, 1e-4):
        point = middle - normal[row] / length[row] * part * float(mesh.size.min())
        if abs(winding(mesh, point) - 1.0) < 1e-6:
            return point
    raise AssertionError("no point found within the solid")


def section_polygon(mesh: Mesh, plane: Plane) -> shapely.Geometry:
    """Region just below the plane that is material, by shapely: rings of the crossing, even-odd."""
    u, v = basis(plane.normal)
    s = heights(mesh, plane)
    low = s[mesh.triangles] < 0.0
    segments = []
    for row in mesh.triangles[(low.any(axis=1)) & (~low).any(axis=1)]:
        ends = []
        for a, b in ((0, 1), (1, 2), (2, 0)):
            i, j = sorted((row[a], row[b]))
            if (s[i] < 0.0) != (s[j] < 0.0):
                p = mesh.vertices[i] + s[i] / (s[i] - s[j]) * (mesh.vertices[j] - mesh.vertices[i]) - plane.point
                ends.append((round(float(p @ u), 11), round(float(p @ v), 11)))
        if ends[0] != ends[1]:
            segments.append(ends)
    region = shapely.Polygon()
    for cell in shapely.polygonize([shapely.LineString(e) for e in segments]).geoms:
        region = region.symmetric_difference(shapely.Polygon(cell.exterior))
    return region


def basis(normal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two unit directions in the plane, right-handed with its normal."""
    u = cross(normal, np.eye(3)[np.abs(normal).argmin()])
    u /= np.linalg.norm(u)
    return u, cross(normal, u)


def winding(mesh: Mesh, point: np.ndarray) -> float:
    """Winding number of the mesh about a point: solid angles after van Oosterom and Strackee 1983."""
    a, b, c = (mesh.vertices[mesh.triangles[:, k]] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(x, axis=1) for x in (a, b, c))
    dot = np.einsum("ij,ij->i", a, b) * lc + np.einsum("ij,ij->i", b, c) * la + np.einsum("ij,ij->i", c, a) * lb
    return float(np.arctan2(np.einsum("ij,ij->i", a, cross(b, c)), la * lb * lc + dot).sum() / (2.0 * np.pi))


def body_labels(triangles: np.ndarray) -> np.ndarray:
    """Body of each triangle, (m,): connected through shared edges (of a closed mesh: each edge exactly twice)."""
    m = len(triangles)
    ends = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    pairs = (np.lexsort((ends[:, 1], ends[:, 0])) % m).reshape(-1, 2)
    return connected_components(coo_array((np.ones(len(pairs)), pairs.T), shape=(m, m)), directed=False)[1]


def to_manifold(mesh: Mesh) -> manifold3d.Manifold:
    """Hand the mesh to manifold3d, which refuses what is not closed and consistently wound by index."""
    solid = manifold3d.Manifold(manifold3d.Mesh64(np.array(mesh.vertices), mesh.triangles.astype(np.uint64)))
    assert solid.status() == manifold3d.Error.NoError, solid.status()
    return solid


def to_trimesh(solid: Mesh | manifold3d.Manifold) -> trimesh.Trimesh:
    """Hand the mesh to trimesh, nothing welded or dropped."""
    if isinstance(solid, manifold3d.Manifold):
        raw = solid.to_mesh64()
        return trimesh.Trimesh(raw.vert_properties[:, :3], raw.tri_verts.astype(np.int64), process=False)
    return trimesh.Trimesh(np.array(solid.vertices), np.array(solid.triangles), process=False)


def above_profile(profile: Profile, reach: float) -> Mesh:
    """Make the space above a profile a closed body, out to `reach` from its origin."""
    points = np.array(profile.points)
    far = 4.0 * reach
    first, last = points[0] - points[1], points[-1] - points[-2]
    points = np.concatenate([[points[0] + first / -first[0] * far], points, [points[-1] + last / last[0] * far]])
    k = len(points)
    top = np.column_stack([points[:, 0], np.full(k, np.abs(points).max() + far)])
    flat = np.concatenate([points, top])
    plane = profile.origin + flat[:, :1] * profile.u + flat[:, 1:] * profile.w
    i = np.arange(k - 1)
    front = np.concatenate([np.stack([i, i + 1, i + k + 1], axis=1), np.stack([i, i + k + 1, i + k], axis=1)])
    rim = np.concatenate([np.arange(k), np.arange(2 * k - 1, k - 1, -1)])
    a, b = rim, np.roll(rim, -1)
    walls = np.concatenate([np.stack([a, a + 2 * k, b], axis=1), np.stack([b, a + 2 * k, b + 2 * k], axis=1)])
    # u, w and the wire are right-handed: `front` looks along the wire, so it is the far end.
    vertices = np.concatenate([plane + far * profile.wire, plane - far * profile.wire])
    return Mesh(vertices, np.concatenate([front, front[:, ::-1] + 2 * k, walls]))


def reference_bodies(mesh: Mesh, joints: list[Joint]) -> list[manifold3d.Manifold]:
    """Bodies after the joints, one after another, by the boolean library; without a gap."""
    bodies = [b for b in to_manifold(mesh).decompose() if not b.is_empty()]
    reach = float(np.abs(mesh.vertices).max() + np.linalg.norm(mesh.size)) + 1.0
    for joint in joints:
        hit = list(range(len(bodies)))
        if joint.part is not None:
            hit = [i for i in hit if abs(_winding_of(bodies[i], joint.part) - 1.0) < 1e-6]
            assert len(hit) == 1, "the reference does not find the part"
        after = [b for i, b in enumerate(bodies) if i not in hit]
        for i in hit:
            for half in _split(bodies[i], joint, reach):
                after += [part for part in half.decompose() if not part.is_empty()]
        bodies = after
    return bodies


def _split(body: manifold3d.Manifold, joint: Joint, reach: float) -> tuple[manifold3d.Manifold, manifold3d.Manifold]:
    if isinstance(joint, Plane):
        return body.split_by_plane(joint.normal.tolist(), float(joint.point @ joint.normal))
    return body.split(to_manifold(above_profile(joint, reach)))


def _winding_of(body: manifold3d.Manifold, point: np.ndarray) -> float:
    raw = body.to_mesh64()
    return winding(Mesh(raw.vert_properties[:, :3], raw.tri_verts.astype(np.int64)), point)
