# SPDX-License-Identifier: GPL-3.0-or-later
"""Tasks side by side: numpy lets other threads run while it works on long arrays."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from threading import Semaphore
from types import TracebackType
from typing import Final, TypeVar

T = TypeVar("T")

_MOST: Final = 4
"""Threads at most: what is between numpy's calls runs in one at a time, so that more would only wait."""


_TURN: Final = 0.0005
"""Seconds that a thread runs before it lets another: by Python's usual ten times that, one that comes back from numpy
waits longer than its next call takes."""


class Threads:
    """A few threads that take tasks when they are idle, while the caller works on others.

    Tasks must not depend on each other, so that it makes no difference to what comes out how many threads there are.
    """

    def __init__(self) -> None:
        most = min(_MOST, os.cpu_count() or 1)
        self._pool = ThreadPoolExecutor(max(most - 1, 1))
        self._idle = Semaphore(most - 1)
        self._turn = sys.getswitchinterval()

    def __enter__(self) -> Threads:
        self._turn = sys.getswitchinterval()
        sys.setswitchinterval(min(self._turn, _TURN))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._pool.shutdown()
        sys.setswitchinterval(self._turn)

    def map(self, tasks: Sequence[Callable[[], T]]) -> list[T]:
        """What all tasks give, in their order; the first error, in this order, is raised when all are done."""
        done: list[Future[T]] = []
        for k, task in enumerate(tasks):
            # The last is never given away: the caller would only wait for it.
            if k + 1 < len(tasks) and self._idle.acquire(blocking=False):
                done.append(self._pool.submit(self._given, task))
            else:
                done.append(_now(task))
        wait(done)
        return [one.result() for one in done]

    def _given(self, task: Callable[[], T]) -> T:
        try:
            return task()
        finally:
            self._idle.release()


def _now(task: Callable[[], T]) -> Future[T]:
    """A task done at once."""
    done: Future[T] = Future()
    try:
        done.set_result(task())
    except Exception as error:
        done.set_exception(error)
    return done
