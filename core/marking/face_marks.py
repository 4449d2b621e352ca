# SPDX-License-Identifier: GPL-3.0-or-later
"""Marks on the faces of pieces that are hidden in the end: joint faces and bases."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.joint import Joint, Plane
from ..cutting.result import FROM_JOINT, Contact
from ..job import Job
from ..mesh.mesh import BASE, JOINT, KIND_NAMES, Mesh
from .free_circle import free_circle

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

READING: Final = 200.0
"""Reading distance over letter height: between 1/120, best, and 1/300, still legible (tables of sign makers); the
middle value is a common rule (from memory, unverified)."""

BLOCK: Final = 2.9
"""Half the diagonal of a mark's block of text over the height of its number; measured on the longest block here."""

LEAST: Final = 0.005
"""Metres: a face without room for digits this high gets no mark; a marker's stroke is 2 mm wide."""

SMALL: Final = 0.36
"""Height of the other lines over that of the number."""


@dataclass(frozen=True, eq=False)
class FaceMark:
    """A mark on a face.

    Attributes
    ----------
    piece : index of the piece.
    face : ``joint`` or ``base``.
    joint, other : index of the joint and of the piece across it; -1 on a base.
    centre : (3,) metres, on the face, job coordinates.
    right, up, out : (3,) unit: along the line of text, up on the face, out of it.
    radius : of the free circle, metres.
    height : of the number's digits, metres.
    reads_from : metres from which it can be read, by the rule.
    """

    piece: int
    face: str
    joint: int
    other: int
    centre: FloatArray
    right: FloatArray
    up: FloatArray
    out: FloatArray
    radius: float
    height: float
    reads_from: float


def letter_height(distance: float) -> float:
    """Height of letters to be read from a distance, both in metres."""
    return distance / READING


def place_marks(
    meshes: Sequence[Mesh],
    sources: Sequence[IntArray],
    origins: Sequence[NDArray[np.uint8]],
    joints: Sequence[Joint],
    contacts: Sequence[Contact],
    distance: float,
) -> tuple[FaceMark, ...]:
    """One mark on each piece for each neighbour across a joint, and one on its base.

    Parameters
    ----------
    meshes, sources, origins : the pieces as they were cut, with where their triangles come from.
    joints, contacts : as cut.
    distance : from which marks should be read, metres.

    Notes
    -----
    The mark stands in the largest free circle that the faces of both pieces share, so that it lies where the two meet.
    A profile joint is seen along its w direction: true distances on its face are larger than those seen. Text runs
    upright; on faces within 25 degrees of level its up is +y. Faces without room for digits of `LEAST` get no mark.
    """
    marks: list[FaceMark] = []
    for contact in contacts:
        joint = joints[contact.joint]
        normal = joint.normal if isinstance(joint, Plane) else joint.w
        for piece, other, out in ((contact.lower, contact.upper, normal), (contact.upper, contact.lower, -normal)):
            frame = _frame(out)
            faces: list[tuple[FloatArray, IntArray]] = []
            for k in (piece, other):
                own = (origins[k] == FROM_JOINT) & (sources[k] == contact.joint)
                flat, rows = meshes[k].vertices @ frame, meshes[k].triangles[own]
                if piece == other:
                    # Both faces are on this piece: the one that looks out, then the one that it lies against.
                    rows = rows[_looks_out(flat, rows) == (len(faces) == 0)]
                faces.append((flat, rows))
            found = _mark(faces, frame, piece, "joint", contact.joint, other, distance)
            if found is not None:
                marks.append(found)
    for piece, mesh in enumerate(meshes):
        base = mesh.triangles[mesh.kind == BASE]
        if len(base):
            frame = _frame(np.array([0.0, 0.0, -1.0]))
            found = _mark([(mesh.vertices @ frame, base)], frame, piece, "base", -1, -1, distance)
            if found is not None:
                marks.append(found)
    return tuple(sorted(marks, key=lambda m: (m.piece, m.face == "base", m.joint, m.other)))


def _frame(out: FloatArray) -> FloatArray:
    """Right, up and out in columns."""
    up = np.array([0.0, 0.0, 1.0])
    if abs(float(out[2])) > _LEVEL:
        up = np.array([0.0, 1.0, 0.0])
    right = np.cross(up, out)
    right /= np.linalg.norm(right)
    return np.stack((right, np.cross(out, right), out), axis=1)


def _looks_out(flat: FloatArray, triangles: IntArray) -> NDArray[np.bool_]:
    """Whether triangles face along the third axis."""
    a, b, c = (flat[triangles[:, k], :2] for k in range(3))
    one, two = b - a, c - a
    out: NDArray[np.bool_] = one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0] > 0.0
    return out


_LEVEL: Final = 0.906
"""Cosine of 25 degrees: flatter faces have no up of their own."""


def _mark(
    faces: Sequence[tuple[FloatArray, IntArray]],
    frame: FloatArray,
    piece: int,
    face: str,
    joint: int,
    other: int,
    distance: float,
) -> FaceMark | None:
    used = [(p, t) for p, t in faces if len(t)]
    if not used or len(faces[0][1]) == 0:
        return None
    compact = []
    for p, t in used:
        numbers, inverse = np.unique(t, return_inverse=True)
        compact.append((p[numbers, :2], inverse.reshape(-1, 3)))
    circle = free_circle(compact)
    if circle is None:
        return None
    points, triangles = faces[0]
    depth = _depth(points[triangles], circle.x, circle.y)
    height = min(letter_height(distance), circle.radius / BLOCK)
    if height < LEAST:
        return None
    centre = frame @ np.array([circle.x, circle.y, depth])
    return FaceMark(
        piece,
        face,
        joint,
        other,
        centre,
        frame[:, 0],
        frame[:, 1],
        frame[:, 2],
        circle.radius,
        height,
        height * READING,
    )


def _depth(corners: FloatArray, x: float, y: float) -> float:
    """Third coordinate of the face over (x, y)."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, ac, ap = b - a, c - a, np.array([x, y]) - a[:, :2]
    det = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    det[det == 0.0] = np.inf
    s = (ap[:, 0] * ac[:, 1] - ap[:, 1] * ac[:, 0]) / det
    t = (ab[:, 0] * ap[:, 1] - ab[:, 1] * ap[:, 0]) / det
    # The triangle that holds the point is the one from which it stands out least.
    k = int(np.argmax(np.minimum(np.minimum(s, t), 1.0 - s - t)))
    return float(a[k, 2] + s[k] * ab[k, 2] + t[k] * ac[k, 2])


def renewal(job: Job, face: str) -> tuple[str, ...]:
    """Names of the layers that cover a mark on this class of face, from the foam out; it is renewed after each."""
    kind = KIND_NAMES[{"joint": JOINT, "base": BASE}[face]]
    return tuple(layer.name for layer in job.skin.layers if kind in layer.faces)


def mark_lines(
    mark: FaceMark, marks: Sequence[str], letters: Sequence[str], mass: float, crew: int, most: int
) -> tuple[str, ...]:
    """Lines of a mark: the number, then of how many and up, joint and neighbour, mass and crew.

    Parameters
    ----------
    mark : the mark. marks, letters : numbers of pieces and letters of joints.
    mass, crew : finished mass in kg and people of the piece; crew 0: more than the job's crew.
    most : the job's crew, people.
    """
    people = f"{crew} {'person' if crew == 1 else 'people'}" if crew else f"over {most} people"
    other = "itself" if mark.other == mark.piece else marks[mark.other]
    where = f"joint {letters[mark.joint]} to {other}" if mark.joint >= 0 else "this side down"
    way = "up \u2191" if abs(float(mark.out[2])) <= _LEVEL else "arrow to +y \u2191"
    return marks[mark.piece], f"of {len(marks)}   {way}", where, f"{mass:.0f} kg, {people}"
