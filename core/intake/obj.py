# SPDX-License-Identifier: GPL-3.0-or-later
"""OBJ: vertices and faces; everything else in the file, materials too, is left aside."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..mesh.mesh import FloatArray, IntArray, Mesh
from .numerals import BadNumber, parse_reals, parse_wholes, unusable
from .polygons import split_faces

_Number = TypeVar("_Number", np.float64, np.int64)
_AFTER_SLASH: Final = re.compile(rb"/[^ \t\n]*")


def read_obj(name: str, data: bytes) -> tuple[Mesh, tuple[str, ...]]:
    """Read OBJ.

    Parameters
    ----------
    name : the file's name, for messages.
    data : the file's bytes.

    Returns
    -------
    The mesh in the file's own numbers, with the file's own vertices, and notes. Groups, objects, texture coordinates,
    normals and materials are not used; a missing material file does not matter.

    Raises
    ------
    InputError
        Not text, no vertices or faces, a word that is not a number, an index out of range, a coordinate that is not a
        finite number; the message names the line.
    """
    if b"\0" in data[:4096]:
        raise InputError(f"{name}: this is not an OBJ file: it is not text; check the name")
    # A backslash at the end of a line carries it on (line numbers of messages below it then count it as one).
    text = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").replace(b"\\\n", b" ").replace(b"\t", b" ")
    lines = text.split(b"\n")
    lines = [line.lstrip() if line[:1] == b" " else line for line in lines]
    vertices = [line for line in lines if line[:2] == b"v "]
    faces = [line for line in lines if line[:2] == b"f "]
    if not vertices or not faces:
        what = "vertices (lines 'v x y z')" if not vertices else "faces (lines 'f 1 2 3')"
        raise InputError(f"{name}: this OBJ file holds no {what}; check the name, or export it as a mesh again")
    points = _points(name, lines, vertices)
    fault = unusable(points)
    if fault is not None:
        raise InputError(
            f"{name}: line {_line(lines, b'v', fault[0])}: a coordinate is {fault[1]}; "
            "repair the file or export it again"
        )
    counts, corners = _faces(name, lines, faces, len(points))
    fans = split_faces(points, counts, corners)
    return Mesh(points, fans.triangles), fans.notes()


def _points(name: str, lines: list[bytes], vertices: list[bytes]) -> FloatArray:
    words = [line.split() for line in vertices]
    short = next((row for row, line in enumerate(words) if len(line) < 4), None)
    if short is not None:
        raise InputError(
            f"{name}: line {_line(lines, b'v', short)}: a vertex needs three coordinates; export the carving again"
        )
    # After x, y, z there may stand a weight or a colour.
    rows = b"\n".join(b" ".join(line[1:4]) for line in words)
    return _numbers(name, lines, b"v", rows, parse_reals).reshape(-1, 3) + 0.0


def _faces(name: str, lines: list[bytes], faces: list[bytes], vertices: int) -> tuple[IntArray, IntArray]:
    """Corner counts and vertex numbers from 0."""
    rows = b"\n".join([line[1:].split(b"#", 1)[0] for line in faces])
    counts = np.fromiter((len(line.split()) for line in rows.split(b"\n")), dtype=np.int64, count=len(faces))
    small = np.flatnonzero(counts < 3)
    if len(small):
        raise InputError(
            f"{name}: line {_line(lines, b'f', int(small[0]))}: a face needs three corners; "
            "repair the file or export it again"
        )
    given = _alike(rows, int(counts.sum()))
    if given is None:
        rows = _AFTER_SLASH.sub(b"", rows) if b"/" in rows else rows
        given = _numbers(name, lines, b"f", rows, parse_wholes)
    face = np.repeat(np.arange(len(counts)), counts)
    numbers = given - 1
    back = given < 0
    if back.any():
        # A negative number counts back from the last vertex above the face.
        numbers[back] = (given + _vertices_above(lines)[face])[back]
    wrong = np.flatnonzero((given == 0) | (numbers < 0) | (numbers >= vertices))
    if len(wrong):
        at = int(wrong[0])
        raise InputError(
            f"{name}: line {_line(lines, b'f', int(face[at]))}: the face names vertex {int(given[at])}, "
            f"but there are {vertices} vertices (the first is 1); repair the file or export it again"
        )
    return counts, numbers


def _alike(rows: bytes, corners: int) -> IntArray | None:
    """Vertex numbers where all corners are written alike, with one or two slashes: several times as fast."""
    slashes, double = rows.count(b"/"), rows.count(b"//")
    if double == corners and slashes == 2 * corners:
        mark, each = b"//", 2
    elif not double and corners and slashes in (corners, 2 * corners):
        mark, each = b"/", 1 + slashes // corners
    else:
        return None
    try:
        numbers = parse_wholes(rows.replace(mark, b" "))
    except BadNumber:
        return None
    return numbers[::each] if len(numbers) == each * corners else None


def _numbers(
    name: str, lines: list[bytes], letter: bytes, rows: bytes, parse: Callable[[bytes], NDArray[_Number]]
) -> NDArray[_Number]:
    try:
        return parse(rows)
    except BadNumber as error:
        raise InputError(
            f"{name}: line {_line(lines, letter, error.line)}: '{error.word}' is not a number that can stand here; "
            "repair the file or export it again"
        ) from None


def _line(lines: list[bytes], letter: bytes, row: int) -> int:
    """Line number, from 1, of the row-th vertex or face."""
    start = letter + b" "
    found = (number for number, line in enumerate(lines, start=1) if line[:2] == start)
    for _ in range(row):
        next(found)
    return next(found)


def _vertices_above(lines: list[bytes]) -> IntArray:
    """For each face, the number of vertices above it in the file."""
    letters = np.array([line[:2] for line in lines], dtype="S2")
    above: IntArray = np.cumsum(letters == b"v ")[letters == b"f "]
    return above
