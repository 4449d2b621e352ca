# SPDX-License-Identifier: GPL-3.0-or-later
"""Blender talks on standard output while it loads, renders and saves; ours is for results only."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stdout


def _flush_c() -> None:
    """Empty C's own buffers, which are not Python's."""
    try:
        library = ctypes.cdll.msvcrt if sys.platform == "win32" else ctypes.CDLL(None)
        library.fflush(None)
    except (OSError, AttributeError):
        pass


@contextmanager
def quiet() -> Iterator[None]:
    """Send standard output nowhere until the block ends: Python's stream and the file descriptor below it, for C."""
    sys.stdout.flush()
    _flush_c()
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        with open(os.devnull, "w", encoding="utf-8") as stream, redirect_stdout(stream):
            yield
    finally:
        sys.stdout.flush()
        _flush_c()
        os.dup2(kept, 1)
        os.close(nowhere)
        os.close(kept)
