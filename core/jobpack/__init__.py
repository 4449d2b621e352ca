# SPDX-License-Identifier: GPL-3.0-or-later
"""The job pack: tables, findings, record, page and pieces as files."""

from .job_json import is_job_record
from .joints_file import joints_json, read_joints, read_marked_joints
from .pack import pack_files
from .record import ContactRecord, JobResult, JointRecord, PieceRecord, Plan

__all__ = [
    "ContactRecord",
    "JobResult",
    "JointRecord",
    "PieceRecord",
    "Plan",
    "is_job_record",
    "joints_json",
    "pack_files",
    "read_joints",
    "read_marked_joints",
]
