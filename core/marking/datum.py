# SPDX-License-Identifier: GPL-3.0-or-later
"""Datum marks: points on floor and carving from which is measured, and how well the scan fits them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import JobError
from .heights import Heights

FloatArray = NDArray[np.float64]

OUTSIDE: Final = 0.6
"""Metres from the footprint's rectangle to proposed floor marks: room to stand between; common practice, no source."""

FLOOR_SPACING: Final = 2.0
"""Most metres between proposed floor marks, so that two of them see a point at a good angle."""

CREST_SPACING: Final = 1.0
"""Least metres between proposed marks on the carving."""

MOST_ON_CARVING: Final = 8

_FLAT: Final = 1e-3
"""Marks whose second spread is under this share of the first lie on one line, and leave a turn about it free."""


@dataclass(frozen=True)
class DatumMark:
    """A point measured from.

    Attributes
    ----------
    name : as written beside the point.
    scan : (x, y, z) metres in job coordinates, where the scan has it.
    site : (x, y, z) metres as measured on site, in the site's own axes, z up; None where it was only proposed.
    on_floor : whether it is a point of the floor.
    """

    name: str
    scan: tuple[float, float, float]
    site: tuple[float, float, float] | None
    on_floor: bool


@dataclass(frozen=True, eq=False)
class Fit:
    """The rigid motion from job coordinates to the site's, site = rotation @ job + shift, and what it leaves over.

    Attributes
    ----------
    rotation : (3, 3), a turn, no mirror, no scale. shift : (3,) metres.
    residuals : (n,) metres at each mark.
    rms : root of the mean of their squares, metres.
    """

    rotation: FloatArray
    shift: FloatArray
    residuals: FloatArray
    rms: float

    def apply(self, points: FloatArray) -> FloatArray:
        """Site coordinates of points (k, 3) in job coordinates."""
        moved: FloatArray = points @ self.rotation.T + self.shift
        return moved


def fit_marks(scan: FloatArray, site: FloatArray) -> Fit:
    """Fit the scan to marks measured on site, by least squares without scale.

    Parameters
    ----------
    scan, site : (n, 3) metres, n three or more, not on one line.

    Raises
    ------
    JobError
        Too few marks, or marks on one line.

    Notes
    -----
    Singular value decomposition of the covariance (W. Kabsch, Acta Crystallographica A32, 1976; K. S. Arun, T. S.
    Huang and S. D. Blostein, IEEE PAMI 9, 1987; citations from memory, unverified).
    """
    scan, site = np.asarray(scan, dtype=np.float64), np.asarray(site, dtype=np.float64)
    if len(scan) < 3:
        raise JobError(
            f"{len(scan)} datum marks were measured on site; measure three or more, well apart", "setting_out.marks"
        )
    a, b = scan - scan.mean(axis=0), site - site.mean(axis=0)
    for which, points in (("scan", a), ("site", b)):
        spread = np.linalg.svd(points, compute_uv=False)
        if spread[1] <= _FLAT * spread[0]:
            raise JobError(
                f"the datum marks lie on one line by their {which} coordinates; add one well aside of it",
                "setting_out.marks",
            )
    u, _, vt = np.linalg.svd(b.T @ a)
    mirror = np.diag([1.0, 1.0, float(np.sign(np.linalg.det(u @ vt)))])
    rotation = u @ mirror @ vt
    shift = site.mean(axis=0) - rotation @ scan.mean(axis=0)
    residuals = np.linalg.norm(scan @ rotation.T + shift - site, axis=1)
    return Fit(rotation, shift, residuals, float(np.sqrt((residuals**2).mean())))


def no_fit() -> Fit:
    """The site's axes are the job's."""
    return Fit(np.eye(3), np.zeros(3), np.zeros(0), 0.0)


def propose_marks(heights: Heights) -> tuple[DatumMark, ...]:
    """Datum marks for a carving that has none: on the floor all round it, and on its high places.

    Floor marks are called F1, F2, ... against the clock from the lowest x and y, marks on the carving C1, C2, ...
    """
    low, high = heights.low[:2] - OUTSIDE, heights.high[:2] + OUTSIDE
    corners = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    places: list[FloatArray] = []
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        count = max(1, int(np.ceil(float(np.linalg.norm(end - start)) / FLOOR_SPACING)))
        places += [start + (end - start) * k / count for k in range(count)]
    floor = float(heights.low[2])
    marks = [
        DatumMark(f"F{k + 1}", (round(float(x), 3), round(float(y), 3), floor), None, True)
        for k, (x, y) in enumerate(places)
    ]
    marks += [
        DatumMark(f"C{k + 1}", (float(x), float(y), float(z)), None, False)
        for k, (x, y, z) in enumerate(_high_places(heights))
    ]
    return tuple(marks)


def _high_places(heights: Heights) -> list[FloatArray]:
    """The highest place, then each next highest one that is a metre or more from those before."""
    rows, columns = np.nonzero(np.isfinite(heights.top))
    places = heights.middles(rows, columns)
    z = heights.top[rows, columns]
    free = z >= heights.low[2] + 0.5 * (heights.high[2] - heights.low[2])
    picked: list[FloatArray] = []
    while free.any() and len(picked) < MOST_ON_CARVING:
        k = int(np.argmax(np.where(free, z, -np.inf)))
        picked.append(np.array([*places[k], z[k]]))
        free &= np.hypot(*(places - places[k]).T) >= CREST_SPACING
    return picked


def tape_checks(marks: Sequence[DatumMark], fit: Fit) -> list[tuple[str, str, float]]:
    """Straight distances between marks, each to the next and to the one after it, metres: the setter's own check."""
    places = fit.apply(np.array([m.scan for m in marks]).reshape(-1, 3))
    out = []
    for step in (1, 2):
        for k in range(len(marks) - step):
            out.append((marks[k].name, marks[k + step].name, float(np.linalg.norm(places[k] - places[k + step]))))
    return out
