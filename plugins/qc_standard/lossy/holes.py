"""Holes in the treble: bands of 350 to 700 Hz that a coder left out of single frames.

A lossy coder sets a band to nothing where it has no bits for it, and has it again some hundredths of a second later,
while the bands on both sides go on. Music with a noise floor never does so, and a lone harmonic does not count, since
a band must be full of sound when it is there. The channels are looked at, and their difference too, which a coder
codes by itself.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from qc.plugin_api import Analysis, Block, Chain, Stream
from qc_standard.spectrum.hann import window

LOW_HZ, HIGH_HZ = 7_000.0, 20_500.0
BAND = 8
"""Bins of a band: 345 Hz at 44.1 kHz, 375 Hz at 48 and 96."""
BURST = 16
"""Frames of a burst, one after the other: 0.37 s at 44.1 kHz."""
SPREAD = 16
"""Number of the burst from which on the next one begins more than three lengths of a burst later."""
DEPTH_DB = 15.0
"""dB by which the strongest bin of a hole lies below the mean of the bands on both sides (practice)."""
FULL_DB = 6.0
"""dB by which the band may lie below those when it is there, within the next frames."""
UNCHANGED_DB = 10.0
"""dB by which the bands on both sides may change until then."""
NEAR = 2
"""Frames before and after a hole in which the band must be there."""
STRETCH = 256
"""Frames with sound in the treble, in a row, in which holes are counted: half a minute to three minutes of a side."""
LEAST_DB = -120.0
"""dBFS a bin that the bands on both sides need: what lies below may be the dither of a silent passage."""


def frame_size(rate: int) -> int:
    """Return the frames of a spectrum: 1024 at 44.1 and 48 kHz, which is about the length that coders use."""
    return 1024 * (1 if rate <= 50_000 else 2 if rate <= 100_000 else 4)


def burst_start(number: int, length: int) -> int:
    """Return the first frame of a burst: they lie further apart as a side goes on, some 230 of them in 20 minutes."""
    return length * (number + number * number // SPREAD)


@dataclass(frozen=True, slots=True)
class HolesResult:
    """Holes of a side, by frames of `size` samples each."""

    rate: int
    size: int
    sounding: int
    """frames with sound in the treble"""
    at: NDArray[np.int64]
    """(holes,) first sample of each frame that has a hole"""
    order: NDArray[np.int64]
    """(holes,) number of that frame among those with sound"""
    hz: NDArray[np.float64]
    """(holes,) middle of the lowest hole of that frame"""

    def most(self) -> tuple[int, int] | None:
        """Return the first and last hole of the stretch that has most, the earliest; None where there is no hole."""
        if not len(self.at):
            return None
        ends = np.searchsorted(self.order, self.order + STRETCH)
        first = int(np.argmax(ends - np.arange(len(ends))))
        return first, int(ends[first]) - 1


def by_band(ufunc: np.ufunc, level: NDArray[Any]) -> NDArray[Any]:
    """Reduce (..., bands * 8) to (..., bands) in three steps of two: far faster than along an axis of eight."""
    for _ in range(3):
        level = ufunc(level[..., ::2], level[..., 1::2])
    return level


def holes_in(spectra: NDArray[Any]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return the holes, and the places that sound, of power (..., frames, bands * 8): both (..., frames, bands - 4)."""
    level = 10.0 * np.log10(spectra + np.float32(1e-17))
    full = by_band(np.add, level) / np.float32(BAND)
    strongest = by_band(np.maximum, level)[..., 2:-2]
    below = np.maximum(full[..., :-4], full[..., 1:-3])
    above = np.maximum(full[..., 3:-1], full[..., 4:])
    neighbours, band = np.minimum(below, above), full[..., 2:-2]
    sounding = neighbours > LEAST_DB
    low = sounding & (neighbours - strongest > DEPTH_DB)
    present = band > neighbours - FULL_DB
    switched = np.zeros_like(low)
    for apart in range(1, NEAR + 1):
        first, second = (..., slice(None, -apart), slice(None)), (..., slice(apart, None), slice(None))
        unchanged = np.abs(neighbours[first] - neighbours[second]) < UNCHANGED_DB
        switched[first] |= unchanged & present[second]
        switched[second] |= unchanged & present[first]
    return low & switched, sounding


@dataclass(frozen=True)
class Holes(Analysis[HolesResult]):
    """Holes in the treble."""

    id: ClassVar[str] = "lossy.holes"
    cost: ClassVar[float] = 1.2

    @classmethod
    def of(cls, chain: Chain) -> Self:  # noqa: ARG003
        """Build the need, which depends on nothing of the chain."""
        return cls()

    def start(self, stream: Stream) -> _Looking:
        """Return the initial state for a stream of two channels."""
        return _Looking(stream.rate)


class _Looking:
    """Bursts one after the other: each is transformed when its last sample is there."""

    def __init__(self, rate: int) -> None:
        self._rate, self._size = rate, frame_size(rate)
        self._length = BURST * self._size
        self._window = window(self._size)
        first = int(np.ceil(LOW_HZ * self._size / rate))
        bands = int(HIGH_HZ * self._size / rate - first) // BAND
        self._bins = slice(first, first + bands * BAND)
        self._burst = np.zeros((2, self._length), dtype=np.float32)
        self._number = self._sounding = 0
        self._at: list[NDArray[np.int64]] = []
        self._order: list[NDArray[np.int64]] = []
        self._hz: list[NDArray[np.float64]] = []

    def push(self, block: Block) -> None:
        """Process the next block."""
        start, end = block.start, block.start + block.samples.shape[1]
        while (begin := burst_start(self._number, self._length)) < end:
            first, last = max(start, begin), min(end, begin + self._length)
            if first < last:
                self._burst[:, first - begin : last - begin] = block.samples[:, first - start : last - start]
            if last < begin + self._length:
                return
            self._transform(begin)
            self._number += 1

    def _transform(self, begin: int) -> None:
        """Look for holes in a whole burst."""
        frames = self._burst.reshape(2, BURST, self._size) * self._window
        channels = np.fft.rfft(frames, axis=2)[:, :, self._bins]
        both = np.concatenate([channels, 0.5 * (channels[:1] - channels[1:])])
        holes, sounding = holes_in(both.real**2 + both.imag**2)
        order = self._sounding + np.cumsum(sounding.any(axis=(0, 2))) - 1
        by_frame: NDArray[np.bool_] = np.logical_or.reduce(holes, axis=0)
        at = np.flatnonzero(np.logical_or.reduce(by_frame, axis=1))
        self._sounding = int(order[-1]) + 1
        self._at.append(begin + self._size * at)
        self._order.append(order[at])
        middle = self._bins.start + BAND * (by_frame[at].argmax(axis=1) + 2.5)
        self._hz.append(middle * (self._rate / self._size))

    def finish(self) -> HolesResult:
        """Return the holes of all bursts."""
        at, order = (np.concatenate([np.zeros(0, np.int64), *parts]) for parts in (self._at, self._order))
        hz = np.concatenate([np.zeros(0), *self._hz])
        return HolesResult(self._rate, self._size, self._sounding, at, order, hz)
