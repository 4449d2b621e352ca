# SPDX-License-Identifier: GPL-3.0-or-later
"""What a cut hands back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ..mesh.mass import volume
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
    one_skin : whether it is known to be one connected surface, without hollows.
    """

    mesh: Mesh
    source: IntArray
    origin: KindArray
    one_skin: bool = False

    @cached_property
    def volume(self) -> float:
        """Cubic metres."""
        return volume(self.mesh)


@dataclass(frozen=True, eq=False)
class JointLine:
    """An ordered polyline in which a joint meets the surface, on the joint's own surface before the gap.

    Attributes
    ----------
    points : (k, 3) metres; a closed line repeats its first point.
    kind : (k - 1,) uint8, class of the surface beside each edge: 0 carved, 1 another joint, 2 base, 3 back.
    pieces : (k - 1, 2) int64, the pieces below and above at each edge, the same where the joint only opens a piece; -1
        where that body is no piece.
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
    """Two pieces that face each other across one joint, or the two sides of one piece that a joint only opens.

    Attributes
    ----------
    joint : index of the joint.
    lower, upper : indices of the pieces below and above it; the same where it opens a piece, as a ring on one limb.
    area : square metres, on the joint's own surface before the gap.
    visible_length : metres of the joint's line where carved faces meet it, between these two pieces.
    """

    joint: int
    lower: int
    upper: int
    area: float
    visible_length: float


@dataclass(frozen=True, eq=False)
class Trace:
    """Where the joints met the surface, and what faces what across them."""

    lines: tuple[tuple[JointLine, ...], ...]
    contacts: tuple[Contact, ...]


@dataclass(frozen=True, eq=False)
class CutResult:
    """Pieces, what the gap took, crumbs, lines and contacts.

    Attributes
    ----------
    pieces : bodies in a fixed order: by the order of joints, lower side first.
    taken : what the gap took.
    crumbs : bodies too small to be pieces, where the caller asked to take them out.
    missed : indices of joints that met no foam.
    """

    pieces: tuple[Body, ...]
    taken: tuple[Body, ...]
    crumbs: tuple[Body, ...]
    missed: tuple[int, ...]
    _trace: Callable[[], Trace] = field(repr=False)

    @cached_property
    def _traced(self) -> Trace:
        # Worked out when first asked for: with a gap the joints are followed a second time without it.
        return self._trace()

    @property
    def lines(self) -> tuple[tuple[JointLine, ...], ...]:
        """For each joint the closed polylines in which it meets the surface, on the joint before the gap."""
        return self._traced.lines

    @property
    def contacts(self) -> tuple[Contact, ...]:
        """Pairs of pieces that face each other, by joint, lower piece, upper piece; see `Contact` for opened ones."""
        return self._traced.contacts
