# SPDX-License-Identifier: GPL-3.0-or-later
"""Planning: where to put joints so that every piece is within the limits, in few pieces that hide their joints."""

from .propose import Proposal, propose
from .wished import Wish

__all__ = ["Proposal", "Wish", "propose"]
