# SPDX-License-Identifier: GPL-3.0-or-later
"""The skin over the foam: layers, mass, thickness, gap, take-off."""

from .depth import gap_width, rim_depth, skin_depth
from .mass import skin_mass
from .takeoff import TakeoffLine, take_off

__all__ = ["TakeoffLine", "gap_width", "rim_depth", "skin_depth", "skin_mass", "take_off"]
