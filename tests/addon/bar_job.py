# SPDX-License-Identifier: GPL-3.0-or-later
"""The job that plans are tested on, at the command line and in the panel: a bar that two pieces make."""

from __future__ import annotations

from seamwright.core.mesh.mesh import Mesh
from shapes import box

JOB = """
[skin]
layers = [{ name = "skin", mass = "5 kg/m2", faces = ["carved", "joint", "base", "back"] }]
bridging = "0 mm"
[foam]
kerf = "0 mm"
[joints]
fit = "0 mm"
seams = ["marked"]
[limits]
piece_mass = "50 kg"
piece_size = ["1.8 m", "1.2 m", "1.2 m"]
"""


def bar() -> Mesh:
    """A bar of 3.0 x 0.6 x 0.6 m, one end at the origin."""
    return box((3.0, 0.6, 0.6))
