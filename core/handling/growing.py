# SPDX-License-Identifier: GPL-3.0-or-later
"""The grown job: where each piece stands when the joints are not trimmed for the skin, and what that adds up to."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from ..cutting.joint import Joint, Plane
from ..cutting.result import Contact
from ..findings import Finding, Severity
from ..job import Job
from ..mesh.mesh import FloatArray, Mesh
from ..skin.depth import growth, room_at_joints
from ..skin.shifts import Shifts, solve_shifts

_CLOSES: Final = 1e-4
"""Metres by which a ring may miss: a tenth of a millimetre is taken up by the fit."""


def grown(count: int, joints: Sequence[Joint], contacts: Sequence[Contact], job: Job) -> Shifts:
    """Shifts of pieces, zero with ``allowance = "trim"``.

    Parameters
    ----------
    count : number of pieces. joints, contacts : of the cut.

    Notes
    -----
    At a plane pieces part square to it. At a profile they part along its offset direction, far enough that its steepest
    segment has the room that it needs.
    """
    if growth(job) == 0.0:
        return Shifts(np.zeros((count, 3)), np.zeros(len(contacts)))
    pairs = np.array([(c.lower, c.upper) for c in contacts], dtype=np.int64).reshape(-1, 2)
    ways = [_parting(joint) for joint in joints]
    directions = np.array([ways[c.joint][0] for c in contacts]).reshape(-1, 3)
    steep = np.array([ways[c.joint][1] for c in contacts])
    return solve_shifts(count, pairs, directions, growth(job) * steep)


def moved(mesh: Mesh, move: Sequence[float]) -> Mesh:
    """A piece where it stands in the grown job; the same mesh where it does not move."""
    return Mesh(mesh.vertices + np.asarray(move), mesh.triangles, mesh.kind) if any(move) else mesh


def _parting(joint: Joint) -> tuple[FloatArray, float]:
    """Unit direction from the lower side to the upper, and how much further they go for the steepest segment."""
    if isinstance(joint, Plane):
        return joint.normal, 1.0
    along = np.diff(np.asarray(joint.points), axis=0)
    return joint.w, float((np.hypot(along[:, 0], along[:, 1]) / along[:, 0]).max())


def check_growth(
    shifts: Shifts,
    meshes: Sequence[Mesh],
    contacts: Sequence[Contact],
    marks: Sequence[str],
    letters: Sequence[str],
    job: Job,
) -> list[Finding]:
    """What the job grows by (a note), and rings whose shifts do not close (warnings)."""
    each = growth(job)
    if each == 0.0:
        return []
    low, high = (np.array([getattr(mesh.vertices, way)(axis=0) for mesh in meshes]) for way in ("min", "max"))
    before = high.max(axis=0) - low.min(axis=0)
    more = (high + shifts.moves).max(axis=0) - (low + shifts.moves).min(axis=0) - before
    said = ", ".join(f"{1000.0 * value + 0.0:.1f} mm along {axis}" for value, axis in zip(more, "xyz", strict=True))
    found = [
        Finding(
            "growth",
            Severity.NOTE,
            f"Joints are not trimmed: each takes {1000.0 * room_at_joints(job):.1f} mm for skin and fit where the cut "
            f"took {1000.0 * job.foam.kerf:.1f} mm, so pieces stand {1000.0 * each:.1f} mm further apart, and the job "
            f"grows by {said}. The shift of each piece stands in job.json.",
            "Check that it still fits where it goes; trim the joints if it does not.",
            measured=float(more.max()),
            unit="m",
        )
    ]
    for contact, miss in zip(contacts, shifts.misfit.tolist(), strict=True):
        if abs(miss) <= _CLOSES:
            continue
        a, b, letter = marks[contact.lower], marks[contact.upper], letters[contact.joint]
        away = "too close" if miss < 0.0 else "too far apart"
        where = f"at joint {letter} within piece {a}" if a == b else f"at joint {letter} between pieces {a} and {b}"
        found.append(
            Finding(
                "growth_ring",
                Severity.WARNING,
                f"The shifts do not close round a ring: {where} the faces end up {1000.0 * abs(miss):.1f} mm {away}.",
                "Trim the joints of this ring, or let a joint run right through it.",
                piece=a,
                joint=letter,
                measured=abs(miss),
                limit=_CLOSES,
                unit="m",
            )
        )
    return found
