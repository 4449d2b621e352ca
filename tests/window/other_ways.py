# SPDX-License-Identifier: GPL-3.0-or-later
"""What a job meets besides the straight way, in a real Blender window: drops, dialogs, changes meanwhile, linked jobs.

    python3 other_ways.py --zip seamwright.zip --out FOLDER [--blender blender]

Needs what `session.py` needs. A drop cannot be made by keys, so it is made as Blender makes it: the operator that the
file handler names is invoked with the file. Each part takes pictures; ends with 0 if every part came to what it should
and Blender's log holds no traceback.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from itertools import pairwise
from pathlib import Path

from carvings import write_carving
from window import CLOSED, Window

DIALOG = (560, 420)


class Ways(Window):
    """A window that also does what it is told in Python."""

    def call(self, text: str) -> str:
        """Run Python in Blender; what `out` was set to, or the error in one line."""
        count = self.state()["said"][0]
        part = self.folder / "call.part"
        part.write_text(text)
        part.rename(self.folder / "call.py")
        self.until(f"an answer to {text[:60]!r}", lambda: self.state().get("said", [0])[0] > count, 60)
        self.settle(2)
        return str(self.state()["said"][1])

    def expect(self, text: str, word: str) -> None:
        """Run Python and look for a word in what comes of it."""
        found = self.call(text)
        if word not in found:
            self.shot("failed")
            raise SystemExit(f"{text!r} came to {found!r}, not to {word!r}")

    def idle(self, seconds: float = 300) -> None:
        """Wait until no work goes on."""
        self.until("the end of the work", lambda: not self.state()["work"], seconds)

    def begin(self, name: str) -> None:
        """Begin long work as its button does, and wait until it goes on."""
        self.call(f"bpy.ops.seamwright.{name}('INVOKE_DEFAULT')")
        self.until("work", lambda: bool(self.state()["work"]), 60)


def nothing_there(w: Ways) -> None:
    """Empty states."""
    w.call("bpy.ops.object.select_all(action='SELECT'); bpy.ops.object.delete()")
    w.shot("empty-scene")
    w.expect("bpy.ops.seamwright.job_make()", "Select the carving, a mesh object")
    w.expect("bpy.ops.seamwright.cut()", "Make a job first")
    w.call("bpy.ops.mesh.primitive_cube_add(size=2, location=(0, 0, 1)); bpy.ops.seamwright.job_make()")
    w.shot("job-without-joints")
    w.panel("carving", False)
    for name in ("pack", "pieces"):
        w.panel(name, True)
    w.shot("job-without-pieces")
    for name in ("pieces", "pack"):
        w.panel(name, False)
    w.panel("carving", True)
    w.call("tree.active_job(bpy.context).seamwright.carving = None")
    w.shot("no-carving-chosen")
    w.expect("bpy.ops.seamwright.cut()", "Choose a carving first")
    w.call("bpy.data.collections.remove(tree.active_job(bpy.context))")
    w.call("bpy.ops.object.select_all(action='SELECT'); bpy.ops.object.delete()")


def dropped(w: Ways, carving: Path) -> None:
    """A carving and settings as dropped files; what cannot be read."""
    w.call(f"bpy.ops.seamwright.carving_import('INVOKE_DEFAULT', filepath={str(carving)!r})")
    w.shot("drop-asks-for-unit")
    w.view("Return")
    w.until("the job", lambda: bool(w.state().get("job")), 120)
    w.idle()
    w.shot("dropped-carving")
    job = w.folder / "JOB.toml"
    job.write_text('title = "Wrenlow Skerry"\n[limits]\npiece_mass = "41 kg"\n')
    w.expect(f"out = bpy.ops.seamwright.settings_read('INVOKE_DEFAULT', filepath={str(job)!r})", "FINISHED")
    w.until("the settings", lambda: abs(w.state()["mass"] - 41.0) < 1e-3)
    w.shot("dropped-settings")
    job.write_text('[limits]\npiece_mas = "41 kg"\n')
    w.expect(f"bpy.ops.seamwright.settings_read('INVOKE_DEFAULT', filepath={str(job)!r})", "piece_mass")
    (w.folder / "bad.stl").write_bytes(b"not a mesh")
    w.call(f"bpy.ops.seamwright.carving_import('INVOKE_DEFAULT', filepath={str(w.folder / 'bad.stl')!r})")
    w.view("Return")
    time.sleep(2.0)
    w.idle()
    w.shot("dropped-bad-file")
    w.view("Escape")


def dialogs(w: Ways) -> None:
    """File browsers: settings out and in, joints out, the folder of the pack."""
    for name, file in (("settings_write", "written.toml"), ("joints_write", "written.json")):
        w.call(f"bpy.ops.seamwright.{name}('INVOKE_DEFAULT')")
        w.choose_file(w.folder / file)
        w.shot(name)
        w.accept()
        w.until(f"{file}", lambda file=file: (w.folder / file).exists(), 30)
    w.call("bpy.ops.seamwright.settings_read('INVOKE_DEFAULT')")
    w.until("the file browser", lambda: "FILE_BROWSER" in w.state()["areas"])
    w.shot("settings-read")
    w.do("mousemove", *DIALOG)
    w.key("Escape")
    w.until("the browser to close", lambda: "FILE_BROWSER" not in w.state()["areas"])


def meanwhile(w: Ways) -> None:
    """The scene changes while long work goes on: the result is dropped, and that is said."""
    w.call("bpy.ops.seamwright.joints_equal(parts=4)")
    w.shot("letters")
    w.begin("cut")
    w.call("tree.joints(tree.active_job(bpy.context))[0].location.x += 0.05; bpy.ops.ed.undo_push(message='moved')")
    w.idle()
    w.shot("joint-moved-meanwhile")
    if w.state()["cut"]:
        raise SystemExit("a cut of joints that were moved meanwhile was taken")
    w.begin("cut")
    w.view("Escape")
    w.idle(60)
    w.shot("stopped-by-escape")
    if w.state()["cut"]:
        raise SystemExit("Esc did not stop the cut")
    w.begin("joints_propose")
    w.shot("proposing")
    w.call("bpy.data.objects.remove(tree.joints(tree.active_job(bpy.context))[0])")
    w.idle(600)
    w.shot("joint-removed-meanwhile")
    if len(w.state()["joints"]) != 2:
        raise SystemExit(f"a proposal replaced joints that were changed meanwhile: {w.state()['joints']}")
    w.begin("cut")
    w.call(
        "obj = tree.active_job(bpy.context).seamwright.carving; obj.hide_set(False)\n"
        "bpy.ops.object.select_all(action='DESELECT'); obj.select_set(True); bpy.ops.object.delete()\n"
        "bpy.ops.ed.undo_push(message='deleted')"
    )
    w.idle()
    w.shot("carving-deleted-meanwhile")
    w.expect("bpy.ops.seamwright.cut()", "The carving was deleted")
    w.view("ctrl+z")
    w.begin("cut")
    w.idle(600)
    if not w.state()["cut"]:
        raise SystemExit("not cut")
    w.shot("cut-in-the-end")


def steps(w: Ways) -> None:
    """Undo and redo over each step, by keys."""
    for name, call in (
        ("limits", "bpy.ops.seamwright.limits_preset('EXEC_DEFAULT', True, preset='two')"),
        ("added", "bpy.ops.seamwright.joint_add('EXEC_DEFAULT', True)"),
        ("cut", "bpy.ops.seamwright.cut('EXEC_DEFAULT', True)"),
        ("shown", "bpy.ops.seamwright.show('EXEC_DEFAULT', True, what='CARVING')"),
        ("cleared", "bpy.ops.seamwright.joints_clear('EXEC_DEFAULT', True)"),
    ):
        picture = "g = tree.active_job(bpy.context).seamwright; out = (round(g.piece_mass, 3), g.is_cut, "
        picture += "sorted(o.name for o in bpy.data.objects), len(g.findings))"
        before = w.call(picture)
        w.call(call)
        after = w.call(picture)
        w.view("ctrl+z")
        if w.call(picture) != before:
            raise SystemExit(f"{name} is not undone: {w.call(picture)} and not {before}")
        w.view("ctrl+shift+z")
        if w.call(picture) != after:
            raise SystemExit(f"{name} is not redone: {w.call(picture)} and not {after}")
        w.picture(f"redone-{name}")


def linked(w: Ways) -> None:
    """A job linked from another file: shown, not changed, and no traceback."""
    path = w.folder / "job.blend"
    w.call(
        "bpy.ops.mesh.primitive_cube_add(size=2, location=(0, 0, 9)); bpy.ops.seamwright.job_make()\n"
        "bpy.ops.seamwright.joints_equal(parts=2); bpy.ops.seamwright.cut()"
    )
    w.call(f"bpy.ops.wm.save_as_mainfile(filepath={str(path)!r}, copy=True); out = tree.active_job(bpy.context).name")
    name = w.state()["said"][1]
    w.call("bpy.ops.object.select_all(action='SELECT'); bpy.ops.object.delete()")
    w.call("[bpy.data.collections.remove(c) for c in list(bpy.data.collections)]")
    w.expect(
        f"with bpy.data.libraries.load({str(path)!r}, link=True) as (there, here): here.collections = [{name!r}]\n"
        "bpy.context.scene.collection.children.link(here.collections[0])\n"
        "bpy.context.view_layer.update(); out = here.collections[0].library",
        "job.blend",
    )
    w.shot("linked-job")
    w.panel("limits", True)
    w.shot("linked-limits")
    for name in ("limits", "cut", "joints", "carving"):
        w.panel(name, False)
    for name in ("pack", "pieces"):
        w.panel(name, True)
    w.shot("linked-pieces")
    for call in (
        "cut()",
        "joints_propose()",
        "carving_check()",
        "limits_preset(preset='two')",
        "joint_add()",
        "show()",
    ):
        w.expect(f"bpy.ops.seamwright.{call}", "linked from another file")


def drag(w: Ways, *places: tuple[int, int]) -> None:
    """Draw with the left button along some places in the view."""
    w.do("mousemove", *places[0])
    w.settle()
    w.do("mousedown", 1)
    for (x, y), (to_x, to_y) in pairwise(places):
        for step in range(1, 9):
            w.do("mousemove", x + (to_x - x) * step // 8, y + (to_y - y) * step // 8)
            w.settle(1)
    w.do("mouseup", 1)
    w.settle(4)


def dense(w: Ways, carving: Path) -> None:
    """Zones, lines, viewpoints and tapes on a big carving, by its panels and without Edit Mode of the carving."""
    w.call("bpy.ops.object.select_all(action='SELECT'); bpy.ops.object.delete()")
    w.call(f"bpy.ops.seamwright.carving_import('INVOKE_DEFAULT', filepath={str(carving)!r})")
    w.view("Return")
    w.until("the job", lambda: bool(w.state().get("job")), 300)
    w.idle()
    w.call("bpy.ops.view3d.view_axis(type='TOP'); bpy.ops.view3d.view_all()")
    w.shot("dense")
    own = "obj = tree.active_job(bpy.context).seamwright.carving; "
    w.only("joints")
    w.inner("joints", "seams")
    w.press("zone_paint()")
    w.until("Sculpt Mode", lambda: w.state()["mode"] == "SCULPT", 120)
    w.idle()
    w.shot("painting")
    place = w.call(
        own + "from bpy_extras.view3d_utils import location_3d_to_region_2d as at\n"
        "region = bpy.context.region; v = bpy.context.area.spaces.active.region_3d\n"
        "top = max(obj.data.vertices, key=lambda vertex: vertex.co.z).co\n"
        "p = at(region, v, obj.matrix_world @ top); h = bpy.context.window.height\n"
        "out = f'{int(region.x + p.x)} {int(h - region.y - p.y)}'"
    )
    x, y = map(int, place.split())
    drag(w, (x - 10, y), (x + 10, y), (x, y + 12))
    w.shot("painted")
    x_of, y_of = w.find("mode_set(")
    w.click(x_of, y_of - 26)  # the menu above it, of which Blender tells no operator
    w.shot("zones-to-choose")
    w.key("k")
    w.until("Object Mode", lambda: w.state()["mode"] == "OBJECT", 120)
    w.idle()
    w.shot("zone-marked")
    w.expect(own + "out = 'seamwright_zone' in obj.data.attributes", "True")
    w.expect("out = [o.name for o in tree.folder(tree.active_job(bpy.context), 'zones').objects]", "zone keep whole")
    w.view("ctrl+z")
    w.expect("out = list(tree.folder(tree.active_job(bpy.context), 'zones').objects)", "[]")
    w.expect(own + "out = (bpy.context.mode, 'seamwright_zone' in obj.data.attributes)", "('OBJECT', False)")
    w.shot("zone-undone")
    w.press("viewpoint_add(")
    w.press("seam_line_draw()")
    w.until("the pen", lambda: w.state()["mode"] == "EDIT_CURVE", 60)
    drag(w, (x - 30, y), (x + 30, y))
    w.view("Tab")
    w.until("Object Mode", lambda: w.state()["mode"] == "OBJECT", 60)
    w.shot("line-and-viewpoint")
    w.expect("out = len(tree.folder(tree.active_job(bpy.context), 'seam lines').objects[0].data.splines)", "1")
    w.only("carving")
    low, high = w.between("carving")
    w.click(*w.arrows(CLOSED, low + 12, high)[-1])
    w.press("tape_pick()")
    w.shot("tape-to-click")
    w.click(x - 10, y)
    w.click(x + 10, y)
    w.shot("tape-clicked")
    w.view("Return")
    w.shot("tape-added")
    w.find("carving_scale()")


def main() -> int:
    """Read the command and go all ways."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--zip", type=Path, required=True, help="the built extension")
    parser.add_argument("--out", type=Path, required=True, help="a new folder")
    parser.add_argument("--blender", default="blender")
    parser.add_argument("--triangles", type=int, default=200_000)
    parser.add_argument("--part", choices=("all", "linked", "dense"), default="all")
    given = parser.parse_args()
    folder = given.out.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    carving = folder / "skerry.ply"
    write_carving("demo", given.triangles, carving)
    window = Ways(given.blender, folder, given.zip.resolve())
    try:
        if given.part == "linked":
            linked(window)
        elif given.part == "dense":
            dense(window, carving)
        else:
            nothing_there(window)
            dropped(window, carving)
            dialogs(window)
            meanwhile(window)
            steps(window)
            linked(window)
    finally:
        (folder / "report.json").write_text(json.dumps({"stills": window.state().get("stills")}, indent=1))
        window.blender.terminate()
        window.blender.wait(60)
        window.log.close()
    if "Traceback" in (folder / "blender.log").read_text():
        raise SystemExit("Blender's log has a traceback: see blender.log")
    sys.stdout.write(f"all ways gone; {window.count} pictures in {folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
