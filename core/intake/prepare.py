# SPDX-License-Identifier: GPL-3.0-or-later
"""From a mesh as it was read to a carving that can be worked on: metres, z up, closed, its base known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from ..errors import InputError, JobError, MeshError, NotClosedError, Progress
from ..findings import Finding, Severity
from ..mesh.mass import areas, volume
from ..mesh.mesh import BASE, FloatArray, IntArray, Mesh
from ..mesh.topology import edge_report, require_closed
from .base import close_base, mark_base
from .bodies import require_outward
from .draft import MADE, BoolArray, Draft
from .guess import UNITS, likely_units
from .mend import Recipe, mend
from .orient import INSIDE_OUT, turn_outwards
from .refuse import still_open
from .remesh import Remesher

# Proper rotations that bring the file's up axis to z, as (source axis, sign) of the new x, y and z.
_TURNS: Final = {
    "z": ((0, 1), (1, 1), (2, 1)),
    "-z": ((0, 1), (1, -1), (2, -1)),
    "y": ((0, 1), (2, -1), (1, 1)),
    "-y": ((0, 1), (2, 1), (1, -1)),
    "x": ((2, -1), (1, 1), (0, 1)),
    "-x": ((2, 1), (1, 1), (0, -1)),
}
UP_AXES: Final = tuple(_TURNS)
BASES: Final = ("close", "as-is")
LEAST_SIZE: Final = 0.05
MOST_SIZE: Final = 200.0
"""Metres; a carving outside these is a mistake of the unit (a figurine under 5 cm, a rock over 200 m is not carved)."""
_FLAT: Final = 1e-7
"""Share of the size under which the thickness of what was scanned is rounding."""
_ROUNDED: Final = 2e-4
"""Metres to which single precision, in which Blender holds places, may round those of a carving: a fifth of a
millimetre is reached two kilometres from the origin."""
_NO_VOLUME: Final = 1e-9
"""Share of area times size under which a closed surface encloses nothing: foam a millionth of a millimetre thin."""


@dataclass(frozen=True, eq=False)
class Intake:
    """A carving that can be worked on.

    Attributes
    ----------
    mesh : closed, consistently wound, outward; metres, z up; class base where it rests on the floor.
    findings : what was mended and what is missing, as notes of the check ``intake``.
    notes : what was mended, as sentences; empty where nothing was.
    base_area : square metres of class base.
    volume : cubic metres.
    source : (m,) int64, for each triangle that of the mesh as it came; -1 where it was made here.
    turned : (m,) bool, whether it runs round the other way than its source.
    """

    mesh: Mesh
    findings: tuple[Finding, ...]
    notes: tuple[str, ...]
    base_area: float
    volume: float
    source: IntArray
    turned: BoolArray


def prepare(
    mesh: Mesh,
    unit: float = 1.0,
    up: str = "z",
    base: str = "close",
    recipe: Recipe | None = None,
    remesher: Remesher | None = None,
    progress: Progress | None = None,
) -> Intake:
    """Scale and turn a mesh, mend it, close its base, and make sure that it is a solid.

    Parameters
    ----------
    mesh : as it was read, in the file's own numbers and axes.
    unit : metres for one of the file's units.
    up : the file's axis that points up: x, y, z, -x, -y or -z. The turn is a proper rotation, never a mirror image.
    base : ``close`` closes an open base; ``as-is`` refuses it.
    recipe : what to mend first; None: nothing.
    remesher : for the recipe's step ``remesh``.
    progress : told before each step; may raise `Cancelled`.

    Returns
    -------
    Intake
        Without a recipe triangles keep their order and numbers; those that close the base stand after them. Vertices
        that no triangle uses are left out. A closed mesh that is inside out as a whole is turned.

    Raises
    ------
    JobError
        A setting that is none of these.
    NotClosedError
        Open edges that are no base, non-manifold or misoriented edges.
    MeshError
        No triangles, no volume, or one body of several inside out.
    """
    ready = set_upright(mesh, unit, up)
    if base not in BASES:
        raise JobError(f'base = "{base}" is not known; it is one of: {", ".join(BASES)}', "carving.base")
    if not len(ready.triangles):
        raise MeshError("the mesh has no triangles; give a carving with a surface")
    _require_depth(ready)
    draft = Draft.of(ready)
    report = edge_report(ready.triangles)
    notes: list[str] = []
    if recipe is not None:
        mended = mend(draft, recipe, remesher, progress)
        draft, ready = mended.draft, mended.draft.mesh
        notes += [change.text for change in mended.changes]
        report = edge_report(ready.triangles)
    source, turned = draft.source, draft.turned
    if base == "close" and len(report.boundary) == report.faults > 0:
        try:
            closed = close_base(ready, report)
        except NotClosedError as error:
            if recipe is None:
                raise
            raise still_open(ready, report, recipe, str(error)) from None
        added = len(closed.mesh.triangles) - len(ready.triangles)
        source = np.concatenate([source, np.full(added, MADE, dtype=np.int64)])
        turned = np.concatenate([turned ^ closed.turned, np.zeros(added, dtype=bool)])
        ready = closed.mesh
        loops = "loop" if closed.loops == 1 else "loops"
        note = f"the open base was closed ({closed.loops} {loops} of {len(report.boundary)} open edges)"
        if closed.drop:
            note += f", with a skirt of up to {closed.drop * 1000.0:.3g} mm from its rim down to the floor"
        notes.append(note)
        if closed.turned:
            notes.append(_TURNED)
        report = edge_report(ready.triangles)
    if recipe is not None and not report.closed:
        raise still_open(ready, report, recipe, "")
    if recipe is not None and notes and "orient" in recipe.steps:
        # Only what is closed says for certain where its outside is.
        outward, changes = turn_outwards(Draft(ready, source, turned))
        ready, source, turned = outward.mesh, outward.source, outward.turned
        notes += [change.text for change in changes]
    require_closed(ready, report)
    enclosed = volume(ready)
    if enclosed < 0.0 and _TURNED not in notes:
        ready = Mesh(ready.vertices, ready.triangles[:, ::-1], ready.kind)
        turned = ~turned
        notes.append(_TURNED)
        enclosed = -enclosed
    area = float(areas(ready).sum())
    if enclosed <= _NO_VOLUME * area * float(np.linalg.norm(ready.size)):
        raise MeshError(
            f"the surface holds no foam: its volume is {enclosed:.3g} m3; "
            "give a solid, with its outside facing outwards"
        )
    require_outward(ready)
    ready = mark_base(ready)
    base_area = float(areas(ready)[BASE])
    findings = [Finding("intake", Severity.NOTE, _sentence(note)) for note in notes]
    if base_area == 0.0:
        findings.append(
            Finding(
                "intake",
                Severity.NOTE,
                "The carving has no level base: no part of its lowest surface is flat on the floor.",
                "Cut it off level where it is to stand, or plan supports.",
            )
        )
    return Intake(ready, tuple(findings), tuple(notes), base_area, enclosed, source, turned)


_TURNED: Final = INSIDE_OUT


def _require_depth(mesh: Mesh) -> None:
    """Refuse what lies in one plane: nothing that mending does makes a solid of it."""
    spread = mesh.vertices - mesh.vertices.mean(axis=0)
    least, *_, most = np.linalg.eigvalsh(spread.T @ spread).tolist()
    if least <= _FLAT**2 * most:
        raise MeshError(
            "the mesh is flat: all of it lies in one plane and holds no foam; give a solid, or the whole of the scan"
        )


def set_upright(mesh: Mesh, unit: float = 1.0, up: str = "z") -> Mesh:
    """Scale to metres, turn z up, leave out vertices that no triangle uses; parameters and errors as `prepare`."""
    if not (math.isfinite(unit) and unit > 0.0):
        raise JobError(f"unit = {unit:g} is no length; give metres for one of the file's units", "carving.unit")
    if up not in _TURNS:
        raise JobError(f'up = "{up}" is not an axis; it is one of: {", ".join(UP_AXES)}', "carving.up")
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[mesh.triangles] = True
    vertices, triangles = mesh.vertices, mesh.triangles
    if not used.all():
        vertices = vertices[used]
        triangles = (np.cumsum(used) - 1)[triangles]
    if up != "z" or unit != 1.0:
        turned: FloatArray = np.stack([vertices[:, axis] * (sign * unit) for axis, sign in _TURNS[up]], axis=1)
        vertices = turned + 0.0
    return Mesh(vertices, triangles, mesh.kind)


def check_size(
    mesh: Mesh,
    unit: float = 1.0,
    name: str = "the carving",
    where: str = "set unit under [carving] in the job file",
) -> None:
    """Refuse a carving under 0.05 m or over 200 m as a mistake of the unit, and one too far away to be held.

    For the command line only.

    Parameters
    ----------
    mesh : metres, as `prepare` or `set_upright` gives it.
    unit : metres for one of the file's units, as it was taken; other units are proposed from it.
    name : the file's name, with which the message begins.
    where : how the unit is set here.

    Raises
    ------
    InputError
        The longest side is outside the limits; the message proposes units that would do. Or the carving lies so far
        from the origin, as in coordinates of a survey, that Blender rounds its places.
    """
    longest = float(mesh.size.max())
    if LEAST_SIZE <= longest <= MOST_SIZE:
        far = far_problem(mesh)
        if far:
            raise InputError(f"{name}: {far}, or export it with an origin of its own")
        return
    usual = [guess.word for guess in likely_units(longest / unit)]
    words = usual + [
        word for word, metres in UNITS if word not in usual and LEAST_SIZE <= longest / unit * metres <= MOST_SIZE
    ]
    sizes = {word: longest / unit * metres for word, metres in UNITS}
    likely = [f'"{word}" (then {sizes[word]:.3g} m)' for word in words if dict(UNITS)[word] != unit]
    propose = f", such as {', '.join(likely)}" if likely else ", or check the file"
    raise InputError(
        f"{name}: its longest side would be {longest:.3g} m, outside {LEAST_SIZE:g} m to {MOST_SIZE:g} m: "
        f"most likely the unit is wrong; {where}{propose}"
    )


def far_problem(mesh: Mesh) -> str:
    """Where a carving, metres, lies so far from the origin that Blender rounds its places, a sentence; else empty."""
    reach = float(np.abs(mesh.vertices).max(initial=0.0))
    rounded = float(np.spacing(np.float32(reach)))
    if rounded <= _ROUNDED:
        return ""
    return (
        f"it lies {reach / 1e3:,.0f} km from the origin of its coordinates, where Blender rounds places to "
        f"{rounded * 1e3:.3g} mm; move it near the origin"
    )


def upright_notes(unit: float, up: str) -> tuple[str, ...]:
    """What `set_upright` changes with these settings, as sentences; empty where it changes nothing."""
    notes = []
    if unit != 1.0:
        name = next((word for word, metres in UNITS if metres == unit), f"{unit:g} m")
        notes.append(f"the file's numbers were taken as {name}")
    if up != "z":
        notes.append(f"the carving was turned so that the file's {up} points up")
    return tuple(notes)


def _sentence(note: str) -> str:
    return note[:1].upper() + note[1:] + "."
