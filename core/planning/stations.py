# SPDX-License-Identifier: GPL-3.0-or-later
"""A first planner: equal stations along the long axis, then across, until every piece is within mass and size."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.cut import cut
from ..cutting.joint import Joint, Plane
from ..errors import Progress
from ..handling.checks import size_limits, within_limits
from ..handling.figures import PieceFigures, measure_piece
from ..job import Job
from ..mesh.mesh import Mesh
from ..mesh.winding import inner_point
from .axis import long_axis

FloatArray = NDArray[np.float64]

_TRIES: Final = 6
"""Numbers of stations that are tried, from the least that the length limit allows."""
_DEEPEST: Final = 8
"""Times that one piece may be halved across: 256 parts of a slab, far more than any job has."""
_LESS: Final = 1e-4
"""Relative: joint area that counts as less. One slab halved and two slabs are the same cut, and the same areas but for
rounding; the fewer slabs are kept, so that a carving in single precision gets the same joints."""


@dataclass(frozen=True)
class Proposal:
    """Joints with a sentence on how they came about.

    Attributes
    ----------
    joints : in the order of cuts.
    text : for people.
    tried : numbers of stations that were tried.
    """

    joints: tuple[Joint, ...]
    text: str
    tried: int


def propose_stations(mesh: Mesh, job: Job, gap: float, crumb: float, progress: Progress | None = None) -> Proposal:
    """Joints by equal stations.

    Parameters
    ----------
    mesh : closed carving, metres, z up.
    job : foam, skin and limits are read; the finished mass is bounded by ``limits.piece_mass`` and the handling box by
        `Job.size_limit`.
    gap : metres between two joint faces. crumb : cubic metres; smaller bodies are no pieces.

    Returns
    -------
    Proposal
        Of the numbers of stations tried, the one with the fewest pieces over a limit, then the fewest pieces, then the
        least joint area. A piece that is over a limit is halved again and again: level where it is too high, across
        the level side that is most over its limit where it is too long or too wide, else across its longer level side
        (of all three sides, where any pose is allowed). A piece that 256 parts could not bring within the limits is
        left as it is: the checks name it.
    """
    along, across = long_axis(mesh)
    reach = mesh.vertices @ along
    start, length = float(reach.min()), float(np.ptp(reach))
    limit = job.size_limit
    longest = max(limit[0], limit[1])
    least = max(1, math.ceil(length / longest - 1e-9))
    whole = measure_piece(mesh, job)
    if within_limits(whole, job):
        return Proposal((), "The carving is within the limits as one piece: no joints.", 1)
    best: tuple[tuple[int, int, float], tuple[Joint, ...], int] | None = None
    for step in range(_TRIES):
        count = least + step

        def tell(pieces: int, step: int = step, count: int = count) -> None:
            # How many pieces there will be nobody knows: each brings the try nearer to its end, none there.
            if progress:
                share = (step + pieces / (pieces + 16.0)) / _TRIES
                progress(share, f"{_counted(count, 'slab')}, {_counted(pieces, 'piece')}")

        stations = [Plane(along * (start + length * k / count), along) for k in range(1, count)]
        found = _divide(mesh, stations, job, gap, crumb, along, across, None if best is None else best[0], tell)
        if found is not None and (best is None or _is_better(found[1], best[0])):
            best = found[1], found[0], count
    if best is None:
        return Proposal((), "No number of slabs that was tried leaves a piece: no joints.", _TRIES)
    (over, pieces, _), joints, count = best
    text = (
        f"{_counted(count, 'slab')} of {length / count:.2f} m along the carving and "
        f"{_counted(sum(joint.part is not None for joint in joints), 'joint')} across: {_counted(pieces, 'piece')}"
    )
    text += f", {over} of them over a limit." if over else ", all within mass and size."
    return Proposal(joints, text, _TRIES)


def _is_better(one: tuple[int, int, float], other: tuple[int, int, float]) -> bool:
    """Whether a division is better than another that was tried before; see `_divide`."""
    return one[:2] < other[:2] or (one[:2] == other[:2] and one[2] < other[2] * (1.0 - _LESS))


def _counted(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count} {word}s"


def _divide(
    mesh: Mesh,
    stations: list[Plane],
    job: Job,
    gap: float,
    crumb: float,
    along: FloatArray,
    across: FloatArray,
    best: tuple[int, int, float] | None,
    tell: Callable[[int], None],
) -> tuple[tuple[Joint, ...], tuple[int, int, float]] | None:
    """Stations with the joints across, and how good they are: pieces over a limit, pieces, joint area.

    None as soon as they can only be worse than the best so far, and where they leave crumbs alone.
    """
    slabs = cut(mesh, stations, gap, crumb=crumb)
    if not slabs.pieces:
        return None
    # One between two bodies of the carving has nothing to cut.
    joints: list[Joint] = [joint for j, joint in enumerate(stations) if j not in slabs.missed]
    todo = [(body.mesh, 0) for body in slabs.pieces]
    over, count, area = 0, 0, 0.0
    while todo:
        if best is not None and (over > best[0] or (over == best[0] and count + len(todo) > best[1])):
            return None
        tell(count)
        piece, depth = todo.pop()
        figures = measure_piece(piece, job)
        fits = within_limits(figures, job)
        hopeless = _halvings(figures, job) > _DEEPEST - depth
        joint = None if fits or hopeless else _halve(piece, figures, job, along, across)
        parts = cut(piece, [joint], gap, crumb=crumb).pieces if joint else ()
        if joint is None or len(parts) < 2:
            over += not fits
            count += 1
            area += figures.areas[1]
            continue
        joints.append(joint)
        todo += [(part.mesh, depth + 1) for part in reversed(parts)]
    return tuple(joints), (over, count, area)


def _halvings(figures: PieceFigures, job: Job) -> float:
    """Halvings without which a piece is over a limit, whatever way it is halved: by its foam, and by its box."""
    mass = math.log2(max(1.0, figures.foam_mass / job.limits.piece_mass))
    size = sum(math.log2(max(1.0, side / most)) for side, most in zip(figures.box, size_limits(job), strict=True))
    return max(mass, size - 1e-9)


def _halve(piece: Mesh, figures: PieceFigures, job: Job, along: FloatArray, across: FloatArray) -> Plane:
    """A joint through the middle of a piece, square to the side that most needs it; see `propose_stations`.

    A piece that may be carried in any pose has no height of its own: all three sides are looked at.
    """
    limits = size_limits(job)
    up = np.array([0.0, 0.0, 1.0])
    if figures.box[2] > limits[2] and not job.limits.any_pose:
        normal = up
    else:
        free = 3 if job.limits.any_pose else 2
        sides = sorted((across, along, up)[:free], key=lambda axis: -float(np.ptp(piece.vertices @ axis)))
        shares = [side / most for side, most in zip(figures.box[:free], limits[:free], strict=True)]
        normal = sides[shares.index(max(shares))] if max(shares) > 1.0 else sides[0]
    reach = piece.vertices @ normal
    inside = inner_point(piece)
    return Plane(normal * ((float(reach.min()) + float(reach.max())) / 2.0), normal, inside)
