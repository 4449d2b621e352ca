# SPDX-License-Identifier: GPL-3.0-or-later
"""Between an editor's scene and the clearance check: bodies and ways as they are drawn, results as they are shown."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import InputError
from ..findings import Finding
from ..mesh.mesh import Mesh
from .carve_off import CarveOff
from .check import Closest
from .job_check import KeepClearResult

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_SHORTEST: Final = 0.02
"""Metres: a line between nearest points that is shorter would not be seen."""

_POINTER: Final = 0.3
"""Metres: length of the upright line that marks such a place."""

_RANK: Final = {"error": 0, "warning": 1, "note": 2}


def in_own_axes(mesh: Mesh, matrix: ArrayLike, scale: float) -> tuple[Mesh, tuple[float, float, float], float]:
    """A mesh as it stands, in body axes: from its origin, its long axis level along x.

    Parameters
    ----------
    mesh : metres, job coordinates.
    matrix : (4, 4) of its object, whose x points forward and whose lengths are editor units. scale : metres in one.

    Returns
    -------
    Mesh, (x, y, z), float
        In body axes, still pitched and rolled as it stands; where its origin stands; its heading, radians.
    """
    place = np.asarray(matrix, dtype=np.float64)
    at = place[:3, 3] * scale
    heading = math.atan2(place[1, 0], place[0, 0])
    c, s = math.cos(heading), math.sin(heading)
    own = (mesh.vertices - at) @ np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    x, y, z = at.tolist()
    return Mesh(own, mesh.triangles), (x, y, z), heading


def ending_at(points: ArrayLike, at: Sequence[float], name: str) -> FloatArray:
    """Points (k, 3) of a drawn way, moved so that its end nearer to `at` lies there; the outermost first.

    Raises
    ------
    InputError
        Fewer than two points; `name` is what the line is called.
    """
    rows, end = np.asarray(points, dtype=np.float64).reshape(-1, 3), np.asarray(at, dtype=np.float64)
    if len(rows) < 2:
        raise InputError(f"{name}: a way in is a curve of one line with two points or more; draw it so")
    if np.linalg.norm(rows[0] - end) < np.linalg.norm(rows[-1] - end):
        rows = rows[::-1]
    moved: FloatArray = rows + (end - rows[-1])
    return moved


@dataclass(frozen=True, eq=False)
class Region:
    """The surface to carve off: (n, 3) metres, (m, 3), depth (n,) metres, and a tone (n, 4), deeper where darker."""

    vertices: FloatArray
    triangles: IntArray
    depth: FloatArray
    tones: FloatArray


def region_to_show(carving: Mesh, carve: CarveOff) -> Region:
    """The marked region as a mesh of its own."""
    used, flat = np.unique(carving.triangles[carve.region], return_inverse=True)
    depth = carve.depth[used]
    share = depth / max(carve.deepest, 1e-9)
    tones = np.column_stack([1.0 - 0.4 * share, 0.85 - 0.6 * share, 0.7 - 0.65 * share, np.ones(len(used))])
    return Region(carving.vertices[used], flat.reshape(-1, 3).astype(np.int64), depth, tones)


def line_to_show(closest: Closest) -> FloatArray:
    """Ends (2, 3) of the line between the nearest points; upright over the place where they all but touch."""
    here, there = np.array(closest.here), np.array(closest.there)
    if np.linalg.norm(there - here) < _SHORTEST:
        there = here + np.array([0.0, 0.0, _POINTER])
    return np.stack([here, there])


def summary_lines(result: KeepClearResult, findings: Sequence[Finding]) -> tuple[str, ...]:
    """What was found in sentences: the least distance, what has to come off, then the findings, the worst first."""
    nearest = result.nearest
    if nearest is None:
        first = f"Nothing of the carving is within {1000.0 * result.rule.reach:.0f} mm."
    else:
        report, _, closest = nearest
        gap = max(1000.0 * (closest.distance - result.rule.skin), 0.0)
        when = f", {closest.to_go:.2f} m before it stands." if closest.to_go > 0.0005 else ", as it stands."
        first = f"Least distance {gap:.0f} mm to the {report.name}, skin counted{when}"
    carve = result.carve
    off = (
        [f"Up to {1000.0 * carve.deepest:.0f} mm to carve off, over {carve.area:.2f} m\u00b2."]
        if carve.region.any()
        else []
    )
    return (first, *off, *(f.message for f in sorted(findings, key=lambda f: _RANK[f.severity.value])))
