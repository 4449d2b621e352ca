# SPDX-License-Identifier: GPL-3.0-or-later
"""The general-purpose libraries that the benchmark puts beside ours; each imported only in its own process."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from typing import Any

import numpy as np
from bench_cases import CUTS, NORMAL, OFFSET, Arrays, Run


def _halved(whole: Any, cut_at: Callable[[Any, float], tuple[Any, Any]], places: tuple[float, ...]) -> list[Any]:
    """Cut at the middle place first, then each half: the quickest order for a library that cuts once at a time."""
    if not places:
        return [whole]
    k = len(places) // 2
    low, high = cut_at(whole, places[k])
    return _halved(low, cut_at, places[:k]) + _halved(high, cut_at, places[k + 1 :])


def vtk() -> dict[str, Run]:
    """One vtkClipClosedSurface for each side of each cut."""
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray, vtk_to_numpy
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPlane, vtkPlaneCollection, vtkPolyData
    from vtkmodules.vtkFiltersGeneral import vtkClipClosedSurface

    def load(vertices: np.ndarray, triangles: np.ndarray) -> Any:
        points, cells, data = vtkPoints(), vtkCellArray(), vtkPolyData()
        points.SetData(numpy_to_vtk(vertices))
        offsets = np.arange(0, 3 * len(triangles) + 1, 3, dtype=np.int64)
        cells.SetData(numpy_to_vtkIdTypeArray(offsets, deep=1), numpy_to_vtkIdTypeArray(triangles.ravel()))
        data.SetPoints(points)
        data.SetPolys(cells)
        return data

    def keep(data: Any, *sides: tuple[np.ndarray, np.ndarray]) -> Any:
        wanted = vtkPlaneCollection()
        for point, normal in sides:
            plane = vtkPlane()
            plane.SetOrigin(*point)
            plane.SetNormal(*normal)
            wanted.AddItem(plane)
        clip = vtkClipClosedSurface()
        clip.SetInputData(data)
        clip.SetClippingPlanes(wanted)
        clip.SetTolerance(1e-6)
        clip.SetScalarModeToNone()
        clip.Update()
        return clip.GetOutput()

    def unload(data: Any) -> Arrays:
        count = data.GetPolys().GetNumberOfCells()
        rows = vtk_to_numpy(data.GetPolys().GetConnectivityArray())
        if len(rows) != 3 * count:
            raise ValueError("vtk returned a face that is no triangle")
        return np.array(vtk_to_numpy(data.GetPoints().GetData()), dtype=np.float64), np.array(rows).reshape(-1, 3)

    x = np.array([1.0, 0.0, 0.0])

    def halves(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
        def at(data: Any, place: float) -> tuple[Any, Any]:
            return keep(data, (x * place, -x)), keep(data, (x * place, x))

        return [unload(d) for d in _halved(load(vertices, triangles), at, CUTS)]

    def plane(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
        data = load(vertices, triangles)
        return [unload(keep(data, (NORMAL * OFFSET, s * NORMAL))) for s in (-1.0, 1.0)]

    def slabs(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
        data, pieces = load(vertices, triangles), []
        for low, high in zip((None, *CUTS), (*CUTS, None), strict=True):
            sides = [] if low is None else [(x * low, x)]
            sides += [] if high is None else [(x * high, -x)]
            pieces.append(unload(keep(data, *sides)))
        return pieces

    return {"planes": slabs, "halved": halves, "plane": plane}


def trimesh() -> dict[str, Run]:
    """slice_plane for each side, capped by the compiled ear clipping of mapbox_earcut."""
    from trimesh import Trimesh

    def at(mesh: Any, point: np.ndarray, normal: np.ndarray) -> tuple[Any, Any]:
        low, high = (mesh.slice_plane(point, s * normal, cap=True, engine="earcut") for s in (-1.0, 1.0))
        return low, high

    x = np.array([1.0, 0.0, 0.0])

    def call(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
        whole = Trimesh(vertices=vertices, faces=triangles, process=False)
        pieces = _halved(whole, lambda mesh, place: at(mesh, x * place, x), CUTS)
        return [(np.asarray(m.vertices), np.asarray(m.faces)) for m in pieces]

    def plane(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
        whole = Trimesh(vertices=vertices, faces=triangles, process=False)
        return [(np.asarray(m.vertices), np.asarray(m.faces)) for m in at(whole, NORMAL * OFFSET, NORMAL)]

    return {"planes": call, "plane": plane}


def manifold3d() -> dict[str, Run]:
    """split_by_plane in double precision."""
    from manifold3d import Manifold, Mesh64

    def load(vertices: np.ndarray, triangles: np.ndarray) -> Any:
        return Manifold(Mesh64(vertices, triangles.astype(np.uint64)))

    def unload(solid: Any) -> Arrays:
        mesh = solid.to_mesh64()
        return np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts).astype(np.int64)

    def at(solid: Any, normal: np.ndarray, offset: float) -> tuple[Any, Any]:
        high, low = solid.split_by_plane(tuple(normal), offset)
        return low, high

    x = np.array([1.0, 0.0, 0.0])

    def call(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
        return [unload(s) for s in _halved(load(vertices, triangles), lambda s, place: at(s, x, place), CUTS)]

    def plane(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
        return [unload(s) for s in at(load(vertices, triangles), NORMAL, OFFSET)]

    return {"planes": call, "plane": plane}


def bmesh() -> dict[str, Run]:
    """Blender's bisect_plane on each half of a copy, the section filled by triangle_fill."""
    import bpy

    bm_module = importlib.import_module("bmesh")  # there only once bpy is

    def load(vertices: np.ndarray, triangles: np.ndarray) -> Any:
        mesh = bpy.data.meshes.new("carving")
        mesh.vertices.add(len(vertices))
        mesh.vertices.foreach_set("co", vertices.astype(np.float32).ravel())
        mesh.loops.add(3 * len(triangles))
        mesh.loops.foreach_set("vertex_index", triangles.astype(np.int32).ravel())
        mesh.polygons.add(len(triangles))
        mesh.polygons.foreach_set("loop_start", np.arange(0, 3 * len(triangles), 3, dtype=np.int32))
        mesh.update(calc_edges=True)
        bm = bm_module.new()
        bm.from_mesh(mesh)
        bpy.data.meshes.remove(mesh)
        return bm

    def half(bm: Any, point: np.ndarray, normal: np.ndarray, lower: bool) -> None:
        geometry = [*bm.verts, *bm.edges, *bm.faces]
        clear = {"clear_outer": True} if lower else {"clear_inner": True}
        made = bm_module.ops.bisect_plane(bm, geom=geometry, dist=0.0, plane_co=point, plane_no=normal, **clear)
        edges = [e for e in made["geom_cut"] if isinstance(e, bm_module.types.BMEdge)]
        bm_module.ops.triangle_fill(bm, edges=edges, use_beauty=False, normal=normal if lower else -normal)

    def at(bm: Any, point: np.ndarray, normal: np.ndarray) -> tuple[Any, Any]:
        other = bm.copy()
        half(bm, point, normal, True)
        half(other, point, normal, False)
        return bm, other

    def unload(bm: Any) -> Arrays:
        mesh = bpy.data.meshes.new("piece")
        bm.to_mesh(mesh)
        bm.free()
        mesh.calc_loop_triangles()
        vertices = np.empty(3 * len(mesh.vertices), dtype=np.float32)
        mesh.vertices.foreach_get("co", vertices)
        triangles = np.empty(3 * len(mesh.loop_triangles), dtype=np.int32)
        mesh.loop_triangles.foreach_get("vertices", triangles)
        bpy.data.meshes.remove(mesh)
        return vertices.reshape(-1, 3).astype(np.float64), triangles.reshape(-1, 3).astype(np.int64)

    x = np.array([1.0, 0.0, 0.0])

    def call(vertices: np.ndarray, triangles: np.ndarray) -> list[Arrays]:
        pieces = _halved(load(vertices, triangles), lambda bm, place: at(bm, x * place, x), CUTS)
        return [unload(bm) for bm in pieces]

    return {"planes": call}
