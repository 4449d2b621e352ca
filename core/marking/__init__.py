# SPDX-License-Identifier: GPL-3.0-or-later
"""Marking: numbers for pieces, letters for joints."""

from .marks import joint_letters, piece_order

__all__ = ["joint_letters", "piece_order"]
