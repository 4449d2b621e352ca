# SPDX-License-Identifier: GPL-3.0-or-later
"""The demo carving as a mesh: the rock of `rock`, meshed by `contour`."""

from __future__ import annotations

import numpy as np

from ..errors import MeshError
from ..mesh.mesh import BASE, CARVED, Mesh
from ..mesh.topology import components
from .contour import Grid, contour
from .rock import HEIGHT, LENGTH, WIDTH, Outcrop

SEED = 1  # picked by eye among those that leave no tunnel through the rock
LEAST_TRIANGLES = 10_000  # coarser than this the crevices are gone
STEP_OF_ONE = 11.9  # m: grid step times the root of the triangle count, measured on this rock


def demo_carving(triangles: int = 250_000) -> Mesh:
    """Carve the outcrop.

    Parameters
    ----------
    triangles : about how many triangles to make, within 15 %; 10 000 or more.

    Returns
    -------
    Mesh in metres, z up, standing on z = 0: one closed body, each edge in exactly two triangles, free of crossings;
    class base where it rests on the floor. About 7 x 3.5 x 1.2 m. The same bytes on every run.

    Raises
    ------
    MeshError
        Too few triangles asked for.
    """
    if triangles < LEAST_TRIANGLES:
        raise MeshError(f"{triangles} triangles are too few to carve the demo; ask for {LEAST_TRIANGLES} or more")
    step = STEP_OF_ONE / float(np.sqrt(triangles))
    nx, ny, nz = (int(np.ceil(extent / step)) + 1 for extent in (LENGTH + 0.3, WIDTH + 0.3, HEIGHT + 0.15))
    vertices, faces = contour(Outcrop(SEED), Grid((-0.15, -0.15, -0.5 * step), step, (nx, ny, nz)))
    body = components(faces)
    faces = faces[body == np.bincount(body).argmax()]  # loose crumbs and closed hollows go
    used = np.unique(faces)
    number = np.zeros(len(vertices), dtype=np.int64)
    number[used] = np.arange(len(used))
    vertices, faces = vertices[used], number[faces]
    on_floor = (vertices[faces][:, :, 2] == 0.0).all(axis=1)
    return Mesh(vertices, faces, np.where(on_floor, BASE, CARVED))
