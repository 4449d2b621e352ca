# SPDX-License-Identifier: GPL-3.0-or-later
"""Scale from taped distances between points of the scan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..errors import JobError
from ..findings import Finding, Severity
from ..job import Taped
from ..mesh.mesh import FloatArray, Mesh

LIMIT: Final = 0.005
"""Share of the taped length by which a tape may miss: 5 mm in a metre, what a tape over rough foam does (common
practice, no source)."""


@dataclass(frozen=True, eq=False)
class Scale:
    """Factor by which the scan is made larger, and how well the tapes agree.

    Attributes
    ----------
    factor : scan times factor is true size.
    found : (k,) metres, the distances in the scan before it is scaled.
    taped : (k,) metres.
    residual : (k,) share of the taped length by which the scaled distance is too long.
    """

    factor: float
    found: FloatArray
    taped: FloatArray
    residual: FloatArray

    def findings(self, where: FloatArray | None = None) -> tuple[Finding, ...]:
        """One note of the scale, and one warning for each tape that misses by over half a per cent."""
        out = []
        tapes = f"{len(self.taped)} taped {'distance' if len(self.taped) == 1 else 'distances'}"
        worst = float(np.abs(self.residual).max())
        miss = "" if len(self.taped) == 1 else f"; the tapes agree within {worst:.2%}"
        out.append(
            Finding(
                "taped_scale",
                Severity.NOTE,
                f"The scan was scaled by {self.factor:.6g} after {tapes}{miss}.",
                "" if len(self.taped) > 1 else "Tape a second distance, square to the first, to have a check.",
                measured=self.factor,
            )
        )
        for row in np.flatnonzero(np.abs(self.residual) > LIMIT).tolist():
            long = float(self.residual[row])
            place = None if where is None else where[row]
            out.append(
                Finding(
                    "taped_scale",
                    Severity.WARNING,
                    f"Taped distance {row + 1} of {self.taped[row]:.3f} m is {abs(long) * self.taped[row] * 1e3:.1f} "
                    f"mm too {'short' if long > 0 else 'long'} for the others ({abs(long):.2%}).",
                    "Tape it again, and pick its points again; the scan may be bent.",
                    measured=abs(long),
                    limit=LIMIT,
                    where=None if place is None else (float(place[0]), float(place[1]), float(place[2])),
                )
            )
        return tuple(out)


def scale_from_tapes(points: FloatArray, taped: FloatArray) -> Scale:
    """Scale that brings distances in the scan nearest to the taped ones.

    Parameters
    ----------
    points : (k, 2, 3) both points of each distance, in the scan, any one unit.
    taped : (k,) metres.

    Returns
    -------
    Scale
        The factor with the least sum of squared relative residuals: sum(q) / sum(q^2) with q = found / taped.

    Raises
    ------
    JobError
        No distance, two points in one place, or a length that is not positive.
    """
    points, taped = np.asarray(points, dtype=np.float64), np.asarray(taped, dtype=np.float64)
    if not len(points) or len(points) != len(taped):
        raise JobError("no taped distance is given; pick two points and give the length between them", "carving.taped")
    found = np.linalg.norm(points[:, 1] - points[:, 0], axis=1)
    for row, (here, there) in enumerate(zip(found.tolist(), taped.tolist(), strict=True)):
        if not (here > 0.0 and there > 0.0 and np.isfinite(here) and np.isfinite(there)):
            raise JobError(
                f"taped distance {row + 1}: its points are {here:g} apart and {there:g} m was taped; pick two points "
                "and give a length above nothing",
                f"carving.taped[{row}]",
            )
    ratio = found / taped
    factor = float(ratio.sum() / (ratio * ratio).sum())
    return Scale(factor, found, taped, factor * ratio - 1.0)


def scale_of_tapes(taped: Sequence[Taped]) -> Scale | None:
    """Scale that a job's taped distances give; None without any. Errors as `scale_from_tapes`."""
    if not taped:
        return None
    return scale_from_tapes(np.array([(one.a, one.b) for one in taped]), np.array([one.length for one in taped]))


def scale_taped(mesh: Mesh, taped: Sequence[Taped]) -> tuple[Mesh, tuple[Finding, ...]]:
    """Scale a scan by the taped distances of a job.

    Parameters
    ----------
    mesh : metres, z up, before scaling. taped : of the job; without any the mesh stays as it is.

    Returns
    -------
    The mesh about the origin made larger or smaller, and findings of it: the scale, and tapes that miss.

    Raises
    ------
    JobError
        As `scale_from_tapes`.
    """
    scale = scale_of_tapes(taped)
    if scale is None:
        return mesh, ()
    where = scale.factor * np.array([(one.a, one.b) for one in taped]).mean(axis=1)
    return Mesh(mesh.vertices * scale.factor, mesh.triangles, mesh.kind), scale.findings(where)
