# SPDX-License-Identifier: GPL-3.0-or-later
"""All that the crew on site needs to know of a cut carving: order, loads, marks, setting-out, cuts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..cutting.joint import Joint
from ..cutting.result import Body, Contact, JointLine
from ..errors import Progress
from ..findings import Finding, Severity
from ..handling.figures import PieceFigures
from ..intake.words import side
from ..job import Job
from ..marking.cutting_order import CutStep, cutting_order
from ..marking.datum import DatumMark, Fit, fit_marks, no_fit, propose_marks
from ..marking.face_marks import FaceMark, letter_height, place_marks
from ..marking.heights import Heights
from ..marking.marks import piece_order
from ..marking.numbering import kept_numbers, numbers, round_footprint
from ..marking.setting_out import LaserLine, Setting, set_out
from ..mesh.mesh import Mesh
from ..mesh.winding import encloses
from ..skin.depth import gap_width
from .build_order import BuildOrder
from .load_plan import Box, LoadPlan, check_load, plan_load
from .plan_build import assembly_of, build_findings, plan_build

IntArray = NDArray[np.int64]

FIT_WARN: Final = 0.005
"""Metres: marks that the scan misses by more are spoken of, as joints are to land within 5 mm."""


@dataclass(frozen=True)
class Step:
    """One step of the build order.

    Attributes
    ----------
    piece : index of the piece.
    way_in : unit vector along which it moves in; zeros where no straight way was found.
    comes : the same in words.
    rests_on, meets : pieces in place by then that it rests on, and joints that it closes.
    """

    piece: int
    way_in: tuple[float, float, float]
    comes: str
    rests_on: tuple[int, ...]
    meets: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class SiteWork:
    """What the crew holds in its hands. Pieces and joints by index, in the order of the job's record.

    Attributes
    ----------
    build : steps, first built first; pieces that lock are left out.
    build_place, load_place : for each piece its place from 1 in the build order and in going in, 0 where it has none.
    propped : pieces to hold up until what they rest on is there.
    load : the load plan.
    marks : on hidden faces.
    datum : datum marks; fit : how the scan fits them; measured : whether they were measured on site.
    settings, lasers : setting-out.
    cuts : the cutting order.
    """

    build: tuple[Step, ...]
    build_place: tuple[int, ...]
    load_place: tuple[int, ...]
    propped: tuple[int, ...]
    load: LoadPlan
    marks: tuple[FaceMark, ...]
    datum: tuple[DatumMark, ...]
    fit: Fit
    measured: bool
    settings: tuple[Setting, ...]
    lasers: tuple[LaserLine, ...]
    cuts: tuple[CutStep, ...]


@dataclass(frozen=True)
class Numbered:
    """Pieces in the order of their numbers, with those; and the build order by their places in this order."""

    order: tuple[int, ...]
    marks: tuple[str, ...]
    built: BuildOrder
    rests: frozenset[tuple[int, int]]
    findings: tuple[Finding, ...]


def number_pieces(
    meshes: Sequence[Mesh],
    figures: Sequence[PieceFigures],
    joints: Sequence[Joint],
    contacts: Sequence[Contact],
    letters: Sequence[str],
    along: NDArray[np.float64],
    job: Job,
    fixed: Sequence[Mesh] = (),
    kept: Sequence[tuple[str, Mesh]] = (),
    progress: Progress | None = None,
) -> Numbered:
    """Find the build order, and number the pieces by it or round the footprint.

    Parameters
    ----------
    meshes, figures, joints, contacts : as cut and measured. letters : of joints.
    along : (3,) level unit direction in which building goes where the shapes leave a choice.
    job : numbering, pins.
    fixed : what stands before the first piece.
    kept : number and mesh of each piece of the cut before; a piece that is mostly the same body keeps its number.
    """
    centroids = [f.centroid for f in figures]
    plain = piece_order(centroids, along)
    assembly = assembly_of(meshes, joints, contacts, fixed)
    pins, lost = _pins(meshes, job)
    built = plan_build(assembly, meshes, plain, pins, progress)
    if job.marking.numbering == "build order":
        count = [*built.order, *(k for k in plain.tolist() if k not in built.order)]
    else:
        count = round_footprint(centroids, job.marking.start, job.marking.clockwise).tolist()
    same = kept_numbers([m for m, _ in kept], [m for _, m in kept], meshes) if kept else None
    marks = numbers(count, job.marking.prefix or "", same)
    order = sorted(range(len(meshes)), key=lambda k: _natural(marks[k], job.marking.prefix or "")) if kept else count
    between: dict[tuple[int, int], list[str]] = {}
    for c in contacts:
        between.setdefault((min(c.lower, c.upper), max(c.lower, c.upper)), []).append(letters[c.joint])
    findings = [*lost, *build_findings(built, assembly, marks, between)]
    at = {piece: k for k, piece in enumerate(order)}
    moved = BuildOrder(
        tuple(at[p] for p in built.order), built.moves, built.stuck, tuple(at[p] for p in built.propped), built.broken
    )
    rests = frozenset((at[a], at[b]) for a, b in assembly.rests)
    return Numbered(tuple(order), tuple(marks[k] for k in order), moved, rests, tuple(findings))


def _natural(mark: str, prefix: str) -> tuple[int, str]:
    digits = mark.removeprefix(prefix)
    return (int(digits) if digits.isdigit() else 1 << 30, mark)


def _pins(meshes: Sequence[Mesh], job: Job) -> tuple[dict[int, int], list[Finding]]:
    """Pins by piece, and a word on those that name no piece or no place."""
    pins: dict[int, int] = {}
    lost = []
    for pin in job.build.pins:
        point = np.array(pin.part)
        inside = [k for k, mesh in enumerate(meshes) if encloses(mesh, point)]
        if inside and pin.place <= len(meshes) and inside[0] not in pins and pin.place - 1 not in pins.values():
            pins[inside[0]] = pin.place - 1
            continue
        where = ", ".join(f"{v:.2f}" for v in pin.part)
        if not inside:
            why = "no piece is there"
        elif pin.place > len(meshes):
            why = f"there are {len(meshes)} pieces"
        else:
            why = "another pin holds that piece or place"
        lost.append(
            Finding(
                "build_order",
                Severity.ERROR,
                f"The pin at ({where}) m to place {pin.place} holds nothing: {why}.",
                "Move it into a piece, give it another place, or take it off.",
                where=pin.part,
            )
        )
    return pins, lost


def plan_site(
    carving: Mesh,
    pieces: Sequence[Body],
    figures: Sequence[PieceFigures],
    marks: Sequence[str],
    joints: Sequence[Joint],
    lines: Sequence[Sequence[JointLine]],
    contacts: Sequence[Contact],
    built: BuildOrder,
    rests: frozenset[tuple[int, int]],
    job: Job,
) -> tuple[SiteWork, list[Finding]]:
    """Loads, marks, setting-out and cuts of numbered pieces, and what is to say about them.

    Parameters
    ----------
    carving : as cut. pieces, figures, marks : in the order of their numbers.
    joints, lines, contacts : as cut; contacts by places in that order.
    built, rests : from `number_pieces`.
    """
    meshes = [p.mesh for p in pieces]
    known = dict.fromkeys(built.order)
    sequence = [*built.order, *(k for k in range(len(pieces)) if k not in known)]
    boxes = [Box(marks[k], *figures[k].box, figures[k].finished_mass) for k in sequence]
    load = plan_load(boxes, job.load_space)
    findings = check_load(load, job.load_space)
    face_marks = place_marks(
        meshes, [p.source for p in pieces], [p.origin for p in pieces], joints, contacts, job.marking.reading
    )
    findings += _small_marks(face_marks, marks, job)
    heights = Heights.of(carving)
    given = job.setting_out.marks
    datum = tuple(DatumMark(m.name, m.scan, m.site, m.floor) for m in given) or propose_marks(heights)
    fit = fit_marks(np.array([m.scan for m in given]), np.array([m.site for m in given])) if given else no_fit()
    findings += _fit_findings(datum, fit)
    settings, lasers = set_out(joints, lines, datum, fit, heights, job.setting_out.spacing)
    cuts = cutting_order(
        joints,
        lines,
        contacts,
        pieces,
        [f.volume for f in figures],
        [f.centroid for f in figures],
        job.foam.density,
        gap_width(job),
        job.limits.wire_length,
    )
    at = {mark: k for k, mark in enumerate(marks)}
    build_place, load_place = [0] * len(pieces), [0] * len(pieces)
    for place, piece in enumerate(built.order):
        build_place[piece] = place + 1
    for place, stand in enumerate(load.stands):
        load_place[at[stand.mark]] = place + 1
    work = SiteWork(
        _steps(built, contacts, rests),
        tuple(build_place),
        tuple(load_place),
        built.propped,
        load,
        face_marks,
        datum,
        fit,
        bool(given),
        settings,
        lasers,
        cuts,
    )
    return work, findings


def _steps(built: BuildOrder, contacts: Sequence[Contact], rests: frozenset[tuple[int, int]]) -> tuple[Step, ...]:
    out = []
    there: set[int] = set()
    for piece, move in zip(built.order, built.moves, strict=True):
        x, y, z = (float(v) for v in -move.direction + 0.0)
        under = tuple(sorted(b for a, b in rests if a == piece and b in there))
        near = {
            c.joint
            for c in contacts
            if c.lower != c.upper and {c.lower, c.upper} <= there | {piece} and piece in (c.lower, c.upper)
        }
        out.append(Step(piece, (x, y, z), way_words((x, y, z)), under, tuple(sorted(near))))
        there.add(piece)
    return tuple(out)


def way_words(way_in: Sequence[float]) -> str:
    """A way in, in words: from above, level from the side, or sloping."""
    x, y, z = (-float(v) for v in way_in)
    # Where it comes from is where it does not go.
    return _way((x, y, z), ("straight down", "straight up"), "from", "down")


def leave_words(way_out: Sequence[float]) -> str:
    """A way out, in words."""
    return _way(way_out, ("straight up", "straight down"), "to", "up")


def _way(out: Sequence[float], plumb: tuple[str, str], to: str, up: str) -> str:
    """Words for a way by its direction outwards; `plumb`: where that is up, and where it is down."""
    x, y, z = out
    if x == y == z == 0.0:
        return "no straight way"
    flat = float(np.hypot(x, y))
    if flat < _UPRIGHT:
        return plumb[0] if z > 0.0 else plumb[1]
    rise = float(np.rad2deg(np.arctan2(z, flat)))
    return f"level {to} {side(x, y)}" if abs(rise) < 1.0 else f"{rise:.0f} degrees {up} {to} {side(x, y)}"


_UPRIGHT: Final = 0.02
"""Sine: a way nearer to plumb counts as plumb, about one degree."""


def _small_marks(found: Sequence[FaceMark], marks: Sequence[str], job: Job) -> list[Finding]:
    wanted = letter_height(job.marking.reading)
    small: Mapping[int, FaceMark] = {m.piece: m for m in reversed(found) if m.height < 0.5 * wanted}
    return [
        Finding(
            "mark_small",
            Severity.NOTE,
            f"A mark on piece {marks[k]} has room for digits {m.height * 1000.0:.0f} mm high: to be read from "
            f"{m.reads_from:.1f} m, not {job.marking.reading:.1f} m.",
            "Write it smaller there, and larger on another hidden face.",
            piece=marks[k],
            measured=m.reads_from,
            limit=job.marking.reading,
            unit="m",
            where=(float(m.centre[0]), float(m.centre[1]), float(m.centre[2])),
        )
        for k, m in sorted(small.items())
    ]


def _fit_findings(datum: Sequence[DatumMark], fit: Fit) -> list[Finding]:
    if len(fit.residuals) == 0:
        return [
            Finding(
                "datum",
                Severity.NOTE,
                f"No datum marks were measured; {len(datum)} are proposed at places of the scan.",
                "Measure three or more marks that the scan shows, on floor and carving, and enter them before "
                "setting out.",
            )
        ]
    worst = int(np.argmax(fit.residuals))
    residual = float(fit.residuals[worst])
    return [
        Finding(
            "datum",
            Severity.WARNING if residual > FIT_WARN else Severity.NOTE,
            f"The scan fits {len(datum)} datum marks to {fit.rms * 1000.0:.1f} mm (root mean square); mark "
            f"{datum[worst].name} is {residual * 1000.0:.1f} mm off.",
            "Measure that mark again." if residual > FIT_WARN else "",
            measured=residual,
            limit=FIT_WARN,
            unit="m",
            where=datum[worst].scan,
        )
    ]
