# SPDX-License-Identifier: GPL-3.0-or-later
"""Other Python processes that take tasks: of two threads one mostly waits for the other, of two processes none does."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Condition, Lock, Thread
from typing import Any, Final, TypeVar

import numpy as np

from . import boot
from .hand_side import serve
from .post import Post
from .threads import Threads

T = TypeVar("T")

_MANY: Final = 60_000
"""Triangles from which other processes help: with fewer the plan would be made by the time that they have begun."""

_MOST: Final = 2
"""Hands at most: each holds what is known of the body, some hundred megabytes."""

_QUIET: Final = getattr(subprocess, "CREATE_NO_WINDOW", 0)
"""On Windows a Python that is begun from a program with windows would open one of its own."""

_PATIENCE: Final = 1.0
"""Seconds that the last reader of a process that was ended is waited for."""


class Undone(Exception):
    """Another process did not do a task: it is gone, or cannot be told of it, or raised an error."""


class Hand:
    """Another process that does tasks for this one, as soon as it has begun.

    lost : whether it is gone.
    """

    def __init__(self) -> None:
        core = Path(__file__).parents[1]
        package = __package__.rpartition(".")[0]
        command = [sys.executable, "-I", boot.__file__, package, str(core), str(Path(np.__file__).parents[1])]
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            creationflags=_QUIET,
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._post = Post(self._process.stdout, self._process.stdin)
        self._turn = Lock()
        self._untold: dict[str, object] = {}
        self._news = Lock()
        self.lost = False

    def begin(self, ready: Callable[[Hand], None]) -> None:
        """Call `ready` once it is: not at all where something keeps it from beginning."""

        def greeted() -> None:
            with self._turn:
                begun = self._sent(serve) and self._answer() is not None
            if begun:
                ready(self)
            else:
                self._process.stdout.close()  # type: ignore[union-attr]

        Thread(target=greeted, daemon=True).start()

    def know(self, values: Mapping[str, object]) -> None:
        """Let it know what tasks have in common before the next one."""
        # One that never begins must not keep what has long been replaced.
        with self._news:
            self._untold.update(values)

    def tell(self) -> None:
        """Send what it does not know yet."""
        with self._turn:
            self._all_told()

    def ask(self, task: Callable[..., T], *given: object) -> T:
        """Have a task done, and wait for what comes of it: what `task` returns for what is known and `given`.

        Raises
        ------
        Undone
            Nothing came of it: it is best done here, with whatever error that brings.
        """
        answer = None
        with self._turn:
            try:
                if self._all_told() and self._sent((task, *given)):
                    self._post.lend(given)
                    answer = self._answer()
            except BaseException:
                # Interrupted: what is still to come in would be taken for the answer to the next task.
                self.lost = True
                raise
        if answer is None or not answer[0]:
            raise Undone
        out: T = answer[1]
        return out

    def close(self) -> None:
        """End the process: it holds nothing that could be lost."""
        self.lost = True
        self._process.kill()
        self._process.wait()
        with suppress(OSError):
            self._process.stdin.close()  # type: ignore[union-attr]
        # What was no Python itself but began something may have left that behind, which keeps the pipe open: who waits
        # for its greeting closes it.
        if self._turn.acquire(timeout=_PATIENCE):
            self._process.stdout.close()  # type: ignore[union-attr]
            self._turn.release()

    def _all_told(self) -> bool:
        """Send what it does not know yet; whether that could be done."""
        with self._news:
            values, self._untold = self._untold, {}
        if values:
            if not self._sent(values):
                return False
            self._post.know(values)
        return True

    def _sent(self, message: object) -> bool:
        """Whether a message went out."""
        if self.lost:
            return False
        try:
            self._post.send(message)
        except Exception:
            self.lost = True
        return not self.lost

    def _answer(self) -> Any:
        """What comes in next; None where the process is gone, or says what no one can read."""
        try:
            return self._post.receive()
        except Exception:
            self.lost = True
            return None


class Crew(Threads):
    """Threads whose long steps are done side by side: one at a time here, one by each other process.

    Without other processes each thread does its own.

    known : what steps have in common, by name.
    """

    def __init__(self, hands: Sequence[Hand] = ()) -> None:
        # While some wait for an answer others must have something to be done.
        super().__init__(2 * (len(hands) + 1) if hands else None)
        self.known: dict[str, Any] = {}
        self._hands = tuple(hands)
        self._free: list[Hand | None] = [None]
        self._change = Condition()
        for hand in hands:
            hand.begin(self._back)

    def know(self, values: Mapping[str, object]) -> None:
        """Tell all of what steps have in common."""
        self.known.update(values)
        for hand in self._hands:
            hand.know(values)
            if hand in self._free:
                self._pool.submit(hand.tell)

    def do(self, step: Callable[..., T], *given: object) -> T:
        """What `step` returns for what is known and `given`, here or in another process: it must be the same."""
        if not self._hands:
            return step(self.known, *given)
        hand: Hand | None = None
        held = False
        try:
            with self._change:
                while not self._free:
                    self._change.wait()
                # Here first: nothing need be sent.
                hand, held = self._free.pop(), True
            return step(self.known, *given) if hand is None else hand.ask(step, *given)
        except Undone:
            return step(self.known, *given)
        finally:
            if held and (hand is None or not hand.lost):
                self._back(hand)

    def run(self, function: Callable[..., T], *given: object) -> T:
        """What a function returns that asks for nothing that is known."""
        out: T = self.do(_run, function, *given)
        return out

    def _back(self, hand: Hand | None) -> None:
        with self._change:
            self._free.insert(len(self._free) if hand is None else 0, hand)
            self._change.notify()


def _run(known: dict[str, Any], function: Callable[..., T], *given: object) -> T:
    return function(*given)


@contextmanager
def hands(worth_it: bool) -> Iterator[Sequence[Hand]]:
    """As many other processes as there are processors to spare; none where that is not worth it or cannot be."""
    found: list[Hand] = []
    try:
        # What is no Python may be the program that this runs in: another window of it is not what is wanted.
        if worth_it and Path(sys.executable or "").name.lower().startswith("python"):
            for _ in range(min((os.cpu_count() or 1) - 1, _MOST)):
                try:
                    found.append(Hand())
                except OSError:
                    break
        yield found
    finally:
        for hand in found:
            hand.close()


@contextmanager
def gathered(triangles: int) -> Iterator[Crew]:
    """A crew for a carving of so many triangles, with other processes where that is worth it."""
    with hands(triangles >= _MANY) as helping, Crew(helping) as crew:
        yield crew
