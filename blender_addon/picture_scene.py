# SPDX-License-Identifier: GPL-3.0-or-later
"""The scene in which a job's pictures are taken: pieces, joint lines, number plates, a scale bar, floor and light."""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np
from mathutils import Vector
from numpy.typing import ArrayLike, NDArray

from . import convert
from .compat import use_nodes
from .core.jobpack.label_places import COLUMNS, NOBODY, label_places
from .core.jobpack.piece_tones import touching_tones
from .core.jobpack.shots import BARE, Shot
from .core.jobpack.view_fit import FloatArray, View, fit
from .core.mesh.mesh import KIND_NAMES
from .held_interrupt import held_interrupt

if TYPE_CHECKING:
    from .core.jobpack.record import JobResult

WIDTH, HEIGHT = 960, 600
SAMPLES = 8
"""Samples of a pixel: few, as the denoiser takes the grain off; edges of lines and numbers need this many."""

# Linear colour. Two muted hues, each light and deep; sawn foam is paler than either.
TONES = ((0.33, 0.43, 0.52), (0.66, 0.51, 0.33), (0.20, 0.29, 0.38), (0.47, 0.33, 0.19))
SAWN = (0.86, 0.84, 0.78)
FLOOR = (0.80, 0.80, 0.80)
INK = (0.015, 0.015, 0.02)
PAPER = (0.95, 0.95, 0.95)

WHOLE = (0.52, 0.47, 0.40)
"""Between the two hues: one stone."""

PLATE = 15.0
"""Half the height of a number plate, pixels."""
LINE = 1.3
"""Half the width of a joint line, pixels at the middle of the carving."""


def whole_arrays(result: JobResult) -> convert.MeshArrays:
    """The uncut carving for `PictureScene`, made without Blender: a second and more for two million triangles."""
    return convert.mesh_arrays(result.carving, at=_middle(result))


def _middle(result: JobResult) -> FloatArray:
    where = result.carving.vertices
    middle: FloatArray = (where.min(axis=0) + where.max(axis=0)) / 2.0
    return middle


class PictureScene:
    """Holds the job in the open file's scene; `show` arranges it for a view, `render` takes the picture.

    `add_pieces` comes before the first `show`: a piece a step, as both take long on a big carving.
    """

    def __init__(self, result: JobResult, whole: convert.MeshArrays | None = None) -> None:
        self._points = [piece.mesh.vertices for piece in result.pieces]
        self._marks = [piece.mark for piece in result.pieces]
        boxes = np.array([[p.min(axis=0), p.max(axis=0)] for p in self._points])
        self._low, self._high = boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)
        self._centres = boxes.mean(axis=1)
        self._scene: Any = bpy.context.scene
        self._materials = {name: _matte(name, colour) for name, colour in (("sawn", SAWN), ("floor", FLOOR))}
        self._materials |= {name: _glow(name, colour) for name, colour in (("ink", INK), ("paper", PAPER))}
        self._result, self._whole = result, whole
        self._carving: bpy.types.Object | None = None
        self._pieces: list[bpy.types.Object] = []
        self._lines = self._add_lines(result)
        self._signs: list[bpy.types.Object] = []
        self._add_floor()
        self._sun = self._add_light()
        camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
        self._link(camera)
        self._scene.camera = camera
        self._camera = camera
        _settings(self._scene)

    def add_pieces(self, result: JobResult) -> Iterator[float]:
        """Add the pieces of the same result, and make them ready for rays; yields how far it is, 0 to 1."""
        skins = [_matte(f"tone {k}", colour) for k, colour in enumerate(TONES)]
        sawn = self._materials["sawn"]
        steps = 2.0 * len(result.pieces)
        for piece, centre, tone in zip(result.pieces, self._centres, touching_tones(result), strict=True):
            yield len(self._pieces) / steps
            obj = convert.object_from_mesh(f"piece {piece.mark}", piece.mesh, at=centre)
            convert.set_materials(obj, [skins[tone], sawn, skins[tone], skins[tone]])
            self._link(obj)
            self._pieces.append(obj)
        graph = self._scene.view_layers[0].depsgraph
        graph.update()
        for number, obj in enumerate(self._pieces):
            yield 0.5 + number / steps
            # The first ray at a mesh makes its search tree, which later ones find there.
            obj.evaluated_get(graph).ray_cast(Vector(), Vector((0.0, 0.0, 1.0)))

    def show(self, shot: Shot) -> View:
        """Arrange everything for a picture; parameters and result as `showing`."""
        steps = self.showing(shot)
        while True:
            try:
                next(steps)
            except StopIteration as done:
                view: View = done.value
                return view

    def showing(self, shot: Shot) -> Generator[float, None, View]:
        """Steps of arranging everything for a picture; each yields how far it is, 0 to 1.

        Parameters
        ----------
        shot : from where, how far the pieces are moved from the middle as a share of their own distance to it (0 leaves
            them), and how everything is dressed.

        Returns
        -------
        View
            The camera of the picture.
        """
        direction, apart, dress = shot.direction, shot.apart, shot.dress
        yield 0.0
        middle = (self._low + self._high) / 2.0
        middle[2] = self._low[2]
        # Stacked pieces hide each other more than those side by side, so they are lifted further.
        shifts = (self._centres - middle) * np.array([apart, apart, 2.0 * apart])
        shifts[:, 2] -= shifts[:, 2].min()
        points = np.concatenate([p + s for p, s in zip(self._points, shifts, strict=True)])
        bar = self._bar_corners(points[:, :2], direction)
        yield 0.1
        view = shot.view or fit(np.concatenate([points, bar]), direction, HEIGHT / WIDTH, parallel=shot.parallel)
        yield 0.2
        nearest = float(view.project(points)[:, 2].min())
        for obj, centre, shift in zip(self._pieces, self._centres, shifts, strict=True):
            obj.location = (centre + shift).tolist()
        self._lines.hide_render = apart != 0.0 or dress == BARE
        self._dress(bool(dress))
        # A viewpoint may stand among the rock: its lines are no thinner than they look from a step away.
        middle_depth = max(float(view.project([(self._low + self._high) / 2.0])[0, 2]), 1.0 if shot.view else 0.0)
        pixel = view.width_at(middle_depth) / WIDTH
        self._lines.data.bevel_depth = LINE * pixel
        self._aim(view)
        for sign in self._signs:
            bpy.data.objects.remove(sign)
        self._signs = []
        if dress:
            return view
        self._add_bar(bar, view)
        self._scene.view_layers[0].depsgraph.update()
        seen = np.full((round(COLUMNS * view.aspect), COLUMNS), NOBODY, dtype=np.int64)
        for row in range(len(seen)):
            yield 0.3 + 0.7 * row / len(seen)
            self._see(view, seen, row)
        self._add_plates(seen, nearest, view)
        return view

    def render(self, path: Path) -> None:
        """Write the picture as PNG."""
        self._scene.render.filepath = str(path)
        with held_interrupt():
            bpy.ops.render.render(write_still=True)

    def _dress(self, whole: bool) -> None:
        """Show the uncut carving, or the pieces."""
        if whole and self._carving is None:
            arrays = whole_arrays(self._result) if self._whole is None else self._whole
            obj = bpy.data.objects.new("carving", convert.mesh_data("carving", arrays))
            obj.location = _middle(self._result).tolist()
            # Seen by the camera, passed by the rays that ask which piece is seen.
            obj.hide_viewport = True
            convert.set_materials(obj, [_matte("whole", WHOLE)] * len(KIND_NAMES))
            self._link(obj)
            self._carving = obj
        if self._carving is not None:
            self._carving.hide_render = not whole
        for obj in self._pieces:
            obj.hide_render = whole

    def _link(self, obj: bpy.types.Object) -> None:
        self._scene.collection.objects.link(obj)

    def _add_lines(self, result: JobResult) -> bpy.types.Object:
        lines = [line.points for joint in result.joints for line in joint.lines if len(line.points) > 1]
        data = convert.polyline("joint lines", lines)
        data.bevel_resolution = 1
        data.materials.append(self._materials["ink"])
        obj = bpy.data.objects.new("joint lines", data)
        obj.visible_shadow = False
        # Seen by the camera, passed by the rays that ask which piece is seen.
        obj.hide_viewport = True
        self._link(obj)
        return obj

    def _add_floor(self) -> None:
        middle = (self._low + self._high) / 2.0
        reach = 60.0 * float(np.linalg.norm(self._high - self._low))
        square = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) * reach
        square += [middle[0], middle[1], self._low[2]]
        obj = bpy.data.objects.new("floor", convert.surface("floor", square, [[0, 1, 2], [0, 2, 3]]))
        obj.data.materials.append(self._materials["floor"])
        self._link(obj)

    def _add_light(self) -> bpy.types.Object:
        world = bpy.data.worlds.new("light")
        use_nodes(world)
        background = world.node_tree.nodes["Background"]
        background.inputs["Color"].default_value = (1.0, 1.0, 1.0, 1.0)
        background.inputs["Strength"].default_value = 0.55
        self._scene.world = world
        light: Any = bpy.data.lights.new("sun", "SUN")
        light.energy = 2.6
        light.angle = math.radians(8.0)
        sun = bpy.data.objects.new("sun", light)
        self._link(sun)
        return sun

    def _aim(self, view: View) -> None:
        convert.place(self._camera, view.axes, view.position)
        lens: Any = self._camera.data
        lens.type = "ORTHO" if view.parallel else "PERSP"
        lens.sensor_fit = "HORIZONTAL"
        if view.parallel:
            lens.ortho_scale = 2.0 * view.half
        else:
            lens.angle = 2.0 * math.atan(view.half)
        lens.clip_start, lens.clip_end = 0.01, 1000.0 * float(np.linalg.norm(self._high - self._low))
        # Light from over the viewer's left shoulder, so that the right-hand sides fall off into shade; from above the
        # shadows are kept short, as they hide what lies beside.
        light = view.axes @ np.array([-0.35, 0.35, 1.0] if view.parallel else [-0.55, 0.75, 0.6])
        light[2] = max(float(light[2]), 0.35)
        z = light / np.linalg.norm(light)
        x = np.cross([0.0, 1.0, 0.0] if abs(z[1]) < 0.9 else [1.0, 0.0, 0.0], z)
        x /= np.linalg.norm(x)
        convert.place(self._sun, np.column_stack([x, np.cross(z, x), z]), [0.0, 0.0, 0.0])

    def _add_plates(self, seen: NDArray[np.int64], nearest: float, view: View) -> None:
        """A plate with its number on the middle of what is seen of each piece, in front of everything."""
        cells = PLATE * COLUMNS / WIDTH
        places = label_places(seen, len(self._pieces), math.ceil(cells * 0.8))
        depth = 0.98 * nearest
        pixel = view.width_at(depth) / WIDTH
        for mark, place in zip(self._marks, places, strict=True):
            if place is None:
                continue
            plate, text = _plate(mark, self._materials["paper"], self._materials["ink"])
            for obj, lift in ((plate, 0.0), (text, 0.5)):
                at = view.point(place[0], place[1], depth - lift * pixel)
                convert.place(obj, view.axes * pixel, at)
                _unlit(obj)
                self._link(obj)
                self._signs.append(obj)

    def _see(self, view: View, seen: NDArray[np.int64], row: int) -> None:
        """Fill a row of `seen`: index of the piece that a ray through the middle of each cell meets first."""
        rows, columns = seen.shape
        at = {obj.name: k for k, obj in enumerate(self._pieces)}
        graph = self._scene.view_layers[0].depsgraph
        eye, ahead = view.position, -view.axes[:, 2]
        for column in range(columns):
            through = view.point((2 * column + 1) / columns - 1.0, 1.0 - (2 * row + 1) / rows, 1.0)
            start, way = (through, ahead) if view.parallel else (eye, through - eye)
            hit, _, _, _, obj, _ = self._scene.ray_cast(graph, Vector(start.tolist()), Vector(way.tolist()))
            if hit:
                seen[row, column] = at.get(obj.name, NOBODY)

    def _bar_corners(self, ground: FloatArray, direction: ArrayLike) -> FloatArray:
        """Ends of a scale bar on the floor in front of the carving, (2, 3): a round length, square to the view."""
        ahead = np.asarray(direction, dtype=np.float64)[:2]
        ahead = ahead / np.linalg.norm(ahead) if np.linalg.norm(ahead) > 1e-6 else np.array([0.0, 1.0])
        side = np.array([ahead[1], -ahead[0]])
        along, across = ground @ ahead, ground @ side
        length = self._bar_length()
        near = float(along.min()) - 0.06 * float(np.ptp(across))
        start = float(across.min() + across.max()) / 2.0 - length / 2.0
        ends = np.array([ahead * near + side * start, ahead * near + side * (start + length)])
        return np.column_stack([ends, np.full(2, self._low[2])])

    def _bar_length(self) -> float:
        """1, 2 or 5 times a power of ten, at most a third of the carving's greatest plan length, metres."""
        third = float((self._high - self._low)[:2].max()) / 3.0
        ten = 10.0 ** math.floor(math.log10(max(third, 1e-3)))
        return max(k * ten for k in (1.0, 2.0, 5.0) if k * ten <= third * (1.0 + 1e-9))

    def _add_bar(self, ends: FloatArray, view: View) -> None:
        length = float(np.linalg.norm(ends[1] - ends[0]))
        along = (ends[1] - ends[0]) / length
        up = np.array([-along[1], along[0], 0.0])
        pixel = view.width_at(float(view.project(ends)[:, 2].mean())) / WIDTH
        thick = 2.5 * pixel
        axes = np.column_stack([along, up, [0.0, 0.0, 1.0]])
        quad = np.array([[0, -1, 0], [1, -1, 0], [1, 1, 0], [0, 1, 0]], dtype=np.float64) * [length, thick, 0.0]
        bar = bpy.data.objects.new("bar", convert.surface("bar", quad, [[0, 1, 2], [0, 2, 3]]))
        bar.data.materials.append(self._materials["ink"])
        convert.place(bar, axes, ends[0] + [0.0, 0.0, pixel])
        shown = f"{length:.6g} m" if length > 0.999999 else f"{length * 1000.0:.6g} mm"
        text = _text(shown, 22.0, self._materials["ink"])
        depth = float(view.project(ends)[:, 2].min())
        text.data.align_x = "LEFT"
        end = view.project([ends[1]])[0]
        at = view.point(end[0] + 2.0 * 10.0 / WIDTH, end[1], depth * 0.95)
        convert.place(text, view.axes * (view.width_at(depth * 0.95) / WIDTH), at)
        for obj in (bar, text):
            _unlit(obj)
            self._link(obj)
            self._signs.append(obj)


def _plate(mark: str, paper: bpy.types.Material, ink: bpy.types.Material) -> tuple[bpy.types.Object, bpy.types.Object]:
    """A plate with round ends and its text, in pixels about the origin, facing +z."""
    half = max(PLATE, 0.62 * PLATE * len(mark) + 0.35 * PLATE)
    turn = np.linspace(0.0, 2.0 * math.pi, 48, endpoint=False)
    rim = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(48)]) * PLATE
    rim[:, 0] += np.where(np.cos(turn) >= 0.0, half - PLATE, PLATE - half)
    fan = [[0, k, k + 1] for k in range(1, 47)]
    plate = bpy.data.objects.new("plate", convert.surface("plate", rim, fan))
    plate.data.materials.append(paper)
    return plate, _text(mark, 1.55 * PLATE, ink)


def _text(words: str, size: float, material: bpy.types.Material) -> bpy.types.Object:
    data: Any = bpy.data.curves.new("text", "FONT")
    data.body = words
    data.size = size
    data.align_x = data.align_y = "CENTER"
    data.materials.append(material)
    return bpy.data.objects.new("text", data)


def _unlit(obj: bpy.types.Object) -> None:
    """Seen by the camera alone: no shadow, no light, no reflection of it."""
    obj.visible_shadow = obj.visible_diffuse = obj.visible_glossy = obj.visible_transmission = False


def _matte(name: str, colour: tuple[float, float, float]) -> bpy.types.Material:
    material = bpy.data.materials.new(name)
    use_nodes(material)
    shader = material.node_tree.nodes["Principled BSDF"]
    shader.inputs["Base Color"].default_value = (*colour, 1.0)
    shader.inputs["Roughness"].default_value = 1.0
    shader.inputs["Specular IOR Level"].default_value = 0.0
    return material


def _glow(name: str, colour: tuple[float, float, float]) -> bpy.types.Material:
    """Flat colour whatever the light."""
    material = bpy.data.materials.new(name)
    use_nodes(material)
    nodes = material.node_tree.nodes
    nodes.clear()
    glow = nodes.new("ShaderNodeEmission")
    glow.inputs["Color"].default_value = (*colour, 1.0)
    out = nodes.new("ShaderNodeOutputMaterial")
    material.node_tree.links.new(glow.outputs["Emission"], out.inputs["Surface"])
    return material


def _settings(scene: Any) -> None:
    render = scene.render
    render.engine = "CYCLES"
    render.resolution_x, render.resolution_y, render.resolution_percentage = WIDTH, HEIGHT, 100
    render.image_settings.file_format = "PNG"
    render.image_settings.color_mode = "RGB"
    render.image_settings.compression = 60
    # A PNG of Blender's carries file name, date and render time unless told otherwise.
    for name in [p.identifier for p in render.bl_rna.properties if p.identifier.startswith("use_stamp")]:
        setattr(render, name, False)
    scene.view_settings.view_transform = "Standard"
    cycles = scene.cycles
    cycles.device = "CPU"
    cycles.samples = SAMPLES
    cycles.use_adaptive_sampling = False
    cycles.max_bounces = cycles.diffuse_bounces = 1
    cycles.seed = 0
    try:
        cycles.use_denoising = True
        cycles.denoiser = "OPENIMAGEDENOISE"
        cycles.denoising_quality = "FAST"
        cycles.denoising_prefilter = "FAST"
    except TypeError:
        # Built without the denoiser: the picture is grainier, and still a picture.
        cycles.use_denoising = False
