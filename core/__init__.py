# SPDX-License-Identifier: GPL-3.0-or-later
"""Seamwright's core: from a closed carving to pieces, checks and a job pack. Pure Python and numpy."""

from .cutting.cut import cut
from .cutting.joint import Plane, Profile
from .job import Job, job_template
from .mesh.mesh import Mesh
from .pipeline import run_job
from .seams.crevices import find_crevices

__all__ = ["Job", "Mesh", "Plane", "Profile", "cut", "find_crevices", "job_template", "run_job"]
