# SPDX-License-Identifier: GPL-3.0-or-later
"""Ctrl-C while Blender works: it calls back into Python and drops what is raised there, the interrupt too."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType


@contextmanager
def held_interrupt() -> Iterator[None]:
    """Note Ctrl-C within the block, and raise KeyboardInterrupt when the block is done.

    Does nothing in a thread other than the main one, or where Ctrl-C is ignored or handled by something other than
    Python.
    """
    before = signal.getsignal(signal.SIGINT)
    if threading.current_thread() is not threading.main_thread() or before in (None, signal.SIG_IGN):
        yield
        return
    asked = False

    def note(number: int, frame: FrameType | None) -> None:
        nonlocal asked
        asked = True

    signal.signal(signal.SIGINT, note)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if asked:
        raise KeyboardInterrupt
