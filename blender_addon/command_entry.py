# SPDX-License-Identifier: GPL-3.0-or-later
"""The outermost edge of the command line: streams, a failure of our own, and the end of the process."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Sequence

OUR_FAULT = 70
"""Exit code after a fault of the program itself, with its traceback: sysexits.h calls 70 an internal software error."""


def run(argv: Sequence[str]) -> int:
    """Run one command; exit code 0, 1 or 2, 130 after Ctrl-C, 70 after a fault of our own."""
    from .commands import main

    try:
        return main(list(argv))
    except BrokenPipeError:
        # The reader of our output has gone, as `| head` does; the rest has nowhere to go.
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        return 0
    except Exception:
        traceback.print_exc()
        return OUR_FAULT


def end(code: int) -> None:
    """End this process with `code`.

    Blender as a module can crash or hang while the interpreter shuts down, so a process that loaded it leaves at once.
    """
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            pass
    if "bpy" in sys.modules:
        os._exit(code)
    sys.exit(code)
