# SPDX-License-Identifier: GPL-3.0-or-later
"""What unit a file most likely has, and which of its axes points up: proposed with the reason, never taken unasked."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..mesh.mass import volume
from ..mesh.mesh import FloatArray, IntArray, Mesh
from .loops import find_holes
from .table import EdgeTable

UNITS: Final = (("m", 1.0), ("mm", 1e-3), ("cm", 1e-2), ("in", 0.0254), ("ft", 0.3048))
USUAL: Final = (0.4, 12.0)
"""Metres: longest side of most carvings, from a figure to a load space's length; common practice, no source."""
_DOWN: Final = math.cos(math.radians(5.0))
_FLOOR: Final = math.cos(math.radians(25.0))
"""Triangles of a floor face up within this: single ones of a noisy scan stand steeper than the floor as a whole."""
_LOW: Final = 0.02
"""Share of the extent within which a face or rim lies at an end of the box."""
_CLEAR: Final = 2.0
"""The foot must be so many times as large as what lies at any other side."""
_FOOT: Final = 0.15
"""Share of the box's side that a foot covers at least."""
_AXES: Final = (("z", 2, 1), ("-z", 2, -1), ("y", 1, 1), ("-y", 1, -1), ("x", 0, 1), ("-x", 0, -1))


@dataclass(frozen=True)
class Guess:
    """A proposal: the word that the setting takes, and why."""

    word: str
    reason: str


def likely_units(longest: float) -> tuple[Guess, ...]:
    """Units in which a carving would have a usual size, likeliest first.

    Parameters
    ----------
    longest : its longest side in the file's own numbers.
    """
    least, most = USUAL
    return tuple(
        Guess(word, f"its longest side, {longest:.4g}, is then {longest * metres:.3g} m")
        for word, metres in UNITS
        if least <= longest * metres <= most
    )


def likely_up(mesh: Mesh, table: EdgeTable) -> Guess | None:
    """The axis that points away from the carving's foot; None where no side stands out as one.

    A foot is flat surface that faces outwards at one side of the box, a rim open to it, or floor that was scanned
    along there and faces inwards. It must cover 15 % of that side and be twice as large as at every other side: a box
    or a round stone has no foot.

    Parameters
    ----------
    mesh : in the file's own axes. table : its edges.
    """
    if not len(mesh.triangles):
        return None
    size, low, high = mesh.size, *_box(mesh)
    if not (size > 0.0).all():
        return None
    rims = find_holes(mesh.vertices, table.open_edges())
    feet = []
    sides = np.zeros(len(mesh.vertices), dtype=np.uint8)
    for bit, (_, axis, sign) in enumerate(_AXES):
        level = low[axis] if sign > 0 else high[axis]
        sides |= (np.abs(mesh.vertices[:, axis] - level) <= _LOW * size[axis]).astype(np.uint8) << bit
    at = sides.take(mesh.triangles[:, 0]) & sides.take(mesh.triangles[:, 1]) & sides.take(mesh.triangles[:, 2])
    # A mesh that is inside out as a whole has no floor all round.
    outward = -1 if volume(Mesh(mesh.vertices - mesh.vertices.mean(axis=0), mesh.triangles)) < 0.0 else 1
    for bit, (word, axis, sign) in enumerate(_AXES):
        side = float(np.delete(size, axis).prod())
        rows = np.flatnonzero(at & (1 << bit))
        flat = _flat_area(mesh, rows, axis, -sign * outward, _DOWN)
        floor = _flat_area(mesh, rows, axis, sign * outward, _FLOOR)
        rim = 0.0
        for hole in rims:
            if (sides[hole.edges] & (1 << bit) > 0).mean() > 0.8:
                a, b = (mesh.vertices[hole.edges[:, k]] - hole.middle for k in range(2))
                rim += abs(float(np.cross(a, b).sum(axis=0)[axis])) / 2.0
        if floor > flat:
            # The edge of the scrap is no rim of the carving.
            feet.append((floor / side, word, "floor that was scanned along"))
        else:
            feet.append((max(flat, rim) / side, word, "an open rim" if rim > flat else "flat surface"))
    feet.sort(key=lambda foot: -foot[0])
    share, word, what = feet[0]
    if share < _FOOT or share < _CLEAR * feet[1][0]:
        return None
    away = word[1:] if word.startswith("-") else f"-{word}"
    like = "" if what.startswith("floor") else ", as a foot does"
    return Guess(word, f"{what} covers {min(share, 1.0):.0%} of its side towards {away}{like}")


def _box(mesh: Mesh) -> tuple[FloatArray, FloatArray]:
    low, high = ([edge(column) for column in mesh.vertices.T] for edge in (np.min, np.max))
    return np.array(low), np.array(high)


def _flat_area(mesh: Mesh, rows: IntArray, axis: int, sign: int, least: float) -> float:
    """Area of the triangles whose normal leans to an axis by this cosine or more."""
    corners = mesh.vertices[mesh.triangles[rows]]
    double = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.sqrt((double * double).sum(axis=1))
    facing = sign * double[:, axis] > least * size
    return 0.5 * float(size[facing].sum())
