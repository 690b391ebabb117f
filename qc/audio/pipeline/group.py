"""Run the analyses of one group, and the taps they share, on each block.

`process` of either class is a generator of plugin calls, which `CallSeries` makes. An analysis or tap that raises or
times out is left out with a sentence that says why; the others of the group go on.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from types import MappingProxyType
from typing import Any

import numpy as np

from qc.audio.pipeline.plan import lineage
from qc.dsp.samples.closed import closed
from qc.model.errors import FAULTS
from qc.plugin_base import Analysis, Need, RunningTap, Samples, Stream, Tap
from qc.plugin_host.runner import PluginCall, Runner
from qc.text.exceptions import exception_line

DIMENSIONS = 2
"""Dimensions of the samples of a block: channels and frames."""


@dataclass(frozen=True, slots=True)
class Slice:
    """Samples of one part of a block, shape (2, n), with the outputs of taps: a `Block` of the interface for plugins.

    All analyses of a block read the same one, so that none can change it: what they get is a new array each time, a
    view of the same memory that cannot be opened for writing.
    """

    stream: Stream
    start: int
    shared: Samples
    taps: Mapping[Tap, Samples | BaseException] = field(default_factory=lambda: MappingProxyType({}))
    """output of each tap, or the error it raised"""

    @property
    def samples(self) -> Samples:
        """Left and right channel, shape (2, n), read-only."""
        return closed(self.shared)

    def __getitem__(self, tap: Tap) -> Samples:
        """Return the output of a tap for this slice, shape (2, n); raises the error that the tap raised."""
        tapped = self.taps.get(tap)
        if tapped is None:
            raise LookupError(f"{tap} is named in the taps() of no analysis that hears this")
        if isinstance(tapped, BaseException):
            raise tapped
        return closed(tapped)


@dataclass(frozen=True)
class PassBlock:
    """A block on its way through the pass."""

    slices: Sequence[Slice]
    last: bool = False
    """whether the stream has ended; the only slice then takes the samples that taps still buffer"""


BlockCalls = Generator[PluginCall, Any, PassBlock | None]
"""Generator of the plugin calls for one block; its result is the block for the next stage, where there is one."""


class GroupTaps:
    """The taps of one group, each after its base."""

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self._running: dict[Tap, tuple[Tap | None, RunningTap]] = {}
        """tap -> its base, and its running state"""
        self._broken: dict[Tap, BaseException] = {}

    def __bool__(self) -> bool:
        return bool(self._running)

    def start(self, tap: Tap) -> None:
        """Start a tap and its bases, unless they run already; raises what they raise."""
        chain = lineage(tap)
        for started, base in reversed([*zip(chain, [*chain[1:], None], strict=True)]):
            if started not in self._running:
                self._running[started] = (base, started.start(self._stream))

    def process(self, block: PassBlock) -> BlockCalls:
        """Push the slices of a block through every tap; the result has their outputs."""
        tapped = []
        for whole in block.slices:
            outputs: dict[Tap, Samples | BaseException] = {}
            part = Slice(self._stream, whole.start, whole.shared, MappingProxyType(outputs))
            tapped.append(part)
            for tap, (base, running) in self._running.items():
                try:
                    if tap in self._broken:
                        raise self._broken[tap]
                    samples = part.samples if base is None else part[base]
                    state = f"the tap {type(tap).__name__} was still at {_place(part)}"
                    outputs[tap] = yield PluginCall(partial(_push, running, samples, last=block.last), state)
                except FAULTS as error:
                    self._broken[tap] = outputs[tap] = error
        return PassBlock(tapped, block.last)


class AnalysisGroup:
    """The analyses of one group, with the taps they share; `results` and `failed` are complete after the last block."""

    def __init__(self, analyses: Iterable[Analysis[Any]], stream: Stream, runner: Runner) -> None:
        self.needs = tuple(analyses)
        self.results: dict[Need[Any], Any] = {}
        self.failed: dict[Need[Any], str] = {}
        self.taps = GroupTaps(stream)
        self._running: dict[Analysis[Any], Any] = {}
        for analysis in self.needs:
            try:
                for tap in runner(_taps, analysis):
                    runner(self.taps.start, tap)
                self._running[analysis] = runner(_start, analysis, stream)
            except FAULTS as error:
                self.failed[analysis] = exception_line(error)

    def process(self, block: PassBlock) -> BlockCalls:
        """Push the slices of a block into every analysis; after the last block also finish each."""
        for part in block.slices:
            for analysis, running in [*self._running.items()]:
                try:
                    yield PluginCall(partial(_push_part, running, part), f"it was still at {_place(part)}")
                except FAULTS as error:
                    self._leave_out(analysis, error)
        for analysis, running in [*self._running.items()] if block.last else ():
            try:
                self.results[analysis] = yield PluginCall(partial(_finish, running), "finish() had not ended")
            except FAULTS as error:
                self._leave_out(analysis, error)
        return None

    def _leave_out(self, analysis: Analysis[Any], error: BaseException) -> None:
        self.failed[analysis] = exception_line(error)
        del self._running[analysis]


def _place(part: Slice) -> str:
    return f"the block from {part.start / part.stream.rate:.1f} s on"


# Even to look up a method may run plugin code, so it is done inside the timed call.


def _taps(analysis: Analysis[Any]) -> tuple[Tap, ...]:
    return tuple(analysis.taps())


def _start(analysis: Analysis[Any], stream: Stream) -> Any:
    return analysis.start(stream)


def _push_part(running: Any, part: Slice) -> None:
    running.push(part)


def _finish(running: Any) -> Any:
    return running.finish()


def _push(running: RunningTap, samples: Samples, *, last: bool) -> Samples:
    """Push samples (2, n) through a tap; at the end of the stream, append the samples it still buffers."""
    if last:
        parts = [running.push(samples)] if samples.shape[1] else []
        out = np.concatenate([*parts, running.flush()], axis=1)
    else:
        out = running.push(samples)
    if not isinstance(out, np.ndarray) or out.ndim != DIMENSIONS:
        raise TypeError(f"a tap returns an array of the shape (channels, frames), not a {_described(out)}")
    if out.base is not None and not getattr(running, "lasting", False):
        out = out.copy()  # a view of an array that the tap may fill again before this is processed
    return closed(out)


def _described(value: object) -> str:
    return f"shape {value.shape}" if isinstance(value, np.ndarray) else type(value).__name__
