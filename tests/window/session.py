# SPDX-License-Identifier: GPL-3.0-or-later
"""A job in a real Blender window by mouse and keys, from an imported carving to a written job pack, step by step.

    python3 session.py --zip seamwright.zip --out FOLDER [--blender blender] [--carving faulty|demo|rock] [--parts ...]

Every panel is opened and used. Needs a display of 1600 x 900 (a virtual one will do), Blender 4.2 or later, `xdotool`,
and ImageMagick's `import`; Python needs numpy. The zip is installed into an empty user folder below FOLDER. Ends with 0
if every step came to what it should; FOLDER/report.json holds what was measured: how long the interface stood still and
what drawing cost.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from pathlib import Path

from carvings import KINDS, write_carving, write_job
from window import CLOSED, Window

MASS = "45"
"""Heaviest piece, kg."""


def intake(w: Window, carving: Path) -> None:
    """Import, check, and mend what is wrong."""
    w.shot("nothing-there")
    w.view("Delete")
    w.shot("nothing-selected")
    w.press("carving_import()")
    w.until("the file browser", lambda: "FILE_BROWSER" in w.state()["areas"])
    w.choose_file(carving)
    w.shot("import")
    w.accept()
    w.until("the job", lambda: bool(w.state().get("job")), 120)
    w.shot("imported")
    w.work("carving_check()", "checked")
    if w.state()["verdict"] != "solid":
        mend(w)


def mend(w: Window) -> None:
    """Look at the faults, raise what may be filled, and mend a copy."""
    w.only("carving")
    w.press("fault_show(", x=w.side + 109)
    w.shot("fault-shown")
    low, high = w.between("carving")
    w.click(*w.arrows(CLOSED, low + 12, high)[-1])
    w.shot("mend-and-scale")
    w.click(*w.field("fill"), times=2)
    w.fill("0.4")
    w.until("the fill", lambda: abs(w.state()["fill"] - 0.4) < 1e-3)
    w.work("carving_check()", "checked-again")
    w.work("carving_mend()", "mended")
    w.work("carving_check()", "mended-checked")
    if w.state()["verdict"] != "solid":
        raise SystemExit(f"the mended copy is {w.state()['verdict']}")
    w.fold_inner("carving")


def limits(w: Window, job: Path) -> None:
    """Settings from a file, then by hand; foam, block-up, skin, load space."""
    w.only("limits")
    w.shot("limits")
    w.inner("limits", "file")
    w.shot("job-file")
    w.press("settings_read(")
    w.choose_file(job / "JOB.toml")
    w.accept()
    w.until("the title", lambda: "Wrenlow" in w.state()["title"])
    w.fold_inner("limits")
    x, y = w.field("piece_mass")
    w.click(w.side, y - 26)
    w.shot("ready-limits")
    w.view("Escape")
    w.click(x, y, times=2)
    w.fill(MASS)
    w.until("the limit", lambda: abs(w.state()["mass"] - float(MASS)) < 1e-3)
    w.shot("limit-set")
    for name in ("material", "load"):
        w.inner("limits", name)
        w.shot(f"limits-{name}")
        w.fold_inner("limits")
    w.inner("limits", "skin")
    w.shot("skin")
    x, y = w.find("skin_preset_add(", x=w.side + 88)
    w.click(w.side - 40, y)
    w.shot("skins")
    w.view("Escape")
    w.fold_inner("limits")
    w.inner("limits", "blockup")
    w.shot("block-up")
    w.click(*w.field("block_built"))
    w.shot("block-up-built")
    w.key("p")
    w.until("a planned block-up", lambda: w.state()["block_built"] == "planned")
    w.work("blockup_search()", "block-up-searched")
    w.work("blockup_show()", "block-up-shown")
    w.click(*w.field("block_built"))
    w.key("u")
    w.until("an unknown block-up", lambda: w.state()["block_built"] == "unknown")
    w.fold_inner("limits")


def joints(w: Window) -> None:
    """Joints proposed, kept as a plan, one moved; then what they may follow."""
    w.only("joints")
    w.shot("joints-empty")
    w.work("joints_propose(", "proposed")
    w.inner("joints", "plans")
    w.shot("plans-empty")
    w.work("plan_keep()", "plan-kept")
    w.fold_inner("joints")
    w.row("joint A")
    before = w.state()["place"]
    w.view("g", "x", "0", "period", "1", "Return")
    w.until("the move", lambda: w.state()["place"] != before)
    w.view("r", "z", "5", "Return")
    w.shot("joint-moved")
    w.inner("joints", "seams")
    w.shot("seams")
    w.press("seam_line_draw()")
    w.until("the pen", lambda: w.state()["mode"] == "EDIT_CURVE")
    w.shot("drawing")
    w.do("mousemove", 560, 380)
    w.settle()
    w.do("mousedown", 1)
    for step in range(12):
        w.do("mousemove", 560 + 12 * step, 380 + 4 * step)
        w.settle(1)
    w.do("mouseup", 1)
    w.settle(4)
    w.shot("line-drawn")
    w.view("Tab")
    w.until("Object Mode", lambda: w.state()["mode"] == "OBJECT")
    w.press("viewpoint_add(")
    w.shot("marked")
    w.fold_inner("joints")


def clearance(w: Window) -> None:
    """What is to be kept clear."""
    w.only("cut")
    w.inner("cut", "clearance")
    w.shot("clearance")
    w.work("clearance_check()", "clearance-checked", 600)
    w.fold_inner("cut")


def cut(w: Window, job: Path) -> None:
    """Cut, price, and cut again."""
    w.only("cut")
    w.shot("not-cut")
    w.work("seamwright.cut()", "cut", 600)
    if not w.state()["cut"]:
        raise SystemExit("it is not cut")
    w.inner("cut", "cost")
    w.shot("cost-empty")
    w.press("prices_read(")
    w.choose_file(job / "prices.csv")
    w.accept()
    w.until("the prices", lambda: bool(w.state()["prices"]))
    w.shot("prices-read")
    w.work("seamwright.cut(", "priced", 600)
    w.fold_inner("cut")
    w.panel("joints", True)
    w.shot("cut-and-joints")
    w.panel("cut", False)
    w.inner("joints", "seams")
    w.row("joint A")
    w.shot("seams-found")
    w.fold_inner("joints")


def pieces(w: Window) -> None:
    """The list of pieces, their numbers, the order in which they are built up, and the trial assembly."""
    w.only("pieces")
    w.shot("pieces")
    w.row("piece 2")
    w.shot("piece-chosen")
    w.press("piece_show(")
    w.shot("piece-shown")
    w.inner("pieces", "build")
    w.shot("build-order")
    w.press("seamwright.trial()")
    w.until("the trial assembly", lambda: "build" in w.state()["scene"] or "trial" in w.state()["scene"].lower())
    w.shot("trial")
    w.press("trial_leave()")
    w.shot("trial-left")
    w.fold_inner("pieces")


def out_of_date(w: Window) -> None:
    """A joint moved after the cut; undo over it and over the cut."""
    w.only("cut")
    w.panel("joints", True)
    w.row("joint A")
    before = w.state()["place"]
    w.view("g", "x", "0", "period", "2", "Return")
    w.until("the move", lambda: w.state()["place"] != before)
    w.shot("out-of-date")
    w.view("ctrl+z")
    w.until("undo", lambda: w.state()["place"] == before)
    w.shot("undone")
    there, cost = w.state()["pieces"], w.state()["cost"]
    for _ in range(30):
        w.view("ctrl+z")
        if w.state().get("pieces") == []:  # nothing is known of them while the trial assembly is shown
            break
    w.until("the cut to be undone", lambda: w.state().get("pieces") == [] and not w.state()["cut"])
    w.shot("cut-undone")
    for _ in range(30):
        w.view("ctrl+shift+z")
        if w.state().get("pieces") and w.state()["cost"] == cost:
            break
    w.until("the cut to be there again", lambda: w.state().get("pieces") == there and w.state()["cut"])
    w.shot("cut-redone")


def pack(w: Window) -> None:
    """The job pack."""
    folder = w.folder / "pack"
    w.only("pack")
    w.shot("pack-panel")
    w.click(*w.field("pack_folder"), times=2)
    w.fill(str(folder))
    w.press("pack_export(")
    w.until("progress", lambda: bool(w.state()["work"]) or w.state()["pack"])
    time.sleep(4.0)
    w.shot("packing")
    w.until("the pack", lambda: w.state()["pack"] and not w.state()["work"], 900)
    w.shot("packed")
    missing = [
        name for name in ("job.json", "pieces.csv", "job-pack.html", "job.blend") if not (folder / name).is_file()
    ]
    if missing or len(list((folder / "pieces").glob("*.ply"))) < len(w.state()["pieces"]):
        raise SystemExit(f"the pack is not whole: {missing}")


PARTS = {
    "intake": intake,
    "limits": limits,
    "joints": joints,
    "clearance": clearance,
    "cut": cut,
    "pieces": pieces,
    "out_of_date": out_of_date,
    "pack": pack,
}
ALL = ",".join(PARTS)


def main() -> int:
    """Read the command, run, write what was measured."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--zip", type=Path, required=True, help="the built extension")
    parser.add_argument("--out", type=Path, required=True, help="a new folder")
    parser.add_argument("--blender", default="blender")
    parser.add_argument("--carving", choices=KINDS, default="faulty")
    parser.add_argument("--triangles", type=int, default=20_000)
    parser.add_argument("--parts", default=ALL, help=f"some of {ALL}, in this order")
    given = parser.parse_args()
    folder = given.out.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    carving, job = folder / "skerry.ply", folder / "job"
    write_carving(given.carving, given.triangles, carving)
    write_job(job)
    window = Window(given.blender, folder, given.zip.resolve())
    try:
        for part in given.parts.split(","):
            PARTS[part](window, *{"intake": [carving], "limits": [job], "cut": [job]}.get(part, []))
    finally:
        measured = {name: window.state().get(name) for name in ("stills", "calls_ms")}
        measured["load"] = os.getloadavg()
        (folder / "report.json").write_text(json.dumps(measured, indent=1))
        window.blender.terminate()
        window.blender.wait(60)
        window.log.close()
    log = (folder / "blender.log").read_text()
    if "Traceback" in log or " ERROR " in log:
        raise SystemExit("Blender's log has errors: see blender.log")
    sys.stdout.write(f"the pack is written; {window.count} pictures in {folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
