# SPDX-License-Identifier: GPL-3.0-or-later
"""What the interface costs on a big carving: drawing of panels, and how long operators hold the window up.

::

    .venv/bin/python tests/extension/bench_panel.py [--triangles 2000000] [--parts 12] [--no-proposal]

Panels draw into a layout that does nothing, so what is measured is the extension's own share and not Blender's drawing.
Operators that go on beside the window are driven as the window drives them: what counts is the longest stretch between
two steps, in which nothing moves; and, as the core beside may keep Python to itself, how long at most the process had
worked until the window's thread got its turn. All others count from call to end. The scan has a UV map, a colour
attribute and two materials. Pictures are arranged, but not rendered: in a window Blender does that as a job of its own.
Both clocks are shown, the wall's and that of the window's own thread, as a busy machine stretches the first alone.
Nothing here is a test: times depend on the machine.
"""

from __future__ import annotations

import argparse
import base64
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

USER_FOLDER = tempfile.mkdtemp(prefix="seamwright-bench-")
os.environ["BLENDER_USER_RESOURCES"] = USER_FOLDER

import bpy  # noqa: E402
import numpy as np  # noqa: E402
import seamwright  # noqa: E402
from seamwright.core.demo import demo_carving, demo_job_toml, demo_keep_clear  # noqa: E402
from seamwright.core.intake.readers import write_ply  # noqa: E402
from seamwright.core.mesh.mesh import Mesh  # noqa: E402

DRAW_LIMIT, WAIT_LIMIT = 2e-3, 0.5
ROUNDS = 50


class Nothing:
    """A layout that takes every call and every value."""

    def __getattr__(self, name: str) -> Callable[..., Any]:
        return lambda *words, **named: (Nothing(), Nothing()) if name == "panel" else Nothing()


class Context:
    """Blender's context with the one thing that it lacks without a window: a size of the interface."""

    preferences = SimpleNamespace(system=SimpleNamespace(ui_scale=1.0))

    def __getattr__(self, name: str) -> Any:
        return getattr(bpy.context, name)


def stand_in(cls: type, **values: Any) -> Any:
    """An object with the functions of a Blender class, which only Blender itself can make one of."""
    names: dict[str, Any] = {}
    for base in reversed(cls.__mro__):
        if base is not object and not base.__module__.startswith("bpy"):
            names |= {key: value for key, value in vars(base).items() if not key.startswith("__")}
    return type(cls.__name__, (), names | values)()


def say(text: str) -> None:
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def draw(stage: str) -> None:
    """Time all panels and one row of each list, in this stage of the job."""
    context, total = Context(), 0.0
    for cls in seamwright.registration.CLASSES:
        if not issubclass(cls, bpy.types.Panel | bpy.types.UIList):
            continue
        if issubclass(cls, bpy.types.Panel):
            if hasattr(cls, "poll") and not cls.poll(context):
                continue
            panel = stand_in(cls, layout=Nothing())
            seconds = _median(lambda panel=panel: panel.draw(context))
            total += seconds
        else:
            seconds = _rows(cls)
            total += seconds
        word = "  OVER" if seconds > DRAW_LIMIT else ""
        say(f"  {stage:<12} {cls.__name__:<28} {seconds * 1e3:7.3f} ms{word}")
    say(f"  {stage:<12} {'all together':<28} {total * 1e3:7.3f} ms{'  OVER' if total > DRAW_LIMIT else ''}")


def _rows(cls: type) -> float:
    job = seamwright.job_tree.active_job(bpy.context)
    holds = "joints" if "joints" in cls.__name__ else "pieces"
    folder = seamwright.job_tree.folder(job, holds) if job else None
    if folder is None:
        return 0.0
    rows = stand_in(cls)

    def once() -> None:
        rows.filter_items(bpy.context, folder, "objects")
        for item in folder.objects[:14]:
            rows.draw_item(Context(), Nothing(), folder, item, 0, job.seamwright, "index")

    return _median(once)


def _median(call: Callable[[], Any]) -> float:
    call()
    times = []
    for _ in range(ROUNDS):
        start = time.thread_time()  # the thread's own: others on the machine cost nothing here
        call()
        times.append(time.thread_time() - start)
    return statistics.median(times)


class Clock:
    """Wall time, and time of this thread on a processor."""

    def __init__(self) -> None:
        self.wall, self.own = time.perf_counter(), time.thread_time()

    def read(self) -> tuple[float, float]:
        """Seconds since it was made: own, wall."""
        return time.thread_time() - self.own, time.perf_counter() - self.wall


def at_once(name: str, call: Callable[[], Any]) -> None:
    """Time an operator that blocks."""
    clock = Clock()
    call()
    own, wall = clock.read()
    say(f"  {name:<34} {own:8.3f} s at once, wall {wall:.3f} s{'  OVER' if own > WAIT_LIMIT else ''}")


def beside(cls: type, **values: Any) -> None:
    """Time an operator that goes on a step at a time, and its longest stretches without one."""
    operator = stand_in(cls, **values)
    steps = operator.steps(bpy.context, False)
    whole = Clock()
    stretches, text, told = [], "start", ""
    asleep, held = 0.0, (0.0, "")
    while True:
        if asleep:
            held = max(held, (time.process_time() - asleep, text))
        clock = Clock()
        try:
            step = next(steps)
        except StopIteration as done:
            stretches.append((*clock.read(), text))
            told = str(done.value)
            break
        stretches.append((*clock.read(), text))
        text = step.text
        asleep = time.process_time()
        time.sleep(0.002)
    stretches.sort(reverse=True)
    say(f"  {cls.bl_idname:<34} {whole.read()[1]:8.3f} s wall; longest stretches:")
    for own, wall, at in stretches[:4]:
        if own > WAIT_LIMIT / 10 or (own, wall, at) == stretches[0]:
            say(f"  {'':<34} {own:8.3f} s, wall {wall:.3f} s after {at!r}{'  OVER' if own > WAIT_LIMIT else ''}")
    say(f"  {'':<34} {held[0]:8.3f} s at most until it came to its turn beside {held[1]!r}")
    say(f"  {'':<34} {told[:84]}")
    bpy.context.view_layer.update()


def dress(obj: bpy.types.Object) -> None:
    """Give a scan what scans have: a UV map, colours, and materials."""
    data: Any = obj.data
    where: Any = np.empty(len(data.vertices) * 3, dtype=np.float32)
    data.attributes["position"].data.foreach_get("vector", where)
    where = where.reshape(-1, 3)
    vertex: Any = np.empty(len(data.loops), dtype=np.int32)
    data.attributes[".corner_vert"].data.foreach_get("value", vertex)
    data.uv_layers.new(name="plan", do_init=False).uv.foreach_set("vector", where[vertex][:, :2].ravel())
    colours = np.column_stack([where / 10.0, np.ones(len(where), dtype=np.float32)]).astype(np.float32)
    data.color_attributes.new("paint", "FLOAT_COLOR", "POINT").data.foreach_set("color", colours.ravel())
    for name in ("rock", "moss"):
        data.materials.append(bpy.data.materials.new(name))
    seamwright.convert.face_numbers(data, "material_index", np.arange(len(data.polygons)) % 2)


def arrange_only() -> None:
    """Leave rendering out of what is timed; a picture of one pixel stands for it."""
    pixel = base64.b64decode(
        "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNkYPhfDwAChwGA60e6kgAAAABJRU5ErkJggg=="
    )

    def no_render(scene: bpy.types.Scene, path: Path, step: Any) -> Iterator[Any]:
        path.write_bytes(pixel)
        yield step

    seamwright.pack_here._render_beside = no_render


def bench(triangles: int, parts: int, propose: bool) -> None:
    classes = {cls.__name__: cls for cls in seamwright.registration.CLASSES}
    folder, ops = Path(USER_FOLDER), bpy.ops.seamwright
    mesh = demo_carving(triangles)
    write_ply(folder / "outcrop.ply", mesh)
    for name, body in demo_keep_clear().items():
        write_ply(folder / name, body)
    (folder / "JOB.toml").write_text(demo_job_toml(), encoding="utf-8")
    say(f"{len(mesh.triangles):,} triangles, {parts} parts, Blender {bpy.app.version_string}")
    say("Operators")
    draw("empty")
    beside(classes["SEAMWRIGHT_OT_carving_import"], filepath=str(folder / "outcrop.ply"), unit="1 m", up="z")
    carving = seamwright.job_tree.active_job(bpy.context).seamwright.carving
    dress(carving)
    bpy.context.view_layer.update()
    draw("imported")
    at_once("settings_read", lambda: ops.settings_read(filepath=str(folder / "JOB.toml")))
    at_once("limits_preset", lambda: ops.limits_preset(preset="four"))
    beside(classes["SEAMWRIGHT_OT_carving_check"])
    draw("checked")
    mark(carving)
    draw("marked")
    beside(classes["SEAMWRIGHT_OT_clearance_check"])
    if propose:
        beside(classes["SEAMWRIGHT_OT_joints_propose"], keep="NONE", pieces=0)
    at_once("joints_clear", ops.joints_clear)
    beside(classes["SEAMWRIGHT_OT_joints_equal"], parts=parts, square_to="LONG")
    draw("joints")
    at_once("joint_add", ops.joint_add)
    at_once("joint_reach", lambda: ops.joint_reach(reach="CURSOR"))
    at_once("joint_order", lambda: ops.joint_order(way="EARLIER"))
    at_once("joint_remove", ops.joint_remove)
    beside(classes["SEAMWRIGHT_OT_cut"], renumber=False)
    draw("cut")
    beside(classes["SEAMWRIGHT_OT_plan_keep"])
    at_once("plan_take", lambda: ops.plan_take(row=0))
    draw("plan kept")
    beside(classes["SEAMWRIGHT_OT_cut"], renumber=False)
    bpy.context.view_layer.objects.active = seamwright.job_tree.joints(seamwright.job_tree.active_job(bpy.context))[1]
    bpy.context.view_layer.objects.active.location.x += 0.02
    draw("joint moved")
    beside(classes["SEAMWRIGHT_OT_cut"], renumber=False)
    at_once("show", lambda: ops.show(what="CARVING"))
    at_once("piece_show", lambda: ops.piece_show(piece="2"))
    at_once("trial", ops.trial)
    at_once("trial_leave", ops.trial_leave)
    at_once("fingerprint of the carving", lambda: seamwright.watch.take(seamwright.job_tree.active_job(bpy.context)))
    at_once("job_make", lambda: _make_another(carving))
    arrange_only()
    at_once("joints_write", lambda: ops.joints_write(filepath=str(folder / "JOINTS.json")))
    at_once("settings_write", lambda: ops.settings_write(filepath=str(folder / "JOB2.toml")))
    beside(classes["SEAMWRIGHT_OT_pack_export"], folder=str(folder / "pack"), replace=False, pictures=True)
    at_once("Blender's own step of undo", lambda: bpy.ops.ed.undo_push(message="bench"))
    torn = seamwright.convert.object_from_mesh("torn", Mesh(mesh.vertices, mesh.triangles[1:]))
    bpy.context.scene.collection.objects.link(torn)
    dress(torn)
    bpy.context.view_layer.objects.active = torn
    at_once("job_make", ops.job_make)
    beside(classes["SEAMWRIGHT_OT_carving_mend"], floor=False, skin=False)
    at_once("carving_scale", _scaled)


def _scaled() -> None:
    bpy.ops.seamwright.tape_add(first=(0.0, 0.0, 0.0), second=(1.0, 0.0, 0.0), length=1.01)
    bpy.ops.seamwright.carving_scale()


def mark(carving: Any) -> None:
    """Zones on a tenth of the faces, a line and a viewpoint; masks and face sets as the brushes leave them."""
    ops, data = bpy.ops.seamwright, carving.data
    classes = {cls.__name__: cls for cls in seamwright.registration.CLASSES}
    where = np.empty(len(data.vertices) * 3, dtype=np.float32)
    data.attributes["position"].data.foreach_get("vector", where)
    high = np.quantile(where[2::3], 0.9)
    data.attributes.new(".sculpt_mask", "FLOAT", "POINT").data.foreach_set(
        "value", (where[2::3] > high).astype(np.float32)
    )
    sets: Any = data.attributes.new(".sculpt_face_set", "INT", "FACE")
    sets.data.foreach_set("value", (np.arange(len(data.polygons)) * 10 // len(data.polygons)).astype(np.int32))
    for zone, faces in (("KEEP", "MASK"), ("SHOW", "SET"), ("PLAIN", "SET")):
        beside(classes["SEAMWRIGHT_OT_zone_mark"], zone=zone, faces=faces)
    at_once("Blender's own Sculpt Mode", lambda: bpy.ops.object.mode_set(mode="SCULPT"))
    at_once("and back", lambda: bpy.ops.object.mode_set(mode="OBJECT"))
    beside(classes["SEAMWRIGHT_OT_zone_paint"])
    bpy.ops.object.mode_set(mode="OBJECT")
    at_once("seam_line_draw", ops.seam_line_draw)
    at_once("viewpoint_add", ops.viewpoint_add)
    bpy.context.view_layer.objects.active = carving


def _make_another(carving: bpy.types.Object) -> None:
    """Make a second job of the same carving and take it away again."""
    scene: Any = bpy.context.scene
    first = scene.seamwright.job
    bpy.context.view_layer.objects.active = carving
    bpy.ops.seamwright.job_make()
    scene.seamwright.job = first


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--triangles", type=int, default=2_000_000)
    parser.add_argument("--parts", type=int, default=12)
    parser.add_argument("--no-proposal", action="store_true", help="leave out the proposal, which takes longest")
    options = parser.parse_args()
    bpy.ops.wm.read_homefile(use_empty=True, use_factory_startup=True)
    seamwright.register()
    bench(options.triangles, options.parts, not options.no_proposal)
    return 0


if __name__ == "__main__":
    try:
        code = main()
    except BaseException:
        import traceback

        traceback.print_exc()
        code = 1
    sys.stdout.flush()
    import shutil

    shutil.rmtree(USER_FOLDER, ignore_errors=True)
    os._exit(code)
