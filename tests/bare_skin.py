# SPDX-License-Identifier: GPL-3.0-or-later
"""A job whose numbers are easy to follow by hand: one layer without thickness on all faces, no kerf, no gap."""

from __future__ import annotations

from dataclasses import replace

from seamwright.core.job import Job

BARE_SKIN = Job.from_toml(
    """
    [foam]
    kerf = "0 mm"
    [skin]
    bridging = "0 mm"
    layers = [{ name = "skin", mass = "8.3 kg/m2", faces = ["carved", "joint", "base", "back"] }]
    [joints]
    fit = "0 mm"
    """
)


def limited(piece_mass: float) -> Job:
    """The same with a limit of mass, kg, and pieces of 2.4 x 1.2 x 1.2 m at most."""
    limits = replace(BARE_SKIN.limits, piece_mass=piece_mass, piece_size=(2.4, 1.2, 1.2))
    return replace(BARE_SKIN, limits=limits)
