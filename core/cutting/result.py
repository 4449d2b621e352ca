# SPDX-License-Identifier: GPL-3.0-or-later
"""What a cut hands back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
KindArray = NDArray[np.uint8]

FROM_CARVING = 0
FROM_JOINT = 1


@dataclass(frozen=True, eq=False)
class Body:
    """A closed body that came out of a cut.

    Attributes
    ----------
    mesh : closed `Mesh`; job frame, metres; `mesh.kind` is 1 on joint faces.
    source : (m,) int64: the carving's triangle, or for joint faces of this call the index of the joint.
    origin : (m,) uint8: 0 where `source` is a triangle of the carving, 1 where it is a joint of this call.
    volume : cubic metres.
    """

    mesh: Mesh
    source: IntArray
    origin: KindArray
    volume: float


@dataclass(frozen=True, eq=False)
class JointLine:
    """An ordered polyline in which a joint meets the surface, on the joint's own surface before the gap.

    Attributes
    ----------
    points : (k, 3) metres; a closed line repeats its first point.
    kind : (k - 1,) uint8, class of the surface beside each edge: 0 carved, 1 another joint, 2 base, 3 back.
    pieces : (k - 1, 2) int64, the pieces below and above at each edge; -1 where that body is no piece.
    """

    points: FloatArray
    kind: KindArray
    pieces: IntArray

    @property
    def closed(self) -> bool:
        """Whether the line comes back to its first point."""
        return len(self.points) > 2 and bool((self.points[0] == self.points[-1]).all())

    @property
    def lengths(self) -> FloatArray:
        """Length of each edge, (k - 1,) metres."""
        lengths: FloatArray = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        return lengths


@dataclass(frozen=True)
class Contact:
    """Two pieces that face each other across one joint.

    Attributes
    ----------
    joint : index of the joint.
    lower, upper : indices of the pieces below and above it.
    area : square metres, on the joint's own surface before the gap.
    visible_length : metres of the joint's line where carved faces meet it, between these two pieces.
    """

    joint: int
    lower: int
    upper: int
    area: float
    visible_length: float


@dataclass(frozen=True, eq=False)
class CutResult:
    """Pieces, what the gap took, crumbs, lines and contacts.

    Attributes
    ----------
    pieces : bodies in a fixed order (by the order of joints, lower side first).
    taken : what the gap took.
    crumbs : bodies too small to be pieces, where the caller asked to take them out.
    lines : for each joint the polylines in which it meets the surface.
    contacts : pairs of pieces that face each other, by joint, lower piece, upper piece.
    missed : indices of joints that met no body.
    """

    pieces: tuple[Body, ...]
    taken: tuple[Body, ...]
    crumbs: tuple[Body, ...]
    lines: tuple[tuple[JointLine, ...], ...]
    contacts: tuple[Contact, ...]
    missed: tuple[int, ...]
