# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender's window, driven by mouse and keys as a person would.

Buttons are found by what they do: the pointer goes down the sidebar and Ctrl-C asks Blender which operator lies under
it. Fields are found by their data path, headers of panels by the dots at their right ends, those of the panels inside
them by their arrows.
"""

from __future__ import annotations

import json
import os
import subprocess
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

WIDTH, HEIGHT = 1600, 900
TOP = 105
STEP = 14
"""Pixels between two places where it is asked what lies there; a button is 20 high."""
ROW = 21

PANEL = "SEAMWRIGHT_PT_"
GRIP = (1260, 14)
"""Where the dots of a header begin, and how wide they are."""
ARROWS = (1048, 20)
"""Where the arrows of inner headers lie, and how wide that strip is."""
CLOSED = ("xx......", "xxx.....", ".xxx....", "..xxx...", "...xxx..", "....xx..", "...xx...", "..xx....", ".xx.....",
          "xx......", "x.......")  # fmt: skip
OPENED = ("xx......xx", "xxx....xxx", ".xxx..xxx.", "..xxxxxx..", "...xxxx...", "....xx....")
"""The arrows, pixel by pixel."""
VIEW = (560, 420)
"""The middle of the 3D view."""
DIRECTORY, FILE_NAME, ACCEPT = (720, 47), (760, 857), (1527, 857)
"""Places in the file browser that fills the window."""


class Window:
    """Blender, its mouse and its keys."""

    def __init__(self, blender: str, folder: Path, zipped: Path) -> None:
        self.folder, self.count = folder, 0
        self.side, self.scrolled = 1155, False
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
        """Where in the sidebar the button of an operator lies; further down the sidebar is scrolled."""
        x = x or self.side
        return self._down(lambda y: call in self.under(x, y), f"no button {call} in the sidebar", x, low, high)

    def _down(self, here: Callable[[int], bool], missing: str, x: int, low: int, high: int) -> tuple[int, int]:
        for page in range(5 if self.scrolled else 3):
            for y in range(low, high, STEP):
                if here(y):
                    return x, y + 4
            if page == 1 and self.scrolled:
                self.to_top()
            else:
                self.page_down()
        self.shot("failed")
        raise SystemExit(missing)

    def press(self, call: str, x: int | None = None, low: int = TOP) -> int:
        """Find a button and click it; its height is handed back."""
        at = self.find(call, x, low)
        self.click(*at)
        return at[1]

    def field(self, path: str, low: int = TOP, x: int = 0) -> tuple[int, int]:
        """Where the field of a property lies, by the end of its data path."""
        x = x or self.side + 70
        missing = f"no field {path} in the sidebar"
        return self._down(lambda y: self.under(x, y, "ctrl+alt+shift+c").endswith(path), missing, x, low, HEIGHT - 90)

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

    def grey(self, x: int, y: int, width: int, height: int) -> np.ndarray:
        """A part of the window as it is seen, (height, width) brightness."""
        crop = f"{width}x{height}+{x}+{y}"
        found = subprocess.run(
            ["import", "-silent", "-window", "root", "-crop", crop, "-depth", "8", "gray:-"],
            check=True, capture_output=True,
        ).stdout  # fmt: skip
        return np.frombuffer(found, dtype=np.uint8).reshape(height, width).astype(int)

    def headers(self) -> list[int]:
        """Heights of the headers in the sidebar, by the dots at their right ends."""
        self.settle(3)
        rows = self.grey(GRIP[0], 80, GRIP[1], HEIGHT - 170)
        dots = [k for k, row in enumerate(rows) if min(row[1], row[11]) > max(row[0], row[13]) + 30]
        return [80 + k for k in dots if not {k - 1, k - 2, k - 3} & set(dots)]

    def arrows(self, shape: tuple[str, ...], low: int, high: int) -> list[tuple[int, int]]:
        """Places of the arrows of inner headers, between two heights."""
        self.settle(3)
        bright = self.grey(ARROWS[0], low, ARROWS[1], high - low) > 90
        wanted = np.array([[letter == "x" for letter in row] for row in shape])
        tall, wide = wanted.shape
        found = []
        for y in range(high - low - tall):
            for x in range(ARROWS[1] - wide):
                if (bright[y : y + tall, x : x + wide] != wanted).sum() <= 2:
                    found.append((ARROWS[0] + x + wide // 2, low + y + tall // 2))
        return [at for k, at in enumerate(found) if k == 0 or at[1] - found[k - 1][1] > 6]

    def between(self, name: str) -> tuple[int, int]:
        """From where to where a panel reaches in the sidebar."""
        self.to_top()
        heights, place = self.headers(), self.state()["tops"].index(PANEL + name)
        if len(heights) <= place:
            self.shot("failed")
            raise SystemExit(f"the header of {name} is not among those in sight, at {heights}")
        return heights[place], heights[place + 1] if place + 1 < len(heights) else HEIGHT - 90

    def inner(self, parent: str, name: str) -> None:
        """Open a panel inside another by a click on its arrow; its neighbours stay folded."""
        low, high = self.between(parent)
        for _ in range(3):
            for at in self.arrows(CLOSED, low + 12, high):
                self.click(*at)
                if PANEL + name in self.opened():
                    return
                self.click(*at)
            self.page_down()
            low, high = TOP - 20, HEIGHT - 90
        self.shot("failed")
        raise SystemExit(f"no panel {name} inside {parent}")

    def fold_inner(self, parent: str) -> None:
        """Fold the panels inside another."""
        low, high = self.between(parent)
        for at in reversed(self.arrows(OPENED, low + 12, high)):
            self.click(*at)

    def only(self, name: str) -> None:
        """Open one of the tab's panels and fold all others."""
        # From the top: what is folded above lets the next header come into sight.
        if self.opened() & set(self.state()["tops"]) != {PANEL + name}:
            for other in self.state()["tops"]:
                self.panel(other.removeprefix(PANEL), False)
        self.panel(name, True)

    def choose_file(self, path: Path) -> None:
        """Name a file in the file browser that opens, and accept it."""
        self.until("the file browser", lambda: "FILE_BROWSER" in self.state()["areas"])
        time.sleep(1.0)
        self.click(*DIRECTORY, times=2)
        self.fill(str(path.parent))
        self.click(*FILE_NAME, times=2)
        self.fill(path.name)

    def accept(self) -> None:
        """Accept what the file browser shows."""
        self.click(*ACCEPT)
        self.until("the file browser to close", lambda: "FILE_BROWSER" not in self.state()["areas"])

    def work(self, call: str, picture: str, seconds: float = 300.0) -> None:
        """Press a button whose work takes its time; a picture while it goes on."""
        self.press(call)
        end = time.monotonic() + 2.0
        while not self.state()["work"] and time.monotonic() < end:
            time.sleep(0.03)
        if self.state()["work"]:
            self.picture(f"{picture}-goes-on")
        self.until(f"the end of {call}", lambda: not self.state()["work"], seconds)
        self.shot(picture)

    def panel(self, name: str, opened: bool) -> None:
        """Open or fold a panel by a click on its header."""
        before = self.opened()
        if (PANEL + name in before) is opened:
            return
        self.click(self.side - 60, self.between(name)[0])
        if (PANEL + name in self.opened()) is not opened:
            self.shot("failed")
            raise SystemExit(f"the panel {name} did not answer")

    def page_down(self) -> None:
        """A page further down the sidebar, by key: over a list the wheel would turn the list."""
        self.do("mousemove", self.side, 92, "sleep", 0.3)
        self.do("key", "Next")
        self.scrolled = True
        self.settle(4)

    def to_top(self) -> None:
        """Turn the sidebar back to its top."""
        if self.scrolled:
            self.do("mousemove", self.side, 92, "sleep", 0.3)
            self.do("key", "Home")
            self.scrolled = False
            self.settle(4)

    def view(self, *keys: str) -> None:
        """Keys with the pointer in the 3D view."""
        self.do("mousemove", *VIEW)
        self.settle()
        self.key(*keys)
