# SPDX-License-Identifier: GPL-3.0-or-later
"""Pieces and crumbs as mesh files."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..cutting.result import Body
from ..intake.ply_write import ply_bytes
from ..mesh.mesh import Mesh
from .record import JobResult


def piece_files(result: JobResult) -> dict[str, bytes]:
    """Path in the pack -> PLY of each piece, and ``pieces/crumbs.ply`` where there are crumbs."""
    files = {f"pieces/{p.mark}.ply": ply_bytes(p.mesh, p.source, p.origin) for p in result.pieces}
    if result.crumbs:
        files["pieces/crumbs.ply"] = _together(result.crumbs)
    return files


def _together(bodies: Sequence[Body]) -> bytes:
    """Several bodies as one PLY, one after the other, sharing nothing."""
    starts = np.cumsum([0] + [len(body.mesh.vertices) for body in bodies])
    mesh = Mesh(
        np.concatenate([body.mesh.vertices for body in bodies]),
        np.concatenate([body.mesh.triangles + start for body, start in zip(bodies, starts, strict=False)]),
        np.concatenate([body.mesh.kind for body in bodies]),
    )
    source, origin = (np.concatenate(rows) for rows in zip(*((b.source, b.origin) for b in bodies), strict=True))
    return ply_bytes(mesh, source, origin)
