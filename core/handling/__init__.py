# SPDX-License-Identifier: GPL-3.0-or-later
"""Handling: what a piece measures and weighs, who carries it, how it stands, whether it passes."""

from .checks import check_piece, within_limits
from .crew import crew_for, team_limit
from .figures import PieceFigures, measure_finished, measure_piece
from .handled import Handled, handle
from .handled_checks import check_handling

__all__ = [
    "Handled",
    "PieceFigures",
    "check_handling",
    "check_piece",
    "crew_for",
    "handle",
    "measure_finished",
    "measure_piece",
    "team_limit",
    "within_limits",
]
