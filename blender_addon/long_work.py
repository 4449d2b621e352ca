# SPDX-License-Identifier: GPL-3.0-or-later
"""Work that takes longer than half a second: steps on a timer, the core beside them, progress, and Esc.

An operator gives its work as a generator of `Step`. Called from a script it runs through at once; called from the
window it goes on a step at a time. The core works on arrays alone, in a thread that never touches Blender's data.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Generator
from typing import Any, NamedTuple, TypeVar

import bpy

from .core.errors import Cancelled, Progress, SeamwrightError
from .watch import redraw

T = TypeVar("T")

TICK = 0.05
"""Seconds between two looks at the work."""
LONGEST = 0.03
"""Seconds of steps in one look."""


class Step(NamedTuple):
    """How far the work is; `locked` while data are written that an undo would break, `idle` while others work."""

    share: float
    text: str
    locked: bool = False
    idle: bool = False


Steps = Generator[Step, None, str]
"""Ends with the sentence to report."""


class Dropped(SeamwrightError):
    """The work was for nothing: the scene changed meanwhile."""


class Running(NamedTuple):
    """What the panels show of work that goes on."""

    label: str
    share: float
    text: str
    stop: str = "Esc stops it"


_running: list[Running] = []
_stop = threading.Event()
_enough = threading.Event()
"""Set by Esc where the core shall end with the best that it has."""


def running() -> Running | None:
    """Work that goes on, or None."""
    return _running[0] if _running else None


def stop_all() -> None:
    """Ask work that goes on to end; for when the extension is taken away."""
    _stop.set()
    _running.clear()


class _Worker(threading.Thread):
    def __init__(self, call: Callable[[Progress], Any]) -> None:
        super().__init__(name="seamwright", daemon=True)
        self.call = call
        self.cancelled = threading.Event()
        self.step = (0.0, "")
        self.result: Any = None
        self.error: BaseException | None = None

    def run(self) -> None:
        try:
            self.result = self.call(self._progress)
        except BaseException as error:
            self.error = error

    def _progress(self, share: float, text: str) -> None:
        if self.cancelled.is_set():
            raise Cancelled("stopped")
        self.step = (share, text)


class InWindow:
    """A call that only the window's own thread may make, given to the core that runs beside it.

    Called from a thread it waits until `serve` has been called in the window's; called from the window's own thread it
    calls at once. Ends with `Cancelled` where the work is stopped.
    """

    def __init__(self, call: Callable[..., Any]) -> None:
        self._call = call
        self._words: tuple[Any, ...] | None = None
        self._done = threading.Event()
        self._answer: Any = None
        self._error: BaseException | None = None
        self._closed = False

    def __call__(self, *words: Any) -> Any:
        """Call, wherever from; what the call raises is raised here."""
        if threading.current_thread() is threading.main_thread():
            return self._call(*words)
        self._done.clear()
        self._words = words
        self._done.wait()
        if self._closed:
            raise Cancelled("stopped")
        if self._error is not None:
            raise self._error
        return self._answer

    def asked(self) -> bool:
        """Whether a thread waits for an answer."""
        return self._words is not None and not self._closed

    def serve(self) -> None:
        """Answer, in the window's thread."""
        words, self._words = self._words, None
        self._answer, self._error = None, None
        try:
            self._answer = self._call(*(words or ()))
        except BaseException as error:
            self._error = error
        self._done.set()

    def close(self) -> None:
        """Let a thread go that waits still."""
        self._closed = True
        self._done.set()


def beside(
    call: Callable[[Progress], T], low: float, high: float, wait: bool, window: InWindow | None = None
) -> Generator[Step, None, T]:
    """Steps of a call into the core; ends with its result, raises what it raised.

    Parameters
    ----------
    call : takes a `Progress`; must not touch Blender's data, but by `window`.
    low, high : the stretch of the whole work that it is.
    wait : run it here and now instead of in a thread.
    """
    if wait:
        yield Step(low, "")
        return call(lambda share, text: None)
    worker = _Worker(call)
    worker.start()
    try:
        while worker.is_alive():
            if _enough.is_set():
                worker.cancelled.set()
            share, text = worker.step
            if window is not None and window.asked():
                yield Step(low + (high - low) * share, text, locked=True, idle=True)
                window.serve()
            yield Step(low + (high - low) * share, text)
    finally:
        worker.cancelled.set()
        if window is not None:
            window.close()
    if worker.error is not None:
        raise worker.error
    result: T = worker.result
    return result


class LongWork:
    """Mix-in of an operator whose work is `steps(context, wait)`; `working` is the word for it."""

    working = "Working"
    keeps = False
    """Whether Esc keeps the best so far; a second Esc drops it."""
    report: Any
    _steps: Steps
    _timer: bpy.types.Timer | None
    _locked: bool

    def steps(self, context: bpy.types.Context, wait: bool) -> Steps:
        """The work; `wait` says that nobody watches and it may block."""
        raise NotImplementedError

    def execute(self, context: bpy.types.Context) -> set[Any]:
        """Run through at once."""
        try:
            text = _drain(self.steps(context, True))
        except SeamwrightError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        self.report({"INFO"}, text)
        return {"FINISHED"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """Go on a step at a time, with progress."""
        if bpy.app.background or context.window is None:
            return self.execute(context)
        return self.begin(context)

    def begin(self, context: bpy.types.Context) -> set[Any]:
        """Begin to go on a step at a time."""
        _stop.clear()
        _enough.clear()
        self._steps = self.steps(context, False)
        self._locked = False
        self._timer = context.window_manager.event_timer_add(TICK, window=context.window)
        context.window_manager.progress_begin(0, 100)
        handler: Any = self
        context.window_manager.modal_handler_add(handler)
        self._show(context, Step(0.0, ""))
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[Any]:
        """One look at the work, or Esc."""
        if event.type == "ESC" and event.value == "PRESS" and self.keeps and not _enough.is_set():
            _enough.set()
            return {"RUNNING_MODAL"}
        if event.type == "ESC" and event.value == "PRESS":
            self._end(context)
            self.report({"INFO"}, f"{self.working} stopped; nothing was changed")
            return {"CANCELLED"}
        if event.type != "TIMER":
            return {"RUNNING_MODAL"} if self._locked else {"PASS_THROUGH"}
        if _stop.is_set():
            self._end(context)
            return {"CANCELLED"}
        until = time.monotonic() + LONGEST
        try:
            step = next(self._steps)
            while step.locked and not step.idle and time.monotonic() < until:
                step = next(self._steps)
            self._locked = step.locked
            self._show(context, step)
        except StopIteration as done:
            self._end(context)
            self.report({"INFO"}, str(done.value))
            return {"FINISHED"}
        except SeamwrightError as error:
            self._end(context)
            self.report({"WARNING"} if isinstance(error, Dropped) else {"ERROR"}, sentence(error))
            return {"CANCELLED"}
        except BaseException:
            self._end(context)
            raise
        return {"RUNNING_MODAL"} if self._locked else {"PASS_THROUGH"}

    def cancel(self, context: bpy.types.Context) -> None:
        """Blender ends it: another file is opened, or Blender is closed."""
        self._end(context)

    def _show(self, context: bpy.types.Context, step: Step) -> None:
        if not self.keeps:
            stop = "Esc stops it"
        else:
            stop = "Esc again drops it" if _enough.is_set() else "Esc takes the best so far"
        _running[:] = [Running(self.working, step.share, step.text, stop)]
        context.window_manager.progress_update(round(100 * step.share))
        if context.workspace is not None:
            text = f"{self.working}: {step.share:.0%} {step.text}".rstrip()
            context.workspace.status_text_set(f"{text}   |   {stop}")
        redraw()

    def _end(self, context: bpy.types.Context) -> None:
        self._steps.close()
        _running.clear()
        if self._timer is not None:
            context.window_manager.event_timer_remove(self._timer)
            self._timer = None
        context.window_manager.progress_end()
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        redraw()


def _drain(steps: Steps) -> str:
    while True:
        try:
            next(steps)
        except StopIteration as done:
            return str(done.value)


def sentence(error: SeamwrightError) -> str:
    """An error's message as a sentence of one line; a name of a file or an object at its beginning stays as it is."""
    text = " ".join(str(error).split())
    return text if ":" in text.partition(" ")[0] else text[:1].upper() + text[1:]
