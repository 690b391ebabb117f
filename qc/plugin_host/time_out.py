"""Patience with plugins: a call that does not end is given up, and the command goes on without it.

Python cannot stop a thread. So foreign code is called in a thread that may be left behind: nobody waits for it, nobody
touches what it holds, and it ends with the process. Code that never lets go of the interpreter's lock, a compiled loop
for example, cannot be given up: nobody else gets to run while it holds it.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from queue import Empty, SimpleQueue
from types import TracebackType
from typing import Any, Self, TypeVar

from qc.model.errors import GivenUpError

R = TypeVar("R")

PATIENCE_S = 120.0
"""How long one call may take: of an analysis for one block, some 1.4 s of audio; of anything else as a whole."""
TICKS = 20
"""Patience is counted in so many wakings of the thread that waits: a process that was stopped, or a machine that
slept, has lost none of it when it goes on."""

_Answer = tuple[Any, BaseException | None]


def given_up(patience: float, what: str = "it had not ended") -> GivenUpError:
    """Make the error that says what was given up, and after how many seconds."""
    return GivenUpError(f"{what} after {patience:g} s, and was given up")


class Hand(threading.Thread):
    """A thread for foreign code, which the process does not wait for at its end."""

    def __init__(self, work: Callable[[], None]) -> None:
        super().__init__(daemon=True)
        self._work = work
        self.idle = False
        """whether it waits for something to do"""

    def run(self) -> None:
        """Work, then let go of what the work holds: it may hold this thread, and such a ring stays for long."""
        try:
            self._work()
        finally:
            del self._work


def still_at_work() -> bool:
    """Whether a hand was left behind; the end of the interpreter is not safe then, nor sure to come."""
    return any(isinstance(thread, Hand) and not thread.idle for thread in threading.enumerate())


class Patient:
    """Makes calls in another thread, one at a time, and waits for each as long as patience lasts.

    A context: the thread is started by the first call, and ends with the context.
    """

    def __init__(self, patience: float) -> None:
        self._patience = patience
        self._caller: _Caller | None = None

    def __enter__(self) -> Self:
        """Begin."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the thread, which has nothing to do."""
        if self._caller is not None:
            self._caller.calls.put(None)
            self._caller.join()
            self._caller = None

    def __call__(self, call: Callable[[], R]) -> R:
        """Give what a call gives; what it raises is raised, and GivenUpError when it has not ended in time."""
        caller, self._caller = self._caller or _Caller(), None
        caller.calls.put(call)
        try:
            result, error = self._answer(caller)
        except BaseException:
            caller.calls.put(None)  # should it ever come back, it ends
            raise
        self._caller = caller
        if error is None:
            given: R = result
            return given
        try:
            raise error
        finally:
            del error  # its traceback holds this frame

    def _answer(self, caller: _Caller) -> _Answer:
        for _ in range(TICKS):
            try:
                return caller.answers.get(timeout=self._patience / TICKS)
            except Empty:
                continue
        raise given_up(self._patience)


class _Caller(Hand):
    """The thread behind a `Patient`."""

    def __init__(self) -> None:
        super().__init__(self._call)
        self.calls: SimpleQueue[Callable[[], Any] | None] = SimpleQueue()
        self.answers: SimpleQueue[_Answer] = SimpleQueue()
        self.idle = True
        self.start()

    def _call(self) -> None:
        while (call := self.calls.get()) is not None:
            self.idle = False
            try:
                answer: _Answer = call(), None
            except BaseException as error:  # raised again where it was asked for
                answer = None, error
            self.idle = True
            self.answers.put(answer)
            del answer, call
