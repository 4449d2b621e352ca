# SPDX-License-Identifier: GPL-3.0-or-later
"""What a finished job knows: the record from which every table, page and file of the job pack is written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ..blockup.outlines import CourseOutline
from ..blockup.plan import BlockUpPlan
from ..clearance.job_check import KeepClearResult
from ..cutting.joint import Joint
from ..cutting.result import Body, JointLine
from ..findings import Finding
from ..handling.figures import PieceFigures
from ..handling.handled import Handled
from ..job import Job
from ..logistics.site_work import SiteWork
from ..mesh.mesh import Mesh
from ..planning.suggest import Suggestion
from ..seams.judge import ContactSeams, JointSeams
from ..seams.seams import Seams
from ..skin.cost import CostSheet
from ..skin.takeoff import TakeoffLine


@dataclass(frozen=True, eq=False)
class PieceRecord:
    """A numbered piece. `joints` are the marks of the joints that it meets, `status` ok, warning or error."""

    mark: str
    mesh: Mesh
    source: NDArray[np.int64]
    origin: NDArray[np.uint8]
    figures: PieceFigures
    joints: tuple[str, ...]
    status: str
    part: tuple[float, float, float]
    """A point strictly inside the piece."""
    handled: Handled | None = None
    """Carry plan, standing, turning over; None in a record put together without them."""
    shift: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Metres from where it was carved to where it stands when joints are not trimmed for the skin."""


@dataclass(frozen=True)
class ContactRecord:
    """Two pieces that face each other across a joint: area in square metres, length in metres."""

    mark: str
    kind: str
    piece_a: str
    piece_b: str
    area: float
    visible_length: float
    status: str
    seams: ContactSeams | None = None
    """How the visible line keeps to seams; None in a record put together without them."""


@dataclass(frozen=True, eq=False)
class JointRecord:
    """A lettered joint with its lines on the surface and its totals."""

    mark: str
    joint: Joint
    lines: tuple[JointLine, ...]
    area: float
    visible_length: float
    status: str
    seams: JointSeams | None = None
    """How it keeps to seams; None in a record put together without them."""


@dataclass(frozen=True)
class Plan:
    """How the joints came about: `kind` is ``given`` or ``planned``; `text` says it in a few sentences."""

    kind: str
    text: str
    tried: int = 0
    """Parts of the carving that were looked at."""
    fewest: int = 0
    """No cutting gives fewer pieces within mass and height; 0 where none was computed."""
    practical: int = 0
    """Pieces as cubes would be so many; 0 where not computed."""
    chance: float | None = None
    """Share on seams that joints laid anywhere would reach; None where not computed."""
    planes_on_seam: float | None = None
    """Share on seams of the best plan of planes alone; None where not asked for."""
    planes_pieces: int | None = None
    complete: bool = True
    """False where the user stopped the search."""
    reasons: tuple[str, ...] = ()
    """Why each joint runs where it does; none where they are the user's."""
    over: tuple[str, ...] = ()
    """Pieces that could not be brought within the limits."""


@dataclass(frozen=True, eq=False)
class JobResult:
    """The whole job, without files and without Blender."""

    job: Job
    carving: Mesh
    pieces: tuple[PieceRecord, ...]
    joints: tuple[JointRecord, ...]
    contacts: tuple[ContactRecord, ...]
    findings: tuple[Finding, ...]
    takeoff: tuple[TakeoffLine, ...]
    plan: Plan
    gap: float
    """Metres between two joint faces."""
    carving_volume: float
    carving_area: float
    """Exact area of the carved class, square metres."""
    taken_volume: float
    crumbs: tuple[Body, ...] = ()
    scan: NDArray[np.int64] | None = None
    """(m,) for each triangle of `carving` that of the mesh as it was given; -1 where mending made it."""
    scan_turned: NDArray[np.bool_] | None = None
    """(m,) whether it runs round the other way than there."""
    site: SiteWork | None = None
    """Build order, loads, marks and setting-out; None in a record put together without them."""
    cost: CostSheet | None = None
    """What it costs, by line, stage and piece; without a price list quantities alone."""
    seams: Seams | None = None
    """What joints may follow; None in a record put together without it."""
    blockup: BlockUpPlan | None = None
    """How the billets are stacked; None where nothing is known of it."""
    outlines: tuple[CourseOutline, ...] = ()
    """Outlines of its courses, from the lowest."""
    clearance: KeepClearResult | None = None
    """Keep-clear bodies and how near they come; None where the job has none."""
    suggestions: tuple[Suggestion, ...] = ()
    """Shifts by which joints of the user's own would hide better."""
    seconds: Mapping[str, float] = field(default_factory=dict)
    """Stage to seconds; never written to files."""
