# SPDX-License-Identifier: GPL-3.0-or-later
"""Mesh files written plainly, value by value, without the code under test."""

from __future__ import annotations

import struct
from collections.abc import Sequence

import numpy as np
from seamwright.core.mesh.mesh import Mesh

PLY_CODES = {
    "char": "b",
    "uchar": "B",
    "short": "h",
    "ushort": "H",
    "int": "i",
    "uint": "I",
    "float": "f",
    "double": "d",
    "int8": "b",
    "uint8": "B",
    "int16": "h",
    "uint16": "H",
    "int32": "i",
    "uint32": "I",
    "float32": "f",
    "float64": "d",
}
Faces = Sequence[Sequence[int]]


def stl_binary(mesh: Mesh, head: bytes = b"made for a test") -> bytes:
    """Binary STL with zero normals."""
    parts = [head.ljust(80, b"\0"), struct.pack("<I", len(mesh.triangles))]
    parts += [struct.pack("<12fH", 0.0, 0.0, 0.0, *t.ravel().tolist(), 0) for t in mesh.corners()]
    return b"".join(parts)


def stl_text(mesh: Mesh, name: str = "rock", newline: str = "\n") -> bytes:
    """Text STL with the shortest decimals that read back."""
    lines = [f"solid {name}"]
    for corners in mesh.corners().tolist():
        lines += ["  facet normal 0 0 0", "    outer loop"]
        lines += [f"      vertex {x!r} {y!r} {z!r}" for x, y, z in corners]
        lines += ["    endloop", "  endfacet"]
    return newline.join([*lines, f"endsolid {name}", ""]).encode()


def ply(
    points: np.ndarray,
    faces: Faces,
    layout: str = "ascii",
    number: str = "double",
    count: str = "uchar",
    index: str = "int",
    extra: Sequence[tuple[str, str, Sequence[float]]] = (),
    newline: str = "\n",
    face_first: bool = False,
) -> bytes:
    """PLY with these types; `extra` gives more face properties: type, name, values."""
    vertex_head = [f"element vertex {len(points)}", *(f"property {number} {axis}" for axis in "xyz")]
    face_head = [f"element face {len(faces)}", f"property list {count} {index} vertex_indices"]
    face_head += [f"property {kind} {name}" for kind, name, _ in extra]
    heads = [face_head, vertex_head] if face_first else [vertex_head, face_head]
    lines = ["ply", f"format {layout} 1.0", "comment made for a test", *heads[0], *heads[1], "end_header", ""]
    vertex_rows = [(number, value) for point in points.tolist() for value in point]
    face_rows: list[list[tuple[str, float]]] = []
    for row, face in enumerate(faces):
        values = [(count, len(face)), *((index, corner) for corner in face)]
        face_rows.append(values + [(kind, given[row]) for kind, _, given in extra])
    if layout == "ascii":
        body = ["".join(f"{x!r} {y!r} {z!r}{newline}" for x, y, z in points.tolist())]
        body.append("".join(" ".join(str(value) for _, value in row) + newline for row in face_rows))
        return (newline.join(lines) + "".join(reversed(body) if face_first else body)).encode()
    order = "<" if layout == "binary_little_endian" else ">"
    parts = [
        b"".join(struct.pack(order + PLY_CODES[kind], value) for kind, value in vertex_rows),
        b"".join(struct.pack(order + PLY_CODES[kind], value) for row in face_rows for kind, value in row),
    ]
    return newline.join(lines).encode() + b"".join(reversed(parts) if face_first else parts)


def obj(points: np.ndarray, faces: Faces, corner: str = "{0}", relative: bool = False) -> bytes:
    """OBJ; `corner` is how a corner is written, with its number (from 1 or, if relative, from the end) filled in."""
    lines = ["# made for a test", "mtllib missing.mtl", "o rock"]
    lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in points.tolist()]
    lines += ["vt 0.5 0.5", "vn 0 0 1", "usemtl stone", "s off"]
    for face in faces:
        numbers = [k - len(points) if relative else k + 1 for k in face]
        lines.append("f " + " ".join(corner.format(k) for k in numbers))
    return ("\n".join(lines) + "\n").encode()
