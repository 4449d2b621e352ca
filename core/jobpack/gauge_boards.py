# SPDX-License-Identifier: GPL-3.0-or-later
"""Gauge boards drawn at true size, and maps of the depth to carve off."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..clearance.boards import GaugeBoard
from ..clearance.carve_off import CarveOff
from ..clearance.job_check import KeepClearResult
from ..intake.ply_write import ply_bytes
from ..mesh.mesh import Mesh
from .drawing import BLUE, BLUE_WASH, INK, OCHRE, SOFT, Drawing, Layer, Line, Pen, Words, drawing_svg
from .record import JobResult

FloatArray = NDArray[np.float64]

_BATTEN: Final = 0.06
"""Metres: width of the battens under a board, as `clearance.boards` places them."""

_LEVEL: Final = 0.5
"""Metres over the floor of the level datum line; common practice, no source."""

_CROSS: Final = 0.012
"""Metres: half the size of a datum cross."""

_AROUND: Final = 0.25
"""Metres of the foam's section that are drawn beside a board."""

_STEPS: Final = 4
"""Bands of depth that a map tells apart, by hatching that gets denser."""


def gauge_drawing(board: GaugeBoard, name: str, title: str, result: KeepClearResult) -> Drawing:
    """One board at true size: outline, battens, floor, datum marks, and the foam as it is."""
    low = np.min([loop.min(axis=0) for loop in board.outlines], axis=0)
    high = np.max([loop.max(axis=0) for loop in board.outlines], axis=0)
    outline = tuple(Line(loop, Pen(0.6, INK), closed=True) for loop in board.outlines)
    legs = tuple(
        Line([[a - b, 0.0], [a + b, 0.0], [a + b, top], [a - b, top]], Pen(0.3, SOFT, (4.0, 2.0)), closed=True)
        for a, top in board.legs
        for b in (0.5 * _BATTEN,)
    )
    floor = Line([[low[0] - 0.1, 0.0], [high[0] + 0.1, 0.0]], Pen(0.5, BLUE))
    marks = [floor, Line([[0.0, 0.0], [0.0, high[1] + 0.03]], Pen(0.2, BLUE, (8.0, 2.0, 1.0, 2.0)))]
    level = _LEVEL if low[1] < _LEVEL < high[1] else 0.5 * float(low[1] + high[1])
    marks.append(Line([[low[0] - 0.1, level], [high[0] + 0.1, level]], Pen(0.2, BLUE, (8.0, 2.0, 1.0, 2.0))))
    for across in (0.0, float(low[0]), float(high[0])):
        marks.append(Line([[across - _CROSS, 0.0], [across + _CROSS, 0.0]], Pen(0.35, BLUE)))
        marks.append(Line([[across, -_CROSS], [across, _CROSS]], Pen(0.35, BLUE)))
    near = (board.foam.max(axis=1) > low - _AROUND).all(axis=1) & (board.foam.min(axis=1) < high + _AROUND).all(axis=1)
    foam = tuple(Line(part, Pen(0.25, OCHRE)) for part in board.foam[near])
    words = [
        Words((0.0, float(high[1]) + 0.03), "middle line", 10.0, "middle", up=2.0, color=BLUE),
        Words((float(low[0]) - 0.1, level), f"level, {1000.0 * level:.0f} mm over the floor", 10.0, up=1.5, color=BLUE),
    ]
    for side, across in (("", 0.0), ("left end", float(high[0])), ("right end", float(low[0]))):
        x, y = np.array(board.foot) + across * np.array(board.left)
        text = f"{side + ': ' if side else ''}({x:.3f}, {y:.3f}) m"
        words.append(Words((across, 0.0), text, 8.0, "middle", up=-14.0, color=BLUE))
    over = []
    if board.over_at is not None:
        across, up = board.over_at
        over = [Line([[across - _CROSS, up - _CROSS], [across + _CROSS, up + _CROSS]], Pen(0.6, OCHRE))]
        over.append(Line([[across - _CROSS, up + _CROSS], [across + _CROSS, up - _CROSS]], Pen(0.6, OCHRE)))
        words.append(Words((across, up), f"foam over by {1000.0 * board.over:.0f} mm", 10.0, up=8.0, color=OCHRE))
    layers = (
        Layer("board", outline),
        Layer("battens", legs),
        Layer("datum", tuple(marks)),
        Layer("foam", foam),
        Layer("over", tuple(over), tuple(words)),
    )
    rule = result.rule
    notes = (
        "Black: cut here. Dashed grey: battens down to the floor, 60 mm wide. Blue: floor, datum lines and crosses. "
        "Ochre: the foam as it is.",
        f"Holds all bodies on their whole way, {1000.0 * rule.clearance:.4g} mm of clearance and "
        f"{1000.0 * rule.skin:.3g} mm of skin. Stand it upright on its floor crosses; foam must not pass the black "
        "line.",
        f"Seen along the heading: left is left. Square to the heading, {board.station:.3f} m forward of the origin of "
        f"the {result.bodies[0].name}. Positions in job coordinates.",
    )
    # Seen from behind, along the heading, left lies to the left: across is turned over.
    flipped = tuple(_turned_over(layer) for layer in layers)
    return Drawing(f"{title}: gauge board {name}", flipped, 1.0, notes)


def _turned_over(layer: Layer) -> Layer:
    turn = np.array([-1.0, 1.0])
    lines = tuple(Line(line.points * turn, line.pen, line.closed) for line in layer.lines)
    words = tuple(
        Words((-w.at[0], w.at[1]), w.text, w.size, "right" if w.across == "left" else w.across, w.turn, w.up, w.color)
        for w in layer.words
    )
    return Layer(layer.name, lines, words)


def depth_map(carving: Mesh, carve: CarveOff, title: str) -> Drawing:
    """Plan of what has to come off, with its depth in bands: the deeper the denser the hatching; figures at peaks."""
    depth = carve.depth[carving.triangles].max(axis=1)
    rows = np.flatnonzero(carve.region)
    corner = carving.vertices[carving.triangles[rows]][:, :, :2]
    lines = [Line(flat, Pen(0.1, BLUE, (), BLUE_WASH), closed=True) for flat in corner]
    for band in range(1, _STEPS):
        deep = depth[rows] > carve.deepest * band / _STEPS
        lines += [Line([flat[0], flat.mean(axis=0)], Pen(0.1 + 0.1 * band, OCHRE)) for flat in corner[deep]]
    order = rows[np.argsort(-depth[rows], kind="stable")]
    words, taken = [], np.zeros((0, 2))
    for row in order.tolist():
        at = carving.vertices[carving.triangles[row]].mean(axis=0)
        if len(taken) and np.linalg.norm(taken - at[:2], axis=1).min() < 0.15:
            continue
        taken = np.concatenate([taken, at[None, :2]])
        text = f"{1000.0 * depth[row]:.0f} mm at z {at[2]:.2f}"
        words.append(Words((float(at[0]), float(at[1])), text, 2.4, color=INK, up=1.0))
        if len(words) >= 40:
            break
    notes = (
        f"Depth to carve off, straight into the foam, seen from above: up to {1000.0 * carve.deepest:.0f} mm, over "
        f"{carve.area:.2f} m2 of surface. x to the right, y up; lines get heavier with each quarter of the depth.",
        "carve-off.ply holds the surface with the depth at each vertex.",
    )
    return Drawing(f"{title}: carve-off map", (Layer("depth", tuple(lines), tuple(words)),), 5.0, notes)


def region_ply(carving: Mesh, carve: CarveOff) -> bytes:
    """The marked region as a mesh file, with a vertex property ``depth``, metres."""
    triangles = carving.triangles[carve.region]
    used, flat = np.unique(triangles, return_inverse=True)
    triangles = flat.reshape(-1, 3)
    vertices = np.zeros(len(used), dtype=[(name, "<f8") for name in ("x", "y", "z", "depth")])
    for axis, name in enumerate(("x", "y", "z")):
        vertices[name] = carving.vertices[used, axis]
    vertices["depth"] = carve.depth[used]
    faces = np.zeros(len(triangles), dtype=[("n", "u1"), ("corners", "<i4", (3,))])
    faces["n"], faces["corners"] = 3, triangles
    head = (
        "ply\nformat binary_little_endian 1.0\ncomment metres, job coordinates; depth to carve off\n"
        f"element vertex {len(used)}\nproperty double x\nproperty double y\nproperty double z\nproperty double depth\n"
        f"element face {len(triangles)}\nproperty list uchar int vertex_indices\nend_header\n"
    )
    return head.encode("ascii") + vertices.tobytes() + faces.tobytes()


def clearance_files(result: JobResult) -> dict[str, bytes]:
    """``gauge-boards/<n>.svg``, ``keep-clear/<n>.ply`` (each body as it stands), and what is to be carved off."""
    found = result.clearance
    if found is None:
        return {}
    files = {
        f"gauge-boards/{n}.svg": drawing_svg(gauge_drawing(board, str(n), result.job.title, found)).encode()
        for n, board in enumerate(found.boards, 1)
    }
    for n, body in enumerate(found.bodies, 1):
        files[f"keep-clear/{n}.ply"] = ply_bytes(body.standing())
    if found.carve.region.any():
        files["carve-off.svg"] = drawing_svg(depth_map(result.carving, found.carve, result.job.title)).encode()
        files["carve-off.ply"] = region_ply(result.carving, found.carve)
    return files
