# SPDX-License-Identifier: GPL-3.0-or-later
"""The small open boat in the bay, on its cradle: what the rock of the demo must never touch. Invented too."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..mesh.mesh import Mesh

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Part = tuple[FloatArray, IntArray]

LENGTH, BEAM, DEPTH = 3.6, 1.04, 0.44  # m: stem to stern, at the widest, keel to rail amidships
PLANKING = 0.03  # m, thickness of bottom and sides
STATIONS, RIBS = 48, 33  # points along the hull, and from rail to rail
PITCH, ROLL, YAW = np.radians([6.0, 13.0, 1.5])  # bow up, leaning to starboard, a little askew
MIDDLE = (4.35, 1.74, 0.56)  # m: where the middle of the boat, half-way up amidships, lies in job coordinates
FRAMES = (-1.05, 0.85)  # m along x from the boat's middle: frames of the cradle
FRAME_WIDTH, FRAME_THICKNESS, PAD_GAP = 0.62, 0.08, 0.004  # m; the gap stands for the felt between hull and frame
BEAM_OFFSETS, BEAM_SIZE = (-0.24, 0.2), 0.07  # m: two beams between the frames


def _hull_point(s: FloatArray, t: FloatArray, inset: float) -> FloatArray:
    """Point of the hull's skin: s 0 at the stern to 1 at the stem, t -1..1 from rail to rail; inset inward, m."""
    aft, ahead = np.maximum(0.35 - s, 0.0), np.maximum(s - 0.35, 0.0)
    fullness = np.where(s < 0.4, 0.78 + 0.22 * np.sin(np.pi * s / 0.8), np.cos(np.pi * (s - 0.4) / 1.28))
    half = np.maximum(0.5 * BEAM * fullness - inset, 0.012)
    rail = 0.5 * DEPTH + 0.16 * ahead**2 + 0.10 * aft**2
    keel = -0.5 * DEPTH + 1.05 * np.maximum(s - 0.72, 0.0) ** 2 + 0.08 * np.maximum(aft - 0.1, 0.0) + inset
    angle = 0.5 * np.pi * t
    side = np.sign(t) * np.abs(np.sin(angle)) ** 0.75
    drop = np.abs(np.cos(angle)) ** 1.15
    return np.stack([(s - 0.5) * LENGTH, half * side, rail - (rail - keel) * drop], axis=-1)


def _hull() -> Part:
    """Planked hull, open on top: an outer and an inner skin, joined along the rail; one closed body."""
    s, t = np.meshgrid(np.linspace(0.0, 1.0, STATIONS), np.linspace(-1.0, 1.0, RIBS), indexing="ij")
    s_in = PLANKING / LENGTH + s * (1.0 - 4.5 * PLANKING / LENGTH)
    vertices = np.concatenate([_hull_point(s, t, 0.0).reshape(-1, 3), _hull_point(s_in, t, PLANKING).reshape(-1, 3)])
    outer = np.arange(STATIONS * RIBS).reshape(STATIONS, RIBS)
    inner = outer + STATIONS * RIBS
    loop = np.concatenate([outer[:, 0], outer[::-1, -1]])  # along one rail to the stem, back along the other
    ring = np.stack([loop, loop + STATIONS * RIBS])
    ring = np.concatenate([ring, ring[:, :1]], axis=1)
    parts = [_sheet(outer[:, ::-1]), _sheet(inner), _sheet(ring[::-1])]
    for grid, station, turned in ((outer, 0, False), (outer, -1, True), (inner, 0, True), (inner, -1, False)):
        row, half = grid[station], RIBS // 2
        # The end between its two sides, rung by rung from the rails down to the keel.
        port, starboard = row[: half + 1], row[: half - 1 : -1]
        sheet = _sheet(np.stack([port, starboard]))
        sheet = sheet[(sheet[:, 0] != sheet[:, 1]) & (sheet[:, 1] != sheet[:, 2]) & (sheet[:, 2] != sheet[:, 0])]
        parts.append(sheet[:, ::-1] if turned else sheet)
    return vertices, np.concatenate(parts)


def _sheet(grid: IntArray) -> IntArray:
    """Two triangles for each cell of a grid of vertex numbers."""
    a, b, c, d = grid[:-1, :-1].ravel(), grid[1:, :-1].ravel(), grid[1:, 1:].ravel(), grid[:-1, 1:].ravel()
    return np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])


def _slab(lower: FloatArray, upper: FloatArray) -> Part:
    """Closed body between two matching loops of points (k, 3), each convex enough to fan from its first point.

    The loops run counter-clockwise seen from `upper`.
    """
    count = len(lower)
    i = np.arange(count)
    j = (i + 1) % count
    walls = np.concatenate([np.stack([i, j, j + count], axis=1), np.stack([i, j + count, i + count], axis=1)])
    k = np.arange(1, count - 1)
    zero = np.zeros_like(k)
    caps = np.concatenate([np.stack([zero, k + 1, k], axis=1), np.stack([zero, k, k + 1], axis=1) + count])
    return np.concatenate([lower, upper]), np.concatenate([walls, caps])


def _block(low: tuple[float, float, float], high: tuple[float, float, float]) -> Part:
    """Closed box along the axes."""
    x, y = np.array([low[0], high[0], high[0], low[0]]), np.array([low[1], low[1], high[1], high[1]])
    return _slab(np.stack([x, y, np.full(4, low[2])], axis=1), np.stack([x, y, np.full(4, high[2])], axis=1))


def _thwart(s: float) -> Part:
    """A seat from side to side at station s, 2 mm clear of the planking."""
    height, thickness, t = 0.06, 0.028, np.linspace(0.0, 1.0, 400)
    stations = np.array([s - 0.1 / LENGTH, s + 0.1 / LENGTH])
    sections = [_hull_point(np.full(len(t), end), t, PLANKING) for end in stations]
    aft, fore = (float(np.interp(height, p[:, 2], p[:, 1])) - 0.002 for p in sections)
    x = (stations[[0, 1, 1, 0]] - 0.5) * LENGTH
    y = np.array([-aft, -fore, fore, aft])
    lower = np.stack([x, y, np.full(4, height)], axis=1)
    return _slab(lower, lower + np.array([0.0, 0.0, thickness]))


def _pose(points: FloatArray) -> FloatArray:
    """From the boat's own axes to job coordinates."""
    (cp, cr, cy), (sp, sr, sy) = np.cos([PITCH, ROLL, YAW]), np.sin([PITCH, ROLL, YAW])
    roll = np.array([[1.0, 0.0, 0.0], [0.0, cr, -sr], [0.0, sr, cr]])
    pitch = np.array([[cp, 0.0, -sp], [0.0, 1.0, 0.0], [sp, 0.0, cp]])
    yaw = np.array([[cy, -sy, 0.0], [sy, cy, 0.0], [0.0, 0.0, 1.0]])
    posed: FloatArray = points @ (yaw @ pitch @ roll).T + np.array(MIDDLE)
    return posed


def _merge(parts: list[Part]) -> Mesh:
    starts = np.cumsum([0, *(len(v) for v, _ in parts[:-1])])
    triangles = np.concatenate([t + start for (_, t), start in zip(parts, starts, strict=True)])
    return Mesh(np.concatenate([v for v, _ in parts]), triangles)


def _prism(profile: FloatArray, x0: float, x1: float) -> Part:
    """Frame cut from a board: profile (k, 2) in y and z, floor corners first, its top over the floor throughout."""
    count = len(profile)
    vertices = np.concatenate([np.column_stack([np.full(count, x), profile]) for x in (x0, x1)])
    i = np.arange(count)
    j = (i + 1) % count
    rim = np.concatenate([np.stack([i, j, j + count], axis=1), np.stack([i, j + count, i + count], axis=1)])
    # Cheeks: a fan from a floor corner would leave a hollow top, so each half fans from its own corner.
    mid = 2 + (count - 2) // 2
    fans = [(1, k, k + 1) for k in range(2, mid)] + [(0, 1, mid)] + [(0, k, k + 1) for k in range(mid, count - 1)]
    cheek = np.array(fans, dtype=np.int64)
    return vertices, np.concatenate([rim, cheek[:, ::-1], cheek + count])


def demo_cradle() -> Mesh:
    """Cradle of the boat: two frames, hollowed to the hull, and two beams between them; four closed bodies.

    Metres, job coordinates, standing on z = 0. Bodies keep 1 mm and more from each other and from the hull.
    """
    s, t = np.meshgrid(np.linspace(0.0, 1.0, 400), np.linspace(-1.0, 1.0, 201), indexing="ij")
    skin = _pose(_hull_point(s, t, 0.0).reshape(-1, 3))
    parts, faces = [], []
    across = np.linspace(-0.5 * FRAME_WIDTH, 0.5 * FRAME_WIDTH, 32)
    apart = across[1] - across[0]
    for offset in FRAMES:
        x = MIDDLE[0] + offset
        near = skin[np.abs(skin[:, 0] - x) < 0.5 * FRAME_THICKNESS + 0.02]
        heights = []
        for y in MIDDLE[1] + across:
            heights.append(float(near[np.abs(near[:, 1] - y) < 1.2 * apart, 2].min()) - PAD_GAP)
        # In the y-z plane: along the floor towards +y, then back along the hollow.
        top = np.stack([MIDDLE[1] + across, heights], axis=1)[::-1]
        profile = np.concatenate([[[top[-1, 0], 0.0], [top[0, 0], 0.0]], top])
        parts.append(_prism(profile, x - 0.5 * FRAME_THICKNESS, x + 0.5 * FRAME_THICKNESS))
        faces.append(x)
    for y in BEAM_OFFSETS:
        low = (faces[0] + 0.5 * FRAME_THICKNESS + 0.001, MIDDLE[1] + y - 0.5 * BEAM_SIZE, 0.0)
        high = (faces[1] - 0.5 * FRAME_THICKNESS - 0.001, MIDDLE[1] + y + 0.5 * BEAM_SIZE, BEAM_SIZE)
        parts.append(_block(low, high))
    return _merge(parts)


def demo_keep_clear() -> dict[str, Mesh]:
    """Files that the demo's job names: the boat upright in its own axes, standing on z = 0, and its cradle in place."""
    parts = [(v + np.array([0.0, 0.0, 0.5 * DEPTH]), t) for v, t in (_hull(), _thwart(0.3), _thwart(0.56))]
    return {"boat.ply": _merge(parts), "cradle.ply": demo_cradle()}


def demo_boat() -> Mesh:
    """Boat on its cradle, pitched and rolled as it lies in the bay: hull, two seats and cradle; seven closed bodies.

    Metres, job coordinates; each body closed and wound outward, none touching another. The same bytes on every run.
    """
    parts = [(_pose(v), t) for v, t in (_hull(), _thwart(0.3), _thwart(0.56))]
    cradle = demo_cradle()
    return _merge([*parts, (cradle.vertices, cradle.triangles)])
