"""The pass: every block is read once and heard by every group, shared out to threads.

A worker takes whatever step is ready: read the next block, or let group k hear its next block. Blocks reach each
group strictly in order and no group is in two threads at once, so the digits do not depend on the workers.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Sequence
from typing import Any, Protocol

from qc.audio.group import Group
from qc.audio.plan import Plan
from qc.contract import Measurements, Need, Samples, Stream
from qc.errors import FAULTS
from qc.wording import told

RING = 4
"""Blocks that may be in memory at once."""

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

    def close(self) -> None:
        """Let go of the file."""
        ...


def hear(source: Source, plan: Plan, *, workers: int | None = None, progress: Progress | None = None) -> Measurements:
    """Hear a source once and work out everything planned; what a plugin raises is kept in `failed`.

    Raises AudioFaultError when the audio itself cannot be judged.
    """
    groups = [Group(analyses, source.stream) for analyses in plan.groups]
    source.open()
    try:
        _Shared(source, groups, progress or (lambda _: None)).run(workers or default_workers())
    finally:
        source.close()
    results: dict[Need[Any], Any] = {}
    failed: dict[Need[Any], str] = {}
    for group in groups:
        results.update(group.results)
        failed.update(group.failed)
    measured = Measurements(source.stream, 1, results, failed)
    for derived in plan.derived:
        try:
            results[derived] = derived.work(measured)
        except FAULTS as error:
            failed[derived] = told(error)
    return measured


def default_workers() -> int:
    """Give the cores this process may use, at most four: the heaviest of the groups keeps one busy by itself."""
    return max(1, min(4, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1))


class _Shared:
    """What the workers share, behind one condition variable."""

    def __init__(self, source: Source, groups: Sequence[Group], progress: Progress) -> None:
        self._source, self._groups, self._progress = source, groups, progress
        self._changed = threading.Condition()
        self._blocks: dict[int, Sequence[Samples]] = {}
        self._read = 0
        self._reading = False
        self._next = [0] * len(groups)
        self._busy = [False] * len(groups)
        self._error: BaseException | None = None

    def run(self, workers: int) -> None:
        """Work until everything is heard; the calling thread is one of the workers."""
        threads = [threading.Thread(target=self._work, daemon=True) for _ in range(workers - 1)]
        for thread in threads:
            thread.start()
        try:
            self._work()
        finally:
            for thread in threads:
                thread.join()
        if self._error is not None:
            raise self._error

    def _work(self) -> None:
        try:
            while (step := self._take()) is not None:
                step()
        except BaseException as error:  # carried to the calling thread
            with self._changed:
                self._error = self._error or error
                self._changed.notify_all()

    def _take(self) -> Callable[[], None] | None:
        """Wait for a step that is ready; None when there is nothing left, or something went wrong."""
        with self._changed:
            while True:
                if self._error is not None or min(self._next, default=self._read) > self._source.blocks:
                    return None
                if not self._groups and self._read == self._source.blocks:
                    return None
                for k in sorted(range(len(self._groups)), key=lambda k: self._next[k]):
                    if not self._busy[k] and self._ready(self._next[k]):
                        self._busy[k] = True
                        return lambda k=k: self._hear(k)  # type: ignore[misc]
                low = min(self._next, default=self._read)
                if not self._reading and self._read < min(self._source.blocks, low + RING):
                    self._reading = True
                    return self._read_one
                self._changed.wait()

    def _ready(self, block: int) -> bool:
        """Whether a block is there; the one after the last stands for the end of the stream."""
        return block in self._blocks or block == self._source.blocks

    def _read_one(self) -> None:
        slices = self._source.read()
        with self._changed:
            if self._groups:
                self._blocks[self._read] = slices
            self._read += 1
            self._reading = False
            self._changed.notify_all()

    def _hear(self, k: int) -> None:
        block = self._next[k]
        if block == self._source.blocks:
            self._groups[k].finish()
        else:
            self._groups[k].hear(self._blocks[block])
        with self._changed:
            self._next[k] += 1
            self._busy[k] = False
            for done in [b for b in self._blocks if b < min(self._next)]:
                del self._blocks[done]
            self._progress(min(1.0, min(self._next) / max(1, self._source.blocks)))
            self._changed.notify_all()
