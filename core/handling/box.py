# SPDX-License-Identifier: GPL-3.0-or-later
"""The handling box: the smallest box found round a piece as it is carried."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .poses import small_frames
from .rectangle import convex_hull, least_rectangle

FloatArray = NDArray[np.float64]
Box = tuple[float, float, float]

_EXTREME_DIRECTIONS: Final = 256
"""Directions, each looked at both ways, whose extreme points stand for the piece while poses are tried."""

_MORE_DIRECTIONS: Final = 1024
"""The same where the search is to be thorough: with fewer a box came out 0.6 % too large."""

_POSES: Final = 64
"""Evenly spread directions tried as the piece's up, beside the principal axes and its largest flat faces."""

_MORE_POSES: Final = 128
"""The same where the search is to be thorough."""

_FLATS: Final = 32
"""Largest flat faces that the piece is laid on."""

_CLOSELY: Final = (3, 1)
"""Poses that are looked at closely, and those of them that are tilted step by step while that makes a box smaller."""

_THOROUGH: Final = (16, 4)
"""The same where the search is to be thorough."""

_AT_ONCE: Final = 1 << 16
"""Products of a vertex and a direction worked on at a time, about: half a megabyte, which stays in the processor's
cache, and too few for a library of linear algebra to start threads for."""

_TURNS: Final = 12
"""Most turns by which the box found is made flush: each takes square what is left."""


def upright_box(vertices: FloatArray, grow: float = 0.0) -> Box:
    """Smallest box with its height along z round a piece: length, width, height in metres, length at least width.

    Parameters
    ----------
    vertices : (n, 3) metres, z up, at least one.
    grow : metres added to each side (the skin on both faces).
    """
    length, width, _ = least_rectangle(vertices[:, :2], grow)
    return length, width, float(np.ptp(vertices[:, 2])) + grow


def turned_boxes(vertices: FloatArray, grow: float = 0.0) -> FloatArray:
    """Boxes with their height along z round a piece, turned about it degree by degree, (90, 3) metres.

    Parameters as `upright_box`. Sides of each from large to small.
    """
    angle = np.deg2rad(np.arange(180.0))
    hull = convex_hull(vertices[:, :2])
    width = np.ptp(hull @ np.stack([np.cos(angle), np.sin(angle)]), axis=0) + grow
    height = np.full(90, float(np.ptp(vertices[:, 2])) + grow)
    sides: FloatArray = np.sort(np.stack([width[:90], width[90:], height], axis=1), axis=1)[:, ::-1]
    return sides


def any_pose_box(
    vertices: FloatArray,
    corners: FloatArray,
    grow: float = 0.0,
    thorough: bool = False,
    standing: Box | None = None,
) -> Box:
    """Smallest box found round a piece over its poses: length, width, height in metres, from large to small.

    Parameters
    ----------
    vertices : (n, 3) metres, z up, at least one.
    corners : (m, 3, 3) metres, corners of the piece's triangles; its flat faces are looked for among them.
    grow : metres added to each side (the skin on both faces).
    thorough : look further, at three times the work.
    standing : its `upright_box`, where the caller has it.

    Notes
    -----
    A search, not a proof: up is tried along z, along the principal axes, square to the largest flat faces and in even
    directions; the best are turned about their sides, see `small_frames`, and at last flush with an edge of the
    points that stand for the piece. The sides given are measured over all vertices, so the piece always fits, and the
    box is never larger than the upright one. A smaller box may exist.
    """
    upright = upright_box(vertices, grow) if standing is None else standing
    points = extreme_points(vertices, _MORE_DIRECTIONS if thorough else _EXTREME_DIRECTIONS)
    ups = np.concatenate(
        (
            np.eye(3)[2:],
            _principal_axes(points),
            _flat_directions(corners),
            _sphere(_MORE_POSES if thorough else _POSES),
        )
    )
    volumes, frames = small_frames(points, ups, grow, *(_THOROUGH if thorough else _CLOSELY))
    frame = _flush(points, float(volumes[0]), frames[0], grow)
    length, width, height = (np.ptp(vertices @ frame, axis=0) + grow).tolist()
    best = upright if length * width * height >= upright[0] * upright[1] * upright[2] else (length, width, height)
    long, middle, short = sorted(best, reverse=True)
    return long, middle, short


def _sphere(count: int) -> FloatArray:
    """Even directions over half a sphere, (count, 3): a golden-angle spiral."""
    z = (np.arange(count) + 0.5) / count
    turn = np.arange(count) * (np.pi * (3.0 - np.sqrt(5.0)))
    ring = np.sqrt(1.0 - z * z)
    return np.stack((ring * np.cos(turn), ring * np.sin(turn), z), axis=1)


def extreme_points(vertices: FloatArray, directions: int) -> FloatArray:
    """Vertices, (n, 3), that are extreme in some of so many directions and their opposites; all where there are few."""
    if len(vertices) <= 2 * directions:
        return vertices
    found = []
    across = np.ascontiguousarray(vertices.T)
    together = min(16, max(2, _AT_ONCE // len(vertices)))
    for batch in np.array_split(_sphere(directions), -(-directions // together)):
        along = batch @ across
        found += [along.argmax(axis=1), along.argmin(axis=1)]
    points: FloatArray = vertices[np.unique(np.concatenate(found))]
    return points


def _principal_axes(points: FloatArray) -> FloatArray:
    centred = points - points.mean(axis=0)
    axes: FloatArray = np.linalg.eigh(centred.T @ centred)[1].T
    return axes


def _flat_directions(corners: FloatArray) -> FloatArray:
    """Normals of the largest flat faces, (k, 3) unit: triangles gathered by direction, to about half a degree."""
    # Axis by axis: long rows are quick to go through.
    x, y, z = (np.ascontiguousarray(corners[:, :, k].T) for k in range(3))
    normals = [(b[1] - b[0]) * (c[2] - c[0]) - (c[1] - c[0]) * (b[2] - b[0]) for b, c in ((y, z), (z, x), (x, y))]
    size = np.sqrt(normals[0] * normals[0] + normals[1] * normals[1] + normals[2] * normals[2])
    rows = np.flatnonzero(size > 0.0)
    if len(rows) == 0:
        return np.zeros((0, 3))
    normals, size = [axis[rows] for axis in normals], size[rows]
    over, up, on = (np.round(axis / size * 100.0).astype(np.int64) + 100 for axis in normals)
    _, cell = np.unique(over * 40401 + up * 201 + on, return_inverse=True)
    area = np.bincount(cell, weights=size)
    largest = np.argsort(-area, kind="stable")[:_FLATS]
    sums = np.stack([np.bincount(cell, weights=axis) for axis in normals], axis=1)[largest]
    directions: FloatArray = sums / np.linalg.norm(sums, axis=1)[:, None]
    return directions


def _flush(points: FloatArray, volume: float, frame: FloatArray, grow: float) -> FloatArray:
    """Frame of a box after it has been turned about its sides until they are flush with edges of the points."""
    idle = 0
    for k in range(_TURNS):
        found, turned = _square_to(points, frame[:, k % 3], grow)
        idle = idle + 1 if found >= volume else 0
        if found < volume:
            volume, frame = found, turned[:, [(2 - k) % 3, (3 - k) % 3, (4 - k) % 3]]
        if idle == 3:
            break
    return frame


def _square_to(points: FloatArray, up: FloatArray, grow: float) -> tuple[float, FloatArray]:
    """Volume of the smallest box square to an up direction, and its frame, (3, 3), up as third column."""
    first = np.cross(np.eye(3)[np.argmin(np.abs(up))], up)
    first /= np.linalg.norm(first)
    second = np.cross(up, first)
    flat = points @ np.stack((first, second, up), axis=1)
    length, width, angle = least_rectangle(flat[:, :2], grow)
    c, s = np.cos(angle), np.sin(angle)
    frame = np.stack((first * c + second * s, second * c - first * s, up), axis=1)
    return length * width * (float(np.ptp(flat[:, 2])) + grow), frame
