# SPDX-License-Identifier: GPL-3.0-or-later
"""A new skin in place of one that cannot be mended, and how far it lies from the old one."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from ..errors import MeshError, Progress
from ..mesh.mass import triangle_areas
from ..mesh.mesh import FloatArray, Mesh
from ..mesh.topology import edge_report
from .draft import BoolArray
from .measure import measure
from .nearest import distances
from .table import EdgeTable
from .words import length

Remesher: TypeAlias = Callable[[Mesh, float], Mesh]
"""Makes a closed mesh from any mesh and the side of a voxel in metres."""

_FIRST: Final = 2.0
"""Voxels tried first, in wanted deviations: over smooth parts the new skin then lies nearer than a quarter voxel."""
_TRIES: Final = 3
"""Voxel sizes that are tried: each needs eight times the memory for half the deviation."""
_SAMPLES: Final = 50_000
"""Samples of a surface at least."""
_MOST_SAMPLES: Final = 400_000
"""About as many at most, its corners apart."""
_MOST_PARTS: Final = 64
"""Parts of a triangle's side at most."""
_NO_GAIN: Final = 0.8
"""Finer voxels are not tried where the last halving left more than this of the largest distance: an edge thinner than
any voxel, or a patch over a hole."""
_MOST_FACES: Final = 3e6
"""Triangles of the new skin at most, at two for each voxel that the surface passes through: some minutes of work."""


@dataclass(frozen=True)
class Deviation:
    """Distances between two surfaces, metres.

    Attributes
    ----------
    largest_to, rms_to : from the first surface to the second: how far what was scanned lies from the new skin.
    largest_back, rms_back : from the second to the first: how far the new skin lies from what was scanned.
    """

    largest_to: float
    rms_to: float
    largest_back: float
    rms_back: float

    def text(self) -> str:
        """A sentence part for people, millimetres."""
        return (
            f"the scan lies up to {length(self.largest_to)} from the new skin ({length(self.rms_to)} root mean "
            f"square), the new skin up to {length(self.largest_back)} from the scan ({length(self.rms_back)})"
        )


def deviation(one: Mesh, two: Mesh, progress: Progress | None = None) -> Deviation:
    """Measure how far two surfaces lie apart, both ways.

    Parameters
    ----------
    one, two : metres, with at least one triangle each.
    progress : told now and then; may raise `Cancelled`.

    Notes
    -----
    From corners and from points that stand for equal areas, no larger than the finer surface's triangles, fifty
    thousand at least. The largest distance between two surfaces need not lie at a sample: it is missed by a small part
    of their spacing.
    """
    grain = _grain(one, two)
    to = _one_way(one, two, grain, None if progress is None else _half(progress, 0))
    back = _one_way(two, one, grain, None if progress is None else _half(progress, 1))
    return Deviation(*to, *back)


def _grain(one: Mesh, two: Mesh) -> float:
    """Square metres for which a sample stands at most."""
    total = max(float(triangle_areas(one).sum()), float(triangle_areas(two).sum()))
    grain = min(*(float(np.median(triangle_areas(mesh))) for mesh in (one, two)), total / _SAMPLES)
    return max(grain, total / _MOST_SAMPLES)


def _one_way(here: Mesh, there: Mesh, grain: float, progress: Progress | None = None) -> tuple[float, float]:
    """Largest and root mean square distance from one surface to another."""
    points, weight = samples(here, grain)
    away = distances(points, there, progress)
    total = float(weight.sum())
    return float(away.max()), float(np.sqrt((weight * away * away).sum() / total)) if total > 0.0 else 0.0


def _half(outer: Progress, row: int) -> Progress:
    return lambda share, text: outer(0.5 * (row + share), text)


def samples(mesh: Mesh, grain: float) -> tuple[FloatArray, FloatArray]:
    """Points on a surface, (n, 3), and the area that each stands for, (n,), in square metres.

    Parameters
    ----------
    mesh : with at least one triangle.
    grain : square metres; larger triangles are sampled in equal parts no larger than this, in 64 x 64 at most. The
        corners come first and stand for no area.
    """
    corners = mesh.vertices[mesh.triangles]
    area = triangle_areas(mesh)
    points, weights = [mesh.vertices], [np.zeros(len(mesh.vertices))]
    parts = np.clip(np.ceil(np.sqrt(area / grain)), 1, _MOST_PARTS).astype(np.int64)
    for number in np.unique(parts).tolist():
        rows = np.flatnonzero(parts == number)
        share = _centres(number)
        points.append(np.einsum("kc,mcd->mkd", share, corners[rows]).reshape(-1, 3))
        weights.append(np.repeat(area[rows] / len(share), len(share)))
    return np.concatenate(points), np.concatenate(weights)


def _centres(parts: int) -> FloatArray:
    """Corner weights (k, 3) of the centres of the parts ** 2 triangles that a triangle falls into."""
    out = []
    for i in range(parts):
        for j in range(parts - i):
            out.append((i + 1.0 / 3.0, j + 1.0 / 3.0))
            if i + j < parts - 1:
                out.append((i + 2.0 / 3.0, j + 2.0 / 3.0))
    first = np.array(out) / parts
    return np.column_stack([first, 1.0 - first.sum(axis=1)])


@dataclass(frozen=True, eq=False)
class Remeshed:
    """A new skin.

    Attributes
    ----------
    mesh : closed. voxel : metres. deviation : from the scan to it and back. wanted : metres, what was asked for.
    """

    mesh: Mesh
    voxel: float
    deviation: Deviation
    wanted: float

    @property
    def near_enough(self) -> bool:
        """Whether the new skin lies everywhere within what was asked for of the old one.

        Not the other way about: what lay within where bodies overlapped is far from any skin, and right so.
        """
        return self.deviation.largest_back <= self.wanted


def remesh(mesh: Mesh, wanted: float, remesher: Remesher, progress: Progress | None = None) -> Remeshed:
    """Lay a new closed skin over a surface, as coarse as the wanted deviation lets it be.

    Parameters
    ----------
    mesh : metres; holes filled as far as there is to be an inside.
    wanted : metres that the new skin may lie from the surface at most.
    remesher : makes the skin, such as Blender's own.
    progress : told now and then; may raise `Cancelled`.

    Returns
    -------
    Remeshed
        The first of up to three voxel sizes that is near enough, or else the nearest; `near_enough` says which.
        Hollows that the skin closes in are left out.

    Raises
    ------
    MeshError
        Nothing closed came of it.
    """
    finest = math.sqrt(2.0 * float(triangle_areas(mesh).sum()) / _MOST_FACES)
    voxel = max(_FIRST * wanted, finest)
    best: tuple[Mesh, float] | None = None
    best_back = (math.inf, 0.0)
    before = gained = math.inf
    for attempt in range(_TRIES):
        if progress:
            progress(attempt / (_TRIES + 1), f"a new skin of {length(voxel)} voxels")
        made = _outer(remesher(mesh, voxel))
        if len(made.triangles) and edge_report(made.triangles).closed:
            # Only this way decides; the other takes longest where much of the scan lies inside, and is measured once.
            back = _one_way(made, mesh, _grain(mesh, made))
            before, gained = gained, back[0]
            if back[0] < best_back[0]:
                best, best_back = (made, voxel), back
            if back[0] <= wanted or gained > _NO_GAIN * before:
                break
        if voxel == finest:
            break
        voxel = max(0.5 * voxel, finest)
    if best is None:
        raise MeshError(
            f"no closed skin came of remeshing with voxels down to {length(voxel)}; fill its holes first (raise fill), "
            "or ask for a larger deviation"
        )
    if progress:
        progress(_TRIES / (_TRIES + 1), "measuring the distance from the scan to the new skin")
    made, voxel = best
    to = _one_way(mesh, made, _grain(mesh, made))
    return Remeshed(made, voxel, Deviation(*to, *best_back), wanted)


def _outer(mesh: Mesh) -> Mesh:
    """Without the skins of hollows, which run inwards."""
    if not len(mesh.triangles):
        return mesh
    body = EdgeTable.of(mesh.triangles).bodies()
    number = int(body.max()) + 1
    keep: BoolArray = (measure(mesh, body, number).volume > 0.0)[body]
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[mesh.triangles[keep]] = True
    return Mesh(mesh.vertices[used], (np.cumsum(used) - 1)[mesh.triangles[keep]], mesh.kind[keep])
