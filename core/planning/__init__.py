# SPDX-License-Identifier: GPL-3.0-or-later
"""Planning: where to put joints so that every piece is within the limits."""

from .stations import Proposal, propose_stations

__all__ = ["Proposal", "propose_stations"]
