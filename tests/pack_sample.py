# SPDX-License-Identifier: GPL-3.0-or-later
"""A small finished job, put together by hand: a bar in three pieces, two joints, a crumb, all kinds of finding."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from seamwright.core.cutting.joint import Plane, Profile
from seamwright.core.cutting.result import Body, Contact, JointLine
from seamwright.core.findings import Finding, Severity, worst
from seamwright.core.handling import check_piece, handle, measure_finished
from seamwright.core.handling.pricing import price_job
from seamwright.core.job import Job
from seamwright.core.jobpack.record import ContactRecord, JobResult, JointRecord, PieceRecord, Plan
from seamwright.core.mesh.mesh import Mesh
from seamwright.core.skin import PriceList, gap_width
from shapes import box

LENGTHS = (1.0, 2.4, 0.8)


def png(width: int = 4, height: int = 3) -> bytes:
    """Make a grey PNG of this size."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    rows = b"".join(b"\0" + b"\xb0" * width for _ in range(height))
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")


def bar(length: float, low: float, joint_ends: tuple[bool, bool]) -> Mesh:
    """Make a bar of 1 x 1 m along x that stands on the floor, with its joint ends and base told apart."""
    mesh = box((length, 1.0, 1.0), (low, 0.0, 0.0))
    kind = np.zeros(12, dtype=np.uint8)
    kind[0:2] = 2  # the sides of `box` come in pairs: z low, z high, y low, y high, x low, x high
    kind[8:10] = joint_ends[0]
    kind[10:12] = joint_ends[1]
    return Mesh(mesh.vertices, mesh.triangles, kind)


def sample_result(job: Job | None = None, prices: PriceList | None = None) -> JobResult:
    """The bar of 4.2 m, cut at 1.0 and 3.4 m without a gap."""
    job = job or Job()
    joints = (
        Plane((1.0, 0.5, 0.5), (1.0, 0.0, 0.0)),
        Profile(
            (3.4, 0.0, 0.0), (0.0, 1.0, 0.0), (1.0, 0.0, 0.0), [[0.0, 0.0], [0.5, 0.0], [1.0, 0.0]], (3.5, 0.5, 0.5)
        ),
    )
    findings: list[Finding] = []
    pieces = []
    starts = np.cumsum((0.0, *LENGTHS))
    for k, length in enumerate(LENGTHS):
        mesh = bar(length, float(starts[k]), (k > 0, k < 2))
        figures = measure_finished(mesh, job)
        found = check_piece(str(k + 1), figures, job)
        findings += found
        marks = (("A",), ("A", "B"), ("B",))[k]
        source, origin = np.arange(12), (mesh.kind == 1).astype(np.uint8)
        handled = handle(mesh, figures, job)
        pieces.append(
            PieceRecord(str(k + 1), mesh, source, origin, figures, marks, worst(found), figures.centroid, handled)
        )
    records = []
    for mark, joint, x in (("A", joints[0], 1.0), ("B", joints[1], 3.4)):
        loop = np.array([[x, 0, 0], [x, 0, 1], [x, 1, 1], [x, 1, 0], [x, 0, 0]], dtype=float)
        line = JointLine(loop, np.array([0, 0, 0, 2], dtype=np.uint8), np.tile([0, 1], (4, 1)))
        records.append(JointRecord(mark, joint, (line,), 1.0, 3.0, "ok" if mark == "A" else "warning"))
    findings.append(Finding("sliver", Severity.WARNING, "Joint B runs 12 mm from a glue line.", "Move it.", joint="B"))
    chip = box((0.05, 0.05, 0.05), (5.0, 0.0, 0.0))
    crumb = Body(chip, np.arange(12), np.zeros(12, dtype=np.uint8))
    findings.append(
        Finding("crumb", Severity.NOTE, "A crumb of 0.1 l.", measured=0.05**3, unit="m3", where=(5.025, 0.025, 0.025))
    )
    contacts = (Contact(0, 0, 1, 1.0, 3.0), Contact(1, 1, 2, 1.0, 3.0))
    cost = price_job([piece.figures for piece in pieces], contacts, 4.2, job, prices)
    return JobResult(
        job=job,
        carving=bar(4.2, 0.0, (False, False)),
        pieces=tuple(pieces),
        joints=tuple(records),
        contacts=(
            ContactRecord("A", "plane", "1", "2", 1.0, 3.0, "ok"),
            ContactRecord("B", "profile", "2", "3", 1.0, 3.0, "warning"),
        ),
        findings=tuple(findings),
        takeoff=cost.lines,
        plan=Plan("given", "The joints were given, not proposed.", 0, 3),
        gap=gap_width(job),
        carving_volume=4.2,
        carving_area=14.6,
        taken_volume=0.0,
        crumbs=(crumb,),
        cost=cost,
        seconds={"cut": 0.123},
    )
