# SPDX-License-Identifier: GPL-3.0-or-later
"""Read a carving from STL, PLY or OBJ as it is: no axes turned, nothing dropped or mended without a word."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ..errors import InputError
from ..mesh.mesh import Mesh
from .obj import read_obj
from .ply import MAGIC, read_ply
from .ply_write import ply_bytes, write_ply
from .stl import read_stl
from .weld import weld_if_open

__all__ = ["SUFFIXES", "ReadResult", "ply_bytes", "read_carving", "read_mesh", "write_ply"]

_Reader = Callable[[str, bytes], tuple[Mesh, tuple[str, ...]]]
_READERS: Final[dict[str, _Reader]] = {".stl": read_stl, ".ply": read_ply, ".obj": read_obj}
SUFFIXES: Final = tuple(_READERS)
"""Endings of file names, lower case, that are read here."""


@dataclass(frozen=True, eq=False)
class ReadResult:
    """A mesh in its file's own numbers and axes, and sentences on what reading it took.

    The notes tell of faces split into triangles, vertices joined, triangles without area left out, bytes not read.
    """

    mesh: Mesh
    notes: tuple[str, ...]


def read_carving(path: str | Path) -> ReadResult:
    """Read a mesh file.

    Parameters
    ----------
    path : a file whose name ends in .stl, .ply or .obj. A PLY file by another of these names is read as PLY.

    Returns
    -------
    ReadResult
        STL is welded by equal coordinates, since it shares no vertices. PLY and OBJ keep their vertices; only where
        edges are open and welding closes some is it done, and noted.

    Raises
    ------
    InputError
        One line that begins with the file's name: missing, a folder, empty, not what its name says, cut off, without
        triangles, an index out of range, a coordinate that is not a finite number.
    """
    path = Path(path)
    name = "".join(c if c.isprintable() else "?" for c in path.name or str(path))
    reader = _READERS.get(path.suffix.lower())
    if path.is_dir():
        raise InputError(f"{name}: this is a folder; give the mesh file in it")
    if not path.exists():
        raise InputError(f"{name}: there is no such file; check the path")
    if reader is None:
        ending = f"'{path.suffix}'" if path.suffix else "no ending"
        raise InputError(f"{name}: files with {ending} are not read here; export the carving as STL, PLY or OBJ")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise InputError(f"{name}: the file cannot be read: {error.strerror or error}; check it") from error
    if not data:
        raise InputError(f"{name}: the file is empty; copy or export it again")
    notes: list[str] = []
    if reader is not read_ply and MAGIC.match(data):
        reader = read_ply
        notes.append(f"the file is named {path.suffix} but holds PLY, and was read as that")
    mesh, read_notes = reader(name, data)
    notes.extend(read_notes)
    if reader is not read_stl:
        mesh, weld_notes = weld_if_open(mesh)
        notes.extend(weld_notes)
    return ReadResult(mesh, tuple(notes))


def read_mesh(path: str | Path) -> Mesh:
    """Mesh of `read_carving`, without the notes."""
    return read_carving(path).mesh
