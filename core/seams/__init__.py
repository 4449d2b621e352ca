# SPDX-License-Identifier: GPL-3.0-or-later
"""What a joint may follow: crevices, marked lines, zones; and how well a joint keeps to them."""

from ..blockup.glue_lines import GlueRectangles
from .crevices import Crevices, find_crevices
from .index import SeamIndex
from .judge import JointSeams
from .marks import Marks, Viewpoint
from .report import check_seams, no_seams
from .seams import Seams, check_joints, find_seams

__all__ = [
    "Crevices",
    "GlueRectangles",
    "JointSeams",
    "Marks",
    "SeamIndex",
    "Seams",
    "Viewpoint",
    "check_joints",
    "check_seams",
    "find_crevices",
    "find_seams",
    "no_seams",
]
