"""The pass: a reader, a bounded queue for each group of analyses, and the results when the stream has ended.

Every stage has a thread of its own and takes the blocks from its queue in order, so the digits do not depend on the
number of workers. A group with taps is two stages: the taps, and behind them the analyses. As many threads work at a
time as there are workers; a thread that waits for a block, or for room in a queue, lets another one work.

The calling thread polls the stages. When a plugin call times out, a new thread continues its stage.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Sequence
from queue import Empty, Full, Queue
from typing import Any, Protocol

import numpy as np

from qc.audio.memory import release_memory
from qc.audio.pipeline.derived import compute_derived
from qc.audio.pipeline.group import AnalysisGroup, BlockCalls, PassBlock, Slice
from qc.audio.pipeline.plan import Plan
from qc.dsp.samples.closed import closed
from qc.plugin_base import Measurements, Need, Samples, Stream
from qc.plugin_host.runner import CallSeries, LeftBehindError, Runner, RunnerThread

AHEAD = 1
"""Blocks that wait in a queue at most: more of them make no pass faster, and take memory (`RING` counts them)."""
NO_SAMPLES: Samples = closed(np.zeros((2, 0)))
GRACE_S = 1.0
"""Seconds that an interrupted pass waits for the calls that are running."""

Progress = Callable[[float], None]
"""Callback with the part of the source that was read, 0..1."""


class AudioSource(Protocol):
    """The audio that a pass reads."""

    stream: Stream

    @property
    def blocks(self) -> int:
        """Number of blocks that `read` returns."""
        ...

    def open(self) -> None:
        """Get ready to read from the start."""
        ...

    def read(self) -> Sequence[Samples]:
        """Read the next block as slices, (2, n) each."""
        ...

    def hash(self) -> None:
        """Add the bytes of a block that was read to the digests of its file; once a block, in order."""
        ...

    def close(self) -> None:
        """Close the file."""
        ...


def process_source(
    source: AudioSource, plan: Plan, *, workers: int | None = None, progress: Progress | None = None,
    block_step: Callable[[], None] | None = None, runner: Runner | None = None,
) -> Measurements:  # fmt: skip
    """Process a source once and compute every planned need; errors of plugin code are kept in `failed`.

    `block_step` is called once a block, in order, after the block was read and by one thread at a time. Raises
    AudioFaultError when the audio itself cannot be judged.
    """
    runner = runner or Runner()
    measured = _measured(source, plan, workers or default_workers(), progress or (lambda _: None), block_step, runner)
    release_memory()
    return compute_derived(measured, plan.derived, runner)


def _measured(
    source: AudioSource,
    plan: Plan,
    workers: int,
    progress: Progress,
    block_step: Callable[[], None] | None,
    runner: Runner,
) -> Measurements:
    """Process a source with all groups of a plan, and release everything but their results."""
    groups = [AnalysisGroup(analyses, source.stream, runner) for analyses in plan.groups]
    source.open()
    pipeline = _Pass(source, workers, progress, runner)
    try:
        for group in groups:
            pipeline.add(group.process, *([group.taps.process] if group.taps else []))
        if block_step is not None:
            pipeline.add(_once_a_block(block_step))
        pipeline.run()
    finally:
        if pipeline.ended:  # else a thread may still be reading; the file is closed with the process
            source.close()
    results: dict[Need[Any], Any] = {}
    failed: dict[Need[Any], str] = {}
    for group in groups:
        results.update(group.results)
        failed.update(group.failed)
    return Measurements(source.stream, 1, results, failed)


def default_workers() -> int:
    """Return the cores this process may use, at most four: the heaviest of the groups keeps one busy by itself."""
    return max(1, min(4, len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1))


def _once_a_block(step: Callable[[], None]) -> Callable[[PassBlock], BlockCalls]:
    """Return the processing of a stage that calls `step` once for each block and reads no samples."""

    def process(block: PassBlock) -> BlockCalls:
        if not block.last:
            step()
        yield from ()
        return None

    return process


class _PassStage:
    """One stage of the pass: a queue of blocks, and the processing of each; `after` is the stage that follows it."""

    def __init__(self, process: Callable[[PassBlock], BlockCalls], after: _PassStage | None = None) -> None:
        self.process, self.after = process, after
        self.queue: Queue[PassBlock] = Queue(AHEAD)
        self.thread: threading.Thread
        self.series: CallSeries[PassBlock | None] | None = None
        """plugin calls for the current block"""
        self.last = False
        """whether the current block is the last one"""


class _Pass:
    """The threads of one pass, and the error that ended it if one did."""

    def __init__(self, source: AudioSource, workers: int, progress: Progress, runner: Runner) -> None:
        self._source, self._progress, self._runner = source, progress, runner
        self._workers = threading.Semaphore(workers)
        self._first: list[_PassStage] = []
        """stages that the reader feeds"""
        self._stages: list[_PassStage] = []
        self._stream = source.stream
        self._reader = RunnerThread(self._work, self._read)
        self._error: BaseException | None = None

    def add(self, process: Callable[[PassBlock], BlockCalls], *before: Callable[[PassBlock], BlockCalls]) -> None:
        """Add a stage, and the stages that a block passes before it, the last of them first."""
        stage = _PassStage(process)
        self._stages.append(stage)
        for earlier in before:
            stage = _PassStage(earlier, stage)
            self._stages.append(stage)
        self._first.append(stage)

    @property
    def ended(self) -> bool:
        """Whether every thread has ended, but for those left behind in plugin code."""
        return not any(thread.is_alive() for thread in self._threads())

    def _threads(self) -> list[threading.Thread]:
        return [self._reader, *(stage.thread for stage in self._stages)]

    def run(self) -> None:
        """Process the whole source; raises the error that ended the pass, where one did."""
        for stage in self._stages:
            stage.thread = RunnerThread(self._work, self._take_blocks, stage)
        try:
            for thread in self._threads():
                thread.start()
            while not self.ended:
                self._wait_for_all(self._runner.interval_s)
                self._replace(CallSeries.poll)
        except BaseException as error:  # Ctrl-C
            self._error = self._error or error
            self._wait_for_all(GRACE_S)
            self._replace(CallSeries.abandon)
            self._wait_for_all(GRACE_S)
        if self._error is not None:
            raise self._error

    def _wait_for_all(self, seconds: float) -> None:
        """Wait until every thread has ended, some seconds at most."""
        deadline = time.monotonic() + seconds
        for thread in self._threads():
            if thread.is_alive():
                thread.join(max(0.0, deadline - time.monotonic()))

    def _replace(self, timed_out: Callable[[CallSeries[Any]], bool]) -> None:
        """Continue each stage whose call has timed out in a new thread."""
        for stage in self._stages:
            series = stage.series
            if series is not None and timed_out(series):
                stage.thread = RunnerThread(self._go_on, self._resume, stage)  # works in place of the one left behind
                stage.thread.start()

    # -- in the threads ------------------------------------------------------------------------------------------

    def _work(self, task: Callable[..., None], *args: Any) -> None:
        """Do a task as one of the workers."""
        self._workers.acquire()
        self._go_on(task, *args)

    def _go_on(self, task: Callable[..., None], *args: Any) -> None:
        try:
            task(*args)
        except LeftBehindError:
            return  # another thread is the worker now
        except BaseException as error:  # raised again in the calling thread
            self._error = self._error or error
        self._workers.release()

    def _read(self) -> None:
        """Read every block into the queues; after an error only the last one, so that every stage ends."""
        frame = 0
        try:
            count = self._source.blocks
            for number in range(count):
                if self._error is not None:
                    break
                frame = self._feed(frame, self._source.read())
                self._progress((number + 1) / count)
        except BaseException as error:  # raised again in the calling thread
            self._error = self._error or error
        finally:
            self._feed(frame, [NO_SAMPLES], last=True)

    def _feed(self, frame: int, slices: Sequence[Samples], *, last: bool = False) -> int:
        """Put a block that begins at a frame into the queues; returns the frame at which the next one begins."""
        parts = []
        for samples in slices:
            parts.append(Slice(self._stream, frame, samples))
            frame += samples.shape[1]
        for stage in self._first:
            self._put(stage.queue, PassBlock(parts, last))
        return frame

    def _take_blocks(self, stage: _PassStage) -> None:
        """Process the blocks of a stage's queue until the last one."""
        while not stage.last:
            block = self._get(stage.queue)
            stage.last = block.last
            stage.series = CallSeries(stage.process(block), self._runner)
            del block
            self._process(stage)

    def _resume(self, stage: _PassStage) -> None:
        """Process the rest of the current block, then the blocks that follow."""
        self._process(stage)
        self._take_blocks(stage)

    def _process(self, stage: _PassStage) -> None:
        """Process the current block and pass it to the next stage; after an error it is passed on unprocessed."""
        block = None
        try:
            if self._error is None and stage.series is not None:
                block = stage.series.run()
        except LeftBehindError:
            raise
        except BaseException as error:  # raised again in the calling thread
            self._error = self._error or error
        stage.series = None
        if stage.after is not None:
            self._put(stage.after.queue, block or PassBlock((), stage.last))

    def _get(self, queue: Queue[PassBlock]) -> PassBlock:
        """Take a block from a queue; another worker may work while it is empty."""
        try:
            return queue.get_nowait()
        except Empty:
            self._workers.release()
        block = queue.get()
        self._workers.acquire()
        return block

    def _put(self, queue: Queue[PassBlock], block: PassBlock) -> None:
        """Put a block into a queue; another worker may work while it is full."""
        try:
            queue.put_nowait(block)
        except Full:
            self._workers.release()
            queue.put(block)
            self._workers.acquire()
