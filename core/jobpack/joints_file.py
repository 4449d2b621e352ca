# SPDX-License-Identifier: GPL-3.0-or-later
"""Joints as JSON: written so that they read back bit for bit, read with a clear word about what is wrong."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any, Final

import numpy as np

from ..cutting.joint import FloatArray, Joint, Plane, Profile
from ..errors import CutError, InputError
from ..json_input import as_shown, parsed
from .json_text import SCHEMA_VERSION, json_text

_KEYS: Final = {"plane": ("point", "normal"), "profile": ("origin", "u", "w", "points")}
_ROUNDING: Final = 1e-15  # a few steps of the last digit of a number below 1
_COMMON: Final = ("mark", "kind", "part", "limb")


def joint_entry(mark: str, joint: Joint) -> dict[str, Any]:
    """A joint as a plain object, metres: mark, kind, part, what its kind needs, and limb where it has one."""
    entry: dict[str, Any] = {"mark": mark, "kind": joint.kind}
    for key in ("part", *_KEYS[joint.kind]):
        value = getattr(joint, key)
        entry[key] = None if value is None else value.tolist()
    if joint.limb is not None:
        entry["limb"] = joint.limb.tolist()
    return entry


def joints_json(joints: Iterable[tuple[str, Joint]]) -> str:
    """A joints file: ``{schema_version, joints}``, from pairs of mark and joint in the order of the cuts."""
    return json_text({"schema_version": SCHEMA_VERSION, "joints": [joint_entry(mark, joint) for mark, joint in joints]})


def read_joints(text: str, name: str = "joints file") -> tuple[Joint, ...]:
    """Joints alone of a joints file or of a ``job.json``; see `read_marked_joints`."""
    return tuple(joint for _, joint in _entries(text, name))


def read_marked_joints(text: str, name: str = "joints file") -> tuple[tuple[str, ...], tuple[Joint, ...]]:
    """Marks and joints of a joints file or of a ``job.json``, in the order of the cuts.

    Parameters
    ----------
    text : JSON: ``{schema_version, joints: [...]}``; each joint ``{mark, kind, part, point, normal}`` or ``{mark, kind,
        part, origin, u, w, points}``, metres. `part` null or left out: everything is cut. `limb`, a point: only the
        face nearest to it is cut; null or left out: all faces. `mark` may be left out.
        Other keys beside `joints` (a ``job.json`` has many) are passed over; other keys in a joint are an error.
    name : the file's name, for messages.

    Returns
    -------
    The marks, empty where a joint has none or one that stands on a joint before it (a copied joint), and the joints.

    Raises
    ------
    InputError
        Not JSON, another schema version, no array of joints, an unknown kind or key, a missing key, a value of the
        wrong shape, a joint that cannot be made of them, or a mark that is none. The message names the joint.
    """
    pairs = _entries(text, name)
    marks: list[str] = []
    for k, (mark, _) in enumerate(pairs):
        if mark and not _MARK.fullmatch(mark):
            raise InputError(
                f"{name}: joint {k + 1}: mark is {as_shown(mark)}; give up to 8 letters and digits, as A or B2"
            )
        marks.append("" if mark in marks else mark)
    return tuple(marks), tuple(joint for _, joint in pairs)


_MARK: Final = re.compile("[A-Za-z0-9]{1,8}")
"""It stands in file names, in tables with spaces between, and is written on foam."""


def _entries(text: str, name: str) -> tuple[tuple[str, Joint], ...]:
    record = parsed(text, name, "a joints file or a job.json")
    if not isinstance(record, dict) or not isinstance(record.get("joints"), list):
        raise InputError(f"{name}: has no array named joints; give {{schema_version, joints: [...]}}")
    version = record.get("schema_version")
    if version != SCHEMA_VERSION or isinstance(version, bool):
        raise InputError(f"{name}: schema_version is {version!r}; this version reads {SCHEMA_VERSION}")
    return tuple(_joint(entry, f"{name}: joint {k + 1}") for k, entry in enumerate(record["joints"]))


def _joint(entry: Any, place: str) -> tuple[str, Joint]:
    if not isinstance(entry, dict):
        raise InputError(f"{place} is {as_shown(entry)}; give an object with kind and its keys")
    mark = entry.get("mark", "")
    if not isinstance(mark, str):
        raise InputError(f"{place}: mark is {as_shown(mark)}; give a text")
    place += f" ({mark})" if mark else ""
    kind = entry.get("kind")
    if not isinstance(kind, str) or kind not in _KEYS:
        raise InputError(f"{place}: kind is {as_shown(kind)}; give {' or '.join(_KEYS)}")
    needed = _KEYS[kind]
    missing = [key for key in needed if key not in entry]
    if missing:
        raise InputError(f"{place}: a {kind} without {' and '.join(missing)}; give {', '.join(needed)}")
    unknown = sorted(set(entry) - set(needed) - set(_COMMON))
    if unknown:
        raise InputError(f"{place}: unknown key {unknown[0]!r}; a {kind} has {', '.join((*_COMMON, *needed))}")
    part = entry.get("part")
    at = None if part is None else _row(part, 3, f"{place}: part")
    limb = entry.get("limb")
    by = None if limb is None else _row(limb, 3, f"{place}: limb")
    rows = {key: _row(entry[key], 3, f"{place}: {key}") for key in needed if key != "points"}
    try:
        if kind == "plane":
            return mark, _as_written(Plane(**rows, part=at, limb=by), rows)
        points = entry["points"]
        if not isinstance(points, list):
            raise InputError(f"{place}: points is {as_shown(points)}; give rows of u and w offset")
        offsets = np.array([_row(row, 2, f"{place}: points {k}") for k, row in enumerate(points)])
        return mark, _as_written(Profile(**rows, points=offsets, part=at, limb=by), rows)
    except CutError as error:
        raise InputError(f"{place}: {error}") from None


def _as_written(joint: Joint, rows: dict[str, FloatArray]) -> Joint:
    """The joint with the file's own digits in its directions, where they were unit and square but for rounding.

    Making a direction unit length again may turn its last digit, and a cut must replay to the same bytes.
    """
    for key in ("normal", "u", "w"):
        if key in rows:
            given = rows[key]
            if float(np.abs(getattr(joint, key) - given).max()) <= _ROUNDING:
                given.flags.writeable = False
                object.__setattr__(joint, key, given)
    return joint


def _row(value: Any, length: int, place: str) -> FloatArray:
    wrong = not isinstance(value, list) or len(value) != length
    if wrong or any(isinstance(v, bool) or not isinstance(v, int | float) for v in value):
        raise InputError(f"{place} is {as_shown(value)}; give an array of {length} numbers")
    try:
        return np.array([float(v) for v in value])
    except OverflowError:
        raise InputError(f"{place} holds a number too large to use; give metres") from None
