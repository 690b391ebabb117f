"""One group of analyses at work: slices go through its taps once and to each analysis in turn.

The taps may run ahead of the analyses, in another thread. An analysis or tap that raises, or that does not end, is put
aside with its sentence; the others of the group go on.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from qc.audio.pipeline.plan import lineage
from qc.audio.pipeline.turns import Turns
from qc.model.errors import FAULTS
from qc.plugin_api import Analysis, Need, RunningTap, Samples, Stream, Tap
from qc.plugin_host.runner import Runner
from qc.text.sanitize import told

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


class Taps(Turns[Tap, "_Worked"]):
    """The taps of one group, each after its base, hearing one stream in order."""

    def __init__(self, stream: Stream) -> None:
        super().__init__()
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
        self._work(slices, last=False)

    def finish(self) -> None:
        """Hold what the taps had kept back."""
        self._work([_NOTHING], last=True)

    def take(self) -> list[Slice]:
        """Give the slices of the earliest block that was not taken."""
        return self._given.popleft()

    def _work(self, slices: Sequence[Samples], *, last: bool) -> None:
        block = []
        for samples in slices:
            worked = _Worked(self._stream, self._frame, samples, last=last)
            self._frame += samples.shape[1]
            self._todo.extend((tap, worked) for tap in self._running)
            block.append(worked.slice)
        self._given.append(block)  # nobody takes it before all calls are made
        self.go_on()

    def _wanted(self, member: Tap) -> bool:  # noqa: ARG002
        return True

    def _call(self, member: Tap, heard: _Worked) -> Samples:
        if member in self._broken:
            raise self._broken[member]
        base = member.base()
        samples = heard.slice.samples if base is None else heard.slice[base]
        return _made(self._running[member], samples, last=heard.last)

    def _took(self, member: Tap, heard: _Worked, made: Any, error: BaseException | None) -> None:
        if error is not None:
            self._broken[member] = error
        heard.known[member] = made if error is None else error

    def _overdue(self, member: Tap, heard: _Worked, runner: Runner) -> BaseException:
        return runner.timed_out(f"the tap {type(member).__name__} was still at {_place(heard.slice)}")


class _Worked:
    """A slice with what taps made of it so far."""

    def __init__(self, stream: Stream, start: int, samples: Samples, *, last: bool) -> None:
        self.known: dict[Tap, Samples | BaseException] = {}
        self.slice = Slice(stream, start, samples, self.known)
        self.last = last


def _place(block: Slice) -> str:
    """Say where a slice lies."""
    return f"the block from {block.start / block.stream.rate:.1f} s on"


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


class Group(Turns[Analysis[Any], Slice | None]):
    """The analyses of one group with their taps, hearing one stream in order."""

    def __init__(self, analyses: Sequence[Analysis[Any]], stream: Stream, call: Runner) -> None:
        super().__init__()
        self.failed: dict[Need[Any], str] = {}
        self.results: dict[Need[Any], Any] = {}
        self.taps = Taps(stream)
        self._running: dict[Analysis[Any], Any] = {}
        for analysis in analyses:
            try:
                for tap in call(analysis.taps):
                    call(self.taps.start, tap)
                self._running[analysis] = call(analysis.start, stream)
            except FAULTS as error:
                self.failed[analysis] = told(error)

    def hear(self, slices: Sequence[Samples]) -> None:
        """Take one block, which the taps have heard when there are any."""
        if not self.taps:
            self.taps.hear(slices)
        self._take()
        self.go_on()

    def finish(self) -> None:
        """Take what the taps had kept back, and the results."""
        if not self.taps:
            self.taps.finish()
        self._take()
        self._todo.extend((analysis, None) for analysis in self._running)
        self.go_on()

    def _take(self) -> None:
        self._todo.extend((analysis, block) for block in self.taps.take() for analysis in self._running)

    def _wanted(self, member: Analysis[Any]) -> bool:
        return member in self._running

    def _call(self, member: Analysis[Any], heard: Slice | None) -> Any:
        running = self._running[member]
        return running.finish() if heard is None else running.push(heard)

    def _took(self, member: Analysis[Any], heard: Slice | None, made: Any, error: BaseException | None) -> None:
        if error is not None:
            self.failed[member] = told(error)
            del self._running[member]
        elif heard is None:
            self.results[member] = made

    def _overdue(self, member: Analysis[Any], heard: Slice | None, runner: Runner) -> BaseException:  # noqa: ARG002
        return runner.timed_out("finish() had not ended" if heard is None else f"it was still at {_place(heard)}")
