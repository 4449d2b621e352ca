# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints: where the carving is cut. Values, checked when they are made."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..errors import CutError

FloatArray = NDArray[np.float64]

MAX_KNOTS = 401
"""Most points of a profile: 400 segments, the resolution of the longest templates that are cut by hand."""


def _row(name: str, values: ArrayLike, length: int = 3) -> FloatArray:
    try:
        row = np.array(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise CutError(f"{name} is {values!r}; give {length} numbers") from None
    if row.shape != (length,) or not np.isfinite(row).all():
        raise CutError(f"{name} is {values!r}; give {length} finite numbers")
    row.flags.writeable = False
    return row


def _unit(name: str, values: ArrayLike) -> FloatArray:
    row = _row(name, values)
    largest = float(np.abs(row).max())
    if largest == 0.0:
        raise CutError(f"{name} has no length; give a direction")
    # An axis stays exactly an axis, and replaying a saved direction gives the same bytes.
    length = float(np.linalg.norm(row / largest)) * largest
    unit = row if abs(length - 1.0) <= 1e-15 else row / length
    unit.flags.writeable = False
    return unit


def _knots(values: ArrayLike) -> FloatArray:
    try:
        points = np.array(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise CutError("points are not numbers; give rows of u and w offset") from None
    if points.ndim != 2 or points.shape[1] != 2 or not np.isfinite(points).all():
        raise CutError(f"points have shape {points.shape}; give finite rows of u and w offset")
    if not 2 <= len(points) <= MAX_KNOTS:
        raise CutError(f"a profile has {len(points)} points; give 2 to {MAX_KNOTS}")
    falls = np.flatnonzero(np.diff(points[:, 0]) <= 0.0)
    if len(falls):
        k = int(falls[0])
        raise CutError(f"points {k} and {k + 1} do not rise in u ({points[k, 0]} then {points[k + 1, 0]})")
    points.flags.writeable = False
    return points


@dataclass(frozen=True, eq=False, init=False)
class Plane:
    """A flat joint.

    Parameters
    ----------
    point : (3,) metres, any point of the plane.
    normal : (3,) direction square to the plane; made unit length. The side it points to is the upper side.
    part : (3,) metres, a point strictly inside the one body that is cut; None cuts everything.
    limb : (3,) metres, a point by the one face that is cut: where the joint would make several faces that do not touch
        each other, as through both limbs of a ring, only the one nearest to this point; None makes them all.

    Raises
    ------
    CutError
        A number that is not finite, a normal without length.
    """

    point: FloatArray
    normal: FloatArray
    part: FloatArray | None
    limb: FloatArray | None

    def __init__(
        self, point: ArrayLike, normal: ArrayLike, part: ArrayLike | None = None, limb: ArrayLike | None = None
    ) -> None:
        object.__setattr__(self, "point", _row("point", point))
        object.__setattr__(self, "normal", _unit("normal", normal))
        object.__setattr__(self, "part", None if part is None else _row("part", part))
        object.__setattr__(self, "limb", None if limb is None else _row("limb", limb))

    @property
    def kind(self) -> str:
        """The word for this joint in tables: ``plane``."""
        return "plane"


@dataclass(frozen=True, eq=False, init=False)
class Profile:
    """A profile joint: a polyline in u and w, pushed along the wire direction u x w without end.

    Parameters
    ----------
    origin : (3,) metres, where u = w = 0.
    u, w : (3,) directions, square to each other; made unit length.
    points : (k, 2) metres, k from 2 to 401: offset along w over u; u strictly rising. Past its ends the
        profile runs on straight along its end segments. The side of greater w is the upper side.
    part : (3,) metres, a point strictly inside the one body that is cut; None cuts everything.
    limb : (3,) metres, a point by the one face that is cut: where the joint would make several faces that do not touch
        each other, as through both limbs of a ring, only the one nearest to this point; None makes them all.

    Raises
    ------
    CutError
        Directions not square within 1e-6, points that do not rise in u, too few or too many points.
    """

    origin: FloatArray
    u: FloatArray
    w: FloatArray
    points: FloatArray
    part: FloatArray | None
    limb: FloatArray | None

    def __init__(
        self,
        origin: ArrayLike,
        u: ArrayLike,
        w: ArrayLike,
        points: ArrayLike,
        part: ArrayLike | None = None,
        limb: ArrayLike | None = None,
    ) -> None:
        u, w = _unit("u", u), _unit("w", w)
        if abs(float(u @ w)) > 1e-6:
            raise CutError(f"u {u.tolist()} and w {w.tolist()} are not square to each other; turn one of them")
        if abs(float(u @ w)) > 1e-15:
            w = _unit("w", w - (u @ w) * u)
        object.__setattr__(self, "origin", _row("origin", origin))
        object.__setattr__(self, "u", u)
        object.__setattr__(self, "w", w)
        object.__setattr__(self, "points", _knots(points))
        object.__setattr__(self, "part", None if part is None else _row("part", part))
        object.__setattr__(self, "limb", None if limb is None else _row("limb", limb))

    @property
    def kind(self) -> str:
        """The word for this joint in tables: ``profile``."""
        return "profile"

    @property
    def wire(self) -> FloatArray:
        """Direction of the wire, u x w, (3,) unit."""
        return np.cross(self.u, self.w)


Joint = Plane | Profile
