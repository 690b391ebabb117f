"""Residual of playback: its departure from the master, band by band and second by second.

The master is taken as the groove carries it, and in each second and band brought to the level at which it fits the
playback best. What then remains of the playback, over the energy of the master at that level, both in the band, is
the residual: distortion, since an even loss of treble is part of the level. That loss is given by itself, for the top
band. Nothing in the model delays the playback; a delay is fitted too where one is asked for.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from qc.groove.playback.oversampling import FACTOR
from qc.groove.playback.passage import CutPassage, PlaybackSetup

Array = NDArray[np.float64]

BANDS = {
    "2-5 kHz": (2_000.0, 5_000.0),
    "5-10 kHz": (5_000.0, 10_000.0),
    "10-15 kHz": (10_000.0, 15_000.0),
    "2-15 kHz": (2_000.0, 15_000.0),
}
"""Bands by name, edges in Hz."""
TOP, WHOLE = "10-15 kHz", "2-15 kHz"
RAMP_S = 0.01
"""Length in s over which a second fades into the next one, so that bass does not leak into the bands."""
SILENT = 1e-9
"""Mean square, both channels, below which a band holds no programme: -90 dBFS, as dither of 16 bits; no residual."""
FARTHEST = 20e-6
"""Greatest delay in s that is looked for."""
MOST_DB = 40.0
"""Residual, and loss of treble, in dB that is stated where nothing of the master is left, or less than a hundredth."""
LEAST_DB = -140.0
"""Residual in dB below which only rounding is left."""


@dataclass(frozen=True, eq=False)
class Residuals:
    """Residual in dB by band, and loss of the top band in dB, in each second: (seconds,); NaN without programme.

    gain: the level of the master at which it fits the playback best from 2 to 15 kHz.
    """

    by_band: dict[str, Array]
    top_loss: Array
    gain: Array


@dataclass(frozen=True, eq=False)
class MasterBands:
    """A master's spectra, second by second, computed once for all playbacks that are compared with it.

    master: (2, frames) as `CutPassage.master` gives it; seconds: length of a stretch in s.
    fit_delay: whether a delay, the best over 2 to 15 kHz, is no part of the residual, as for a recording of a disc.
    """

    master: Array
    rate: int
    seconds: float = 1.0
    fit_delay: bool = False

    @classmethod
    def whole(cls, master: Array, rate: int) -> MasterBands:
        """Take all of a passage as one stretch."""
        return cls(master, rate, master.shape[1] / rate)

    def compared(self, played: Array) -> Residuals:
        """Compare playback (2, frames) with the master."""
        rows = [self._stretch(index, played) for index in range(len(self._spectra))]
        names = list(BANDS)
        levels = np.array(rows).reshape(-1, len(names) + 2)
        return Residuals({name: levels[:, i] for i, name in enumerate(names)}, levels[:, -2], levels[:, -1])

    @cached_property
    def _size(self) -> int:
        """Frames of a stretch."""
        return max(1, round(self.seconds * self.rate))

    @cached_property
    def _ramp(self) -> int:
        """Frames over which stretches fade; an even number, no more than a stretch has."""
        return 2 * min(round(RAMP_S * self.rate / 2.0), self._size // 2)

    @cached_property
    def _points(self) -> int:
        return _smooth(self._size + self._ramp)

    @cached_property
    def _radians(self) -> Array:
        """Angular frequency of each bin that is kept, rad/s."""
        first, last = self._bins(*BANDS[WHOLE])
        found: Array = np.arange(first, last, dtype=np.float64) * (2.0 * math.pi * self.rate / self._points)
        return found

    @cached_property
    def _edges(self) -> list[tuple[int, int]]:
        """Bins of each band, counted from the first that is kept."""
        first = self._bins(*BANDS[WHOLE])[0]
        return [(low - first, high - first) for low, high in (self._bins(*band) for band in BANDS.values())]

    @cached_property
    def _spectra(self) -> list[NDArray[np.complex128]]:
        return [self._spectrum(self.master, index) for index in range(max(1, -(-self.master.shape[1] // self._size)))]

    def _bins(self, low: float, high: float) -> tuple[int, int]:
        bins = self._points / self.rate
        return math.ceil(low * bins), math.ceil(high * bins)

    def _spectrum(self, x: Array, index: int) -> NDArray[np.complex128]:
        """Return the bins of one stretch, (2, bins)."""
        size, ramp = self._size, self._ramp
        low, high = index * size - ramp // 2, (index + 1) * size + ramp // 2
        stretch = np.zeros((2, size + ramp))
        there = x[:, max(0, low) : high]
        stretch[:, max(0, -low) : max(0, -low) + there.shape[1]] = there
        rise = np.sin(0.5 * np.pi * (np.arange(ramp) + 0.5) / ramp)
        stretch[:, :ramp] *= rise
        stretch[:, size:] *= rise[::-1]
        if index == 0:  # the passage itself must not begin or end with a step
            stretch[:, ramp // 2 : ramp // 2 + ramp] *= rise
        if high >= x.shape[1]:
            end = x.shape[1] - low
            fade = min(ramp, end)
            stretch[:, end - fade : end] *= rise[::-1][ramp - fade :]
        first, last = self._bins(*BANDS[WHOLE])
        found: NDArray[np.complex128] = np.fft.rfft(stretch, self._points)[:, first:last]
        return found

    def _stretch(self, index: int, played: Array) -> list[float]:
        """Return the residual of one stretch in each band, the loss of the top in dB, and the gain of all of it."""
        master, playback = self._spectra[index], self._spectrum(played, index)
        both = (playback * master.conj()).sum(axis=0)
        steepness = float((self._radians**2 * both.real).sum())
        if self.fit_delay and steepness > 0.0:  # one step of Newton's method from no delay at all
            delay = -float((self._radians * both.imag).sum()) / steepness
            both = both * np.exp(1j * self._radians * min(max(delay, -FARTHEST), FARTHEST))
        squares, played_squares = (np.square(np.abs(x)).sum(axis=0) for x in (master, playback))
        frames = min(self._size, self.master.shape[1] - index * self._size)
        floor = SILENT * frames * self._points / 2.0
        levels, gains = [], {}
        for name, (low, high) in zip(BANDS, self._edges, strict=True):
            common, energy = float(both[low:high].real.sum()), float(squares[low:high].sum())
            levels.append(_residual(common, energy, float(played_squares[low:high].sum()), floor))
            gains[name] = common / energy if energy > floor else math.nan
        loss = _loss(gains[TOP])
        return [*levels, loss, gains[WHOLE]]


def residuals(
    passage: CutPassage, setups: Iterable[PlaybackSetup], workers: int = 1, factor: int = FACTOR
) -> Iterator[Residuals]:
    """Yield the residual of a passage in each second, for each level, groove speed and tip in turn.

    The motion, the master and its spectra are computed once.
    """
    master = MasterBands(passage.master, passage.rate)
    for setup in setups:
        yield master.compared(passage.played(setup, workers, factor))


def _residual(common: float, energy: float, played: float, floor: float) -> float:
    """Return the residual in dB from the product with the master, the master's energy and the playback's."""
    if energy <= floor:
        return math.nan
    if common <= 0.0:
        return MOST_DB
    ratio = played * energy / common**2 - 1.0
    return min(MOST_DB, max(LEAST_DB, 10.0 * math.log10(ratio))) if ratio > 0.0 else LEAST_DB


def _loss(gain: float) -> float:
    """Return the loss in dB of a gain, NaN for NaN."""
    if math.isnan(gain):
        return gain
    return min(MOST_DB, -20.0 * math.log10(gain)) if gain > 0.0 else MOST_DB


def _smooth(least: int) -> int:
    """Return the smallest number from `least` on that has no prime factor beyond 5: its transform is fast."""
    best = 1 << (least - 1).bit_length()
    five = 1
    while five < best:
        three = five
        while three < best:
            best = min(best, three << max(0, (-(-least // three) - 1).bit_length()))
            three *= 3
        five *= 5
    return best
