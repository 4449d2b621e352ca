# SPDX-License-Identifier: GPL-3.0-or-later
"""The other side of a `Hand`: a process that does what it is asked to."""

from __future__ import annotations

import os
import signal
import sys
from typing import Any, Final

from .post import Post

_DEEP: Final = 10_000
"""Depth to which what comes of a task may be written: in a series joints follow on joints."""


def serve() -> None:
    """Do tasks until the other side is gone.

    It says first that it has begun. Messages: what a dictionary holds is known by its names from then on; anything else
    is a task, a function and what it is called with after what is known. Answers: whether it raised no error, and what
    it returned.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    sys.setrecursionlimit(_DEEP)
    post = Post(sys.stdin.buffer, os.fdopen(os.dup(1), "wb"))
    # What anything prints, a library that is not written in Python too, must not get into the answers.
    os.dup2(2, 1)
    known: dict[str, Any] = {}
    post.send((True, None))
    while True:
        try:
            message = post.receive()
            if isinstance(message, dict):
                known.update(message)
                post.know(message)
                continue
            task, *given = message
            post.lend(given)
            try:
                answer = True, task(known, *given)
            except Exception:
                answer = False, None
            post.send(answer)
        except (EOFError, OSError):
            return
