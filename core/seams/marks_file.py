# SPDX-License-Identifier: GPL-3.0-or-later
"""Marked lines, zones and viewpoints from a file: what is marked by hand in Blender, for the command line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..json_input import as_shown, parsed
from ..mesh.mesh import BACK, Mesh
from .marks import PLAIN, ZONE_NAMES, Marks, Viewpoint

FloatArray = NDArray[np.float64]

SCHEMA_VERSION: Final = 1
_WANTED: Final = "{schema_version, lines, zones, viewpoints}"
_BACK: Final = "back"
_NAMES: Final = (*ZONE_NAMES[1:], _BACK)
_ANGLES: Final = (60.0, 40.0)
"""Degrees of view across and upright that a viewpoint has unless it says: about what a look takes in without turning
the head; common practice, no source."""
_OFF: Final = 0.1
"""Metres outside the carving's box from which a line can only be a mistake of unit or axes."""
_UPRIGHT: Final = 1e-6
"""A look this near to straight up or down has y up in its picture."""


@dataclass(frozen=True, eq=False)
class Region:
    """A ball or a box, metres, job coordinates, and the name of the zone that the surface in it is."""

    name: str
    low: FloatArray
    high: FloatArray
    radius: float

    def holds(self, points: FloatArray) -> NDArray[np.bool_]:
        """Which points lie in it. A ball's `low` and `high` are its middle."""
        away = np.maximum(np.maximum(self.low - points, points - self.high), 0.0)
        inside: NDArray[np.bool_] = np.einsum("kc,kc->k", away, away) <= self.radius**2
        return inside


@dataclass(frozen=True, eq=False)
class MarksFile:
    """What a file of marks says; see `read_marks`."""

    name: str
    lines: tuple[FloatArray, ...]
    regions: tuple[Region, ...]
    viewpoints: tuple[Viewpoint, ...]

    def on(self, mesh: Mesh) -> tuple[Mesh, Marks]:
        """The marks of a carving, and the carving with its back marked as such.

        Parameters
        ----------
        mesh : metres, job coordinates. A triangle is in the last zone that its middle lies in.

        Raises
        ------
        InputError
            A zone that takes in no triangle, or a line that lies off the carving.
        """
        low, high = mesh.vertices.min(axis=0) - _OFF, mesh.vertices.max(axis=0) + _OFF
        for k, line in enumerate(self.lines):
            wrong = np.flatnonzero(((line < low) | (line > high)).any(axis=1))
            if len(wrong):
                raise InputError(
                    f"{self.name}: line {k + 1}: its point {int(wrong[0]) + 1}, {_place(line[wrong[0]])}, lies off the "
                    f"carving, which reaches from {_place(low + _OFF)} to {_place(high - _OFF)}; give metres, after "
                    "unit, up and scale of the job"
                )
        zones, kind = np.zeros(len(mesh.triangles), dtype=np.int64), mesh.kind.copy()
        middles = mesh.vertices[mesh.triangles].mean(axis=1)
        for k, region in enumerate(self.regions):
            inside = region.holds(middles)
            if not inside.any():
                raise InputError(
                    f"{self.name}: zone {k + 1} ({region.name}) takes in no triangle of the carving, which reaches "
                    f"from {_place(low + _OFF)} to {_place(high - _OFF)}; move it or make it larger"
                )
            if region.name == _BACK:
                kind[inside] = BACK
            zones[inside] = PLAIN if region.name == _BACK else ZONE_NAMES.index(region.name)
        marks = Marks(self.lines, zones if self.regions else None, self.viewpoints)
        return Mesh(mesh.vertices, mesh.triangles, kind), marks


def read_marks(text: str, name: str = "marks file") -> MarksFile:
    """Read a file of marks.

    Parameters
    ----------
    text : JSON, metres in job coordinates: ``{schema_version, lines, zones, viewpoints}``, of which each of the last
        three may be left out. A line is an array of two or more points, straight between them. A zone is ``{zone,
        centre, radius}`` or ``{zone, low, high}``, `zone` one of ``keep whole``, ``may show``, ``must hide``, ``back``.
        A viewpoint is ``{name, eye, look_at}`` and, if wanted, ``angles_deg``, of view across and upright.
    name : the file's name, for messages.

    Raises
    ------
    InputError
        Not JSON, another schema version, an unknown or missing key, a value that cannot be used. The message names the
        line, zone or viewpoint.
    """
    record = parsed(text, name, _WANTED)
    if not isinstance(record, dict):
        raise InputError(f"{name}: is {as_shown(record)}; give {_WANTED}")
    version = record.get("schema_version")
    if version != SCHEMA_VERSION or isinstance(version, bool):
        raise InputError(f"{name}: schema_version is {as_shown(version)}; this version reads {SCHEMA_VERSION}")
    _keys(record, ("schema_version",), ("lines", "zones", "viewpoints"), name)
    found = [_array(record.get(key, []), f"{name}: {key}") for key in ("lines", "zones", "viewpoints")]
    return MarksFile(
        name,
        tuple(_line(value, f"{name}: line {k + 1}") for k, value in enumerate(found[0])),
        tuple(_region(value, f"{name}: zone {k + 1}") for k, value in enumerate(found[1])),
        tuple(_viewpoint(value, f"{name}: viewpoint {k + 1}") for k, value in enumerate(found[2])),
    )


def _line(value: Any, place: str) -> FloatArray:
    points = _array(value, place)
    if len(points) < 2:
        raise InputError(f"{place} has {len(points)} points; give two or more")
    return np.array([_point(point, f"{place}: point {k + 1}") for k, point in enumerate(points)])


def _region(value: Any, place: str) -> Region:
    entry = _object(value, place)
    ball = "centre" in entry or "radius" in entry
    _keys(entry, ("zone", "centre", "radius") if ball else ("zone", "low", "high"), (), place)
    zone = entry["zone"]
    if zone not in _NAMES:
        raise InputError(f"{place}: zone is {as_shown(zone)}; give {', '.join(_NAMES[:-1])} or {_NAMES[-1]}")
    if ball:
        middle, radius = _point(entry["centre"], f"{place}: centre"), _number(entry["radius"], f"{place}: radius")
        if radius <= 0.0:
            raise InputError(f"{place}: radius is {radius:g}; give metres, more than 0")
        return Region(zone, middle, middle, radius)
    low, high = _point(entry["low"], f"{place}: low"), _point(entry["high"], f"{place}: high")
    if (low > high).any():
        raise InputError(f"{place}: low {_place(low)} lies beyond high {_place(high)}; change them over")
    return Region(zone, low, high, 0.0)


def _viewpoint(value: Any, place: str) -> Viewpoint:
    entry = _object(value, place)
    _keys(entry, ("name", "eye", "look_at"), ("angles_deg",), place)
    name = entry["name"]
    if not isinstance(name, str) or not name.strip():
        raise InputError(f"{place}: name is {as_shown(name)}; give a text")
    eye, target = (_point(entry[key], f"{place}: {key}") for key in ("eye", "look_at"))
    ahead = target - eye
    far = float(np.linalg.norm(ahead))
    if far == 0.0:
        raise InputError(f"{place}: eye and look_at are one point, {_place(eye)}; give two")
    ahead = ahead / far
    right = np.cross(ahead, (0.0, 0.0, 1.0))
    if float(np.linalg.norm(right)) < _UPRIGHT:
        right = np.cross(ahead, (0.0, 1.0, 0.0))
    up = np.cross(right / np.linalg.norm(right), ahead)
    angles = _array(entry.get("angles_deg", list(_ANGLES)), f"{place}: angles_deg")
    if len(angles) != 2:
        raise InputError(f"{place}: angles_deg is {as_shown(angles)}; give two, across and upright")
    half = []
    for value in angles:
        angle = _number(value, f"{place}: angles_deg")
        if not 0.0 < angle < 180.0:
            raise InputError(f"{place}: an angle of view of {angle:g} degrees; give more than 0 and less than 180")
        half.append(float(np.tan(np.radians(angle) / 2.0)))
    return Viewpoint(name.strip(), eye, ahead, up, half[0], half[1])


def _keys(entry: dict[str, Any], needed: Sequence[str], more: Sequence[str], place: str) -> None:
    missing = [key for key in needed if key not in entry]
    if missing:
        raise InputError(f"{place}: {' and '.join(missing)} missing; give {', '.join(needed)}")
    unknown = sorted(set(entry) - set(needed) - set(more))
    if unknown:
        raise InputError(f"{place}: unknown key {unknown[0]!r}; known: {', '.join((*needed, *more))}")


def _object(value: Any, place: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise InputError(f"{place} is {as_shown(value)}; give an object with its keys")
    return value


def _array(value: Any, place: str) -> list[Any]:
    if not isinstance(value, list):
        raise InputError(f"{place} is {as_shown(value)}; give an array")
    return value


def _point(value: Any, place: str) -> FloatArray:
    if not isinstance(value, list) or len(value) != 3:
        raise InputError(f"{place} is {as_shown(value)}; give x, y and z in metres")
    return np.array([_number(number, place) for number in value])


def _number(value: Any, place: str) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{place} holds {as_shown(value)}; give numbers, in metres where they are lengths")
    try:
        number = float(value)
    except OverflowError:
        number = np.inf
    if not np.isfinite(number):
        raise InputError(f"{place} holds a number too large to use; give metres")
    return number


def _place(point: Iterable[float]) -> str:
    return "(" + ", ".join(f"{x:.2f}" for x in point) + ") m"
