# SPDX-License-Identifier: GPL-3.0-or-later
"""How thick the skin lies, the gap that it needs between two joint faces, and what the job grows by without one."""

from __future__ import annotations

from ..job import Job


def skin_depth(job: Job, face: str) -> float:
    """Thickness of all layers on one class of face (``carved``, ``joint``, ``base``, ``back``), metres."""
    return float(sum(layer.depth for layer in job.skin.layers if face in layer.faces))


def rim_depth(job: Job) -> float:
    """Thickness of the skin along the rim of a joint face, metres.

    The layers of the joint face itself, and those of other faces that are turned in over the rim by an edge return.
    Each layer counts once.
    """
    return float(
        sum(
            layer.depth
            for layer in job.skin.layers
            if "joint" in layer.faces or (layer.faces and layer.edge_return > 0.0)
        )
    )


def room_at_joints(job: Job) -> float:
    """What stands between the foam of two pieces once they are skinned and put together: skin twice, and the fit, m."""
    return job.joints.fit + 2.0 * rim_depth(job)


def gap_width(job: Job) -> float:
    """Width to take off between two joint faces, metres.

    With ``allowance = "trim"`` the larger of the kerf, and the fit plus the skin on both faces at their rims: the rim
    is where two skinned pieces meet first. With ``"grow"`` the kerf alone.
    """
    return job.foam.kerf if job.joints.allowance == "grow" else max(job.foam.kerf, room_at_joints(job))


def growth(job: Job) -> float:
    """How far two pieces move apart at a joint beyond what the cut took, metres; 0 with ``allowance = "trim"``."""
    return max(0.0, room_at_joints(job) - gap_width(job))
