"""Run one need or tap on samples in memory as a run would, for tests of analyses and plugins."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from qc.audio.pipeline.plan import lineage, plan
from qc.plugin_base import Analysis, Measurements, Need, RunningTap, Samples, Stream, Tap

R = TypeVar("R")


class MemoryBlock:
    """A block of samples in memory, as `qc.plugin_base.Block`."""

    def __init__(
        self, stream: Stream, start: int, samples: Samples, taps: dict[Tap, RunningTap], *, last: bool
    ) -> None:
        samples.flags.writeable = False
        self.stream, self.start, self.samples = stream, start, samples
        self._taps, self._last = taps, last
        self._outputs: dict[Tap, Samples] = {}

    def __getitem__(self, tap: Tap) -> Samples:
        """Return the output of a tap for this block; for the last block with the frames that it still buffers."""
        if tap not in self._outputs:
            base = tap.base()
            output = self._taps[tap].push(self.samples if base is None else self[base])
            if self._last:
                output = np.concatenate([output, self._taps[tap].flush()], axis=1)
            output.flags.writeable = False
            self._outputs[tap] = output
        return self._outputs[tap]


def run_need(need: Need[R], samples: NDArray[np.float64], rate: int, blocks: int | Sequence[int] = 8192) -> R:
    """Run a need on samples and return its result; a derived need is computed from the needs it reads.

    Parameters
    ----------
    need
        The analysis, whose taps run too, or the derived need.
    samples
        (2, n), or mono as (n,) or (1, n), which is processed as dual mono. Full scale is 1.0.
    rate
        Frames a second.
    blocks
        Frames in each block: one number for all, or the sizes in order, followed by one block with the rest. An empty
        block always ends the stream.

    Raises
    ------
    ValueError
        When `samples` has another shape.
    """
    samples = np.atleast_2d(np.asarray(samples, dtype=np.float64))
    if samples.ndim != 2 or samples.shape[0] not in {1, 2}:
        raise ValueError(f"samples have the shape {samples.shape}, not (2, frames)")
    if samples.shape[0] == 1:
        samples = np.vstack([samples, samples])
    stream = Stream("side:A", rate, 2, samples.shape[1])
    planned = plan([need])
    results: dict[Need[Any], Any] = {analysis: _run(analysis, samples, stream, blocks) for analysis in planned.analyses}
    for derived in planned.derived:
        results[derived] = derived.work(Measurements(stream, results=results))
    result: R = results[need]
    return result


def through(tap: Tap, samples: NDArray[np.float64], rate: int, blocks: int | Sequence[int] = 8192) -> Samples:
    """Return the output of a tap for samples (2, n), with all taps that it reads; `blocks` as for a need."""
    stream = Stream("side:A", rate, 2, samples.shape[1])
    taps = {member: member.start(stream) for member in lineage(tap)}
    parts = [
        MemoryBlock(stream, start, samples[:, start:stop].copy(), taps, last=False)[tap].copy()
        for start, stop in _borders(samples.shape[1], blocks)
    ]
    last = MemoryBlock(stream, samples.shape[1], np.zeros((2, 0)), taps, last=True)[tap]
    return np.concatenate([*parts, last], axis=1)


def _run(analysis: Analysis[R], samples: Samples, stream: Stream, blocks: int | Sequence[int]) -> R:
    taps = {member: member.start(stream) for tap in analysis.taps() for member in lineage(tap)}
    running = analysis.start(stream)
    for start, stop in _borders(samples.shape[1], blocks):
        part = samples[:, start:stop].copy()
        running.push(MemoryBlock(stream, start, part, taps, last=False))
    running.push(MemoryBlock(stream, samples.shape[1], np.zeros((2, 0)), taps, last=True))
    return running.finish()


def _borders(frames: int, blocks: int | Sequence[int]) -> Iterator[tuple[int, int]]:
    """Yield the (start, stop) of consecutive blocks of `frames` frames."""
    sizes = [blocks] * -(-frames // blocks) if isinstance(blocks, int) else [*blocks, frames]
    start = 0
    for size in sizes:
        stop = min(start + size, frames)
        yield start, stop
        start = stop
