# SPDX-License-Identifier: GPL-3.0-or-later
"""Random cuts, each made from its number alone, and all that must hold of them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from datasets import ARMADILLO, BUNNY, CHEESE, ELEPHANT, TURBINE, Dataset, path_of, read_off
from proof import assert_closed
from reference import above_profile, to_manifold
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.cutting.result import FROM_JOINT, Body, CutResult
from seamwright.core.errors import CutError
from seamwright.core.intake.prepare import prepare
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.winding import inner_point
from shapes import (
    cells,
    comb,
    cylinder,
    grid_box,
    hollow_box,
    icosphere,
    moved,
    pocketed_box,
    prism,
    rock,
    torus,
    turned,
)
from trimesh.triangles import closest_point


@dataclass(frozen=True, eq=False)
class Case:
    """A carving with its joints."""

    name: str
    mesh: Mesh
    joints: tuple[Joint, ...]
    gap: float


@cache
def _fixed(name: str) -> Mesh:
    return {
        "prism": lambda: prism(7, 0.6, 1.3),
        "cylinder": lambda: cylinder(28, 0.7, 1.8),
        "torus": lambda: torus(24, 12, 1.0, 0.4),
        "ball": lambda: icosphere(2),
        "gridded box": grid_box,
        "comb": comb,
        "pocketed box": pocketed_box,
        "hollow box": hollow_box,
    }[name]()


FIXED = ("prism", "cylinder", "torus", "ball", "gridded box", "comb", "pocketed box", "hollow box")


OPEN = (ELEPHANT, CHEESE, TURBINE, BUNNY, ARMADILLO)


@cache
def _open(dataset: Dataset) -> Mesh:
    """An open mesh, 3 m large, outside outwards."""
    mesh = read_off(path_of(dataset))
    scale = 3.0 / float(mesh.size.max())
    return prepare(mesh, scale).mesh


def _blocks(rng: np.random.Generator) -> Mesh:
    """Cells of a grid that hang together face by face; where they would only touch, the gap is filled."""
    filled = rng.random((5, 4, 4)) < 0.6
    filled[2, 2, 2] = True
    while True:
        before = filled.sum()
        for axis in range(3):
            for other in range(axis + 1, 3):
                corner = [_corner(filled, axis, other, s) for s in ((0, 0), (0, 1), (1, 0), (1, 1))]
                a, b, c, d = corner
                b |= a & d & ~b & ~c
                a |= b & c & ~a & ~d
        for i, j, k in np.ndindex(4, 3, 3):
            cube = filled[i : i + 2, j : j + 2, k : k + 2]
            for x, y, z in ((0, 0, 0), (0, 0, 1), (0, 1, 0), (0, 1, 1)):
                if cube.sum() == 2 and cube[x, y, z] and cube[1 - x, 1 - y, 1 - z]:
                    cube[x, y, 1 - z] = cube[x, 1 - y, 1 - z] = True
                if cube.sum() == 6 and not cube[x, y, z] and not cube[1 - x, 1 - y, 1 - z]:
                    cube[x, y, z] = True
        if filled.sum() == before:
            return cells(filled, (1.5, 1.2, 1.2))


def _corner(filled: np.ndarray, axis: int, other: int, shift: tuple[int, int]) -> np.ndarray:
    rows = [slice(None)] * 3
    for k, s in zip((axis, other), shift, strict=True):
        rows[k] = slice(s, filled.shape[k] - 1 + s)
    return filled[tuple(rows)]


def make_case(number: int) -> Case:
    """The case of this number: shape, pose, size, joints and gap."""
    rng = np.random.default_rng([20, number])
    pick = int(rng.integers(12))
    if number % 50 == 49:
        dataset = OPEN[int(rng.choice(len(OPEN), p=(0.5, 0.2, 0.2, 0.05, 0.05)))]
        name, mesh = dataset.name, _open(dataset)
    elif pick < len(FIXED):
        name, mesh = FIXED[pick], _fixed(FIXED[pick])
    elif pick < 10:
        name, mesh = "rock", rock(int(rng.integers(1, 4)), int(rng.integers(1000)), float(rng.uniform(0.1, 0.6)))
    else:
        name, mesh = "blocks", _blocks(rng)
    if rng.random() < 0.5:
        mesh = moved(mesh, turned(tuple(rng.normal(size=3)), float(rng.uniform(0.1, 3.0))))
    if rng.random() < 0.4:
        mesh = Mesh(mesh.vertices * 10.0 ** rng.uniform(-1.0, 2.0), mesh.triangles)
    if rng.random() < 0.1:
        squash = np.array([1.0, 1.0, 10.0 ** rng.uniform(-4.0, 0.0)])
        mesh = Mesh(mesh.vertices * squash, mesh.triangles)
    if rng.random() < 0.15:
        mesh = Mesh(mesh.vertices + rng.normal(size=3) * 10.0 ** rng.uniform(0.0, 4.0), mesh.triangles)
    mesh = Mesh(mesh.vertices, mesh.triangles, rng.choice([0, 0, 0, 2, 3], len(mesh.triangles)).astype(np.uint8))
    joints = tuple(_joint(mesh, rng) for _ in range(int(rng.integers(1, 5))))
    gap = 0.0
    if rng.random() < 0.35:
        gap = float(np.linalg.norm(mesh.size)) * 10.0 ** rng.uniform(-4.0, -1.3)
    if rng.random() < 0.25:
        joints = _with_part(mesh, joints, gap, rng)
    return Case(f"{number} {name}", mesh, joints, gap)


def _joint(mesh: Mesh, rng: np.random.Generator) -> Joint:
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    size = float(np.linalg.norm(high - low))
    point, normal = rng.uniform(low, high), rng.normal(size=3)
    corners = mesh.vertices[mesh.triangles[rng.integers(len(mesh.triangles))]]
    edge = corners[1] - corners[0]
    way = int(rng.integers(12))
    if way in (4, 10):  # through a vertex
        point = corners[0]
    if way in (5, 10):  # square to an axis
        normal = np.eye(3)[rng.integers(3)] * rng.choice([-1.0, 1.0])
    if way == 6:  # along an edge
        point, normal = corners[0], np.cross(edge, rng.normal(size=3))
    if way == 7:  # in a face
        point, normal = corners[0], np.cross(edge, corners[2] - corners[0])
    if way == 8:  # nearly in a face
        point = corners[0] + size * 10.0 ** rng.uniform(-13.0, -6.0) * rng.normal(size=3)
        normal = np.cross(edge, corners[2] - corners[0])
        normal = normal / max(float(np.linalg.norm(normal)), 1e-300)
        normal = normal + 10.0 ** rng.uniform(-13.0, -6.0) * rng.normal(size=3)
    if way == 9:  # through three vertices
        three = mesh.vertices[rng.choice(len(mesh.vertices), 3, replace=False)]
        point, normal = three[0], np.cross(three[1] - three[0], three[2] - three[0])
    if not np.linalg.norm(normal) > 1e-9 * size**2:
        normal = rng.normal(size=3)
    normal = normal / np.linalg.norm(normal)
    if rng.random() < 0.55:
        return Plane(point, normal)
    u = np.cross(normal, rng.normal(size=3) if rng.random() < 0.5 else edge + 1e-3 * size * np.array([0.3, 0.2, 0.1]))
    u = u / np.linalg.norm(u)
    knots = int(rng.choice([2, 3, 4, 6, 12, 40]))
    across = np.sort(rng.uniform(-0.7, 0.7, knots))
    across = across + np.arange(knots) * 1e-3
    heights = rng.normal(size=knots) * 10.0 ** rng.uniform(-3.0, -0.7)
    if rng.random() < 0.3:  # knots at vertices
        some = mesh.vertices[rng.choice(len(mesh.vertices), min(knots, len(mesh.vertices)), replace=False)] - point
        at, up = some @ u / size, some @ normal / size
        order = np.argsort(at)
        rise = np.append(True, np.diff(at[order]) > 1e-6)
        if rise.sum() >= 2:
            across, heights = at[order][rise], up[order][rise] * rng.choice([1.0, 0.1])
    elif rng.random() < 0.2:
        heights = np.round(heights * 10.0) / 10.0
    return Profile(point, u, normal, np.stack([across * size, heights * size], axis=1))


def _with_part(mesh: Mesh, joints: tuple[Joint, ...], gap: float, rng: np.random.Generator) -> tuple[Joint, ...]:
    """The last joint through one body only."""
    pieces = cut(mesh, joints[:-1], gap).pieces
    pieces = tuple(p for p in pieces if p.volume > 1e-6 * np.prod(mesh.size))
    if not pieces:
        return joints
    inside = inner_point(pieces[int(rng.integers(len(pieces)))].mesh)
    return (*joints[:-1], replace(joints[-1], part=inside))


def limb_case(number: int) -> Case:
    """The case of this number with some of its joints through one limb only, each at one of its own faces."""
    case = make_case(number)
    rng = np.random.default_rng([21, number])
    joints: list[Joint] = []
    for joint in case.joints:
        if rng.random() < 0.6:
            try:
                bodies = cut(case.mesh, (*joints, joint), 0.0).pieces
            except CutError:
                bodies = ()
            faces = [b.mesh.corners()[(b.origin == FROM_JOINT) & (b.source == len(joints))] for b in bodies]
            faces = np.concatenate(faces) if faces else np.zeros((0, 3, 3))
            if len(faces):
                joint = replace(joint, limb=faces[rng.integers(len(faces))].mean(axis=0))
        joints.append(joint)
    return Case(f"{case.name}, limbs", case.mesh, tuple(joints), case.gap)


def check_case(case: Case, whole: bool = True) -> None:
    """Cut, and hold everything that a cut promises; `whole` adds the boolean library."""
    mesh, joints, gap = case.mesh, case.joints, case.gap
    try:
        result = cut(mesh, joints, gap)
    except CutError as error:
        # What a random case may meet: a part right beside the skin, or a point by a face that a gap took.
        if "on the skin" not in str(error) and not (gap > 0.0 and "its limb" in str(error)):
            raise
        return
    bodies = (*result.pieces, *result.taken)
    size = float(np.linalg.norm(mesh.size))
    reach = size + float(np.abs(mesh.vertices).max())
    volume = _volume(mesh)
    assert abs(sum(_volume(b.mesh, mesh) for b in bodies) - volume) <= 1e-9 * volume + 1e-13 * size**2 * reach
    area, total = np.zeros(4), 0.0
    for body in bodies:
        assert_closed(body.mesh)
        assert_no_fin(body, reach)
        old = body.origin != FROM_JOINT
        areas = _areas(body.mesh)
        area += np.bincount(body.mesh.kind[old], areas[old], minlength=4)
        total += areas[~old].sum()
        assert (body.mesh.kind[old] == mesh.kind[body.source[old]]).all()
    known = np.bincount(mesh.kind, _areas(mesh), minlength=4)
    assert np.abs(area - known).max() <= 1e-9 * known.sum() + 1e-13 * size * reach
    for j, joint in enumerate(joints):
        for body in bodies:
            _faces(body, joint, j, gap, size, reach)
        if gap == 0.0:
            _mates(result, j, 1e-10 * size + 1e-13 * reach)
    if gap == 0.0 and whole:
        _regions(case)
    if joints[0].limb is not None and whole:
        check_limb(mesh, joints[0], gap)


def check_limb(mesh: Mesh, joint: Joint, gap: float) -> None:
    """One joint through one limb against the same joint through everything.

    Its faces are found again by where their corners are. The bodies that it makes through everything, glued together at
    all faces but the one nearest to the point, have the volumes that it makes through one limb.
    """
    everything = cut(mesh, [replace(joint, limb=None)], gap)
    bodies = (*everything.pieces, *everything.taken)
    slab = np.repeat([False, True], [len(everything.pieces), len(everything.taken)])
    corners = [b.mesh.corners()[(b.origin == FROM_JOINT) & (b.source == 0)] for b in bodies]
    if not sum(len(c) for c in corners):
        return
    body = np.repeat(np.arange(len(bodies)), [len(c) for c in corners])
    at = np.concatenate(corners)
    triangle = np.arange(len(at))
    place = np.unique(at.reshape(-1, 3).view("S24"), return_inverse=True)[1].reshape(-1, 3)
    size = len(at) + int(place.max(initial=0)) + 1
    links = [(np.repeat(triangle, 3), len(at) + place.reshape(-1))]
    if gap > 0.0:
        first = np.unique(body, return_index=True)[1]
        own = slab[body]
        links.append((triangle[own], first[np.searchsorted(np.unique(body), body[own])]))
        skin = [(k, p.tobytes()) for k, b in enumerate(bodies) if slab[k] for p in b.mesh.vertices]
        shared: dict[bytes, int] = {}
        for k, p in skin:
            if p in shared and len(corners[k]):
                one, two = (int(np.flatnonzero(body == i)[0]) for i in (shared[p], k))
                links.append((np.array([one]), np.array([two])))
            if len(corners[k]):
                shared[p] = k
    one, two = (np.concatenate(side) for side in zip(*links, strict=True))
    ones = np.ones(len(one))
    label = connected_components(coo_array((ones, (one, two)), shape=(size, size)), directed=False)[1][: len(at)]
    assert joint.limb is not None
    away = np.linalg.norm(closest_point(at, np.tile(joint.limb, (len(at), 1))) - joint.limb, axis=1)
    least = np.full(label.max() + 1, np.inf)
    np.minimum.at(least, label, away)
    order = np.sort(least)
    if len(order) > 1 and order[1] - order[0] <= 1e-9 * float(np.linalg.norm(mesh.size)):
        return  # two faces as near: either is right
    left = label != label[np.argmin(away)]
    lost = slab & np.isin(np.arange(len(bodies)), body[~left])
    # Bodies that share a face which is left out are one; each face has the body of either side on the same triangle.
    key = np.sort(place, axis=1)
    pair = np.unique(key, axis=0, return_inverse=True)[1].reshape(-1)
    inside = left & ~lost[body]
    graph = coo_array((np.ones(inside.sum()), (body[inside], len(bodies) + pair[inside])), shape=(2 * size,) * 2)
    group = connected_components(graph, directed=False)[1][: len(bodies)]
    volumes = np.array([_volume(b.mesh, mesh) for b in bodies])
    wanted = sorted(np.bincount(group[~lost], volumes[~lost], minlength=1)[np.unique(group[~lost])].tolist())
    result = cut(mesh, [joint], gap)
    found = sorted(_volume(b.mesh, mesh) for b in result.pieces)
    scale = float(np.linalg.norm(mesh.size))
    slack = 1e-9 * scale**3 + 1e-12 * scale**2 * float(np.abs(mesh.vertices).max())
    wanted, found = [v for v in wanted if v > 2.0 * slack], [v for v in found if v > 2.0 * slack]
    assert len(wanted) == len(found), f"{len(found)} pieces, {len(wanted)} by gluing bodies together again"
    assert np.abs(np.array(wanted) - np.array(found)).max(initial=0.0) <= slack
    gone = sorted(float(v) for v in volumes[lost])
    assert sum(gone) == pytest.approx(sum(b.volume for b in result.taken), abs=slack)


def _volume(mesh: Mesh, frame: Mesh | None = None) -> float:
    middle = (frame or mesh).vertices.mean(axis=0)
    p = (mesh.vertices - middle)[mesh.triangles]
    return float(np.einsum("ij,ij->i", p[:, 0], np.cross(p[:, 1], p[:, 2])).sum() / 6.0)


def _areas(mesh: Mesh) -> np.ndarray:
    p = mesh.corners()
    return np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1) / 2.0


def _faces(body: Body, joint: Joint, index: int, gap: float, size: float, reach: float) -> None:
    """No joint face is turned over: with a border that is right by index, none overlaps either."""
    rows = np.flatnonzero((body.origin == FROM_JOINT) & (body.source == index))
    if len(rows) == 0:
        return
    p = body.mesh.vertices[body.mesh.triangles[rows]]
    cross = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    longest = np.linalg.norm(p - np.roll(p, 1, axis=1), axis=2).max(axis=1)
    up = joint.normal if isinstance(joint, Plane) else joint.w
    across = cross @ up
    slack = 1e-10 * size + 1e-13 * reach
    turned_over = longest * slack + 1e-14 * size**2
    if isinstance(joint, Plane):
        away = (p - joint.point) @ up
        side = np.sign(away.mean(axis=1)) if gap else np.zeros(len(p))
        assert np.abs(away - side[:, None] * gap / 2.0).max() <= slack, "a joint face lies off its plane"
        # A body that is only opened has both faces of the joint; with a gap its sides still tell them apart.
        for s in np.unique(side) if gap or joint.limb is None else ():
            turn = across[side == s]
            assert (turn * np.sign(turn.sum()) >= -turned_over[side == s]).all(), "a joint face is turned over"
    elif gap == 0.0 and joint.limb is None:
        assert (across * np.sign(across.sum()) >= -turned_over).all(), "a joint face is turned over"


def assert_no_fin(body: Body, size: float) -> None:
    """No triangle without area reaches out of the box of those that have some; bodies as thin as that are left out."""
    corners, areas, thin = body.mesh.corners(), _areas(body.mesh), 1e-11 * size
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    solid = corners[2.0 * areas > thin * longest].reshape(-1, 3)
    low, high = body.mesh.vertices.min(axis=0), body.mesh.vertices.max(axis=0)
    if body.volume > thin * areas.sum():
        beyond = max(float((solid.min(axis=0) - low).max()), float((high - solid.max(axis=0)).max()))
        assert beyond <= 1e-9 * size, f"a fin without area reaches {beyond:.3g} m out of its body"


def _mates(result: CutResult, index: int, slack: float) -> None:
    """Both faces of a joint hold the same points, bit for bit.

    One exception: a body that would touch itself along an edge is parted there, and may get a vertex of its own on it.
    """
    faces: tuple[list[np.ndarray], list[np.ndarray]] = ([], [])
    for contact in result.contacts:
        for side, into in ((contact.lower, faces[0]), (contact.upper, faces[1])):
            if contact.joint == index:
                body = result.pieces[side]
                rows = (body.origin == FROM_JOINT) & (body.source == index)
                into.append(body.mesh.corners()[rows])
    if not faces[0]:
        return
    points = [{p.tobytes() for p in np.concatenate(side).reshape(-1, 3)} for side in faces]
    for mine, other in ((0, 1), (1, 0)):
        for point in points[mine] - points[other]:
            place, corners = np.frombuffer(point), np.concatenate(faces[other])
            start, run = corners.reshape(-1, 3), (np.roll(corners, -1, axis=1) - corners).reshape(-1, 3)
            share = ((place - start) * run).sum(axis=1) / np.maximum((run**2).sum(axis=1), 1e-300)
            off = np.linalg.norm(start + np.clip(share, 0.0, 1.0)[:, None] * run - place, axis=1)
            assert off.min() <= slack, "the two faces of a joint differ"
            assert len(points[mine] ^ points[other]) <= 12, "the two faces of a joint differ in many points"


def _regions(case: Case) -> None:
    """Volumes of the regions between joints without a part, as manifold3d has them."""
    if any(j.part is not None or j.limb is not None for j in case.joints):
        return
    mine = sorted(_volume(p.mesh, case.mesh) for p in cut(case.mesh, case.joints, split=False).pieces)
    middle = case.mesh.vertices.mean(axis=0)
    near = Mesh(case.mesh.vertices - middle, case.mesh.triangles)
    parts = [to_manifold(near)]
    reach = float(np.linalg.norm(near.size)) + 1.0
    for joint in case.joints:
        after = []
        for part in parts:
            if isinstance(joint, Plane):
                point = joint.point - middle
                after += part.split_by_plane(joint.normal.tolist(), float(point @ joint.normal))
            else:
                shifted = replace(joint, origin=joint.origin - middle)
                tool = to_manifold(above_profile(shifted, reach + float(np.abs(shifted.origin).max())))
                after += [part ^ tool, part - tool]
        parts = [p for p in after if not p.is_empty()]
    theirs = sorted(p.volume() for p in parts)
    size = float(np.linalg.norm(case.mesh.size))
    slack = 1e-9 * size**3 + 1e-12 * size**2 * float(np.abs(case.mesh.vertices).max())
    if abs(sum(theirs) - _volume(case.mesh, case.mesh)) > slack:
        return  # the library's own parts do not add up, as with very steep profiles: it is no judge here
    mine, theirs = [v for v in mine if v > 2.0 * slack], [v for v in theirs if v > 2.0 * slack]
    assert len(mine) == len(theirs), f"{len(mine)} regions, {len(theirs)} by the boolean library"
    assert np.abs(np.array(mine) - np.array(theirs)).max(initial=0.0) <= slack, "a region's volume differs"
