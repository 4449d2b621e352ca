# SPDX-License-Identifier: GPL-3.0-or-later
"""The job of the demo: settings of a small workshop, as invented as its rock."""

from __future__ import annotations

_JOB = """\
# Demo job. The outcrop, the boat and the workshop's limits are invented; whatever is not named here has its default,
# among it the skin (about 8.3 kg/m2 on carved faces) and the load space.
title = "Wrenlow Skerry outcrop"

[carving]
unit = "m"
up = "z"
base = "close"

[foam]
billet = ["2440 mm", "1220 mm", "610 mm"]
density = "15 kg/m3"
kerf = "3 mm"

[limits]
piece_mass = "50 kg"       # what four people of this workshop carry from lorry to lawn; invented
crew = 4
person_lift = "25 kg"
doorway = ["3.0 m", "3.0 m"]

[joints]
kinds = ["plane", "profile"]
fit = "5 mm"
seams = ["crevice", "marked", "glue line"]

[load_space]               # a semi-trailer with a curtain, invented
size = ["13.6 m", "2.45 m", "2.35 m"]

[cost]                     # hours, shares and the price list that goes with them are invented
labour = [
  { stage = "cutting", hours = 0.4, faces = ["joint"] },
  { stage = "barrier foil", hours = 0.2, faces = ["carved", "joint", "base", "back"] },
  { stage = "laminate", hours = 0.7, faces = ["carved"] },
  { stage = "light laminate", hours = 0.4, faces = ["joint", "back"] },
  { stage = "cement coat", hours = 0.35, faces = ["carved"] },
  { stage = "paint", hours = 0.3, faces = ["carved"] },
]
overhead = 0.12
contingency = 0.08

[keep_clear]
clearance = "50 mm"
boards = "1 m"
# The boat is drawn in on its cradle, a little to the left of its berth until its stem is past the narrows.
way_in = [
  { at = ["10.371 m", "1.880 m", "0 m"], heights = ["282.9 mm", "190 mm", "436.2 mm"] },
  { at = ["5.371 m", "1.880 m", "0 m"], heights = ["282.9 mm", "190 mm", "436.2 mm"] },
]
[[keep_clear.bodies]]
name = "boat"
file = "boat.ply"
at = ["4.3711 m", "1.7901 m", "0 m"]
heading = "1.5 deg"
supports = [["-1.05 m", "0.2 m"], ["-1.05 m", "-0.2 m"], ["0.85 m", "0 m"]]
heights = ["282.9 mm", "190 mm", "436.2 mm"]
[[keep_clear.bodies]]
name = "cradle"
file = "cradle.ply"
"""


def demo_job_toml() -> str:
    """Give the demo's settings as TOML text, to be read by `Job.from_toml`."""
    return _JOB
