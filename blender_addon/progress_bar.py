# SPDX-License-Identifier: GPL-3.0-or-later
"""Progress for people at a command line: a bar on a terminal, one line for each stage elsewhere."""

from __future__ import annotations

import shutil
import time
from typing import TextIO

from .core.errors import Progress

BAR = 24
PATIENCE = 2.0
"""Seconds that work may take before a log hears of it, so that quick work and quick refusals leave one line or none."""
PAUSE = 0.1
"""Seconds between two redraws, so that a fast stage does not flood a slow terminal."""


class ProgressBar:
    """A `Progress` that writes to a text stream.

    On a terminal one line is redrawn; elsewhere each new text is written once, so that a log stays short, and only
    from `patience` seconds on.
    """

    def __init__(self, stream: TextIO, patience: float = PATIENCE) -> None:
        self._stream = stream
        self._start = time.monotonic() + patience
        self._terminal = stream.isatty()
        self._text = ""
        self._drawn = 0.0
        self._width = 0

    def __call__(self, fraction: float, text: str) -> None:
        """Show how far the work is: `fraction` 0..1, `text` for people."""
        share = min(max(fraction, 0.0), 1.0)
        now = time.monotonic()
        if not self._terminal:
            if now < self._start:
                return
            if text != self._text:
                self._stream.write(f"{text}\n")
                self._stream.flush()
            self._text = text
            return
        if text == self._text and now - self._drawn < PAUSE and share < 1.0:
            return
        self._text, self._drawn = text, now
        full = round(share * BAR)
        line = f"[{'#' * full}{'.' * (BAR - full)}] {share:4.0%} {text}"
        line = line[: max(shutil.get_terminal_size().columns - 1, BAR)]
        self._stream.write("\r" + line.ljust(self._width))
        self._width = len(line)
        self._stream.flush()

    def close(self) -> None:
        """Take the bar off the terminal, so that what follows starts on a clean line."""
        if self._terminal and self._width:
            self._stream.write("\r" + " " * self._width + "\r")
            self._stream.flush()
            self._width = 0


def stretch(progress: Progress | None, start: float, end: float) -> Progress:
    """A `Progress` whose 0..1 is the stretch `start`..`end` of `progress`; one that does nothing where that is None."""

    def inner(fraction: float, text: str) -> None:
        if progress is not None:
            progress(start + (end - start) * min(max(fraction, 0.0), 1.0), text)

    return inner
