# SPDX-License-Identifier: GPL-3.0-or-later
"""STL, binary and text: loose triangles that are welded by equal coordinates."""

from __future__ import annotations

import re
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..mesh.mesh import FloatArray, Mesh
from .numerals import BadNumber, parse_reals, shown, unusable
from .weld import weld_points

_HEAD: Final = 84  # 80 bytes of free text and a 32-bit count
_RECORD: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_FRAME: Final = re.compile(rb"[ \t]*(?:end[ \t]?)?solid\b")
_WORDS: Final = 21  # of one facet: facet normal 3 numbers, outer loop, 3 times vertex and 3 numbers, endloop, endfacet
_KEYWORDS: Final = (
    (0, b"facet"),
    (1, b"normal"),
    (5, b"outer"),
    (6, b"loop"),
    (7, b"vertex"),
    (11, b"vertex"),
    (15, b"vertex"),
    (19, b"endloop"),
    (20, b"endfacet"),
)
_BLOCK: Final = 1 << 24
"""Bytes of text taken at a time, so that the words of a large file never stand in memory all at once."""


def read_stl(name: str, data: bytes) -> tuple[Mesh, tuple[str, ...]]:
    """Read STL.

    Parameters
    ----------
    name : the file's name, for messages.
    data : the file's bytes.

    Returns
    -------
    The mesh in the file's own numbers, with shared vertices, and notes on what was left out. Normals and attribute
    bytes are not used: the order of the corners says what is outside.

    Raises
    ------
    InputError
        Not STL, cut off, no triangles, or a coordinate that is not a finite number.

    Notes
    -----
    Binary STL counts its triangles after 80 bytes of free text and has 50 bytes for each; a file with just that length
    is binary even where its text begins with "solid", as some programs write it.
    """
    notes: list[str] = []
    corners: FloatArray | NDArray[np.float32]
    if _count(data) is not None and len(data) == _HEAD + 50 * (_count(data) or 0):
        corners = _binary(data, _count(data) or 0)
    elif data.lstrip()[:5].lower() == b"solid" and b"\0" not in data[:512]:
        corners = _text(name, data)
    else:
        count = _promised(name, data)
        corners = _binary(data, count)
        notes.append(f"{len(data) - _HEAD - 50 * count} bytes after the last triangle were not read")
    if not len(corners):
        raise InputError(f"{name}: the STL file holds no triangles; export the carving again")
    points = corners.reshape(-1, 3)
    fault = unusable(points)
    if fault is not None:
        raise InputError(
            f"{name}: a coordinate of triangle {fault[0] // 3 + 1} (the first is 1) is {fault[1]}; "
            "repair the file or export it again"
        )
    first, number = weld_points(points)
    triangles = number.reshape(-1, 3)
    a, b, c = triangles.T
    whole = (a != b) & (b != c) & (c != a)
    lost = len(whole) - int(np.count_nonzero(whole))
    if lost == len(whole):
        raise InputError(f"{name}: every triangle has two corners in one place; export the carving again")
    if lost:
        notes.append(f"{lost} of {len(whole)} triangles without area (two corners in one place) were left out")
        triangles = triangles[whole]
    return Mesh(points[first].astype(np.float64) + 0.0, triangles), tuple(notes)


def _count(data: bytes) -> int | None:
    """Triangles that a binary STL of these bytes would promise."""
    return int.from_bytes(data[80:84], "little") if len(data) >= _HEAD else None


def _binary(data: bytes, count: int) -> NDArray[np.float32]:
    corners = np.frombuffer(data, dtype=_RECORD, count=count, offset=_HEAD)["corners"]
    return np.ascontiguousarray(corners)


def _promised(name: str, data: bytes) -> int:
    """Count of a binary file whose length is not the one it should be; more bytes than needed can be lived with."""
    count = _count(data)
    printable = sum(32 <= byte < 127 or byte in b"\t\r\n" for byte in data[:512])
    if count is None or printable == min(len(data), 512):
        raise InputError(
            f"{name}: this is not an STL file: it neither begins with 'solid' nor has the length of a binary STL; "
            "check the name, or export the carving again"
        )
    if _HEAD + 50 * count > len(data):
        raise InputError(
            f"{name}: the file is cut off, or is not an STL file: its header promises {count} triangles "
            f"({_HEAD + 50 * count} bytes), but it has {len(data)} bytes, enough for {(len(data) - _HEAD) // 50}; "
            "copy or export it again"
        )
    return count


def _text(name: str, data: bytes) -> FloatArray:
    """Corners (m, 3, 3) of a text STL with one or more solids."""
    body = _without_frames(data.lower())
    blocks: list[FloatArray] = []
    start = done = 0
    while start < len(body):
        end = len(body)
        if start + _BLOCK < end:
            cut = body.rfind(b"endfacet", start, start + _BLOCK)
            end = cut + len(b"endfacet") if cut >= 0 else end
        block = _facets(name, body[start:end].split(), done)
        done += len(block)
        blocks.append(block)
        start = end
    return np.concatenate(blocks) if blocks else np.zeros((0, 3, 3))


def _without_frames(text: bytes) -> bytes:
    """Leave out the lines that begin or end a solid: names may hold any words."""
    parts: list[bytes] = []
    start = 0
    while (at := text.find(b"solid", start)) >= 0:
        line = max(text.rfind(b"\n", start, at), text.rfind(b"\r", start, at)) + 1 or start
        ends = [end for end in (text.find(b"\n", at), text.find(b"\r", at)) if end >= 0]
        end = min(ends, default=len(text))
        parts.append(text[start:line] if _FRAME.match(text, line) else text[start:end])
        start = end
    return b"".join([*parts, text[start:]])


def _facets(name: str, words: list[bytes], before: int) -> FloatArray:
    count, rest = divmod(len(words), _WORDS)
    faults: list[tuple[int, int, bytes]] = []
    for place, keyword in _KEYWORDS:
        found = words[place::_WORDS]
        if found.count(keyword) != len(found):
            faults.append((next(i for i, word in enumerate(found) if word != keyword), place, keyword))
    if faults:
        at, place, keyword = min(faults)
        raise InputError(
            f"{name}: triangle {before + at + 1} (the first is 1) of the text STL is not as it should be: "
            f"'{shown(words[at * _WORDS + place])}' stands where '{keyword.decode()}' belongs; export the carving again"
        )
    if rest:
        raise InputError(
            f"{name}: the text STL is cut off within triangle {before + count + 1} (the first is 1); "
            "copy or export it again"
        )
    columns = []
    for place in (8, 9, 10, 12, 13, 14, 16, 17, 18):
        column = words[place::_WORDS]
        try:
            columns.append(parse_reals(b" ".join(column)))
        except BadNumber as error:
            at = next(i for i, word in enumerate(column) if shown(word) == error.word)
            raise InputError(
                f"{name}: '{error.word}' in triangle {before + at + 1} (the first is 1) is not a number; "
                "repair the file or export it again"
            ) from None
    return np.stack(columns, axis=1).reshape(-1, 3, 3)
