# SPDX-License-Identifier: GPL-3.0-or-later
"""What each course is blocked out to: its outlines at both faces, with a margin to carve off."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import Progress
from ..mesh.mesh import Mesh
from ..mesh.section import cross_sections
from .grow import grown, signed_distance
from .layout import Layout

FloatArray = NDArray[np.float64]
Loops = tuple[FloatArray, ...]

_BETWEEN: Final = 0.08
"""Metres between the sections by which the foam between two faces is judged."""
_THIN: Final = 0.025
"""Metres between the points that this is judged by, about: a hand's bow wanders by more than that shows."""


@dataclass(frozen=True, eq=False)
class CourseOutline:
    """Outlines of the carving in one course; block frame, metres, what is inside on the left.

    Attributes
    ----------
    course : from 0 at the origin.
    low, high : heights of its faces over the origin, metres.
    lower, upper : loops of the carving itself just over the lower and just under the upper face, (k, 2) each; none
        where it does not reach that face.
    lower_grown, upper_grown : the same with the margin.
    shadow_grown : outline of all that the course holds, seen from above, with the margin: an upright cut along it
        meets no carving.
    bulge : how far the carving stands out between the faces past a straight wire that follows both bare outlines,
        metres; 0 where it nowhere does. Judged every 80 mm of height or closer, on points 25 mm apart; a wire at a
        share of the height is taken to be where the distances to the two outlines, weighed by that share, come to
        nothing.
    bulge_at : where that is, (x, y, z) metres, job coordinates; None without a bulge or a second outline.
    """

    course: int
    low: float
    high: float
    lower: Loops
    upper: Loops
    lower_grown: Loops
    upper_grown: Loops
    shadow_grown: Loops
    bulge: float
    bulge_at: tuple[float, float, float] | None


def course_outlines(
    mesh: Mesh, layout: Layout, courses: Sequence[int], margin: float, progress: Progress | None = None
) -> tuple[CourseOutline, ...]:
    """Outlines of each course.

    Parameters
    ----------
    mesh : the carving, closed; metres, job coordinates.
    layout : where the billets lie.
    courses : which, in any order.
    margin : metres of foam to leave outside; 0: the carving's own outlines, and no shadow.
    progress : told the share done; may raise `Cancelled`.
    """
    block = Mesh(layout.to_block(mesh.vertices), mesh.triangles)
    walls = [(layout.level(course), layout.level(course + 1)) for course in courses]
    floors = cross_sections(block, [low for low, _ in walls])
    roofs = cross_sections(block, [high for _, high in walls], beneath=True)
    heights = [_heights(low, high) for low, high in walls]
    every = cross_sections(block, [z for row in heights for z in row])
    out, taken = [], 0
    for k, course in enumerate(courses):
        if progress:
            progress(k / len(courses), "outlines of the courses")
        low, high = walls[k]
        lower, upper = (tuple(loop[:, :2] for loop in section.loops) for section in (floors[k], roofs[k]))
        between = every[taken : taken + len(heights[k])]
        taken += len(heights[k])
        middle = [tuple(loop[:, :2] for loop in section.loops) for section in between]
        bulge, at = _bulge(lower, upper, middle, heights[k], (low, high), layout)
        sets = ((lower,), (upper,), (lower, upper, *middle))
        lower_grown, upper_grown, shadow = (grown(one, margin) for one in sets) if margin > 0.0 else (lower, upper, ())
        out.append(CourseOutline(course, low, high, lower, upper, lower_grown, upper_grown, shadow, bulge, at))
    return tuple(out)


def _heights(low: float, high: float) -> list[float]:
    """Even heights between two faces, none of them a face."""
    count = max(2, math.ceil((high - low) / _BETWEEN))
    return [low + (high - low) * (k + 1) / (count + 1) for k in range(count)]


def _bulge(
    lower: Loops,
    upper: Loops,
    middle: Sequence[Loops],
    heights: Sequence[float],
    walls: tuple[float, float],
    layout: Layout,
) -> tuple[float, tuple[float, float, float] | None]:
    if not lower or not upper:
        return 0.0, None
    thin_lower, thin_upper = (tuple(_thinned(loop) for loop in loops) for loops in (lower, upper))
    best, place = 0.0, None
    for loops, z in zip(middle, heights, strict=True):
        if not loops:
            continue
        points = np.concatenate([_thinned(loop) for loop in loops])
        share = (z - walls[0]) / (walls[1] - walls[0])
        # Inside both outlines it is inside whatever the wire does between them.
        away = (1.0 - share) * signed_distance(thin_lower, points) + share * signed_distance(thin_upper, points)
        row = int(away.argmax())
        if away[row] > best:
            best = float(away[row])
            place = layout.to_job([[points[row, 0], points[row, 1], z]])[0].tolist()
    return best, None if place is None else (place[0], place[1], place[2])


def _thinned(loop: FloatArray) -> FloatArray:
    """Every so many points of a loop, so that they stand about 25 mm apart."""
    length = float(np.linalg.norm(np.diff(loop, axis=0, append=loop[:1]), axis=1).sum())
    return loop[:: max(1, int(len(loop) * _THIN / max(length, 1e-9)))]
