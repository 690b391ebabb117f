"""One group of analyses at work: slices go through its taps once and to each analysis in turn.

The taps may run ahead of the analyses, in another thread. An analysis or tap that raises is put aside with its
sentence; the others of the group go on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from qc.audio.plan import lineage
from qc.contract import Analysis, Need, RunningTap, Samples, Stream, Tap
from qc.errors import FAULTS
from qc.wording import told

_NOTHING: Samples = np.zeros((2, 0))
_NOTHING.flags.writeable = False


class Slice:
    """A slice of the pass, as analyses see it (the contract's Block)."""

    def __init__(
        self, stream: Stream, start: int, samples: Samples, taps: Mapping[Tap, Samples | BaseException]
    ) -> None:
        self.stream, self.start, self.samples = stream, start, samples
        self._taps = taps

    def __getitem__(self, tap: Tap) -> Samples:
        """Give what the tap made of this slice; what it raised is raised again."""
        given = self._taps.get(tap)
        if given is None:
            raise LookupError(f"{tap} is named in the taps() of no analysis that hears this")
        if isinstance(given, BaseException):
            raise given
        return given


class Taps:
    """The taps of one group, each after its base, hearing one stream in order."""

    def __init__(self, stream: Stream) -> None:
        self._stream = stream
        self._frame = 0
        self._running: dict[Tap, RunningTap] = {}
        self._broken: dict[Tap, BaseException] = {}
        self._given: deque[list[Slice]] = deque()

    def __bool__(self) -> bool:
        return bool(self._running)

    def start(self, tap: Tap) -> None:
        """Start a tap and those it listens to, unless they run already; raises what they raise."""
        for one in reversed(lineage(tap)):
            if one not in self._running:
                self._running[one] = one.start(self._stream)

    def hear(self, slices: Sequence[Samples]) -> None:
        """Take one block and hold what the taps make of it, for `take`."""
        self._given.append([self._work(samples, last=False) for samples in slices])

    def finish(self) -> None:
        """Hold what the taps had kept back."""
        self._given.append([self._work(_NOTHING, last=True)])

    def take(self) -> list[Slice]:
        """Give the slices of the earliest block that was not taken."""
        return self._given.popleft()

    def _work(self, samples: Samples, *, last: bool) -> Slice:
        known: dict[Tap, Samples | BaseException] = dict(self._broken)
        block = Slice(self._stream, self._frame, samples, known)
        self._frame += samples.shape[1]
        for tap, running in self._running.items():
            if tap in known:
                continue
            try:
                known[tap] = _made(running, samples if (base := tap.base()) is None else block[base], last=last)
            except FAULTS as error:
                known[tap] = self._broken[tap] = error
        return block


def _made(running: RunningTap, heard: Samples, *, last: bool) -> Samples:
    """Push a slice through a tap; the last time give also what it had kept back."""
    if last:
        parts = [running.push(heard)] if heard.shape[1] else []
        out = np.concatenate([*parts, running.flush()], axis=1)
    else:
        out = running.push(heard)
    if out.base is not None and not getattr(running, "lasting", False):
        out = out.copy()  # of an array that the tap may fill again before this is heard
    out.flags.writeable = False
    return out


class Group:
    """The analyses of one group with their taps, hearing one stream in order."""

    def __init__(self, analyses: Sequence[Analysis[Any]], stream: Stream) -> None:
        self.failed: dict[Need[Any], str] = {}
        self.results: dict[Need[Any], Any] = {}
        self.taps = Taps(stream)
        self._running: dict[Analysis[Any], Any] = {}
        for analysis in analyses:
            try:
                for tap in analysis.taps():
                    self.taps.start(tap)
                self._running[analysis] = analysis.start(stream)
            except FAULTS as error:
                self.failed[analysis] = told(error)

    def hear(self, slices: Sequence[Samples]) -> None:
        """Take one block, which the taps have heard when there are any."""
        if not self.taps:
            self.taps.hear(slices)
        for block in self.taps.take():
            self._hear(block)

    def finish(self) -> None:
        """Take what the taps had kept back, and the results."""
        if not self.taps:
            self.taps.finish()
        for block in self.taps.take():
            self._hear(block)
        for analysis, running in self._running.items():
            try:
                self.results[analysis] = running.finish()
            except FAULTS as error:
                self.failed[analysis] = told(error)

    def _hear(self, block: Slice) -> None:
        for analysis, running in list(self._running.items()):
            try:
                running.push(block)
            except FAULTS as error:
                self.failed[analysis] = told(error)
                del self._running[analysis]
