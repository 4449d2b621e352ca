# SPDX-License-Identifier: GPL-3.0-or-later
"""A job in a real Blender window by mouse and keys, from an imported carving to a written job pack, step by step.

    python3 session.py --zip seamwright.zip --out FOLDER [--blender blender] [--carving demo|rock] [--triangles N]

Needs a display of 1600 x 900 (a virtual one will do), Blender 4.2 or later, `xdotool`, and ImageMagick's `import`;
Python needs numpy. The zip is installed into an empty user folder below FOLDER. Buttons are found by what they do: the
pointer goes down the sidebar and Ctrl-C asks Blender which operator lies under it. Ends with 0 if every step came to
what it should; FOLDER/report.json holds what was measured: how long the interface stood still and what drawing cost.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

WIDTH, HEIGHT = 1600, 900
TOP = 105
STEP = 9
ROW = 21


PANEL = "SEAMWRIGHT_PT_"
GRIP = (1260, 14)
"""Where the dots of a header begin, and how wide they are."""


class Window:
    """Blender, its mouse and its keys."""

    def __init__(self, blender: str, folder: Path, zipped: Path) -> None:
        self.folder, self.count = folder, 0
        self.side = 1155
        user = folder / "user"
        if user.exists():
            raise SystemExit(f"{user} is there already: the session begins with an empty user folder")
        user.mkdir(parents=True)
        env = {**os.environ, "BLENDER_USER_RESOURCES": str(user), "SEAMWRIGHT_SESSION": str(folder)}
        install = ("--command", "extension", "install-file", "-r", "user_default", "-e", str(zipped))
        subprocess.run([blender, *install], env=env, check=True, stdout=subprocess.DEVNULL)
        place = ("-p", "0", "0", str(WIDTH), str(HEIGHT))
        watcher = Path(__file__).with_name("watcher.py")
        self.log = (folder / "blender.log").open("w")
        self.blender = subprocess.Popen(
            [blender, "--gpu-backend", "opengl", *place, "--python", str(watcher)],
            env=env, stdout=self.log, stderr=subprocess.STDOUT,
        )  # fmt: skip
        self.until("the tab", lambda: (folder / "ready").exists(), 90)
        time.sleep(1.0)

    def state(self) -> dict:
        """What the watcher wrote last."""
        try:
            return json.loads((self.folder / "state.json").read_text())
        except (OSError, ValueError):
            return {}

    def until(self, what: str, true: Callable[[], bool], seconds: float = 20.0) -> None:
        """Wait for something; fail if it does not come."""
        end = time.monotonic() + seconds
        while not true():
            if self.blender.poll() is not None:
                raise SystemExit(f"Blender ended while waiting for {what}; see blender.log")
            if time.monotonic() > end:
                self.picture("failed")
                raise SystemExit(f"waited {seconds:g} s in vain for {what}; it stands at {self.state()}"[:600])
            time.sleep(0.05)

    def settle(self, ticks: int = 2) -> None:
        """Wait until Blender has dealt with what it was sent."""
        begin = self.state().get("ticks", 0)
        self.until("Blender to answer", lambda: self.state().get("ticks", 0) >= begin + ticks, 120)

    def do(self, *words: object) -> None:
        """One run of xdotool."""
        subprocess.run(["xdotool", *map(str, words)], check=True)

    def click(self, x: int, y: int, times: int = 1) -> None:
        """Move, let Blender see it, click."""
        self.do("mousemove", x, y)
        self.settle()
        self.do("click", "--repeat", times, "--delay", 90, 1)
        self.settle(4)

    def key(self, *keys: str) -> None:
        """Keys one after the other."""
        for key in keys:
            self.do("key", key)
            self.settle()

    def fill(self, text: str) -> None:
        """Type into the field that is open for typing, in place of what it holds."""
        self.key("ctrl+a")
        self.do("type", "--delay", 25, text)
        self.settle(4)
        self.key("Return")

    def shot(self, name: str) -> None:
        """A picture of the window."""
        time.sleep(0.2)
        self.settle(5)
        self.picture(name)

    def picture(self, name: str) -> None:
        """A picture as it stands."""
        path = self.folder / f"{self.count:02d}-{name}.png"
        self.count += 1
        subprocess.run(["import", "-silent", "-window", "root", str(path)], check=True)

    def under(self, x: int, y: int, keys: str = "ctrl+c") -> str:
        """The operator's call under the pointer, as Blender would write it in Python; empty where there is none.

        With Ctrl-Alt-Shift-C: the data path of the field.
        """
        before = self.state()["copied"]
        self.do("mousemove", x, y)
        self.settle()
        self.do("key", keys)
        self.settle(3)
        after = self.state()["copied"]
        return after[1] if after != before else ""

    def find(self, call: str, x: int | None = None, low: int = TOP, high: int = HEIGHT - 95) -> tuple[int, int]:
        """Where in the sidebar the button of an operator lies."""
        x = x or self.side
        for y in range(low, high, STEP):
            if call in self.under(x, y):
                return x, y + 4
        self.shot("failed")
        raise SystemExit(f"no button {call} in the sidebar")

    def press(self, call: str, x: int | None = None, low: int = TOP) -> int:
        """Find a button and click it; its height is handed back."""
        at = self.find(call, x, low)
        self.click(*at)
        return at[1]

    def field(self, path: str, low: int = TOP, x: int = 0) -> tuple[int, int]:
        """Where the field of a property lies, by the end of its data path."""
        x = x or self.side + 70
        for y in range(low, HEIGHT - 90, STEP):
            if self.under(x, y, "ctrl+alt+shift+c").endswith(path):
                return x, y + 4
        self.shot("failed")
        raise SystemExit(f"no field {path} in the sidebar")

    def row(self, name: str) -> None:
        """Click the rows of the list, from the top, until the object of this name is active."""
        x, y = self.field(f"{name.split()[0]}_index", x=self.side - 40)
        for row in range(y, HEIGHT - 90, ROW):
            self.click(x, row)
            if self.state()["active"] == name:
                return
        self.shot("failed")
        raise SystemExit(f"no row of {name}")

    def opened(self) -> set[str]:
        """The panels that are drawn, asked for anew."""
        (self.folder / "redraw").touch()
        self.until("a redraw", lambda: not (self.folder / "redraw").exists())
        self.settle(4)
        return set(self.state()["open"])

    def headers(self) -> list[int]:
        """Heights of the headers in the sidebar, by the dots at their right ends."""
        self.settle(3)
        crop = f"{GRIP[1]}x{HEIGHT - 200}+{GRIP[0]}+80"
        grey = subprocess.run(
            ["import", "-silent", "-window", "root", "-crop", crop, "-depth", "8", "gray:-"],
            check=True, capture_output=True,
        ).stdout  # fmt: skip
        rows = [grey[k : k + GRIP[1]] for k in range(0, len(grey), GRIP[1])]
        dots = [k for k, row in enumerate(rows) if min(row[1], row[11]) > max(row[0], row[13]) + 30]
        return [80 + k for k in dots if not {k - 1, k - 2, k - 3} & set(dots)]

    def panel(self, name: str, opened: bool) -> None:
        """Open or fold a panel by a click on its header."""
        before = self.opened()
        if (PANEL + name in before) is opened:
            return
        heights, place = self.headers(), self.state()["tops"].index(PANEL + name)
        if len(heights) <= place:
            self.shot("failed")
            raise SystemExit(f"the header of {name} is not among those in sight, at {heights}")
        self.click(self.side - 60, heights[place])
        if (PANEL + name in self.opened()) is not opened:
            self.shot("failed")
            raise SystemExit(f"the panel {name} did not answer")

    def scroll(self, clicks: int) -> None:
        """Turn the wheel over the sidebar; down where positive."""
        self.do("mousemove", self.side, 400, "sleep", 0.2)
        self.do("click", "--repeat", abs(clicks), "--delay", 40, 5 if clicks > 0 else 4)
        time.sleep(0.4)

    def view(self, *keys: str) -> None:
        """Keys with the pointer in the 3D view."""
        self.do("mousemove", *VIEW)
        self.settle()
        self.key(*keys)


VIEW = (560, 420)
DIRECTORY, FILE_NAME, ACCEPT = (720, 47), (760, 857), (1527, 857)
"""Places in the file browser that fills the window."""


def session(window: Window, carving: Path, limit: str) -> None:
    """The whole job."""
    w = window
    pack = w.folder / "pack"
    w.shot("nothing-there")
    w.view("Delete")
    w.shot("nothing-selected")

    w.press("carving_import()")
    w.until("the file browser", lambda: "FILE_BROWSER" in w.state()["areas"])
    time.sleep(1.0)
    w.click(*DIRECTORY, times=2)
    w.fill(str(carving.parent))
    w.click(*FILE_NAME, times=2)
    w.fill(carving.name)
    w.shot("import")
    w.click(*ACCEPT)
    w.until("the job", lambda: bool(w.state().get("job")), 120)
    w.shot("imported")

    w.press("carving_check()")
    w.until("the check", lambda: bool(w.state()["verdict"]) and not w.state()["work"], 120)
    w.shot("checked")

    w.panel("limits", True)
    w.shot("limits")
    at = w.field("piece_mass")
    w.click(*at, times=2)
    w.fill(limit)
    w.until("the limit", lambda: abs(w.state()["mass"] - float(limit)) < 1e-3)
    w.shot("limit-set")
    w.panel("limits", False)

    w.press("joints_propose()")
    w.until("joints", lambda: len(w.state()["joints"]) > 0 and not w.state()["work"], 300)
    w.shot("proposed")

    w.row("joint A")
    before = w.state()["place"]
    w.view("g", "x", "0", "period", "1", "Return")
    w.until("the move", lambda: w.state()["place"] != before)
    w.view("r", "z", "5", "Return")
    w.shot("joint-moved")

    w.press("seamwright.cut()")
    w.until("progress", lambda: bool(w.state()["work"]) or w.state()["cut"])
    w.picture("cutting")
    w.until("the cut", lambda: w.state()["cut"] and not w.state()["work"], 600)
    w.shot("cut")

    w.panel("carving", False)
    w.panel("joints", False)
    w.panel("pieces", True)
    w.shot("pieces")
    w.row("piece 2")
    w.shot("piece-chosen")
    w.panel("cut", False)
    w.press("piece_show(")
    w.shot("piece-shown")

    w.panel("pieces", False)
    w.panel("cut", True)
    w.panel("joints", True)
    w.row("joint A")
    before = w.state()["place"]
    w.view("g", "x", "0", "period", "2", "Return")
    w.until("the move", lambda: w.state()["place"] != before)
    w.shot("out-of-date")
    w.view("ctrl+z")
    w.until("undo", lambda: w.state()["place"] == before)
    w.shot("undone")

    pieces = w.state()["pieces"]
    for _ in range(12):
        w.view("ctrl+z")
        if not w.state()["pieces"]:
            break
    w.until("the cut to be undone", lambda: not w.state()["pieces"] and not w.state()["cut"])
    w.shot("cut-undone")
    for _ in range(12):
        w.view("ctrl+shift+z")
        if w.state()["pieces"]:
            break
    w.until("the cut to be there again", lambda: w.state()["pieces"] == pieces and w.state()["cut"])
    w.shot("cut-redone")

    w.panel("joints", False)
    w.panel("pack", True)
    w.shot("pack-panel")
    w.click(*w.field("pack_folder"), times=2)
    w.fill(str(pack))
    w.press("pack_export(")
    w.until("progress", lambda: bool(w.state()["work"]) or w.state()["pack"])
    time.sleep(4.0)
    w.shot("packing")
    w.until("the pack", lambda: w.state()["pack"] and not w.state()["work"], 900)
    w.shot("packed")
    missing = [name for name in ("job.json", "pieces.csv", "job-pack.html", "job.blend") if not (pack / name).is_file()]
    if missing or len(list((pack / "pieces").glob("*.ply"))) != len(pieces):
        raise SystemExit(f"the pack is not whole: {missing}")


def write_carving(kind: str, triangles: int, path: Path) -> None:
    """The carving to import, as PLY in metres."""
    import numpy as np

    from core.demo import demo_carving
    from core.intake.ply_write import write_ply
    from core.mesh.mesh import Mesh

    if kind == "demo":
        write_ply(path, demo_carving(triangles))
        return
    n = int((triangles / 4) ** 0.5)
    u = np.arange(2 * n) * np.pi / n
    v = (np.arange(n) + 0.5) * np.pi / n
    uu, vv = np.meshgrid(u, v)
    ball = np.stack([np.sin(vv) * np.cos(uu), np.sin(vv) * np.sin(uu), np.cos(vv)], axis=-1)
    rough = (
        1.0 + 0.12 * np.sin(5 * ball[..., 0] + 3 * ball[..., 1]) + 0.06 * np.sin(13 * ball[..., 1] - 9 * ball[..., 2])
    )
    points = ball * rough[..., None] * [1.9, 1.1, 0.8]
    poles = [[0, 0, points[0, :, 2].mean()], [0, 0, points[-1, :, 2].mean()]]
    vertices = np.concatenate([points.reshape(-1, 3), poles])
    row = np.arange(2 * n)
    after = np.roll(row, -1)
    sides = []
    for k in range(n - 1):
        a, b, c, d = k * 2 * n + row, k * 2 * n + after, (k + 1) * 2 * n + row, (k + 1) * 2 * n + after
        sides += [np.column_stack([a, c, b]), np.column_stack([b, c, d])]
    last = (n - 1) * 2 * n
    sides += [np.column_stack([np.full(2 * n, len(vertices) - 2), row, after])]
    sides += [np.column_stack([np.full(2 * n, len(vertices) - 1), last + after, last + row])]
    write_ply(path, Mesh(vertices, np.concatenate(sides)))


def main() -> int:
    """Read the command, run, write what was measured."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--zip", type=Path, required=True, help="the built extension")
    parser.add_argument("--out", type=Path, required=True, help="a new folder")
    parser.add_argument("--blender", default="blender")
    parser.add_argument("--carving", choices=("demo", "rock"), default="demo")
    parser.add_argument("--triangles", type=int, default=60_000)
    parser.add_argument("--limit", default="45", help="heaviest piece, kg")
    given = parser.parse_args()
    folder = given.out.resolve()
    folder.mkdir(parents=True, exist_ok=True)
    carving = folder / f"{given.carving}.ply"
    write_carving(given.carving, given.triangles, carving)
    window = Window(given.blender, folder, given.zip.resolve())
    try:
        session(window, carving, given.limit)
    finally:
        measured = {name: window.state().get(name) for name in ("stills", "calls_ms")}
        measured["load"] = os.getloadavg()
        (folder / "report.json").write_text(json.dumps(measured, indent=1))
        window.blender.terminate()
        window.blender.wait(20)
        window.log.close()
    if "Error" in (folder / "blender.log").read_text():
        raise SystemExit("Blender's log has errors: see blender.log")
    sys.stdout.write(f"the pack is written; {window.count} pictures in {folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
