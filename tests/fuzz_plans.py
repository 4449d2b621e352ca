# SPDX-License-Identifier: GPL-3.0-or-later
"""Random plans: joint after joint, each through one body, on carvings whose flat base is folded in spots.

Such a base is what closing a scan's open foot may leave. A plane through a fold meets the floor in a line that runs
back on itself, and what closes that line has no area: it must reach no further than the body that it lies on.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from fuzz_cases import Case, check_case
from seamwright.core.cutting.cut import cut
from seamwright.core.cutting.joint import Joint, Plane, Profile
from seamwright.core.errors import CutError, MeshError
from seamwright.core.mesh.mass import mass_properties, volume
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.mesh.triangulate import triangulate_loops
from seamwright.core.mesh.winding import crossings, inner_point
from shapes import turned

FOLD = 0.1
"""Metres, about the longest fold of a base."""

LEAST = 1e-4
"""Cubic metres; what folds enclose is smaller, and is not looked for among the bodies of another cut."""


def folded_base(rng: np.random.Generator) -> tuple[Mesh, np.ndarray]:
    """A mound some 3 m long on a flat base with a few folds, and the places of those, (k, 2).

    A fold is a vertex of the base that lies beyond all its neighbours, so that the skin round it lies three deep.
    """
    count = int(rng.integers(8, 60))
    angle = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    radius = 1.0 + 0.15 * np.sin(3.0 * angle + rng.uniform(0.0, 6.0)) + 0.03 * rng.normal(size=count)
    rim = (radius * np.array([1.6 * np.cos(angle), np.sin(angle)])).T
    i = np.arange(count)
    j = np.roll(i, -1)
    flat, edges, base, spots = [rim], [np.stack([i, j], axis=1)], [], []
    start = 2 * count + 1
    shelf = np.linspace(-0.9, 0.9, 4) + rng.uniform(-0.1, 0.1)
    for x in shelf[rng.random(4) < 0.7]:
        around = int(rng.integers(3, 9))
        turn = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False) + rng.uniform(0.0, 6.0)
        size = FOLD * 10.0 ** rng.uniform(-2.0, 0.0)
        spot = np.array([x, rng.choice([0.0, rng.uniform(-0.4, 0.4)])])
        ring = spot + size * np.stack([np.cos(turn), np.sin(turn)], axis=1) * rng.uniform(0.6, 1.0, (around, 1))
        way = np.array([0.0, rng.choice([-1.0, 1.0])]) if rng.random() < 0.7 else rng.normal(size=2)
        peak = spot + 3.0 * size * way / np.linalg.norm(way)
        a = start + np.arange(around)
        b = np.roll(a, -1)
        flat.append(np.concatenate([ring, [peak]]))
        edges.append(np.stack([b, a], axis=1))
        base.append(np.stack([b, a, np.full(around, start + around)], axis=1))
        spots.append(spot + 2.0 * size * way / np.linalg.norm(way))
        start += around + 1
    height = 1.0 + 0.2 * rng.random(count)
    floor = [np.column_stack([p, np.zeros(len(p))]) for p in flat]
    corners = np.concatenate([floor[0], np.column_stack([0.8 * rim, height]), [[0.0, 0.0, 1.3]], *floor[1:]])
    base.append(triangulate_loops(corners[:, :2], np.concatenate(edges))[:, ::-1])
    walls = [(i, j, count + j), (i, count + j, count + i), (count + i, count + j, np.full(count, 2 * count))]
    mesh = Mesh(corners, np.concatenate([*base, *(np.stack(w, axis=1) for w in walls)]))
    return mesh, np.array([*spots, [0.0, 0.0]])


def plan_case(number: int) -> Case:
    """The plan of this number: four to nine joints, each through one of the bodies that those before have left."""
    rng = np.random.default_rng([22, number])
    mesh, spots = folded_base(rng)
    frame, shift = np.eye(3), np.zeros(3)
    if rng.random() < 0.4:
        frame = turned(tuple(rng.normal(size=3)), float(rng.uniform(0.1, 3.0)))
    if rng.random() < 0.2:
        shift = rng.normal(size=3) * 10.0 ** rng.uniform(0.0, 4.0)
    mesh = Mesh(mesh.vertices @ frame.T + shift, mesh.triangles)
    gap = 0.0 if rng.random() < 0.8 else 10.0 ** rng.uniform(-3.0, -1.5)
    joints: list[Joint] = []
    for _ in range(int(rng.integers(4, 10))):
        bodies = [b for b in cut(mesh, joints, gap).pieces if b.volume > 1e-3]
        body = bodies[int(rng.integers(len(bodies)))].mesh
        own = (body.vertices - shift) @ frame
        low, high = own.min(axis=0), own.max(axis=0)
        point = rng.uniform(low + 0.2 * (high - low), high - 0.2 * (high - low))
        if rng.random() < 0.7:
            point[:2] = spots[int(rng.integers(len(spots)))] + rng.normal(size=2) * rng.choice([0.0, 1e-6, 1e-3, 0.1])
        way = int(rng.choice(4, p=(0.3, 0.4, 0.2, 0.1)))
        normal = np.eye(3)[way] if way < 2 else np.append(rng.normal(size=2), rng.normal() if way == 3 else 0.0)
        u = np.cross(normal, [0.0, 0.0, 1.0] if way < 3 else rng.normal(size=3))
        point, normal, u = frame @ point + shift, frame @ normal, frame @ u
        joint: Joint = Plane(point, normal / np.linalg.norm(normal))
        if rng.random() < 0.5:
            knots = int(rng.integers(3, 8))
            along = np.linspace(-2.0, 2.0, knots) + rng.uniform(-0.1, 0.1)
            heights = 0.1 * rng.normal(size=knots)
            joint = Profile(point, u / np.linalg.norm(u), joint.normal, np.stack([along, heights], axis=1))
        try:
            joint = replace(joint, part=inner_point(body) if len(bodies) > 1 else None)
            cut(mesh, (*joints, joint), gap)
        except (CutError, MeshError):
            continue
        joints.append(joint)
    return Case(f"{number} plan", mesh, tuple(joints), gap)


def check_plan(case: Case) -> None:
    """All that a cut promises; and the same bodies with the same boxes when it is made lump by lump."""
    check_case(case)
    _check_lumps(case)


def _check_lumps(case: Case) -> None:
    """Each joint cut on a mesh of the one body that it goes through makes bodies with the same boxes."""
    result = cut(case.mesh, case.joints, case.gap)
    lumps = [case.mesh]
    for joint in case.joints:
        inside = [
            joint.part is None or bool(crossings(m.vertices, m.triangles, joint.part)[1].sum() > 0) for m in lumps
        ]
        if sum(inside) != 1:
            return  # right beside the skin
        k = inside.index(True)
        lumps[k : k + 1] = [b.mesh for b in cut(lumps[k], [replace(joint, part=None)], case.gap).pieces]
    mine = [b.mesh for b in result.pieces if b.volume > LEAST]
    theirs = [m for m in lumps if volume(m) > LEAST]
    assert len(mine) == len(theirs), f"{len(mine)} pieces, {len(theirs)} lump by lump"
    masses = [mass_properties(m) for m in theirs]
    for m in mine:
        own = mass_properties(m)
        off = [abs(own.volume - o.volume) + float(np.abs(own.centroid - o.centroid).max()) for o in masses]
        k = int(np.argmin(off))
        assert off[k] < 1e-5, "a piece is not there lump by lump"
        # The skin of a fold lies back to back, for either of two bodies to have.
        other = theirs[k].vertices
        low = np.abs(m.vertices.min(axis=0) - other.min(axis=0)).max()
        high = np.abs(m.vertices.max(axis=0) - other.max(axis=0)).max()
        assert max(low, high) < 4.0 * FOLD, "a piece reaches further than it does lump by lump"
