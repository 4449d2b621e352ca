# SPDX-License-Identifier: GPL-3.0-or-later
"""What a scan is, what is wrong with it and what would be mended, for people and for machines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from ..errors import MeshError, Progress
from ..findings import Finding
from ..mesh.mass import areas
from ..mesh.mesh import KIND_NAMES, FloatArray, Mesh
from ..mesh.topology import EdgeReport, components, edge_report
from .diagnose import diagnose
from .fault import Fault
from .guess import Guess, likely_units
from .mend import Recipe
from .prepare import prepare, set_upright
from .remesh import Remesher

SOLID: Final = "solid"
MENDABLE: Final = "can be mended"
NO_SOLID: Final = "not a solid"
_EXIT: Final = {SOLID: 0, MENDABLE: 1, NO_SOLID: 2}
SCHEMA_VERSION: Final = 1
DEFAULT: Final = Recipe()
"""What mend = "small" does with its sizes at their defaults."""
_LISTED: Final = 20
"""Edges of each kind that the machine-readable report lists; the counts are of all."""


@dataclass(frozen=True, eq=False)
class Report:
    """A mesh looked at, nothing changed.

    Attributes
    ----------
    name : the file's name, or empty.
    triangles, vertices, bodies : counts as the mesh came; vertices that no triangle uses are not counted.
    size : (3,) metres, extent along x, y and z with z up.
    low : (3,) metres, lowest corner of the box round it.
    volume : cubic metres after mending; None where it is not a solid.
    areas : (4,) square metres by class, after mending where that is possible.
    edges : open, non-manifold and misoriented edges as the mesh came.
    places : (n, 3) metres, all vertices that `edges` speaks of.
    verdict : ``solid``, ``can be mended`` or ``not a solid``.
    reason : why it is not a solid; empty otherwise.
    read : what reading the file took, as sentences.
    mended : what would be mended, as sentences.
    findings : of the intake.
    faults : all that is wrong with the mesh as it came.
    overlap_share : of the places looked at for surfaces that pass through each other; 1.0: every pair of triangles.
    units : units in which it would have a usual size, likeliest first, with the reason.
    up : the axis that most likely points up, with the reason; None where nothing tells.
    """

    name: str
    triangles: int
    vertices: int
    bodies: int
    size: FloatArray
    low: FloatArray
    volume: float | None
    areas: FloatArray
    edges: EdgeReport
    places: FloatArray
    verdict: str
    reason: str
    read: tuple[str, ...]
    mended: tuple[str, ...]
    findings: tuple[Finding, ...]
    faults: tuple[Fault, ...]
    overlap_share: float
    units: tuple[Guess, ...]
    up: Guess | None

    @property
    def exit_code(self) -> int:
        """0 solid, 1 can be mended, 2 not a solid."""
        return _EXIT[self.verdict]

    def to_dict(self) -> dict[str, Any]:
        """All of it in plain values, ready for JSON."""
        faults = {}
        for word, rows in (
            ("open", self.edges.boundary),
            ("non_manifold", self.edges.non_manifold),
            ("misoriented", self.edges.misoriented),
        ):
            faults[word] = {"count": len(rows), "first": self.places[rows[:_LISTED]].tolist()}
        return {
            "schema_version": SCHEMA_VERSION,
            "name": self.name,
            "verdict": self.verdict,
            "reason": self.reason,
            "triangles": self.triangles,
            "vertices": self.vertices,
            "bodies": self.bodies,
            "size_m": self.size.tolist(),
            "lowest_corner_m": self.low.tolist(),
            "volume_m3": self.volume,
            "areas_m2": dict(zip(KIND_NAMES, self.areas.tolist(), strict=True)),
            "edges": faults,
            "faults": [
                {
                    "kind": f.kind,
                    "severity": str(f.severity),
                    "message": f.message,
                    "remedy": f.remedy,
                    "count": f.count,
                    "across_m": f.size,
                    "places": f.places[:_LISTED].tolist(),
                }
                for f in self.faults
            ],
            "overlap_tested_share": self.overlap_share,
            "likely_units": [{"unit": g.word, "reason": g.reason} for g in self.units],
            "likely_up": None if self.up is None else {"up": self.up.word, "reason": self.up.reason},
            "read": list(self.read),
            "mended": list(self.mended),
            "findings": [
                {"check": f.check, "severity": str(f.severity), "message": f.message, "remedy": f.remedy}
                for f in self.findings
            ],
        }

    def to_text(self) -> str:
        """Some lines for people; ends with a line break."""
        x, y, z = self.size.tolist()
        volume = "-" if self.volume is None else f"{self.volume:.6g} m3"
        by_class = ", ".join(
            f"{word} {area:.6g} m2" for word, area in zip(KIND_NAMES, self.areas.tolist(), strict=True) if area > 0.0
        )
        rows = [
            ("verdict", self.verdict),
            ("triangles", str(self.triangles)),
            ("vertices", str(self.vertices)),
            ("bodies", str(self.bodies)),
            ("size", f"{x:.6g} x {y:.6g} x {z:.6g} m"),
            ("volume", volume),
            ("areas", by_class or "-"),
            ("open edges", str(len(self.edges.boundary))),
            ("non-manifold", str(len(self.edges.non_manifold))),
            ("misoriented", str(len(self.edges.misoriented))),
        ]
        rows += [("likely unit", f"{g.word}: {g.reason}") for g in self.units]
        if self.up is not None:
            rows.append(("likely up", f"{self.up.word}: {self.up.reason}"))
        rows += [("reading", note) for note in self.read]
        rows += [("found", f"{f.message} {f.remedy}") for f in self.faults]
        rows += [("would mend" if self.verdict == MENDABLE else "mended", note) for note in self.mended]
        rows += [("note", f.message) for f in self.findings if f.message.rstrip(".").lower() not in _lower(self.mended)]
        if self.reason:
            rows.append(("wrong", self.reason))
        head = [self.name] if self.name else []
        return "\n".join([*head, *(f"{word + ':':<14} {text}" for word, text in rows)]) + "\n"


def describe(
    mesh: Mesh,
    unit: float = 1.0,
    up: str = "z",
    base: str = "close",
    name: str = "",
    notes: tuple[str, ...] = (),
    recipe: Recipe | None = DEFAULT,
    progress: Progress | None = None,
    remesher: Remesher | None = None,
) -> Report:
    """Look at a mesh, and at what `prepare` would make of it.

    Parameters
    ----------
    mesh, unit, up, base, recipe, remesher : as for `prepare`; a recipe of None mends nothing.
    name : the file's name, shown in the report.
    notes : what reading the file took.
    progress : told now and then; may raise `Cancelled`.

    Raises
    ------
    JobError
        A setting that is not known. A mesh that is not a solid is no error here: the report says why.
    """
    upright = set_upright(mesh, unit, up)
    low = upright.vertices.min(axis=0) if len(upright.vertices) else np.zeros(3)
    labels = components(upright.triangles)
    volume: float | None = None
    mended: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
    reason = ""
    shown = upright
    looked, mends = (None, None) if progress is None else (_part(progress, 0.0, 0.6), _part(progress, 0.6, 1.0))
    diagnosis = diagnose(upright, DEFAULT.crumb if recipe is None else recipe.crumb, progress=looked)
    try:
        intake = prepare(mesh, unit, up, base, recipe, remesher, mends)
    except MeshError as error:
        verdict, reason = NO_SOLID, str(error)
    else:
        shown, volume, mended, findings = intake.mesh, intake.volume, intake.notes, intake.findings
        verdict = MENDABLE if mended else SOLID
    longest = float(mesh.size.max()) if len(mesh.triangles) else 0.0
    return Report(
        name=name,
        triangles=len(upright.triangles),
        vertices=len(upright.vertices),
        bodies=int(labels.max(initial=-1)) + 1,
        size=upright.size,
        low=low,
        volume=volume,
        areas=areas(shown),
        edges=edge_report(upright.triangles),
        places=upright.vertices,
        verdict=verdict,
        reason=reason,
        read=notes,
        mended=mended,
        findings=findings,
        faults=diagnosis.faults,
        overlap_share=1.0 if diagnosis.overlap is None else diagnosis.overlap.share,
        units=likely_units(longest),
        up=_turned_back(diagnosis.up, up),
    )


def _part(outer: Progress, low: float, high: float) -> Progress:
    return lambda share, text: outer(low + (high - low) * share, text)


def _turned_back(guess: Guess | None, up: str) -> Guess | None:
    """A guess about the upright mesh, told by the file's own axes."""
    if guess is None or up == "z":
        return guess
    basis = set_upright(Mesh(np.eye(3), [[0, 1, 2]]), up=up).vertices.T
    sign = -1.0 if guess.word.startswith("-") else 1.0
    here = np.zeros(3)
    here["xyz".index(guess.word[-1])] = sign
    there = basis.T @ here
    axis = int(np.abs(there).argmax())
    return Guess(("-" if there[axis] < 0.0 else "") + "xyz"[axis], guess.reason)


def _lower(notes: tuple[str, ...]) -> set[str]:
    return {note.lower() for note in notes}
