# SPDX-License-Identifier: GPL-3.0-or-later
"""Distances by the Flexible Collision Library (python-fcl), which ours are held against."""

from __future__ import annotations

import fcl
from seamwright.core.mesh.mesh import FloatArray, Mesh


def model(mesh: Mesh) -> fcl.BVHModel:
    """The tree of a mesh's triangles."""
    made = fcl.BVHModel()
    made.beginModel(len(mesh.vertices), len(mesh.triangles))
    made.addSubModel(mesh.vertices, mesh.triangles)
    made.endModel()
    return made


def still(body: fcl.BVHModel) -> fcl.CollisionObject:
    """A body where its own coordinates put it; making it goes through all its vertices."""
    return fcl.CollisionObject(body, fcl.Transform())


def apart(one: fcl.CollisionObject, two: fcl.CollisionObject) -> float:
    """0 where the surfaces meet; otherwise their distance."""
    if fcl.collide(one, two, fcl.CollisionRequest(), fcl.CollisionResult()):
        return 0.0
    return float(fcl.distance(one, two, fcl.DistanceRequest(), fcl.DistanceResult()))


def peer_distance(one: fcl.CollisionObject, two: fcl.BVHModel, turn: FloatArray, place: FloatArray) -> float:
    """0 where the surfaces meet; otherwise the distance to the second, turned and placed."""
    return apart(one, fcl.CollisionObject(two, fcl.Transform(turn, place)))
