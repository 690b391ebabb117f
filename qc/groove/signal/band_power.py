"""Energies of each 10 ms of the audible band, from 20 Hz to the chain's top: what tells programme from noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.dsp.filters import biquad
from qc.dsp.meters.filtered import FilteredSums
from qc.dsp.meters.windows import WindowSums, part_frames
from qc.groove.signal.band_limit import Topped, motion_rate
from qc.groove.signal.lineup_tones import LineupTone, LineupTones
from qc.model.cutting_chain import Chain
from qc.plugin_base import Analysis, Block, Stream, Tap

CORNER = 20.0
"""Hz, corner of the 4th-order Butterworth high-pass: rumble and a DC offset are no programme (practice)."""
SETTLING, AHEAD = 20, 50
"""Windows at the head of a file in which the high-pass settles, and the windows from whose end it is run backward over
them: 0.3 s are 125 dB of its slowest pole."""
AT_REST = 1e-150
"""State below which a filter is at rest, before its numbers are too small for the processor."""


@dataclass(frozen=True, eq=False)
class BandPower:
    """Mean square of each 10 ms from frame 0 on in the audible band, and the line-up tones at the head.

    power: (2, parts) float32, left and right; the last part may be shorter. A file that begins amid a swing, be it of
    rumble alone, makes the high-pass ring: the first windows count as no more than the same filter run backward gives.
    """

    power: NDArray[np.float32]
    tones: tuple[LineupTone, ...] = ()


@dataclass(frozen=True)
class BandParts(Analysis[BandPower]):
    """Sums up the energies of both channels by 10 ms, above 20 Hz and below the top."""

    top: float
    """Hz, edge of the chain's pass band"""

    id: ClassVar[str] = "groove.band-parts"
    cost: ClassVar[float] = 0.6

    @classmethod
    def of(cls, chain: Chain) -> Self:
        """Build for a chain's top."""
        return cls(chain.signal.top)

    def taps(self) -> tuple[Tap, ...]:
        """Listen to what lies below the top."""
        return (Topped(self.top),)

    def start(self, stream: Stream) -> _BandPowerRunning:
        """Begin on a stream of two channels."""
        return _BandPowerRunning(Topped(self.top), stream)


class _BandPowerRunning:
    def __init__(self, tap: Topped, stream: Stream) -> None:
        self._tap, rate = tap, motion_rate(stream.rate)
        self._left = -(-stream.frames * rate // stream.rate)  # what follows the file's last frame counts for nothing
        self._part = part_frames(rate)
        self._sections = biquad.butterworth_4_high(CORNER, rate)
        self._sums = FilteredSums(self._sections, self._part, 2, self._left, np.float32)
        self._head = _Head(self._sections, rate, self._left)
        self._begun = False

    def push(self, block: Block) -> None:
        """Take the next slice."""
        if not self._begun and block.samples.shape[1]:
            # as if the first sample had lasted for ever: an offset must not enter as a step
            self._begun = True
            left, right = block.samples[:, 0].tolist()
            self._sums.begin_with(left, right)
            self._head.begin_with(left, right)
        topped = block[self._tap][:, : self._left]
        self._left -= topped.shape[1]
        self._sums.push(topped)
        self._head.push(topped)

    def finish(self) -> BandPower:
        """Return the mean squares."""
        sums, counts = self._sums.finish()
        power = (sums / np.maximum(counts, 1)[:, None]).T
        power[:, :SETTLING] = np.minimum(power[:, :SETTLING], self._head.backward()[:, : power.shape[1]])
        return BandPower(np.ascontiguousarray(power, dtype=np.float32), self._head.tones.finish())


class _Head:
    """The band itself at the head of a file: its first windows, and for as long as line-up tones may sound."""

    def __init__(self, sections: biquad.Sections, rate: int, frames: int) -> None:
        self.tones = LineupTones(rate)
        self._part = part_frames(rate)
        self._sections, self._state = sections, biquad.fresh(sections, 2)
        self._first = np.zeros((2, 1))
        self._kept: list[NDArray[np.float64]] = []
        self._wanted = min(AHEAD * self._part, frames)

    def begin_with(self, left: float, right: float) -> None:
        """Subtract these samples from all that follow."""
        self._first = np.array([[left], [right]])

    def push(self, topped: NDArray[Any]) -> None:
        """Take the next frames, (2, n)."""
        if not topped.shape[1] or not (self._wanted or self.tones.listening):
            return
        band = topped - self._first
        if self._wanted:
            self._kept.append(band[:, : self._wanted].copy())
            self._wanted -= self._kept[-1].shape[1]
        if self.tones.listening:
            self.tones.push(biquad.run(band, self._sections, self._state, band))
            self._state[np.abs(self._state) < AT_REST] = 0.0

    def backward(self) -> NDArray[np.float64]:
        """Mean squares of the first windows with the high-pass run backward, (2, windows)."""
        head = np.concatenate([*self._kept, np.empty((2, 0))], axis=1)[:, ::-1]
        band = np.ascontiguousarray(head - head[:, :1])
        biquad.run(band, self._sections, biquad.fresh(self._sections, 2), band)
        sums = WindowSums(self._part, band.shape[1])
        sums.push(band[:, ::-1])
        squares, counts = sums.finish()
        return (squares[:SETTLING, :2] / np.maximum(counts[:SETTLING], 1)[:, None]).T
