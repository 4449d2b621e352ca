# SPDX-License-Identifier: GPL-3.0-or-later
"""Rocks with planted crevices: closed bodies on a flat base whose V-shaped grooves run where we say they run.

A rounded block is laid along a path (straight, a loop, a U), swollen by random waves, and grooved across. Everything
follows from the seed; the course of each groove is known to the last digit, at any number of triangles. The sizes are
those of the rocks in which the first experiments were made: solid 5.6 x 2.4 x 1.4 m, ring 5.9 x 3.0 x 1.24 m,
U 5.5 x 3.0 x 1.24 m; grooves 40 to 80 mm wide and 20 to 50 mm deep.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from seamwright.core.mesh.mesh import Mesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

ROUND = 4.0
"""Exponent of the rounded block: 2 is an ellipsoid, more is squarer."""

STEP = 0.001
"""Metres between the points by which a groove's course is kept."""

RIM = 0.1
"""Metres above the floor that are left out of counts."""

NEAR = 0.025
"""Metres from a groove's course that count as on it."""


@dataclass(frozen=True, eq=False)
class PlantedRock:
    """A rock and the truth about it.

    Attributes
    ----------
    mesh : closed, z up, base at z = 0, metres.
    grooves : course of each groove along its bottom, ordered points, (k, 3) metres.
    widths, depths : (k,) of each groove, metres.
    distance : (n,) from each vertex to the nearest course, metres.
    counted : (n,) bool: not within `RIM` of the floor.
    """

    mesh: Mesh
    grooves: tuple[FloatArray, ...]
    widths: tuple[FloatArray, ...]
    depths: tuple[FloatArray, ...]
    distance: FloatArray
    counted: NDArray[np.bool_]


@dataclass(frozen=True)
class _Shape:
    """A block length x width x height, metres, along a path: how long its limbs are and the radius of its bends."""

    length: float
    width: float
    height: float
    limb: float = 0.0
    radius: float = 0.0
    loop: bool = False


_SHAPES = {
    "solid": _Shape(5.6, 2.4, 1.4),
    "ring": _Shape(2.0 * 2.9 + 2.0 * np.pi, 1.0, 1.24, limb=2.9, radius=1.0, loop=True),
    "U": _Shape(2.0 * 4.0 + np.pi, 1.0, 1.24, limb=4.0, radius=1.0),
}
SHAPES = tuple(_SHAPES)


def planted_rock(
    shape: str,
    triangles: int,
    seed: int,
    spacing: float = 1.0,
    noise: float = 0.0,
    isotropic: bool = False,
    roughness: float = 1.0,
) -> PlantedRock:
    """Make a rock.

    Parameters
    ----------
    shape : ``solid``, ``ring`` or ``U``.
    triangles : about as many, 2,000 to 5 million.
    seed : decides waves, courses, widths and depths; not the noise's strength or the number of triangles.
    spacing : metres from groove to groove, about; 0.5 makes the dense rocks ("-d").
    noise : metres, standard deviation of what each vertex is off along its normal (or along each axis).
    isotropic : noise along each axis and not along the normal.
    roughness : factor of the swelling.
    """
    form = _SHAPES[shape]
    lattice, faces, rim = _lattice(form, triangles, np.random.default_rng([seed, triangles]))
    rng = np.random.default_rng(seed)
    swell = _Swell(rng, roughness)
    place, normal = _surface(form, lattice)
    courses = [_course(form, rng, station) for station in _stations(form, rng, spacing)]
    bare, wide, deep = (np.concatenate([c[k] for c in courses]) for k in (1, 2, 3))
    away, which = cKDTree(bare).query(place, distance_upper_bound=0.06)
    near = np.flatnonzero(np.isfinite(away))
    height = swell(place)
    share = np.clip(1.0 - away[near] / (wide[which[near]] / 2.0), 0.0, None)
    height[near] -= deep[which[near]] * share
    points = place + normal * height[:, None]
    rough = np.random.default_rng([seed, triangles, 1])
    if isotropic:
        points += noise * rough.normal(size=points.shape)
    else:
        points += normal * (noise * rough.normal(size=len(points)))[:, None]
    points[rim, 2] = 0.0
    points[:, 2] = np.maximum(points[:, 2], 0.0)
    grooves = []
    for uvw, at, _, depth in courses:
        out = _surface(form, uvw)[1]
        grooves.append(at + out * (swell(at) - depth)[:, None])
    distance = cKDTree(np.concatenate(grooves)).query(points)[0]
    mesh = Mesh(points, np.concatenate([faces, _base(rim, points)]))
    return PlantedRock(
        mesh,
        tuple(grooves),
        tuple(c[2] for c in courses),
        tuple(c[3] for c in courses),
        distance,
        points[:, 2] > RIM,
    )


def vertex_areas(mesh: Mesh) -> FloatArray:
    """A third of the area of the triangles round each vertex, (n,) m2; triangles on the floor left out."""
    p = mesh.vertices[mesh.triangles]
    area = np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1) / 2.0
    area[(p[:, :, 2] == 0.0).all(axis=1)] = 0.0
    return np.bincount(mesh.triangles.reshape(-1), np.repeat(area / 3.0, 3), minlength=len(mesh.vertices))


@dataclass(frozen=True)
class Score:
    """How well vertices that were found tell where the grooves run; shares 0 to 1.

    Attributes
    ----------
    precision : of the area found, the share within `NEAR` of a course.
    recall : of the area within `NEAR` of a course, the share found.
    line_recall : of the courses' length, the share with a found vertex within `NEAR`.
    chance : of all area, the share within `NEAR` of a course.
    """

    precision: float
    recall: float
    line_recall: float
    chance: float


def score(rock: PlantedRock, found: NDArray[np.bool_]) -> Score:
    """Compare found vertices with the truth; the floor's rim is left out of everything."""
    area = vertex_areas(rock.mesh) * rock.counted
    near = rock.distance <= NEAR
    hit = area[found & near].sum()
    course = np.concatenate(rock.grooves)[:: round(0.005 / STEP)]
    course = course[course[:, 2] > RIM]
    use = found & rock.counted
    reached = cKDTree(rock.mesh.vertices[use]).query(course)[0] <= NEAR if use.any() else np.zeros(len(course), bool)
    return Score(
        float(hit / max(area[found].sum(), 1e-300)),
        float(hit / area[near].sum()),
        float(reached.mean()),
        float(area[near].sum() / area.sum()),
    )


def _lattice(form: _Shape, triangles: int, rng: np.random.Generator) -> tuple[FloatArray, IntArray, IntArray]:
    """Points on a box in (-1..1, -1..1, 0..1) without its floor, triangles, and its lower rim in order.

    A loop has no end faces and its rim is two rings, one after the other.
    """
    long, wide, high = form.length, form.width, form.height
    ends = 0.0 if form.loop else 2.0 * wide * high
    # A rounded block has about 0.85 of its box's skin; the factor only makes the count come out nearly as asked.
    step = np.sqrt(2.0 * (long * wide + 2.0 * long * high + ends) / triangles)
    nx, ny, nz = (max(4, round(side / step)) for side in (long, wide, high))
    across = np.arange(nx + (0 if form.loop else 1))
    sheets = [
        _sheet(across, np.arange(ny + 1), lambda i, j: (i, j, np.full_like(i, nz)), False),
        _sheet(across, np.arange(nz + 1), lambda i, k: (i, np.zeros_like(i), k), False),
        _sheet(across, np.arange(nz + 1), lambda i, k: (i, np.full_like(i, ny), k), True),
    ]
    if not form.loop:
        sheets.append(_sheet(np.arange(ny + 1), np.arange(nz + 1), lambda j, k: (np.zeros_like(j), j, k), True))
        sheets.append(_sheet(np.arange(ny + 1), np.arange(nz + 1), lambda j, k: (np.full_like(j, nx), j, k), False))
    if form.loop:
        sheets = [_closed(grid, nx) for grid in sheets]
    quads = np.concatenate(sheets)
    key = (quads[..., 0] * (ny + 1) + quads[..., 1]) * (nz + 1) + quads[..., 2]
    names, index = np.unique(key, return_inverse=True)
    index = index.reshape(-1, 4)
    turn = rng.random(len(index)) < 0.5
    a, b, c, d = index.T
    first = np.where(turn[:, None], np.stack([a, b, c], axis=1), np.stack([a, b, d], axis=1))
    second = np.where(turn[:, None], np.stack([a, c, d], axis=1), np.stack([b, c, d], axis=1))
    i, rest = names // ((ny + 1) * (nz + 1)), names % ((ny + 1) * (nz + 1))
    j, k = rest // (nz + 1), rest % (nz + 1)
    # Within a face the points are shaken, so that no triangle is like the next.
    shake = rng.uniform(-0.25, 0.25, (3, len(names)))
    inner = [(i > 0) & (i < nx) | form.loop, (j > 0) & (j < ny), (k > 0) & (k < nz)]
    flat = (~inner[0]).astype(int) + (~inner[1]) + (k == nz)
    free = (flat == 1) & (k > 0)
    uvw = np.stack(
        [
            2.0 * (i + shake[0] * (free & inner[0])) / nx - 1.0,
            2.0 * (j + shake[1] * (free & inner[1])) / ny - 1.0,
            (k + shake[2] * (free & inner[2])) / nz,
        ],
        axis=1,
    )
    low = np.flatnonzero(k == 0)
    if form.loop:
        front, back = low[j[low] == 0], low[j[low] == ny]
        rim = np.concatenate([front[np.argsort(i[front])], back[np.argsort(i[back])]])
    else:
        rim = low[np.argsort(np.arctan2(j[low] - ny / 2.0, i[low] - nx / 2.0), kind="stable")]
        rim = np.roll(rim, -int(np.flatnonzero((i[rim] == 0) & (j[rim] == 0))[0]))
    return uvw, np.concatenate([first, second]), rim


def _sheet(s, t, place, flip):  # type: ignore[no-untyped-def]
    """Quads of a lattice face, (q, 4, 3) lattice indices, counter-clockwise from outside."""
    a, b = np.meshgrid(s[:-1] if len(s) > 1 else s, t[:-1], indexing="ij")
    corners = [(0, 0), (1, 0), (1, 1), (0, 1)]
    if flip:
        corners = corners[::-1]
    return np.stack([np.stack(place(a + u, b + v), axis=-1).reshape(-1, 3) for u, v in corners], axis=1)


def _closed(quads: IntArray, nx: int) -> IntArray:
    """A face of the loop with the strip from its last row of points back to its first."""
    last = quads[quads[:, :, 0].max(axis=1) == nx - 1]
    more = last.copy()
    more[..., 0] += 1
    more[..., 0] %= nx
    return np.concatenate([quads, more])


def _base(rim: IntArray, points: FloatArray) -> IntArray:
    """Triangles of the floor, facing down, in strips from one side of the rim to the other."""
    half = len(rim) // 2
    ring = bool(np.linalg.norm(points[rim[half]] - points[rim[half - 1]]) > 0.5)
    if ring:
        a, b = rim[:half], rim[half:]
        a2, b2 = np.roll(a, -1), np.roll(b, -1)
        return np.concatenate([np.stack([a, b, a2], axis=1), np.stack([a2, b, b2], axis=1)])
    there, back = rim, rim[::-1]
    i = np.arange((len(rim) + 1) // 2)
    one = np.stack([back[i], there[i], there[i + 1]], axis=1)
    two = np.stack([back[i], there[i + 1], back[i + 1]], axis=1)
    rows = np.concatenate([one, two])[:, ::-1]
    distinct = (rows[:, 0] != rows[:, 1]) & (rows[:, 1] != rows[:, 2]) & (rows[:, 2] != rows[:, 0])
    # The two halves meet in the middle: the strip is stopped where it would turn back.
    where = np.empty(points.shape[0], dtype=np.int64)
    where[rim] = np.arange(len(rim))
    spot = np.sort(where[rows], axis=1)
    keep = distinct & (spot[:, 0] < len(rim) - 1)
    rows, spot = rows[keep], spot[keep]
    _, first = np.unique(spot, axis=0, return_index=True)
    return rows[np.sort(first)]


def _surface(form: _Shape, uvw: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Place and outward normal of points given on the box."""
    size = np.array([form.length / 2.0, form.width / 2.0, form.height])
    use = uvw.copy()
    if form.loop:
        use[:, 0] = 0.0
    round_ = use / ((np.abs(use) ** ROUND).sum(axis=1) ** (1.0 / ROUND))[:, None]
    if form.loop:
        round_[:, 0] = uvw[:, 0]
    block = round_ * size
    slope = np.sign(round_) * np.abs(round_) ** (ROUND - 1.0) / size
    if form.loop:
        slope[:, 0] = 0.0
    centre, along, bend = _path(form, block[:, 0])
    side = np.stack([-along[:, 1], along[:, 0]], axis=1)
    place = np.column_stack([centre + side * block[:, 1:2], block[:, 2]])
    stretch = 1.0 - bend * block[:, 1]
    plan = along * (slope[:, 0] / stretch)[:, None] + side * slope[:, 1:2]
    normal = np.column_stack([plan, slope[:, 2]])
    return place, normal / np.linalg.norm(normal, axis=1)[:, None]


def _path(form: _Shape, s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Place (k, 2), direction (k, 2) and curvature (k,) of the path at s from its middle, metres."""
    if form.radius == 0.0:
        zero = np.zeros(len(s))
        return np.stack([s, zero], axis=1), np.stack([zero + 1.0, zero], axis=1), zero
    r, limb, arc = form.radius, form.limb, np.pi * form.radius
    t = s + form.length / 2.0
    # Limb along +x, bend to the left, limb back, and on a loop the other bend.
    turn = np.clip((t - limb) / r, 0.0, np.pi) + np.clip((t - 2.0 * limb - arc) / r, 0.0, np.pi)
    out, home = np.clip(t, 0.0, limb), np.clip(t - limb - arc, 0.0, limb)
    x = out - home + r * np.sin(turn)
    y = r - r * np.cos(turn)
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    bends = ((t > limb) & (t < limb + arc)) | (t > 2.0 * limb + arc)
    return np.stack([x, y], axis=1), way, np.where(bends, 1.0 / r, 0.0)


class _Swell:
    """Height over the rounded block, metres: waves of several lengths in random directions."""

    BANDS = ((1.6, 0.055), (0.7, 0.024), (0.3, 0.008), (0.13, 0.0025))

    def __init__(self, rng: np.random.Generator, roughness: float) -> None:
        self.waves = []
        for length, high in self.BANDS:
            way = rng.normal(size=(8, 3))
            way /= np.linalg.norm(way, axis=1)[:, None]
            way *= 2.0 * np.pi / (length * rng.uniform(0.75, 1.33, (8, 1)))
            mix = rng.normal(size=8)
            scale = roughness * high * rng.uniform(0.7, 1.3) * np.sqrt(2.0)
            self.waves.append((way, rng.uniform(0.0, 2.0 * np.pi, 8), mix / np.linalg.norm(mix) * scale))

    def __call__(self, points: FloatArray) -> FloatArray:
        height = np.zeros(len(points))
        for way, phase, mix in self.waves:
            for k in range(len(mix)):
                height += mix[k] * np.sin(points @ way[k] + phase[k])
        return height


def _stations(form: _Shape, rng: np.random.Generator, spacing: float) -> FloatArray:
    """Where the grooves cross, -1..1 along the block."""
    inner = form.length if form.loop else form.length - 0.9
    count = max(1, round(inner / spacing))
    at = (np.arange(count) + 0.5) / count + rng.uniform(-0.15, 0.15, count) / count
    return (2.0 * at - 1.0) * inner / form.length


def _course(form: _Shape, rng: np.random.Generator, station: float) -> tuple[FloatArray, ...]:
    """One groove over the block from floor to floor: box places, places before swelling, widths, depths."""
    around = 2.0 * form.height + form.width
    t = np.linspace(0.0, around, 4 * round(around / STEP))
    wander = np.zeros(len(t))
    for length in (2.3, 0.9, 0.4):
        high = rng.uniform(0.3, 1.0) * 0.045 * length
        wander += high * np.sin(2.0 * np.pi * t / (length * rng.uniform(0.8, 1.25)) + rng.uniform(0.0, 2.0 * np.pi))
    u = station + wander / (form.length / 2.0)
    v = np.clip((t - form.height) / form.width * 2.0 - 1.0, -1.0, 1.0)
    w = np.minimum(np.clip(t / form.height, 0.0, 1.0), np.clip((around - t) / form.height, 0.0, 1.0))
    uvw = np.stack([u, v, w], axis=1)
    place = _surface(form, uvw)[0]
    # Even steps along the course itself.
    run = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(place, axis=0), axis=1)))
    even = np.interp(np.arange(0.0, run[-1], STEP), run, t)
    uvw = np.stack([np.interp(even, t, column) for column in uvw.T], axis=1)
    place = _surface(form, uvw)[0]
    width, depth = rng.uniform(0.045, 0.075), rng.uniform(0.025, 0.045)
    sway = np.sin(2.0 * np.pi * even / rng.uniform(0.8, 2.0) + rng.uniform(0.0, 2.0 * np.pi))
    pulse = np.sin(2.0 * np.pi * even / rng.uniform(0.8, 2.0) + rng.uniform(0.0, 2.0 * np.pi))
    return uvw, place, width + 0.005 * sway, depth + 0.005 * pulse
