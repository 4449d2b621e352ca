# SPDX-License-Identifier: GPL-3.0-or-later
"""What the user marks in Blender, read for the core: lines that a joint may follow, zones, viewpoints.

Lines are curve objects in the job's own folder, and edges of the carving with an edge attribute of our own; Blender's
UV seams only when asked. Zones are a face attribute. Viewpoints are ordinary cameras. None of it needs Edit Mode.
"""

from __future__ import annotations

import zlib
from typing import Any, Final

import bpy
import numpy as np
from numpy.typing import NDArray

from . import job_tree
from .core.errors import MeshError
from .core.mesh.mesh import FloatArray
from .core.seams.marks import PLAIN, ZONE_NAMES, Marks, Viewpoint, polylines
from .job_tree import JobCollection
from .world import world_matrix

ZONE: Final = "seamwright_zone"
"""Face attribute of whole numbers on the carving: a zone's number."""

SEAM: Final = "seamwright_seam"
"""Edge attribute of truth values on the carving: a joint may follow the edge."""


def read_marks(job: JobCollection, obj: bpy.types.Object, depsgraph: bpy.types.Depsgraph, scale_length: float) -> Marks:
    """The marks of a job's carving, in world coordinates and metres.

    Parameters
    ----------
    obj : the carving; changed by nothing here.
    depsgraph : evaluated, of a view layer that holds it.

    Raises
    ------
    MeshError
        A viewpoint that is no perspective camera.
    """
    lines = [*_curves(job, depsgraph, scale_length)]
    evaluated = obj.evaluated_get(depsgraph)
    data = evaluated.to_mesh()
    try:
        lines += _edges(data, np.array(evaluated.matrix_world), scale_length, job.seamwright.use_uv_seams)
        zones = _zones(data)
    finally:
        evaluated.to_mesh_clear()
    return Marks(tuple(lines), zones, tuple(_viewpoint(camera, scale_length) for camera in viewpoints(job)))


def viewpoints(job: JobCollection) -> list[bpy.types.Object]:
    """Cameras at the public's eye, by name."""
    held = job_tree.folder(job, job_tree.VIEWPOINTS)
    found = [] if held is None else [obj for obj in held.objects if obj.type == "CAMERA"]
    return sorted(found, key=lambda obj: obj.name)


def marked_curves(job: JobCollection) -> list[bpy.types.Object]:
    """Curves that a joint may follow, by name."""
    held = job_tree.folder(job, job_tree.SEAM_LINES)
    found = [] if held is None else [obj for obj in held.objects if obj.type == "CURVE"]
    return sorted(found, key=lambda obj: obj.name)


def _drawn(obj: Any) -> bool:
    """Whether there is anything in a curve: one that was begun with the pen may be empty still."""
    return len(obj.data.splines) > 0


def marks_key(job: JobCollection) -> str:
    """Changes when lines, viewpoints or zones do; cheap enough for every redraw but for the zones, told by a count."""
    cameras: list[Any] = viewpoints(job)
    curves: list[Any] = marked_curves(job)
    seen = [(c.name, _rows(c), c.data.angle_x, c.data.angle_y) for c in cameras]
    drawn = [(c.name, _rows(c), _points_stamp(c.data)) for c in curves]
    carving = job.seamwright.carving
    return repr((seen, drawn, "" if carving is None else str(carving.get(ZONE, "")), job.seamwright.use_uv_seams))


def _rows(obj: bpy.types.Object) -> list[list[float]]:
    matrix: Any = world_matrix(obj)
    return [list(row) for row in matrix]


def _points_stamp(data: Any) -> int:
    crc = 0
    for spline in data.splines:
        bezier = spline.type == "BEZIER"
        points = spline.bezier_points if bezier else spline.points
        values = np.empty(len(points) * (3 if bezier else 4), dtype=np.float32)
        points.foreach_get("co", values)
        crc = zlib.crc32(values.tobytes(), crc)
    return crc


def _curves(job: JobCollection, depsgraph: bpy.types.Depsgraph, scale_length: float) -> list[FloatArray]:
    out: list[FloatArray] = []
    for obj in marked_curves(job):
        if not _drawn(obj):
            continue  # Blender makes no mesh of it at all
        # The curve itself, not what a bevel makes of it; hidden ones are not evaluated and count all the same.
        bare: Any = obj.copy()
        bare.data = bare.data.copy()
        bare.data.bevel_depth = bare.data.extrude = 0.0
        try:
            data = bare.to_mesh()
            lines = _lines(data, _edge_pairs(data), np.array(world_matrix(obj)), scale_length)
            bare.to_mesh_clear()
            if not all(np.isfinite(line).all() for line in lines):
                raise MeshError(f"{obj.name}: a point of it has a place that is not a finite number; take it away")
            out += lines
        finally:
            job_tree.remove_object(bare)
    return out


def _edges(data: Any, matrix: NDArray[np.float64], scale_length: float, use_uv: bool) -> list[FloatArray]:
    """Marked edges of the carving, as lines."""
    chosen = np.zeros(len(data.edges), dtype=bool)
    attribute = data.attributes.get(SEAM)
    if attribute is not None and attribute.domain == "EDGE" and attribute.data_type == "BOOLEAN":
        attribute.data.foreach_get("value", chosen)
    if use_uv:
        seams = np.zeros(len(data.edges), dtype=bool)
        data.edges.foreach_get("use_seam", seams)
        chosen |= seams
    if not chosen.any():
        return []
    return _lines(data, _edge_pairs(data)[chosen], matrix, scale_length)


def _edge_pairs(data: Any) -> NDArray[np.int64]:
    pairs = np.empty(2 * len(data.edges), dtype=np.int32)
    data.edges.foreach_get("vertices", pairs)
    return pairs.reshape(-1, 2).astype(np.int64)


def _lines(data: Any, pairs: NDArray[np.int64], matrix: NDArray[np.float64], scale_length: float) -> list[FloatArray]:
    points = np.empty(3 * len(data.vertices), dtype=np.float32)
    data.vertices.foreach_get("co", points)
    place = points.reshape(-1, 3).astype(np.float64)
    return list(polylines((place @ matrix[:3, :3].T + matrix[:3, 3]) * scale_length, pairs))


def _zones(data: Any) -> NDArray[np.int64] | None:
    """Zone of each triangle as `convert.mesh_from_object` orders them; None where nothing is marked."""
    attribute = data.attributes.get(ZONE)
    if attribute is None or attribute.domain != "FACE" or attribute.data_type not in ("INT", "INT8"):
        return None
    by_face = np.empty(len(data.polygons), dtype=np.int32)
    attribute.data.foreach_get("value", by_face)
    by_face[(by_face < PLAIN) | (by_face >= len(ZONE_NAMES))] = PLAIN
    data.calc_loop_triangles()
    face = np.empty(len(data.loop_triangles), dtype=np.int32)
    data.loop_triangles.foreach_get("polygon_index", face)
    return by_face[face].astype(np.int64)


def _viewpoint(obj: Any, scale_length: float) -> Viewpoint:
    if obj.data.type != "PERSP":
        raise MeshError(f"viewpoint {obj.name!r} is no perspective camera; set its lens to Perspective")
    return Viewpoint.of_camera(obj.name, _rows(obj), (obj.data.angle_x, obj.data.angle_y), scale_length)
