"""The pass: every block is read once and heard by every group, shared out to threads.

A worker takes whatever step is ready (`steps`): read the next block, let the taps of a group hear its next block, or
the analyses behind them theirs, or take a block's bytes into the digests. Blocks reach each of them strictly in order
and none is in two threads at once, so the digits do not depend on the workers.

The thread that waits for all this watches over them: a plugin's analysis or tap that does not end is given up, and
another worker takes the place of the one it keeps.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, Protocol

from qc.audio.memory import give_back
from qc.audio.pipeline.derived import work_out
from qc.audio.pipeline.group import Group
from qc.audio.pipeline.plan import Plan
from qc.audio.pipeline.steps import READ, Steps
from qc.audio.pipeline.turns import LeftBehindError, Turns, Watch
from qc.audio.source import RING
from qc.plugin_api import Measurements, Need, Samples, Stream
from qc.plugin_host.runner import Runner, RunnerThread

GRACE_S = 1.0
"""How long an interrupted pass waits for the steps that are being taken."""

Progress = Callable[[float], None]
"""Told how much of the source is heard, 0..1."""


class Source(Protocol):
    """What the pass reads from."""

    stream: Stream

    @property
    def blocks(self) -> int:
        """Number of blocks that `read` gives."""
        ...

    def open(self) -> None:
        """Get ready to read from the start."""
        ...

    def read(self) -> Sequence[Samples]:
        """Give the next block as slices, (2, n) each."""
        ...

    def hash(self) -> None:
        """Take the bytes of a block that was read into the digests of its file; once a block, in order."""
        ...

    def close(self) -> None:
        """Let go of the file."""
        ...


def hear(
    source: Source, plan: Plan, *, workers: int | None = None, progress: Progress | None = None,
    beside: Callable[[], None] | None = None, runner: Runner | None = None,
) -> Measurements:  # fmt: skip
    """Hear a source once and work out everything planned; what a plugin raises is kept in `failed`.

    `beside` is called once a block, in order, at any time after it was read and by one thread at a time. Plugin
    code is called through `runner`. Raises AudioFaultError when the audio itself
    cannot be judged.
    """
    runner = runner or Runner()
    results, failed = _found(source, plan, workers or default_workers(), progress or (lambda _: None), beside, runner)
    give_back()
    return work_out(Measurements(source.stream, 1, results, failed), plan.derived, runner)


def _found(
    source: Source,
    plan: Plan,
    workers: int,
    progress: Progress,
    beside: Callable[[], None] | None,
    runner: Runner,
) -> tuple[dict[Need[Any], Any], dict[Need[Any], str]]:
    """Give what the groups of a plan found and what failed; all that heard is let go of."""
    groups = [Group(analyses, source.stream, runner) for analyses in plan.groups]
    _pass(source, groups, workers, progress, beside, runner)
    results: dict[Need[Any], Any] = {}
    failed: dict[Need[Any], str] = {}
    for group in groups:
        results.update(group.results)
        failed.update(group.failed)
    return results, failed


def _pass(
    source: Source, groups: Sequence[Group], workers: int, progress: Progress, beside: Callable[[], None] | None,
    runner: Runner,
) -> None:  # fmt: skip
    """Let groups hear a source; raises AudioFaultError."""
    source.open()
    shared = None
    try:
        lines: list[_Line] = [*groups, *(group.taps for group in groups if group.taps)]
        behind = {k: lines.index(group.taps) for k, group in enumerate(groups) if group.taps}
        if beside is not None:
            lines.append(_Beside(beside))
        shared = _Shared(source, lines, behind, progress, runner)
        shared.run(workers)
    finally:
        if shared is None or shared.at_rest:  # else somebody may still be reading; it goes with the process
            source.close()


def default_workers() -> int:
    """Give the cores this process may use, at most four: the heaviest of the groups keeps one busy by itself."""
    return max(1, min(4, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1))


class _Line(Protocol):
    """What takes every block in order, and then the end."""

    def hear(self, slices: Sequence[Samples]) -> None: ...

    def finish(self) -> None: ...


class _Beside:
    """Something that is done once a block and does not need its samples."""

    def __init__(self, step: Callable[[], None]) -> None:
        self._step = step

    def hear(self, slices: Sequence[Samples]) -> None:  # noqa: ARG002
        self._step()

    def finish(self) -> None:
        pass


class _Shared:
    """What the workers share, behind one condition variable."""

    def __init__(
        self,
        source: Source,
        lines: Sequence[_Line],
        behind: Mapping[int, int],
        progress: Progress,
        runner: Runner,
    ) -> None:
        self._source, self._lines, self._progress, self._runner = source, lines, progress, runner
        self._steps = Steps(source.blocks, len(lines), behind, RING)
        self._changed = threading.Condition()
        self._waiting = 0
        self._blocks: dict[int, Sequence[Samples]] = {}
        self._error: BaseException | None = None
        self._workers = 0
        self._gone: list[threading.Thread] = []
        self._rest = threading.Event()

    @property
    def at_rest(self) -> bool:
        """Whether every worker has ended that was not left behind."""
        return self._rest.is_set()

    def run(self, workers: int) -> None:
        """Work until everything is heard; the calling thread watches."""
        watch = Watch(self._lines)
        with self._changed:
            for _ in range(workers):
                self._hire(self._begin)
        try:
            while not self._rest.wait(self._runner.interval_s):
                self._replace(watch)
        except BaseException as error:  # Ctrl-C
            self._stop(error)
            self._rest.wait(GRACE_S)
        for hand in self._gone:
            hand.join()
        self._gone.clear()  # they hold this
        if self._error is not None:
            raise self._error

    def _hire(self, first: Callable[[], int | None]) -> None:
        """Let one more worker begin; `first` gives the step that it goes on with."""
        self._workers += 1
        RunnerThread(self._work, first).start()

    def _replace(self, watch: Watch) -> None:
        """Give up what does not end, and let another worker go on from there."""
        with self._changed:
            for k in watch.overdue(self._runner):
                if self._error is None:
                    self._hire(partial(self._hear, k, again=True))
                self._leave()

    def _leave(self) -> None:
        self._workers -= 1
        if not self._workers:
            self._rest.set()

    def _stop(self, error: BaseException) -> None:
        with self._changed:
            self._error = self._error or error
            self._changed.notify_all()

    def _work(self, first: Callable[[], int | None]) -> None:
        try:
            step = first()
            while step is not None:
                step = self._read() if step == READ else self._hear(step)
        except LeftBehindError:
            return  # another worker has its place
        except BaseException as error:  # carried to the calling thread
            self._stop(error)
        with self._changed:
            self._gone.append(threading.current_thread())
            self._leave()

    # -- steps: each ends with the next one, so that a worker takes the lock once a step ---------------------------

    def _begin(self) -> int | None:
        with self._changed:
            return self._take()

    def _read(self) -> int | None:
        """Read the next block."""
        slices = self._source.read()
        with self._changed:
            if self._lines:
                self._blocks[self._steps.read] = slices
            self._steps.was_read()
            return self._take()

    def _hear(self, k: int, *, again: bool = False) -> int | None:
        """Let a line hear its next block, or go on with it where another worker was left behind."""
        block, line = self._steps.next[k], self._lines[k]
        if again:
            assert isinstance(line, Turns)  # nothing else is given up
            line.go_on()
        elif block == self._steps.end:
            line.finish()
        else:
            line.hear(self._blocks[block])
        with self._changed:
            for done in self._steps.was_heard(k):
                self._blocks.pop(done, None)
                self._progress(min(1.0, self._steps.low / max(1, self._steps.end)))
            return self._take()

    def _take(self) -> int | None:
        """Wait for a step that is ready; None when there is nothing left, or something went wrong."""
        while self._error is None and self._steps.left:
            step = self._steps.take()
            if step is not None:
                if self._waiting and self._steps.ready:
                    self._changed.notify()
                return step
            self._waiting += 1
            self._changed.wait()
            self._waiting -= 1
        self._changed.notify_all()
        return None
