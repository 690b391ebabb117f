"""Calls into plugins while a stream is heard, one after another; one that does not end can be given up from outside.

The thread that makes the calls and the one that watches it agree without a lock: a turn is closed once, and whoever
closes it goes on. If that is the watcher, the call is lost and its thread left behind in it; all other calls are still
there for another thread, in the same order.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import deque
from collections.abc import Sequence
from typing import Generic, TypeVar

from qc.model.errors import FAULTS
from qc.plugin_host.runner import INTERVALS, Runner

M = TypeVar("M")
"""what is called: an analysis, a tap"""
B = TypeVar("B")
"""what it is called with"""


class LeftBehindError(BaseException):
    """Raised in a thread whose call has ended after all, when another one already went on: it has nothing to do."""


class Turn(Generic[M, B]):
    """One call, from its beginning until it is closed."""

    def __init__(self, member: M, heard: B) -> None:
        self.member, self.heard = member, heard
        self._open = deque([True])

    def close(self) -> bool:
        """Close it; whether that was done here, for only one of two threads may do it."""
        try:
            self._open.pop()
        except IndexError:
            return False
        return True


class Turns(ABC, Generic[M, B]):
    """Calls that are to be made in order."""

    def __init__(self) -> None:
        self.turn: Turn[M, B] | None = None
        """the call that is being made"""
        self._todo: deque[tuple[M, B]] = deque()

    def go_on(self) -> None:
        """Make the calls that are left."""
        while self._todo:
            member, heard = self._todo.popleft()
            if not self._wanted(member):
                continue
            self.turn = turn = Turn(member, heard)
            error: BaseException | None = None
            try:
                made = self._call(member, heard)
            except BaseException as fault:
                made, error = None, fault
            if not turn.close():
                raise LeftBehindError
            if error is not None and not isinstance(error, FAULTS):
                raise error
            self._took(member, heard, made, error)
        self.turn = None

    def give_up(self, turn: Turn[M, B], runner: Runner) -> bool:
        """Give up a call, unless it has just ended; then `go_on` may be called by another thread."""
        if not turn.close():
            return False
        self._took(turn.member, turn.heard, None, self._overdue(turn.member, turn.heard, runner))
        return True

    @abstractmethod
    def _wanted(self, member: M) -> bool:
        """Whether a member is still to be called."""

    @abstractmethod
    def _call(self, member: M, heard: B) -> object:
        """Call a member; nothing of ours may be changed here."""

    @abstractmethod
    def _took(self, member: M, heard: B, made: object, error: BaseException | None) -> None:
        """Take what a call gave, or why there is nothing."""

    @abstractmethod
    def _overdue(self, member: M, heard: B, runner: Runner) -> BaseException:
        """Give the error that says what was given up."""


class Watch:
    """Counts, waking by waking, how long each of several threads is at its turn."""

    def __init__(self, lines: Sequence[object]) -> None:
        self._lines = [(k, line) for k, line in enumerate(lines) if isinstance(line, Turns)]
        self._seen: dict[int, tuple[object, int]] = {}

    def overdue(self, runner: Runner) -> list[int]:
        """Give up the calls that were being made at all of the last INTERVALS wakings; gives the lines they were of."""
        late = []
        for k, line in self._lines:
            turn = line.turn
            seen, count = self._seen.get(k, (None, 0))
            self._seen[k] = (turn, count + 1 if turn is not None and turn is seen else 0)
            if turn is not None and self._seen[k][1] >= INTERVALS and line.give_up(turn, runner):
                late.append(k)
        return late
