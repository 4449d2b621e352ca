# SPDX-License-Identifier: GPL-3.0-or-later
"""How a carving's file is read: STL, PLY and OBJ by the core's own readers, everything else through Blender."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from .core.errors import InputError, MeshError
from .core.intake.readers import SUFFIXES, read_carving
from .core.intake.weld import weld_if_open
from .core.mesh.mesh import Mesh

if TYPE_CHECKING:
    import bpy

BLEND: Final = ".blend"
OTHER: Final = (".glb", ".gltf", ".fbx", ".usd", ".usda", ".usdc", ".usdz", ".abc", ".dae")
"""Endings for which Blender has an importer, in one version or another."""
UNITLESS: Final = (".abc",)
"""Of these, formats that say nothing of their unit."""
_LISTED: Final = 20


@dataclass(frozen=True, eq=False)
class CarvingFile:
    """A carving as its file has it.

    Attributes
    ----------
    name : the file's name, for messages.
    mesh : in the file's own numbers; in metres where `says_unit`.
    says_unit : whether the file's own unit was applied.
    notes : sentences on what reading it took.
    """

    name: str
    mesh: Mesh
    says_unit: bool
    notes: tuple[str, ...]


def read_file(path: str, object_name: str | None = None) -> CarvingFile:
    """Read a carving.

    Parameters
    ----------
    path : STL, PLY, OBJ; .blend; or what Blender has an importer for.
    object_name : the object to take, where a file holds several.

    Raises
    ------
    InputError
        One line that begins with the file's name: it is missing or cannot be read, holds several objects or none, or
        `object_name` is not one of them.
    """
    suffix = Path(path).suffix.lower()
    name = Path(path).name or path
    if suffix not in (BLEND, *OTHER):
        if object_name is not None and suffix in SUFFIXES:
            raise InputError(f"{name}: {suffix[1:].upper()} files hold no named objects; leave --object out")
        result = read_carving(path)
        return CarvingFile(name, result.mesh, False, result.notes)
    if Path(path).is_dir():
        raise InputError(f"{name}: this is a folder; give the mesh file in it")
    if not Path(path).exists():
        raise InputError(f"{name}: there is no such file; check the path")
    try:
        Path(path).open("rb").close()
    except OSError as error:
        raise InputError(f"{name}: the file cannot be read: {error.strerror or error}; check it") from None
    mesh = _through_blender(path, name, suffix, object_name)
    mesh, notes = weld_if_open(mesh)
    return CarvingFile(name, mesh, suffix not in UNITLESS, notes)


def _through_blender(path: str, name: str, suffix: str, object_name: str | None) -> Mesh:
    require_blender()
    from . import convert
    from .held_interrupt import held_interrupt
    from .quiet import quiet

    with quiet(), held_interrupt():
        if suffix == BLEND:
            _open(path, name)
        else:
            _import(path, name, suffix)
    obj, scene = _choose(name, object_name)
    try:
        return convert.mesh_from_object(obj, _graph(obj, scene), scene.unit_settings.scale_length)
    except MeshError as error:
        raise InputError(f"{name}: {error}") from None


def require_blender() -> None:
    """Make sure that Blender is there.

    Raises
    ------
    InputError
        It cannot be loaded, with the reason.
    """
    from .quiet import quiet

    try:
        # From 5.2 on it says while it loads where its colours come from.
        with quiet():
            import bpy  # noqa: F401
    except ImportError as error:
        raise InputError(f"Blender's module bpy is needed and does not load ({error}); run this in Blender") from None


def _open(path: str, name: str) -> None:
    import bpy

    try:
        bpy.ops.wm.open_mainfile(filepath=str(Path(path).resolve()), load_ui=False, use_scripts=False)
    except RuntimeError as error:
        raise InputError(f"{name}: Blender cannot open it: {_last_line(error)}") from None


def _import(path: str, name: str, suffix: str) -> None:
    import bpy

    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    importer = _importer(suffix)
    if importer is None:
        version = ".".join(map(str, bpy.app.version[:2]))
        raise InputError(f"{name}: Blender {version} has no importer for {suffix}; export it as STL, PLY or OBJ")
    operator, options = importer
    try:
        done = operator(filepath=str(Path(path).resolve()), **options)
    except RuntimeError as error:
        raise InputError(f"{name}: Blender cannot read it: {_last_line(error)}") from None
    if "FINISHED" not in done:
        raise InputError(f"{name}: Blender could not read it; export it as STL, PLY or OBJ")


def _importer(suffix: str) -> tuple[Any, dict[str, object]] | None:
    """Blender's operator for this ending, with what must be said so that units and axes are as the format says."""
    import addon_utils
    import bpy

    choices: list[tuple[Any, dict[str, object]]]
    if suffix in (".glb", ".gltf"):
        addon_utils.enable("io_scene_gltf2")
        choices = [(bpy.ops.import_scene.gltf, {})]
    elif suffix == ".fbx":
        addon_utils.enable("io_scene_fbx")
        choices = [(bpy.ops.wm.fbx_import, {}), (bpy.ops.import_scene.fbx, {})]
    elif suffix == ".abc":
        choices = [(bpy.ops.wm.alembic_import, {"as_background_job": False})]
    elif suffix == ".dae":
        choices = [(bpy.ops.wm.collada_import, {"import_units": False})]
    else:
        choices = [(bpy.ops.wm.usd_import, {})]
    for operator, options in choices:
        try:
            operator.get_rna_type()
        except KeyError:
            continue
        return operator, options
    return None


def _choose(name: str, object_name: str | None) -> tuple[bpy.types.Object, bpy.types.Scene]:
    """The object asked for, or the one mesh object, with a scene that holds it; the open scene comes first."""
    import bpy

    here: Any = bpy.context.scene
    held: dict[str, tuple[bpy.types.Object, bpy.types.Scene]] = {}
    for scene in (here, *(s for s in bpy.data.scenes if s != here)):
        for obj in scene.objects:
            held.setdefault(obj.name, (obj, scene))
    meshes = sorted(key for key, (obj, _) in held.items() if obj.type == "MESH")
    if object_name is not None:
        if object_name not in held:
            raise InputError(f"{name}: there is no object {object_name!r}; {_listed(meshes)}")
        return held[object_name]
    if not meshes:
        raise InputError(f"{name}: there is no mesh object in it; give a file that holds the carving")
    if len(meshes) > 1:
        raise InputError(f"{name}: give --object NAME; {_listed(meshes)}")
    return held[meshes[0]]


def _listed(meshes: Sequence[str]) -> str:
    if not meshes:
        return "there is no mesh object in it"
    shown = ", ".join(repr(mesh) for mesh in meshes[:_LISTED])
    rest = len(meshes) - _LISTED
    return f"its mesh objects are {shown}" + (f" and {rest} more" if rest > 0 else "")


def _graph(obj: bpy.types.Object, scene: bpy.types.Scene) -> bpy.types.Depsgraph:
    """An evaluated graph that holds `obj`, also where it is hidden: what is hidden is not evaluated otherwise."""
    import bpy

    layer = scene.view_layers[0] if scene != bpy.context.scene else bpy.context.view_layer
    with bpy.context.temp_override(scene=scene, view_layer=layer):
        obj.hide_viewport = False
        if obj.name not in scene.collection.objects:
            scene.collection.objects.link(obj)
        layer.update()
        obj.hide_set(False, view_layer=layer)
        return bpy.context.evaluated_depsgraph_get()


def _last_line(error: Exception) -> str:
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    return lines[-1].removeprefix("Error: ") if lines else "no reason was given"
