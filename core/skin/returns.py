# SPDX-License-Identifier: GPL-3.0-or-later
"""Edge returns: strips of a layer turned in over the rim on to the neighbouring joint, base or back face."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np

from ..job import Job, Layer
from ..mesh.mass import corner_areas
from ..mesh.mesh import CARVED, KIND_NAMES, FloatArray, IntArray, Mesh
from ..mesh.runs import runs
from .rims import Face, find_faces, find_rims, rim_lengths
from .split import split_long
from .strip import strip_area

_PART: Final = 4.0
"""Parts of the strip's width that triangles of a curved back face are split to before distances are compared."""


def return_areas(mesh: Mesh, job: Job, joints: IntArray | None = None) -> FloatArray:
    """Area of the edge returns of each layer by the class of face that they lie on, (layers, 4) square metres.

    Parameters
    ----------
    mesh : closed piece with the class of each triangle; metres.
    job : its layers are read. A layer's return lies on joint, base and back faces that the layer does not cover anyway,
        next to faces that it covers.
    joints : (m,) a number for each triangle that is the same on all joint triangles of one joint; see `find_faces`.

    Returns
    -------
    (layers, 4) float64
        What lies within the return's width of the rim, clipped to the face that the rim belongs to. Joint faces are
        measured in their plane, profiles unrolled, to about 1e-4; back faces that are curved by the straight distance.
    """
    layers = job.skin.layers
    table = np.zeros((len(layers), len(KIND_NAMES)))
    turned = [k for k, layer in enumerate(layers) if layer.edge_return > 0.0]
    if not turned:
        return table
    faces = find_faces(mesh, joints, find_rims(mesh))
    known: dict[tuple[tuple[str, ...], float], FloatArray] = {}
    for k in turned:
        layer = layers[k]
        key = (tuple(sorted(layer.faces)), layer.edge_return)
        if key not in known:
            known[key] = _strips(mesh, faces, layer)
        table[k] = known[key]
    return table


def rough_return_areas(mesh: Mesh, job: Job) -> FloatArray:
    """As `return_areas`, quickly and a little too much: length of rim times width, at most the area of the class.

    For weighing many candidates. Strips that overlap in corners count twice.
    """
    layers = job.skin.layers
    table = np.zeros((len(layers), len(KIND_NAMES)))
    if not any(layer.edge_return > 0.0 for layer in layers):
        return table
    rims = rim_lengths(mesh)
    most = np.zeros(len(KIND_NAMES))
    rows = np.flatnonzero(mesh.kind != CARVED)
    corners = mesh.vertices[mesh.triangles[rows]]
    size = corner_areas(corners)
    most[:] = np.bincount(mesh.kind[rows], weights=size, minlength=len(KIND_NAMES))
    for k, layer in enumerate(layers):
        covered = _kinds(layer.faces)
        for kind in _targets(layer):
            table[k, kind] = min(most[kind], layer.edge_return * float(rims[kind, covered].sum()))
    return table


def _kinds(faces: Iterable[str]) -> list[int]:
    return [KIND_NAMES.index(name) for name in faces]


def _targets(layer: Layer) -> list[int]:
    """Classes that a layer's return lies on: all but carved, where the layer is not anyway."""
    return [kind for kind, name in enumerate(KIND_NAMES) if kind != CARVED and name not in layer.faces]


def _strips(mesh: Mesh, faces: Sequence[Face], layer: Layer) -> FloatArray:
    found = np.zeros(len(KIND_NAMES))
    covered, targets = _kinds(layer.faces), _targets(layer)
    for face in faces:
        near = np.flatnonzero(np.isin(face.other, covered))
        if face.kind not in targets or len(near) == 0:
            continue
        if face.flat:
            found[face.kind] += strip_area(face.outline, face.rim[near], layer.edge_return)
        else:
            corners = mesh.vertices[mesh.triangles[face.triangles]]
            found[face.kind] += curved_strip_area(corners, face.edges[near], layer.edge_return)
    return found


def curved_strip_area(corners: FloatArray, rim: FloatArray, width: float) -> float:
    """Area of a surface in space within `width`, straight distance, of some edges.

    Parameters
    ----------
    corners : (m, 3, 3) its triangles, metres.
    rim : (r, 2, 3) edges, metres.
    """
    middle, reach = corners.mean(axis=1), np.linalg.norm(corners - corners.mean(axis=1)[:, None], axis=2).max(axis=1)
    low, high = rim.min(axis=(0, 1)) - width, rim.max(axis=(0, 1)) + width
    close = ((middle + reach[:, None] >= low) & (middle - reach[:, None] <= high)).all(axis=1)
    parts, _ = split_long(corners[close], width / _PART)
    if len(parts) == 0:
        return 0.0
    middle = parts.mean(axis=1)
    search = width * (1.0 + 1.0 / _PART)
    parts = parts[_distance(middle, rim, search) <= search]
    if len(parts) == 0:
        return 0.0
    size = corner_areas(parts)
    far = np.sort(_distance(parts.reshape(-1, 3), rim, 2.0 * width).reshape(-1, 3), axis=1)
    return float((size * _share_below(far, width)).sum())


def _share_below(values: FloatArray, level: float) -> FloatArray:
    """Share of triangles on which a linear function with these corner values, (k, 3) rising, is below a level."""
    low, middle, high = values.T
    span = np.where(high > low, high - low, 1.0)
    first = (level - low) ** 2 / (span * np.where(middle > low, middle - low, 1.0))
    last = 1.0 - (high - level) ** 2 / (span * np.where(high > middle, high - middle, 1.0))
    share: FloatArray = np.where(level >= high, 1.0, np.where(level <= low, 0.0, np.where(level < middle, first, last)))
    return share


def _distance(points: FloatArray, rim: FloatArray, reach: float) -> FloatArray:
    """Distance of each point, (n, 3), to the nearest edge, (r, 2, 3), where within reach; infinite elsewhere."""
    rim = _cut_up(rim, reach)
    # A point within reach of an edge that is no longer than that is within 1.5 of it from the edge's middle.
    cell = 1.5 * reach
    low = points.min(axis=0) - 2.0 * cell
    at = np.floor((points - low) / cell).astype(np.int64)
    home = np.floor((rim.mean(axis=1) - low) / cell).astype(np.int64)
    inside = ((home >= 0) & (home <= at.max(axis=0) + 1)).all(axis=1)
    rim, home = rim[inside], home[inside]
    size = at.max(axis=0) + 2
    keys = (home[:, 0] * size[1] + home[:, 1]) * size[2] + home[:, 2]
    order = np.argsort(keys, kind="stable")
    rim, keys = rim[order], keys[order]
    start, along = rim[:, 0], rim[:, 1] - rim[:, 0]
    squares = np.einsum("ij,ij->i", along, along)
    squares = np.where(squares > 0.0, squares, 1.0)
    nearest = np.full(len(points), np.inf)
    for step in itertools.product((-1, 0, 1), repeat=3):
        x, y, z = (at + step).T
        wanted = (x * size[1] + y) * size[2] + z
        first = np.searchsorted(keys, wanted)
        count = np.searchsorted(keys, wanted, side="right") - first
        point, place = runs(count)
        edge = first[point] + place
        away = points[point] - start[edge]
        share = np.clip(np.einsum("ij,ij->i", away, along[edge]) / squares[edge], 0.0, 1.0)
        away -= share[:, None] * along[edge]
        np.minimum.at(nearest, point, np.einsum("ij,ij->i", away, away))
    distance: FloatArray = np.sqrt(nearest)
    return distance


def _cut_up(rim: FloatArray, longest: float) -> FloatArray:
    """Edges in equal parts no longer than this."""
    length = np.linalg.norm(rim[:, 1] - rim[:, 0], axis=1)
    count = np.maximum(1, np.ceil(length / longest).astype(np.int64))
    row, part = runs(count)
    shares = np.stack((part, part + 1), axis=1) / count[row][:, None]
    parts: FloatArray = rim[row, :1] + shares[:, :, None] * (rim[row, 1] - rim[row, 0])[:, None]
    return parts
