# SPDX-License-Identifier: GPL-3.0-or-later
"""The handling box: the smallest box found round a piece as it is carried."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .rectangle import least_rectangle

FloatArray = NDArray[np.float64]
Box = tuple[float, float, float]

_EXTREME_DIRECTIONS: Final = 256
"""Directions, each looked at both ways, whose extreme points stand for the piece while poses are tried."""

_MORE_DIRECTIONS: Final = 1024
"""The same where the search is to be thorough: with fewer a box came out 0.6 % too large."""

_POSES: Final = 128
"""Evenly spread directions tried as the piece's up, beside the principal axes and its largest flat faces."""

_FLATS: Final = 32
"""Largest flat faces that the piece is laid on."""

_SPINS: Final = 45
"""Turns about the up direction (2 degrees apart) at which poses are compared before the best are worked out exactly."""

_REFINED: Final = 6
"""Poses that are worked out exactly and tilted step by step while that makes the box smaller."""

_THOROUGH: Final = 8
"""The same where the search is to be thorough; they are then taken apart from each other, see `_APART`."""

_APART: Final = float(np.cos(np.deg2rad(6.0)))
"""Poses nearer to each other than this (cosine of the angle between their ups) lead to the same box: one is enough."""

_TILTS: Final = tuple(np.deg2rad((2.0, 1.0, 0.5, 0.25, 0.1, 0.03, 0.01)).tolist())
"""Steps of that tilting, radians."""


def upright_box(vertices: FloatArray, grow: float = 0.0) -> Box:
    """Smallest box with its height along z round a piece: length, width, height in metres, length at least width.

    Parameters
    ----------
    vertices : (n, 3) metres, z up, at least one.
    grow : metres added to each side (the skin on both faces).
    """
    length, width, _ = least_rectangle(vertices[:, :2], grow)
    return length, width, float(np.ptp(vertices[:, 2])) + grow


def any_pose_box(vertices: FloatArray, corners: FloatArray, grow: float = 0.0, thorough: bool = False) -> Box:
    """Smallest box found round a piece over its poses: length, width, height in metres, from large to small.

    Parameters
    ----------
    vertices : (n, 3) metres, z up, at least one.
    corners : (m, 3, 3) metres, corners of the piece's triangles; its flat faces are looked for among them.
    grow : metres added to each side (the skin on both faces).
    thorough : look further, at three times the work.

    Notes
    -----
    A search, not a proof: up is tried along z, along the principal axes, square to the largest flat faces and in 128
    even directions; the best are tilted step by step. For each up the rectangle square to it is the exact smallest of
    the points that stand for the piece; the sides given are measured over all vertices, so the piece always fits, and
    the box is never larger than the upright one. A smaller box may exist.
    """
    upright = upright_box(vertices, grow)
    points = extreme_points(vertices, _MORE_DIRECTIONS if thorough else _EXTREME_DIRECTIONS)
    ups = np.concatenate((np.eye(3)[2:], _principal_axes(points), _flat_directions(corners), _sphere(_POSES)))
    best = upright
    ranked = ups[_rank(points, ups, grow)]
    for up in _apart(ranked) if thorough else ranked[:_REFINED]:
        frame = _refine(points, up, grow)
        length, width, height = (np.ptp(vertices @ frame, axis=0) + grow).tolist()
        if length * width * height < best[0] * best[1] * best[2]:
            best = (length, width, height)
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
    for batch in np.array_split(_sphere(directions), directions // 16):
        along = batch @ vertices.T
        found += [along.argmax(axis=1), along.argmin(axis=1)]
    points: FloatArray = vertices[np.unique(np.concatenate(found))]
    return points


def _principal_axes(points: FloatArray) -> FloatArray:
    centred = points - points.mean(axis=0)
    axes: FloatArray = np.linalg.eigh(centred.T @ centred)[1].T
    return axes


def _flat_directions(corners: FloatArray) -> FloatArray:
    """Normals of the largest flat faces, (k, 3) unit: triangles gathered by direction, to about half a degree."""
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normals, axis=1)
    normals, size = normals[size > 0.0], size[size > 0.0]
    if len(size) == 0:
        return np.zeros((0, 3))
    cells = np.round(normals / size[:, None] * 100.0).astype(np.int64) + 100
    _, cell = np.unique(cells @ np.array([40401, 201, 1]), return_inverse=True)
    area = np.bincount(cell, weights=size)
    largest = np.argsort(-area, kind="stable")[:_FLATS]
    sums = np.stack([np.bincount(cell, weights=normals[:, k]) for k in range(3)], axis=1)[largest]
    directions: FloatArray = sums / np.linalg.norm(sums, axis=1)[:, None]
    return directions


def _square_to(up: FloatArray) -> FloatArray:
    """A right-handed frame with `up` as its third column, (3, 3)."""
    first = np.cross(np.eye(3)[np.argmin(np.abs(up))], up)
    first = first / np.linalg.norm(first)
    return np.stack((first, np.cross(up, first), up), axis=1)


def _rank(points: FloatArray, ups: FloatArray, grow: float) -> NDArray[np.intp]:
    """Order of the up directions by the smallest box over a few turns about each."""
    spins = np.arange(_SPINS) * (np.pi / 2.0 / _SPINS)
    turned = np.stack((np.cos(spins), np.sin(spins)))
    volumes = np.empty(len(ups))
    for k, up in enumerate(ups):
        frame = _square_to(up)
        flat = points @ frame
        x, y = flat[:, :2] @ turned, flat[:, :2] @ np.stack((-turned[1], turned[0]))
        volumes[k] = ((np.ptp(x, axis=0) + grow) * (np.ptp(y, axis=0) + grow)).min() * (np.ptp(flat[:, 2]) + grow)
    return np.argsort(volumes, kind="stable")


def _apart(ups: FloatArray) -> list[FloatArray]:
    """The first few directions that are not close to one before them, nor to its opposite."""
    chosen: list[FloatArray] = []
    for up in ups:
        if all(abs(float(up @ other)) < _APART for other in chosen):
            chosen.append(up)
            if len(chosen) == _THOROUGH:
                break
    return chosen


def _refine(points: FloatArray, up: FloatArray, grow: float) -> FloatArray:
    """Frame of the smallest box found near an up direction, (3, 3), axes in columns."""
    volume, frame = _exact(points, up, grow)
    for step in _TILTS:
        for _ in range(8):
            # Tilting about the box's own sides keeps a face flush while it turns on an edge.
            sides = (frame[:, 0], -frame[:, 0], frame[:, 1], -frame[:, 1])
            ups = [np.cos(step) * frame[:, 2] + np.sin(step) * side for side in sides]
            trials = [_exact(points, up / np.linalg.norm(up), grow) for up in ups]
            least = min(range(4), key=lambda k: trials[k][0])
            if trials[least][0] >= volume:
                break
            volume, frame = trials[least]
    return frame


def _exact(points: FloatArray, up: FloatArray, grow: float) -> tuple[float, FloatArray]:
    frame = _square_to(up)
    flat = points @ frame
    length, width, angle = least_rectangle(flat[:, :2], grow)
    c, s = np.cos(angle), np.sin(angle)
    spun = np.stack((frame[:, 0] * c + frame[:, 1] * s, frame[:, 1] * c - frame[:, 0] * s, frame[:, 2]), axis=1)
    return length * width * (float(np.ptp(flat[:, 2])) + grow), spun
