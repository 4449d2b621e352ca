# SPDX-License-Identifier: GPL-3.0-or-later
"""A carving as the planner sees it: foam in cells, skin in samples, with their weight and what a joint there costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..blockup.glue_lines import GlueRectangles
from ..handling.figures import PieceFigures, measure_piece
from ..job import Job
from ..mesh.mesh import CARVED, JOINT, KIND_NAMES, Mesh
from ..skin.mass import mass_per_area
from .rods import Cells, foam_cells
from .trails import Trail, painted

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

KEEP: Final = 50.0
"""Cost of a metre of joint line through what is to be kept whole: more than any plan's other costs."""

_CELLS: Final = 45_000
"""About as many cells of foam: one of the carving's first pieces still has thousands."""

_STEP: Final = (0.03, 0.06)
"""Least and largest side of a cell, metres: a piece that one carries is tens of centimetres each way."""

_RIM: Final = 4.0
"""Metres of rim on a square metre of joint: of a face of about a square metre, as on pieces that people carry."""

_FINE: Final = 0.02
"""Metres: longer triangles are sampled in several places, so that a seam 50 mm wide is met by several samples."""

_MANY: Final = 60_000
"""Samples above which those of one small cube are drawn together."""

_CUBE: Final = 0.022
"""Side of that cube, metres: under half the width of a seam."""

_FOLLOWS: Final = (0.5, 0.9)
"""Cosine of the angle between a seam and an axis up to which a profile across the axis follows it, and from which it
does not: a profile's slope is 1 at most."""

_CORNERS: Final = 20_000
"""A mesh with fewer vertices than this has them among its samples, without area, so that its box is exact."""


@dataclass(frozen=True, eq=False)
class Samples:
    """Foam cells and samples of the skin.

    Attributes
    ----------
    cells : the foam.
    points, normals : (m, 3) of the skin's samples, metres and unit.
    area : (m,) square metres. skin : (m,) kilograms of skin. kind : (m,) class.
    weight : (m,) what a metre of joint line costs there when it is not on a seam: 1 on carved faces, 0 where no one
        looks; more or less by zones.
    seam : (m,) 1 on a seam, 0 off it. trail : (m,) number of the nearest trail, -1 off seams.
    way : (m, 3) unit, which way that trail runs; 0 off seams.
    keep : (m,) whether no joint may cross there.
    home : (m,) the cell at each sample, -1 where none is near.
    density : kg/m3. face_mass : kg/m2 on joint faces. grow : metres that the skin adds to a box.
    gap : metres. tolerance : metres from a seam that count as on it.
    glue : glue lines that a joint follows or keeps away from.
    """

    cells: Cells
    points: FloatArray
    normals: FloatArray
    area: FloatArray
    skin: FloatArray
    kind: NDArray[np.uint8]
    weight: FloatArray
    seam: FloatArray
    trail: IntArray
    way: FloatArray
    keep: NDArray[np.bool_]
    home: IntArray
    density: float
    face_mass: float
    grow: float
    gap: float
    tolerance: float
    whole: PieceFigures
    glue: GlueRectangles

    @cached_property
    def worth(self) -> FloatArray:
        """Square metres of each sample, times what a metre of joint line costs there."""
        out: FloatArray = self.area * (self.weight * (1.0 - self.seam) + KEEP * self.keep)
        return out

    @cached_property
    def spared(self) -> FloatArray:
        """Square metres of each sample on a seam, times what a metre of joint line would cost there off seams."""
        out: FloatArray = self.area * self.weight * self.seam
        return out

    def lines(self, some: IntArray, frame: FloatArray) -> FloatArray:
        """What joints across three axes show on some samples, (k, 6).

        Weighted metres of line off seams that planes square to each axis show, summed over all such planes: square
        metres; then metres of seam that joints across each may follow, weighted likewise.
        """
        shown = (
            np.sqrt(np.maximum(1.0 - (np.take(self.normals, some, axis=0) @ frame.T) ** 2, 0.0))
            * self.worth[some, None]
        )
        # A seam that runs along an axis is crossed by joints across it; one square to the axis is followed.
        square = np.clip(
            (_FOLLOWS[1] - np.abs(np.take(self.way, some, axis=0) @ frame.T)) / (_FOLLOWS[1] - _FOLLOWS[0]), 0.0, 1.0
        )
        along = square * (self.spared[some, None] / (2.0 * self.tolerance))
        return np.concatenate([shown, along], axis=1)

    @cached_property
    def seen(self) -> FloatArray:
        """Square metres of each sample that count as visible."""
        out: FloatArray = self.area * (self.kind == CARVED)
        return out

    @property
    def chance(self) -> float:
        """Share of the visible area that lies on a seam: what a joint drawn blindly would reach."""
        total = float(self.seen.sum())
        return float((self.seen * self.seam).sum()) / total if total > 0.0 else 0.0


def take_samples(
    mesh: Mesh,
    job: Job,
    gap: float,
    trails: Sequence[Trail] = (),
    weight: ArrayLike | None = None,
    keep: ArrayLike | None = None,
    shares: FloatArray | None = None,
    glue: GlueRectangles | None = None,
) -> Samples:
    """Sample a carving.

    Parameters
    ----------
    mesh : closed, metres, z up.
    job : foam, skin and limits are read. gap : metres between joint faces.
    trails : what joints may follow.
    weight : (m,) for each triangle, see `Samples.weight`; None: 1. keep : (m,) for each triangle; None: nowhere.
    shares : (m,) covering share of each triangle, as for `measure_piece`.
    glue : glue lines, if they bind.

    Notes
    -----
    The skin's mass on each class is scaled so that the whole carving weighs what `measure_piece` says: whatever law
    weighs pieces, the samples follow it.
    """
    with ThreadPoolExecutor(1) as pool:
        later = pool.submit(_skin, mesh, trails, weight, keep, job.joints.seam_tolerance)
        whole, cells = _foam(mesh, job, shares)
        skin = later.result()
    mass = np.array([mass_per_area(job, name) for name in KIND_NAMES])
    laid = skin.area * mass[skin.kind]
    total = float(laid.sum())
    if total > 0.0:
        laid = laid * (whole.skin_mass / total)
    return Samples(
        cells=cells,
        **vars(skin),
        skin=laid,
        home=cells.at(skin.points - skin.normals * (0.25 * cells.step)),
        density=job.foam.density,
        face_mass=float(mass[JOINT]) + _rim_mass(job) * _RIM,
        grow=whole.box[2] - float(mesh.size[2]) if not job.limits.any_pose else 0.0,
        gap=gap,
        tolerance=job.joints.seam_tolerance,
        whole=whole,
        glue=glue or GlueRectangles.none(),
    )


def _foam(mesh: Mesh, job: Job, shares: FloatArray | None) -> tuple[PieceFigures, Cells]:
    """Measures of all of a carving, as it stands, and its foam in cells."""
    # What its box could be in another pose is of no use here.
    upright = replace(job, limits=replace(job.limits, any_pose=False))
    whole = measure_piece(mesh, upright, shares)
    step = float(np.clip((max(whole.volume, 1e-9) / _CELLS) ** (1.0 / 3.0), *_STEP))
    extent = mesh.size
    # A thin figure in a large box: not more than some millions of places.
    step = max(step, float(np.prod(extent + 2.0 * step) / 3e6) ** (1.0 / 3.0))
    # A small carving has small pieces.
    step = min(step, float(extent.max()) / 40.0) if extent.max() < 1.2 else step
    return whole, foam_cells(mesh, step, whole.volume)


@dataclass(frozen=True, eq=False)
class _Skin:
    """What `Samples` holds of the skin's samples, before its mass."""

    points: FloatArray
    normals: FloatArray
    area: FloatArray
    kind: NDArray[np.uint8]
    weight: FloatArray
    keep: NDArray[np.bool_]
    seam: FloatArray
    trail: IntArray
    way: FloatArray


def _skin(
    mesh: Mesh, trails: Sequence[Trail], weight: ArrayLike | None, keep: ArrayLike | None, tolerance: float
) -> _Skin:
    """Samples of a carving's skin, and what each has of the trails."""
    w = np.ones(len(mesh.triangles)) if weight is None else np.asarray(weight, dtype=np.float64)
    w = np.where(mesh.kind == CARVED, w, 0.0)
    held = np.zeros(len(mesh.triangles), dtype=bool) if keep is None else np.asarray(keep, dtype=bool)
    points, normals, area, kind, w, held = _surface(mesh, w, held)
    return _Skin(points, normals, area, kind, w, held, *painted(points, trails, tolerance))


def _rim_mass(job: Job) -> float:
    """Kilograms of edge return on a metre of a joint's rim."""
    return math.fsum(
        layer.areal_mass * layer.edge_return
        for layer in job.skin.layers
        if layer.edge_return > 0.0 and "carved" in layer.faces and "joint" not in layer.faces
    )


def _surface(
    mesh: Mesh, weight: FloatArray, keep: NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray, FloatArray, NDArray[np.uint8], FloatArray, NDArray[np.bool_]]:
    """Points, normals, areas, classes, weights and keep marks of the samples."""
    t = mesh.triangles
    columns = [np.ascontiguousarray(mesh.vertices[:, k]) for k in range(3)]
    corner = np.stack([[np.take(column, t[:, k]) for column in columns] for k in range(3)])
    corner, which = _halved(corner, np.where(weight > 0.0, _FINE, 2.0 * _FINE))
    one, two = corner[1] - corner[0], corner[2] - corner[0]
    normal = np.empty_like(one)
    for k in range(3):
        i, j = (k + 1) % 3, (k + 2) % 3
        np.subtract(one[i] * two[j], one[j] * two[i], out=normal[k])
    area = np.sqrt(_squares(normal))
    normal /= np.where(area > 0.0, area, 1.0)
    area /= 2.0
    place = (corner[0] + corner[1] + corner[2]) / 3.0
    kind, w, held = mesh.kind[which], weight[which], keep[which]
    if len(area) > _MANY:
        place, normal, area, kind, w, held = _gathered(place, normal, area, kind, w, held)
    points, n3 = np.ascontiguousarray(place.T), np.ascontiguousarray(normal.T)
    if len(mesh.vertices) <= _CORNERS:
        used = np.unique(t)
        count = len(used)
        points = np.concatenate([points, mesh.vertices[used]])
        n3 = np.concatenate([n3, np.tile([0.0, 0.0, 1.0], (count, 1))])
        area, w = np.concatenate([area, np.zeros(count)]), np.concatenate([w, np.zeros(count)])
        kind, held = np.concatenate([kind, np.zeros(count, np.uint8)]), np.concatenate([held, np.zeros(count, bool)])
    return points, n3, area, kind, w, held


def _halved(corner: FloatArray, fine: FloatArray) -> tuple[FloatArray, IntArray]:
    """Triangles halved across their longest side until it is not much longer than `fine`, and where each comes from.

    corner : (3 corners, 3 axes, m): long rows are quick to go through.
    """
    which = np.arange(corner.shape[2])
    done, owners = [], []
    while corner.shape[2]:
        side = [_squares(corner[(k + 1) % 3] - corner[k]) for k in range(3)]
        longest = np.where(side[1] > side[0], 1, 0)
        most = np.maximum(side[0], side[1])
        longest[side[2] > most] = 2
        long = np.maximum(most, side[2]) > (1.5 * fine[which]) ** 2
        rest = np.flatnonzero(~long)
        done.append(np.take(corner, rest, axis=2))
        owners.append(which[rest])
        rows = np.flatnonzero(long)
        which, k = which[rows], longest[rows]
        corner = np.take(corner, rows, axis=2)
        a, b, c = (np.where(k == 0, corner[n], np.where(k == 1, corner[n - 2], corner[n - 1])) for n in range(3))
        middle = (a + b) / 2.0
        half = len(rows)
        corner = np.empty((3, 3, 2 * half))
        for n, (one, other) in enumerate(((a, middle), (middle, b), (c, c))):
            corner[n, :, :half], corner[n, :, half:] = one, other
        which = np.concatenate([which, which])
    return np.concatenate(done, axis=2), np.concatenate(owners)


def _in_order(key: IntArray) -> IntArray:
    """As a stable sort by keys, none negative: with the places packed behind them, for values sort fastest."""
    place = max(len(key) - 1, 1).bit_length()
    if int(key.max(initial=0)).bit_length() + place > 63:
        return np.argsort(key, kind="stable")
    packed = np.sort((key << place) | np.arange(len(key)))
    packed &= (1 << place) - 1
    return packed


def _squares(rows: FloatArray) -> FloatArray:
    """Squares of lengths, (m,), of rows given axis by axis, (3, m)."""
    out: FloatArray = rows[0] * rows[0] + rows[1] * rows[1] + rows[2] * rows[2]
    return out


def _gathered(
    points: FloatArray,
    normals: FloatArray,
    area: FloatArray,
    kind: NDArray[np.uint8],
    weight: FloatArray,
    keep: NDArray[np.bool_],
) -> tuple[FloatArray, FloatArray, FloatArray, NDArray[np.uint8], FloatArray, NDArray[np.bool_]]:
    """Samples of one small cube and one class drawn together; points and normals by axis, (3, m)."""
    place = [np.floor((axis - axis.min()) / _CUBE).astype(np.int64) for axis in points]
    wide, tall = (int(axis.max()) + 1 for axis in place[1:])
    key = ((place[0] * wide + place[1]) * tall + place[2]) * len(KIND_NAMES) + kind
    order = _in_order(key)
    start = np.flatnonzero(np.append(True, np.diff(key[order]) > 0))

    def total(values: FloatArray) -> FloatArray:
        out: FloatArray = np.add.reduceat(values[order], start)
        return out

    sums = total(area)
    safe = np.where(sums > 0.0, sums, 1.0)
    first = order[start]
    at = np.stack([np.where(sums > 0.0, total(area * axis) / safe, axis[first]) for axis in points])
    facing = np.stack([total(area * axis) for axis in normals])
    length = np.sqrt(_squares(facing))
    facing /= np.where(length > 0.0, length, 1.0)
    return at, facing, sums, kind[first], total(area * weight) / safe, total(area * keep) > 0.0
