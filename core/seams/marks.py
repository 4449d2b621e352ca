# SPDX-License-Identifier: GPL-3.0-or-later
"""What the user says about the surface: lines that a joint may follow, zones, and where the public stands."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import MeshError

FloatArray = NDArray[np.float64]

PLAIN: Final = 0
KEEP_WHOLE: Final = 1  # no joint may cross it: a face, lettering, a fine spur
MAY_SHOW: Final = 2  # a joint may run here off any seam
MUST_HIDE: Final = 3  # a joint here must keep to a seam
ZONE_NAMES: Final = ("", "keep whole", "may show", "must hide")
"""The fourth zone of the trade, the back, is a class of triangle: see `mesh.BACK`."""


@dataclass(frozen=True, eq=False)
class Viewpoint:
    """A camera at the public's eye.

    Attributes
    ----------
    name : what it is called.
    eye : (3,) metres, job coordinates.
    ahead, up : (3,) unit and square to each other: where it looks, and what is up in its picture.
    wide, high : tangent of half the angle of view, across and upright.
    """

    name: str
    eye: FloatArray
    ahead: FloatArray
    up: FloatArray
    wide: float
    high: float

    @classmethod
    def of_camera(cls, name: str, matrix: ArrayLike, angles: tuple[float, float], scale: float = 1.0) -> Viewpoint:
        """A viewpoint from a camera that looks along its own -z, its y up.

        Parameters
        ----------
        matrix : (4, 4) to the world; a scale in it does not count. angles : of view, across and upright, radians.
        scale : metres in one unit of the matrix.
        """
        place = np.asarray(matrix, dtype=np.float64)
        axes = place[:3, :3] / np.linalg.norm(place[:3, :3], axis=0)
        wide, high = (float(np.tan(angle / 2.0)) for angle in angles)
        return cls(name, place[:3, 3] * scale, -axes[:, 2], axes[:, 1], wide, high)


@dataclass(frozen=True, eq=False)
class Marks:
    """Marked lines, zones and viewpoints of a carving; job coordinates, metres.

    Attributes
    ----------
    lines : ordered points (k, 3) on the surface, two or more each.
    zones : (m,) `PLAIN` to `MUST_HIDE` for each triangle of the carving as it was given; None: all plain.
    viewpoints : from where the joints are looked at; none: seen lengths are not counted.
    """

    lines: tuple[FloatArray, ...] = ()
    zones: NDArray[np.integer[Any]] | None = None
    viewpoints: tuple[Viewpoint, ...] = field(default=())

    def zone_of(self, count: int, scan: NDArray[np.int64] | None = None) -> NDArray[np.uint8]:
        """Zone of each of `count` triangles of the carving as it is cut.

        Parameters
        ----------
        scan : (count,) the triangle as it was given that each one is; -1 where mending made it: those are plain.

        Raises
        ------
        MeshError
            Zones of another number of triangles.
        """
        if self.zones is None:
            return np.zeros(count, dtype=np.uint8)
        if scan is None:
            scan = np.arange(count)
        if len(scan) and int(scan.max()) >= len(self.zones):
            raise MeshError(
                f"zones are given for {len(self.zones)} triangles, but the carving has {int(scan.max()) + 1} or more; "
                "mark the zones on the carving that is cut"
            )
        return np.where(scan >= 0, self.zones[np.maximum(scan, 0)], PLAIN).astype(np.uint8)


def wholly(
    values: FloatArray, corners: NDArray[np.int64], starts: NDArray[np.int64], least: float
) -> NDArray[np.bool_]:
    """Faces whose corners all have this value or more.

    Parameters
    ----------
    values : (n,) for each vertex. corners : vertex of each corner, face by face. starts : first corner of each face.
    """
    if len(starts) == 0:
        return np.zeros(0, dtype=bool)
    result: NDArray[np.bool_] = np.minimum.reduceat(values[corners], starts) >= least
    return result


def polylines(points: FloatArray, edges: NDArray[np.int64]) -> tuple[FloatArray, ...]:
    """Edges, (k, 2) numbers of points, joined to lines (j, 3), each edge once; lines end at forks.

    A closed line repeats its first point.
    """
    at: dict[int, list[int]] = {}
    pairs = [(int(a), int(b)) for a, b in edges.tolist()]
    for number, pair in enumerate(pairs):
        for end in pair:
            at.setdefault(end, []).append(number)
    used = [False] * len(pairs)
    out = []
    # First from ends and forks, so that a line is not begun in its middle; then what is closed.
    for first in sorted(at, key=lambda end: (len(at[end]) == 2, end)):
        while True:
            line, here = [first], first
            while True:
                way = next((number for number in at[here] if not used[number]), None)
                if way is None:
                    break
                used[way] = True
                a, b = pairs[way]
                here = b if a == here else a
                line.append(here)
                if len(at[here]) != 2:
                    break
            if len(line) < 2:
                break
            out.append(points[line])
    return tuple(out)
