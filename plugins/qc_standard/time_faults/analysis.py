"""The one pass over the samples in which faults in time are found: stretches of 2 s with half a second on either side.

The stretches are the same whatever blocks the samples come in, so the result is too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import Analysis, At, Block, Chain, Quantity, Stream
from qc_standard.dead import CHANNELS
from qc_standard.time_faults import prediction
from qc_standard.time_faults.clicks import FoundClick, clicks, merged
from qc_standard.time_faults.dropouts import DropoutSearch, FoundDropout, joined
from qc_standard.time_faults.edges import FLOOR
from qc_standard.time_faults.parts import LEVEL, MARGIN, POWER, SQUARES, differences
from qc_standard.time_faults.repeats import FoundRepeat, RepeatSearch, in_both

Samples = NDArray[np.float32]

STRETCH, AROUND = 2000, 500
"""Parts of 1 ms in a stretch, and before and after it."""
MOST_KEPT = 1000
"""Most clicks that are kept, those that stand out most."""
MOST_FALL = 60.0
"""dB beyond which a fall is given as this bound."""
FLOORS = np.array([[100.0 * FLOOR], [FLOOR], [FLOOR]])
"""Power that is added to that of samples, and to those of their first and fourth differences."""
EDGE_S = 0.004
"""Time about a fall or rise of the level within which a click is that edge."""


@dataclass(frozen=True, slots=True)
class TimeFaults:
    """The faults in time of a side; places are frames of the file."""

    rate: int
    clicks: tuple[FoundClick, ...]
    """all from 20 dB on, in order of time"""
    dropouts: tuple[FoundDropout, ...] = ()
    """all from 9 dB on, in order of time"""
    repeats: tuple[FoundRepeat, ...] = ()
    """all from 4 ms on, in order of time"""

    def place(self, first: int, end: int, channel: str) -> At:
        """Return the place of a fault, in file seconds; one at the first frame may begin in the silence before it."""
        return At(start_s=max(0, first) / self.rate, end_s=end / self.rate, channel=channel or None)

    def fall(self, dropout: FoundDropout) -> Quantity:
        """Return how far the level falls in a dropout, at most MOST_FALL, at its place."""
        at = self.place(dropout.first, dropout.end, dropout.channel)
        deep = dropout.depth_db > MOST_FALL
        return Quantity(value=min(dropout.depth_db, MOST_FALL), unit="dB", bound=">" if deep else None, at=at)

    def length(self, repeat: FoundRepeat) -> Quantity:
        """Return the length of a repeat, at its place."""
        at = self.place(repeat.first, repeat.end, repeat.channel)
        return Quantity(value=(repeat.end - repeat.first) / self.rate, unit="s", at=at)


@dataclass(frozen=True)
class FaultsInTime(Analysis[TimeFaults]):
    """Clicks, dropouts and repeats within the programme."""

    id: ClassVar[str] = "programme.time-faults"
    cost: ClassVar[float] = 9.0
    publishes: ClassVar[Mapping[str, str]] = {
        "programme.click_step": "dB",
        "programme.dropout_fall": "dB",
        "programme.repeated": "s",
    }
    meanings: ClassVar[Mapping[str, str]] = {
        "programme.click_step": (
            "How far the click that stands out most leaves what the sound around it predicts, over how far that sound "
            "leaves it by itself; none where nothing stands out by 20 dB."
        ),
        "programme.dropout_fall": (
            "How far the level falls in the deepest dropout, 60 dB with a bound where nothing is left; none without a "
            "dropout."
        ),
        "programme.repeated": (
            "Length of the longest stretch that repeats the one before it, as a buffer that slips does; none where "
            "nothing is repeated."
        ),
    }

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _Search:
        """Return the initial state for a stream of two channels."""
        return _Search(stream)

    def publish(self, result: TimeFaults) -> Mapping[str, Quantity]:
        """Return the numbers of the click that stands out most and of the deepest dropout."""
        numbers: dict[str, Quantity] = {}
        click = max(result.clicks, key=lambda click: click.step_db, default=None)
        if click is not None:
            at = result.place(click.first, click.end, click.channel)
            numbers["programme.click_step"] = Quantity(value=click.step_db, unit="dB", at=at)
        dropout = max(result.dropouts, key=lambda dropout: dropout.depth_db, default=None)
        if dropout is not None:
            numbers["programme.dropout_fall"] = result.fall(dropout)
        repeat = max(result.repeats, key=lambda repeat: repeat.end - repeat.first, default=None)
        if repeat is not None:
            numbers["programme.repeated"] = result.length(repeat)
        return numbers


class _Search:
    """Samples of one stretch and what surrounds it, and the faults found so far."""

    def __init__(self, stream: Stream) -> None:
        self._rate, self._frames = stream.rate, 0
        self._names = ("",) if stream.mono else CHANNELS
        self._part = max(1, round(stream.rate / 1000))
        self._around = max(AROUND * self._part, prediction.WINDOW + self._part)
        self._around += -self._around % self._part
        size = 2 * self._around + STRETCH * self._part
        self._buffer = np.zeros((2, size + 2 * MARGIN), np.float32)
        self._filled = self._zero = self._around + MARGIN  # index of frame 0 in the buffer: negative later on
        self._parts = np.zeros((2, 4, size // self._part), np.float32)
        self._compared = self._around // self._part - 1  # parts in the buffer whose differences are there
        self._taper = prediction.taper()
        self._clicks: list[FoundClick] = []
        self._dropouts = [DropoutSearch(self._part) for _ in self._names]
        self._repeats: list[list[FoundRepeat]] = [[] for _ in self._names]
        self._same = RepeatSearch(self._part)

    def push(self, block: Block) -> None:
        """Process the next block."""
        at, frames = 0, block.samples.shape[1]
        self._frames += frames
        while at < frames:
            taken = min(frames - at, self._buffer.shape[1] - self._filled)
            self._buffer[:, self._filled : self._filled + taken] = block.samples[:, at : at + taken]
            self._filled, at = self._filled + taken, at + taken
            if self._filled == self._buffer.shape[1]:
                self._search()
                self._advance()

    def finish(self) -> TimeFaults:
        """Return the faults."""
        while self._zero + self._frames > self._around + MARGIN:
            self._buffer[:, self._filled :] = 0.0
            self._search()
            self._advance()
        found = [search.dropouts() for search in self._dropouts]
        dropouts = joined([*zip(self._names, found, strict=True)], self._part)
        repeats = in_both(self._repeats, 2 * self._part)
        edges = [part * self._part for search in self._dropouts for part in search.edges]
        edges += [place for repeat in repeats for place in range(repeat.first, repeat.end + 1, repeat.lag)]
        edges += [repeat.end for repeat in repeats]
        at, near = np.array(edges), EDGE_S * self._rate
        clear = [click for click in self._clicks if not np.any(np.abs(at - click.first) < near)]
        return TimeFaults(self._rate, tuple(merged(clear, self._rate)), tuple(dropouts), tuple(repeats))

    def _advance(self) -> None:
        """Move the buffer on by a stretch."""
        on = STRETCH * self._part
        kept = self._buffer.shape[1] - on
        self._buffer[:, :kept] = self._buffer[:, on:]
        self._parts[:, :, :-STRETCH] = self._parts[:, :, STRETCH:]
        self._zero -= on
        self._filled = max(0, self._filled - on)
        self._compared -= STRETCH

    def _search(self) -> None:
        """Find the faults of the stretch."""
        before = self._around // self._part
        new, self._compared = self._compared, self._parts.shape[2]
        for channel, name in enumerate(self._names):
            row, parts = self._buffer[channel], self._parts[channel]
            parts[:, new:] = differences(row[new * self._part :], self._part)
            inner = row[MARGIN : len(row) - MARGIN]
            powers = parts[[POWER, LEVEL, SQUARES]].astype(np.float64) + FLOORS
            self._dropouts[channel].push(inner, powers, before, STRETCH, (MARGIN - self._zero) // self._part)
            for click in clicks(inner, parts, before, before + STRETCH, self._rate, self._taper):
                first, end = (place + MARGIN - self._zero for place in (click.first, click.end))
                self._clicks.append(FoundClick(first, end, name, click.step_db, click.size))
            if len(self._repeats[channel]) < MOST_KEPT:
                for begin, stop, lag in self._same.find(inner, before * self._part, (before + STRETCH) * self._part):
                    first, end = (place + MARGIN - self._zero for place in (begin, stop))
                    self._repeats[channel].append(FoundRepeat(first, end, name, lag))
        if len(self._clicks) > 2 * MOST_KEPT:
            self._clicks = sorted(self._clicks, key=lambda click: -click.step_db)[:MOST_KEPT]
