# SPDX-License-Identifier: GPL-3.0-or-later
"""The build order of a cut carving: what is known of joints and pieces, put to `build_order`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.joint import Joint, Plane
from ..cutting.result import Contact
from ..errors import Progress
from ..findings import Finding, Severity
from ..mesh.mesh import Mesh
from .build_order import STANDING, Assembly, BuildOrder, find_order
from .directions import move_directions

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

RESTS: Final = 0.34
"""A piece rests on another where the joint between them is less than 70 degrees from level (cosine); friction of foam
on foam holds on slopes less steep than that only roughly: common practice, no source."""

ON_FLOOR: Final = 0.05
"""Metres over the floor within which a piece is carried in level rather than lowered."""


def assembly_of(
    meshes: Sequence[Mesh], joints: Sequence[Joint], contacts: Sequence[Contact], fixed: Sequence[Mesh] = ()
) -> Assembly:
    """Pieces with the moves that their joints suggest.

    Parameters
    ----------
    meshes : closed pieces where they stand; metres, z up.
    joints, contacts : as cut.
    fixed : what stands before the first piece.
    """
    used = sorted({c.joint for c in contacts})
    normals = [n for j in used for n in _normals(joints[j])]
    wires = [joint.wire for joint in (joints[j] for j in used) if not isinstance(joint, Plane)]
    rests = set()
    for c in contacts:
        lean = float(_normals(joints[c.joint])[0][2])
        if abs(lean) >= RESTS:
            rests.add((c.upper, c.lower) if lean > 0.0 else (c.lower, c.upper))
    # Two pieces whose joint winds may each rest on the other somewhere: then neither counts.
    rests = {(a, b) for a, b in rests if (b, a) not in rests}
    return Assembly(meshes, move_directions(normals, wires), fixed, ((c.lower, c.upper) for c in contacts), rests)


def _normals(joint: Joint) -> list[FloatArray]:
    return [joint.normal] if isinstance(joint, Plane) else [joint.w]


def way_ranks(assembly: Assembly, meshes: Sequence[Mesh]) -> list[list[int]]:
    """For each piece the directions out, best first.

    What stands on the floor is carried in level and from outside; what stands higher is lowered.
    """
    if not meshes:
        return []
    lows = np.array([m.vertices.min(axis=0) for m in meshes])
    highs = np.array([m.vertices.max(axis=0) for m in meshes])
    floor, middle = float(lows[:, 2].min()), (lows.min(axis=0) + highs.max(axis=0))[:2] / 2.0
    out = []
    for low, high in zip(lows, highs, strict=True):
        outward = (low + high)[:2] / 2.0 - middle
        reach = float(np.linalg.norm(outward))
        side = assembly.directions[:, :2] @ (outward / reach) if reach > 1e-9 else np.zeros(len(assembly.directions))
        rise = np.round(assembly.directions[:, 2], 6)
        on_floor = low[2] - floor <= ON_FLOOR
        keys = (-side, rise) if on_floor else (-side, -rise)
        out.append([int(k) for k in np.lexsort(keys)])
    return out


def plan_build(
    assembly: Assembly,
    meshes: Sequence[Mesh],
    order: IntArray,
    pins: Mapping[int, int] | None = None,
    progress: Progress | None = None,
) -> BuildOrder:
    """Find the build order.

    Parameters
    ----------
    assembly : of the same pieces.
    order : (k,) the pieces in the order in which they should be built where the shapes leave a choice.
    pins : piece -> place from 0.
    """
    rank = np.argsort(order)
    keys = [(float(rank[k]),) for k in range(len(meshes))]
    return find_order(assembly, way_ranks(assembly, meshes), keys, pins, progress)


def build_findings(
    found: BuildOrder, assembly: Assembly, marks: Sequence[str], letters: Mapping[tuple[int, int], Sequence[str]]
) -> list[Finding]:
    """What is to say about a build order.

    Parameters
    ----------
    found : from `plan_build`.
    marks : number of each piece.
    letters : for each pair of pieces (lower index first) the letters of the joints between them.
    """
    out: list[Finding] = []
    if found.stuck is not None:
        out.append(_stuck(found, marks, letters))
    for piece, place, way in found.broken:
        if way:
            names = ["what stands there before" if p == STANDING else f"piece {marks[p]}" for p in way]
            reason = f"{' and '.join(names)} would be in its way by every straight move tried"
        else:
            reason = "other pins leave it no such place"
        out.append(
            Finding(
                "build_order",
                Severity.ERROR,
                f"Piece {marks[piece]} cannot come as number {place + 1}: {reason}.",
                "Take the pin off, or put the piece before those in its way.",
                piece=marks[piece],
            )
        )
    for piece in found.propped:
        out.append(
            Finding(
                "prop",
                Severity.WARNING,
                f"Piece {marks[piece]} comes before a piece that it rests on.",
                "Hold it up on a stand until then, or have a competent person say how; or turn the joint under it.",
                piece=marks[piece],
            )
        )
    return out


def _stuck(found: BuildOrder, marks: Sequence[str], letters: Mapping[tuple[int, int], Sequence[str]]) -> Finding:
    stuck = found.stuck
    if stuck is None:
        raise ValueError("nothing is stuck")
    names = [marks[p] for p in stuck.core]
    joints = list(dict.fromkeys(letter for pair in stuck.keys for letter in letters.get(pair, ())))
    fixed = " and what stands there before" if stuck.fixed else ""
    who = f"Pieces {_listed(names)} lock each other" if len(names) > 1 else f"Piece {names[0]} is locked in"
    change = (
        f"Change joint {joints[0]}" + (f" (or {_listed(joints[1:])})" if len(joints) > 1 else "")
        if joints
        else "Cut the piece once more, or move what stands there"
    )
    return Finding(
        "build_order",
        Severity.ERROR,
        f"No build order: {who}{fixed}; none of them comes in by a straight move while the others stand.",
        f"{change}: turn it so that one side can be drawn off straight.",
        piece=names[0],
        joint=joints[0] if joints else "",
    )


_LISTED: Final = 12
"""Most names in a sentence."""


def _listed(names: Sequence[str]) -> str:
    more = len(names) - _LISTED
    return ", ".join(names[:_LISTED]) + (f" and {more} more" if more > 0 else "")
