"""Call plugin code in a thread of its own, under a time limit; there is no other way in which it is called.

Python cannot stop a thread. So a call that does not end is left behind in its thread: the run goes on without it, what
it returns later is ignored, and it ends with the process. Compiled code that never releases the interpreter's lock
cannot be timed out, because no other thread runs meanwhile.
"""

from __future__ import annotations

import os
import sys
import threading
import traceback
from collections.abc import Callable, Generator, Mapping
from typing import Any, Generic, TypeVar

from qc.model.errors import FAULTS, REASONS, TimedOutError
from qc.plugin_host.output import output_on_stderr
from qc.plugin_host.places import place_of_call, place_of_error, place_of_thread
from qc.text.exceptions import describe, exception_line, no_exception

K = TypeVar("K")
R = TypeVar("R")

TIME_LIMIT_S = 120.0
"""Time one call may take: of an analysis for one block, some 1.4 s of audio; of anything else as a whole."""
INTERVALS = 20
"""The time limit is counted in so many polling intervals, so time while the process is suspended does not count."""


class RunnerThread(threading.Thread):
    """A thread that may be left behind in plugin code; the process does not wait for it at its end."""

    def __init__(self, target: Callable[..., None], *args: Any) -> None:
        super().__init__(target=target, args=args, daemon=True)

    def run(self) -> None:
        """Call the plugin; what it prints goes to stderr."""
        with output_on_stderr():
            super().run()


def unfinished() -> bool:
    """Whether a call was left behind; the interpreter cannot be relied on to end then."""
    return any(isinstance(thread, RunnerThread) for thread in threading.enumerate())


class Runner:
    """Calls plugin code under a time limit. May be used by several threads at once."""

    def __init__(self, time_limit_s: float = TIME_LIMIT_S) -> None:
        self.time_limit_s = time_limit_s

    @property
    def interval_s(self) -> float:
        """Length of one polling interval."""
        return self.time_limit_s / INTERVALS

    def __call__(self, function: Callable[..., R], *args: Any) -> R:
        """Return what a call returns and raise what it raises; raises TimedOutError when it does not end in time.

        What is raised is always an Exception: a NoExceptionError in place of SystemExit and the like. So a
        KeyboardInterrupt that comes out of here is that of Ctrl-C.
        """
        outcome = _Outcome[R]()
        thread = RunnerThread(outcome.fill, function, args)
        thread.start()
        for _ in range(INTERVALS):
            thread.join(self.interval_s)
            if not thread.is_alive():
                return outcome.get()
        raise self.timed_out("it had not ended", thread.ident, place_of_call(function, args))

    def each(self, calls: Mapping[K, Callable[[], R]]) -> tuple[dict[K, R], dict[K, str]]:
        """Make several calls in order; return the results, and a sentence for each call that raised or timed out."""
        results: dict[K, R] = {}
        faults: dict[K, str] = {}
        for key, call in calls.items():
            try:
                results[key] = self(call)
            except FAULTS as error:
                faults[key] = exception_line(error)
        return results, faults

    def timed_out(self, state: str, thread: int | None, place: str) -> TimedOutError:
        """Return the error of a call that timed out; `state` begins its sentence.

        `thread` runs the call; `place`, where it is defined, counts where the thread is in no code of a plugin.
        """
        error = TimedOutError(f"{state} after {self.time_limit_s:g} s, and timed out")
        describe(error, place_of_thread(thread) or place)
        if frame := sys._current_frames().get(thread or 0):  # noqa: SLF001 - the only way to another thread's frames
            _debug(lambda: traceback.print_stack(frame))
        return error


class _Outcome(Generic[R]):
    """Result of a call in another thread, or its error."""

    def __init__(self) -> None:
        self._result: R | None = None
        self._error: BaseException | None = None

    def fill(self, function: Callable[..., R], args: tuple[Any, ...]) -> None:
        try:
            self._result = function(*args)
        except BaseException as error:  # raised again in the calling thread
            self._error = _described(error, function, args)

    def get(self) -> R:
        error, self._error = self._error, None
        if error is None:
            return self._result  # type: ignore[return-value]
        try:
            raise error
        finally:
            del error  # its traceback refers to this frame


def _described(error: BaseException, function: Callable[..., Any], args: tuple[Any, ...] = ()) -> Exception:
    """Put what a call raised into words, still inside the call, and return the exception to raise in its place."""
    try:
        describe(error, place_of_error(error) or place_of_call(function, args))
        if not isinstance(error, REASONS):
            _debug(lambda: traceback.print_exception(error))
    except BaseException:  # by the text of the error, which is code of the plugin
        describe(error, place_of_call(function, args), by_name=True)
    return error if isinstance(error, Exception) else no_exception(error)


def _debug(write: Callable[[], None]) -> None:
    """Write a traceback to stderr where SIDEGATE_DEBUG asks for it."""
    if os.environ.get("SIDEGATE_DEBUG"):
        write()


class PluginCall:
    """One plugin call of a series; `state` begins the sentence of its error if it times out."""

    def __init__(self, function: Callable[[], Any], state: str) -> None:
        self.function, self.state = function, state
        self.intervals = 0
        """polling intervals since it began"""
        self._ended = threading.Lock()

    def end(self) -> bool:
        """Mark the call as ended; True for the thread that does so first: the caller's, or the one that polls."""
        return self._ended.acquire(blocking=False)


class LeftBehindError(BaseException):
    """Raised in a thread whose call has timed out: another thread goes on in its place."""


class CallSeries(Generic[R]):
    """Plugin calls made one after another in one thread, while another thread polls how long each takes.

    A generator yields the calls. It is resumed with what a call returned, or by raising what it raised, and its own
    result is that of the series. When a call times out, a new thread resumes the generator in its place.
    """

    def __init__(self, calls: Generator[PluginCall, Any, R], runner: Runner) -> None:
        self._calls, self._runner = calls, runner
        self._call: PluginCall | None = None
        self._thread = 0
        self._timed_out: TimedOutError | None = None

    def run(self) -> R:
        """Make the calls that are left; raises LeftBehindError, and what the generator raises."""
        result: Any = None
        error: BaseException | None = self._timed_out
        self._thread = threading.get_ident()
        while True:
            try:
                call = self._calls.send(result) if error is None else self._calls.throw(error)
            except StopIteration as end:
                self._call = None
                returned: R = end.value
                return returned
            self._call, result, error = call, None, None
            try:
                result = call.function()
            except BaseException as raised:  # raised again in the generator
                error = _described(raised, call.function)
            if not call.end():
                raise LeftBehindError

    def poll(self) -> bool:
        """Count one polling interval; True when the running call has timed out, so that a new thread must `run`.

        `audio/pipeline/process.py` calls it once an interval for each stage.
        """
        call = self._call
        if call is None:
            return False
        call.intervals += 1
        return call.intervals > INTERVALS and self.abandon()

    def abandon(self) -> bool:
        """Time out the running call at once; False where no call is running."""
        call = self._call
        if call is None or not call.end():
            return False
        self._timed_out = self._runner.timed_out(call.state, self._thread, place_of_call(call.function))
        return True
