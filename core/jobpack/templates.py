# SPDX-License-Identifier: GPL-3.0-or-later
"""Templates of profile joints at true size, to be cut out and held against the foam."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..cutting.joint import Profile
from .drawing import BLUE, INK, OCHRE, SOFT, Drawing, Layer, Line, Pen, Words, drawing_svg
from .record import JobResult, JointRecord
from .sheets import sheets_html, tiled_sheets

FloatArray = NDArray[np.float64]


def template_drawing(record: JointRecord, gap: float, title: str) -> Drawing:
    """The profile line at true size with the two lines that bound the gap, its ends, and crosses every 250 mm.

    Coordinates are the joint's own u (right) and w (up), metres.
    """
    joint = record.joint
    if not isinstance(joint, Profile):
        raise ValueError(f"joint {record.mark} is no profile")
    points = _shown(record, joint)
    lines = [Line(points, Pen(0.4, INK))]
    start, end = points[0], points[-1]
    u = np.arange(np.ceil(start[0] / 0.25) * 0.25, end[0] + 1e-9, 0.25)
    w = np.interp(u, points[:, 0], points[:, 1])
    cross = 0.004
    for a, b in zip(u.tolist(), w.tolist(), strict=True):
        lines.append(Line([[a - cross, b], [a + cross, b]], Pen(0.2, BLUE)))
        lines.append(Line([[a, b - cross], [a, b + cross]], Pen(0.2, BLUE)))
    names = [
        Words((a, b), f"u {a * 1000.0:.0f}, w {b * 1000.0:.0f}", 2.6, "middle", up=2.5, color=SOFT)
        for a, b in zip(u.tolist(), w.tolist(), strict=True)
    ]
    level = Line([[start[0], 0.0], [end[0], 0.0]], Pen(0.15, OCHRE, (6.0, 2.0)))
    wire, side = joint.wire, joint.w
    notes = (
        "Full line: middle of the joint. Dashes: w = 0. Crosses every 250 mm along u; figures in mm.",
        f"The wire runs straight along ({wire[0]:.3f}, {wire[1]:.3f}, {wire[2]:.3f}); w points along "
        f"({side[0]:.3f}, {side[1]:.3f}, {side[2]:.3f}).",
        f"u = w = 0 lies at ({joint.origin[0]:.3f}, {joint.origin[1]:.3f}, {joint.origin[2]:.3f}) m. The gap of "
        f"{gap * 1000.0:.1f} mm lies half on each side.",
    )
    layers = (Layer("w-zero", (level,)), Layer("profile", tuple(lines), tuple(names)))
    return Drawing(f"{title}: joint {record.mark}, template", layers, 1.0, notes)


def _shown(record: JointRecord, joint: Profile) -> FloatArray:
    """The profile over the stretch of u that the foam has, its end segments carried on or cut."""
    rows = [line.points for line in record.lines]
    if not rows:
        return joint.points
    u = (np.concatenate(rows) - joint.origin) @ joint.u
    low, high = float(u.min()), float(u.max())
    inner = joint.points[(joint.points[:, 0] > low) & (joint.points[:, 0] < high)]
    ends = [[v, _height(joint.points, v)] for v in (low, high)]
    return np.vstack([ends[:1], inner, ends[1:]])


def _height(points: FloatArray, u: float) -> float:
    """Offset of a profile at u, straight on past its ends."""
    k = int(np.clip(np.searchsorted(points[:, 0], u) - 1, 0, len(points) - 2))
    (u0, w0), (u1, w1) = points[k], points[k + 1]
    return float(w0 + (w1 - w0) * (u - u0) / (u1 - u0))


def template_files(result: JobResult) -> dict[str, bytes]:
    """``templates/<joint>.svg`` in one piece, and ``templates/<joint>-A4.html`` on sheets, for each profile joint."""
    files: dict[str, bytes] = {}
    for record in result.joints:
        if not isinstance(record.joint, Profile) or not record.lines:
            continue
        drawing = template_drawing(record, result.gap, result.job.title)
        files[f"templates/{record.mark}.svg"] = drawing_svg(drawing).encode()
        files[f"templates/{record.mark}-A4.html"] = sheets_html(
            drawing.title, tiled_sheets(drawing, "A4", landscape=True)
        ).encode()
    return files
