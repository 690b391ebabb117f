"""Lets one need hear samples held in memory the way the pass would: for tests of analyses and plugins."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from qc.audio.pipeline.plan import lineage, plan
from qc.plugin_api import Analysis, Measurements, Need, RunningTap, Samples, Stream, Tap

R = TypeVar("R")


class MemoryBlock:
    """A slice of samples in memory (the contract's Block)."""

    def __init__(
        self, stream: Stream, start: int, samples: Samples, taps: dict[Tap, RunningTap], *, last: bool
    ) -> None:
        samples.flags.writeable = False
        self.stream, self.start, self.samples = stream, start, samples
        self._taps, self._last = taps, last
        self._known: dict[Tap, Samples] = {}

    def __getitem__(self, tap: Tap) -> Samples:
        """Give what the tap made of this slice; with the last slice also what it had kept back."""
        if tap not in self._known:
            base = tap.base()
            given = self._taps[tap].push(self.samples if base is None else self[base])
            if self._last:
                given = np.concatenate([given, self._taps[tap].flush()], axis=1)
            given.flags.writeable = False
            self._known[tap] = given
        return self._known[tap]


def hear(need: Need[R], samples: NDArray[np.float64], rate: int, blocks: int | Sequence[int] = 8192) -> R:
    """Let an analysis hear samples and give its result; a derived need is worked out from what others hear.

    Parameters
    ----------
    need
        What is to hear them; the taps of an analysis are started and fed too.
    samples
        (2, n), or mono as (n,) or (1, n), which is heard as dual mono. Full scale is 1.0.
    rate
        Frames a second.
    blocks
        Frames in each block: one number for all, or the sizes one after another, with all that is left in one
        more. An empty block ends the stream in any case.

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
    results: dict[Need[Any], Any] = {one: _heard(one, samples, stream, blocks) for one in planned.analyses}
    for derived in planned.derived:
        results[derived] = derived.work(Measurements(stream, results=results))
    result: R = results[need]
    return result


def through(tap: Tap, samples: NDArray[np.float64], rate: int, blocks: int | Sequence[int] = 8192) -> Samples:
    """Return what a tap makes of samples (2, n), through all that it listens to; `blocks` as in `hear`."""
    stream = Stream("side:A", rate, 2, samples.shape[1])
    taps = {one: one.start(stream) for one in lineage(tap)}
    parts = [
        MemoryBlock(stream, start, samples[:, start:stop].copy(), taps, last=False)[tap].copy()
        for start, stop in _borders(samples.shape[1], blocks)
    ]
    last = MemoryBlock(stream, samples.shape[1], np.zeros((2, 0)), taps, last=True)[tap]
    return np.concatenate([*parts, last], axis=1)


def _heard(analysis: Analysis[R], samples: Samples, stream: Stream, blocks: int | Sequence[int]) -> R:
    taps = {one: one.start(stream) for tap in analysis.taps() for one in lineage(tap)}
    running = analysis.start(stream)
    for start, stop in _borders(samples.shape[1], blocks):
        part = samples[:, start:stop].copy()
        running.push(MemoryBlock(stream, start, part, taps, last=False))
    running.push(MemoryBlock(stream, samples.shape[1], np.zeros((2, 0)), taps, last=True))
    return running.finish()


def _borders(frames: int, blocks: int | Sequence[int]) -> Iterator[tuple[int, int]]:
    """Cut `frames` up into (start, stop)."""
    sizes = [blocks] * -(-frames // blocks) if isinstance(blocks, int) else [*blocks, frames]
    start = 0
    for size in sizes:
        stop = min(start + size, frames)
        yield start, stop
        start = stop
