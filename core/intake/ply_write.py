# SPDX-License-Identifier: GPL-3.0-or-later
"""Write a mesh as PLY: binary, double coordinates, class and source of each face."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, MeshError
from ..mesh.mesh import IntArray, Mesh

_MOST: Final = 2**31 - 1


def ply_bytes(mesh: Mesh, source: IntArray | None = None, origin: NDArray[np.uint8] | None = None) -> bytes:
    """Bytes of a binary little-endian PLY file.

    Parameters
    ----------
    mesh : vertices are written in double precision, bit for bit, shared by index.
    source : (m,) the carving's triangle or joint that each face comes from, or none.
    origin : (m,) 0 where `source` is a triangle of the carving, 1 where it is a joint, or none.

    Returns
    -------
    Same input, same bytes. Face properties: uchar kind, int source, uchar origin, the last two where given.

    Raises
    ------
    MeshError
        Arrays of another length than the triangles, or numbers beyond 32 bits.
    """
    count = len(mesh.triangles)
    layout: list[tuple[str, str] | tuple[str, str, tuple[int]]] = [
        ("n", "u1"),
        ("corners", "<i4", (3,)),
        ("kind", "u1"),
    ]
    names = ["property list uchar int vertex_indices", "property uchar kind"]
    for given, word, code, line in (
        (source, "source", "<i4", "property int source"),
        (origin, "origin", "u1", "property uchar origin"),
    ):
        if given is None:
            continue
        if np.shape(given) != (count,):
            raise MeshError(f"{word} has shape {np.shape(given)}; give one number for each of the {count} triangles")
        most = _MOST if code == "<i4" else 255
        if count and (int(given.min()) < -most - 1 or int(given.max()) > most):
            raise MeshError(f"{word} holds numbers beyond {most}, which the file cannot hold")
        layout.append((word, code))
        names.append(line)
    if len(mesh.vertices) > _MOST:
        raise MeshError(f"{len(mesh.vertices)} vertices are more than a PLY file can number")
    faces = np.empty(count, dtype=np.dtype(layout))
    faces["n"] = 3
    faces["corners"] = mesh.triangles
    faces["kind"] = mesh.kind
    if source is not None:
        faces["source"] = source
    if origin is not None:
        faces["origin"] = origin
    header = "\n".join(
        [
            "ply",
            "format binary_little_endian 1.0",
            "comment Seamwright; metres, z up; kind 0 carved, 1 joint, 2 base, 3 back",
            f"element vertex {len(mesh.vertices)}",
            "property double x",
            "property double y",
            "property double z",
            f"element face {count}",
            *names,
            "end_header\n",
        ]
    )
    return b"".join([header.encode("ascii"), mesh.vertices.astype("<f8", copy=False).tobytes(), faces.tobytes()])


def write_ply(
    path: str | Path, mesh: Mesh, source: IntArray | None = None, origin: NDArray[np.uint8] | None = None
) -> None:
    """Write `ply_bytes` to a file; InputError where that fails."""
    path = Path(path)
    data = ply_bytes(mesh, source, origin)
    try:
        path.write_bytes(data)
    except OSError as error:
        raise InputError(
            f"{path.name}: the file cannot be written: {error.strerror or error}; check the folder"
        ) from error
