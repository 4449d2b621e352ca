# SPDX-License-Identifier: GPL-3.0-or-later
"""Read the triangle strips of an open CT data set: just enough of one file format for the tests."""

from __future__ import annotations

import base64
import xml.etree.ElementTree as ElementTree
import zlib
from pathlib import Path

import numpy as np
from seamwright.core.mesh.mesh import Mesh

TYPES = {"Float32": "<f4", "Int32": "<i4"}


def read_vtp(path: Path) -> Mesh:
    """Points and strips of a binary file, compressed in blocks; every strip as triangles, wound alike."""
    piece = ElementTree.parse(path).getroot().find("PolyData/Piece")
    assert piece is not None
    points = _array(piece.find("Points/DataArray")).reshape(-1, 3)
    strips = {item.get("Name"): _array(item) for item in piece.findall("Strips/DataArray")}
    connectivity, ends = strips["connectivity"].astype(np.int64), strips["offsets"].astype(np.int64)
    place = np.arange(len(connectivity))
    begin = np.concatenate([[0], ends[:-1]])
    first = np.repeat(begin, ends - begin)
    last = np.repeat(ends, ends - begin)
    at = place[place + 2 < last]
    odd = (at - first[at]) % 2 == 1
    a, b, c = connectivity[at], connectivity[at + 1], connectivity[at + 2]
    triangles = np.stack([np.where(odd, b, a), np.where(odd, a, b), c], axis=1)
    polys = {item.get("Name"): _array(item) for item in piece.findall("Polys/DataArray")}
    if len(polys.get("offsets", ())):
        assert (np.diff(polys["offsets"], prepend=0) == 3).all()
        triangles = np.concatenate([triangles, polys["connectivity"].reshape(-1, 3)])
    return Mesh(points, triangles)


def _array(item: ElementTree.Element | None) -> np.ndarray:
    assert item is not None
    text = "".join((item.text or "").split())
    kind = TYPES[item.get("type") or ""]
    if not text:
        return np.zeros(0, dtype=kind)
    # The head, encoded on its own: number of blocks, their size, size of the last, then each one's compressed size.
    number = int(np.frombuffer(base64.b64decode(text[:8])[:4], "<u4")[0])
    if number == 0:
        return np.zeros(0, dtype=kind)
    length = -(-4 * (3 + number) // 3) * 4
    sizes = np.frombuffer(base64.b64decode(text[:length]), "<u4")[3 : 3 + number]
    data = base64.b64decode(text[length:])
    parts, start = [], 0
    for size in sizes.tolist():
        parts.append(zlib.decompress(data[start : start + size]))
        start += size
    return np.frombuffer(b"".join(parts), kind)


def read_vtk(path: Path) -> Mesh:
    """Points and polygons, triangles all, of an ASCII file of the older kind."""
    words = path.read_text().split()
    at = words.index("POINTS")
    count = int(words[at + 1])
    points = np.array(words[at + 3 : at + 3 + 3 * count], dtype=np.float64).reshape(-1, 3)
    at = words.index("POLYGONS")
    faces, size = int(words[at + 1]), int(words[at + 2])
    assert size == 4 * faces
    rows = np.array(words[at + 3 : at + 3 + size], dtype=np.int64).reshape(-1, 4)
    assert (rows[:, 0] == 3).all()
    return Mesh(points, rows[:, 1:])
