# SPDX-License-Identifier: GPL-3.0-or-later
"""Cut a closed carving into closed pieces along joints."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import CutError, MeshError, Progress
from ..mesh.mesh import Mesh
from ..mesh.topology import hang_together, require_closed
from ..tolerance import Tolerance
from .batch import MAX_SHEETS, SheetsOfJoint, apply_joints
from .beside import piece_beside, piece_of_rows
from .bodies import RegionBody
from .cells import OUTSIDE, Cells
from .glue import bodies_without, is_flat, is_nothing, is_spike
from .isolate import Blocks, isolate
from .joint import Joint, Plane, Profile
from .limb import cut_limb
from .result import FROM_JOINT, CutResult, Trace
from .sheet import Sheet, sheets_of
from .trace import trace

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

_MAX_KEYS: Final = 1 << 22
"""Most keys (regions times sets of sides) that one pass of joints may have: a few megabytes of tables."""


def cut(
    mesh: Mesh,
    joints: Sequence[Joint],
    gap: float = 0.0,
    split: bool = True,
    *,
    crumb: float = 0.0,
    glue: bool = False,
    one_skin: bool = False,
    progress: Progress | None = None,
) -> CutResult:
    """Cut a carving by joints, in order.

    Parameters
    ----------
    mesh : closed and consistently wound, metres, any frame.
    joints : planes and profiles; each cuts everything, or only the body round its `part`, or only at the face nearest
        to its `limb`. Where the two sides of such a face still hang together elsewhere, the body is only opened there.
    gap : metres taken off between the two faces of each joint, half on each side.
    split : one piece for each connected body; else one for each region between the joints.
    crumb : cubic metres; smaller bodies come out as crumbs and not as pieces.
    glue : without a gap, give each crumb back to the piece with the largest face to it; one that has none stays apart.
    one_skin : the carving is known to be one connected closed surface, as a body of a cut that is so (`Body.one_skin`):
        it is not looked at again, and found sooner that its parts are.
    progress : told the share done.

    Returns
    -------
    CutResult
        Every body is closed and consistently wound, each edge in exactly two triangles by index. Volumes and carved
        areas of pieces, crumbs and what the gap took add up to the carving's. Without a gap the two faces of a joint
        have the same vertices, bit for bit; only a body that would touch itself along an edge, and is parted there, may
        have one more on that edge. The same input gives the same bytes.

    Raises
    ------
    NotClosedError
        The carving is not closed or not consistently wound.
    CutError
        A gap that is negative or below what the coordinates can tell apart; a `part` that lies in no body, in what a
        gap took, or on the skin; a `limb` that is by no face of its joint.

    Notes
    -----
    What lies on a joint is a matter of one rule, see `sheet`: within 1e-11 of the carving's size (or eight steps of its
    coordinates, far from the origin) a vertex is on the joint, and what has all its corners there is not cut.
    An edge of the carving that four triangles share passes as two edges and stays as it is.
    """
    if not one_skin:
        _require_closed(mesh)
    slack = Tolerance.of(mesh.vertices).on_joint
    if not np.isfinite(gap) or gap < 0.0:
        raise CutError(f"the gap is {gap} m; give 0 or more")
    if 0.0 < gap < 16.0 * slack:
        least = f"{16.0 * slack:.1g} m"
        raise CutError(f"the gap is {gap:.3g} m, which the carving's coordinates cannot show; give 0 or {least}")
    for j, joint in enumerate(joints):
        if not isinstance(joint, Plane | Profile):
            raise CutError(f"it is a {type(joint).__name__}; give a Plane or a Profile", j)
    met = frozenset(range(len(joints)))

    def sheets(joint: int) -> tuple[Sheet, ...]:
        return sheets_of(joints[joint], gap, slack)

    while True:
        cells, some = _cut_cells(mesh, joints, gap, slack, met, progress, one_skin=one_skin)
        order = sorted(range(len(cells.regions)), key=lambda r: cells.regions[r].sides)
        bodies = bodies_without(cells, order, split, partial(_skims, cells, slack), slack, sheets)
        if crumb > 0.0 and glue and gap == 0.0:
            bodies = bodies_without(cells, order, split, lambda b: b.body.volume < crumb, slack)
        left = _with_faces(cells) & some
        if left == some:
            break
        # A joint that came to nothing, as one that runs in a face: again without it, so that no triangle stays split.
        met = left
    met = frozenset(some)
    # What is still thinner than the tolerance has no neighbour to go to, and no foam.
    bodies = [b for b in bodies if not is_nothing(b.body, slack)]
    taken = [b for b in bodies if cells.regions[b.region].taken]
    kept = [b for b in bodies if not cells.regions[b.region].taken]
    pieces = [b for b in kept if crumb == 0.0 or b.body.volume >= crumb]
    small = [b for b in kept if crumb > 0.0 and b.body.volume < crumb]
    if progress:
        progress(1.0, f"{len(pieces)} pieces")
    return CutResult(
        tuple(b.body for b in pieces),
        tuple(b.body for b in taken),
        tuple(b.body for b in small),
        tuple(j for j in range(len(joints)) if j not in met),
        partial(_follow, cells, pieces, tuple(joints), gap, slack, split, met),
    )


def _require_closed(mesh: Mesh) -> None:
    """Cheap proof that every edge is run as often one way as the other; the slow check only to say where not.

    Two random numbers for each vertex make a number of each directed edge that changes sign with its direction. Their
    sum over all triangles is zero for a closed surface, and else zero only by a chance of about one in 2**30.
    """
    if len(mesh.triangles) < 4:
        raise MeshError(f"the carving has {len(mesh.triangles)} triangles; a closed body has 4 or more")
    one, two = (_scatter(len(mesh.vertices), seed) for seed in (0x9E3779B9, 0x85EBCA6B))
    total = 0
    for begin in range(0, len(mesh.triangles), 1 << 16):
        t = mesh.triangles[begin : begin + (1 << 16)]
        a, b, c = t[:, 0], t[:, 1], t[:, 2]
        if ((a == b) | (b == c) | (c == a)).any():
            require_closed(mesh)
        p, q = one[a], two[a]
        edge = (one[b] - p) * (two[c] - q) - (one[c] - p) * (two[b] - q)
        total += int(edge.sum(dtype=np.uint64))
    if total % (1 << 32):
        require_closed(mesh)
        raise MeshError("the surface is not closed; close it first")


def _scatter(count: int, seed: int) -> NDArray[np.uint32]:
    """Numbers without a pattern, (count,) uint32, the same on every machine."""
    x = np.arange(count, dtype=np.uint32) + np.uint32(seed)
    for shift, factor in ((16, 0x7FEB352D), (15, 0x846CA68B)):
        x ^= x >> np.uint32(shift)
        x *= np.uint32(factor)
    x ^= x >> np.uint32(16)
    return x


def _skims(cells: Cells, slack: float, body: RegionBody) -> bool:
    """Whether a body without foam lies along a joint, so that its skin belongs to the body across."""
    return is_flat(body.body, slack) and not is_spike(cells, body, slack)


def _with_faces(cells: Cells) -> frozenset[int]:
    """Joints with a face between two bodies or on one."""
    tail = cells.tail
    use = (tail.origin == FROM_JOINT) & ((tail.below != OUTSIDE) | (tail.above != OUTSIDE))
    return frozenset(np.unique(tail.source[use]).tolist())


def _cut_cells(
    mesh: Mesh,
    joints: Sequence[Joint],
    gap: float,
    slack: float,
    use: frozenset[int],
    progress: Progress | None,
    strict: bool = True,
    one_skin: bool = False,
) -> tuple[Cells, set[int]]:
    """Regions between the joints in `use`, and which of those met foam; `strict`: as in `isolate`."""
    cells = Cells.of(mesh, one_skin)
    blocks: Blocks | None = None
    met: set[int] = set()
    each = 2 if gap > 0.0 else 1
    j = 0
    while j < len(joints):
        if progress:
            progress(0.8 * j / len(joints), f"joint {j + 1} of {len(joints)}")
        part = joints[j].part
        if j not in use:
            j += 1
            continue
        limb = joints[j].limb
        if part is not None or limb is not None:
            target = None
            if part is not None:
                if blocks is None:
                    blocks = Blocks.of(mesh)
                    cells.one_skin = one_skin or hang_together(mesh.triangles, closed=True)
                target = isolate(cells, blocks, part, j, slack, strict)
            sheets = sheets_of(joints[j], gap, slack)
            if limb is None:
                met |= apply_joints(cells, [(j, sheets)], target)
            elif cut_limb(cells, j, limb, sheets, target, strict):
                met.add(j)
            j += 1
            continue
        run: list[SheetsOfJoint] = []
        while j < len(joints) and joints[j].part is None and joints[j].limb is None:
            count = each * (len(run) + 1)
            if run and (count > MAX_SHEETS or (len(cells.regions) + 1) << count > _MAX_KEYS):
                break
            if j in use:
                run.append((j, sheets_of(joints[j], gap, slack)))
            j += 1
        met |= apply_joints(cells, run, None)
    return cells, met


def _follow(
    cells: Cells,
    pieces: Sequence[RegionBody],
    joints: tuple[Joint, ...],
    gap: float,
    slack: float,
    split: bool,
    met: frozenset[int],
) -> Trace:
    if gap == 0.0:
        behind, before = piece_of_rows(len(cells.tail), list(enumerate(pieces)))
        return trace(cells, behind, before, len(joints))
    # The joints themselves, without the gap. Bodies that a gap parts may hang together without it, so that a part may
    # come to lie on an earlier joint there.
    bare, _ = _cut_cells(cells.mesh, joints, 0.0, slack, met, None, strict=False)
    skims = partial(_skims, bare, slack)
    bodies = bodies_without(
        bare, range(len(bare.regions)), split, skims, slack, lambda j: sheets_of(joints[j], 0.0, slack)
    )
    behind, before = piece_beside(bare, bodies, pieces, joints)
    return trace(bare, behind, before, len(joints))
