"""One group of analyses at work: slices go through its taps once and to each analysis in turn.

An analysis or tap that raises is put aside with its sentence; the others of the group go on.
"""

from __future__ import annotations

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
        self, stream: Stream, start: int, samples: Samples, taps: Mapping[Tap, RunningTap], *, last: bool
    ) -> None:
        self.stream, self.start, self.samples = stream, start, samples
        self._taps, self._last = taps, last
        self._known: dict[Tap, Samples | BaseException] = {}

    def __getitem__(self, tap: Tap) -> Samples:
        """Give what the tap made of this slice, worked out on first use; what it raised is raised again."""
        if tap not in self._known:
            try:
                self._known[tap] = self._worked(tap)
            except FAULTS as error:
                self._known[tap] = error
        known = self._known[tap]
        if isinstance(known, BaseException):
            raise known
        return known

    def _worked(self, tap: Tap) -> Samples:
        running = self._taps.get(tap)
        if running is None:
            raise LookupError(f"{tap} is named in the taps() of no analysis that hears this")
        base = tap.base()
        heard = self.samples if base is None else self[base]
        if not self._last:
            out = running.push(heard)
        else:
            parts = [running.push(heard)] if heard.shape[1] else []
            out = np.concatenate([*parts, running.flush()], axis=1)
        out.flags.writeable = False
        return out


class Group:
    """The analyses of one group with their taps, hearing one stream in order."""

    def __init__(self, analyses: Sequence[Analysis[Any]], stream: Stream) -> None:
        self.failed: dict[Need[Any], str] = {}
        self.results: dict[Need[Any], Any] = {}
        self._stream = stream
        self._frame = 0
        self._taps: dict[Tap, RunningTap] = {}
        self._running: dict[Analysis[Any], Any] = {}
        for analysis in analyses:
            try:
                for tap in analysis.taps():
                    for one in lineage(tap):
                        if one not in self._taps:
                            self._taps[one] = one.start(stream)
                self._running[analysis] = analysis.start(stream)
            except FAULTS as error:
                self.failed[analysis] = told(error)

    def hear(self, slices: Sequence[Samples]) -> None:
        """Take one block."""
        for samples in slices:
            self._hear(samples, last=False)
            self._frame += samples.shape[1]

    def finish(self) -> None:
        """Flush the taps and take the results."""
        self._hear(_NOTHING, last=True)
        for analysis, running in self._running.items():
            try:
                self.results[analysis] = running.finish()
            except FAULTS as error:
                self.failed[analysis] = told(error)

    def _hear(self, samples: Samples, *, last: bool) -> None:
        block = Slice(self._stream, self._frame, samples, self._taps, last=last)
        for analysis, running in list(self._running.items()):
            try:
                running.push(block)
            except FAULTS as error:
                self.failed[analysis] = told(error)
                del self._running[analysis]
