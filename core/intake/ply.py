# SPDX-License-Identifier: GPL-3.0-or-later
"""PLY, text and binary of either byte order: vertices, faces of any number of corners, a class of each face."""

from __future__ import annotations

import re
from typing import Final

import numpy as np

from ..errors import InputError
from ..mesh.mesh import KIND_NAMES, FloatArray, IntArray, Mesh
from .numerals import refuse_unusable, shown
from .ply_elements import Column, Element, ListColumn, Property, read_elements
from .polygons import split_faces

MAGIC: Final = re.compile(rb"ply[ \t]*(\r\n|\n|\r)")
_TYPES: Final = {
    **dict.fromkeys(("char", "int8"), "i1"),
    **dict.fromkeys(("uchar", "uint8"), "u1"),
    **dict.fromkeys(("short", "int16"), "i2"),
    **dict.fromkeys(("ushort", "uint16"), "u2"),
    **dict.fromkeys(("int", "int32"), "i4"),
    **dict.fromkeys(("uint", "uint32"), "u4"),
    **dict.fromkeys(("float", "float32"), "f4"),
    **dict.fromkeys(("double", "float64"), "f8"),
}
_FORMATS: Final = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_FACE_LISTS: Final = ("vertex_indices", "vertex_index")


def read_ply(name: str, data: bytes) -> tuple[Mesh, tuple[str, ...]]:
    """Read PLY.

    Parameters
    ----------
    name : the file's name, for messages.
    data : the file's bytes.

    Returns
    -------
    The mesh in the file's own numbers, with the file's own vertices, and notes. A whole-number face property `kind`
    becomes the class of the triangles (0 carved, 1 joint, 2 base, 3 back); all other properties are left aside.

    Raises
    ------
    InputError
        Not PLY, cut off, promises more than there is, no faces, an index out of range, a coordinate that is not a
        finite number, an unknown class.
    """
    order, elements, body = _header(name, data)
    found, rest = read_elements(name, data, body, order, elements)
    vertex, face = found.get("vertex"), found.get("face")
    if vertex is None:
        raise InputError(f"{name}: the PLY file has no vertices; export the carving again")
    if face is None or not any(len(c.counts) for c in face.values() if isinstance(c, ListColumn)):
        what = "triangle strips, which are not read" if "tristrips" in found else "points only"
        raise InputError(f"{name}: the PLY file has no faces ({what}); export it as a mesh with faces")
    points = _points(name, vertex)
    refuse_unusable(name, points, "vertex")
    counts, corners = _faces(name, face, len(points))
    fans = split_faces(points, counts, corners)
    notes = list(fans.notes())
    if rest:
        notes.append(f"{rest} bytes after the last element were not read")
    kind = _kind(name, face, len(counts))
    return Mesh(points, fans.triangles, None if kind is None else kind[fans.face]), tuple(notes)


def _header(name: str, data: bytes) -> tuple[str, list[Element], int]:
    """Byte order ("" for text), elements, and where the body begins."""
    start = MAGIC.match(data)
    if start is None:
        raise InputError(f"{name}: this is not a PLY file: it does not begin with the line 'ply'; check the name")
    newline = b"\r" if start[1] == b"\r" else b"\n"
    stop = re.compile(rb"^end_header[ \t]*\r?\n" if newline == b"\n" else rb"end_header\r", re.MULTILINE).search(data)
    if stop is None:
        raise InputError(f"{name}: the PLY header has no end ('end_header'); the file is cut off, export it again")
    order: str | None = None
    elements: list[Element] = []
    for number, raw in enumerate(data[start.end() : stop.start()].split(newline), start=2):
        words = raw.decode("ascii", errors="replace").split()
        if not words or words[0] in ("comment", "obj_info"):
            continue
        fine = False
        if words[0] == "format" and len(words) == 3 and words[1] in _FORMATS:
            order, fine = _FORMATS[words[1]], True
        elif words[0] == "element" and len(words) == 3 and words[2].isdecimal():
            elements.append(Element(words[1], int(words[2]), ()))
            fine = True
        elif words[0] == "property" and elements:
            made = _property(words[1:])
            if made is not None:
                last = elements[-1]
                elements[-1] = Element(last.name, last.count, (*last.properties, made))
                fine = True
        if not fine:
            raise InputError(f"{name}: line {number} of the PLY header cannot be used: '{shown(raw)}'; export it again")
    if order is None:
        raise InputError(f"{name}: the PLY header has no 'format' line; export the carving again")
    return order, elements, stop.end()


def _property(words: list[str]) -> Property | None:
    if len(words) == 2 and words[0] in _TYPES:
        return Property(words[1], _TYPES[words[0]], "")
    if len(words) == 4 and words[0] == "list" and words[1] in _TYPES and words[2] in _TYPES:
        return None if _TYPES[words[1]][0] == "f" else Property(words[3], _TYPES[words[2]], _TYPES[words[1]])
    return None


def _points(name: str, vertex: dict[str, Column]) -> FloatArray:
    axes = []
    for axis in "xyz":
        column = vertex.get(axis)
        if column is None or isinstance(column, ListColumn):
            raise InputError(f"{name}: the vertices of the PLY file have no property '{axis}'; export it again")
        axes.append(column.astype(np.float64))
    return np.stack(axes, axis=1) + 0.0


def _faces(name: str, face: dict[str, Column], vertices: int) -> tuple[IntArray, IntArray]:
    column = next((face[key] for key in _FACE_LISTS if key in face), None)
    if not isinstance(column, ListColumn):
        raise InputError(f"{name}: the faces of the PLY file have no list 'vertex_indices'; export it again")
    with np.errstate(invalid="ignore"):
        corners = column.values.astype(np.int64)
    if column.values.dtype.kind == "f" and (corners != column.values).any():
        raise InputError(f"{name}: the faces of the PLY file hold vertex numbers that are not whole; export it again")
    small = np.flatnonzero(column.counts < 3)
    if len(small):
        raise InputError(
            f"{name}: face {int(small[0])} has {int(column.counts[small[0]])} corners, a face needs 3; "
            "repair the file or export it again"
        )
    wrong = np.flatnonzero((corners < 0) | (corners >= vertices))
    if len(wrong):
        at = int(np.searchsorted(np.cumsum(column.counts), wrong[0], side="right"))
        raise InputError(
            f"{name}: face {at} names vertex {int(corners[wrong[0]])}, but there are {vertices} vertices "
            "(the first is 0); repair the file or export it again"
        )
    return column.counts, corners


def _kind(name: str, face: dict[str, Column], count: int) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]] | None:
    column = face.get("kind")
    if column is None or isinstance(column, ListColumn):
        return None
    wrong = np.flatnonzero(~np.isin(column, range(len(KIND_NAMES))))
    if len(wrong):
        classes = ", ".join(f"{number} {word}" for number, word in enumerate(KIND_NAMES))
        raise InputError(
            f"{name}: face {int(wrong[0])} has kind {column[wrong[0]]:g}; a kind is one of {classes}: "
            "correct it or leave the property out"
        )
    return column.astype(np.uint8)
