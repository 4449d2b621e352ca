# SPDX-License-Identifier: GPL-3.0-or-later
"""Tasks side by side: numpy lets other threads run while it works on long arrays."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from threading import Lock, Semaphore
from types import TracebackType
from typing import Final, Self, TypeVar

T = TypeVar("T")

_MOST: Final = 4
"""Threads at most: what is between numpy's calls runs in one at a time, so that more would only wait."""

_TURN: Final = 0.0005
"""Seconds that a thread runs before it lets another: by Python's usual ten times that, one that comes back from numpy
waits longer than its next call takes."""

_BREATH: Final = 0.2
"""Seconds between the times that a caller who waits is asked whether to go on."""

_turns: Final[list[float]] = []
"""What that was when each of those that are open was opened: plans may be made side by side, and end in any order."""

_one: Final = Lock()
"""Held while that is changed."""


class Threads:
    """A few threads that take tasks when they are idle, while the caller works on others.

    Tasks must not depend on each other, so that it makes no difference to what comes out how many threads there are.

    waiting : called now and then while the caller waits; may raise, and is not called again then.
    """

    def __init__(self, most: int | None = None) -> None:
        """Most threads, the caller among them."""
        most = most or min(_MOST, os.cpu_count() or 1)
        self.waiting: Callable[[], None] | None = None
        self._pool = ThreadPoolExecutor(max(most - 1, 1))
        self._idle = Semaphore(most - 1)

    def __enter__(self) -> Self:
        with _one:
            _turns.append(sys.getswitchinterval())
            sys.setswitchinterval(min(_turns[-1], _TURN))
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            self._pool.shutdown()
        finally:
            with _one:
                turn = _turns.pop()
                # The last one out puts back what the first one found.
                if not _turns:
                    sys.setswitchinterval(turn)

    def map(self, tasks: Sequence[Callable[[], T]]) -> list[T]:
        """What all tasks give, in their order; the first error, in this order, is raised when all are done."""
        done: list[Future[T]] = []
        for k, task in enumerate(tasks):
            # The last is never given away: the caller would only wait for it.
            if k + 1 < len(tasks) and self._idle.acquire(blocking=False):
                done.append(self._pool.submit(self._given, task))
            else:
                done.append(_now(task))
        self._wait(done)
        return [one.result() for one in done]

    def _wait(self, done: Sequence[Future[T]]) -> None:
        error: Exception | None = None
        while wait(done, _BREATH).not_done:
            if self.waiting is not None and error is None:
                try:
                    self.waiting()
                except Exception as stopped:
                    error = stopped
        if error is not None:
            raise error

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
