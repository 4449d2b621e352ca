# SPDX-License-Identifier: GPL-3.0-or-later
"""Sheets: the surface along which a joint parts the foam, and the rule for what lies on it.

The rule. Every vertex is above, below or on a sheet; it is on it where its distance is at most `Tolerance.on_joint`.
From then on only these three words count: a triangle with corners above and below is split, an edge is split once and
for all triangles at it, a triangle with all corners on the sheet belongs to the side that its body lies on. Planes
through vertices, along edges, in faces or nearly so therefore need no cases of their own.

A profile is flat between its kinks. Triangles that a profile meets are first split at the kinks they straddle, so that
every part is met by one flat strip; then the rule above holds for them too.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .joint import Joint, Plane, Profile
from .offset import offset_knots

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
CodeArray = NDArray[np.uint8]

ABOVE: Final = 1
BELOW: Final = 2
ON: Final = 3  # both bits: what touches the sheet is looked at closely


def _along(x: FloatArray, y: FloatArray, z: FloatArray, origin: FloatArray, axis: FloatArray) -> FloatArray:
    # Written out so that a point has the same value alone and among a million others.
    out: FloatArray = (x - origin[0]) * axis[0]
    out += (y - origin[1]) * axis[1]
    out += (z - origin[2]) * axis[2]
    return out


def _codes(distance: FloatArray, slack: float) -> CodeArray:
    above = (distance >= -slack).view(np.uint8)
    below = (distance <= slack).view(np.uint8)
    return above + 2 * below


@dataclass(frozen=True, eq=False)
class PlaneSheet:
    """A plane at `offset` metres above its joint."""

    plane: Plane
    offset: float
    slack: float

    kinks: Final = 0

    def codes(self, x: FloatArray, y: FloatArray, z: FloatArray) -> CodeArray:
        """ABOVE, BELOW or ON for each point, (n,)."""
        return _codes(self.distance(x, y, z), self.slack)

    def distance(self, x: FloatArray, y: FloatArray, z: FloatArray) -> FloatArray:
        """Signed distance, (n,) metres."""
        out = _along(x, y, z, self.plane.point, self.plane.normal)
        if self.offset:
            out -= self.offset
        return out

    @cached_property
    def axes(self) -> tuple[FloatArray, FloatArray]:
        """Two unit directions in the plane whose cross product is the normal."""
        normal = self.plane.normal
        other = np.zeros(3)
        other[int(np.argmin(np.abs(normal)))] = 1.0
        first = np.cross(other, normal)
        first /= np.linalg.norm(first)
        return first, np.cross(normal, first)

    def chart(self, points: FloatArray) -> FloatArray:
        """Coordinates in the sheet, (n, 2) metres, seen from above."""
        x, y, z = points.T
        a, b = self.axes
        return np.stack([_along(x, y, z, self.plane.point, a), _along(x, y, z, self.plane.point, b)], axis=1)


@dataclass(frozen=True, eq=False)
class ProfileSheet:
    """A profile, its knots given as (k, 2) u and w (the gap's half already moved out), swept along the wire.

    Strips are numbered from 0; kink j lies between strips j and j + 1. A place is 2 s inside strip s and 2 j + 1 on
    kink j.
    """

    profile: Profile
    knots: FloatArray
    slack: float

    @property
    def kinks(self) -> int:
        """Number of kinks."""
        return len(self.knots) - 2

    @cached_property
    def kink_u(self) -> FloatArray:
        """Kinks along u, (k - 2,) metres."""
        return np.ascontiguousarray(self.knots[1:-1, 0])

    @cached_property
    def _lines(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Unit direction (cosine, sine) of each strip and its start along the unrolled sheet."""
        step = np.diff(self.knots, axis=0)
        length = np.hypot(step[:, 0], step[:, 1])
        start = np.concatenate([[0.0], np.cumsum(length)[:-1]])
        return step[:, 0] / length, step[:, 1] / length, start

    @cached_property
    def _extremes(self) -> tuple[list[FloatArray], list[FloatArray]]:
        """Sparse tables of the lowest and highest kink over runs of 1, 2, 4 ... kinks."""
        low = [self.knots[1:-1, 1]]
        high = [self.knots[1:-1, 1]]
        run = 1
        while 2 * run <= len(low[0]):
            low.append(np.minimum(low[-1][:-run], low[-1][run:]))
            high.append(np.maximum(high[-1][:-run], high[-1][run:]))
            run *= 2
        return low, high

    def uw(self, x: FloatArray, y: FloatArray, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Profile coordinates of points, metres."""
        p = self.profile
        return _along(x, y, z, p.origin, p.u), _along(x, y, z, p.origin, p.w)

    def height(self, u: FloatArray) -> FloatArray:
        """Offset of the profile along w at u, (n,) metres; straight on past its ends."""
        strip = np.searchsorted(self.kink_u, u, side="right")
        slope = np.diff(self.knots[:, 1]) / np.diff(self.knots[:, 0])
        out: FloatArray = self.knots[strip, 1] + slope[strip] * (u - self.knots[strip, 0])
        return out

    def places(self, u: FloatArray) -> IntArray:
        """Place of each point along the profile, (n,) int64."""
        below = np.searchsorted(self.kink_u, u - self.slack, side="left")
        above = np.searchsorted(self.kink_u, u + self.slack, side="right")
        # Kinks nearer together than the slack: the point counts as on the first of them.
        return np.where(above > below, 2 * below + 1, 2 * below).astype(np.int64)

    def strip_distance(self, u: FloatArray, w: FloatArray, strip: IntArray) -> FloatArray:
        """Signed distance to the line of the given strip, (n,) metres."""
        cosine, sine, _ = self._lines
        out: FloatArray = (w - self.knots[strip, 1]) * cosine[strip] - (u - self.knots[strip, 0]) * sine[strip]
        return out

    def codes(self, x: FloatArray, y: FloatArray, z: FloatArray) -> CodeArray:
        """ABOVE, BELOW or ON for each point, (n,)."""
        u, w = self.uw(x, y, z)
        return self.codes_uw(u, w)

    def codes_uw(self, u: FloatArray, w: FloatArray) -> CodeArray:
        """As `codes`, from profile coordinates."""
        if len(u) == 0:
            return np.zeros(0, dtype=np.uint8)
        low, high = self.band(float(u.min()), float(u.max()))
        out = np.where(w > high, np.uint8(ABOVE), np.uint8(BELOW))
        near = np.flatnonzero((w >= low) & (w <= high))
        out[near] = self.codes_at(u[near], w[near], self.places(u[near]))
        return out

    def codes_at(self, u: FloatArray, w: FloatArray, place: IntArray) -> CodeArray:
        """As `codes_uw`, for points whose places are known."""
        distance = self.strip_distance(u, w, place // 2)
        # On a kink both strips meet in its height; square to the steeper one, as a point counts as on the kink that
        # is a little beside it and lies on that strip.
        kink = np.flatnonzero(place & 1)
        first = place[kink] // 2
        cosine = self._lines[0]
        distance[kink] = (w[kink] - self.knots[first + 1, 1]) * np.minimum(cosine[first], cosine[first + 1])
        return _codes(distance, self.slack)

    def band(self, u_low: float, u_high: float) -> tuple[float, float]:
        """Lowest and highest w of the profile between two u, slack included."""
        ends = self.height(np.array([u_low, u_high]))
        inside = self.knots[1:-1][(self.kink_u > u_low) & (self.kink_u < u_high), 1]
        reach = np.concatenate([ends, inside])
        steep = 1.0 + float(np.abs(np.diff(self.knots[:, 1]) / np.diff(self.knots[:, 0])).max())
        return float(reach.min()) - 2.0 * self.slack * steep, float(reach.max()) + 2.0 * self.slack * steep

    def clear(self, u: FloatArray, w: FloatArray) -> NDArray[np.bool_]:
        """Which triangles, given by corners (m, 3), the profile surely misses or meets in one strip only."""
        low, high = u.min(axis=1) - self.slack, u.max(axis=1) + self.slack
        first = np.searchsorted(self.kink_u, low, side="right")
        last = np.searchsorted(self.kink_u, high, side="left")
        out: NDArray[np.bool_] = first >= last
        rows = np.flatnonzero(~out)
        first, count = first[rows], (last - first)[rows]
        level = np.frexp(count.astype(np.float64))[1] - 1
        w_low = np.minimum(self.height(low[rows]), self.height(high[rows]))
        w_high = np.maximum(self.height(low[rows]), self.height(high[rows]))
        lows, highs = self._extremes
        for k in np.unique(level).tolist():
            use = level == k
            a, b = first[use], first[use] + count[use] - (1 << k)
            w_low[use] = np.minimum(w_low[use], np.minimum(lows[k][a], lows[k][b]))
            w_high[use] = np.maximum(w_high[use], np.maximum(highs[k][a], highs[k][b]))
        out[rows] = (w[rows].min(axis=1) > w_high + self.slack) | (w[rows].max(axis=1) < w_low - self.slack)
        return out

    def chart(self, points: FloatArray, strip: IntArray) -> FloatArray:
        """Coordinates in the unrolled sheet, (n, 2) metres, seen from above; points taken in the given strip."""
        x, y, z = points.T
        u, w = self.uw(x, y, z)
        cosine, sine, start = self._lines
        along = start[strip] + (u - self.knots[strip, 0]) * cosine[strip] + (w - self.knots[strip, 1]) * sine[strip]
        return np.stack([along, -_along(x, y, z, self.profile.origin, self.profile.wire)], axis=1)


Sheet = PlaneSheet | ProfileSheet


def sheets_of(joint: Joint, gap: float, slack: float) -> tuple[Sheet, ...]:
    """The sheets of a joint: itself without a gap, else its lower and its upper face, each half the gap away."""
    if isinstance(joint, Plane):
        if gap == 0.0:
            return (PlaneSheet(joint, 0.0, slack),)
        return PlaneSheet(joint, -gap / 2.0, slack), PlaneSheet(joint, gap / 2.0, slack)
    if gap == 0.0:
        return (ProfileSheet(joint, joint.points, slack),)
    return (
        ProfileSheet(joint, offset_knots(joint.points, -gap / 2.0), slack),
        ProfileSheet(joint, offset_knots(joint.points, gap / 2.0), slack),
    )
