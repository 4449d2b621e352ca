# SPDX-License-Identifier: GPL-3.0-or-later
"""Runs inside Blender during `session.py`: opens the tab, and writes down what goes on so that the session can wait.

It changes nothing of a job. Every few hundredths of a second it writes `state.json` into the folder of the session:
what stands on the clipboard, what work goes on, what the panels' drawing cost, and how long the interface stood still.
"""

import json
import os
import statistics
import sys
import time
from pathlib import Path

import bpy

FOLDER = Path(os.environ["SEAMWRIGHT_SESSION"])
TICK = 0.03
STILL = 0.25
"""Seconds without a tick that are written down as standing still."""

cost: dict[str, list[float]] = {}
stills: list[dict] = []
drawn: dict[str, float] = {}
copied = [0, ""]
said = [0, ""]
last = {"tick": time.perf_counter(), "work": "", "redraw": 0.0, "count": 0}


def addon():
    """The installed extension's package name."""
    return next(name for name in sys.modules if name.endswith(".seamwright"))


def note(name, begin):
    """Note how long a call took."""
    now = time.perf_counter()
    cost.setdefault(name, []).append(now - begin)
    drawn[name] = now


def timed(cls, name):
    """Have a method timed. Blender counts a method's parameters, so each kind has a wrapper of its own."""
    inner = getattr(cls, name)
    label = f"{cls.__name__}.{name}"

    def draw(self, context):
        begin = time.perf_counter()
        try:
            return inner(self, context)
        finally:
            note(label, begin)

    def event(self, context, event):
        begin = time.perf_counter()
        try:
            return inner(self, context, event)
        finally:
            note(label, begin)

    def draw_item(self, context, layout, data, item, icon, active_data, active_property, index=0, flt_flag=0):
        begin = time.perf_counter()
        try:
            return inner(self, context, layout, data, item, icon, active_data, active_property, index, flt_flag)
        finally:
            note(label, begin)

    def filter_items(self, context, data, propname):
        begin = time.perf_counter()
        try:
            return inner(self, context, data, propname)
        finally:
            note(label, begin)

    wrappers = {"draw_item": draw_item, "filter_items": filter_items, "invoke": event, "modal": event}
    wrapper = wrappers.get(name, draw)
    wrapper.__name__ = name
    setattr(cls, name, wrapper)


def timed_steps(module):
    """Have every step of long work timed, under the words that stood before it."""
    inner = module.LongWork.begin

    def begin(self, context):
        out = inner(self, context)
        steps = self._steps

        def counted():
            text = "begin"
            while True:
                start = time.perf_counter()
                try:
                    step = next(steps)
                except StopIteration as done:
                    note(f"{self.working}: after {text!r}", start)
                    return done.value
                note(f"{self.working}: after {text!r}", start)
                text = step.text
                yield step

        self._steps = counted()
        return out

    module.LongWork.begin = begin


def tops():
    """The panels of the tab that have none above them, from the top."""
    classes = sys.modules[addon() + ".registration"].CLASSES
    panels = [c for c in classes if issubclass(c, bpy.types.Panel) and not getattr(c, "bl_parent_id", "")]
    here = [c for c in panels if not hasattr(c, "poll") or c.poll(bpy.context)]
    return [c.__name__ for c in sorted(here, key=lambda c: getattr(c, "bl_order", 0))]


def state():
    """What the session waits for."""
    module = sys.modules[addon() + ".long_work"]
    tree = sys.modules[addon() + ".job_tree"]
    work = module.running()
    job = tree.active_job(bpy.context)
    active = bpy.context.view_layer.objects.active
    out = {
        "copied": copied,
        "said": said,
        "tops": tops(),
        "work": "" if work is None else f"{work.label}: {work.share:.0%} {work.text}",
        "active": active.name if active else "",
        "place": list(active.matrix_world.translation) if active else [],
        "job": job.name if job else "",
        "mode": bpy.context.mode,
        "scene": bpy.context.scene.name,
        "windows": len(bpy.context.window_manager.windows),
        "areas": [a.type for a in bpy.context.window_manager.windows[0].screen.areas],
        "open": [name[:-5] for name, when in drawn.items() if name.endswith(".draw") and when > last["redraw"]],
    }
    if job is not None:
        group = job.seamwright
        out |= {
            "verdict": group.verdict,
            "cut": group.is_cut,
            "pack": bool(group.pack_written),
            "joints": [obj.name for obj in tree.joints(job)],
            "pieces": [obj.name for obj in tree.pieces(job)],
            "mass": group.piece_mass,
            "title": group.title,
            "fill": group.fill,
            "block_built": group.block_built,
            "prices": group.prices_name,
            "cost": group.cost_total,
        }
    return out


def wanted():
    """Do what `call.py` in the folder asks for, once, in the 3D view of the first window; `said` holds how it went."""
    path = FOLDER / "call.py"
    if not path.exists():
        return
    text = path.read_text()
    path.unlink()
    window = bpy.context.window_manager.windows[0]
    area = next((a for a in window.screen.areas if a.type == "VIEW_3D"), window.screen.areas[0])
    region = next(r for r in area.regions if r.type == "WINDOW")
    names = {"bpy": bpy, "tree": sys.modules[addon() + ".job_tree"]}
    try:
        with bpy.context.temp_override(window=window, area=area, region=region):
            exec(text, names)
        said[:] = [said[0] + 1, str(names.get("out", ""))]
    except Exception as error:
        said[:] = [said[0] + 1, f"{type(error).__name__}: {error}".strip()]


def tick():
    """Write the state; note how long it was since the last."""
    wanted()
    now = time.perf_counter()
    gap = now - last["tick"]
    try:
        found = state()
    except Exception as error:
        found = {"error": repr(error)}
    if gap > STILL:
        stills.append({"seconds": round(gap, 3), "before": last["work"], "after": found.get("work", "")})
    last["work"] = found.get("work", "")
    if bpy.context.window_manager.clipboard:
        copied[:] = [copied[0] + 1, bpy.context.window_manager.clipboard]
        bpy.context.window_manager.clipboard = ""
    last["count"] += 1
    found["ticks"] = last["count"]
    found["stills"] = stills
    found["calls_ms"] = {
        name: [len(took), round(1e3 * statistics.median(took), 3), round(1e3 * max(took), 3)]
        for name, took in cost.items()
    }
    if (FOLDER / "redraw").exists():
        (FOLDER / "redraw").unlink()
        last["redraw"] = time.perf_counter()
        for area in bpy.context.window_manager.windows[0].screen.areas:
            area.tag_redraw()
    text = FOLDER / "state.part"
    text.write_text(json.dumps(found))
    text.replace(FOLDER / "state.json")
    last["tick"] = time.perf_counter()
    return TICK


def open_tab():
    """Open the sidebar at the tab, once it has been drawn."""
    area = next(a for a in bpy.context.window_manager.windows[0].screen.areas if a.type == "VIEW_3D")
    area.spaces.active.show_region_ui = True
    region = next(r for r in area.regions if r.type == "UI")
    if region.active_panel_category == "UNSUPPORTED":
        return 0.2
    region.active_panel_category = "Seamwright"
    area.tag_redraw()
    (FOLDER / "ready").touch()
    return None


def begin():
    """Have drawing timed, and start."""
    registration = sys.modules[addon() + ".registration"]
    timed_steps(sys.modules[addon() + ".long_work"])
    for cls in registration.CLASSES:
        for name in ("draw", "draw_item", "filter_items", "execute"):
            if name in vars(cls):
                timed(cls, name)
    # Ctrl-C on no button at all would copy objects.
    for keymap in bpy.context.window_manager.keyconfigs.default.keymaps:
        for item in keymap.keymap_items:
            if item.idname == "view3d.copybuffer":
                item.active = False
    bpy.app.timers.register(tick, persistent=True)
    bpy.app.timers.register(open_tab, first_interval=0.3)


bpy.context.preferences.view.show_splash = False
bpy.context.preferences.system.viewport_aa = "OFF"  # a processor alone draws the window here
bpy.context.preferences.view.filebrowser_display_type = "SCREEN"
bpy.app.timers.register(begin, first_interval=0.5)
