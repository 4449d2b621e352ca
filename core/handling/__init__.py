# SPDX-License-Identifier: GPL-3.0-or-later
"""Handling: what a piece measures and weighs, who carries it, whether it passes."""

from .checks import check_piece, within_limits
from .crew import crew_for, team_limit
from .figures import PieceFigures, measure_piece

__all__ = ["PieceFigures", "check_piece", "crew_for", "measure_piece", "team_limit", "within_limits"]
